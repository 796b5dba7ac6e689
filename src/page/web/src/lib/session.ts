// Whether the daemon asks for tokens here, whose this device has, and where other devices find the page. The token itself
// stands in a cookie that no script can read.
import { signal } from '@preact/signals';
import type { Session } from './answers.ts';
import { get, post, remove } from './api.ts';

/** Null: not asked yet, or a token is asked for. */
export const session = signal<Session | null>(null);
/** Where others find the page; null where only this machine does. */
export const address = signal<string | null>(null);

export async function askSession(): Promise<void> {
  try {
    session.value = await get('session');
    address.value = (await get('page/address')).address;
  } catch {
    session.value = null;
  }
}

export async function comeIn(token: string): Promise<void> {
  session.value = await post('session', { token });
  await askSession();
}

export async function goOut(): Promise<void> {
  await remove('session', {});
  session.value = null;
}
