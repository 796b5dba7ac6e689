// The run going on, as the daemon's events tell it: waiting, driving, past its gate, measured. Pure: an event in, the
// next state out. Times are those of the rig's own stream; the clock of this device is not asked, so a cue comes with
// the reading that has reached the gate. All of it is provisional; figures come with the announced run.
import type { Message } from './types.ts';

export interface Run {
  seq: number;
  /** First blow as far as seen, seconds; null where the run began before this page looked. */
  first_s: number | null;
  phase: 'driving' | 'measured';
  /** How many gates were reached. */
  gatesPassed: number;
  blows: number;
  /** Newest time known of it, seconds. */
  at_s: number;
}

export type Step =
  | { is: 'live'; at_s: number }
  | { is: 'started'; seq: number; at_s: number }
  | { is: 'blow'; seq: number; at_s: number }
  | { is: 'announced'; seq: number }
  | { is: 'closed'; seq: number }
  | { is: 'gone' }
  | null;

/** What a message says about runs; null: nothing. */
export function sample(message: Message): Step {
  if (message.news === 'run') {
    const { row, run_seq: seq } = message.row;
    return row === 'announced' ? { is: 'announced', seq } : { is: 'closed', seq };
  }
  if (message.news === 'link') return message.link === 'up' ? null : { is: 'gone' };
  if (message.news !== 'event') return null;
  switch (message.event) {
    case 'live':
      return { is: 'live', at_s: message.at_s };
    case 'started':
      return { is: 'started', seq: message.run_seq, at_s: message.at_s };
    case 'blow':
      return { is: 'blow', seq: message.run_seq, at_s: message.at_s };
    default:
      return null;
  }
}

/** The next state, and what is to be heard. */
export function step(run: Run | null, what: Step, gates: readonly number[]): { run: Run | null; cue: 'gate' | 'measured' | null } {
  if (what === null) return { run, cue: null };
  if (what.is === 'gone') return { run: null, cue: null };
  if (what.is === 'started')
    return { run: { seq: what.seq, first_s: what.at_s, phase: 'driving', gatesPassed: 0, blows: 0, at_s: what.at_s }, cue: null };
  if (run === null) return { run, cue: null };
  if (what.is === 'closed') return { run: what.seq === run.seq ? null : run, cue: null };
  if (what.is === 'announced')
    return what.seq === run.seq ? { run: { ...run, phase: 'measured' }, cue: 'measured' } : { run, cue: null };
  let next = run;
  if (what.is === 'blow') {
    if (what.seq !== run.seq) return { run, cue: null };
    // The first blows of a soft start lie before the crossing.
    const first_s = run.first_s === null ? null : Math.min(run.first_s, what.at_s);
    next = { ...run, first_s, blows: run.blows + 1 };
  }
  if (next.phase !== 'driving') return { run: next, cue: null };
  const due = next.first_s === null ? 0 : gates.filter((gate) => what.at_s >= (next.first_s ?? 0) + gate).length;
  const gatesPassed = Math.max(due, next.gatesPassed);
  return { run: { ...next, gatesPassed, at_s: what.at_s }, cue: gatesPassed > next.gatesPassed ? 'gate' : null };
}

/** Seconds to the next gate; null where there is none, or its beginning was not seen. */
export function toGate(run: Run, gates: readonly number[]): { after_s: number; left_s: number } | null {
  const after_s = gates[run.gatesPassed];
  if (after_s === undefined || run.first_s === null) return null;
  return { after_s, left_s: Math.max(0, run.first_s + after_s - run.at_s) };
}
