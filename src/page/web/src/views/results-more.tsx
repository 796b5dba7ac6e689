// Beside the comparison: gate and plateau of the same runs, and how small a difference would have been seen.
import { byTool, type Comparison, type SetupRow } from '../lib/comparison.ts';
import { fixed } from '../lib/units.ts';
import { Mark } from '../parts/shapes.tsx';
import { VerdictWords } from '../parts/verdict.tsx';
import { between } from './results-tool.tsx';

const same = (row: SetupRow) => (other: SetupRow): boolean => other.setup === row.setup && other.tool === row.tool;
/** A row's name where several tools stand in one table. */
const named = (row: { tool: string | null; setup: string }, tools: number): string => (tools > 1 ? `${row.tool ?? 'no tool'}, ${row.setup}` : row.setup);

/** A difference that shows at the gate but not at the plateau is one of speed, not of strength; so both are shown. */
export function Beside({ of, beside }: { of: Comparison; beside: { measure: string; setups: SetupRow[] } }) {
  const tools = byTool(of.setups).length;
  const rows = of.setups.filter((row) => row.verdict !== 'baseline');
  return (
    <section aria-labelledby="beside">
      <h2 id="beside">Gate and plateau beside each other</h2>
      <p>The gate tells what is reached in the usual time, the plateau what would be reached in the end. Where they disagree, the setup changes how fast the tool gets there.</p>
      <table class="list compared">
        <thead>
          <tr><th scope="col">Setup</th><th scope="col" class="figure">{of.measure}, %</th><th scope="col">Verdict</th><th scope="col" class="figure">{beside.measure}, %</th><th scope="col">Verdict</th><th scope="col">They</th></tr>
        </thead>
        <tbody>
          {rows.map((row) => {
            const other = beside.setups.find(same(row));
            return (
              <tr key={named(row, 2)}>
                <th scope="row">{named(row, tools)}</th>
                <td data-name={`${of.measure}, %`} class="figure">{fixed(row.percent_of_baseline, 1)} ({between(row.low, row.high)})</td>
                <td data-name="Verdict"><VerdictWords of={row.verdict} /></td>
                <td data-name={`${beside.measure}, %`} class="figure">{other ? `${fixed(other.percent_of_baseline, 1)} (${between(other.low, other.high)})` : '–'}</td>
                <td data-name="Verdict"><VerdictWords of={other?.verdict ?? null} /></td>
                <td data-name="They">{other === undefined ? '–' : other.verdict === row.verdict ? 'agree' : <strong class="verdict"><Mark shape="diamond" /> disagree</strong>}</td>
              </tr>
            );
          })}
        </tbody>
      </table>
    </section>
  );
}

/** What could have been detected, and the runs that a new trial needs for what was asked. */
export function Needed({ of }: { of: Comparison }) {
  const planning = of.planning;
  const tools = byTool(of.setups).length;
  return (
    <section aria-labelledby="needed">
      <h2 id="needed">What could have been detected</h2>
      <p>
        The smallest true loss that these runs would have shown with a chance of 80 %.{' '}
        {planning === null
          ? 'Ask otherwise, above, with the difference that is to be shown, and the runs that a new trial needs stand here.'
          : planning.runs_each === null
            ? `For a difference of ${planning.difference_percent} %: ${planning.note ?? 'not known'}.`
            : `A difference of ${planning.difference_percent} % takes ${planning.runs_each} runs in a new trial, of each setup and of the baseline, with a spread of ${fixed(planning.sd_percent, 2)} % (${planning.sd_from === 'expected' ? 'as expected' : 'as these runs show it'}).`}
      </p>
      <table class="list compared">
        <thead>
          <tr><th scope="col">Setup</th><th scope="col" class="figure">Loss that would have shown, %</th><th scope="col" class="figure">Runs</th></tr>
        </thead>
        <tbody>
          {of.setups.map((row) => (
            <tr key={named(row, 2)}>
              <th scope="row">{named(row, tools)}</th>
              <td data-name="Loss that would have shown, %" class="figure">{row.verdict === 'baseline' ? 'baseline' : fixed(row.detectable_percent, 1)}</td>
              <td data-name="Runs" class="figure">{row.runs}</td>
            </tr>
          ))}
        </tbody>
      </table>
    </section>
  );
}
