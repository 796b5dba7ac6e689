// What a question about a limit lacks, each at the field that must be mended.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { type AcceptForm, type ClassLimit, figureOf, missing } from '../../src/lib/judging.ts';
import type { RunLine } from '../../src/lib/types.ts';

const whole: AcceptForm = { tool: 'wrench', setup: 'direct', measure: 'gate', runs: '3', kind: 'share', limit: '92', reference: 'other', side: 'least' };
const classLimit: ClassLimit = { class: 'large', setup: 'direct', measure: 'held', side: 'at least', limit: 60, unit: 'kN', looks: [] };

test('what can be asked lacks nothing', () => {
  assert.equal(missing(whole, null, false), null, 'a share needs no calibration');
  assert.equal(missing({ ...whole, kind: 'class' }, classLimit, true), null);
  assert.equal(missing({ ...whole, kind: 'tension' }, null, true), null);
});

test('each lack is told', () => {
  const cases: [Partial<AcceptForm>, ClassLimit | null, boolean, RegExp][] = [
    [{ tool: null }, null, true, /^tool: expected one/],
    [{ kind: 'class' }, null, true, /^limit of its class: .*found none$/],
    [{ reference: null }, null, true, /^reference: expected/],
    [{ limit: '' }, null, true, /^expected one limit, .*found ''$/],
    [{ limit: ' 9,2 ' }, null, true, /found '9,2'$/],
    [{ limit: '-3' }, null, true, /found '-3'$/],
    [{ kind: 'torque' }, null, false, /calibration against a reference/],
    [{ kind: 'class' }, classLimit, false, /calibration against a reference/],
  ];
  for (const [change, limit, calibrated, said] of cases) assert.match(missing({ ...whole, ...change }, limit, calibrated)?.detail ?? 'nothing', said);
});

test('a run without the figure has none, not that of another measure', () => {
  const run = { gates: [{ after_s: 3, tension_kN: null, torque_Nm: null }], held_kN: 80.5, plateau_kN: 82, peak_kN: 81 } as unknown as RunLine;
  assert.deepEqual(['gate', 'held', 'plateau', 'peak', 'other'].map((measure) => figureOf(run, measure)), [null, 80.5, 82, 81, null]);
});
