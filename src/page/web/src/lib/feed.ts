// The daemon's feed of news, over a WebSocket on the same origin. Its signs of life are watched: a line that died without
// a word would look like a quiet rig. Who is too slow for it starts anew, so that nothing old is shown as live.
import { signal } from '@preact/signals';
import { ROOT } from './api.ts';
import type { Message } from './types.ts';

export type Connection = 'connecting' | 'open' | 'lost';

/** The daemon gives a sign of life each 10 s. */
const SILENT_AFTER_MS = 15_000;
const AGAIN_AFTER_MS = [250, 500, 1000, 2000] as const;
/** A reading that comes this much later than the quickest so far has waited somewhere on its way. */
export const BEHIND_MS = 3000;
/** As WebSockets call it when the daemon cuts off who reads too slowly. */
const TOO_SLOW = 1013;

export const connection = signal<Connection>('connecting');
/** How often this device was too slow and had to start anew. */
export const missed = signal(0);

/** Watches how long messages are under way, by two clocks of which only the difference counts. */
export class Delay {
  #least_ms = Infinity;

  /** Milliseconds behind the quickest message so far. */
  behind(sent_ms: number, came_ms: number): number {
    const took = came_ms - sent_ms;
    this.#least_ms = Math.min(this.#least_ms, took);
    return took - this.#least_ms;
  }
}

/** Reads one text of the feed: a message, or nothing but a sign of life. */
export function readText(text: string): Message | null {
  const found = JSON.parse(text) as Message | { news: 'alive' };
  return found.news === 'alive' ? null : found;
}

/** Listens without end; after a break it tells, then tries again. `live` names the rig whose readings are wanted. */
export function listen(live: () => string, take: (message: Message) => void, opened: () => void): { again(): void } {
  let failures = 0;
  let current: WebSocket | null = null;

  function once(): void {
    const query = live() === '' ? '' : `?live=${encodeURIComponent(live())}`;
    const socket = new WebSocket(`${location.protocol === 'https:' ? 'wss' : 'ws'}://${location.host}${ROOT}/feed${query}`);
    current = socket;
    const delay = new Delay();
    let watch = setTimeout(lost, SILENT_AFTER_MS);
    let over = false;

    function lost(): void {
      if (over) return;
      over = true;
      clearTimeout(watch);
      socket.close();
      if (current !== socket) return;
      connection.value = 'lost';
      const wait = AGAIN_AFTER_MS[Math.min(failures, AGAIN_AFTER_MS.length - 1)] ?? 2000;
      failures += 1;
      setTimeout(() => current === socket && once(), wait);
    }

    socket.onopen = () => {
      if (current !== socket) return;
      failures = 0;
      connection.value = 'open';
      opened();
    };
    socket.onmessage = (event: MessageEvent<string>) => {
      if (current !== socket || over) return;
      clearTimeout(watch);
      watch = setTimeout(lost, SILENT_AFTER_MS);
      const message = readText(event.data);
      if (!message) return;
      const reading = message.news === 'event' && message.event === 'live';
      if (reading && delay.behind(message.utc_ns / 1e6, Date.now()) > BEHIND_MS) {
        missed.value += 1;
        lost();
        return;
      }
      take(message);
    };
    socket.onclose = (event) => {
      if (event.code === TOO_SLOW) missed.value += 1;
      lost();
    };
    socket.onerror = lost;
  }

  once();
  return {
    again() {
      const old = current;
      once();
      old?.close();
    },
  };
}
