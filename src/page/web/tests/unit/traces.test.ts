// Traces over one another, and a run beside its baseline so far. All figures are invented.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import type { ReadingRow } from '../../src/lib/comparison.ts';
import { soFar } from '../../src/lib/so-far.ts';
import { overlaid } from '../../src/lib/traces.ts';

test('a trace begins at its first blow and leaves out what has no samples', () => {
  const trace = { run: 1, samples_per_point: 1, time_s: [1, 2, 2.1, 5, 9], min_kN: [0, 10, null, 70, 70], max_kN: [1, 12, null, 74, 74], first_blow_s: 2, last_blow_s: 5, gates_s: [3], rate_hz: 100, samples: 5 };
  assert.deepEqual(overlaid([trace]), [[[0, 11], [3, 72]]]);
});

test('a run is told in percent of the geometric mean of its own tool\'s baseline', () => {
  const row = (run: number, setup: string, tool: string, value_kN: number | null, excluded: string | null = null): ReadingRow => ({ run, time_s: run, setup, tool, value_kN, pieces: [], mounting: null, resolution_kN: null, excluded });
  const rows = [row(1, 'direct', 'a', 80), row(2, 'direct', 'a', 125), row(3, 'direct', 'b', 50), row(4, 'direct', 'a', 10, 'slipped'), row(5, 'ext', 'a', 95)];
  const found = soFar(rows, 'direct', 5);
  assert.equal(found?.runs, 2);
  assert.ok(Math.abs((found?.percent ?? 0) - 95) < 1e-9, 'the geometric mean of 80 and 125 is 100');
  assert.equal(soFar(rows, 'direct', 3), null, 'nothing else to compare with');
  assert.equal(soFar([row(1, 'ext', 'a', null)], 'direct', 1), null);
});
