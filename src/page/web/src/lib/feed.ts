// The daemon's feed of events, read from a stream of our own so that its signs of life are seen: the browser's
// EventSource hides them, and a line that died without a word would look like a quiet rig.
import { signal } from '@preact/signals';
import { ROOT } from './api.ts';
import type { Message } from './types.ts';

export type Connection = 'connecting' | 'open' | 'lost';

/** The daemon gives a sign of life each 10 s. */
const SILENT_AFTER_MS = 15_000;
const AGAIN_AFTER_MS = [250, 500, 1000, 2000] as const;
/** A message is a few hundred bytes; a run's row with its blows may reach some hundred thousand. */
const PENDING_CHARS_MAX = 4_000_000;

export const connection = signal<Connection>('connecting');
/** Messages that were missed because this device was too slow. */
export const missed = signal(0);

/** Takes stream text apart: whole lines out, the unfinished rest kept. */
export class Lines {
  #rest = '';

  push(text: string): string[] {
    const lines = (this.#rest + text).split('\n');
    this.#rest = lines.pop() ?? '';
    if (this.#rest.length > PENDING_CHARS_MAX) throw new Error('a line of the feed has no end');
    return lines;
  }
}

/** Reads one line of the feed: a message, or nothing. */
export function readLine(line: string): Message | null {
  if (line.startsWith(': skipped ')) missed.value += Number(line.slice(10)) || 0;
  if (!line.startsWith('data: ')) return null;
  return JSON.parse(line.slice(6)) as Message;
}

/** Listens without end; after a break it tells, then tries again. `live` names the rig whose readings are wanted. */
export function listen(live: () => string, take: (message: Message) => void, opened: () => void): { again(): void } {
  let failures = 0;
  let current: AbortController | null = null;

  async function once(): Promise<void> {
    const stop = new AbortController();
    current = stop;
    let watch = setTimeout(() => stop.abort(), SILENT_AFTER_MS);
    try {
      const query = live() === '' ? '' : `?live=${encodeURIComponent(live())}`;
      const response = await fetch(`${ROOT}/events${query}`, { signal: stop.signal, cache: 'no-store' });
      if (!response.ok || !response.body) throw new Error(`the feed answered ${response.status}`);
      const reader = response.body.pipeThrough(new TextDecoderStream()).getReader();
      const lines = new Lines();
      failures = 0;
      connection.value = 'open';
      opened();
      for (;;) {
        const { done, value } = await reader.read();
        if (done) break;
        clearTimeout(watch);
        watch = setTimeout(() => stop.abort(), SILENT_AFTER_MS);
        for (const line of lines.push(value)) {
          const message = readLine(line);
          if (message) take(message);
        }
      }
    } catch {
      // Told below; what broke makes no difference to who looks at the page.
    } finally {
      clearTimeout(watch);
    }
    if (current !== stop) return;
    connection.value = 'lost';
    const wait = AGAIN_AFTER_MS[Math.min(failures, AGAIN_AFTER_MS.length - 1)] ?? 2000;
    failures += 1;
    setTimeout(() => void once(), wait);
  }

  void once();
  return {
    again() {
      const old = current;
      void once();
      old?.abort();
    },
  };
}
