// The quick check of an incoming tool: what it must give on one sheet, its runs, the verdict that the command line gives too.
import assert from 'node:assert/strict';
import { join } from 'node:path';
import { after, before, test } from 'node:test';
import type { Browser } from 'playwright-core';
import type { Acceptance } from '../../src/lib/judging.ts';
import { fixed } from '../../src/lib/units.ts';
import { Bench, shots, until } from './bench.ts';
import { isReal, launch, Watched } from './page.ts';

const LIMITS = '[[limit]]\nclass = "large"\nsetup = "direct"\nmeasure = "held"\nleast_kN = 60.0\n';
let browser: Browser;
let bench: Bench;

before(async () => {
  browser = await launch();
  bench = await Bench.start({ speed: 30, shelf: true, settings: LIMITS });
  await isReal(bench);
  await bench.cli('setup', 'tool', 'add', 'large one', '--anvil', '3/4', '--source', 'mains', '--class', 'large', '--who', 'bench');
});
after(async () => {
  await browser?.close();
  await bench?.end();
});

const runsSoFar = async (): Promise<number> => (await bench.get<{ runs: unknown[] }>('runs?limit=200')).runs.length;

/** One run of wrench 2 to its end. */
async function drive(): Promise<void> {
  const before = await runsSoFar();
  await bench.play('direct', 'wrench 2');
  await bench.landed(before + 1);
}

test('what a check lacks is told at its field before a run is driven', async () => {
  const watched = await Watched.open(browser, bench, 'check', { who: 'tester' });
  const begin = watched.button('Begin');
  await begin.tap();
  await watched.atTiles('Tool', /expected one among the tools/);
  await watched.tile('Tool', 'wrench 2').tap();
  await begin.tap();
  await watched.atTiles('Limit', /limit of its class/);
  await watched.tile('Tool', 'large one').tap();
  await watched.says('Class large: held at least 60.00 kN with the setup direct.');
  await begin.tap();
  await watched.atTiles('Limit', /calibration against a reference/);
  await watched.tile('Limit', 'Share of another tool').tap();
  await begin.tap();
  await watched.atTiles('Tool that counts as 100 %', /expected the tool/);
  await watched.tile('Tool that counts as 100 %', 'wrench 1').tap();
  await watched.field('It must be, %').fill('9,2');
  await begin.tap();
  await watched.atField(watched.field('It must be, %'), /9,2/);
  await watched.field('It must be, %').fill('92');
  await begin.tap();
  await watched.atTiles('Setup', /expected one among the setups/);
  await watched.tile('Setup', 'direct').tap();
  await watched.field('Runs').fill('a few');
  await begin.tap();
  await watched.atField(watched.field('Runs'), /2 to 50, found 'a few'/);
  const { rigs } = await bench.get<{ rigs: { in_force: { tool: string | null } }[] }>('rigs');
  assert.equal(rigs[0]?.in_force.tool, null, 'nothing was put in force');
  await watched.end();
});

test('a tool is checked on one sheet, and a run that is left out is driven again', async () => {
  await bench.cli('setup', 'use', 'direct', '--rig', 'demo', '--tool', 'wrench 1', '--who', 'bench');
  for (let run = 0; run < 3; run += 1) await bench.play('direct');
  await bench.landed(3);

  const watched = await Watched.open(browser, bench, 'results', { who: 'tester', size: 'phone' });
  await watched.follow(watched.page.getByRole('link', { name: 'Check an incoming tool' }), /^Check a tool/);
  await watched.tile('Tool', 'wrench 2').tap();
  await watched.tile('Limit', 'Share of another tool').tap();
  await watched.tile('Tool that counts as 100 %', 'wrench 1').tap();
  await watched.field('It must be, %').fill('85');
  await watched.tile('Setup', 'direct').tap();
  await watched.button('Begin').tap();
  await watched.says('Run 1 of 3: drive the nut');
  await drive();
  await watched.says('Run 2 of 3: drive the nut');
  await drive();
  await watched.says('Run 3 of 3: drive the nut');
  await bench.cli('runs', 'exclude', '5', '--why', 'slipped', '--who', 'bench');
  await watched.says('left out: excluded by bench: slipped');
  await watched.says('Run 2 of 3: drive the nut');
  await drive();
  await watched.says('Run 3 of 3: drive the nut');
  await drive();
  const sheet = watched.page.locator('.judgement');
  await sheet.waitFor();

  const told = await bench.json<Acceptance>('accept', 'wrench 2', '--setup', 'direct', '--runs', '3', '--reference', 'wrench 1', '--percent', '85');
  assert.deepEqual(told.runs, [7, 6, 4], 'the runs of this check that count');
  const words = await sheet.innerText();
  assert.ok(words.startsWith(told.decision), `${told.decision} in ${words}`);
  for (const shown of ['Simulated rig.', `${fixed(told.value, 2)} % of the reference`, `${fixed(100 * told.probability_of_conformity, 1)} %`]) assert.ok(words.includes(shown), `${shown} in ${words}`);
  await watched.page.screenshot({ path: join(shots(), 'check-verdict-phone-light.png'), fullPage: true });

  await watched.button('One run more').tap();
  await watched.says('Run 4 of 4: drive the nut');
  await drive();
  await sheet.waitFor();
  assert.match(await sheet.innerText(), /8[\s\S]*7[\s\S]*6[\s\S]*4/);
  await until('the first sheet again', async () => {
    await watched.button('Another check').tap();
    return watched.button('Begin').isVisible();
  });
  await watched.end();
});
