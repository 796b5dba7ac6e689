// What the daemon says, under the names that the page has for it. The shapes are made of the daemon's own document (answers.ts);
// by hand stand only the messages of the feed, which is no answer.
import type { InForce, Link } from './answers.ts';

export type {
  BoltInForce as Bolt, BoltOnShelf as TestBolt, CorrectionRow, Counters, Dial, GateLine as Gate, Growth, Heard, InForce, Link as LinkState,
  PieceKind, PieceOnShelf as Piece, PortState, Reached, RigState as Rig, Run as RunDetail, RunLine, SetupOnShelf as Setup,
  SourceOnShelf as Source, SourceState, Thinned as Trace, ToolOnShelf as Tool, Uses,
} from './answers.ts';

/** A message of the feed. Tensions of `live` are newtons. */
export type Message = { rig: string; utc_ns: number } & (
  | { news: 'event'; event: 'live'; at_s: number; mean: number; min: number; max: number; counts: number }
  | { news: 'event'; event: 'started'; run_seq: number; at_s: number }
  | { news: 'event'; event: 'blow'; run_seq: number; at_s: number }
  | { news: 'event'; event: 'stale'; stale: boolean }
  | { news: 'event'; event: 'unsampled'; answers: boolean }
  | ({ news: 'event'; event: 'in-force' } & InForce)
  | { news: 'event'; event: 'identity' | 'rate' | 'status' | 'zeroed' | 'refused' | 'awaits-rest' }
  | { news: 'run'; id: number; row: { row: 'announced' | 'closed'; run_seq: number; flags: string[] } }
  | { news: 'reading'; id: number; flags: string[] }
  | { news: 'changed'; id: number }
  | { news: 'trial'; trial: string }
  | { news: 'link'; link: Link; detail: string | null }
);
