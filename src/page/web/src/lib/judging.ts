// Whether a tool meets a limit, and how it has been: questions as the daemon takes them, answers as it gives them. Pure.
import { type System, toKn, toNm } from './units.ts';

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

export interface Acceptance {
  tool: string;
  setup: string | null;
  measure: string;
  runs: number[];
  unit: 'kN' | 'Nm' | 'percent';
  value: number;
  limit: number;
  side: 'at least' | 'at most';
  decision: 'conforms' | 'does not conform' | 'undecided';
  probability_of_conformity: number;
  probability_of_a_right_decision: number;
  standard_uncertainty: number;
  degrees_of_freedom: number | null;
  guard: number;
  runs_to_decide: number | null;
  standard_uncertainty_to_decide: number | null;
  notes: string[];
}

export interface HistoryForm {
  tool: string | null;
  setup: string;
  measure: string;
  base: string;
  least: string;
  most: string;
}

export interface HistoryPoint {
  run: number;
  utc: string;
  value_kN: number;
  remarks: string[];
}

export interface ToolHistory {
  tool: string;
  setup: string | null;
  measure: string;
  runs: number;
  centre_kN: number | null;
  low_kN: number | null;
  high_kN: number | null;
  mean_range_kN: number | null;
  range_limit_kN: number | null;
  points: HistoryPoint[];
  capability: { cp: number | null; cpk: number; cpk_low: number; cpk_high: number } | null;
  note: string;
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

export function acceptQuery(form: AcceptForm, system: System): string {
  // The limit of a class knows its own measure and side.
  if (form.kind === 'class') return some({ setup: form.setup, runs: form.runs });
  const limit: Record<string, string | null> =
    form.kind === 'tension' ? { limit_kN: inKn(form.limit, system, toKn) } : form.kind === 'torque' ? { limit_Nm: inKn(form.limit, system, toNm) } : { reference: form.reference, percent: form.limit };
  return some({ setup: form.setup, measure: form.measure, runs: form.runs, upper: form.side === 'most' ? 'true' : null, ...limit });
}

export const historyQuery = (form: HistoryForm, system: System): string =>
  some({ setup: form.setup, measure: form.measure, base: form.base, least_kN: inKn(form.least, system, toKn), most_kN: inKn(form.most, system, toKn) });
