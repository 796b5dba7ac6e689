// What drawings share: they are as wide as their place in pixels, so that their words keep their size on every screen.
import { useSignal } from '@preact/signals';
import type { ComponentChildren, RefObject } from 'preact';
import { useEffect, useRef } from 'preact/hooks';
import { place, tickDecimals } from '../lib/comparison.ts';
import { fixed } from '../lib/units.ts';

export function useWidth(start = 320): [RefObject<HTMLDivElement | null>, number] {
  const element = useRef<HTMLDivElement>(null);
  const width = useSignal(start);
  useEffect(() => {
    const at = element.current;
    if (!at) return undefined;
    const watch = new ResizeObserver(() => (width.value = Math.max(200, Math.floor(at.clientWidth))));
    watch.observe(at);
    return () => watch.disconnect();
  }, []);
  return [element, width.value];
}

export type Span = readonly [number, number];

/** A drawing with a name for those who do not see it. */
export const Drawing = ({ width, height, name, children }: { width: number; height: number; name: string; children: ComponentChildren }) => (
  <svg class="drawing" width={width} height={height} viewBox={`0 0 ${width} ${height}`} role="img" aria-label={name}>{children}</svg>
);

/** Numbers along the bottom; every second is left out where they would touch. */
export function BottomAxis({ all, from, to, y, label, width }: { all: readonly number[]; from: Span; to: Span; y: number; label: string; width: number }) {
  const every = Math.ceil((all.length * 52) / Math.max(1, to[1] - to[0]));
  return (
    <g class="axis">
      {all.map((tick, at) => at % every === 0 && <text key={tick} x={place(tick, from, to)} y={y + 18} text-anchor="middle">{fixed(tick, tickDecimals(all))}</text>)}
      <text x={Math.min(width - 4, to[1])} y={y + 38} text-anchor="end">{label}</text>
    </g>
  );
}

/** Numbers and lines at the left. */
export const LeftAxis = ({ all, from, to, x, right }: { all: readonly number[]; from: Span; to: Span; x: number; right: number }) => (
  <g class="axis">
    {all.map((tick) => {
      const y = place(tick, from, to);
      return (
        <g key={tick}>
          <line class="grid" x1={x} x2={right} y1={y} y2={y} />
          <text x={x - 8} y={y + 5} text-anchor="end">{fixed(tick, tickDecimals(all))}</text>
        </g>
      );
    })}
  </g>
);
