// What the daemon says, as the page reads it. Only members that are used stand here; numbers carry their unit in
// their name. The tests in tests/browser hold these shapes against the real program.

export type LinkState = 'up' | 'down' | 'not-served' | 'by-hand';

export interface Bolt {
  name: string;
  factor_N_per_Nm: number | null;
  allowed_kN: number | null;
}

export type SourceState =
  | { kind: 'battery'; id: string; rested_v: number | null; fresh: boolean | null }
  | { kind: 'air'; dynamic_kPa: number | null }
  | { kind: 'mains'; voltage_v: number | null };

export interface InForce {
  setup: string | null;
  contacts: number | null;
  tool: string | null;
  source: SourceState | null;
  bolt: Bolt | null;
}

export interface Counters {
  bytes_in: number;
  frames: number;
  runs: number;
  samples_in: number;
  samples_missing: number;
  samples_used: number;
  bytes_discarded: Record<string, number>;
  samples_dropped: Record<string, number>;
}

export interface Dial {
  unit: string;
  resolution: number;
  range_kN: number | null;
}

export interface Rig {
  rig: string;
  port: string | null;
  link: LinkState;
  link_detail: string | null;
  stale: boolean;
  simulated: boolean;
  identity: { serial: string; firmware: string; time_scale: number } | null;
  rate_hz: number | null;
  tension_kN: number | null;
  counts: number | null;
  zero_kN: number | null;
  running: number | null;
  driving: boolean;
  in_force: InForce;
  calibration: string | null;
  nominal: boolean;
  range_kN: number | null;
  gates_s?: number[];
  dial: Dial | null;
  standing: string[];
  counters: Counters;
}

export interface Gate {
  after_s: number;
  tension_kN: number | null;
  torque_Nm: number | null;
}

/** A line of the list of runs. */
export interface RunLine {
  id: number;
  rig: string;
  utc: string;
  simulated: boolean;
  setup: string | null;
  contacts: number | null;
  tool: string | null;
  bolt: string | null;
  calibration: string | null;
  timing: string | null;
  first_blow_s: number | null;
  last_blow_s: number | null;
  drive_time_s: number | null;
  blows: number | null;
  blow_rate_hz: number | null;
  peak_kN: number | null;
  peak_is_lower_bound: boolean | null;
  held_kN: number | null;
  gates: Gate[];
  plateau_kN: number | null;
  time_constant_s: number | null;
  equivalent_torque_Nm: number | null;
  closed_by: string | null;
  flags: string[];
  excluded: boolean;
  left_out_because: string[];
  entered_by: string | null;
  note: string | null;
}

/** Growth at a gate. */
export interface Growth {
  after_s: number;
  growth_kN_per_s: number | null;
  growth_se_kN_per_s: number | null;
}

/** How a stated tension was reached. */
export interface Reached {
  tension_kN: number;
  state: 'reached' | 'never-reached' | 'unknown';
  after_s: number | null;
  after_se_s: number | null;
  blows: number | null;
}

export interface CorrectionRow {
  utc_ns: number;
  who: string;
  why: string;
  kind: string;
  setup: string | null;
  tool: string | null;
}

/** One run with all its figures. */
export interface RunDetail extends RunLine {
  noise_kN: number | null;
  zero_shift_kN: number | null;
  ringing_kN: number | null;
  plateau_se_kN: number | null;
  plateau_form: 'energy' | 'exponential' | null;
  held_over_limit: number | null;
  held_over_limit_se: number | null;
  energy_index_kN2_per_blow: number | null;
  energy_index_se_kN2_per_blow: number | null;
  limit_index_kN2: number | null;
  limit_index_se_kN2: number | null;
  step_scatter_percent: number | null;
  step_scatter_se_percent: number | null;
  preload_kN: number | null;
  growth: Growth[];
  reached: Reached[];
  in_force: InForce;
  corrections: CorrectionRow[];
  reading: { value: number; unit: string; of: string } | null;
}

export interface Trace {
  time_s: number[];
  min_kN: (number | null)[];
  max_kN: (number | null)[];
  first_blow_s: number;
  last_blow_s: number;
  gates_s: number[];
  rate_hz: number;
  samples: number;
}

export type PieceKind = 'socket' | 'extension' | 'universal-joint' | 'adapter' | 'other';

export interface Uses {
  runs: number;
  last_utc: string | null;
  tightenings?: number;
  tightenings_since?: number;
}

export interface Piece {
  name: string;
  kind: PieceKind;
  drive_in: string;
  drive_out: string | null;
  length_mm: number | null;
  mass_g: number | null;
  serial: string | null;
  uses?: Uses;
}

export interface Setup {
  name: string;
  pieces: string[];
  uses?: Uses;
}

export interface Tool {
  name: string;
  anvil: string;
  source: SourceState['kind'];
  serial: string | null;
  class: string | null;
  uses?: Uses;
}

export interface Source {
  name: string;
  kind: SourceState['kind'];
  serial: string | null;
  uses?: Uses;
}

export interface TestBolt {
  name: string;
  thread: string;
  diameter_mm: number;
  factor: { given: string; [figure: string]: unknown } | null;
  allowed_kN: number | null;
  lubricant: string | null;
  uses?: Uses;
}

export interface PortState {
  path: string;
  device: string | null;
  not_allowed: string | null;
  rig: string | null;
}

export interface Heard {
  bytes: number;
  lines: string[];
  guess: { pattern: string | null; decimals: number; tick_hz: number | null; rate_hz: number | null; remarks: string[] } | null;
  device: string | null;
  rates_hz: number[];
  remarks: string[];
}

/** A message of the feed. Tensions of `live` are newtons. */
export type Message = { rig: string; utc_ns: number } & (
  | { news: 'event'; event: 'live'; at_s: number; mean: number; min: number; max: number; counts: number }
  | { news: 'event'; event: 'started'; run_seq: number; at_s: number }
  | { news: 'event'; event: 'blow'; run_seq: number; at_s: number }
  | { news: 'event'; event: 'stale'; stale: boolean }
  | ({ news: 'event'; event: 'in-force' } & InForce)
  | { news: 'event'; event: 'identity' | 'rate' | 'status' | 'zeroed' | 'refused' | 'awaits-rest' }
  | { news: 'run'; id: number; row: { row: 'announced' | 'closed'; run_seq: number; flags: string[] } }
  | { news: 'reading'; id: number; flags: string[] }
  | { news: 'changed'; id: number }
  | { news: 'trial'; trial: string }
  | { news: 'link'; link: LinkState; detail: string | null }
);
