// Made by `cargo xtask openapi` of the daemon's document; a change by hand is lost and fails a test.
/** What each path answers, by method and path. */

/**
 * A figure of a run.
 */
export type Measure = 'gate' | 'held' | 'peak' | 'plateau';
/**
 * Number of a run in this store, from 1 without gaps.
 */
export type RunId = number;
/**
 * Area of the piston whose oil pressure a dial shows, above zero.
 */
export type PistonArea =
  | {
      /**
       * Square millimetres.
       */
      mm2: number;
    }
  | {
      /**
       * Square inches.
       */
      in2: number;
    };
/**
 * The unit on a dial's face.
 */
export type DialUnit = 'kN' | 'N' | 'lbf' | 'psi' | 'bar' | 'MPa';
/**
 * Tension over equivalent torque of one test bolt, newtons per newton metre (1/m).
 */
export type BoltFactor = number;
/**
 * The state of what drives the tool, as entered.
 */
export type SourceState =
  | {
      /**
       * Freshly charged and rested.
       */
      fresh: boolean | null;
      /**
       * Name of the battery.
       */
      id: string;
      kind: 'battery';
      /**
       * Volts after rest, without load.
       */
      rested_v: number | null;
    }
  | {
      /**
       * kPa at the tool's inlet while it runs.
       */
      dynamic_kPa: number | null;
      kind: 'air';
    }
  | {
      kind: 'mains';
      /**
       * Volts at the outlet.
       */
      voltage_v: number | null;
    };
/**
 * The state of a rig's line.
 */
export type Link = 'up' | 'down' | 'not-served' | 'by-hand';
/**
 * On which side of a limit a tool must be.
 */
export type Side = 'at least' | 'at most';
/**
 * The unit a limit stands in.
 */
export type LimitUnit = 'kN' | 'Nm';
/**
 * What a rig did with a command.
 */
export type Reply = 'done' | 'at-next-start';
/**
 * A torque in newton metres: always the equivalent steady torque, never a blow's.
 */
export type NewtonMetres = number;
/**
 * How tension nears its limit.
 */
export type Form = 'energy' | 'exponential';
/**
 * Whether a stated tension was reached.
 */
export type ReachedState = 'reached' | 'never-reached' | 'unknown';
/**
 * Which tension a dial was read at.
 */
export type ReadingOf = 'held' | 'peak';
/**
 * What a figure may be.
 */
export type FigureValue = number | boolean | string | string[];
/**
 * What somebody may do; each role may do what those before it may.
 */
export type Role = 'view' | 'operate' | 'correct';
/**
 * What stands on a shelf, by name.
 */
export type ShelfList =
  | {
      /**
       * Pieces.
       */
      pieces: PieceOnShelf[];
    }
  | {
      /**
       * Setups.
       */
      setups: SetupOnShelf[];
    }
  | {
      /**
       * Tools.
       */
      tools: ToolOnShelf[];
    }
  | {
      /**
       * Energy sources.
       */
      sources: SourceOnShelf[];
    }
  | {
      /**
       * Test bolts.
       */
      bolts: BoltOnShelf[];
    };
/**
 * What a piece is.
 */
export type PieceKind = 'socket' | 'extension' | 'universal-joint' | 'adapter' | 'other';
/**
 * What drives a tool.
 */
export type SourceKind = 'battery' | 'air' | 'mains';
/**
 * The bolt factor as the user gave it.
 */
export type GivenFactor =
  | {
      /**
       * N per N·m.
       */
      factor_N_per_Nm: number;
      given: 'ratio';
    }
  | {
      /**
       * lbf per lbf·ft.
       */
      factor_lbf_per_lbf_ft: number;
      given: 'ratio-lbf';
    }
  | {
      given: 'nut-factor';
      /**
       * K, no unit.
       */
      nut_factor: number;
    }
  | {
      /**
       * Mean of the ratios, N per N·m.
       */
      factor_N_per_Nm: number;
      given: 'measured';
      /**
       * SD of the ratios between tightenings, N per N·m.
       */
      sd_N_per_Nm: number;
      /**
       * Tightenings.
       */
      tightenings: number;
      /**
       * Expanded uncertainty (k = 2) of the hand wrench, percent of the torque.
       */
      wrench_uncertainty_percent: number;
    };
/**
 * A document of the shelf, by its kind.
 */
export type ShelfDocument = Piece | Chain | Tool | Source | TestBolt;
/**
 * What a pruning does, or would do.
 */
export type PruneAnswer = WouldPrune | Pruned;
/**
 * Number of a pruning.
 */
export type PruningId = number;
/**
 * The decision.
 */
export type Decision = 'conforms' | 'does not conform' | 'undecided';
/**
 * The unit a tool is judged in.
 */
export type JudgedUnit = 'kN' | 'Nm' | 'percent';
/**
 * Where a trial stands.
 */
export type TrialStanding = 'awaiting a run' | 'ready to go on' | 'done' | 'laid aside';
/**
 * How the order follows from the seed: a trial that is stored has its seed and not its order.
 */
export type TrialDrawing = 'first' | 'second';
/**
 * When a fresh source is asked for.
 */
export type Fresh = 'no' | 'each-run' | 'each-setup';
/**
 * The kind of order.
 */
export type Order = 'blocks' | 'latin-square';
/**
 * What a run is for.
 */
export type TrialPhase = 'warm-up' | 'baseline' | 'compare';
/**
 * What somebody said of a trial.
 */
export type TrialEntry =
  | {
      entry: 'ready';
      /**
       * From 1, within its trial.
       */
      go: number;
      step: TrialStep;
      /**
       * When, nanoseconds since 1970 UTC.
       */
      utc_ns: number;
      /**
       * Who.
       */
      who: string;
    }
  | {
      entry: 'repeat';
      /**
       * Which go.
       */
      go: number;
      /**
       * When, nanoseconds since 1970 UTC.
       */
      utc_ns: number;
      /**
       * Who.
       */
      who: string;
      /**
       * Why.
       */
      why: string;
    }
  | {
      entry: 'skip';
      /**
       * Its number.
       */
      number: number;
      /**
       * When, nanoseconds since 1970 UTC.
       */
      utc_ns: number;
      /**
       * Who.
       */
      who: string;
      /**
       * Why.
       */
      why: string;
    }
  | {
      entry: 'warm';
      /**
       * When, nanoseconds since 1970 UTC.
       */
      utc_ns: number;
      /**
       * Who.
       */
      who: string;
      /**
       * Why.
       */
      why: string;
    }
  | {
      entry: 'abort';
      /**
       * When, nanoseconds since 1970 UTC.
       */
      utc_ns: number;
      /**
       * Who.
       */
      who: string;
      /**
       * Why.
       */
      why: string;
    }
  | {
      entry: 'resume';
      /**
       * When, nanoseconds since 1970 UTC.
       */
      utc_ns: number;
      /**
       * Who.
       */
      who: string;
    }
  | {
      entry: 'automatic';
      /**
       * Yes or no.
       */
      on: boolean;
      /**
       * When, nanoseconds since 1970 UTC.
       */
      utc_ns: number;
      /**
       * Who.
       */
      who: string;
    };
/**
 * A comparison of the runs of a trial.
 */
export type TrialCompared = TrialSetupsAndPlateau | TrialSetups | TrialPieces;
/**
 * What is claimed.
 */
export type EquivalenceClaim = 'equivalent' | 'no-such-loss' | 'not-ruled-out';
/**
 * What the adjusted p says.
 */
export type Verdict = 'baseline' | 'lower' | 'higher' | 'no difference shown';
/**
 * How the rig's drift is taken out.
 */
export type Drift = 'none' | 'linear' | 'bracket';
/**
 * How losses go together.
 */
export type PieceModel = 'product' | 'compliance';

export interface Answers {
  'GET budget': Budget;
  'GET calibrations': CalibrationList;
  'POST calibrations': CalibrationShown;
  'GET calibrations/{name}': CalibrationShown;
  'GET doctor': Doctor;
  'GET forward': ForwardStatus;
  'GET forward/quarantine': Quarantine;
  'POST forward/retry': ForwardRetry;
  'GET limits': LimitList;
  'GET openapi.json': {
    [k: string]: unknown;
  };
  'GET page/address': PageAddress;
  'GET ports': PortList;
  'POST ports/hear': Heard;
  'GET rigs': RigList;
  'POST rigs': RigKept;
  'DELETE rigs/{rig}': RigRemoved;
  'PUT rigs/{rig}': RigKept;
  'POST rigs/{rig}/calibrate': CalibratedRig;
  'POST rigs/{rig}/readings': EnteredReading;
  'POST rigs/{rig}/use': UsedAtRig;
  'POST rigs/{rig}/zero': ZeroedRig;
  'GET runs': RunList;
  'POST runs/recompute': RecomputeOutcomes;
  'GET runs/{id}': Run;
  'POST runs/{id}/exclude': CorrectedRun;
  'POST runs/{id}/restore': CorrectedRun;
  'POST runs/{id}/tag': CorrectedRun;
  'GET runs/{id}/trace': Thinned;
  'DELETE session': SessionClosed;
  'GET session': Session;
  'POST session': Session;
  'GET shelf/{kind}': ShelfList;
  'DELETE shelf/{kind}/{name}': RemovedFromShelf;
  'GET shelf/{kind}/{name}': ShelfDocument;
  'PUT shelf/{kind}/{name}': ShelfDocument;
  'GET status': Status;
  'GET store/check': CheckReport;
  'POST store/check': CheckReport;
  'POST store/prune': PruneAnswer;
  'POST store/verify': VerifyReport;
  'GET tools/{tool}/acceptance': ToolAcceptance;
  'GET tools/{tool}/history': ToolHistory;
  'GET trials': TrialList;
  'POST trials': TrialOrder | Trial;
  'GET trials/{name}': Trial;
  'GET trials/{name}/comparison': TrialCompared;
  'GET trials/{name}/readings': TrialReadings;
  'POST trials/{name}/ready': Trial;
  'POST trials/{name}/say': Trial;
}
/**
 * The uncertainty budget of runs.
 */
export interface Budget {
  measure: Measure;
  monte_carlo: MonteCarlo | null;
  /**
   * What a person should know, a sentence each.
   */
  notes: string[];
  ratio: BudgetOfRatio | null;
  /**
   * Numbers of the runs.
   */
  runs: RunId[];
  /**
   * One of these, or of the others, comes from a simulated device.
   */
  simulated: boolean;
  tension: BudgetOfTension;
  torque: BudgetOfTorque | null;
}
/**
 * A simulation of a budget (JCGM 101:2008).
 */
export interface MonteCarlo {
  /**
   * Probability that the limits cover, 0 to 1.
   */
  level: number;
  /**
   * What they were drawn from.
   */
  seed: number;
  tension_kN: Simulated;
  torque_Nm: Simulated | null;
  /**
   * Trials.
   */
  trials: number;
}
/**
 * What a simulation gives, in the unit of its value.
 */
export interface Simulated {
  /**
   * Upper limit.
   */
  high: number;
  /**
   * Lower limit, as many below it as above the upper one.
   */
  low: number;
  /**
   * Mean.
   */
  mean: number;
  /**
   * Standard deviation.
   */
  standard_uncertainty: number;
}
/**
 * The mean of runs over that of others.
 */
export interface BudgetOfRatio {
  /**
   * What the calibration's line would bring if both were from calibrations of their own, percent.
   */
  calibration_line_if_nothing_cancelled_percent: number | null;
  /**
   * What both have in common, and so leaves no trace.
   */
  cancels: string[];
  /**
   * Expanded over standard uncertainty.
   */
  coverage_factor: number;
  /**
   * Effective degrees of freedom; null where there is no end to them.
   */
  degrees_of_freedom: number | null;
  /**
   * Name of the line that has most of the variance; null without a line.
   */
  dominating: string | null;
  /**
   * Expanded uncertainty.
   */
  expanded_uncertainty_percent: number;
  /**
   * Probability that the expanded uncertainty covers, 0 to 1.
   */
  level: number;
  /**
   * What its uncertainty is made of.
   */
  lines: BudgetLineOfPercent[];
  /**
   * Standard uncertainty.
   */
  standard_uncertainty_percent: number;
  /**
   * The value.
   */
  value_percent: number;
}
/**
 * A line of a budget.
 */
export interface BudgetLineOfPercent {
  /**
   * Its standard uncertainty times its sensitivity.
   */
  contribution_percent: number;
  /**
   * Of its standard uncertainty; null where there is no end to them.
   */
  degrees_of_freedom: number | null;
  /**
   * Its name.
   */
  line: string;
  /**
   * Its part of the variance, percent.
   */
  share_percent: number;
}
/**
 * A tension, kN.
 */
export interface BudgetOfTension {
  /**
   * Expanded over standard uncertainty.
   */
  coverage_factor: number;
  /**
   * Effective degrees of freedom; null where there is no end to them.
   */
  degrees_of_freedom: number | null;
  /**
   * Name of the line that has most of the variance; null without a line.
   */
  dominating: string | null;
  /**
   * Expanded uncertainty.
   */
  expanded_uncertainty_kN: number;
  /**
   * Probability that the expanded uncertainty covers, 0 to 1.
   */
  level: number;
  /**
   * What its uncertainty is made of.
   */
  lines: BudgetLineOfTension[];
  /**
   * Standard uncertainty.
   */
  standard_uncertainty_kN: number;
  /**
   * The value.
   */
  value_kN: number;
}
/**
 * A line of a budget.
 */
export interface BudgetLineOfTension {
  /**
   * Its standard uncertainty times its sensitivity.
   */
  contribution_kN: number;
  /**
   * Of its standard uncertainty; null where there is no end to them.
   */
  degrees_of_freedom: number | null;
  /**
   * Its name.
   */
  line: string;
  /**
   * Its part of the variance, percent.
   */
  share_percent: number;
}
/**
 * An equivalent torque, N·m.
 */
export interface BudgetOfTorque {
  /**
   * Expanded over standard uncertainty.
   */
  coverage_factor: number;
  /**
   * Effective degrees of freedom; null where there is no end to them.
   */
  degrees_of_freedom: number | null;
  /**
   * Name of the line that has most of the variance; null without a line.
   */
  dominating: string | null;
  /**
   * Expanded uncertainty.
   */
  expanded_uncertainty_Nm: number;
  /**
   * Probability that the expanded uncertainty covers, 0 to 1.
   */
  level: number;
  /**
   * What its uncertainty is made of.
   */
  lines: BudgetLineOfTorque[];
  /**
   * Standard uncertainty.
   */
  standard_uncertainty_Nm: number;
  /**
   * The value.
   */
  value_Nm: number;
}
/**
 * A line of a budget.
 */
export interface BudgetLineOfTorque {
  /**
   * Its standard uncertainty times its sensitivity.
   */
  contribution_Nm: number;
  /**
   * Of its standard uncertainty; null where there is no end to them.
   */
  degrees_of_freedom: number | null;
  /**
   * Its name.
   */
  line: string;
  /**
   * Its part of the variance, percent.
   */
  share_percent: number;
}
/**
 * Calibrations that are kept.
 */
export interface CalibrationList {
  /**
   * The calibrations, oldest first.
   */
  calibrations: CalibrationShown[];
}
/**
 * A calibration as it is shown.
 */
export interface CalibrationShown {
  /**
   * Points less coefficients.
   */
  degrees_of_freedom: number;
  /**
   * It holds no longer.
   */
  expired: boolean;
  line: Calibration;
  /**
   * Lower limit factor: 2.4 residual SDs (ASTM E74), kN.
   */
  llf_kN: number;
  /**
   * Residual standard deviation, kN.
   */
  residual_sd_kN: number;
  /**
   * Rigs that convert with it now.
   */
  rigs: string[];
  taken: TakenCalibration;
  /**
   * When it was stored, nanoseconds since 1970 UTC.
   */
  utc_ns: number;
  /**
   * Who stored it.
   */
  who: string;
}
/**
 * The line from counts to tension: a polynomial in counts, lowest power first, in kilonewtons.
 */
export interface Calibration {
  /**
   * kN per count to the power of the index; 2 to 4 coefficients.
   */
  coefficients_kN: number[];
  /**
   * Name under which runs remember it.
   */
  id: string;
  /**
   * Made from data-sheet figures, not against a reference: absolute figures are approximate.
   */
  nominal: boolean;
  /**
   * Full tension range, kN, where known.
   */
  range_kN?: number | null;
}
/**
 * A calibration as a person hands it in.
 */
export interface TakenCalibration {
  /**
   * Degree of the line, 1 to 3.
   */
  degree: number;
  /**
   * Relative humidity, percent.
   */
  humidity_percent?: number;
  /**
   * What was calibrated: serial numbers of cell and amplifier.
   */
  item?: string;
  /**
   * The loads in the order in which they were applied.
   */
  loads: KeptLoad[];
  /**
   * Its name: it means this line for ever.
   */
  name: string;
  /**
   * Anything else.
   */
  note?: string;
  /**
   * Who did it.
   */
  performed_by: string;
  /**
   * The day.
   */
  performed_on: string;
  reference: ReferenceStandard;
  /**
   * Air temperature, °C.
   */
  temperature_C?: number;
  /**
   * Last day on which it holds; none: nobody has said.
   */
  valid_until?: string;
}
/**
 * One load with what the instrument showed.
 */
export interface KeptLoad {
  /**
   * What the instrument showed.
   */
  counts: number;
  /**
   * Angle of the mounting, degrees.
   */
  position_deg?: number;
  /**
   * Force by the reference standard, kN.
   */
  reference_kN: number;
  /**
   * Name of its series.
   */
  series: string;
  /**
   * Applied from below.
   */
  up: boolean;
}
/**
 * What the loads were measured with.
 */
export interface ReferenceStandard {
  /**
   * Number of its certificate.
   */
  certificate: string;
  /**
   * Coverage factor of that.
   */
  coverage_factor: number;
  /**
   * The standard: kind and serial number.
   */
  standard: string;
  /**
   * Expanded uncertainty of its force, percent of the load.
   */
  uncertainty_percent: number;
  /**
   * Last day on which its certificate holds.
   */
  valid_until?: string;
}
/**
 * All that a bug report needs.
 */
export interface Doctor {
  /**
   * Counters of the daemon, by the name that `/metrics` gives them.
   */
  counters: {
    [k: string]: number;
  };
  /**
   * The latest events, at most 50, newest first.
   */
  events: EventRow[];
  /**
   * Versions, addresses, permissions: by name.
   */
  facts: {
    [k: string]: string;
  };
  forward: ForwardStatus;
  limits: QueueLimits;
  /**
   * The serial ports of this machine.
   */
  ports: PortState[];
  /**
   * Number of the process.
   */
  process: number;
  /**
   * The rigs, in the order of the settings.
   */
  rigs: RigState[];
  /**
   * Version of the schema that this program writes.
   */
  schema_version: number;
  /**
   * Version of SQLite.
   */
  sqlite: string;
  store: StoreSeen;
  /**
   * Version of the program.
   */
  version: string;
  writer: WriterHealth | null;
}
/**
 * A stored event.
 */
export interface EventRow {
  /**
   * What happened.
   */
  detail: string;
  /**
   * Number in the store.
   */
  id: number;
  /**
   * A short fixed word.
   */
  kind: string;
  /**
   * The rig; none: the daemon itself.
   */
  rig: string | null;
  /**
   * When, nanoseconds since 1970 UTC.
   */
  utc_ns: number;
}
/**
 * How forwarding goes.
 */
export interface ForwardStatus {
  outbox: OutboxStatus;
  server: ForwardState | null;
}
/**
 * How the outbox is doing.
 */
export interface OutboxStatus {
  /**
   * Rows that left because they are safe.
   */
  delivered: number;
  /**
   * Something is set up to forward.
   */
  forwarding: boolean;
  /**
   * Rows about health that gave up their place.
   */
  health_dropped: number;
  /**
   * Rows the central store will not have.
   */
  quarantined: number;
  /**
   * Rows of runs that found the outbox full; the runs are in the store.
   */
  rows_dropped: number;
  /**
   * Rows that wait to be sent or to be safe.
   */
  waiting: number;
  /**
   * Of these, rows about health.
   */
  waiting_health: number;
}
/**
 * How the last tries went.
 */
export interface ForwardState {
  /**
   * `starting`, `good`, `retrying` or `alarm`.
   */
  condition: string;
  /**
   * Tries that failed.
   */
  failures: number;
  /**
   * Requests made since the start.
   */
  requests: number;
  /**
   * Times that rows were sent again, because the server was or may have been restarted.
   */
  sent_again: number;
  /**
   * Since when, nanoseconds since 1970 UTC.
   */
  since_utc_ns: number;
  /**
   * Whether the server tells when it started.
   */
  tells_start: boolean;
  /**
   * What the last failure said.
   */
  trouble: string | null;
  /**
   * Rows that the server took and that are not safe yet.
   */
  unsettled: number;
  /**
   * Where it goes; never with a name, a password or a token.
   */
  url: string;
}
/**
 * Bounds of queues.
 */
export interface QueueLimits {
  /**
   * Most bytes of them.
   */
  store_queue_bytes: number;
  /**
   * Most rows that wait for the store.
   */
  store_queue_rows: number;
}
/**
 * A serial port of this machine.
 */
export interface PortState {
  /**
   * What is plugged in, as far as it tells.
   */
  device: string | null;
  /**
   * Why it cannot be opened, and what to do; null where it can.
   */
  not_allowed: string | null;
  /**
   * Stable name to put into the settings.
   */
  path: string;
  /**
   * The rig that uses it.
   */
  rig: string | null;
}
/**
 * All that is shown of a rig.
 */
export interface RigState {
  /**
   * No release was seen since the start, though a tightening may have been going on: no run is found, or it
   * is left out.
   */
  awaits_rest: boolean;
  /**
   * Name of the calibration.
   */
  calibration: string | null;
  counters: Counters;
  /**
   * The live raw code; null when stale.
   */
  counts: number | null;
  dial: Dial | null;
  /**
   * That run is not measured yet: the tool may be driving.
   */
  driving: boolean;
  /**
   * Times after the first blow at which tension is read, seconds; empty for a dial.
   */
  gates_s: number[];
  identity: Identity | null;
  in_force: InForce;
  link: Link;
  /**
   * Why the line is down, where it is.
   */
  link_detail: string | null;
  /**
   * That calibration comes from data sheets or a dial: absolute figures are approximate.
   */
  nominal: boolean;
  /**
   * Its port, as configured; null where a dial is read.
   */
  port: string | null;
  /**
   * Full range, kN, where known.
   */
  range_kN: number | null;
  /**
   * Samples a second.
   */
  rate_hz: number | null;
  /**
   * Its name.
   */
  rig: string;
  /**
   * Number within the stream of the run going on.
   */
  running: number | null;
  /**
   * The device says that it invents its counts: a simulation.
   */
  simulated: boolean;
  /**
   * Nothing came for max(1 s, 3 frames): the reading below is null then.
   */
  stale: boolean;
  /**
   * What stands until somebody changes it, in words: never silence where a limit or a calibration is
   * missing.
   */
  standing: string[];
  /**
   * The live reading, kN; null when stale or without a calibration.
   */
  tension_kN: number | null;
  /**
   * What keeps the daemon from measuring at this rig, in words; null where nothing does.
   */
  trouble: string | null;
  /**
   * The rig's zero, kN in the calibration's terms.
   */
  zero_kN: number | null;
}
/**
 * Closed accounts of one pipeline.
 *
 * `bytes_in` = `bytes_parsed` + the sum of `bytes_discarded` + what waits in an unfinished frame;
 * `samples_in` = `samples_used` + the sum of `samples_dropped` + `samples_waiting`.
 */
export interface Counters {
  /**
   * Bytes thrown away, by reason.
   */
  bytes_discarded: {
    [k: string]: number;
  };
  /**
   * Bytes fed.
   */
  bytes_in: number;
  /**
   * Bytes of good frames and their delimiters.
   */
  bytes_parsed: number;
  /**
   * Bytes of a frame that is not whole yet.
   */
  bytes_pending: number;
  /**
   * Good frames (or lines).
   */
  frames: number;
  /**
   * Runs announced.
   */
  runs: number;
  /**
   * Samples not used, by reason (repeated frame, no calibration...).
   */
  samples_dropped: {
    [k: string]: number;
  };
  /**
   * Samples taken from frames.
   */
  samples_in: number;
  /**
   * Samples the device or the line lost, as seen in ticks and sequence numbers.
   */
  samples_missing: number;
  /**
   * Samples that went to runs or to thinned idle time.
   */
  samples_used: number;
  /**
   * Samples held back while the spacing of an ASCII board is learned.
   */
  samples_waiting: number;
}
/**
 * A dial as set.
 */
export interface Dial {
  correction: Calibration | null;
  piston_area: PistonArea | null;
  /**
   * Tension at full scale, kN, where known.
   */
  range_kN: number | null;
  /**
   * Smallest step that can be read, in its unit, above zero.
   */
  resolution: number;
  unit: DialUnit;
}
/**
 * Who answers at the other end of a rig's line.
 */
export interface Identity {
  /**
   * Firmware version.
   */
  firmware: string;
  /**
   * Serial number of the device.
   */
  serial: string;
  /**
   * Device seconds in a second here.
   */
  time_scale: number;
}
/**
 * Everything a run is tagged with.
 */
export interface InForce {
  attempt: Attempt | null;
  bolt: BoltInForce | null;
  /**
   * Matings from anvil to socket drive.
   */
  contacts: number | null;
  /**
   * No tool is coupled: what loads the bolt now is a calibration, a push by hand, a trial pull. Such runs are kept,
   * flagged, and counted nowhere.
   */
  no_tool: boolean;
  /**
   * Name of the setup (chain of pieces); none: runs are flagged untagged.
   */
  setup: string | null;
  /**
   * Number of the newest row of the shelf when these names were looked up: they mean what they meant then, whatever
   * is put there later under the same name. None: tags of older programs.
   */
  shelf: number | null;
  source: SourceState | null;
  /**
   * Name of the tool.
   */
  tool: string | null;
}
/**
 * The step of a trial that the next run is for. It goes with the tags, so that a run names its step by the samples
 * it is made of, whatever a wall clock says.
 */
export interface Attempt {
  /**
   * Which "ready" of that trial it is, from 1.
   */
  attempt: number;
  /**
   * Number of the step, from 1; 0 for a run of the warm-up.
   */
  step: number;
  /**
   * Name of the trial, which is unique and never changed.
   */
  trial: string;
}
/**
 * The test bolt in the rig, with the figures a run needs.
 */
export interface BoltInForce {
  /**
   * Tension that must not be passed; none is the standing state "no limit set".
   */
  allowed_kN: number | null;
  factor_N_per_Nm: BoltFactor | null;
  /**
   * Name of the test bolt.
   */
  name: string;
}
/**
 * The store as a file.
 */
export interface StoreSeen {
  /**
   * Its bytes.
   */
  bytes: number;
  /**
   * Bytes that are free on its disk; null where the system does not tell.
   */
  disk_free_bytes: number | null;
  facts: StoreFacts;
  /**
   * Bytes of its write-ahead log.
   */
  log_bytes: number;
  /**
   * Its path.
   */
  path: string;
  /**
   * Runs in it.
   */
  runs: number;
  /**
   * It can be written.
   */
  writable: boolean;
}
/**
 * Figures of a store.
 */
export interface StoreFacts {
  /**
   * Bytes of the file.
   */
  bytes: number;
  /**
   * Flags of the newest runs: how many of them carry each.
   */
  flags_of_last_1000_runs: {
    [k: string]: number;
  };
  /**
   * Bytes in it that are free.
   */
  free_bytes: number;
  last_check: EventRow | null;
  last_restore: EventRow | null;
  last_verify: EventRow | null;
  /**
   * Greatest number by table; where rows are never taken away that is how many there are.
   */
  numbers: {
    [k: string]: number;
  };
  /**
   * Runs that are still open.
   */
  open_runs: number;
  /**
   * Version of its schema.
   */
  schema_version: number;
}
/**
 * How the writer is doing.
 */
export interface WriterHealth {
  /**
   * Transactions committed.
   */
  commits: number;
  /**
   * Rows in committed transactions.
   */
  committed: number;
  /**
   * Tries to commit that failed.
   */
  failed_commits: number;
  /**
   * What the store says while it cannot be written; rows wait in memory.
   */
  failing: string | null;
  /**
   * Rows handed over since the start.
   */
  queued: number;
  /**
   * Rows not stored, by reason.
   */
  refused: {
    [k: string]: number;
  };
  /**
   * Rows waiting in memory.
   */
  waiting: number;
}
/**
 * What the central store would not have.
 */
export interface Quarantine {
  /**
   * The rows, oldest first.
   */
  rows: QuarantineRow[];
}
/**
 * A row in quarantine.
 */
export interface QuarantineRow {
  /**
   * Its number.
   */
  id: number;
  /**
   * `run`, `closing`, `correction` or `health`.
   */
  kind: string;
  /**
   * What the central store said.
   */
  reason: string;
  /**
   * The run's number in the store.
   */
  run: number | null;
}
/**
 * What is tried again.
 */
export interface ForwardRetry {
  /**
   * Rows that were put in again.
   */
  rows: number;
  /**
   * Somebody tries at once.
   */
  woken: boolean;
}
/**
 * What tools of each class must give.
 */
export interface LimitList {
  /**
   * The limits, in the order of the settings.
   */
  limits: ClassLimit[];
}
/**
 * What tools of a class must give.
 */
export interface ClassLimit {
  /**
   * The class.
   */
  class: string;
  /**
   * The limit, in its unit.
   */
  limit: number;
  /**
   * After how many runs one may judge; empty: once.
   */
  looks: number[];
  measure: Measure;
  /**
   * The setup it is meant for.
   */
  setup: string;
  side: Side;
  unit: LimitUnit;
}
/**
 * Where other devices find the page.
 */
export interface PageAddress {
  /**
   * Its address; null where only this machine reaches it.
   */
  address: string | null;
}
/**
 * All serial ports.
 */
export interface PortList {
  /**
   * The ports of this machine.
   */
  ports: PortState[];
}
/**
 * What was heard at a port.
 */
export interface Heard {
  /**
   * Bytes that came.
   */
  bytes: number;
  /**
   * Who answered in our protocol.
   */
  device: string | null;
  guess: Guess | null;
  /**
   * The last lines, escaped, where it talks in lines.
   */
  lines: string[];
  /**
   * The rates it offers, samples a second.
   */
  rates_hz: number[];
  /**
   * What a person should know.
   */
  remarks: string[];
}
/**
 * A proposal.
 */
export interface Guess {
  /**
   * Decimals of the value.
   */
  decimals: number;
  /**
   * Pattern of the lines; none: no shape that most lines share.
   */
  pattern: string | null;
  /**
   * Lines a second.
   */
  rate_hz: number | null;
  /**
   * What a person should know, a sentence each.
   */
  remarks: string[];
  /**
   * Ticks a second, where the first number is a clock.
   */
  tick_hz: number | null;
}
/**
 * All rigs.
 */
export interface RigList {
  /**
   * The rigs, in the order of the settings.
   */
  rigs: RigState[];
}
/**
 * A rig that was written down.
 */
export interface RigKept {
  /**
   * Path of the file it stands in.
   */
  file: string;
  /**
   * Its name.
   */
  rig: string;
}
/**
 * A rig that was taken away.
 */
export interface RigRemoved {
  /**
   * Its name.
   */
  rig: string;
}
/**
 * The line that a rig converts with now.
 */
export interface CalibratedRig {
  calibration: Calibration;
  /**
   * The calibration that is kept under this name holds no longer.
   */
  expired: boolean;
  reply: Reply;
  /**
   * The rig.
   */
  rig: string;
}
/**
 * A reading as it was stored.
 */
export interface EnteredReading {
  /**
   * Its blows in order; empty where sampling cannot show them, null where a dial was read.
   */
  blow_list: Blow[] | null;
  /**
   * Blows a second.
   */
  blow_rate_hz: number | null;
  /**
   * Blows; null where sampling cannot show them.
   */
  blows: number | null;
  /**
   * Test bolt.
   */
  bolt: string | null;
  /**
   * Name of the calibration.
   */
  calibration: string | null;
  /**
   * Samples at the ends of the converter's range.
   */
  clipped: number | null;
  /**
   * Why the run closed; null while it has not, and for a reading by hand.
   */
  closed_by: string | null;
  /**
   * When it closed, seconds since sample 0 of the stream; null while it has not.
   */
  closed_s: number | null;
  /**
   * Its contacts.
   */
  contacts: number | null;
  /**
   * What people said about it, oldest first.
   */
  corrections: CorrectionRow[];
  /**
   * Last minus first blow, seconds.
   */
  drive_time_s: number | null;
  /**
   * Step of F² from F = 0 that a mean blow makes, kN² a blow; null where blows are not seen or doubtful.
   */
  energy_index_kN2_per_blow: number | null;
  /**
   * Its standard error.
   */
  energy_index_se_kN2_per_blow: number | null;
  /**
   * Of a reading by hand: who typed it.
   */
  entered_by: string | null;
  /**
   * Equivalent torque of the held tension, N·m; null without a bolt factor.
   */
  equivalent_torque_Nm: number | null;
  equivalent_torque_peak_Nm: NewtonMetres | null;
  equivalent_torque_plateau_Nm: NewtonMetres | null;
  /**
   * It is left out of results.
   */
  excluded: boolean;
  /**
   * First blow, seconds since sample 0 of the stream.
   */
  first_blow_s: number | null;
  /**
   * Names of its flags.
   */
  flags: string[];
  /**
   * Readings at fixed times after the first blow.
   */
  gates: GateLine[];
  /**
   * Growth at each gate.
   */
  growth: Growth[];
  /**
   * Settled tension, kN.
   */
  held_kN: number | null;
  /**
   * Held tension over the plateau.
   */
  held_over_limit: number | null;
  /**
   * Its standard error.
   */
  held_over_limit_se: number | null;
  id: RunId;
  in_force: InForce;
  /**
   * Last blow, seconds since sample 0 of the stream.
   */
  last_blow_s: number | null;
  /**
   * Why; empty where it counts.
   */
  left_out_because: string[];
  /**
   * Tension just after the last blow, kN.
   */
  level_kN: number | null;
  /**
   * F² at which the mean blow no longer moves the nut, kN².
   */
  limit_index_kN2: number | null;
  /**
   * Its standard error.
   */
  limit_index_se_kN2: number | null;
  /**
   * Samples that were lost on the way.
   */
  missing: number | null;
  /**
   * Standard deviation of the idle signal, kN.
   */
  noise_kN: number | null;
  /**
   * Of a reading by hand: what else was said.
   */
  note: string | null;
  /**
   * The true peak may lie higher.
   */
  peak_is_lower_bound: boolean | null;
  /**
   * Greatest filtered tension, kN.
   */
  peak_kN: number | null;
  /**
   * Its time, seconds since sample 0 of the stream.
   */
  peak_time_s: number | null;
  /**
   * The pieces of its setup from the anvil on, as the shelf had them when the run got its setup; empty where they are
   * not known.
   */
  pieces: string[];
  plateau_form: Form | null;
  /**
   * Fitted limit of the tension, kN.
   */
  plateau_kN: number | null;
  /**
   * Its standard error, kN.
   */
  plateau_se_kN: number | null;
  /**
   * Tension standing at the first blow above the rig's zero, kN; null where that zero is not known.
   */
  preload_kN: number | null;
  /**
   * Its standard error, of noise alone: how far the rig's zero may have drifted is not in it.
   */
  preload_se_kN: number | null;
  /**
   * Samples a second.
   */
  rate_hz: number | null;
  /**
   * The tool was pulled again before the release.
   */
  re_pulled: boolean | null;
  /**
   * Tension after that second pull, kN.
   */
  re_pulled_level_kN: number | null;
  /**
   * When each of the stated tensions was reached; empty where none is stated.
   */
  reached: Reached[];
  reading: Reading | null;
  /**
   * What was measured again, oldest first.
   */
  recomputations: Recomputation[];
  /**
   * When its newest measures were made, ISO 8601; null where they are those of its announcement.
   */
  recomputed_utc: string | null;
  /**
   * What the person who typed it should know at once, a sentence each.
   */
  remarks: string[];
  /**
   * Of a reading by hand: the smallest step of the dial, kN.
   */
  resolution_kN: number | null;
  /**
   * The rig.
   */
  rig: string;
  /**
   * Number at the rig.
   */
  rig_run: number;
  /**
   * Median over the blows of the largest excursion, kN; null where blows are not seen.
   */
  ringing_kN: number | null;
  samples_pruned: Tombstone | null;
  /**
   * Setup, corrections applied.
   */
  setup: string | null;
  /**
   * It comes from a simulated device.
   */
  simulated: boolean;
  /**
   * How its newest figures differ from those of the announcement; null where it was not measured again.
   */
  since_announcement: FigureDifference[] | null;
  /**
   * Single samples that were taken out.
   */
  spikes: number | null;
  /**
   * Scatter of the energy blow to blow, percent of its mean; null where blows are not seen or doubtful.
   */
  step_scatter_percent: number | null;
  /**
   * Its standard error.
   */
  step_scatter_se_percent: number | null;
  /**
   * Time constant of the fit, seconds.
   */
  time_constant_s: number | null;
  /**
   * Standard error of the time constant, seconds.
   */
  time_constant_se_s: number | null;
  /**
   * Whose clock its times come from: `device` or `host`.
   */
  timing: string | null;
  /**
   * Tool, corrections applied.
   */
  tool: string | null;
  /**
   * Wall time of the first blow, or of the reading by hand, ISO 8601.
   */
  utc: string;
  /**
   * The same, nanoseconds since 1970.
   */
  utc_ns: number;
  /**
   * How far the idle reading before the run stood from the rig's zero, kN.
   */
  zero_shift_kN: number | null;
}
/**
 * One hammer impact.
 */
export interface Blow {
  /**
   * Its onset, seconds since sample 0 of the stream.
   */
  at_s: number;
  /**
   * Tension after it, kN.
   */
  level_kN: number;
}
/**
 * A person's word on a run.
 */
export interface CorrectionRow {
  /**
   * Its contacts.
   */
  contacts: number | null;
  /**
   * `tag`, `exclude` or `restore`.
   */
  kind: string;
  /**
   * What a restore undoes: `exclusion` or `flags`.
   */
  lifts: string | null;
  /**
   * The setup named.
   */
  setup: string | null;
  /**
   * The tool named.
   */
  tool: string | null;
  /**
   * When, nanoseconds since 1970 UTC.
   */
  utc_ns: number;
  /**
   * Who.
   */
  who: string;
  /**
   * Why.
   */
  why: string;
}
/**
 * Tension and torque at a gate.
 */
export interface GateLine {
  /**
   * Seconds after the first blow.
   */
  after_s: number;
  /**
   * Tension, kN; null where the tool had stopped.
   */
  tension_kN: number | null;
  /**
   * Equivalent torque, N·m; null without a bolt factor.
   */
  torque_Nm: number | null;
}
/**
 * Growth at a gate.
 */
export interface Growth {
  /**
   * The gate, seconds after the first blow.
   */
  after_s: number;
  /**
   * Slope of the medians around it, kN a second; null where too few stand evenly about it.
   */
  growth_kN_per_s: number | null;
  /**
   * Its standard error.
   */
  growth_se_kN_per_s: number | null;
}
/**
 * How a stated tension was reached.
 */
export interface Reached {
  /**
   * Seconds after the first blow; null where it was not, or where it is not known.
   */
  after_s: number | null;
  /**
   * Its standard error.
   */
  after_se_s: number | null;
  /**
   * Blows it took; null where blows are not seen or doubtful, or where noise leaves more than two possible.
   */
  blows: number | null;
  state: ReachedState;
  /**
   * The tension above the run's zero, kN.
   */
  tension_kN: number;
}
/**
 * A reading by hand as it was typed.
 */
export interface Reading {
  dial: Dial;
  of: ReadingOf;
  unit: DialUnit;
  /**
   * The figure.
   */
  value: number;
}
/**
 * A version of a run that was measured again.
 */
export interface Recomputation {
  /**
   * Number of the version in the store.
   */
  id: number;
  line: Calibration;
  /**
   * Version of the program that measured.
   */
  program: string;
  settings: MeasureSettings;
  /**
   * When, nanoseconds since 1970 UTC.
   */
  utc_ns: number;
  /**
   * By whom.
   */
  who: string;
  /**
   * Why.
   */
  why: string;
}
/**
 * How runs are found and measured. Every field has the default of `Settings::default()`.
 */
export interface MeasureSettings {
  /**
   * Times after the first blow at which tension is read, seconds, ascending, 0 < g <= 300.
   */
  gates_s: number[];
  /**
   * Cut-off of the low-pass, hertz; 0.4 × Nyquist is used where that is lower.
   */
  lowpass_hz: number;
  /**
   * Full range of the rig, kN, where known.
   */
  range_kN: number | null;
  /**
   * A drive time below this is flagged `short`, seconds.
   */
  short_s: number;
  /**
   * Start threshold above zero, kN; none: 0.2 % of range, 0.3 kN where the range is unknown.
   */
  start_threshold_kN: number | null;
  /**
   * Tensions above the run's zero to which time and blows are given, kN, ascending; none unless asked for.
   */
  tensions_kN: number[];
  /**
   * How far the zero may stand from the rig's zero before runs are flagged, kN; none: 1 % of
   * range, 1 kN where the range is unknown.
   */
  zero_shift_limit_kN: number | null;
}
/**
 * What a run's samples left behind.
 */
export interface Tombstone {
  /**
   * The packed bytes they took.
   */
  bytes: number;
  /**
   * How many they were.
   */
  samples: number;
  /**
   * SHA-256 of the decoded codes, as `keeping.sql` says.
   */
  sha256: string;
  /**
   * When they were pruned, nanoseconds since 1970 UTC.
   */
  utc_ns: number;
  /**
   * By whom.
   */
  who: string;
  /**
   * Why.
   */
  why: string;
}
/**
 * One figure in two results.
 */
export interface FigureDifference {
  after: FigureValue | null;
  before: FigureValue | null;
  /**
   * Which; its unit stands last in the name.
   */
  figure: string;
}
/**
 * What is in force at a rig now.
 */
export interface UsedAtRig {
  in_force: InForce;
  reply: Reply;
  /**
   * The rig.
   */
  rig: string;
}
/**
 * The zero of a rig.
 */
export interface ZeroedRig {
  /**
   * What is wrong with it; null where nothing is.
   */
  remark: string | null;
  reply: Reply;
  /**
   * The rig.
   */
  rig: string;
  /**
   * The idle reading that counts as zero, kN in the calibration's terms; null where it is not known yet.
   */
  zero_kN: number | null;
}
/**
 * Runs by filter.
 */
export interface RunList {
  next: RunId | null;
  /**
   * The runs, newest first.
   */
  runs: RunLine[];
}
/**
 * One line of a list of runs. Absent figures are null; a reading by hand has one of `held_kN` and `peak_kN`.
 */
export interface RunLine {
  /**
   * Blows a second.
   */
  blow_rate_hz: number | null;
  /**
   * Blows; null where sampling cannot show them.
   */
  blows: number | null;
  /**
   * Test bolt.
   */
  bolt: string | null;
  /**
   * Name of the calibration.
   */
  calibration: string | null;
  /**
   * Why the run closed; null while it has not, and for a reading by hand.
   */
  closed_by: string | null;
  /**
   * Its contacts.
   */
  contacts: number | null;
  /**
   * Last minus first blow, seconds.
   */
  drive_time_s: number | null;
  /**
   * Of a reading by hand: who typed it.
   */
  entered_by: string | null;
  /**
   * Equivalent torque of the held tension, N·m; null without a bolt factor.
   */
  equivalent_torque_Nm: number | null;
  /**
   * It is left out of results.
   */
  excluded: boolean;
  /**
   * First blow, seconds since sample 0 of the stream.
   */
  first_blow_s: number | null;
  /**
   * Names of its flags.
   */
  flags: string[];
  /**
   * Readings at fixed times after the first blow.
   */
  gates: GateLine[];
  /**
   * Settled tension, kN.
   */
  held_kN: number | null;
  id: RunId;
  /**
   * Last blow, seconds since sample 0 of the stream.
   */
  last_blow_s: number | null;
  /**
   * Why; empty where it counts.
   */
  left_out_because: string[];
  /**
   * Of a reading by hand: what else was said.
   */
  note: string | null;
  /**
   * The true peak may lie higher.
   */
  peak_is_lower_bound: boolean | null;
  /**
   * Greatest filtered tension, kN.
   */
  peak_kN: number | null;
  /**
   * Its time, seconds since sample 0 of the stream.
   */
  peak_time_s: number | null;
  /**
   * Fitted limit of the tension, kN.
   */
  plateau_kN: number | null;
  /**
   * Its standard error, kN.
   */
  plateau_se_kN: number | null;
  /**
   * When its newest measures were made, ISO 8601; null where they are those of its announcement.
   */
  recomputed_utc: string | null;
  /**
   * Of a reading by hand: the smallest step of the dial, kN.
   */
  resolution_kN: number | null;
  /**
   * The rig.
   */
  rig: string;
  /**
   * Number at the rig.
   */
  rig_run: number;
  /**
   * Setup, corrections applied.
   */
  setup: string | null;
  /**
   * It comes from a simulated device.
   */
  simulated: boolean;
  /**
   * Time constant of the fit, seconds.
   */
  time_constant_s: number | null;
  /**
   * Whose clock its times come from: `device` or `host`.
   */
  timing: string | null;
  /**
   * Tool, corrections applied.
   */
  tool: string | null;
  /**
   * Wall time of the first blow, or of the reading by hand, ISO 8601.
   */
  utc: string;
  /**
   * The same, nanoseconds since 1970.
   */
  utc_ns: number;
}
/**
 * What became of several runs.
 */
export interface RecomputeOutcomes {
  /**
   * One for each run, in the order of the request.
   */
  outcomes: RecomputeOutcome[];
}
/**
 * What became of one run.
 */
export interface RecomputeOutcome {
  /**
   * Figures that differ from those before.
   */
  differences: FigureDifference[];
  /**
   * `recomputed`, `would-change`, `unchanged` or `refused`.
   */
  outcome: string;
  /**
   * Why it was refused; null where it was not.
   */
  reason: string | null;
  /**
   * Its number in the store.
   */
  run: number;
}
/**
 * One run with all that is known of it.
 */
export interface Run {
  /**
   * Its blows in order; empty where sampling cannot show them, null where a dial was read.
   */
  blow_list: Blow[] | null;
  /**
   * Blows a second.
   */
  blow_rate_hz: number | null;
  /**
   * Blows; null where sampling cannot show them.
   */
  blows: number | null;
  /**
   * Test bolt.
   */
  bolt: string | null;
  /**
   * Name of the calibration.
   */
  calibration: string | null;
  /**
   * Samples at the ends of the converter's range.
   */
  clipped: number | null;
  /**
   * Why the run closed; null while it has not, and for a reading by hand.
   */
  closed_by: string | null;
  /**
   * When it closed, seconds since sample 0 of the stream; null while it has not.
   */
  closed_s: number | null;
  /**
   * Its contacts.
   */
  contacts: number | null;
  /**
   * What people said about it, oldest first.
   */
  corrections: CorrectionRow[];
  /**
   * Last minus first blow, seconds.
   */
  drive_time_s: number | null;
  /**
   * Step of F² from F = 0 that a mean blow makes, kN² a blow; null where blows are not seen or doubtful.
   */
  energy_index_kN2_per_blow: number | null;
  /**
   * Its standard error.
   */
  energy_index_se_kN2_per_blow: number | null;
  /**
   * Of a reading by hand: who typed it.
   */
  entered_by: string | null;
  /**
   * Equivalent torque of the held tension, N·m; null without a bolt factor.
   */
  equivalent_torque_Nm: number | null;
  equivalent_torque_peak_Nm: NewtonMetres | null;
  equivalent_torque_plateau_Nm: NewtonMetres | null;
  /**
   * It is left out of results.
   */
  excluded: boolean;
  /**
   * First blow, seconds since sample 0 of the stream.
   */
  first_blow_s: number | null;
  /**
   * Names of its flags.
   */
  flags: string[];
  /**
   * Readings at fixed times after the first blow.
   */
  gates: GateLine[];
  /**
   * Growth at each gate.
   */
  growth: Growth[];
  /**
   * Settled tension, kN.
   */
  held_kN: number | null;
  /**
   * Held tension over the plateau.
   */
  held_over_limit: number | null;
  /**
   * Its standard error.
   */
  held_over_limit_se: number | null;
  id: RunId;
  in_force: InForce;
  /**
   * Last blow, seconds since sample 0 of the stream.
   */
  last_blow_s: number | null;
  /**
   * Why; empty where it counts.
   */
  left_out_because: string[];
  /**
   * Tension just after the last blow, kN.
   */
  level_kN: number | null;
  /**
   * F² at which the mean blow no longer moves the nut, kN².
   */
  limit_index_kN2: number | null;
  /**
   * Its standard error.
   */
  limit_index_se_kN2: number | null;
  /**
   * Samples that were lost on the way.
   */
  missing: number | null;
  /**
   * Standard deviation of the idle signal, kN.
   */
  noise_kN: number | null;
  /**
   * Of a reading by hand: what else was said.
   */
  note: string | null;
  /**
   * The true peak may lie higher.
   */
  peak_is_lower_bound: boolean | null;
  /**
   * Greatest filtered tension, kN.
   */
  peak_kN: number | null;
  /**
   * Its time, seconds since sample 0 of the stream.
   */
  peak_time_s: number | null;
  /**
   * The pieces of its setup from the anvil on, as the shelf had them when the run got its setup; empty where they are
   * not known.
   */
  pieces: string[];
  plateau_form: Form | null;
  /**
   * Fitted limit of the tension, kN.
   */
  plateau_kN: number | null;
  /**
   * Its standard error, kN.
   */
  plateau_se_kN: number | null;
  /**
   * Tension standing at the first blow above the rig's zero, kN; null where that zero is not known.
   */
  preload_kN: number | null;
  /**
   * Its standard error, of noise alone: how far the rig's zero may have drifted is not in it.
   */
  preload_se_kN: number | null;
  /**
   * Samples a second.
   */
  rate_hz: number | null;
  /**
   * The tool was pulled again before the release.
   */
  re_pulled: boolean | null;
  /**
   * Tension after that second pull, kN.
   */
  re_pulled_level_kN: number | null;
  /**
   * When each of the stated tensions was reached; empty where none is stated.
   */
  reached: Reached[];
  reading: Reading | null;
  /**
   * What was measured again, oldest first.
   */
  recomputations: Recomputation[];
  /**
   * When its newest measures were made, ISO 8601; null where they are those of its announcement.
   */
  recomputed_utc: string | null;
  /**
   * Of a reading by hand: the smallest step of the dial, kN.
   */
  resolution_kN: number | null;
  /**
   * The rig.
   */
  rig: string;
  /**
   * Number at the rig.
   */
  rig_run: number;
  /**
   * Median over the blows of the largest excursion, kN; null where blows are not seen.
   */
  ringing_kN: number | null;
  samples_pruned: Tombstone | null;
  /**
   * Setup, corrections applied.
   */
  setup: string | null;
  /**
   * It comes from a simulated device.
   */
  simulated: boolean;
  /**
   * How its newest figures differ from those of the announcement; null where it was not measured again.
   */
  since_announcement: FigureDifference[] | null;
  /**
   * Single samples that were taken out.
   */
  spikes: number | null;
  /**
   * Scatter of the energy blow to blow, percent of its mean; null where blows are not seen or doubtful.
   */
  step_scatter_percent: number | null;
  /**
   * Its standard error.
   */
  step_scatter_se_percent: number | null;
  /**
   * Time constant of the fit, seconds.
   */
  time_constant_s: number | null;
  /**
   * Standard error of the time constant, seconds.
   */
  time_constant_se_s: number | null;
  /**
   * Whose clock its times come from: `device` or `host`.
   */
  timing: string | null;
  /**
   * Tool, corrections applied.
   */
  tool: string | null;
  /**
   * Wall time of the first blow, or of the reading by hand, ISO 8601.
   */
  utc: string;
  /**
   * The same, nanoseconds since 1970.
   */
  utc_ns: number;
  /**
   * How far the idle reading before the run stood from the rig's zero, kN.
   */
  zero_shift_kN: number | null;
}
/**
 * A run as it counts now.
 */
export interface CorrectedRun {
  run: RunLine;
}
/**
 * A thinned trace; the three columns are of one length. A null stands for missing samples.
 */
export interface Thinned {
  /**
   * Onset of the first blow.
   */
  first_blow_s: number;
  /**
   * Gates, seconds after the first blow.
   */
  gates_s: number[];
  /**
   * Onset of the last blow.
   */
  last_blow_s: number;
  /**
   * Greatest tension.
   */
  max_kN: (number | null)[];
  /**
   * Least tension.
   */
  min_kN: (number | null)[];
  /**
   * Samples a second as recorded.
   */
  rate_hz: number;
  /**
   * The run.
   */
  run: number;
  /**
   * Samples recorded, the missing ones not counted.
   */
  samples: number;
  /**
   * Samples in a point.
   */
  samples_per_point: number;
  /**
   * Middle of each point, seconds since sample 0 of the stream.
   */
  time_s: number[];
}
/**
 * The session is over.
 */
export interface SessionClosed {}
/**
 * Who asks.
 */
export interface Session {
  /**
   * Whose token this one is; null where none was sent.
   */
  name: string | null;
  role: Role;
  /**
   * Tokens are asked for here.
   */
  tokens: boolean;
}
/**
 * A piece.
 */
export interface PieceOnShelf {
  /**
   * The end nearer to the tool.
   */
  drive_in: string;
  /**
   * The end nearer to the nut; none for a socket, which ends on the nut.
   */
  drive_out: string | null;
  kind: PieceKind;
  /**
   * Length over all, millimetres, 0 < l <= 3,000.
   */
  length_mm: number | null;
  /**
   * Mass, grams, 0 < m <= 50,000.
   */
  mass_g: number | null;
  /**
   * Its name, unique on the shelf.
   */
  name: string;
  /**
   * Serial number or other mark on it.
   */
  serial: string | null;
  uses?: Uses;
}
/**
 * How often one thing was used. Times are first blows, ISO 8601 UTC.
 */
export interface Uses {
  /**
   * The first of them.
   */
  first_utc: string | null;
  /**
   * The last of them.
   */
  last_utc: string | null;
  /**
   * Runs, those that do not count in results too.
   */
  runs: number;
  /**
   * Of a battery: runs since it was last said to be fresh.
   */
  runs_since_fresh?: number;
  /**
   * Of a test bolt: when that was. Of a battery: when it was last said to be fresh.
   */
  since_utc?: string;
  /**
   * Of a test bolt: runs and second pulls.
   */
  tightenings?: number;
  /**
   * Of a test bolt: the same since it was last put on the shelf.
   */
  tightenings_since?: number;
}
/**
 * A setup.
 */
export interface SetupOnShelf {
  /**
   * Its name, unique among setups.
   */
  name: string;
  /**
   * Names of pieces, tool side first; 1 to 16.
   */
  pieces: string[];
  uses?: Uses;
}
/**
 * A tool.
 */
export interface ToolOnShelf {
  /**
   * Size of its anvil (or hexagon chuck).
   */
  anvil: string;
  /**
   * A group it is compared within, in the user's words.
   */
  class: string | null;
  /**
   * Its name, unique among tools.
   */
  name: string;
  /**
   * Serial number.
   */
  serial: string | null;
  source: SourceKind;
  uses?: Uses;
}
/**
 * An energy source.
 */
export interface SourceOnShelf {
  kind: SourceKind;
  /**
   * Its name, unique among sources.
   */
  name: string;
  /**
   * Serial number or other mark on it.
   */
  serial: string | null;
  uses?: Uses;
}
/**
 * A test bolt.
 */
export interface BoltOnShelf {
  /**
   * Tension that must not be passed, kN, 0 < F <= 10,000; none is the standing state "no limit set".
   */
  allowed_kN: number | null;
  /**
   * Property class or grade as marked, such as `8.8`; none: not known.
   */
  class?: string;
  /**
   * Nominal diameter, millimetres, 3 to 200.
   */
  diameter_mm: number;
  /**
   * Tightenings after which the bolt is due to be looked at, cleaned or measured anew; none: no limit.
   */
  due_after?: number;
  factor: GivenFactor | null;
  /**
   * Where a measured factor comes from: wrench, its certificate, the day.
   */
  factor_source?: string;
  /**
   * Lubricant, free text; none: not known.
   */
  lubricant: string | null;
  /**
   * Its name, unique among test bolts.
   */
  name: string;
  /**
   * Thread as marked, free text such as `M20x2.5`.
   */
  thread: string;
  uses?: Uses;
}
/**
 * What was taken off the shelf.
 */
export interface RemovedFromShelf {
  /**
   * Its name.
   */
  removed: string;
}
/**
 * One piece on the shelf. `drive_in` is the way in, not inches: sizes carry their unit as text.
 */
export interface Piece {
  /**
   * The end nearer to the tool.
   */
  drive_in: string;
  /**
   * The end nearer to the nut; none for a socket, which ends on the nut.
   */
  drive_out: string | null;
  kind: PieceKind;
  /**
   * Length over all, millimetres, 0 < l <= 3,000.
   */
  length_mm: number | null;
  /**
   * Mass, grams, 0 < m <= 50,000.
   */
  mass_g: number | null;
  /**
   * Its name, unique on the shelf.
   */
  name: string;
  /**
   * Serial number or other mark on it.
   */
  serial: string | null;
}
/**
 * A setup: names of pieces in order from tool to nut.
 */
export interface Chain {
  /**
   * Its name, unique among setups.
   */
  name: string;
  /**
   * Names of pieces, tool side first; 1 to 16.
   */
  pieces: string[];
}
/**
 * One tool.
 */
export interface Tool {
  /**
   * Size of its anvil (or hexagon chuck).
   */
  anvil: string;
  /**
   * A group it is compared within, in the user's words.
   */
  class: string | null;
  /**
   * Its name, unique among tools.
   */
  name: string;
  /**
   * Serial number.
   */
  serial: string | null;
  source: SourceKind;
}
/**
 * One energy source.
 */
export interface Source {
  kind: SourceKind;
  /**
   * Its name, unique among sources.
   */
  name: string;
  /**
   * Serial number or other mark on it.
   */
  serial: string | null;
}
/**
 * One test bolt.
 */
export interface TestBolt {
  /**
   * Tension that must not be passed, kN, 0 < F <= 10,000; none is the standing state "no limit set".
   */
  allowed_kN: number | null;
  /**
   * Property class or grade as marked, such as `8.8`; none: not known.
   */
  class?: string;
  /**
   * Nominal diameter, millimetres, 3 to 200.
   */
  diameter_mm: number;
  /**
   * Tightenings after which the bolt is due to be looked at, cleaned or measured anew; none: no limit.
   */
  due_after?: number;
  factor: GivenFactor | null;
  /**
   * Where a measured factor comes from: wrench, its certificate, the day.
   */
  factor_source?: string;
  /**
   * Lubricant, free text; none: not known.
   */
  lubricant: string | null;
  /**
   * Its name, unique among test bolts.
   */
  name: string;
  /**
   * Thread as marked, free text such as `M20x2.5`.
   */
  thread: string;
}
/**
 * How things are, in short.
 */
export interface Status {
  /**
   * It brings the page for browsers.
   */
  page_built: boolean;
  /**
   * The rigs, in the order of the settings.
   */
  rigs: RigShort[];
  /**
   * Runs in the store.
   */
  runs: number;
  /**
   * The time of day, nanoseconds since 1970 UTC.
   */
  utc_ns: number;
  /**
   * Version of the program.
   */
  version: string;
  writer: WriterHealth | null;
}
/**
 * A rig in short.
 */
export interface RigShort {
  link: Link;
  /**
   * Its name.
   */
  rig: string;
  /**
   * The device says that it invents its counts: a simulation.
   */
  simulated: boolean;
  /**
   * Nothing comes from it.
   */
  stale: boolean;
}
/**
 * What a check found.
 */
export interface CheckReport {
  audit_head: AuditHead | null;
  /**
   * What is wrong.
   */
  faults: string[];
  /**
   * Findings beyond those kept.
   */
  further_faults: number;
  /**
   * Nothing was found.
   */
  ok: boolean;
  /**
   * Runs whose samples were pruned, each with its tombstone.
   */
  pruned_runs: number;
  /**
   * Rows by table.
   */
  rows: {
    [k: string]: number;
  };
  /**
   * Bytes they take.
   */
  sample_bytes: number;
  /**
   * Raw samples unpacked and counted.
   */
  samples: number;
  /**
   * Version of the schema.
   */
  schema_version: number;
  /**
   * Version of SQLite.
   */
  sqlite: string;
}
/**
 * The end of a chain, to be compared with one that was written down: `NUMBER:LINK`, the link as 64 hexadecimal digits.
 */
export interface AuditHead {
  /**
   * The link.
   */
  link: string;
  /**
   * Number of the last link.
   */
  number: number;
}
/**
 * What a pruning would take.
 */
export interface WouldPrune {
  file: StoreFile;
  would_prune: PruneAmount;
}
/**
 * The file of a store.
 */
export interface StoreFile {
  /**
   * Its bytes.
   */
  bytes: number;
  /**
   * Of these, bytes that are free for new rows.
   */
  free_bytes: number;
}
/**
 * How much a pruning takes, or has taken.
 */
export interface PruneAmount {
  /**
   * Blocks of idle time.
   */
  idle_blocks: number;
  /**
   * Packed bytes of those.
   */
  idle_bytes: number;
  /**
   * Runs that lose their samples.
   */
  runs: number;
  /**
   * Packed bytes of those.
   */
  sample_bytes: number;
  /**
   * Samples of theirs.
   */
  samples: number;
}
/**
 * What a pruning has taken.
 */
export interface Pruned {
  file: StoreFile;
  go_on: GoOn | null;
  pruned: PruneAmount;
}
/**
 * Where a pruning stands.
 */
export interface GoOn {
  /**
   * The last run that was looked at.
   */
  after: number;
  pruning: PruningId;
}
/**
 * What a look through the chain found.
 */
export interface VerifyReport {
  /**
   * What is wrong.
   */
  faults: string[];
  /**
   * Findings beyond those kept.
   */
  further_faults: number;
  head: AuditHead | null;
  /**
   * Links looked at.
   */
  links: number;
  /**
   * Nothing was found.
   */
  ok: boolean;
}
/**
 * Whether the latest runs of a tool meet a limit.
 */
export interface ToolAcceptance {
  decision: Decision;
  /**
   * Of that; null where there is no end to them.
   */
  degrees_of_freedom: number | null;
  /**
   * How far inside the limit the value must lie.
   */
  guard: number;
  /**
   * What it was held against.
   */
  limit: number;
  /**
   * Which look this is, from 1; null where one was planned.
   */
  look: number | null;
  /**
   * After how many runs one may judge; empty where one look was planned.
   */
  looks: number[];
  measure: Measure;
  /**
   * What a person should know, a sentence each.
   */
  notes: string[];
  /**
   * Probability that was asked of a yes or no, above 0.5 and below 1.
   */
  probability_of_a_right_decision: number;
  /**
   * Probability that the tool meets the limit, 0 to 1.
   */
  probability_of_conformity: number;
  /**
   * Numbers of the runs that were judged, newest first.
   */
  runs: number[];
  /**
   * Runs that another test, of new runs by themselves, would need to decide if value and spread are these; null where
   * it is decided or runs alone do not decide. Not to be added to these.
   */
  runs_of_a_new_test: number | null;
  /**
   * The setup of its runs; null where they have none.
   */
  setup: string | null;
  side: Side;
  /**
   * One of these, or of the reference tool's, comes from a simulated device.
   */
  simulated: boolean;
  /**
   * Standard uncertainty of the value.
   */
  standard_uncertainty: number;
  /**
   * Standard uncertainty that would decide; null where it is decided.
   */
  standard_uncertainty_to_decide: number | null;
  /**
   * The tool.
   */
  tool: string;
  unit: JudgedUnit;
  /**
   * Mean of the runs.
   */
  value: number;
}
/**
 * How a tool has been.
 */
export interface ToolHistory {
  capability: Capability | null;
  /**
   * Centre of the chart, kN; null where runs are too few for one.
   */
  centre_kN: number | null;
  /**
   * Its upper limit, kN.
   */
  high_kN: number | null;
  /**
   * Its lower limit, kN.
   */
  low_kN: number | null;
  /**
   * Mean of the moving ranges, kN.
   */
  mean_range_kN: number | null;
  measure: Measure;
  /**
   * What the chart is.
   */
  note: string;
  /**
   * What is in it besides the tool, a sentence each: several rigs, several calibrations.
   */
  notes: string[];
  /**
   * The runs, oldest first.
   */
  points: HistoryPoint[];
  /**
   * Upper limit of a moving range, kN.
   */
  range_limit_kN: number | null;
  /**
   * How many there are.
   */
  runs: number;
  /**
   * The setup of the runs; null where they have none.
   */
  setup: string | null;
  /**
   * One of them comes from a simulated device.
   */
  simulated: boolean;
  /**
   * The tool.
   */
  tool: string;
}
/**
 * How the spread of runs compares with what is demanded.
 */
export interface Capability {
  /**
   * The same by the spread from run to run (mean moving range over 2/√π), which slow changes do not make smaller;
   * null with fewer than three runs.
   */
  cpk: number | null;
  /**
   * Width that is allowed over six SDs of all runs; null where one side is named. In one short series it is also called Cm.
   */
  pp: number | null;
  /**
   * Distance of the mean from the nearer side over three SDs of all runs; also Cmk.
   */
  ppk: number;
  /**
   * Upper 95 % limit of that.
   */
  ppk_high: number;
  /**
   * Lower 95 % limit of that.
   */
  ppk_low: number;
}
/**
 * One run of a chart.
 */
export interface HistoryPoint {
  /**
   * Its calibration; null where it has none.
   */
  calibration: string | null;
  /**
   * Patterns that end at it, and `other rig` or `other calibration` where that of the run before is another.
   */
  remarks: string[];
  /**
   * The rig it was at.
   */
  rig: string;
  run: RunId;
  /**
   * When it was, ISO 8601.
   */
  utc: string;
  /**
   * The figure, kN.
   */
  value_kN: number;
}
/**
 * All trials.
 */
export interface TrialList {
  /**
   * The trials, newest first.
   */
  trials: TrialLine[];
}
/**
 * A trial in short.
 */
export interface TrialLine {
  /**
   * Each step is made ready by itself.
   */
  automatic: boolean;
  /**
   * Who planned it.
   */
  planned_by: string;
  /**
   * When, nanoseconds since 1970 UTC.
   */
  planned_utc_ns: number;
  /**
   * The rig it runs at.
   */
  rig: string;
  standing: TrialStanding;
  /**
   * Steps that a run took.
   */
  steps_done: number;
  /**
   * All steps, without the warm-up.
   */
  steps_total: number;
  /**
   * Its name.
   */
  trial: string;
}
/**
 * A plan that was looked at and not stored.
 */
export interface TrialOrder {
  plan: Plan;
  /**
   * Its steps in order, without the warm-up.
   */
  steps: TrialStep[];
}
/**
 * A planned comparison.
 */
export interface Plan {
  /**
   * Least and greatest dynamic pressure at the tool that a fresh air supply may have, kPa; none: any that was
   * read.
   *
   * @minItems 2
   * @maxItems 2
   */
  air_kPa: [number, number] | null;
  /**
   * The setup that counts as 100 %.
   */
  baseline: string;
  /**
   * A baseline run after so many others; none: about √k times as many as runs of one of the k setups, spread evenly
   * (with the first drawing: only at both ends).
   */
  baseline_every: number | null;
  /**
   * The test bolt; none: the one in force.
   */
  bolt: string | null;
  drawing: TrialDrawing | null;
  fresh: Fresh;
  /**
   * After how many repeats one may compare, the last of them all; empty: once, when all runs are there.
   */
  looks: number[];
  measure: Measure;
  /**
   * Its name.
   */
  name: string;
  order: Order;
  /**
   * The coupling is taken off and put on again before each run, also where the setup stays: so that repeats are
   * repeats of the coupling. False: it stays on while the setup stays, and such runs are one mounting. None: nobody
   * said, and nothing is known.
   */
  remount: boolean | null;
  /**
   * Runs of each setup with each tool.
   */
  repeats: number;
  /**
   * Rest before each run, seconds; told, not forced.
   */
  rest_s: number;
  /**
   * The rig it runs at.
   */
  rig: string;
  /**
   * What the order is drawn from: the same seed, the same order.
   */
  seed: number;
  /**
   * The setups that are compared with it.
   */
  setups: string[];
  /**
   * The tools; each has its own baseline.
   */
  tools: string[];
  /**
   * Runs on the baseline until readings are steady come first.
   */
  warm_up: boolean;
}
/**
 * One run that is planned.
 */
export interface TrialStep {
  /**
   * Which repeat it belongs to, from 1; 0 outside.
   */
  block: number;
  /**
   * From 1; runs of the warm-up have 0.
   */
  number: number;
  phase: TrialPhase;
  /**
   * The setup.
   */
  setup: string;
  /**
   * The tool.
   */
  tool: string;
}
/**
 * A trial as it stands.
 */
export interface Trial {
  /**
   * Each step is made ready by itself.
   */
  automatic: boolean;
  /**
   * What was said of it, oldest first.
   */
  entries: TrialEntry[];
  next: NextRun | null;
  /**
   * Runs that took no step, those of the warm-up aside.
   */
  not_counted: NotCounted[];
  plan: Plan;
  /**
   * Who planned it.
   */
  planned_by: string;
  /**
   * When it was planned, nanoseconds since 1970 UTC.
   */
  planned_utc_ns: number;
  standing: TrialStanding;
  /**
   * Its steps in order, without the warm-up.
   */
  steps: TrialStepAndRun[];
  /**
   * Steps that a run took.
   */
  steps_done: number;
  /**
   * Steps that somebody left out.
   */
  steps_skipped: number;
  /**
   * All steps, without the warm-up.
   */
  steps_total: number;
  /**
   * Its name.
   */
  trial: string;
  /**
   * The rig counts as warm.
   */
  warm: boolean;
  warm_up: WarmUp | null;
}
/**
 * The run that is awaited, or comes next.
 */
export interface NextRun {
  /**
   * Least and greatest dynamic pressure that a fresh air supply may have, kPa; null: any that was read.
   *
   * @minItems 2
   * @maxItems 2
   */
  air_kPa: [number, number] | null;
  /**
   * A fresh source is asked for before this run.
   */
  fresh_source_due: boolean;
  /**
   * Number of the go, from 1 within the trial: who is ready names it.
   */
  go: number;
  /**
   * Number of its step, from 1; runs of the warm-up have 0.
   */
  number: number;
  phase: TrialPhase;
  /**
   * Pieces of the setup in order from the tool to the nut; none where the setup has left the shelf.
   */
  pieces: string[];
  /**
   * The coupling of the run before has to be taken off and put on again.
   */
  remount_due: boolean;
  /**
   * Rest before the run, seconds; told, not forced.
   */
  rest_s: number;
  /**
   * The setup.
   */
  setup: string;
  source: SourceKind | null;
  /**
   * The tool.
   */
  tool: string;
}
/**
 * A run that took no step.
 */
export interface NotCounted {
  /**
   * Its go.
   */
  go: number;
  /**
   * Its number in the store.
   */
  run: number;
  /**
   * Why.
   */
  why: string;
}
/**
 * One step of a trial.
 */
export interface TrialStepAndRun {
  /**
   * Which repeat it belongs to, from 1; 0 outside.
   */
  block: number;
  /**
   * From 1.
   */
  number: number;
  phase: TrialPhase;
  /**
   * The run that took it; null where none has.
   */
  run: number | null;
  /**
   * The setup.
   */
  setup: string;
  /**
   * Somebody left it out.
   */
  skipped: boolean;
  /**
   * The tool.
   */
  tool: string;
  /**
   * The figure of that run that is compared, kN.
   */
  value_kN: number | null;
}
/**
 * How a warm-up goes.
 */
export interface WarmUp {
  /**
   * Greatest less least, percent of the mean.
   */
  range_percent: number | null;
  /**
   * Runs of it.
   */
  runs: number;
  /**
   * Upper 90 % limit likewise.
   */
  slope_percent_high: number | null;
  /**
   * Lower 90 % limit of their slope, percent of the mean a run; null where they are too few.
   */
  slope_percent_low: number | null;
  /**
   * Their figures in order, kN.
   */
  values_kN: number[];
  /**
   * About 2 where they are steady.
   */
  von_neumann_ratio: number | null;
  /**
   * What they say.
   */
  words: string;
}
/**
 * The setups of a trial by the gate, and by the plateau of the same runs.
 */
export interface TrialSetupsAndPlateau {
  /**
   * Risk of a wrong verdict over one tool's setups, above 0 and below 0.5; intervals have the confidence 1 - alpha.
   */
  alpha: number;
  arrangement: ComparisonArrangement;
  /**
   * The setup that counts as 100 %.
   */
  baseline: string;
  beside: ComparedBeside | null;
  checks: ComparisonChecks;
  /**
   * Residual degrees of freedom.
   */
  degrees_of_freedom: number;
  drift: Drift;
  /**
   * Two-sided p of no drift; shown, never used to choose.
   */
  drift_p_value: number | null;
  /**
   * Its slope, percent per hour; null where no line was fitted.
   */
  drift_percent_per_hour: number | null;
  /**
   * Standard error of the slope, percent per hour.
   */
  drift_se_percent_per_hour: number | null;
  /**
   * Runs that do not count.
   */
  excluded: LeftOut[];
  /**
   * The gate, seconds after the first blow; null where the measure is none.
   */
  gate_s: number | null;
  /**
   * Which figure of a run: `gate`, `held`, `peak`, `plateau`, or the quantity of a file that does not say.
   */
  measure: string;
  mountings: ComparisonMountings | null;
  /**
   * The loss that is to be ruled out, percent; null where nobody asked.
   */
  no_loss_above_percent: number | null;
  /**
   * What the limits hold, or why there are none, a sentence each.
   */
  notes: string[];
  planning: ComparisonPlanning | null;
  /**
   * `tension` or `torque`.
   */
  quantity: string;
  /**
   * SD of one run, percent; null without a residual degree of freedom.
   */
  residual_sd_percent: number | null;
  resolution: ComparisonResolution | null;
  /**
   * Each tool's baseline, then its other setups.
   */
  setups: SetupCompared[];
  /**
   * One of its runs comes from a simulated device.
   */
  simulated: boolean;
  simulation: ComparisonSimulation | null;
  /**
   * Name of the trial.
   */
  trial: string;
  /**
   * `kN` or `N·m`.
   */
  unit: string;
}
/**
 * What the order of the runs leaves in the percents, whatever the values are.
 */
export interface ComparisonArrangement {
  /**
   * The most that a drift of 1 % which dies away leaves in any percent.
   */
  drift_left_most_percent: number;
  /**
   * Setups whose runs all follow each other.
   */
  in_blocks: string[];
  /**
   * What a person should know of it, a sentence each.
   */
  notes: string[];
  /**
   * Setups of which runs follow each other while nobody noted whether the coupling was taken off between them.
   */
  perhaps_one_mounting: string[];
  /**
   * Whether alpha is the risk of a wrong verdict with this order of runs.
   */
  risk_holds: boolean;
}
/**
 * The same runs by another figure.
 */
export interface ComparedBeside {
  /**
   * Which figure.
   */
  measure: string;
  /**
   * Each tool's baseline, then its other setups.
   */
  setups: SetupCompared[];
}
/**
 * One setup with one tool.
 */
export interface SetupCompared {
  /**
   * Residual degrees of freedom.
   */
  degrees_of_freedom: number | null;
  /**
   * The least difference that these repeats would have shown, percent.
   */
  detectable_percent: number | null;
  /**
   * Percent that a drift of 1 % which dies away leaves in this percent, from the order of the runs alone, with its
   * sign: that of readings which begin too high; null for the baseline.
   */
  drift_left_percent: number | null;
  /**
   * The time constant of such a drift at which it leaves most, seconds.
   */
  drift_left_time_constant_s: number | null;
  equivalence: ComparisonEquivalence | null;
  /**
   * Upper limit of this percent alone.
   */
  high: number | null;
  /**
   * Upper limit likewise.
   */
  high_simultaneous: number | null;
  /**
   * Upper limit likewise.
   */
  high_total: number | null;
  /**
   * That is off by more than half of the interval `low` to `high`, or of the one that outliers do not widen: look at the
   * runs.
   */
  huber_disagrees: boolean | null;
  /**
   * Lower limit of this percent alone.
   */
  low: number | null;
  /**
   * Lower limit that holds for all of this tool's setups together, percent.
   */
  low_simultaneous: number | null;
  /**
   * Lower limit for all of this tool's setups together with what the calibration leaves in a ratio, percent.
   */
  low_total: number | null;
  /**
   * Mountings that they belong to; null where nobody noted them.
   */
  mountings: number | null;
  /**
   * Why something is missing.
   */
  note: string | null;
  /**
   * p for all of this tool's setups together; the verdict follows from it.
   */
  p_adjusted: number | null;
  /**
   * Two-sided p of this comparison alone.
   */
  p_value: number | null;
  /**
   * The percent by a fit that outliers pull less (Huber); null for the baseline and where there is no such fit.
   */
  percent_by_huber: number | null;
  /**
   * Percent of the baseline; 100 for the baseline itself.
   */
  percent_of_baseline: number;
  /**
   * Runs that count.
   */
  runs: number;
  /**
   * Name of the setup.
   */
  setup: string;
  /**
   * Difference over its standard error.
   */
  t: number | null;
  /**
   * Name of the tool; null where only one was used.
   */
  tool: string | null;
  verdict: Verdict | null;
}
/**
 * Whether a loss above the stated one is ruled out, by two one-sided tests.
 */
export interface ComparisonEquivalence {
  claim: EquivalenceClaim;
  /**
   * p of a loss or a gain above the stated one, likewise (Bonferroni).
   */
  p_either: number;
  /**
   * p of a loss above the stated one, for all of this tool's setups together (Dunnett, one side).
   */
  p_loss: number;
}
/**
 * What the residuals look like; shown, never used to drop a run or to choose a model.
 */
export interface ComparisonChecks {
  /**
   * Correlation of each residual with the next, -1 to 1.
   */
  lag_1_correlation: number | null;
  outlier: ComparisonOutlier | null;
  /**
   * p of no trend in time.
   */
  trend_p_value: number | null;
  /**
   * About 2 where neighbours have nothing in common.
   */
  von_neumann_ratio: number | null;
}
/**
 * The run that stands out most.
 */
export interface ComparisonOutlier {
  /**
   * p of such a run where none is wrong.
   */
  p_value: number;
  /**
   * Its number.
   */
  run: number;
  /**
   * Its residual over what residuals spread by.
   */
  studentised: number;
}
/**
 * A run that was left out.
 */
export interface LeftOut {
  /**
   * Its number.
   */
  run: number;
  /**
   * Why; null where it has no tag to be compared by.
   */
  why: string | null;
}
/**
 * How mountings scatter.
 */
export interface ComparisonMountings {
  /**
   * How many there are.
   */
  mountings: number;
  /**
   * SD of pulls within a mounting, percent; null where no mounting has two.
   */
  pull_sd_percent: number | null;
  /**
   * SD from mounting to mounting, percent, what pulls scatter by taken off; null where that cannot be told.
   */
  sd_percent: number | null;
}
/**
 * How many runs of a new trial would show a difference. Runs added to those that were compared are a second look,
 * which errs more often than alpha says.
 */
export interface ComparisonPlanning {
  /**
   * The difference, percent.
   */
  difference_percent: number;
  /**
   * Why something is missing.
   */
  note: string | null;
  /**
   * Probability of showing it, 0 to 1.
   */
  power: number;
  /**
   * Runs of each setup and of the baseline in a new trial; null where they cannot be told.
   */
  runs_each: number | null;
  /**
   * Where that is from: `expected`, `residuals` or `none`.
   */
  sd_from: string;
  /**
   * SD of one run that was reckoned with, percent; null where none is known.
   */
  sd_percent: number | null;
}
/**
 * The step of the readings against their scatter.
 */
export interface ComparisonResolution {
  /**
   * Repeats scatter by less than half a step, so all are rounded the same way: the rounding, step/√12, is in each limit
   * and does not shrink with repeats.
   */
  counts: boolean;
  /**
   * The coarsest step, percent of its reading.
   */
  step_percent: number;
}
/**
 * How often this comparison is right: trials of its very order of runs with a known truth.
 */
export interface ComparisonSimulation {
  /**
   * Loss of each setup for coverage and power, percent.
   */
  difference_percent: number;
  /**
   * What was counted.
   */
  scenarios: ComparisonScenario[];
  /**
   * SD of one pull that was drawn with, percent.
   */
  sd_percent: number;
  /**
   * What they were drawn from: the same seed, the same counts.
   */
  seed: number;
  /**
   * Trials of each scenario.
   */
  trials: number;
}
/**
 * What was counted of one scenario.
 */
export interface ComparisonScenario {
  /**
   * How often limits of one percent held the truth, percent.
   */
  coverage_percent: number;
  /**
   * How often a difference was shown with a tool where none was, percent.
   */
  false_differences_percent: number;
  /**
   * How often a setup that lost as stated was shown to, percent.
   */
  power_percent: number;
  /**
   * What the rig and the couplings did besides scatter.
   */
  scenario: string;
  /**
   * Standard error of the false differences at the risk of the comparison, percent.
   */
  se_percent: number;
  /**
   * How often the simultaneous limits of a tool all did, percent.
   */
  together_percent: number;
}
/**
 * The setups of a trial compared with its baseline.
 */
export interface TrialSetups {
  /**
   * Risk of a wrong verdict over one tool's setups, above 0 and below 0.5; intervals have the confidence 1 - alpha.
   */
  alpha: number;
  arrangement: ComparisonArrangement;
  /**
   * The setup that counts as 100 %.
   */
  baseline: string;
  checks: ComparisonChecks;
  /**
   * Residual degrees of freedom.
   */
  degrees_of_freedom: number;
  drift: Drift;
  /**
   * Two-sided p of no drift; shown, never used to choose.
   */
  drift_p_value: number | null;
  /**
   * Its slope, percent per hour; null where no line was fitted.
   */
  drift_percent_per_hour: number | null;
  /**
   * Standard error of the slope, percent per hour.
   */
  drift_se_percent_per_hour: number | null;
  /**
   * Runs that do not count.
   */
  excluded: LeftOut[];
  /**
   * The gate, seconds after the first blow; null where the measure is none.
   */
  gate_s: number | null;
  /**
   * Which figure of a run: `gate`, `held`, `peak`, `plateau`, or the quantity of a file that does not say.
   */
  measure: string;
  mountings: ComparisonMountings | null;
  /**
   * The loss that is to be ruled out, percent; null where nobody asked.
   */
  no_loss_above_percent: number | null;
  /**
   * What the limits hold, or why there are none, a sentence each.
   */
  notes: string[];
  planning: ComparisonPlanning | null;
  /**
   * `tension` or `torque`.
   */
  quantity: string;
  /**
   * SD of one run, percent; null without a residual degree of freedom.
   */
  residual_sd_percent: number | null;
  resolution: ComparisonResolution | null;
  /**
   * Each tool's baseline, then its other setups.
   */
  setups: SetupCompared[];
  /**
   * One of its runs comes from a simulated device.
   */
  simulated: boolean;
  simulation: ComparisonSimulation | null;
  /**
   * Name of the trial.
   */
  trial: string;
  /**
   * `kN` or `N·m`.
   */
  unit: string;
}
/**
 * What the pieces of a trial do.
 */
export interface TrialPieces {
  /**
   * Risk of a wrong verdict over one tool's setups, above 0 and below 0.5; intervals have the confidence 1 - alpha.
   */
  alpha: number;
  /**
   * The setup that counts as 100 %.
   */
  baseline: string;
  /**
   * Residual degrees of freedom.
   */
  degrees_of_freedom: number;
  drift: Drift;
  /**
   * Two-sided p of no drift; shown, never used to choose.
   */
  drift_p_value: number | null;
  /**
   * Its slope, percent per hour; null where no line was fitted.
   */
  drift_percent_per_hour: number | null;
  /**
   * Standard error of the slope, percent per hour.
   */
  drift_se_percent_per_hour: number | null;
  /**
   * Runs that do not count.
   */
  excluded: LeftOut[];
  /**
   * The gate, seconds after the first blow; null where the measure is none.
   */
  gate_s: number | null;
  /**
   * Pieces that are in every chain: part of the baseline's level.
   */
  in_every_chain: string[];
  lack_of_fit: LackOfFit | null;
  /**
   * Which figure of a run: `gate`, `held`, `peak`, `plateau`, or the quantity of a file that does not say.
   */
  measure: string;
  model: PieceModel;
  other_model: OtherPieceModel | null;
  /**
   * What one more of each leaves.
   */
  pieces: PieceCompared[];
  prediction: Prediction | null;
  /**
   * `tension` or `torque`.
   */
  quantity: string;
  /**
   * SD of one run, percent; null without a residual degree of freedom.
   */
  residual_sd_percent: number | null;
  /**
   * One of its runs comes from a simulated device.
   */
  simulated: boolean;
  /**
   * Name of the trial.
   */
  trial: string;
  /**
   * `kN` or `N·m`.
   */
  unit: string;
}
/**
 * Whether losses multiply.
 */
export interface LackOfFit {
  /**
   * Degrees of freedom above: chains beyond what pieces explain.
   */
  df_above: number;
  /**
   * Degrees of freedom below: those of the repeats.
   */
  df_below: number;
  /**
   * Mean square of what pieces do not explain over that of repeats.
   */
  f: number;
  /**
   * p of losses that multiply.
   */
  p_value: number;
}
/**
 * How runs lie about a model that was not chosen.
 */
export interface OtherPieceModel {
  lack_of_fit: LackOfFit | null;
  model: PieceModel;
  /**
   * SD of one run about it, percent; null without a residual degree of freedom.
   */
  residual_sd_percent: number | null;
}
/**
 * What one more of a piece leaves.
 */
export interface PieceCompared {
  /**
   * The same in parts.
   */
  combination: PartCompared[];
  /**
   * Upper limit of that percent.
   */
  high: number | null;
  /**
   * Lower limit of that percent.
   */
  low: number | null;
  /**
   * Why something is missing.
   */
  note: string | null;
  /**
   * The same times the number of effects, at most 1.
   */
  p_adjusted: number | null;
  /**
   * Two-sided p of no effect.
   */
  p_value: number | null;
  /**
   * What it leaves, percent.
   */
  percent: number;
  /**
   * The piece, or several where the runs cannot tell them apart, such as `ext + joint`.
   */
  piece: string;
}
/**
 * A part of what cannot be told apart.
 */
export interface PartCompared {
  /**
   * How often it counts.
   */
  count: number;
  /**
   * Name of the piece.
   */
  piece: string;
}
/**
 * A chain that was not tried.
 */
export interface Prediction {
  /**
   * Upper limit of its mean, percent.
   */
  high: number | null;
  /**
   * Upper limit of one run of it, percent.
   */
  high_one_run: number | null;
  /**
   * Lower limit of its mean, percent.
   */
  low: number | null;
  /**
   * Lower limit of one run of it, percent.
   */
  low_one_run: number | null;
  /**
   * Why something is missing, or a caution.
   */
  note: string | null;
  /**
   * Percent of the baseline; null where the runs cannot tell.
   */
  percent_of_baseline: number | null;
  /**
   * Its pieces.
   */
  pieces: string[];
}
/**
 * The runs of a trial as a comparison takes them.
 */
export interface TrialReadings {
  /**
   * The setup that counts as 100 %.
   */
  baseline: string;
  /**
   * The gate, seconds after the first blow; null where another figure is meant, or there is no run.
   */
  gate_s: number | null;
  measure: Measure;
  /**
   * Runs of baseline and setups in time order.
   */
  rows: TrialReading[];
  /**
   * Name of the trial.
   */
  trial: string;
}
/**
 * A run as a comparison takes it.
 */
export interface TrialReading {
  /**
   * Why it does not count; null where it does.
   */
  excluded: string | null;
  /**
   * Which mounting of the setup it belongs to; null where the plan does not say when the coupling is taken off.
   */
  mounting: string | null;
  /**
   * The setup's chain, as the shelf had it when the run got its setup.
   */
  pieces: string[];
  /**
   * Of a reading by hand: the smallest step of the dial, kN.
   */
  resolution_kN: number | null;
  run: RunId;
  /**
   * Its setup, corrections applied.
   */
  setup: string | null;
  /**
   * Since the trial's first run, seconds.
   */
  time_s: number;
  /**
   * Its tool, corrections applied.
   */
  tool: string | null;
  /**
   * The figure that is compared, kN; null where it has none.
   */
  value_kN: number | null;
}
