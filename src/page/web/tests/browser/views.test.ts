// Every view at three sizes, light and dark; the units switch; the warning of too much tension. One bench with a trial that is
// done and one that goes on serves all.
import assert from 'node:assert/strict';
import { join } from 'node:path';
import { after, before, test } from 'node:test';
import type { Browser } from 'playwright-core';
import type { Trial } from '../../src/lib/trial.ts';
import type { RunDetail } from '../../src/lib/types.ts';
import { Bench, shots, until } from './bench.ts';
import { inspect } from './inspect.ts';
import { isReal, launch, type Size, SIZES, Watched } from './page.ts';

let browser: Browser;
let bench: Bench;

interface View {
  name: string;
  at: string;
  /** What is there once all was asked for. */
  there: string;
}

const VIEWS: readonly View[] = [
  { name: 'now', at: 'now', there: '.run-summary' },
  { name: 'trials', at: 'trial', there: '.cards li' },
  { name: 'trial-plan', at: 'trial/new', there: 'fieldset .tile' },
  { name: 'trial-walk', at: 'trial/going%20on', there: 'button.ready' },
  { name: 'trial-done', at: 'trial/couplings', there: '.steps tbody tr' },
  { name: 'results', at: 'results', there: '.cards li' },
  { name: 'results-trial', at: 'results/couplings', there: '#pieces ~ form' },
  { name: 'check', at: 'check', there: 'fieldset .tile' },
  { name: 'runs', at: 'runs', there: 'tbody tr' },
  { name: 'run', at: 'runs/2', there: '.run .canvas canvas, .run canvas, .run svg' },
  { name: 'setups-in-force', at: 'setups/use', there: '#in-force' },
  { name: 'setups-chains', at: 'setups/setups', there: '.cards li' },
  { name: 'setups-pieces', at: 'setups/pieces', there: '.cards li' },
  { name: 'setups-tools', at: 'setups/tools', there: '.cards li' },
  { name: 'setups-sources', at: 'setups/sources', there: '.sheet' },
  { name: 'setups-bolts', at: 'setups/bolts', there: '.cards li' },
  { name: 'rig', at: 'rig', there: '#accounts' },
  { name: 'rig-add', at: 'rig/add', there: '.guide .tile' },
];

const trialNow = (name: string): Promise<Trial> => bench.get<Trial>(`trials/${encodeURIComponent(name)}`);

async function plan(name: string, ...more: string[]): Promise<void> {
  await bench.cli('trial', 'new', name, '--rig', 'demo', '--tools', 'wrench 1', '--baseline', 'direct', '--setups', '75 mm extension,universal joint', '--seed', '7', '--bolt', 'test bolt 1', '--who', 'bench', ...more);
}

/** Walks so many steps of a trial without the page. */
async function walk(name: string, steps: number): Promise<void> {
  for (let at = 0; at < steps; at += 1) {
    const { next, steps_done } = await trialNow(name);
    if (!next) return;
    await bench.cli('trial', 'ready', name, '--who', 'bench');
    await bench.play(next.setup);
    await until(`step ${next.number} of ${name}`, async () => {
      const now = await trialNow(name);
      return now.steps_done > steps_done && now.standing !== 'awaiting a run';
    });
  }
}

before(async () => {
  browser = await launch();
  bench = await Bench.start({ speed: 40, shelf: true });
  await isReal(bench);
  await bench.cli('setup', 'source', 'add', 'battery 1', '--kind', 'battery', '--who', 'bench');
  await plan('couplings', '--repeats', '2');
  await walk('couplings', 20);
  await plan('going on', '--repeats', '2', '--fresh', 'each-setup');
});
after(async () => {
  await browser?.close();
  await bench?.end();
});

for (const size of Object.keys(SIZES) as Size[]) {
  for (const theme of ['light', 'dark'] as const) {
    // The narrowest differs from the phone in how lines break only, and dark from light in colours only.
    const rules = size !== 'narrow';
    if (!rules && theme === 'dark') continue;
    test(`every view keeps its layout at ${size}, ${theme}${rules ? ', and axe finds nothing' : ''}`, async () => {
      const watched = await Watched.open(browser, bench, '', { size, theme, who: 'tester', pedal: 'on' });
      const found: string[] = [];
      for (const view of VIEWS) {
        await watched.go(view.at);
        await watched.page.locator(view.there).first().waitFor();
        found.push(...(await inspect(watched, view.name, size, theme, rules)));
      }
      await watched.go('now');
      if (size === 'tablet') {
        await watched.settled();
        for (const seen of ['#tension .digits', '.facing-trace .canvas', 'button.ready']) {
          const box = await watched.page.locator(seen).boundingBox();
          const low = (box?.y ?? Number.NaN) + (box?.height ?? Number.NaN);
          assert.ok(low <= SIZES.tablet.height, `${seen} is in sight without scrolling: it ends at ${low} px`);
        }
      }
      await watched.button('Options').tap();
      await watched.page.locator('.options').waitFor();
      found.push(...(await inspect(watched, 'options', size, theme, rules)));
      assert.deepEqual(found, []);
      await watched.end();
    });
  }
}

test('the units switch shows lbf and lbf·ft by the exact factors, everywhere', async () => {
  const run = await bench.get<RunDetail>('runs/2');
  const [gate_kN, held_kN, torque_Nm] = [run.gates[0]?.tension_kN ?? Number.NaN, run.held_kN ?? Number.NaN, run.equivalent_torque_Nm ?? Number.NaN];
  const lbf = (kN: number): string => `${((kN * 1000) / 4.4482216152605).toFixed(0)} lbf`;
  const lbfFt = (Nm: number): string => `${(Nm / (4.4482216152605 * 0.3048)).toFixed(1)} lbf·ft`;
  const watched = await Watched.open(browser, bench, 'runs/2', { who: 'tester' });
  const figures = watched.page.locator('.run dl.figures');
  await figures.waitFor();
  for (const shown of [`${gate_kN.toFixed(2)} kN`, `${held_kN.toFixed(2)} kN`, `${torque_Nm.toFixed(1)} N·m`]) assert.ok((await figures.innerText()).includes(shown), shown);

  await watched.go('now');
  await watched.button('Show lbf, lbf·ft').tap();
  assert.equal(await watched.page.locator('#tension .unit').innerText(), 'lbf');
  assert.equal(await watched.page.locator('#torque .unit').innerText(), 'lbf·ft');
  await watched.go('runs/2');
  await figures.waitFor();
  for (const shown of [lbf(gate_kN), lbf(held_kN), lbfFt(torque_Nm)]) assert.ok((await figures.innerText()).includes(shown), `${shown} in ${await figures.innerText()}`);
  for (const view of VIEWS) {
    await watched.go(view.at);
    await watched.page.locator(view.there).first().waitFor();
    const words = await watched.page.locator('main').evaluate((main) => [...main.children].map((one) => (one as HTMLElement).innerText).join('\n'));
    // The caution and notes of the daemon speak of kN as such; figures do not.
    assert.doesNotMatch(words, /\d\s(kN|N·m)\b/, `figures at ${view.name} in the unit that was chosen`);
  }
  await watched.reload();
  await watched.go('now');
  await watched.page.locator('#tension .unit', { hasText: 'lbf' }).waitFor();
  await watched.end();
});

test('every view of what a simulated rig gave says that it is simulated, and so does a chart', async () => {
  const watched = await Watched.open(browser, bench, '', { who: 'tester' });
  const marked = VIEWS.filter(({ name }) => ['now', 'trial-walk', 'results-trial', 'check', 'runs', 'run', 'rig'].includes(name));
  assert.equal(marked.length, 7);
  for (const view of marked) {
    await watched.go(view.at);
    await watched.page.locator(view.there).first().waitFor();
    assert.match(await watched.page.locator('.invented').first().innerText(), /Simulated rig\. Every number here is invented\./, view.name);
  }
  await watched.go('results');
  const chart = watched.page.locator('form', { hasText: 'How has a tool been?' });
  await chart.getByRole('group', { name: 'Tool', exact: true }).locator('label.tile', { hasText: 'wrench 1' }).locator('input').tap();
  await chart.getByRole('button', { name: 'Draw the chart' }).tap();
  await chart.locator('.invented').waitFor();
  await watched.end();
});

test('too much tension is told loudly at every view until somebody has seen it', async () => {
  await bench.cli('setup', 'bolt', 'add', 'weak bolt', '--thread', 'M20x2.5', '--diameter-mm', '20', '--nut-factor', '0.17', '--allowed-kN', '25', '--who', 'bench');
  await bench.cli('setup', 'use', 'direct', '--rig', 'demo', '--tool', 'wrench 1', '--bolt', 'weak bolt', '--who', 'bench');
  const phone = await Watched.open(browser, bench, 'now', { who: 'tester', size: 'phone' });
  const tablet = await Watched.open(browser, bench, 'runs', { who: 'tester' });
  await phone.page.locator('.digits').first().waitFor();
  await tablet.page.locator('tbody tr').first().waitFor();
  await bench.play('direct');
  await phone.page.getByRole('alert', { name: 'Over limit' }).waitFor();
  const box = await phone.page.locator('.over strong').boundingBox();
  assert.ok((box?.height ?? 0) >= 44, 'the word is large');
  assert.match(await phone.page.locator('.over').innerText(), /OVER LIMIT[\s\S]*Stop and inspect the test bolt\. Allowed: 25\.00 kN\./);
  await phone.says(/Seen: [3-9]\d\.\d\d kN\./);
  for (const [size, watched] of [['tablet', tablet], ['phone', phone]] as const) {
    for (const view of VIEWS) {
      await watched.go(view.at);
      await watched.page.locator(view.there).first().waitFor();
      if (view.name === 'now') await watched.page.screenshot({ path: join(shots(), `over-limit-${size}-light.png`) });
      await watched.page.evaluate(() => scrollTo(0, document.body.scrollHeight));
      const at = await watched.page.getByRole('alert').filter({ hasText: 'OVER LIMIT' }).boundingBox();
      const high = watched.page.viewportSize()?.height ?? 0;
      assert.ok(at !== null && at.y >= 0 && at.y + at.height <= high && at.height >= 56, `in sight at ${view.name}, scrolled to its end: ${JSON.stringify(at)}`);
    }
  }
  await phone.go('trial/going%20on');
  await phone.says('Tension passed the limit. Say that it was seen first.');
  assert.equal(await phone.button('Ready').isDisabled(), true, 'nobody is ready while a warning stands');
  await phone.page.getByRole('link', { name: 'OVER LIMIT' }).tap();
  await phone.button('I have seen it').first().tap();
  await phone.page.locator('.over').waitFor({ state: 'detached' });
  await phone.go('runs');
  await phone.page.locator('tbody tr').first().waitFor();
  assert.equal(await phone.page.getByRole('link', { name: 'OVER LIMIT' }).count(), 0);
  await phone.says('over limit');
  await phone.end();
  await tablet.end();
});
