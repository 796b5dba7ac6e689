// What runs say: of a trial, its comparison; of a tool, whether it meets a limit and how it has been.
import { useEffect } from 'preact/hooks';
import { link, route } from '../lib/route.ts';
import { refreshShelf } from '../lib/shelf.ts';
import { refreshTrials, trials } from '../lib/trials.ts';
import { Mark } from '../parts/shapes.tsx';
import { Caution } from '../parts/words.tsx';
import { AcceptanceSheet } from './acceptance.tsx';
import { HistorySheet } from './history.tsx';
import { OfTrial } from './results-trial.tsx';
import { Progress, STANDING_SHAPES } from './trial.tsx';

const Choice = () => (
  <>
    <h1>Results</h1>
    <a class="button primary" href={link('check')}>Check an incoming tool</a>
    <section aria-labelledby="of-trials">
      <h2 id="of-trials">Of trials</h2>
      {trials.value?.length === 0 && <p class="empty">No trial yet. <a href={link('trial', 'new')}>Plan one</a>, and its comparison stands here.</p>}
      <ul class="cards">
        {trials.value?.map((line) => (
          <li key={line.trial}>
            <h3>{line.trial}</h3>
            <p class="verdict"><Mark shape={STANDING_SHAPES[line.standing]} /> {line.standing}, {line.steps_done} of {line.steps_total} steps done</p>
            <Progress done={line.steps_done} total={line.steps_total} />
            <a class="button" href={link('results', line.trial)}>Results<span class="unseen"> of {line.trial}</span></a>
          </li>
        ))}
      </ul>
    </section>
    <AcceptanceSheet />
    <HistorySheet />
  </>
);

export function Results() {
  const name = route.value[1];
  useEffect(() => {
    void refreshShelf();
    void refreshTrials();
  }, [name]);
  return (
    <div class="results">
      {name === undefined ? <Choice /> : <OfTrial name={name} key={name} />}
      <Caution />
    </div>
  );
}
