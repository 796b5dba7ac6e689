// What is live: the rigs, the newest readings, the run that goes on. Fed by the daemon's events; components read
// signals. A reading counts as live only while the line is up, the device sends, and news keep coming here: otherwise
// there is no number at all, but the reason why.
import { computed, signal } from '@preact/signals';
import { get, signedOut } from './api.ts';
import { cue } from './cue.ts';
import { connection, listen } from './feed.ts';
import { chosenRig } from './prefs.ts';
import { inAddress, pinned, shown, withRig } from './pin.ts';
import { Ring } from './ring.ts';
import { sample, type Run, step } from './run.ts';
import type { Message, Rig, RunDetail } from './types.ts';

/** Readings come 25 to 30 times a second; this keeps half a minute of them and more. */
const RING_ROOM = 1024;
const OLD_AFTER_MS = 1500;
const SHOWN_EVERY_MS = 100;
const ASKED_EVERY_MS = 2000;
/** Where the daemon does not tell its gates. */
const GATES_DEFAULT_S = [3];

export const rigs = signal<Rig[]>([]);
/** Whether the rigs were asked for once with an answer. */
export const asked = signal(false);
export const rig = computed<Rig | null>(() => shown(chosenRig.value, rigs.value));
/** The run going on at the rig that is shown. */
export const run = signal<Run | null>(null);
/** The newest run of that rig. */
export const lastRun = signal<RunDetail | null>(null);
/** Counts up with each row of a run, so that lists know when to ask again. */
export const runNews = signal(0);
/** Counts up with all that may move a trial on: runs, readings, another setup in force. */
export const trialNews = signal(0);
/** When the last run at the rig that is shown was seen to end, by this page's own clock. */
export const endedAt_ms = signal(-Infinity);
/** Tension passed the limit and nobody has said that it was seen, kN; 0 where only the flag tells. */
export const overLimit = signal<number | null>(null);
export const frozen = signal(false);

export const ring = new Ring(RING_ROOM);
/** Of the newest reading: its time in the stream, and when it came here. */
export const latest = { at_s: 0, came_ms: -Infinity, mean_kN: 0, counts: 0 };

export type Reading =
  | { is: 'live'; kN: number | null; counts: number }
  | { is: 'none'; why: 'asking' | 'no-rig' | 'lost' | 'line' | 'silent' | 'not-served' | 'by-hand'; detail: string };

export const reading = signal<Reading>({ is: 'none', why: 'asking', detail: '' });

/** The reading as things are at this moment. */
export function readNow(now_ms: number): Reading {
  const here = rig.value;
  if (connection.value === 'lost') return { is: 'none', why: 'lost', detail: 'this page has lost the daemon' };
  if (!asked.value) return { is: 'none', why: 'asking', detail: '' };
  if (!here && rigs.value.length > 0) return { is: 'none', why: 'no-rig', detail: `rig '${chosenRig.value}' is not there any more: choose a rig above` };
  if (!here) return { is: 'none', why: 'no-rig', detail: 'no rig yet' };
  if (here.link === 'by-hand') return { is: 'none', why: 'by-hand', detail: 'a dial that is read by hand' };
  if (here.link === 'not-served') return { is: 'none', why: 'not-served', detail: 'no daemon serves this rig' };
  if (here.link === 'down') return { is: 'none', why: 'line', detail: here.link_detail ?? 'the line is down' };
  if (here.stale || now_ms - latest.came_ms > OLD_AFTER_MS)
    return { is: 'none', why: 'silent', detail: here.link_detail ?? 'the line is open, but nothing comes' };
  return { is: 'live', kN: here.calibration === null ? null : latest.mean_kN, counts: latest.counts };
}

/** Where the stream's clock stands by now, seconds; it runs on between readings so that the trace moves evenly. */
export function streamNow(now_ms: number): number {
  const scale = rig.value?.identity?.time_scale ?? 1;
  return latest.at_s + Math.min(now_ms - latest.came_ms, OLD_AFTER_MS) * 0.001 * scale;
}

export const gates = (): number[] => rig.value?.gates_s ?? lastRun.value?.gates.map((gate) => gate.after_s) ?? GATES_DEFAULT_S;

/** Stays with a rig, here and in the address, so that a bookmark and a reload show the same one. */
function pin(name: string): void {
  chosenRig.value = name;
  if (inAddress(location.search) !== name) history.replaceState(history.state, '', withRig(location.search, name) + location.hash);
}

async function askRigs(): Promise<void> {
  try {
    const found = (await get('rigs')).rigs;
    if (found.length > 0) pin(pinned(inAddress(location.search), chosenRig.value, found));
    rigs.value = found;
    asked.value = true;
  } catch {
    // The feed tells that the daemon is away.
  }
}

/** Asks anew, for instance after a change was stored. */
export const refresh = askRigs;

async function askLastRun(of: string): Promise<void> {
  try {
    const { runs } = await get(`runs?rig=${encodeURIComponent(of)}&limit=1`);
    const newest = runs[0] ? await get(`runs/${runs[0].id}`) : null;
    if (rig.value?.rig === of) lastRun.value = newest;
  } catch {
    // As above.
  }
}

const change = (name: string, to: Partial<Rig>): void => {
  rigs.value = rigs.value.map((one) => (one.rig === name ? { ...one, ...to } : one));
};

function warn(kN: number): void {
  if (overLimit.value === null) cue('warning');
  if (overLimit.value === null || kN > overLimit.value) overLimit.value = kN;
}

function takeOfShown(message: Message): void {
  if (message.news === 'event' && message.event === 'live') {
    const kN = message.mean / 1000;
    ring.push(message.at_s, message.min / 1000, message.max / 1000, kN);
    Object.assign(latest, { at_s: message.at_s, came_ms: performance.now(), mean_kN: kN, counts: message.counts });
    const allowed = rig.value?.in_force.bolt?.allowed_kN;
    // The mean, not the greatest sample: a spike on the line is no tension in the bolt.
    if (allowed && rig.value?.calibration && kN > allowed) warn(kN);
    if (rig.value?.stale) change(message.rig, { stale: false });
  }
  const { run: next, cue: sounds } = step(run.value, sample(message), gates());
  if (sounds) cue(sounds);
  if (next !== run.value) run.value = next;
  if (message.news === 'run' || message.news === 'reading') {
    const flags = message.news === 'run' ? message.row.flags : message.flags;
    if (flags.includes('over-limit')) warn(0);
    if (message.news === 'reading' || message.row.row === 'closed') endedAt_ms.value = performance.now();
    void askLastRun(message.rig);
  }
  if (message.news === 'changed' && message.id === lastRun.value?.id) void askLastRun(message.rig);
}

/** Takes one message of the feed. */
export function take(message: Message): void {
  if (message.news === 'link') {
    change(message.rig, { link: message.link, link_detail: message.detail, stale: message.link !== 'up' });
  } else if (message.news === 'event' && message.event === 'stale') {
    change(message.rig, { stale: message.stale });
  } else if (message.news === 'event' && message.event === 'unsampled') {
    change(message.rig, { link_detail: message.answers ? 'the device answers, but sends no samples; it is started again and again' : null });
  } else if (message.news === 'run' || message.news === 'reading' || message.news === 'changed') {
    runNews.value += 1;
    trialNews.value += 1;
  } else if (message.news === 'trial') {
    trialNews.value += 1;
  } else if (message.news === 'event' && ['in-force', 'identity', 'zeroed', 'rate', 'awaits-rest'].includes(message.event)) {
    void askRigs();
    if (message.event === 'in-force') trialNews.value += 1;
  }
  if (message.rig === rig.value?.rig) takeOfShown(message);
}

function forget(): void {
  ring.clear();
  latest.came_ms = -Infinity;
  run.value = null;
  lastRun.value = null;
  overLimit.value = null;
  frozen.value = false;
  endedAt_ms.value = -Infinity;
}

let feed: { again(): void } | null = null;

/** Takes up what the daemon knows of the rig that is shown; a run that goes on has begun before this page. */
async function takeUp(): Promise<void> {
  await askRigs();
  const here = rig.value;
  if (!here) return;
  if (here.running !== null) {
    run.value ??= { seq: here.running, first_s: null, phase: here.driving ? 'driving' : 'measured', gatesPassed: 0, blows: 0, at_s: 0 };
  } else {
    run.value = null;
  }
  await askLastRun(here.rig);
}

/** Shows another rig. */
export function showRig(name: string): void {
  if (name === rig.value?.rig) return;
  pin(name);
  forget();
  feed?.again();
}

/** Listens to the feed, once it is known which rig is looked at and that this device may. */
export function startFeed(): void {
  void askRigs().then(() => {
    if (signedOut.value) return;
    if (feed) feed.again();
    else feed = listen(() => rig.value?.rig ?? '', take, () => void takeUp());
  });
}

/** Starts everything that runs by itself. */
export function start(): void {
  startFeed();
  setInterval(() => void askRigs(), ASKED_EVERY_MS);
  setInterval(() => {
    if (frozen.value) return;
    const now = readNow(performance.now());
    const old = reading.value;
    if (JSON.stringify(now) !== JSON.stringify(old)) reading.value = now;
  }, SHOWN_EVERY_MS);
}
