// Percents as marks with their limits: thick the limits of one percent alone, thin those that hold for all of a tool's setups
// together, dotted with the calibration's part. The dashed line is 100 %, the baseline.
import { lines, place, ticks } from '../lib/comparison.ts';
import type { Verdict } from '../lib/comparison.ts';
import { fixed } from '../lib/units.ts';
import { BottomAxis, Drawing, type Span, useWidth } from './svg.tsx';
import { VerdictShape } from './verdict.tsx';

export interface Interval {
  name: string;
  percent: number;
  limits: Span | null;
  together: Span | null;
  total: Span | null;
  verdict: Verdict | null;
}

export const span = (low: number | null, high: number | null): Span | null => (low === null || high === null ? null : [low, high]);

/** Room for the mark of a row, and for each line of its name. */
const MARK = 40;
const LINE = 20;
/** Of the name's type, on average. */
const CHARACTER = 8;
const WIDE = 900;

const Bar = ({ at, y, name, scale }: { at: Span; y: number; name: 'alone' | 'together' | 'total'; scale: (value: number) => number }) => (
  <g class={`limits ${name}`}>
    <line x1={scale(at[0])} x2={scale(at[1])} y1={y} y2={y} />
    {name !== 'alone' && at.map((end) => <line key={end} x1={scale(end)} x2={scale(end)} y1={y - 9} y2={y + 9} />)}
  </g>
);

export function Intervals({ rows, name, unit = '% of the baseline' }: { rows: readonly Interval[]; name: string; unit?: string }) {
  const [element, width] = useWidth();
  const all = rows.flatMap((row) => [row.percent, ...(row.limits ?? []), ...(row.together ?? []), ...(row.total ?? [])]);
  const axis = ticks(Math.min(100, ...all), Math.max(100, ...all));
  const from: Span = [axis[0] ?? 0, axis.at(-1) ?? 100];
  const to: Span = [16, Math.min(width, WIDE) - 16];
  const scale = (value: number): number => place(value, from, to);
  const names = rows.map((row) => lines(`${row.name}: ${fixed(row.percent, 1)} %`, Math.floor((to[1] - to[0]) / CHARACTER)));
  const tops = names.reduce((all, words) => [...all, (all.at(-1) ?? 0) + words.length * LINE + MARK], [4]);
  const bottom = tops.at(-1) ?? 0;
  return (
    <div ref={element} class="drawn">
      <Drawing width={Math.min(width, WIDE)} height={bottom + 46} name={name}>
        {axis.map((tick) => <line key={tick} class="grid" x1={scale(tick)} x2={scale(tick)} y1="0" y2={bottom} />)}
        <line class="hundred" x1={scale(100)} x2={scale(100)} y1="0" y2={bottom} />
        {rows.map((row, at) => {
          const words = names[at] ?? [];
          const y = (tops[at] ?? 0) + words.length * LINE + MARK / 2 - 2;
          return (
            <g key={row.name}>
              {words.map((line, of) => <text key={line} class="row-name" x={to[0]} y={(tops[at] ?? 0) + 16 + of * LINE}>{line}</text>)}
              {row.total && <Bar at={row.total} y={y} name="total" scale={scale} />}
              {row.together && <Bar at={row.together} y={y} name="together" scale={scale} />}
              {row.limits && <Bar at={row.limits} y={y} name="alone" scale={scale} />}
              <g transform={`translate(${scale(row.percent)} ${y})`}><VerdictShape of={row.verdict} /></g>
            </g>
          );
        })}
        <BottomAxis all={axis} from={from} to={to} y={bottom} label={unit} width={width} />
      </Drawing>
    </div>
  );
}
