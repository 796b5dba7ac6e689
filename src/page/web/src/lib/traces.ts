// Traces over one another. Pure.
import type { Trace } from './types.ts';

/** More lines than these cannot be told apart. */
export const RUNS_MAX = 6;
/** Seconds that are drawn before the first blow and after the last. */
const AROUND_S = 0.3;

/** Each trace as points of seconds after its first blow and the middle of its stretch, kN; stretches without samples are
 * left out. */
export function overlaid(traces: readonly Trace[]): [number, number][][] {
  return traces.map((trace) =>
    trace.time_s.flatMap((time, at): [number, number][] => {
      const [low, high] = [trace.min_kN[at], trace.max_kN[at]];
      const inside = time >= trace.first_blow_s - AROUND_S && time <= trace.last_blow_s + AROUND_S;
      return inside && low != null && high != null ? [[time - trace.first_blow_s, (low + high) / 2]] : [];
    }),
  );
}
