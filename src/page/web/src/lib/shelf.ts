// What stands on the shelf: pieces, setups, tools, sources and test bolts, and what tools of a class must give. Asked for
// together, and anew after a change.
import { signal } from '@preact/signals';
import type { Answers } from './answers.ts';
import { get } from './api.ts';
import type { ClassLimit } from './judging.ts';
import type { Piece } from './types.ts';

/** Every member of a union at once. */
type All<U> = (U extends unknown ? (one: U) => void : never) extends (all: infer I) => void ? I : never;
export type Shelf = All<Answers['GET shelf/{kind}']>;
export type ShelfKind = keyof Shelf;

export const shelf = signal<Shelf>({ pieces: [], setups: [], tools: [], sources: [], bolts: [] });

/** Limits by class, from the settings. */
const limits = signal<readonly ClassLimit[]>([]);

const KINDS: readonly ShelfKind[] = ['pieces', 'setups', 'tools', 'sources', 'bolts'];

export async function refreshShelf(): Promise<void> {
  try {
    const [classes, ...answers] = await Promise.all([get('limits'), ...KINDS.map((kind) => get(`shelf/${kind}?uses=true`))]);
    limits.value = classes.limits;
    shelf.value = Object.assign({ ...shelf.value }, ...answers) as Shelf;
  } catch {
    // The feed tells that the daemon is away.
  }
}

/** The pieces of a setup in order; names where a piece is gone. */
export function piecesOf(setup: string | null): (Piece | string)[] {
  const found = shelf.value.setups.find((one) => one.name === setup);
  return (found?.pieces ?? []).map((name) => shelf.value.pieces.find((piece) => piece.name === name) ?? name);
}

/** The limit of the class of a tool; null where it has none. */
export function classLimitOf(tool: string | null): ClassLimit | null {
  const known = shelf.value.tools.find((one) => one.name === tool);
  return limits.value.find((one) => known !== undefined && one.class === known.class) ?? null;
}
