// A whole trial at the page, by touch alone: shelf, chain, plan, each step, results, report. Then the first steps of another by
// keyboard, and by pedal.
import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import type { Browser } from 'playwright-core';
import type { Comparison } from '../../src/lib/comparison.ts';
import type { Trial } from '../../src/lib/trial.ts';
import type { RunDetail } from '../../src/lib/types.ts';
import { fixed } from '../../src/lib/units.ts';
import { Bench, until } from './bench.ts';
import { isReal, launch, Watched, watchBand } from './page.ts';

const TRIAL = 'extension loss';
let browser: Browser;
let bench: Bench;

before(async () => {
  browser = await launch();
  bench = await Bench.start({ speed: 24 });
  await isReal(bench);
});
after(async () => {
  await browser?.close();
  await bench?.end();
});

const trialNow = (name: string): Promise<Trial> => bench.get<Trial>(`trials/${encodeURIComponent(name)}`);

/** Fills the fields of a shelf sheet by touch and stores it. */
async function putOnShelf(watched: Watched, tiles: Record<string, string>, texts: Record<string, string>): Promise<void> {
  for (const [group, name] of Object.entries(tiles)) await watched.tile(group, name).tap();
  for (const [field, text] of Object.entries(texts)) {
    await watched.field(field).tap();
    await watched.page.keyboard.type(text);
  }
  await watched.button('Put it on the shelf').tap();
  await watched.says(new RegExp(`^Stored: .*${texts['Name']}`));
}

const toShelf = async (watched: Watched, page: string): Promise<void> => {
  await watched.page.getByRole('navigation', { name: 'Views' }).getByRole('link', { name: 'Setups' }).tap();
  await watched.page.getByRole('navigation', { name: 'Setups and shelf' }).getByRole('link', { name: page }).tap();
};

async function stockByTouch(watched: Watched): Promise<void> {
  await toShelf(watched, 'Pieces');
  await watched.field('Your name').tap();
  await watched.page.keyboard.type('tester');
  await putOnShelf(watched, { 'What it is': 'Socket', 'Drive towards the tool': '3/4 in' }, { Name: 'socket 30', 'Length, mm': '54' });
  await putOnShelf(watched, { 'What it is': 'Extension', 'Drive towards the tool': '3/4 in', 'Drive towards the nut': '3/4 in' }, { Name: 'extension 75', 'Length, mm': '75' });
  await putOnShelf(watched, { 'What it is': 'Extension', 'Drive towards the tool': '1/2 in', 'Drive towards the nut': '1/2 in' }, { Name: 'small extension' });
  await toShelf(watched, 'Tools');
  await putOnShelf(watched, { 'Anvil or chuck': '3/4 in', 'Driven by': 'Battery' }, { Name: 'wrench 1' });
  await toShelf(watched, 'Test bolts');
  await putOnShelf(watched, {}, { Name: 'test bolt 1', 'Thread as marked': 'M20x2.5', 'Nominal diameter, mm': '20', 'Allowed tension, kN': '130', 'Value of the factor': '0.17' });
}

async function buildByTouch(watched: Watched): Promise<void> {
  await toShelf(watched, 'Chains');
  await watched.page.getByLabel('For the tool').selectOption({ label: 'wrench 1, 3/4 in' });
  const pieces = watched.page.getByRole('group', { name: 'Pieces on the shelf' });
  const choose = (name: string) => pieces.getByRole('button', { name: new RegExp(`^${name}`) });

  const small = choose('small extension');
  assert.equal(await small.getAttribute('aria-disabled'), 'true');
  await watched.says('needs 1/2 in, the chain offers 3/4 in');
  await small.tap({ force: true });
  assert.equal(await watched.page.locator('.sheet .chain .link-name', { hasText: 'small extension' }).count(), 0, 'what does not fit is not built in');

  await choose('extension 75').tap();
  await watched.button('Store the setup').tap();
  await watched.page.locator('.refused').waitFor();
  assert.match(await watched.page.locator('.refused').innerText(), /socket/, 'a chain without a socket is refused with the reason');

  await choose('socket 30').tap();
  await watched.says('The chain is whole: 2 contacts.');
  await watched.field('Name of the setup').fill('75 mm extension');
  await watched.button('Store the setup').tap();
  await watched.says('Stored: setup 75 mm extension of extension 75, socket 30.');
  await choose('socket 30').tap();
  await watched.button('Store the setup').tap();
  await watched.says('Stored: setup direct of socket 30.');
}

async function planByTouch(watched: Watched): Promise<void> {
  await watched.page.getByRole('navigation', { name: 'Views' }).getByRole('link', { name: 'Trial' }).tap();
  await watched.page.getByRole('link', { name: 'Plan a trial' }).first().tap();
  await watched.field('Name of the trial').fill(TRIAL);
  await watched.tile('Tools', 'wrench 1').tap();
  await watched.tile('Baseline: the setup that counts as 100 %', 'direct').tap();
  await watched.tile('Setups that are compared with it', '75 mm extension').tap();
  await watched.tile('Test bolt', 'test bolt 1').tap();
  await watched.button('Repeats: one less').tap();
  await watched.tile('Warm-up', 'no').tap();
  await watched.field('Seed of the order').fill('7');
  await watched.button('Show the order').tap();
  await watched.page.getByRole('heading', { name: 'The order, not stored yet' }).waitFor();
  assert.deepEqual((await bench.get<{ trials: unknown[] }>('trials')).trials, [], 'showing the order stores nothing');
  const shown = await watched.page.locator('.order li').allInnerTexts();
  await watched.button('Store the plan').tap();
  await watched.page.getByRole('heading', { name: `Trial ${TRIAL}` }).waitFor();
  const { steps } = await trialNow(TRIAL);
  assert.equal(steps.length, shown.length);
  steps.forEach((step, at) => assert.ok(shown[at]?.includes(step.setup), `step ${step.number}: ${shown[at]} was shown, ${step.setup} is stored`));
}

/** Ready by touch, the rig plays what is shown, the step is done. */
async function walkStep(watched: Watched): Promise<Trial> {
  const was = await trialNow(TRIAL);
  const step = watched.page.getByRole('region', { name: `Next step of the trial ${TRIAL}` });
  await step.locator('.fitting dd', { hasText: was.next?.setup ?? '' }).waitFor();
  const setup = await step.locator('.fitting dd').nth(1).innerText();
  assert.equal(setup, was.next?.setup);
  await watched.button('Ready').tap();
  await watched.says('Awaiting a run');
  await bench.play(setup);
  return until(`the end of step ${was.next?.number}`, async () => {
    const now = await trialNow(TRIAL);
    return now.steps_done > was.steps_done && now.standing !== 'awaiting a run' ? now : false;
  });
}

test('a trial goes by touch from an empty shelf to its report', async () => {
  const watched = await Watched.open(browser, bench, 'setups');
  // The one refusal is of the chain without a socket.
  watched.provoke(400, 422);
  await stockByTouch(watched);
  await buildByTouch(watched);
  await planByTouch(watched);

  // The first step at the view Now, where the run itself is to be seen.
  await watched.page.getByRole('navigation', { name: 'Views' }).getByRole('link', { name: 'Now' }).tap();
  const seen = await watchBand(watched.page);
  let now = await walkStep(watched);
  const first = now.steps.find((step) => step.run !== null);
  assert.ok(first?.run);
  await watched.says(`Run ${first.run}`);
  const run = await bench.get<RunDetail>(`runs/${first.run}`);
  const summary = watched.page.locator('.run-summary');
  await until('gate and held of the run', async () => {
    const words = await summary.innerText();
    return words.includes(`${fixed(run.gates[0]?.tension_kN, 2)} kN`) && words.includes(`${fixed(run.held_kN, 2)} kN`);
  });
  assert.match(await summary.innerText(), /Gate 3 s[\s\S]*Held[\s\S]*Equivalent torque, held/);
  assert.deepEqual(await seen(), ['waiting', 'driving', 'gate', 'measured', 'waiting'], 'the band tells each state of the run');

  await watched.button('Ready').waitFor();
  await watched.page.getByRole('link', { name: 'Open this trial' }).tap();
  while (now.standing !== 'done') now = await walkStep(watched);
  assert.equal(now.steps_done, now.steps_total);
  await watched.says('All steps are done.');
  await watched.page.getByRole('link', { name: 'See the results' }).tap();

  const compared = await bench.json<Comparison>('compare', TRIAL);
  const rows = watched.page.locator('section', { has: watched.page.getByRole('heading', { name: 'wrench 1', level: 2 }) }).locator('tbody tr');
  await rows.first().waitFor();
  const shown = await rows.evaluateAll((all) => all.map((row) => [row.querySelector('th')?.firstChild?.textContent, row.querySelector('td strong')?.textContent]));
  const percents = compared.setups.map((row) => [row.setup, fixed(row.percent_of_baseline, 1)]);
  assert.equal(percents.length, 2);
  assert.deepEqual(shown, percents, 'the page and the command line say the same');

  const [report] = await Promise.all([watched.context.waitForEvent('page'), watched.page.getByRole('link', { name: /^Report/ }).tap()]);
  await report.waitForLoadState();
  const printed = await report.locator('table tr').allInnerTexts();
  for (const { setup, percent_of_baseline, runs } of compared.setups)
    assert.ok(printed.some((line) => line.startsWith([setup, runs, fixed(percent_of_baseline, 2)].join('\t'))), `the report holds ${percent_of_baseline} % of ${setup}`);
  await watched.end();
});

async function planned(name: string, ...more: string[]): Promise<void> {
  await bench.cli('trial', 'new', name, '--rig', 'demo', '--tools', 'wrench 1', '--baseline', 'direct', '--setups', '75 mm extension', '--repeats', '2', '--seed', '7', '--bolt', 'test bolt 1', '--who', 'bench', ...more);
}

/** The key of a pedal, which no keyboard of today has. */
async function pressF13(watched: Watched): Promise<void> {
  const devtools = await watched.context.newCDPSession(watched.page);
  for (const type of ['rawKeyDown', 'keyUp'] as const) await devtools.send('Input.dispatchKeyEvent', { type, key: 'F13', code: 'F13', windowsVirtualKeyCode: 124 });
  await devtools.detach();
}

test('the first steps go by keyboard alone and by the pedal', async () => {
  await planned('by keys');
  const watched = await Watched.open(browser, bench, 'trial', { who: 'tester', pedal: 'on' });
  const { keyboard } = watched.page;
  await watched.says('by keys');
  await watched.tabTo(/^Skip to the view$/);
  await keyboard.press('Enter');
  await watched.tabTo('Open the trial by keys');
  await keyboard.press('Enter');
  await watched.page.getByRole('heading', { name: 'Trial by keys' }).waitFor();
  await watched.tabTo('Ready');
  await keyboard.press('Enter');
  await watched.says('Awaiting a run');
  assert.notEqual(await watched.page.evaluate(() => document.activeElement?.tagName), 'BODY', 'the focus is not lost with the button');
  let now = await trialNow('by keys');
  await bench.play(now.next?.setup ?? '');

  await until('the second step', async () => {
    now = await trialNow('by keys');
    return now.steps_done === 1 && now.standing === 'ready to go on';
  });
  await watched.button('Ready').waitFor();
  await until('a button that may be pressed', () => watched.button('Ready').isEnabled());
  await watched.says('The foot pedal says that you are ready.');
  await pressF13(watched);
  await watched.says('Awaiting a run');
  now = await trialNow('by keys');
  assert.equal(now.standing, 'awaiting a run');
  assert.equal(now.next?.number, 2);
  // A foot bounces, and a second press has nothing to say.
  await keyboard.press('PageDown');
  assert.equal((await trialNow('by keys')).entries.length, now.entries.length);
  // One rig, one run to come: it must not wait for it any longer.
  await bench.cli('trial', 'abort', 'by keys', '--why', 'seen enough', '--who', 'bench');
  await watched.says('Laid aside.');
  await watched.end();
});

test('a warm-up and a Latin square go by themselves, and the page follows to the end', async () => {
  await planned('by itself', '--order', 'latin-square', '--warm-up');
  const watched = await Watched.open(browser, bench, 'trial/by%20itself', { who: 'tester', size: 'phone' });
  await watched.says('Not warm yet');
  await watched.page.getByText('Repeat, skip, lay aside …').tap();
  await watched.tile('What', 'Go on by itself').tap();
  await watched.button('Store it').tap();
  await watched.says('The next steps are made ready by themselves.');
  let now = await trialNow('by itself');
  let warmUps = 0;
  while (now.standing !== 'done') {
    const { next, standing } = now;
    assert.ok(next && standing === 'awaiting a run', `${standing} while it goes by itself`);
    if (next.phase === 'warm-up') warmUps += 1;
    await bench.play(next.setup);
    now = await until(`what comes after go ${next.go}`, async () => {
      const then = await trialNow('by itself');
      return then.standing === 'done' || (then.standing === 'awaiting a run' && then.next?.go !== next.go) ? then : false;
    });
    if (next.phase === 'warm-up') await watched.says(new RegExp(`^${warmUps} runs?, kN: `));
  }
  assert.ok(warmUps >= 4 && now.warm, `${warmUps} runs were taken to be warm`);
  assert.deepEqual([now.steps_done, now.not_counted], [now.steps_total, []]);
  await watched.says('Warm');
  assert.equal(await watched.page.getByText('Not warm yet').count(), 0);

  // A run that is left out opens its step again, and the trial goes on by itself.
  const last = now.steps.at(-1);
  assert.ok(last?.run);
  await bench.cli('runs', 'exclude', String(last.run), '--why', 'slipped', '--who', 'bench');
  await watched.says('Awaiting a run');
  await bench.play(last.setup);
  await watched.says('All steps are done.');
  now = await trialNow('by itself');
  assert.deepEqual([now.standing, now.not_counted.map(({ run }) => run)], ['done', [last.run]]);
  await watched.page.getByRole('link', { name: 'See the results' }).tap();
  await watched.page.getByRole('heading', { name: 'Results of by itself' }).waitFor();
  // Warm-up runs are drawn in their order, and compared never.
  const compared = await bench.json<Comparison>('compare', 'by itself');
  assert.equal(compared.setups.reduce((sum, row) => sum + row.runs, 0), now.steps_total);
  await watched.end();
});
