// A plan as filled in, and the document that goes out: what cannot be read is told with the name of its field.
import assert from 'node:assert/strict';
import test from 'node:test';
import { Problem } from '../../src/lib/api.ts';
import { drawSeed, emptyPlan, planDocument, toggled } from '../../src/lib/plan.ts';

const filled = () => ({ ...emptyPlan('demo', false), name: ' couplings ', tools: ['wrench 1'], baseline: 'direct', setups: ['ext'], seed: '7' });
const refused = (more: object): string => {
  try {
    planDocument({ ...filled(), ...more });
  } catch (error) {
    assert.ok(error instanceof Problem);
    return error.detail;
  }
  return 'taken';
};

test('a_plan_goes_out_with_numbers_and_without_blanks_around_its_name', () => {
  const plan = planDocument({ ...filled(), baseline_every: '4', rest_s: '2.5' });
  assert.deepEqual([plan.name, plan.seed, plan.repeats, plan.baseline_every, plan.rest_s, plan.bolt], ['couplings', 7, 3, 4, 2.5, null]);
  assert.equal('air_kPa' in plan, false);
});

test('what_is_no_number_is_told_at_its_field', () => {
  assert.match(refused({ repeats: '2.5' }), /^repeats: expected a whole number, found '2.5'$/);
  assert.match(refused({ seed: '' }), /^seed: /);
  assert.match(refused({ seed: '-3' }), /^seed: /);
  assert.match(refused({ baseline_every: 'two' }), /^baseline_every: /);
  assert.match(refused({ rest_s: '1,5' }), /^rest_s: /);
  assert.match(refused({ baseline: null }), /^baseline: /);
});

test('an_air_band_goes_out_only_with_a_rule_for_fresh_sources_and_needs_both_ends', () => {
  const band = { air_low_kPa: '600', air_high_kPa: '640' };
  assert.equal('air_kPa' in planDocument({ ...filled(), ...band }), false);
  assert.deepEqual(planDocument({ ...filled(), ...band, fresh: 'each-run' }).air_kPa, [600, 640]);
  assert.match(refused({ ...band, air_high_kPa: '', fresh: 'each-run' }), /^air_kPa: /);
});

test('the_baseline_is_never_among_the_setups_that_are_compared', () => {
  assert.deepEqual(planDocument({ ...filled(), setups: ['direct', 'ext'] }).setups, ['ext']);
});

test('a_dial_starts_with_a_measure_that_it_can_show', () => {
  assert.equal(emptyPlan('press', true).measure, 'held');
  assert.equal(emptyPlan('demo', false).measure, 'gate');
});

test('a_seed_is_a_whole_number_at_both_ends_of_chance', () => {
  assert.deepEqual([drawSeed(() => 0), drawSeed(() => 0.999_999)], ['1', '9999']);
});

test('a_choice_goes_in_at_the_end_and_out_again', () => {
  assert.deepEqual(toggled(['a'], 'b'), ['a', 'b']);
  assert.deepEqual(toggled(['a', 'b'], 'a'), ['b']);
});
