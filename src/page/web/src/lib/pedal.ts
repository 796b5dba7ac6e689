// A foot pedal is a keyboard with one key. Switched on in the options, F13 and PageDown take the next step at the views
// "Now" and "Trial": say that a warning was seen, else that one is ready for the trial's next run; where no trial waits, at
// "Now", freeze or go on. Off by default, because PageDown turns pages elsewhere.
import { frozen, overLimit } from './live.ts';
import { pedal } from './prefs.ts';
import { route } from './route.ts';
import { pedalReady, ready, trial } from './trials.ts';

const KEYS = ['F13', 'PageDown'];
/** A foot bounces. */
const REST_MS = 300;

const here = (): string => route.value[0] ?? 'now';
/** "Now", and a trial that is shown; the list of trials shows no step to be ready for. */
const heard = (): boolean => here() === 'now' || (here() === 'trial' && route.value.length > 1);
const thaws = (): boolean => here() === 'now' && frozen.value;
/** While a trial is walked the pedal belongs to it: a second press must not freeze what the first has begun. */
const walking = (): boolean => trial.value?.standing === 'ready to go on' || trial.value?.standing === 'awaiting a run';

/** What the pedal does next, in words. */
export const pedalNext = (): string => {
  if (overLimit.value !== null) return 'says that the warning was seen';
  if (thaws()) return 'goes on live';
  if (heard() && pedalReady()) return 'says that you are ready';
  return walking() || here() === 'trial' ? 'does nothing' : 'freezes the display';
};

export function watchPedal(): void {
  let last_ms = -Infinity;
  addEventListener('keydown', (event) => {
    // A tile keeps the focus after it was touched, and nothing is typed into it.
    const typing = (event.target instanceof HTMLInputElement && event.target.type === 'text') || event.target instanceof HTMLSelectElement;
    if (pedal.value === 'off' || typing || !heard() || event.repeat || !KEYS.includes(event.key)) return;
    event.preventDefault();
    if (event.timeStamp - last_ms < REST_MS) return;
    last_ms = event.timeStamp;
    if (overLimit.value !== null) overLimit.value = null;
    else if (thaws()) frozen.value = false;
    else if (pedalReady()) void ready();
    else if (here() === 'now' && !walking()) frozen.value = true;
  });
}
