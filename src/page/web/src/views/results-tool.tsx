// The setups of one tool against its baseline: marks with limits at the left, the same as a table at the right.
import { useId } from 'preact/hooks';
import { pText, type SetupRow } from '../lib/comparison.ts';
import { fixed } from '../lib/units.ts';
import { Intervals, span } from '../parts/intervals.tsx';
import { VerdictWords } from '../parts/verdict.tsx';

export const between = (low: number | null, high: number | null): string => (low === null || high === null ? '–' : `${fixed(low, 1)} to ${fixed(high, 1)}`);

const Row = ({ row, totals }: { row: SetupRow; totals: boolean }) => (
  <tr>
    <th scope="row">{row.setup}{row.note && <small class="row-note">{row.note}</small>}</th>
    <td data-name="%" class="figure"><strong>{fixed(row.percent_of_baseline, 1)}</strong></td>
    <td data-name="Limits alone" class="figure">{between(row.low, row.high)}</td>
    <td data-name="Limits together" class="figure">{between(row.low_simultaneous, row.high_simultaneous)}</td>
    {totals && <td data-name="With calibration" class="figure">{between(row.low_total, row.high_total)}</td>}
    <td data-name="p adjusted" class="figure">{pText(row.p_adjusted)}</td>
    <td data-name="Verdict"><VerdictWords of={row.verdict} /></td>
    <td data-name="Runs" class="figure">{row.runs}</td>
  </tr>
);

export function PerTool({ tool, rows, gate }: { tool: string | null; rows: SetupRow[]; gate: string }) {
  const id = useId();
  const totals = rows.some((row) => row.low_total !== null);
  const name = tool ?? 'No tool named';
  const intervals = rows.map((row) => ({ name: row.setup, percent: row.percent_of_baseline, limits: span(row.low, row.high), together: span(row.low_simultaneous, row.high_simultaneous), total: span(row.low_total, row.high_total), verdict: row.verdict }));
  return (
    <section aria-labelledby={id}>
      <h2 id={id}>{name}</h2>
      <div class={totals || rows.some((row) => row.note !== null) ? 'beside-plot much' : 'beside-plot'}>
        <figure class="drawn-figure">
          <Intervals rows={intervals} name={`${name}: ${gate} of each setup in percent of its baseline, with limits; the table has the same figures`} />
          <figcaption>Thick: limits of one percent alone. Thin: limits that hold for all setups of this tool together; the verdict goes by them.{totals && ' Dotted: with the calibration\'s part.'} Dashes: 100 %, the baseline.</figcaption>
        </figure>
        <table class="list compared">
          <caption class="unseen">{name}: setups in percent of the baseline</caption>
          <thead>
            <tr>
              <th scope="col">Setup</th><th scope="col" class="figure">%</th><th scope="col" class="figure">Limits alone</th><th scope="col" class="figure">Limits together</th>
              {totals && <th scope="col" class="figure">With calibration</th>}
              <th scope="col" class="figure">p adjusted</th><th scope="col">Verdict</th><th scope="col" class="figure">Runs</th>
            </tr>
          </thead>
          <tbody>{rows.map((row) => <Row key={row.setup} row={row} totals={totals} />)}</tbody>
        </table>
      </div>
    </section>
  );
}
