// What follows from a run's medians is shown with its standard error, and a null is never shown as a number.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { fromMedians } from '../../src/lib/run-figures.ts';

const none = { growth: [], reached: [], held_over_limit: null, held_over_limit_se: null, energy_index_kN2_per_blow: null, energy_index_se_kN2_per_blow: null, limit_index_kN2: null, limit_index_se_kN2: null, step_scatter_percent: null, step_scatter_se_percent: null, preload_kN: null };

test('what is null is said to be none', () => {
  const rows = fromMedians(none, 'SI');
  assert.ok(rows.every(([, text]) => !/\d/.test(text)), JSON.stringify(rows));
});

test('values carry their standard error to two digits and their unit', () => {
  const rows = Object.fromEntries(fromMedians({ ...none, energy_index_kN2_per_blow: 512.34, energy_index_se_kN2_per_blow: 8.71, growth: [{ after_s: 3, growth_kN_per_s: 2.5, growth_se_kN_per_s: 0.31 }] }, 'SI'));
  assert.equal(rows['Energy index'], '512.3 ± 8.7 kN² a blow');
  assert.equal(rows['Growth at 3 s'], '2.50 ± 0.31 kN/s');
});

test('a stated tension is reached, never reached, or not known', () => {
  const one = (state: 'reached' | 'never-reached' | 'unknown', after_s: number | null, blows: number | null) => ({ tension_kN: 50, state, after_s, after_se_s: null, blows });
  const shown = (reached: ReturnType<typeof one>) => Object.fromEntries(fromMedians({ ...none, reached: [reached] }, 'SI'))['To 50.00 kN'];
  assert.equal(shown(one('reached', 1.2345, 20)), '1.234 s, blow 20');
  assert.equal(shown(one('reached', 1.2345, null)), '1.234 s');
  assert.equal(shown(one('never-reached', null, null)), 'never reached');
  assert.equal(shown(one('unknown', null, null)), 'not known');
});
