// Traces of chosen runs over one another, each from its first blow. At most six, told apart by dashes and by the letter at
// their end, not by colour alone. What the eye sees there stands as figures in the table below.
import { useSignal } from '@preact/signals';
import { useEffect } from 'preact/hooks';
import { asProblem, get, type Problem } from '../lib/api.ts';
import { letter, place, type ReadingRow, ticks } from '../lib/comparison.ts';
import { system } from '../lib/prefs.ts';
import { link } from '../lib/route.ts';
import { overlaid, RUNS_MAX } from '../lib/traces.ts';
import type { Trace } from '../lib/types.ts';
import { fixed, force, forceText, forceUnit } from '../lib/units.ts';
import { BottomAxis, Drawing, LeftAxis, type Span, useWidth } from '../parts/svg.tsx';
import { Refused } from '../parts/words.tsx';

const HEIGHT = 340;
const WIDE = 1100;
const POINTS = 400;
const DASHES = ['', '12 5', '3 5', '14 4 3 4', '7 4', '18 4 3 4 3 4'] as const;

const nameOf = (row: ReadingRow): string => `run ${row.run}, ${row.setup ?? 'no setup'}${row.tool ? `, ${row.tool}` : ''}`;

const Picture = ({ chosen, traces }: { chosen: readonly ReadingRow[]; traces: ReadonlyMap<number, Trace> }) => {
  const [element, width] = useWidth();
  const units = system.value;
  const lines = overlaid(chosen.flatMap((row) => traces.get(row.run) ?? []));
  if (lines.length === 0) return <div ref={element} class="drawn"><p class="empty">Choose runs above, and their traces stand here.</p></div>;
  const all = lines.flat();
  const [xs, ys] = [ticks(Math.min(...all.map(([s]) => s)), Math.max(...all.map(([s]) => s))), ticks(0, Math.max(...all.map(([, kN]) => force(kN, units))))];
  const right = Math.min(width, WIDE) - 34;
  const [fromX, toX]: [Span, Span] = [[xs[0] ?? 0, xs.at(-1) ?? 1], [64, right]];
  const [fromY, toY]: [Span, Span] = [[ys[0] ?? 0, ys.at(-1) ?? 1], [HEIGHT - 50, 14]];
  const at = ([s, kN]: readonly [number, number]): string => `${place(s, fromX, toX).toFixed(1)},${place(force(kN, units), fromY, toY).toFixed(1)}`;
  return (
    <div ref={element} class="drawn">
      <Drawing width={Math.min(width, WIDE)} height={HEIGHT} name={`Tension of ${chosen.length} runs over one another, in ${forceUnit(units)}`}>
        <LeftAxis all={ys} from={fromY} to={toY} x={56} right={right} />
        <BottomAxis all={xs} from={fromX} to={toX} y={HEIGHT - 50} label="seconds after the first blow" width={width} />
        {lines.map((points, nth) => <polyline key={chosen[nth]?.run} class={`over-trace over-trace-${nth % 3}`} points={points.map(at).join(' ')} stroke-dasharray={DASHES[nth % DASHES.length]} />)}
        {lines.map((points, nth) => {
          const end = points.at(-1);
          return end && <text key={chosen[nth]?.run} class="letter" x={right + 8 + 12 * (nth % 2)} y={place(force(end[1], units), fromY, toY) + 6}>{letter(nth)}</text>;
        })}
      </Drawing>
    </div>
  );
};

const Figures = ({ chosen, traces }: { chosen: readonly ReadingRow[]; traces: ReadonlyMap<number, Trace> }) => {
  const units = system.value;
  const greatest = (run: number): number | null => {
    const seen = (traces.get(run)?.max_kN ?? []).filter((kN) => kN !== null);
    return seen.length === 0 ? null : Math.max(...seen);
  };
  return (
    <table class="list">
      <thead><tr><th scope="col">Line</th><th scope="col">Run</th><th scope="col">Setup</th><th scope="col">Tool</th><th scope="col" class="figure">Compared, {forceUnit(units)}</th><th scope="col" class="figure">Greatest, {forceUnit(units)}</th><th scope="col" class="figure">First to last blow, s</th></tr></thead>
      <tbody>
        {chosen.map((row, nth) => {
          const trace = traces.get(row.run);
          return (
            <tr key={row.run}>
              <th scope="row">{letter(nth)}</th>
              <td data-name="Run"><a class="run-link" href={link('runs', row.run)} aria-label={`Run ${row.run}`}>{row.run}</a></td>
              <td data-name="Setup">{row.setup ?? 'none'}</td>
              <td data-name="Tool">{row.tool ?? 'none'}</td>
              <td data-name={`Compared, ${forceUnit(units)}`} class="figure">{forceText(row.value_kN, units, true)}</td>
              <td data-name={`Greatest, ${forceUnit(units)}`} class="figure">{forceText(greatest(row.run), units, true)}</td>
              <td data-name="First to last blow, s" class="figure">{trace ? fixed(trace.last_blow_s - trace.first_blow_s, 2) : '–'}</td>
            </tr>
          );
        })}
      </tbody>
    </table>
  );
};

export function Traces({ rows }: { rows: readonly ReadingRow[] }) {
  const runs = useSignal<readonly number[]>([]);
  const traces = useSignal<ReadonlyMap<number, Trace>>(new Map());
  const problem = useSignal<Problem | null>(null);
  const turn = (run: number): void => {
    const now = runs.value;
    runs.value = now.includes(run) ? now.filter((one) => one !== run) : [...now, run].slice(-RUNS_MAX);
  };
  useEffect(() => {
    for (const run of runs.value.filter((one) => !traces.value.has(one))) {
      get(`runs/${run}/trace?points=${POINTS}`).then(
        (found) => (traces.value = new Map(traces.value).set(run, found)),
        (error: unknown) => (problem.value = asProblem(error)),
      );
    }
  }, [runs.value]);
  const chosen = runs.value.flatMap((run) => rows.find((row) => row.run === run) ?? []);
  return (
    <section aria-labelledby="traces">
      <h2 id="traces">Traces of chosen runs</h2>
      <details>
        <summary>Choose runs, at most {RUNS_MAX}</summary>
        <div class="suggestions" role="group" aria-label="Runs">
          {rows.map((row) => (
            <button type="button" key={row.run} aria-pressed={runs.value.includes(row.run)} onClick={() => turn(row.run)} aria-label={nameOf(row)}>
              {row.run} <small>{row.setup}</small>
            </button>
          ))}
        </div>
      </details>
      <Refused problem={problem.value} />
      <Picture chosen={chosen} traces={traces.value} />
      {chosen.length > 0 && <Figures chosen={chosen} traces={traces.value} />}
    </section>
  );
}
