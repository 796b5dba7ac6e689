// Devices around one daemon: it goes away and comes back, its line is lost, two devices want the same step, a device needs a
// token, and nobody has added a rig yet.
import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import type { Browser } from 'playwright-core';
import type { Trial } from '../../src/lib/trial.ts';
import { Bench, until } from './bench.ts';
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
    // The other has not heard of it yet when it asks: what it wants is answered as late as that.
    await other.page.route('**/trials/both', (route) => (route.request().method() === 'GET' ? route.abort() : route.continue()));
    other.away(true);
    other.provoke(409);
    await one.button('Ready').tap();
    await one.says('Awaiting a run');
    const ready = other.button('Ready');
    if (await ready.isVisible()) await ready.tap();
    await other.page.unroute('**/trials/both');
    other.away(false);
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

test('a device without its token sees nothing, and does what its role may', async () => {
  const bench = await Bench.start({ tokens: true });
  try {
    const token = await bench.addToken('tablet', 'operate');
    const watched = await Watched.open(browser, bench, 'now', { who: 'tester', provoke: [401, 403, 404] });
    await watched.says('This device needs a token');
    assert.equal(await watched.page.locator('#tension').count(), 0);
    await watched.field('Token').fill('guess');
    await watched.button('Come in').tap();
    await watched.says('expected a token that is known, found none');
    await watched.field('Token').fill(token);
    await watched.button('Come in').tap();
    await watched.page.locator('#tension .digits').waitFor({ timeout: 15_000 });
    await watched.button('Options').tap();
    await watched.says(/Here as tablet, who may test/);
    const status = await watched.page.evaluate(async () => (await fetch('/api/v1/runs/1/exclude', { method: 'POST', headers: { 'content-type': 'application/json' }, body: '{"who":"a","why":"b"}' })).status);
    assert.equal(status, 403, 'an operator corrects nothing');
    await watched.button('Forget the token here').tap();
    await watched.says('This device needs a token');
    await watched.end();
  } finally {
    await bench.end();
  }
});

test('without a rig the page leads to adding one', async () => {
  const bench = await Bench.start({ scenario: null });
  try {
    const watched = await Watched.open(browser, bench, 'now', { who: 'tester', size: 'phone' });
    await watched.says('There is no rig yet');
    await watched.says('Plug in the amplifier of the load cell');
    await watched.end();
  } finally {
    await bench.end();
  }
});

test('a mistake is told at its field, and nothing is stored', async () => {
  const bench = await Bench.start({ shelf: true });
  try {
    const watched = await Watched.open(browser, bench, 'trial/new', { who: 'tester' });
    watched.provoke(400, 422);
    await watched.tile('Tools', 'wrench 1').tap();
    await watched.tile('Baseline: the setup that counts as 100 %', 'direct').tap();
    await watched.tile('Setups that are compared with it', 'universal joint').tap();
    await watched.field('Seed of the order').fill('seven');
    await watched.button('Show the order').tap();
    await watched.page.locator('[aria-invalid="true"], .refused').first().waitFor();
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
