// Whether a tool meets a limit, and how it has been: questions as the daemon takes them, answers as it gives them. Pure.
import type { ClassLimit } from './answers.ts';
import { Problem } from './api.ts';
import type { RunLine } from './types.ts';
import { type System, toKn, toNm } from './units.ts';

export type { ClassLimit, HistoryPoint, ToolAcceptance as Acceptance, ToolHistory } from './answers.ts';
export type LimitKind = 'class' | 'tension' | 'torque' | 'share';

export interface AcceptForm {
  tool: string | null;
  setup: string;
  measure: string;
  runs: string;
  kind: LimitKind;
  limit: string;
  reference: string | null;
  side: 'least' | 'most';
}

export interface HistoryForm {
  tool: string | null;
  setup: string;
  measure: string;
  base: string;
  least: string;
  most: string;
}

/** A limit as typed in the shown unit, as the daemon takes it; what is no number goes on as it is and is refused there. */
function inKn(text: string, system: System, to: (value: number, system: System) => number): string {
  const value = Number(text.trim());
  return text.trim() === '' || !Number.isFinite(value) ? text.trim() : String(to(value, system));
}

const some = (pairs: Record<string, string | null>): string => {
  const query = new URLSearchParams();
  for (const [key, value] of Object.entries(pairs)) if (value !== null && value.trim() !== '') query.set(key, value.trim());
  return query.toString();
};

/** The figure of a run that a measure is, kN; null where the run has none. */
export function figureOf(run: RunLine, measure: string): number | null {
  const figures: Record<string, number | null | undefined> = { gate: run.gates[0]?.tension_kN, held: run.held_kN, plateau: run.plateau_kN, peak: run.peak_kN };
  return figures[measure] ?? null;
}

export const NO_TOOL = new Problem(0, 'tool: expected one among the tools, found none');

/**
 * What a question lacks; null where it can be asked. `classLimit`: of the tool's class; `calibrated`: the runs are measured
 * with a calibration against a reference.
 */
export function missing(form: AcceptForm, classLimit: ClassLimit | null, calibrated: boolean): Problem | null {
  if (form.tool === null) return NO_TOOL;
  if (form.kind === 'class' && classLimit === null) return new Problem(0, 'limit of its class: expected one in the settings, found none', 'choose another limit, or add a table [[limit]] to the settings');
  if (form.kind === 'share' && form.reference === null) return new Problem(0, 'reference: expected the tool that counts as 100 %, found none');
  if (form.kind !== 'class' && !(Number(form.limit.trim() || 'none') > 0)) return new Problem(0, `expected one limit, a number above zero, found '${form.limit.trim()}'`);
  if (form.kind !== 'share' && !calibrated) return new Problem(0, 'limit of this kind: expected a calibration against a reference, found none', 'a share of another tool needs none, because the gain cancels');
  return null;
}

export function acceptQuery(form: AcceptForm, system: System): string {
  // The limit of a class knows its own measure and side.
  if (form.kind === 'class') return some({ setup: form.setup, runs: form.runs });
  const limit: Record<string, string | null> =
    form.kind === 'tension' ? { limit_kN: inKn(form.limit, system, toKn) } : form.kind === 'torque' ? { limit_Nm: inKn(form.limit, system, toNm) } : { reference: form.reference, percent: form.limit };
  return some({ setup: form.setup, measure: form.measure, runs: form.runs, upper: form.side === 'most' ? 'true' : null, ...limit });
}

export const historyQuery = (form: HistoryForm, system: System): string =>
  some({ setup: form.setup, measure: form.measure, base: form.base, least_kN: inKn(form.least, system, toKn), most_kN: inKn(form.most, system, toKn) });
