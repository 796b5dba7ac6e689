// How a tool has been: its runs that count, oldest first, with the limits of its own spread.
import { useSignal } from '@preact/signals';
import { asProblem, get, part, type Problem } from '../lib/api.ts';
import { type HistoryForm, historyQuery, NO_TOOL, type ToolHistory } from '../lib/judging.ts';
import { system } from '../lib/prefs.ts';
import { shelf } from '../lib/shelf.ts';
import { MEASURES } from '../lib/trial.ts';
import { fixed, forceUnit, withForce } from '../lib/units.ts';
import { Text, Tiles } from '../parts/fields.tsx';
import { HistoryChart } from '../parts/history-chart.tsx';
import { Invented, Refused } from '../parts/words.tsx';

const START: HistoryForm = { tool: null, setup: '', measure: 'gate', base: '', least: '', most: '' };
const named = (of: readonly { name: string }[]) => of.map(({ name }) => ({ value: name, label: name }));

const Shown = ({ of }: { of: ToolHistory }) => {
  const units = system.value;
  const remarked = of.points.filter((point) => point.remarks.length > 0);
  return (
    <div role="status">
      {of.simulated && <Invented />}
      <h3>{of.tool}, setup {of.setup ?? 'none'}, {of.measure}</h3>
      <p>{of.runs} {of.runs === 1 ? 'run counts' : 'runs count'}. {of.centre_kN === null ? 'Three are needed before there are limits.' : `Centre ${withForce(of.centre_kN, units)}, limits ${withForce(of.low_kN, units)} to ${withForce(of.high_kN, units)}; mean step from run to run ${withForce(of.mean_range_kN, units)}, at most ${withForce(of.range_limit_kN, units)}.`}</p>
      <p><strong>{remarked.length === 0 ? 'No run stands out.' : `${remarked.length} ${remarked.length === 1 ? 'run stands' : 'runs stand'} out.`}</strong></p>
      {of.capability && <p>Capability: Ppk {fixed(of.capability.ppk, 2)} (95 % limits {fixed(of.capability.ppk_low, 2)} to {fixed(of.capability.ppk_high, 2)}){of.capability.pp !== null && `, Pp ${fixed(of.capability.pp, 2)}`}{of.capability.cpk !== null && `, Cpk ${fixed(of.capability.cpk, 2)}`}.</p>}
      {of.notes.map((note) => <p key={note}>{note}</p>)}
      <HistoryChart of={of} />
      <p class="hint">{of.note}</p>
    </div>
  );
};

export function HistorySheet() {
  const form = useSignal<HistoryForm>(START);
  const found = useSignal<ToolHistory | null>(null);
  const problem = useSignal<Problem | null>(null);
  const set = (to: Partial<HistoryForm>): void => {
    form.value = { ...form.value, ...to };
    found.value = null;
  };
  const draw = async (event: Event): Promise<void> => {
    event.preventDefault();
    found.value = null;
    problem.value = form.value.tool === null ? NO_TOOL : null;
    if (problem.value) return;
    try {
      found.value = await get(`tools/${part(form.value.tool ?? '')}/history?${historyQuery(form.value, system.value)}`);
    } catch (error) {
      problem.value = asProblem(error);
    }
  };
  const { tools, setups } = shelf.value;
  const unit = forceUnit(system.value);
  return (
    <form class="sheet" onSubmit={(event) => void draw(event)} noValidate>
      <h2>How has a tool been?</h2>
      <Tiles label="Tool" value={form.value.tool} change={(tool) => set({ tool })} says={['tool:', 'runs that count', 'cannot be judged']} problem={problem.value} options={named(tools)} hint={tools.length === 0 ? 'No tool stands on the shelf yet.' : undefined} />
      <Tiles label="Setup" value={form.value.setup} change={(setup) => set({ setup })} options={[{ value: '', label: 'of its latest run' }, ...named(setups)]} />
      <Tiles label="Measure" value={form.value.measure} change={(measure) => set({ measure })} options={MEASURES} />
      <details>
        <summary>Limits of its own, capability</summary>
        <Text label="Limits from the first so many runs" numeric value={form.value.base} change={(base) => set({ base })} says={['base', 'invalid digit']} problem={problem.value} hint="Empty: from all." />
        <Text label="Least that is wanted" unit={unit} numeric value={form.value.least} change={(least) => set({ least })} says={['least_kN', 'invalid float']} problem={problem.value} />
        <Text label="Most that is wanted" unit={unit} numeric value={form.value.most} change={(most) => set({ most })} says={['most_kN']} problem={problem.value} />
      </details>
      <div class="controls"><button type="submit" class="primary">Draw the chart</button></div>
      <Refused problem={problem.value} />
      {found.value && <Shown of={found.value} />}
    </form>
  );
}
