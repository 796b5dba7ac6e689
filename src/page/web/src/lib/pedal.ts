// A foot pedal is a keyboard with one key. Switched on in the options, F13 and PageDown take the next step at the view
// "Now": say that a warning was seen, else freeze or go on. Off by default, because PageDown turns pages elsewhere.
import { frozen, overLimit } from './live.ts';
import { pedal } from './prefs.ts';
import { route } from './route.ts';

const KEYS = ['F13', 'PageDown'];
/** A foot bounces. */
const REST_MS = 300;

/** What the pedal does next, in words. */
export const pedalNext = (): string => {
  if (overLimit.value !== null) return 'says that the warning was seen';
  return frozen.value ? 'goes on live' : 'freezes the display';
};

export function watchPedal(): void {
  let last_ms = -Infinity;
  addEventListener('keydown', (event) => {
    const typing = event.target instanceof HTMLInputElement || event.target instanceof HTMLSelectElement;
    const here = (route.value[0] ?? 'now') === 'now';
    if (pedal.value === 'off' || typing || !here || event.repeat || !KEYS.includes(event.key)) return;
    event.preventDefault();
    if (event.timeStamp - last_ms < REST_MS) return;
    last_ms = event.timeStamp;
    if (overLimit.value !== null) overLimit.value = null;
    else frozen.value = !frozen.value;
  });
}
