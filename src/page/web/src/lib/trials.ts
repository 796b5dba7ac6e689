// The trial that is looked at: the one of the address, else the one that goes on at the rig that is shown. Asked anew with
// each piece of news, and now and then besides, because what another browser says of a trial is no news of a rig.
import { computed, effect, signal } from '@preact/signals';
import { asProblem, get, part, post, Problem } from './api.ts';
import { asked, overLimit, rig, rigs, run, trialNews } from './live.ts';
import { who } from './prefs.ts';
import { route } from './route.ts';
import { goingOn, notYet, sourceOf, type Trial, type TrialLine, type Typed } from './trial.ts';
import type { SourceState } from './types.ts';

const ASKED_EVERY_MS = 4000;
/** The first part of the address behind `trial` that is no name of a trial. */
export const NEW = 'new';

export const trials = signal<TrialLine[] | null>(null);
export const trial = signal<Trial | null>(null);
/** Why there is none: it could not be asked for. */
export const missing = signal<Problem | null>(null);
/** Why the last "ready", or what else was said, was not taken. */
export const refusal = signal<Problem | null>(null);
export const busy = signal(false);
/** What was typed of the source for the next run. */
export const typed = signal<Typed & { text: string }>({ battery: null, figure: null, text: '' });

const atTrial = (): boolean => route.value[0] === 'trial';
/** The name that is looked at; null: none. */
export const looked = computed<string | null>(() => {
  const named = route.value[1];
  if (atTrial() && named !== undefined) return named === NEW && route.value.length === 2 ? null : named;
  return goingOn(trials.value ?? [], rig.value?.rig ?? '')?.trial ?? null;
});
/** Name parts of the address: a trial may be called "new" too, and then stands one part further. */
export const addressOf = (name: string): string[] => (name === NEW ? ['trial', name, 'walk'] : ['trial', name]);

export async function refreshTrials(): Promise<void> {
  try {
    trials.value = (await get('trials')).trials;
  } catch {
    // The feed tells that the daemon is away.
  }
}

function takeIn(found: Trial): void {
  if (looked.value !== found.trial) return;
  const before = trial.value;
  // What was read at the source holds for one go.
  if (before?.trial !== found.trial || before.next?.go !== found.next?.go) typed.value = { battery: null, figure: null, text: '' };
  if (JSON.stringify(before) !== JSON.stringify(found)) trial.value = found;
  missing.value = null;
  const line = trials.value?.find((one) => one.trial === found.trial);
  if (line && (line.standing !== found.standing || line.steps_done !== found.steps_done)) void refreshTrials();
}

export async function refreshTrial(): Promise<void> {
  const name = looked.value;
  if (name === null) {
    trial.value = null;
    missing.value = null;
    return;
  }
  try {
    takeIn(await get(`trials/${part(name)}`));
  } catch (error) {
    const problem = asProblem(error);
    if (looked.value === name && problem.status !== 0) missing.value = problem;
  }
}

/** Says something of the trial. Another browser may have been first: then the refusal shows beside the new state. */
async function tell(path: 'ready' | 'say', body: Record<string, unknown>): Promise<boolean> {
  const of = trial.value;
  if (of === null || busy.value) return false;
  busy.value = true;
  refusal.value = null;
  try {
    takeIn(await post(`trials/${part(of.trial)}/${path}`, { who: who.value.trim(), ...body }));
    return true;
  } catch (error) {
    const problem = asProblem(error);
    if (problem.status === 409 || problem.status === 0) await refreshTrial();
    refusal.value = problem;
    return false;
  } finally {
    busy.value = false;
  }
}

export const say = (what: Record<string, unknown>): Promise<boolean> => tell('say', { say: what });

/** A run goes on at the trial's rig. Feed and state must agree, so that a message that was missed blocks nothing. */
function isRunning(of: string): boolean {
  const known = rigs.value.find((one) => one.rig === of)?.running ?? null;
  return known !== null && (of !== rig.value?.rig || run.value !== null);
}

/** Why "ready" cannot be said now; null where it can. */
export const blocked = computed<string | null>(() => {
  const of = trial.value;
  if (of === null) return null;
  return notYet(of, rigs.value.find((one) => one.rig === of.plan.rig) ?? null, overLimit.value !== null, isRunning(of.plan.rig));
});

/** Somebody is ready: the next run takes the step that is shown. */
export async function ready(): Promise<boolean> {
  const next = trial.value?.next;
  if (!next || trial.value?.standing !== 'ready to go on' || blocked.value !== null) return false;
  const source: SourceState | string | undefined = sourceOf(next, typed.value);
  if (typeof source === 'string' || who.value.trim() === '') {
    refusal.value = typeof source === 'string' ? new Problem(0, source) : new Problem(0, 'who: expected your name, found none', 'every change is stored with who made it');
    return false;
  }
  const due = next.fresh_source_due;
  const done = await tell('ready', { go: next.go, ...(source ? { source } : {}) });
  if (done && due && trial.value?.next?.go === next.go) typed.value = { ...typed.value, fresh: true };
  return done;
}

/** Gives the go back: no run has come yet. What was read at the source still holds, and goes with the next "ready". */
export async function giveBack(go: number): Promise<boolean> {
  const kept = typed.value;
  const done = await say({ entry: 'repeat', go, why: 'not yet: ready was said too early' });
  if (done) typed.value = kept;
  return done;
}

/** A trial waits for a person here, and nothing else stands: the pedal says ready. */
export const pedalReady = (): boolean => trial.value?.standing === 'ready to go on' && blocked.value === null;

export function watchTrials(): void {
  effect(() => {
    if (asked.value) void (trialNews.value, refreshTrials());
  });
  effect(() => {
    if (looked.value !== trial.peek()?.trial) {
      trial.value = null;
      refusal.value = null;
    }
    void (trialNews.value, looked.value, refreshTrial());
  });
  setInterval(() => {
    const here = route.value[0] ?? 'now';
    if (document.hidden || (here !== 'now' && here !== 'trial')) return;
    if (looked.value === null) void refreshTrials();
    else void refreshTrial();
  }, ASKED_EVERY_MS);
}
