// A trial as the daemon tells it, and what follows from it for a screen. Pure: the order, the next step and the warm-up's
// verdict are the daemon's; here they are only read and worded.
import type { Rig, SourceState } from './types.ts';

export type Measure = 'gate' | 'held' | 'peak' | 'plateau';
export type Standing = 'awaiting a run' | 'ready to go on' | 'done' | 'laid aside';
export type Phase = 'warm-up' | 'baseline' | 'compare';

export interface Plan {
  name: string;
  rig: string;
  tools: string[];
  baseline: string;
  setups: string[];
  repeats: number;
  order: 'blocks' | 'latin-square';
  seed: number;
  baseline_every: number | null;
  warm_up: boolean;
  measure: Measure;
  rest_s: number;
  fresh: 'no' | 'each-run' | 'each-setup';
  air_kPa?: [number, number] | null;
  bolt: string | null;
}

/** A line of the list of trials. */
export interface TrialLine {
  trial: string;
  rig: string;
  standing: Standing;
  steps_done: number;
  steps_total: number;
  planned_by: string;
  planned_utc_ns: number;
  automatic: boolean;
}

/** A step of a plan; `number` is 0 in the warm-up. */
export interface Planned {
  number: number;
  phase: Phase;
  tool: string;
  setup: string;
  block: number;
}

export interface TrialStep extends Planned {
  run: number | null;
  skipped: boolean;
  value_kN: number | null;
}

export interface NextStep {
  go: number;
  number: number;
  phase: Phase;
  tool: string;
  setup: string;
  pieces: string[];
  /** Null where the tool has left the shelf. */
  source: SourceState['kind'] | null;
  fresh_source_due: boolean;
  air_kPa: [number, number] | null;
  rest_s: number;
}

export interface WarmUp {
  runs: number;
  values_kN: number[];
  words: string;
  slope_percent_low: number | null;
  slope_percent_high: number | null;
}

export type Entry = { who: string; utc_ns: number } & (
  | { entry: 'ready'; go: number; step: Planned }
  | { entry: 'repeat'; go: number; why: string }
  | { entry: 'skip'; number: number; why: string }
  | { entry: 'warm' | 'abort'; why: string }
  | { entry: 'resume' }
  | { entry: 'automatic'; on: boolean }
);

export interface Trial {
  trial: string;
  planned_by: string;
  planned_utc_ns: number;
  plan: Plan;
  standing: Standing;
  next: NextStep | null;
  steps: TrialStep[];
  steps_done: number;
  steps_skipped: number;
  steps_total: number;
  warm: boolean;
  warm_up: WarmUp | null;
  automatic: boolean;
  not_counted: { go: number; run: number; why: string }[];
  entries: Entry[];
}

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
