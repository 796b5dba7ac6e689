// Which rig this device shows. It stays with one rig, whatever comes, goes or changes its place in the list: a tablet at
// bench 2 must never show bench 1 because the daemon took a rig up again.
import type { Rig } from './types.ts';

/** The rig of an address such as `/?rig=bench-1#/now`; empty where it names none. */
export const inAddress = (search: string): string => new URLSearchParams(search).get('rig') ?? '';

/** The name to stay with: that of the address, else the one kept here, else the first of the list. */
export function pinned(address: string, kept: string, rigs: readonly Pick<Rig, 'rig'>[]): string {
  return address || kept || (rigs[0]?.rig ?? '');
}

/** The rig of that name, and no other; none while it is not there. */
export const shown = (name: string, rigs: readonly Rig[]): Rig | null => rigs.find((one) => one.rig === name) ?? null;

/** The same address with another rig in it. */
export function withRig(search: string, name: string): string {
  const all = new URLSearchParams(search);
  all.set('rig', name);
  return `?${all}`;
}
