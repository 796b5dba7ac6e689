// What follows from a trial for a screen: which one goes on, whether ready can be said, what is told of the source.
import assert from 'node:assert/strict';
import test from 'node:test';
import { goingOn, gosGiven, type NextStep, notYet, restLeft_s, slopeWords, sourceOf, stepWords, type Trial, type TrialLine } from '../../src/lib/trial.ts';
import type { Rig } from '../../src/lib/types.ts';
import { fixed } from '../../src/lib/units.ts';

const line = (trial: string, rig: string, standing: TrialLine['standing']): TrialLine => ({ trial, rig, standing, steps_done: 0, steps_total: 4, planned_by: 'ana', planned_utc_ns: 0, automatic: false });
const next = (more: Partial<NextStep> = {}): NextStep => ({ go: 5, number: 3, phase: 'compare', tool: 'wrench', setup: 'ext', pieces: [], source: 'battery', fresh_source_due: true, remount_due: false, air_kPa: null, rest_s: 0, ...more });
const planned = (number: number) => ({ number, phase: number === 0 ? ('warm-up' as const) : ('compare' as const), tool: 'wrench', setup: 'ext', block: 1 });

const trial = (more: Partial<Trial> = {}): Trial =>
  ({ trial: 'a', standing: 'ready to go on', next: next(), steps: [], steps_total: 4, entries: [], not_counted: [], ...more }) as unknown as Trial;

test('the_trial_that_awaits_a_run_goes_before_a_newer_one_that_waits_for_a_person', () => {
  const all = [line('new', 'a', 'ready to go on'), line('old', 'a', 'awaiting a run'), line('other', 'b', 'awaiting a run')];
  assert.equal(goingOn(all, 'a')?.trial, 'old');
  assert.equal(goingOn(all.slice(0, 1), 'a')?.trial, 'new');
});

test('a_trial_that_is_done_or_laid_aside_does_not_go_on', () => {
  assert.equal(goingOn([line('x', 'a', 'done'), line('y', 'a', 'laid aside')], 'a'), null);
  assert.equal(goingOn([line('x', 'b', 'ready to go on')], 'a'), null);
});

test('a_fresh_battery_is_told_only_with_its_name_and_rested_voltage', () => {
  assert.match(String(sourceOf(next(), { battery: null, figure: 20 })), /^battery: /);
  assert.match(String(sourceOf(next(), { battery: 'pack A', figure: null })), /^rested_v: /);
  assert.deepEqual(sourceOf(next(), { battery: 'pack A', figure: 20.1 }), { kind: 'battery', id: 'pack A', rested_v: 20.1, fresh: true });
});

test('a_battery_is_not_called_fresh_where_no_fresh_one_was_due', () => {
  const due = next({ fresh_source_due: false });
  assert.deepEqual(sourceOf(due, { battery: 'pack A', figure: null }), { kind: 'battery', id: 'pack A', rested_v: null, fresh: null });
  assert.equal(sourceOf(due, { battery: null, figure: null }), undefined);
});

test('a_battery_told_as_fresh_stays_so_when_the_go_was_given_back', () => {
  const due = next({ fresh_source_due: false });
  assert.deepEqual(sourceOf(due, { battery: 'pack A', figure: 20.1, fresh: true }), { kind: 'battery', id: 'pack A', rested_v: 20.1, fresh: true });
});

test('air_and_mains_are_told_by_their_reading', () => {
  assert.deepEqual(sourceOf(next({ source: 'air' }), { battery: null, figure: 620 }), { kind: 'air', dynamic_kPa: 620 });
  assert.deepEqual(sourceOf(next({ source: 'mains' }), { battery: null, figure: 229 }), { kind: 'mains', voltage_v: 229 });
  assert.match(String(sourceOf(next({ source: 'air' }), { battery: null, figure: null })), /^dynamic_kPa: /);
  assert.match(String(sourceOf(next({ source: 'mains' }), { battery: null, figure: Number.NaN })), /^reading: /);
});

test('ready_is_held_back_by_a_warning_a_dead_line_or_a_run_that_is_not_over', () => {
  const rig = { link: 'up' } as Rig;
  assert.equal(notYet(trial(), rig, false, false), null);
  assert.match(notYet(trial(), rig, true, false) ?? '', /limit/);
  assert.match(notYet(trial(), rig, false, true) ?? '', /not over/);
  assert.match(notYet(trial(), { link: 'down' } as Rig, false, false) ?? '', /not connected/);
  assert.equal(notYet(trial(), { link: 'by-hand' } as Rig, false, false), null);
});

test('gos_are_listed_newest_first_each_with_its_own_run_and_without_those_repeated', () => {
  const entry = (go: number, number: number) => ({ entry: 'ready' as const, go, step: planned(number), who: 'ana', utc_ns: 0 });
  const of = trial({
    entries: [entry(1, 0), entry(2, 1), entry(3, 1), { entry: 'repeat', go: 2, why: 'slipped', who: 'ana', utc_ns: 0 }, entry(4, 2)],
    steps: [{ ...planned(1), run: 12, skipped: false, value_kN: 80 }, { ...planned(2), run: null, skipped: false, value_kN: null }],
    not_counted: [{ go: 4, run: 13, why: 'excluded' }],
  });
  assert.deepEqual(gosGiven(of).map(({ go, run }) => [go, run]), [[4, 13], [3, 12], [1, null]]);
});

test('the_slope_of_the_warm_up_carries_both_ends_and_true_minus_signs', () => {
  const warm = { runs: 8, values_kN: [], words: '', slope_percent_low: -0.171, slope_percent_high: 0.122, range_percent: null, von_neumann_ratio: null };
  assert.equal(slopeWords(warm, fixed), 'slope from −0.17 to 0.12 % a run');
  assert.equal(slopeWords({ ...warm, slope_percent_low: null }, fixed), null);
});

test('rest_runs_out_and_is_not_guessed_where_the_last_run_was_not_seen', () => {
  assert.equal(restLeft_s(30, 1000, 11_000), 20);
  assert.equal(restLeft_s(30, 1000, 99_000), 0);
  assert.equal(restLeft_s(30, -Infinity, 5), null);
  assert.equal(restLeft_s(0, 1000, 5), null);
});

test('a_step_is_named_with_its_place_and_a_warm_up_run_has_none', () => {
  assert.equal(stepWords({ number: 3, phase: 'baseline' }, 10), 'Step 3 of 10, baseline');
  assert.equal(stepWords({ number: 0, phase: 'warm-up' }, 10), 'Warm-up run');
});
