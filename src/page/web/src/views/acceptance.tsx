// Whether a tool meets a limit: what is to be met goes in, the sheet with the decision and its rule comes out. Nothing is
// stored; the same runs and the same limit give the same sheet.
import { useSignal } from '@preact/signals';
import { asProblem, get, part, type Problem } from '../lib/api.ts';
import { noteWords } from '../lib/comparison.ts';
import { type Acceptance, acceptQuery, type AcceptForm, type ClassLimit, type LimitKind, missing } from '../lib/judging.ts';
import { system } from '../lib/prefs.ts';
import { link } from '../lib/route.ts';
import { classLimitOf, shelf } from '../lib/shelf.ts';
import { MEASURES } from '../lib/trial.ts';
import { fixed, force, forceUnit, torque, torqueUnit, withForce, withTorque } from '../lib/units.ts';
import { Stepper, Text, Tiles } from '../parts/fields.tsx';
import { Mark, type Shape } from '../parts/shapes.tsx';
import { Invented, Refused } from '../parts/words.tsx';

const SHAPES: Record<Acceptance['decision'], Shape> = { conforms: 'check', 'does not conform': 'cross', undecided: 'ring' };

/** A figure of the answer in the shown unit. */
function shown(of: Acceptance, value: number, decimals = 2): string {
  if (of.unit === 'percent') return `${fixed(value, decimals)} % of the reference`;
  if (of.unit === 'kN') return `${fixed(force(value, system.value), system.value === 'SI' ? decimals : 0)} ${forceUnit(system.value)}`;
  return `${fixed(torque(value, system.value), 1)} ${torqueUnit(system.value)}`;
}

export const Sheet = ({ of }: { of: Acceptance }) => (
  <div class="judgement" role="status">
    <p class="big-word"><Mark shape={SHAPES[of.decision]} /> {of.decision}</p>
    {of.simulated && <Invented />}
    <p>{of.tool}, setup {of.setup ?? 'none'}, {of.measure}: <strong>{shown(of, of.value)}</strong>, asked for {of.side} {shown(of, of.limit)}.</p>
    <dl class="figures">
      <div><dt>Probability that it conforms</dt><dd>{fixed(100 * of.probability_of_conformity, 1)} %</dd></div>
      <div><dt>Asked for a right decision</dt><dd>{fixed(100 * of.probability_of_a_right_decision, 0)} %</dd></div>
      <div><dt>Standard uncertainty</dt><dd>{shown(of, of.standard_uncertainty)}</dd></div>
      <div><dt>Degrees of freedom</dt><dd>{of.degrees_of_freedom === null ? 'not bounded' : fixed(of.degrees_of_freedom, 1)}</dd></div>
      <div><dt>Guard band at the limit</dt><dd>{shown(of, of.guard)}</dd></div>
      <div><dt>Runs of a new test to decide, if all stays</dt><dd>{of.runs_of_a_new_test ?? '–'}</dd></div>
    </dl>
    {of.notes.length > 0 && <ul class="flags">{of.notes.map((note) => <li key={note}>{noteWords(note)}</li>)}</ul>}
    <div class="suggestions" role="group" aria-label="Runs that were judged">{of.runs.map((run) => <a class="run-link" key={run} href={link('runs', run)} aria-label={`Run ${run}`}>{run}</a>)}</div>
  </div>
);

/** The limit of a tool's class, in words. */
const ClassWords = ({ of }: { of: ClassLimit }) => (
  <p class="class-limit">
    Class {of.class}: {of.measure} {of.side} <strong>{of.unit === 'kN' ? withForce(of.limit, system.value) : withTorque(of.limit, system.value)}</strong> with the setup {of.setup}.
  </p>
);

const START: AcceptForm = { tool: null, setup: '', measure: 'gate', runs: '5', kind: 'share', limit: '', reference: null, side: 'least' };
const named = (of: readonly { name: string }[]) => of.map(({ name }) => ({ value: name, label: name }));

interface LimitProps {
  form: AcceptForm;
  set: (to: Partial<AcceptForm>) => void;
  problem: Problem | null;
  /** Of the tool's class; null where it has none. */
  classLimit: ClassLimit | null;
}

export const LimitFields = ({ form, set, problem, classLimit }: LimitProps) => {
  const unit = form.kind === 'share' ? '%' : form.kind === 'tension' ? forceUnit(system.value) : torqueUnit(system.value);
  return (
    <>
      <Tiles<LimitKind> label="Limit" value={form.kind} change={(kind) => set({ kind, limit: '' })} says={['limit of']} problem={problem} options={[{ value: 'class', label: 'Limit of its class', note: 'from the settings' }, { value: 'share', label: 'Share of another tool', note: 'needs no calibration' }, { value: 'tension', label: 'Tension' }, { value: 'torque', label: 'Equivalent torque' }]} />
      {form.kind === 'class' && classLimit !== null && <ClassWords of={classLimit} />}
      {form.kind === 'share' && <Tiles label="Tool that counts as 100 %" value={form.reference} change={(reference) => set({ reference })} says={['reference']} problem={problem} options={named(shelf.value.tools.filter((tool) => tool.name !== form.tool))} hint="Run on the same day, with the same setup, at the same rig." />}
      {form.kind !== 'class' && <Text label="It must be" unit={unit} numeric value={form.limit} change={(limit) => set({ limit })} says={['expected one limit', 'limit_kN', 'limit_Nm', 'percent', 'absolute limit', 'invalid float']} problem={problem} required />}
      {form.kind !== 'class' && <Tiles label="At least or at most" value={form.side} change={(side) => set({ side })} options={[{ value: 'least', label: 'at least' }, { value: 'most', label: 'at most' }]} />}
    </>
  );
};

export function AcceptanceSheet() {
  const form = useSignal<AcceptForm>(START);
  const found = useSignal<Acceptance | null>(null);
  const problem = useSignal<Problem | null>(null);
  const set = (to: Partial<AcceptForm>): void => {
    form.value = { ...form.value, ...to };
    found.value = null;
  };
  const classLimit = classLimitOf(form.value.tool);
  const judge = async (event: Event): Promise<void> => {
    event.preventDefault();
    found.value = null;
    problem.value = missing(form.value, classLimit, true);
    if (problem.value) return;
    try {
      found.value = await get(`tools/${part(form.value.tool ?? '')}/acceptance?${acceptQuery(form.value, system.value)}`);
    } catch (error) {
      problem.value = asProblem(error);
    }
  };
  const { tools, setups } = shelf.value;
  return (
    <form class="sheet" onSubmit={(event) => void judge(event)} noValidate>
      <h2>Does a tool meet a limit?</h2>
      <Tiles label="Tool" value={form.value.tool} change={(tool) => set({ tool })} says={['tool:', 'runs that count', 'cannot be judged']} problem={problem.value} options={named(tools)} hint={tools.length === 0 ? 'No tool stands on the shelf yet.' : undefined} />
      <Tiles label="Setup" value={form.value.setup} change={(setup) => set({ setup })} says={['one setup']} problem={problem.value} options={[{ value: '', label: 'of its latest runs' }, ...named(setups)]} />
      <Tiles label="Measure" value={form.value.measure} change={(measure) => set({ measure })} options={MEASURES} />
      <Stepper label="Latest runs" value={form.value.runs} change={(runs) => set({ runs })} least={1} most={200} says={['runs:']} problem={problem.value} />
      <LimitFields form={form.value} set={set} problem={problem.value} classLimit={classLimit} />
      <button type="submit" class="primary">Judge</button>
      <Refused problem={problem.value} />
      {found.value && <Sheet of={found.value} />}
    </form>
  );
}
