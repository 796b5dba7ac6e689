// Runs of one tool in the order of time, with the drift that was taken out drawn through the baseline. Setups are letters,
// so that the plot needs no colour; a run that does not count is a cross.
import { driftLine, letter, place, type ReadingRow, ticks } from '../lib/comparison.ts';
import { system } from '../lib/prefs.ts';
import { link } from '../lib/route.ts';
import { force, forceText, forceUnit } from '../lib/units.ts';
import { BottomAxis, Drawing, LeftAxis, type Span, useWidth } from './svg.tsx';

const HEIGHT = 280;
const WIDE = 1100;

interface Given {
  rows: readonly ReadingRow[];
  baseline: string;
  setups: readonly string[];
  drift_percent_per_hour: number | null;
  tool: string | null;
  measure: string;
}

const Point = ({ row, x, y, of }: { row: ReadingRow; x: number; y: number; of: Given }) => {
  if (row.excluded !== null) return <path class="stroke" d={`M${x - 7} ${y - 7}l14 14M${x + 7} ${y - 7}l-14 14`} />;
  if (row.setup === of.baseline) return <rect class="solid" x={x - 7} y={y - 7} width="14" height="14" />;
  return <text class="letter" x={x} y={y + 6} text-anchor="middle">{letter(of.setups.indexOf(row.setup ?? ''))}</text>;
};

const Table = ({ of }: { of: Given }) => (
  <details>
    <summary>The same as a table</summary>
    <table class="list">
      <thead><tr><th scope="col">Run</th><th scope="col">After, s</th><th scope="col">Setup</th><th scope="col" class="figure">{of.measure}, {forceUnit(system.value)}</th><th scope="col">Counts</th></tr></thead>
      <tbody>
        {of.rows.map((row) => (
          <tr key={row.run}>
            <th scope="row"><a class="run-link" href={link('runs', row.run)} aria-label={`Run ${row.run}`}>{row.run}</a></th>
            <td data-name="After, s">{row.time_s.toFixed(0)}</td>
            <td data-name="Setup">{row.setup ?? 'none'}</td>
            <td data-name={`${of.measure}, ${forceUnit(system.value)}`} class="figure">{forceText(row.value_kN, system.value, true)}</td>
            <td data-name="Counts">{row.excluded ?? 'yes'}</td>
          </tr>
        ))}
      </tbody>
    </table>
  </details>
);

export function RunOrder(given: Given) {
  const [element, width] = useWidth();
  const units = system.value;
  const shown = given.rows.filter((row) => row.value_kN !== null);
  const minutes = Math.max(1, ...given.rows.map((row) => row.time_s)) > 180;
  const per = minutes ? 60 : 1;
  const line = driftLine(given.rows, given.baseline, given.drift_percent_per_hour);
  const values = [...shown.map((row) => force(row.value_kN ?? 0, units)), ...(line ?? []).map((end) => force(end[1], units))];
  if (shown.length === 0) return <p class="empty">No run of it has the figure yet.</p>;
  const [ys, xs] = [ticks(Math.min(...values), Math.max(...values)), ticks(0, Math.max(...shown.map((row) => row.time_s)) / per)];
  const right = Math.min(width, WIDE) - 14;
  const [fromX, toX]: [Span, Span] = [[0, xs.at(-1) ?? 1], [64, right]];
  const [fromY, toY]: [Span, Span] = [[ys[0] ?? 0, ys.at(-1) ?? 1], [HEIGHT - 50, 14]];
  const x = (time_s: number): number => place(time_s / per, fromX, toX);
  const y = (kN: number): number => place(force(kN, units), fromY, toY);
  const title = `${given.measure} of ${given.tool ?? 'the tool'} in the order of its runs, in ${forceUnit(units)}`;
  return (
    <figure class="drawn-figure">
      <div ref={element} class="drawn">
        <Drawing width={Math.min(width, WIDE)} height={HEIGHT} name={title}>
          <LeftAxis all={ys} from={fromY} to={toY} x={56} right={right} />
          <BottomAxis all={xs} from={fromX} to={toX} y={HEIGHT - 50} label={minutes ? 'minutes since the first run' : 'seconds since the first run'} width={width} />
          {line && <line class="drift" x1={x(line[0][0])} y1={y(line[0][1])} x2={x(line[1][0])} y2={y(line[1][1])} />}
          {shown.map((row) => <Point key={row.run} row={row} x={x(row.time_s)} y={y(row.value_kN ?? 0)} of={given} />)}
        </Drawing>
      </div>
      <figcaption>
        {forceUnit(units)}; square: {given.baseline}{given.setups.filter((name) => name !== given.baseline && shown.some((row) => row.setup === name)).map((name) => `; ${letter(given.setups.indexOf(name))}: ${name}`)}{shown.some((row) => row.excluded !== null) && '; cross: not counted'}{line && '; dots: drift of the baseline'}.
      </figcaption>
      <Table of={given} />
    </figure>
  );
}
