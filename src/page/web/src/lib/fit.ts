// Which pieces may come next in a chain, and why not the others. The same rules as src/model/setups/chain.rs, so that a choice
// that would be refused cannot be made; the daemon checks again and has the last word.
import type { Piece } from './types.ts';

export const CHAIN_PIECES_MAX = 16;
/** All sizes, as the daemon writes them. */
export const DRIVES = ['1/4 in', '3/8 in', '1/2 in', '3/4 in', '1 in', '1-1/2 in', '1/4 in hex', '7/16 in hex'] as const;

export const KIND_WORDS: Record<Piece['kind'], string> = {
  socket: 'Socket',
  extension: 'Extension',
  'universal-joint': 'Universal joint',
  adapter: 'Adapter',
  other: 'Other piece',
};

/** What the open end of a chain drives with; null where anything may come first. */
export function openDrive(chain: readonly Piece[], anvil: string | null): string | null {
  const last = chain.at(-1);
  return last ? last.drive_out : anvil;
}

/** The chain ends on the nut. */
export const isComplete = (chain: readonly Piece[]): boolean => chain.at(-1)?.kind === 'socket';

/** Why this piece cannot come next; null where it can. */
export function whyNot(piece: Piece, chain: readonly Piece[], anvil: string | null): string | null {
  if (chain.some((one) => one.name === piece.name)) return 'already in the chain: it is one physical thing';
  if (isComplete(chain)) return 'the chain ends with its socket';
  if (chain.length >= CHAIN_PIECES_MAX) return `a chain has at most ${CHAIN_PIECES_MAX} pieces`;
  const offered = openDrive(chain, anvil);
  if (offered !== null && offered !== piece.drive_in) return `needs ${piece.drive_in}, the chain offers ${offered}`;
  return null;
}

/** Matings from the anvil to the socket's drive, and one for the pin of each universal joint. */
export const contacts = (chain: readonly Piece[]): number =>
  chain.length + chain.filter((piece) => piece.kind === 'universal-joint').length;

/** How many, in words. */
export const contactWords = (count: number | null): string => (count === null ? 'contacts not known' : count === 1 ? '1 contact' : `${count} contacts`);
