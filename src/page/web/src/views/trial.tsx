// Trials: the list, planning one, walking one. Which of them is shown stands in the address.
import { useEffect } from 'preact/hooks';
import { link, route } from '../lib/route.ts';
import { refreshShelf } from '../lib/shelf.ts';
import { addressOf, NEW, refreshTrials, trials } from '../lib/trials.ts';
import type { Standing, TrialLine } from '../lib/trial.ts';
import { Mark, type Shape } from '../parts/shapes.tsx';
import { Caution, moment } from '../parts/words.tsx';
import { PlanSheet } from './trial-plan.tsx';
import { Walk } from './trial-walk.tsx';

export const STANDING_SHAPES: Record<Standing, Shape> = { 'awaiting a run': 'triangle', 'ready to go on': 'diamond', done: 'check', 'laid aside': 'ring' };

/** How far it is, as a bar beside the words. */
export const Progress = ({ done, total }: { done: number; total: number }) => (
  <svg class="progress" viewBox="0 0 100 10" preserveAspectRatio="none" aria-hidden="true">
    <rect class="progress-all" x="0" y="0" width="100" height="10" />
    <rect class="progress-done" x="0" y="0" width={total === 0 ? 0 : (100 * done) / total} height="10" />
  </svg>
);

const Card = ({ line }: { line: TrialLine }) => (
  <li>
    <h2>{line.trial}</h2>
    <p class="verdict"><Mark shape={STANDING_SHAPES[line.standing]} /> <strong>{line.standing}</strong></p>
    <Progress done={line.steps_done} total={line.steps_total} />
    <p>{line.steps_done} of {line.steps_total} steps done, rig {line.rig}{line.automatic && ', goes on by itself'}</p>
    <p class="hint">Planned by {line.planned_by}, {moment(line.planned_utc_ns / 1e6)}</p>
    <div class="controls">
      <a class={line.standing === 'done' ? 'button' : 'button primary'} href={link(...addressOf(line.trial))}>Open<span class="unseen"> the trial {line.trial}</span></a>
      <a class="button" href={link('results', line.trial)}>Results<span class="unseen"> of {line.trial}</span></a>
    </div>
  </li>
);

const List = () => {
  useEffect(() => void refreshTrials(), []);
  return (
    <>
      <h1>Trials</h1>
      <a class="button primary plan-link" href={link('trial', NEW)}>Plan a trial</a>
      {trials.value?.length === 0 && <p class="empty">No trial yet. A trial compares setups with a baseline, in an order that is drawn beforehand, so that drift of rig and tool does not pass for a difference.</p>}
      <ul class="cards">{trials.value?.map((line) => <Card line={line} key={line.trial} />)}</ul>
    </>
  );
};

export function TrialView() {
  const [, name, more] = route.value;
  useEffect(() => void refreshShelf(), [name]);
  return (
    <div class="trial">
      {name === undefined ? <List /> : name === NEW && more === undefined ? <PlanSheet /> : <Walk name={name} key={name} />}
      <Caution />
    </div>
  );
}
