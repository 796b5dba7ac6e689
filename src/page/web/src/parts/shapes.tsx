// Shapes that say a state without a word and without a colour. Drawn, so that no font is asked for them.
import type { JSX } from 'preact';

export type Shape = 'ring' | 'triangle' | 'diamond' | 'check' | 'octagon' | 'broken' | 'cross';

const DRAWN: Record<Shape, JSX.Element> = {
  ring: <circle cx="24" cy="24" r="16" fill="none" stroke="currentColor" stroke-width="7" />,
  triangle: <path d="M10 6l32 18-32 18z" fill="currentColor" />,
  diamond: <path d="M24 3l21 21-21 21L3 24z" fill="currentColor" />,
  check: (
    <g fill="none" stroke="currentColor" stroke-width="6">
      <path d="M6 6h36v36H6z" />
      <path d="M14 24l8 8 13-16" />
    </g>
  ),
  octagon: (
    <g>
      <path d="M15 3h18l12 12v18L33 45H15L3 33V15z" fill="currentColor" />
      <path d="M21 11h6v16h-6zM21 31h6v6h-6z" class="cutout" />
    </g>
  ),
  broken: (
    <g fill="none" stroke="currentColor" stroke-width="7">
      <path d="M3 24h13M32 24h13M18 38l12-28" />
    </g>
  ),
  cross: <path d="M10 10l28 28M38 10L10 38" fill="none" stroke="currentColor" stroke-width="7" />,
};

export const Mark = ({ shape }: { shape: Shape }) => (
  <svg class="mark" viewBox="0 0 48 48" aria-hidden="true" focusable="false">
    {DRAWN[shape]}
  </svg>
);
