// Kept calibrations at the page: listed by their names, and one of them put in force. All figures are invented.
import assert from 'node:assert/strict';
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { after, before, test } from 'node:test';
import type { Browser } from 'playwright-core';
import { Bench, until } from './bench.ts';
import { isReal, launch, Watched } from './page.ts';

let browser: Browser;
let bench: Bench;

/** Keeps a line of so many kN per count, with a ripple that no line takes out. */
async function keep(name: string, kN_per_count: number): Promise<void> {
  const file = join(bench.folder, `${name}.csv`);
  const row = (at: number): string => `1,up,${20 * at},${Math.round((20 * at) / kN_per_count + ([0, 90, -70][at % 3] ?? 0))}`;
  writeFileSync(file, ['series,direction,reference_kN,counts', ...Array.from({ length: 11 }, (_, at) => row(at)), ''].join('\n'));
  const words = '--on 2024-03-01 --valid-until 2999-12-31 --standard cell --certificate K-1 --by ana --degree 1 --uncertainty-percent 0.1';
  await bench.cli('calibrate', 'keep', name, file, ...words.split(' '));
}

before(async () => {
  browser = await launch();
  bench = await Bench.start();
  await isReal(bench);
  await keep('cell-2023', 1e-4);
  await keep('cell-2024', 2e-4);
});
after(async () => {
  await browser?.close();
  await bench?.end();
});

test('kept calibrations are listed by their names, and one is put in force', async () => {
  const inForce = async (): Promise<string | null | undefined> => (await bench.get<{ rigs: { calibration: string | null }[] }>('rigs')).rigs[0]?.calibration;
  const watched = await Watched.open(browser, bench, 'rig', { who: 'tester' });
  const choice = watched.page.getByLabel('Put another one in force');
  await choice.waitFor();
  assert.deepEqual((await choice.locator('option').allInnerTexts()).sort(), ['cell-2023', 'cell-2024', 'choose']);
  assert.notEqual(await inForce(), 'cell-2024');
  await choice.selectOption('cell-2024');
  await watched.button('Put in force').tap();
  await watched.says('In force: cell-2024.');
  await until('the calibration in force at the rig', async () => (await inForce()) === 'cell-2024');
  await watched.end();
});
