// One change on its way to the daemon: busy, stored with the words of the answer, or refused.
import { useSignal, type Signal } from '@preact/signals';
import { asProblem, Problem } from '../lib/api.ts';
import { who } from '../lib/prefs.ts';

export interface Saving {
  busy: Signal<boolean>;
  problem: Signal<Problem | null>;
  stored: Signal<string | null>;
  /** Sends a change; what it answers is put into words. True where it was stored. */
  save(change: (by: string) => Promise<string>): Promise<boolean>;
}

export function useSaving(): Saving {
  const busy = useSignal(false);
  const problem = useSignal<Problem | null>(null);
  const stored = useSignal<string | null>(null);
  return {
    busy,
    problem,
    stored,
    async save(change) {
      if (busy.value) return false;
      problem.value = null;
      stored.value = null;
      const by = who.value.trim();
      if (by === '') {
        problem.value = new Problem(0, 'who: expected your name, found none', 'every change is stored with who made it');
        return false;
      }
      busy.value = true;
      try {
        stored.value = await change(by);
        return true;
      } catch (error) {
        problem.value = asProblem(error);
        return false;
      } finally {
        busy.value = false;
      }
    },
  };
}

/** A name as it goes into an address: none would ask for something else. */
export function named(what: string, name: string): string {
  if (name.trim() === '') throw new Problem(0, `${what} name: expected one, found none`);
  return encodeURIComponent(name);
}
