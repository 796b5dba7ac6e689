// Devices around one daemon: it goes away and comes back, its line is lost, two devices want the same step, a device needs a
// token, and nobody has added a rig yet.
import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import type { Browser } from 'playwright-core';
import type { Trial } from '../../src/lib/trial.ts';
import { Bench, until } from './bench.ts';
import { inspect } from './inspect.ts';
import { isReal, launch, Watched } from './page.ts';

let browser: Browser;

before(async () => {
  browser = await launch();
});
after(async () => {
  await browser?.close();
});

const NO_NUMBER = '#no-reading';

test('while the daemon is away there is no number, and when it is back there is one again', async () => {
  const bench = await Bench.start({ shelf: true });
  try {
    await isReal(bench);
    const watched = await Watched.open(browser, bench, 'now', { who: 'tester' });
    await watched.page.locator('#tension .digits').waitFor();
    watched.away(true);
    await bench.killDaemon();
    await watched.says('Disconnected');
    await watched.page.locator(NO_NUMBER).waitFor();
    assert.equal(await watched.page.locator('#tension').count(), 0, 'the last value is not shown as live');
    await bench.startAgain();
    await watched.page.locator('#tension .digits').waitFor({ timeout: 15_000 });
    assert.equal(await watched.page.getByText('Disconnected').count(), 0);
    watched.away(false);

    await bench.stopRig();
    await watched.page.locator(NO_NUMBER).waitFor({ timeout: 15_000 });
    assert.match(await watched.page.locator(NO_NUMBER).innerText(), /No reading\s+\S/, 'and why');
    await watched.end();
  } finally {
    await bench.end();
  }
});

test('two devices see the same step, and only one of them is ready for it', async () => {
  // Slow enough that a change comes while the tool still drives.
  const bench = await Bench.start({ shelf: true, speed: 3 });
  try {
    const trial = (): Promise<Trial> => bench.get<Trial>('trials/both');
    await bench.cli('trial', 'new', 'both', '--rig', 'demo', '--tools', 'wrench 1', '--baseline', 'direct', '--setups', 'universal joint', '--repeats', '2', '--seed', '7', '--bolt', 'test bolt 1', '--who', 'bench');
    const one = await Watched.open(browser, bench, 'trial/both', { who: 'ana' });
    const other = await Watched.open(browser, bench, 'trial/both', { who: 'ben', size: 'phone' });
    for (const device of [one, other]) await device.button('Ready').waitFor();
    // The other hears of nothing until it asks: it still sees the step as open when it says that it is ready.
    const before = await trial();
    let asked = false;
    await other.page.route('**/trials/both', (route) => (asked ? route.continue() : route.fulfill({ json: before })));
    await other.page.route('**/trials/both/ready', (route) => {
      asked = true;
      return route.continue();
    });
    other.provoke(409);
    const step = (device: Watched) => device.page.getByRole('region', { name: 'Next step of the trial both' });
    const fitting = await Promise.all([one, other].map((device) => step(device).locator('.fitting').innerText()));
    assert.equal(fitting[0], fitting[1], 'both see the same step');
    await one.button('Ready').tap();
    await one.says('Awaiting a run');
    await other.button('Ready').tap();
    await other.page.locator('.step .refused').waitFor();
    assert.match(await other.page.locator('.step .refused').innerText(), /both|awaits|go/, 'with the reason');
    await other.says('What is shown above was asked anew just now.');
    await other.says('Awaiting a run');
    const now = await trial();
    assert.deepEqual(now.entries.map((entry) => entry.who), ['ana'], 'the step has one who was ready');

    // What is put in force while the tool drives does not retag its run.
    await bench.begin('direct');
    await until('the run', async () => (await bench.get<{ rigs: { driving: boolean }[] }>('rigs')).rigs[0]?.driving);
    await bench.cli('setup', 'use', 'universal joint', '--rig', 'demo', '--who', 'bench');
    await bench.landed(1);
    const { runs } = await bench.get<{ runs: { setup: string; flags: string[] }[] }>('runs');
    assert.equal(runs[0]?.setup, 'direct');
    assert.ok(runs[0]?.flags.includes('setup-changed'), `${runs[0]?.flags}`);
    await one.end();
    await other.end();
  } finally {
    await bench.end();
  }
});

/** Looks over what stands here in every size, light and dark, on devices of their own. */
async function everywhere(bench: Bench, name: string, words: string, provoke: readonly number[] = []): Promise<void> {
  for (const size of ['phone', 'tablet'] as const) {
    for (const theme of ['light', 'dark'] as const) {
      const watched = await Watched.open(browser, bench, 'now', { size, theme, provoke });
      await watched.says(words);
      assert.deepEqual(await inspect(watched, name, size, theme), []);
      await watched.end();
    }
  }
}

test('a device without its token sees nothing, and does what its role may', async () => {
  const bench = await Bench.start({ tokens: true, shelf: true });
  try {
    const token = await bench.addToken('tablet', 'operate');
    await everywhere(bench, 'sign-in', 'This device needs a token', [401]);
    const watched = await Watched.open(browser, bench, 'now', { who: 'tester', provoke: [401, 403] });
    await watched.says('This device needs a token');
    assert.equal(await watched.page.locator('#tension').count(), 0);
    await watched.field('Token').fill('guess');
    await watched.button('Come in').tap();
    await watched.says('expected a token that is known, found none');
    await watched.field('Token').fill(token);
    await watched.button('Come in').tap();
    await watched.page.locator('#tension .digits').waitFor();
    await watched.button('Options').tap();
    await watched.says(/Here as tablet, who may test/);

    await bench.cli('setup', 'use', 'direct', '--rig', 'demo', '--tool', 'wrench 1', '--bolt', 'test bolt 1', '--who', 'bench');
    await bench.play('direct');
    await watched.says('Look at run 1');
    await watched.go('runs/1');
    await watched.field('Why').fill('socket slipped off the nut');
    await watched.button('Store the correction').tap();
    await watched.page.locator('.sheet .refused').waitFor();
    assert.match(await watched.page.locator('.sheet .refused').innerText(), /correct/, 'what the role lacks is told in words');
    const { excluded } = await bench.json<{ excluded: boolean }>('runs', 'show', '1');
    assert.equal(excluded, false, 'an operator corrects nothing');
    await watched.button('Forget the token here').tap();
    await watched.says('This device needs a token');
    await watched.end();
  } finally {
    await bench.end();
  }
});

test('without a rig the page leads to adding one, and a dial is typed at it', async () => {
  const bench = await Bench.start({ scenario: null });
  try {
    await everywhere(bench, 'guide', 'There is no rig yet');
    const watched = await Watched.open(browser, bench, 'now', { who: 'tester', size: 'phone', provoke: [400, 422] });
    await watched.says('Plug in the amplifier of the load cell');
    await watched.tile('How does the amplifier talk?', 'By hand').tap();
    await watched.tile('What stands on the dial?', 'kN').tap();
    await watched.field('Smallest step that you can read, kN').fill('0.5');
    await watched.field('Name of the rig').fill('dial bench');
    await watched.button('Add the rig').tap();
    await watched.atField(watched.field('Name of the rig'), /a-z, 0-9/);
    assert.deepEqual((await bench.get<{ rigs: unknown[] }>('rigs')).rigs, []);
    await watched.field('Name of the rig').fill('dial-bench');
    await watched.field('Full range of the cell, if known, kN').fill('wide');
    await watched.button('Add the rig').tap();
    await watched.atField(watched.field('Full range of the cell, if known, kN'), /range_kN/);
    assert.deepEqual((await bench.get<{ rigs: unknown[] }>('rigs')).rigs, []);
    await watched.field('Full range of the cell, if known, kN').fill('200');
    await watched.button('Add the rig').tap();
    await watched.says(/Rig dial-bench is there/);

    await watched.page.getByRole('link', { name: 'To the view Now' }).tap();
    await watched.page.locator('#state', { hasText: 'Read by hand' }).waitFor();
    const reading = watched.field('Reading, kN');
    for (const slip of ['82,5', 'much', '']) {
      await reading.fill(slip);
      await watched.button('Store the reading').tap();
      await watched.atField(reading, /\S/);
      assert.deepEqual((await bench.get<{ runs: unknown[] }>('runs')).runs, [], `'${slip}' is stored nowhere`);
    }
    await reading.fill('82.5');
    await watched.button('Store the reading').tap();
    await watched.says('Stored as run 1: 82.50 kN.');
    const { runs } = await bench.get<{ runs: { held_kN: number }[] }>('runs');
    assert.deepEqual(runs.map((run) => run.held_kN), [82.5]);
    await watched.end();
  } finally {
    await bench.end();
  }
});

test('a mistake is told at its field, and nothing is stored', async () => {
  const bench = await Bench.start({ shelf: true });
  try {
    const watched = await Watched.open(browser, bench, 'setups/pieces', { who: 'tester', provoke: [400, 422] });
    const stored = (): Promise<unknown> => bench.get('shelf/pieces');
    const before = await stored();
    const put = watched.button('Put it on the shelf');
    await watched.tile('Drive towards the tool', '3/4 in').tap();
    await watched.tile('Drive towards the nut', '3/4 in').tap();
    await put.tap();
    await watched.atField(watched.field('Name'), /name/);
    await watched.field('Name').fill('long one');
    await watched.field('Length, mm').fill('very');
    await put.tap();
    await watched.atField(watched.field('Length, mm'), /length_mm/);
    await watched.field('Length, mm').fill('-75');
    await put.tap();
    await watched.atField(watched.field('Length, mm'), /length_mm/);
    // A page from before a change of drives, say: the tiles here offer known ones only.
    await watched.field('Length, mm').fill('75');
    await watched.page.route('**/shelf/pieces/*', (route) => route.continue({ postData: route.request().postData()?.replace('"drive_in":"3/4 in"', '"drive_in":"5/8 in"') }));
    await put.tap();
    // No field can hold that word, so it is told for the sheet as a whole.
    await until('a refusal of the drive', async () => /5\/8 in/.test(await watched.page.locator('.sheet .refused').innerText()));
    await watched.page.unroute('**/shelf/pieces/*');
    assert.deepEqual(await stored(), before, 'nothing was stored');
    assert.equal(await watched.page.locator('.stored').count(), 0);

    await bench.cli('setup', 'source', 'add', 'battery 1', '--kind', 'battery', '--who', 'bench');
    await watched.go('setups/use');
    await watched.tile('Tool', 'wrench 1').tap();
    await watched.tile('Battery', 'battery 1').tap();
    await watched.field('Rested voltage, if measured, V').fill('19,8');
    await watched.button('Put in force').tap();
    await watched.atField(watched.field('Rested voltage, if measured, V'), /19,8/);
    const { rigs } = await bench.get<{ rigs: { in_force: { tool: string | null } }[] }>('rigs');
    assert.equal(rigs[0]?.in_force.tool, null, 'nothing was put in force');

    await watched.go('trial/new');
    await watched.tile('Tools', 'wrench 1').tap();
    await watched.tile('Baseline: the setup that counts as 100 %', 'direct').tap();
    await watched.tile('Setups that are compared with it', 'universal joint').tap();
    await watched.button('Store the plan').tap();
    await watched.atField(watched.field('Name of the trial'), /name/);
    await watched.field('Name of the trial').fill('mistaken');
    await watched.field('Seed of the order').fill('seven');
    await watched.button('Store the plan').tap();
    await watched.atField(watched.field('Seed of the order'), /seven/);
    assert.deepEqual((await bench.get<{ trials: unknown[] }>('trials')).trials, []);
    await watched.end();
  } finally {
    await bench.end();
  }
});

test('the live trace is drawn at least 15 times a second from a rig of 10,000 samples a second', async () => {
  const bench = await Bench.start({ speed: 1, change: (text) => text.replace(/^rate_hz = .*$/m, 'rate_hz = 10000') });
  try {
    const watched = await Watched.open(browser, bench, 'now', { who: 'tester' });
    await watched.page.locator('#tension .digits').waitFor();
    const devtools = await watched.context.newCDPSession(watched.page);
    await devtools.send('Performance.enable');
    const busy = async (): Promise<number> => (await devtools.send('Performance.getMetrics')).metrics.find((one) => one.name === 'TaskDuration')?.value ?? 0;
    const before = await busy();
    const seconds = 3;
    // Each drawing of uPlot clears its canvas once.
    const draws = await watched.page.evaluate(async (during_ms) => {
      let count = 0;
      const clear = CanvasRenderingContext2D.prototype.clearRect;
      CanvasRenderingContext2D.prototype.clearRect = function (...given) {
        count += 1;
        clear.apply(this, given);
      };
      await new Promise((done) => setTimeout(done, during_ms));
      CanvasRenderingContext2D.prototype.clearRect = clear;
      return count;
    }, 1000 * seconds);
    const share = ((await busy()) - before) / seconds;
    console.log(`${(draws / seconds).toFixed(1)} drawings a second, main thread busy ${(100 * share).toFixed(0)} %`);
    assert.ok(draws / seconds >= 15, `${draws / seconds} drawings a second`);
    await watched.end();
  } finally {
    await bench.end();
  }
});
