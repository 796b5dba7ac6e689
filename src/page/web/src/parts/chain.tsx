// A chain of pieces as it is held: tool, pieces in order, nut. Each piece is a box as long as the piece, within reason;
// between two boxes stands the drive by which they mate. A list for those who hear it.
import { KIND_WORDS } from '../lib/fit.ts';
import type { Piece } from '../lib/types.ts';

const width_rem = (piece: Piece): number => 4.5 + Math.min(6, (piece.length_mm ?? 60) / 60);

export function Chain({ tool, pieces, nut = true }: { tool: string | null; pieces: readonly (Piece | string)[]; nut?: boolean }) {
  return (
    <ol class="chain" aria-label="What is coupled, from the tool to the nut">
      <li class="link tool">
        <span class="link-name">{tool ?? 'any tool'}</span>
        <small>tool</small>
      </li>
      {pieces.map((piece) => {
        if (typeof piece === 'string')
          return (
            <li class="link other" key={piece}>
              <span class="link-name">{piece}</span>
              <small>not on the shelf</small>
            </li>
          );
        const kind = KIND_WORDS[piece.kind].toLowerCase();
        return (
          <li class={`link ${piece.kind}`} key={piece.name} style={{ minWidth: `${width_rem(piece)}rem` }}>
            <span class="drive">{piece.drive_in}</span>
            <span class="link-name">{piece.name}</span>
            <small>{piece.length_mm === null ? kind : `${kind}, ${piece.length_mm} mm`}</small>
          </li>
        );
      })}
      {nut && (
        <li class="link nut">
          <svg viewBox="0 0 48 48" aria-hidden="true"><path d="M14 6h20l11 18-11 18H14L3 24z" fill="none" stroke="currentColor" stroke-width="5" /><circle cx="24" cy="24" r="8" fill="none" stroke="currentColor" stroke-width="4" /></svg>
          <small>nut</small>
        </li>
      )}
    </ol>
  );
}
