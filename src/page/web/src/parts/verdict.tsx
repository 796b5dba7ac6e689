// A verdict as a shape and words; the same shapes stand in the plots.
import type { Verdict } from '../lib/comparison.ts';

/** Drawn around a middle at 0, 0. */
export const VerdictShape = ({ of }: { of: Verdict | null }) => {
  if (of === 'lower') return <path d="M-11 -9H11L0 11z" class="solid" />;
  if (of === 'higher') return <path d="M-11 9H11L0 -11z" class="solid" />;
  if (of === 'baseline') return <path d="M-9 -9H9V9H-9z" class="solid" />;
  if (of === 'no difference shown') return <circle r="8" class="hollow" />;
  return <path d="M-7 -7L7 7M7 -7L-7 7" class="stroke" />;
};

export const VerdictWords = ({ of }: { of: Verdict | null }) => (
  <span class="verdict">
    <svg class="mark" viewBox="-14 -14 28 28" aria-hidden="true"><VerdictShape of={of} /></svg>
    {of ?? 'none'}
  </span>
);
