// What each piece lets through, by the chains that were compared; and what an untried chain of the same pieces would give.
import { useSignal } from '@preact/signals';
import { useEffect } from 'preact/hooks';
import { asProblem, get, part, Problem } from '../lib/api.ts';
import { type PieceEffects, pText } from '../lib/comparison.ts';
import { runNews } from '../lib/live.ts';
import { shelf } from '../lib/shelf.ts';
import { fixed } from '../lib/units.ts';
import { Chain } from '../parts/chain.tsx';
import { Intervals, span } from '../parts/intervals.tsx';
import { Refused } from '../parts/words.tsx';
import { between } from './results-tool.tsx';

const Effects = ({ of }: { of: PieceEffects }) => (
  <>
    <div class="beside-plot">
      <figure class="drawn-figure">
        <Intervals name="Share of the tension that each piece lets through, with limits; the table has the same figures" unit="% let through" rows={of.pieces.map((row) => ({ name: row.piece, percent: row.percent, limits: span(row.low, row.high), together: null, total: null, verdict: row.p_adjusted === null ? null : row.p_adjusted >= of.alpha ? 'no difference shown' : row.percent < 100 ? 'lower' : 'higher' }))} />
        <figcaption>100 %: nothing is lost in it.</figcaption>
      </figure>
      <table class="list compared">
        <caption class="unseen">What each piece lets through</caption>
        <thead><tr><th scope="col">Piece</th><th scope="col" class="figure">%</th><th scope="col" class="figure">Limits</th><th scope="col" class="figure">p adjusted</th></tr></thead>
        <tbody>
          {of.pieces.map((row) => (
            <tr key={row.piece}>
              <th scope="row">{row.piece}{row.note && <small class="row-note">{row.note}</small>}</th>
              <td data-name="%" class="figure"><strong>{fixed(row.percent, 1)}</strong></td>
              <td data-name="Limits" class="figure">{between(row.low, row.high)}</td>
              <td data-name="p adjusted" class="figure">{pText(row.p_adjusted)}</td>
            </tr>
          ))}
        </tbody>
      </table>
    </div>
    <ul class="flags">
      <li>Pieces that always came together are told apart by no run: they stand as one line.</li>
      {of.in_every_chain.length > 0 && <li>In every chain, so without an effect of its own: {of.in_every_chain.join(', ')}.</li>}
      {of.lack_of_fit && <li>{of.lack_of_fit.p_value < of.alpha ? `The pieces alone do not explain the setups (p ${pText(of.lack_of_fit.p_value)}): what one lets through depends on its neighbours.` : `The pieces explain the setups well enough (p ${pText(of.lack_of_fit.p_value)}).`}</li>}
    </ul>
  </>
);

const Predicted = ({ of }: { of: NonNullable<PieceEffects['prediction']> }) => (
  <div role="status">
    <p class="big-word">{fixed(of.percent_of_baseline, 1)} % of the baseline</p>
    <p>Limits of the mean: {between(of.low, of.high)} %. Of one further run: {between(of.low_one_run, of.high_one_run)} %. It was worked out, not measured.{of.note && ` ${of.note}.`}</p>
  </div>
);

export function Pieces({ trial, measure, drift, known }: { trial: string; measure: string; drift: string; known: readonly string[] }) {
  const found = useSignal<PieceEffects | null>(null);
  const problem = useSignal<Problem | null>(null);
  const refused = useSignal<Problem | null>(null);
  const chain = useSignal<string[]>([]);
  const predicted = useSignal<PieceEffects['prediction']>(null);
  const ask = async (predict: string | null): Promise<PieceEffects> => {
    const query = new URLSearchParams({ by: 'piece', ...(measure ? { measure } : {}), ...(drift ? { drift } : {}), ...(predict === null ? {} : { predict }) });
    const answer = await get(`trials/${part(trial)}/comparison?${query}`);
    if ('pieces' in answer) return answer;
    throw new Problem(0, 'expected what pieces do, found setups');
  };
  const refresh = async (): Promise<void> => {
    try {
      found.value = await ask(null);
      problem.value = null;
    } catch (error) {
      found.value = null;
      problem.value = asProblem(error);
    }
  };
  useEffect(() => void refresh(), [trial, measure, drift, runNews.value]);
  const predict = async (event: Event): Promise<void> => {
    event.preventDefault();
    refused.value = null;
    predicted.value = null;
    try {
      predicted.value = (await ask(chain.value.join('+'))).prediction;
    } catch (error) {
      refused.value = asProblem(error);
    }
  };
  const put = (to: string[]): void => {
    chain.value = to;
    predicted.value = null;
  };
  return (
    <section aria-labelledby="pieces">
      <h2 id="pieces">What each piece lets through</h2>
      <Refused problem={problem.value} />
      {found.value && <Effects of={found.value} />}
      {found.value && (
        <form class="sheet" onSubmit={(event) => void predict(event)} noValidate>
          <h3>A chain that was not tried</h3>
          <div class="suggestions" role="group" aria-label="Pieces of the trial">
            {known.filter((name) => !chain.value.includes(name)).map((name) => <button type="button" key={name} onClick={() => put([...chain.value, name])}>{name}</button>)}
          </div>
          {chain.value.length > 0 && <Chain tool={null} pieces={chain.value.map((name) => shelf.value.pieces.find((piece) => piece.name === name) ?? name)} />}
          <div class="controls">
            <button type="submit" class="primary" disabled={chain.value.length === 0}>What would it give?</button>
            <button type="button" disabled={chain.value.length === 0} onClick={() => put([])}>Clear</button>
          </div>
          <Refused problem={refused.value} />
          {predicted.value && <Predicted of={predicted.value} />}
        </form>
      )}
    </section>
  );
}
