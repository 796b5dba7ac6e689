// A run beside the baseline runs that the trial has so far. Pure. Drift is not taken out: the comparison does that, once
// there are enough runs.
import type { ReadingRow } from './comparison.ts';

/** Percent of the geometric mean of the baseline of the run's own tool, with how many runs that mean has. */
export function soFar(rows: readonly ReadingRow[], baseline: string, run: number): { percent: number; runs: number } | null {
  const own = rows.find((row) => row.run === run);
  if (!own?.value_kN || own.value_kN <= 0) return null;
  const known = rows.filter((row) => row.setup === baseline && row.tool === own.tool && row.excluded === null && row.run !== run && (row.value_kN ?? 0) > 0);
  if (known.length === 0) return null;
  const mean = known.reduce((sum, row) => sum + Math.log(row.value_kN ?? 1), 0) / known.length;
  return { percent: 100 * Math.exp(Math.log(own.value_kN) - mean), runs: known.length };
}
