// Places and words of a comparison; figures of acceptance and history in the shown unit.
import assert from 'node:assert/strict';
import test from 'node:test';
import { byTool, checkWords, driftLine, driftOverall, driftWords, letter, lines, noteWords, place, pText, questionQuery, riskWords, type ReadingRow, tickDecimals, ticks } from '../../src/lib/comparison.ts';
import { acceptQuery, historyQuery } from '../../src/lib/judging.ts';
import { fixed } from '../../src/lib/units.ts';

const row = (run: number, time_s: number, setup: string, value_kN: number | null, excluded: string | null = null): ReadingRow => ({ run, time_s, setup, tool: 'wrench', value_kN, pieces: [], mounting: null, resolution_kN: null, excluded });

test('ticks_hold_all_values_in_steps_of_one_two_or_five', () => {
  for (const [low, high] of [[90.8, 100], [0, 1], [99.97, 100.02], [-3, 812], [100, 100]] as const) {
    const all = ticks(low, high);
    assert.ok((all[0] ?? Infinity) <= low && (all.at(-1) ?? -Infinity) >= high, `${low} to ${high}: ${all}`);
    assert.ok(all.length >= 2 && all.length <= 14, String(all));
    const step = ((all[1] ?? 0) - (all[0] ?? 0)) / 10 ** Math.floor(Math.log10((all[1] ?? 0) - (all[0] ?? 0)) + 1e-9);
    assert.ok([1, 2, 5].some((one) => Math.abs(step - one) < 1e-6), `step ${step}`);
  }
  assert.deepEqual(ticks(90.8, 100), [90, 92, 94, 96, 98, 100]);
});

test('decimals_of_ticks_tell_neighbours_apart', () => {
  assert.deepEqual([tickDecimals([90, 92]), tickDecimals([0.5, 1]), tickDecimals([99.95, 99.96]), tickDecimals([1])], [0, 1, 2, 0]);
});

test('a_place_is_linear_and_may_run_backwards', () => {
  assert.equal(place(95, [90, 100], [0, 200]), 100);
  assert.equal(place(95, [90, 100], [200, 0]), 100);
  assert.equal(place(90, [90, 100], [200, 0]), 200);
});

test('rows_keep_their_order_within_each_tool', () => {
  const rows = [{ tool: 'b', n: 1 }, { tool: 'a', n: 2 }, { tool: 'b', n: 3 }, { tool: null, n: 4 }];
  assert.deepEqual(byTool(rows).map((one) => [one.tool, one.rows.map((r) => r.n)]), [['b', [1, 3]], ['a', [2]], [null, [4]]]);
});

test('the_drift_line_follows_a_baseline_that_falls_by_exactly_the_slope', () => {
  // ln(value) falls by 0.02 an hour, so 2 % an hour; the other setups and a lost run must not move the line.
  const at = (hours: number): number => 80 * Math.exp(-0.02 * hours);
  const rows = [row(1, 0, 'direct', at(0)), row(2, 1800, 'ext', 60), row(3, 3600, 'direct', at(1)), row(4, 5400, 'direct', 5, 'slipped'), row(5, 7200, 'ext', 60)];
  const line = driftLine(rows, 'direct', -2);
  assert.ok(line);
  assert.equal(line[1][0], 7200);
  assert.ok(Math.abs(line[0][1] - 80) < 1e-9 && Math.abs(line[1][1] - at(2)) < 1e-9, String(line));
  assert.equal(driftLine(rows, 'direct', null), null);
  assert.equal(driftLine([row(2, 0, 'ext', 60)], 'direct', -2), null);
});

test('drift_over_all_runs_is_the_slope_times_their_span', () => {
  const rows = [row(1, 0, 'direct', 80), row(2, 7200, 'ext', 70)];
  assert.ok(Math.abs((driftOverall(-2, rows) ?? 0) - 100 * (Math.exp(-0.04) - 1)) < 1e-9);
  assert.equal(driftOverall(null, rows), null);
});

test('drift_in_words_says_how_it_was_taken_out_and_how_sure_it_is', () => {
  const none = { drift_percent_per_hour: null, drift_se_percent_per_hour: null, drift_p_value: null };
  assert.equal(driftWords({ drift: 'none', ...none }, fixed), 'No drift was taken out.');
  assert.match(driftWords({ drift: 'bracket', ...none }, fixed), /before and after/);
  assert.equal(driftWords({ drift: 'linear', drift_percent_per_hour: -1.5, drift_se_percent_per_hour: 0.4, drift_p_value: 0.0002 }, fixed), 'A drift of −1.50 % an hour was taken out (standard error 0.40, p of no drift < 0.001).');
});

test('a_check_that_found_something_says_so_and_that_nothing_was_left_out', () => {
  const checks = { outlier: { run: 13, studentised: 4, p_value: 0.01 }, trend_p_value: 0.4, lag_1_correlation: -0.09, von_neumann_ratio: 2 };
  assert.deepEqual(checkWords(checks, 0.05), ['Run 13 stands out (p 0.010): look at it. It is not left out.', 'No trend is left over.', 'Correlation of each run with the next: −0.09.']);
  assert.equal(checkWords({ ...checks, outlier: { run: 13, studentised: 2, p_value: 0.3 } }, 0.05)[0], 'No run stands out.');
});

test('a_p_is_never_shown_as_nought', () => {
  assert.deepEqual([pText(1e-9), pText(0.0499), pText(null)], ['< 0.001', '0.050', '–']);
});

test('a_note_is_a_sentence_without_names_of_members', () => {
  assert.equal(noteWords('low and high cover repeatability only'), 'The limits cover repeatability only.');
  assert.match(noteWords('low_total and high_total add what the line leaves'), /^The limits with calibration add/);
});

test('names_are_broken_between_words_only', () => {
  assert.deepEqual(lines('socket 30 - adapter', 10), ['socket 30', '- adapter']);
  assert.deepEqual(lines('unbreakable', 4), ['unbreakable']);
});

test('only_what_was_asked_goes_into_the_query', () => {
  assert.equal(questionQuery({ measure: '', drift: '', difference: ' ', expected_sd: '' }), '');
  assert.equal(questionQuery({ measure: 'held', drift: '', difference: '2', expected_sd: '' }), 'measure=held&difference=2');
});

test('letters_go_on_after_z', () => {
  assert.deepEqual([letter(0), letter(25), letter(26)], ['A', 'Z', 'A2']);
});

const accept = { tool: 'wrench', setup: '', measure: 'gate', runs: '5', kind: 'tension' as const, limit: '20000', reference: null, side: 'least' as const };

test('a_limit_typed_in_pounds_force_goes_out_in_kilonewtons', () => {
  // 20000 lbf × 4.4482216152605 N = 88.96443230521 kN.
  assert.ok(Math.abs(Number(new URLSearchParams(acceptQuery(accept, 'US')).get('limit_kN')) - 88.964_432_305_21) < 1e-9);
  assert.equal(new URLSearchParams(acceptQuery(accept, 'SI')).get('limit_kN'), '20000');
  // 100 lbf·ft × 1.3558179483314 = 135.58179483314 N·m.
  const torque = new URLSearchParams(acceptQuery({ ...accept, kind: 'torque', limit: '100' }, 'US')).get('limit_Nm');
  assert.ok(Math.abs(Number(torque) - 135.581_794_833_14) < 1e-9);
});

test('a_share_is_no_force_and_is_not_converted', () => {
  const query = new URLSearchParams(acceptQuery({ ...accept, kind: 'share', limit: '92', reference: 'other', side: 'most' }, 'US'));
  assert.deepEqual([query.get('percent'), query.get('reference'), query.get('limit_kN'), query.get('upper')], ['92', 'other', null, 'true']);
});

test('what_is_no_number_goes_on_as_typed_so_that_the_daemon_refuses_it', () => {
  assert.equal(new URLSearchParams(acceptQuery({ ...accept, limit: '88,5' }, 'US')).get('limit_kN'), '88,5');
  assert.equal(new URLSearchParams(historyQuery({ tool: 'w', setup: '', measure: 'held', base: '', least: '', most: '' }, 'US')).get('least_kN'), null);
});

test('a_risk_is_stated_only_where_the_order_of_runs_bears_it', () => {
  const words = (alpha: number, risk_holds: boolean) => riskWords({ alpha, arrangement: { risk_holds } });
  assert.equal(words(0.05, true), "Risk of a wrong verdict among a tool's setups: 5 %.");
  // A planned look spends a part only: not to be rounded to nothing.
  assert.match(words(0.00305, true), /: 0\.305 %\.$/);
  assert.match(words(0.05, false), /^Judged at 5 %, but .* not promised/);
});
