// What this device remembers: units, light or dark, sound, pedal, who works here, which rig is looked at. Kept in the
// browser only. A browser that keeps nothing gets the defaults each time.
import { effect, signal, type Signal } from '@preact/signals';
import type { System } from './units.ts';

export type Theme = 'auto' | 'light' | 'dark';

function kept<T extends string>(key: string, fallback: T, allowed?: readonly T[]): Signal<T> {
  const name = `boltscribe.${key}`;
  let start = fallback;
  try {
    const found = localStorage.getItem(name);
    if (found !== null && (!allowed || allowed.includes(found as T))) start = found as T;
  } catch {
    // Storage is switched off: the default holds.
  }
  const value = signal<T>(start);
  effect(() => {
    const now = value.value;
    try {
      localStorage.setItem(name, now);
    } catch {
      // As above.
    }
  });
  return value;
}

const SWITCH = ['off', 'on'] as const;
export const system = kept<System>('units', 'SI', ['SI', 'US']);
export const theme = kept<Theme>('theme', 'auto', ['auto', 'light', 'dark']);
export const pedal = kept<'off' | 'on'>('pedal', 'off', SWITCH);
export const who = kept<string>('who', '');
export const chosenRig = kept<string>('rig', '');

/** A browser lets sound out only after a touch, so it is off at each start. */
export const sound = signal(false);

const wantsDark = typeof matchMedia === 'undefined' ? null : matchMedia('(prefers-color-scheme: dark)');
const systemDark = signal(wantsDark?.matches ?? false);
wantsDark?.addEventListener('change', (event) => (systemDark.value = event.matches));

/** The theme that is shown. */
export const dark = (): boolean => theme.value === 'dark' || (theme.value === 'auto' && systemDark.value);

/** Puts the theme at the document's root, where the style sheet looks for it. */
export function applyTheme(): void {
  effect(() => {
    document.documentElement.dataset['theme'] = dark() ? 'dark' : 'light';
  });
}
