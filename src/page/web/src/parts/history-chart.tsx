// A tool's runs one after the other, with centre and limits. A run that stands out is a filled diamond and is named.
import { place, ticks } from '../lib/comparison.ts';
import type { ToolHistory } from '../lib/judging.ts';
import { system } from '../lib/prefs.ts';
import { link } from '../lib/route.ts';
import { force, forceText, forceUnit } from '../lib/units.ts';
import { Drawing, LeftAxis, type Span, useWidth } from './svg.tsx';
import { moment } from './words.tsx';

const HEIGHT = 280;

const Table = ({ of }: { of: ToolHistory }) => (
  <details>
    <summary>The same as a table</summary>
    <table class="list">
      <thead><tr><th scope="col">Run</th><th scope="col">When</th><th scope="col" class="figure">{of.measure}, {forceUnit(system.value)}</th><th scope="col">Remarks</th></tr></thead>
      <tbody>
        {of.points.map((point) => (
          <tr key={point.run}>
            <th scope="row"><a class="run-link" href={link('runs', point.run)} aria-label={`Run ${point.run}`}>{point.run}</a></th>
            <td data-name="When">{moment(point.utc)}</td>
            <td data-name={`${of.measure}, ${forceUnit(system.value)}`} class="figure">{forceText(point.value_kN, system.value, true)}</td>
            <td data-name="Remarks">{point.remarks.join(', ') || 'none'}</td>
          </tr>
        ))}
      </tbody>
    </table>
  </details>
);

export function HistoryChart({ of }: { of: ToolHistory }) {
  const [element, width] = useWidth();
  const units = system.value;
  const lines = ([['least limit', of.low_kN], ['centre', of.centre_kN], ['greatest limit', of.high_kN]] as const).filter((one): one is [typeof one[0], number] => one[1] !== null);
  const values = [...of.points.map((point) => point.value_kN), ...lines.map((line) => line[1])].map((kN) => force(kN, units));
  const ys = ticks(Math.min(...values), Math.max(...values));
  const [fromY, toY]: [Span, Span] = [[ys[0] ?? 0, ys.at(-1) ?? 1], [HEIGHT - 40, 20]];
  const right = width - 14;
  const x = (at: number): number => place(at, [0, Math.max(1, of.points.length - 1)], [76, right - 16]);
  const y = (kN: number): number => place(force(kN, units), fromY, toY);
  const path = of.points.map((point, at) => `${at === 0 ? 'M' : 'L'}${x(at).toFixed(1)} ${y(point.value_kN).toFixed(1)}`).join('');
  const [first, last] = [of.points[0], of.points.at(-1)];
  return (
    <figure class="drawn-figure">
      <div ref={element} class="drawn">
        <Drawing width={width} height={HEIGHT} name={`${of.measure} of ${of.tool}, run after run, in ${forceUnit(units)}; the table has the same figures`}>
          <LeftAxis all={ys} from={fromY} to={toY} x={60} right={right} />
          {lines.map(([name, kN]) => (
            <g key={name}>
              <line class={name === 'centre' ? 'drift' : 'hundred'} x1={60} x2={right} y1={y(kN)} y2={y(kN)} />
              <text class="line-name" x={right} y={y(kN) - 5} text-anchor="end">{name}</text>
            </g>
          ))}
          <path class="thread" d={path} />
          {of.points.map((point, at) =>
            point.remarks.length === 0 ? (
              <circle key={point.run} class="hollow" cx={x(at)} cy={y(point.value_kN)} r="5" />
            ) : (
              <g key={point.run}>
                <path class="solid" d={`M${x(at)} ${y(point.value_kN) - 11}l11 11-11 11-11-11z`} />
                <text class="line-name" x={x(at)} y={y(point.value_kN) + 28} text-anchor="middle">run {point.run}</text>
              </g>
            ),
          )}
          {first && <text class="axis-end" x={76} y={HEIGHT - 12} text-anchor="middle">run {first.run}</text>}
          {last && last !== first && <text class="axis-end" x={right} y={HEIGHT - 12} text-anchor="end">run {last.run}</text>}
        </Drawing>
      </div>
      <figcaption>{forceUnit(units)}, run after run. Diamond: the run stands out; the table says why.</figcaption>
      <Table of={of} />
    </figure>
  );
}
