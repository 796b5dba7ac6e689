// A trial as the daemon tells it, and what follows from it for a screen. Pure: the order, the next step and the warm-up's
// verdict are the daemon's; here they are only read and worded.
import type { Measure, TrialLine, TrialPhase as Phase, TrialStanding as Standing, Trial, TrialStep as Planned, NextRun as NextStep, WarmUp } from './answers.ts';
import type { Rig, SourceState } from './types.ts';

export type {
  Measure, NextRun as NextStep, Plan, Trial, TrialEntry as Entry, TrialLine, TrialPhase as Phase, TrialStanding as Standing, TrialStep as Planned,
  TrialStepAndRun as TrialStep, WarmUp,
} from './answers.ts';

export const MEASURES: readonly { value: Measure; label: string; note: string }[] = [
  { value: 'gate', label: 'Gate', note: 'tension at the first gate' },
  { value: 'held', label: 'Held', note: 'settled tension' },
  { value: 'plateau', label: 'Plateau', note: 'fitted limit' },
  { value: 'peak', label: 'Peak', note: 'greatest tension' },
];

export const PHASE_WORDS: Record<Phase, string> = { 'warm-up': 'warm-up', baseline: 'baseline', compare: 'compared' };

/** What a step is, in a few words. */
export const stepWords = (next: { number: number; phase: Phase }, total: number): string =>
  next.phase === 'warm-up' ? 'Warm-up run' : `Step ${next.number} of ${total}${next.phase === 'baseline' ? ', baseline' : ''}`;

const OPEN: readonly Standing[] = ['awaiting a run', 'ready to go on'];

/** The trial that goes on at a rig: one that awaits a run before one that waits for a person; then the newest. */
export function goingOn(trials: readonly TrialLine[], rig: string): TrialLine | null {
  const open = trials.filter((one) => one.rig === rig && OPEN.includes(one.standing));
  return open.find((one) => one.standing === 'awaiting a run') ?? open[0] ?? null;
}

/** What was typed of the source before a run. */
export interface Typed {
  battery: string | null;
  figure: number | null;
  /** It was told as fresh for a go that was given back since. */
  fresh?: boolean;
}

/** The source as the daemon takes it; a sentence where something is missing or wrong; nothing where none is told. */
export function sourceOf(next: NextStep, typed: Typed): SourceState | string | undefined {
  const { battery, figure } = typed;
  if (next.source === null) return undefined;
  if (figure !== null && !Number.isFinite(figure)) return 'reading: expected a number with a decimal point';
  if (next.source === 'battery') {
    if (battery === null) return next.fresh_source_due ? 'battery: expected the one that was swapped in, found none named' : undefined;
    if (figure === null && next.fresh_source_due) return 'rested_v: expected its rested voltage, found none';
    return { kind: 'battery', id: battery, rested_v: figure, fresh: next.fresh_source_due || typed.fresh ? true : null };
  }
  const unit = next.source === 'air' ? 'dynamic_kPa: expected the pressure at the running tool' : 'voltage_v: expected the voltage at the outlet';
  if (figure === null) return next.fresh_source_due ? `${unit}, found none` : undefined;
  return next.source === 'air' ? { kind: 'air', dynamic_kPa: figure } : { kind: 'mains', voltage_v: figure };
}

/** Why "ready" cannot be said now, apart from fields that are not filled in; null where it can. */
export function notYet(trial: Trial, rig: Rig | null, overLimit: boolean, running: boolean): string | null {
  if (overLimit) return 'Tension passed the limit. Say that it was seen first.';
  if (trial.standing !== 'ready to go on') return null;
  if (rig !== null && ['down', 'not-served'].includes(rig.link)) return 'The rig is not connected, so no run would be found.';
  // A setup put in force before a run has ended counts as changed in it.
  if (running) return 'The last run is not over: loosen the bolt first.';
  return null;
}

/** Gos that were given, newest first, with the run that took each where one is known. */
export function gosGiven(trial: Trial): { go: number; step: Planned; run: number | null }[] {
  const repeated = new Set(trial.entries.flatMap((one) => (one.entry === 'repeat' ? [one.go] : [])));
  const runs = new Map(trial.not_counted.map((one) => [one.go, one.run]));
  const given = trial.entries.flatMap((one) => (one.entry === 'ready' && !repeated.has(one.go) ? [one] : []));
  // The last go of a step that is done is the one whose run took it, unless that run is known to have been lost.
  const taken = new Map(given.filter((one) => !runs.has(one.go)).map((one) => [one.step.number, one.go]));
  return given
    .map(({ go, step }) => ({ go, step, run: runs.get(go) ?? (step.number > 0 && taken.get(step.number) === go ? (trial.steps.find((one) => one.number === step.number)?.run ?? null) : null) }))
    .reverse();
}

/** Slope of the warm-up's figures, in words; null while it is not known. */
export function slopeWords(warmUp: WarmUp, fixed: (value: number, decimals: number) => string): string | null {
  const { slope_percent_low: low, slope_percent_high: high } = warmUp;
  return low === null || high === null ? null : `slope from ${fixed(low, 2)} to ${fixed(high, 2)} % a run`;
}

/** Seconds of rest that are left; null where none is asked for or the last run's end was not seen here. */
export const restLeft_s = (rest_s: number, ended_ms: number, now_ms: number): number | null =>
  rest_s <= 0 || !Number.isFinite(ended_ms) ? null : Math.max(0, rest_s - (now_ms - ended_ms) / 1000);
