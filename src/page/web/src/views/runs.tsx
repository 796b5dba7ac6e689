// The list of runs, newest first, by setup, tool and whether they count; one of them with all its figures beside the
// address #/runs/NUMBER.
import { useSignal } from '@preact/signals';
import { useEffect } from 'preact/hooks';
import { asProblem, get, type Problem } from '../lib/api.ts';
import { runNews } from '../lib/live.ts';
import { system } from '../lib/prefs.ts';
import { link, route } from '../lib/route.ts';
import { refreshShelf, shelf } from '../lib/shelf.ts';
import type { RunLine } from '../lib/types.ts';
import { forceText, forceUnit, torqueText, torqueUnit } from '../lib/units.ts';
import { Select } from '../parts/fields.tsx';
import { leftOut } from '../parts/run-summary.tsx';
import { Mark } from '../parts/shapes.tsx';
import { Caution, Invented, moment, Refused } from '../parts/words.tsx';
import { RunView } from './run.tsx';

const PAGE = 30;

const Row = ({ run }: { run: RunLine }) => {
  const units = system.value;
  const gate = run.gates[0];
  return (
    <tr class={run.excluded ? 'out' : ''}>
      <th scope="row"><a class="run-link" href={link('runs', run.id)}>{run.id}</a></th>
      <td data-name="Setup">{run.setup ?? 'none'}</td>
      <td data-name="Tool">{run.tool ?? 'none'}</td>
      <td data-name={gate ? `Gate ${gate.after_s} s, ${forceUnit(units)}` : 'Gate'} class="figure">{forceText(gate?.tension_kN, units, true)}</td>
      <td data-name={`Held, ${forceUnit(units)}`} class="figure">{forceText(run.held_kN, units, true)}</td>
      <td data-name={`Equivalent torque, ${torqueUnit(units)}`} class="figure">{torqueText(run.equivalent_torque_Nm, units, true)}</td>
      <td data-name="Result">
        <span class="verdict"><Mark shape={run.excluded ? 'cross' : 'check'} />{run.excluded ? `left out: ${leftOut(run)}` : 'counts'}</span>
        {run.flags.includes('over-limit') && <strong class="over-word"><Mark shape="octagon" />over limit</strong>}
      </td>
      <td data-name="When">{moment(run.utc)}{run.simulated && <small> simulated</small>}</td>
    </tr>
  );
};

const Heads = () => {
  const units = system.value;
  return (
    <thead>
      <tr>
        <th scope="col">Run</th><th scope="col">Setup</th><th scope="col">Tool</th>
        <th scope="col" class="figure">First gate, {forceUnit(units)}</th><th scope="col" class="figure">Held, {forceUnit(units)}</th>
        <th scope="col" class="figure">Equivalent torque, {torqueUnit(units)}</th><th scope="col">Result</th><th scope="col">When</th>
      </tr>
    </thead>
  );
};

function List() {
  const setup = useSignal('');
  const tool = useSignal('');
  const excluded = useSignal('');
  const rows = useSignal<RunLine[] | null>(null);
  const next = useSignal<number | null>(null);
  const problem = useSignal<Problem | null>(null);

  const ask = async (before: number | null): Promise<void> => {
    const query = new URLSearchParams({ limit: String(PAGE) });
    if (setup.value) query.set('setup', setup.value);
    if (tool.value) query.set('tool', tool.value);
    if (excluded.value) query.set('excluded', excluded.value);
    if (before !== null) query.set('before', String(before));
    try {
      const answer = await get(`runs?${query}`);
      rows.value = before === null ? answer.runs : [...(rows.value ?? []), ...answer.runs];
      next.value = answer.next;
      problem.value = null;
    } catch (error) {
      problem.value = asProblem(error);
    }
  };
  useEffect(() => void refreshShelf(), []);
  useEffect(() => void ask(null), [setup.value, tool.value, excluded.value, runNews.value]);

  const all = (names: { name: string }[]) => [{ value: '', label: 'all' }, ...names.map(({ name }) => ({ value: name, label: name }))];
  return (
    <div class="runs">
      <h1>Runs</h1>
      <form class="filters" onSubmit={(event) => event.preventDefault()}>
        <Select label="Setup" value={setup.value} change={(value) => (setup.value = value)} options={all(shelf.value.setups)} />
        <Select label="Tool" value={tool.value} change={(value) => (tool.value = value)} options={all(shelf.value.tools)} />
        <Select label="Which" value={excluded.value} change={(value) => (excluded.value = value)} options={[{ value: '', label: 'all' }, { value: 'false', label: 'those that count' }, { value: 'true', label: 'those left out' }]} />
      </form>
      <Refused problem={problem.value} />
      {rows.value?.some((run) => run.simulated) && <Invented />}
      {rows.value?.length === 0 && <p class="empty">No runs here yet. They are found by themselves as soon as the tool drives the nut.</p>}
      {rows.value && rows.value.length > 0 && (
        <table class="list">
          <caption class="unseen">Runs, newest first</caption>
          <Heads />
          <tbody>{rows.value.map((run) => <Row run={run} key={run.id} />)}</tbody>
        </table>
      )}
      {next.value !== null && <button type="button" onClick={() => void ask(next.value)}>Show older runs</button>}
      <Caution />
    </div>
  );
}

export function Runs() {
  const id = Number(route.value[1]);
  return Number.isInteger(id) && id > 0 ? <RunView id={id} key={id} /> : <List />;
}
