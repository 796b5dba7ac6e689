// Planning a trial: what is compared with what, how often, in which kind of order. The order is shown before anything is
// stored; refusals stand at their fields.
import { useSignal } from '@preact/signals';
import { useEffect } from 'preact/hooks';
import { asProblem, post, type Problem } from '../lib/api.ts';
import { rig, rigs } from '../lib/live.ts';
import { drawSeed, emptyPlan, planDocument, type PlanForm, toggled } from '../lib/plan.ts';
import { go, link } from '../lib/route.ts';
import { piecesOf, shelf } from '../lib/shelf.ts';
import { system, who } from '../lib/prefs.ts';
import { addressOf, refreshTrials } from '../lib/trials.ts';
import { MEASURES, PHASE_WORDS, type Planned } from '../lib/trial.ts';
import type { Tool } from '../lib/types.ts';
import { withForce } from '../lib/units.ts';
import { Stepper, Text, TileSet, Tiles, Who } from '../parts/fields.tsx';
import { useSaving } from '../parts/saving.ts';
import { Refused } from '../parts/words.tsx';

/** Why a setup does not fit one of the chosen tools, so that it is seen before it is refused. */
function unfit(setup: string, tools: readonly Tool[]): string | null {
  const first = piecesOf(setup)[0];
  if (first === undefined || typeof first === 'string') return null;
  const other = tools.find((tool) => tool.anvil !== first.drive_in);
  return other ? `needs ${first.drive_in}, ${other.name} has ${other.anvil}` : null;
}

const Order = ({ steps, warmUp }: { steps: Planned[]; warmUp: boolean }) => (
  <section aria-labelledby="order">
    <h2 id="order">The order, not stored yet</h2>
    <p>{steps.length} runs{warmUp && ', after a warm-up on the baseline'}. The same seed gives the same order.</p>
    <ol class="order">
      {steps.map((step) => (
        <li key={step.number}>
          <span class="order-number">{step.number}</span>
          <span><strong>{step.setup}</strong> {step.tool}{step.phase === 'baseline' && <span class="tag">{PHASE_WORDS.baseline}</span>}</span>
        </li>
      ))}
    </ol>
  </section>
);

interface Part {
  form: PlanForm;
  set: (to: Partial<PlanForm>) => void;
  problem: Problem | null;
}

function Compared({ form, set, problem }: Part) {
  const { tools, setups, bolts } = shelf.value;
  const chosen = tools.filter((tool) => form.tools.includes(tool.name));
  const option = (name: string) => ({ value: name, label: name, note: unfit(name, chosen) ?? piecesOf(name).map((piece) => (typeof piece === 'string' ? piece : piece.name)).join(' + ') });
  return (
    <>
      <TileSet label="Tools" values={form.tools} toggle={(name) => set({ tools: toggled(form.tools, name) })} says={['tools:', 'among the tools', 'tool \'']} problem={problem} options={tools.map((tool) => ({ value: tool.name, label: tool.name, note: `${tool.anvil}, ${tool.source}` }))} hint={tools.length === 0 ? 'No tool stands on the shelf yet: add one at Setups, Tools.' : 'Each tool has its own baseline.'} />
      <Tiles label="Baseline: the setup that counts as 100 %" value={form.baseline} change={(baseline) => set({ baseline, setups: form.setups.filter((name) => name !== baseline) })} says={['baseline:']} problem={problem} options={setups.map((one) => option(one.name))} hint={setups.length === 0 ? 'No setup stands on the shelf yet: build a chain at Setups, Chains.' : undefined} />
      <TileSet label="Setups that are compared with it" values={form.setups} toggle={(name) => set({ setups: toggled(form.setups, name) })} says={['setups:', 'among the setups', 'setup \'']} problem={problem} options={setups.filter((one) => one.name !== form.baseline).map((one) => option(one.name))} />
      <Tiles label="Test bolt" value={form.bolt ?? ''} change={(bolt) => set({ bolt: bolt || null })} says={['among the bolts', 'test bolt \'']} problem={problem} options={[{ value: '', label: 'the one in force' }, ...bolts.map((one) => ({ value: one.name, label: one.name, note: one.allowed_kN === null ? 'no limit set' : `allowed ${withForce(one.allowed_kN, system.value)}` }))]} />
    </>
  );
}

const Drawn = ({ form, set, problem }: Part) => (
  <>
    <Stepper label="Repeats" value={form.repeats} change={(repeats) => set({ repeats })} least={1} most={50} says={['repeats:']} problem={problem} hint="Runs of each setup with each tool. Three show differences of some percent; more show smaller ones." />
    <Tiles label="Order" value={form.order} change={(order) => set({ order })} options={[{ value: 'blocks', label: 'Blocks', note: 'each repeat holds all setups in random order' }, { value: 'latin-square', label: 'Latin square', note: 'each setup stands at each place and follows each other equally often' }]} />
    <div class="with-button">
      <Text label="Seed of the order" value={form.seed} numeric change={(seed) => set({ seed })} says={['seed:', 'seed']} problem={problem} />
      <button type="button" onClick={() => set({ seed: drawSeed() })}>Draw another</button>
    </div>
    <Text label="Baseline again after so many runs" value={form.baseline_every} numeric change={(baseline_every) => set({ baseline_every })} says={['baseline_every:']} problem={problem} hint="Empty: about √k times as often as one of k setups, spread evenly." />
  </>
);

function Conditions({ form, set, problem }: Part) {
  const dial = rigs.value.find((one) => one.rig === form.rig)?.link === 'by-hand';
  const air = shelf.value.tools.some((tool) => form.tools.includes(tool.name) && tool.source === 'air');
  return (
    <>
      <Tiles label="Warm-up" value={form.warm_up} change={(warm_up) => set({ warm_up })} options={[{ value: 'yes', label: 'yes', note: 'runs on the baseline until readings are steady' }, { value: 'no', label: 'no' }]} />
      <Tiles label="Measure" value={form.measure} change={(measure) => set({ measure })} says={['measure:']} problem={problem} options={MEASURES.filter((one) => !dial || one.value === 'held' || one.value === 'peak')} />
      <Text label="Rest before each run" unit="s" numeric value={form.rest_s} change={(rest_s) => set({ rest_s })} says={['rest_s:']} problem={problem} hint="Told, not forced." />
      <Tiles label="Fresh source" value={form.fresh} change={(fresh) => set({ fresh })} options={[{ value: 'no', label: 'not asked for' }, { value: 'each-setup', label: 'at each change', note: 'of setup or tool' }, { value: 'each-run', label: 'before each run' }]} />
      {form.fresh !== 'no' && air && (
        <div class="with-button">
          <Text label="Air: least pressure at the running tool" unit="kPa" numeric value={form.air_low_kPa} change={(air_low_kPa) => set({ air_low_kPa })} says={['air_kPa:']} problem={problem} hint="Empty: any that was read." />
          <Text label="Air: greatest" unit="kPa" numeric value={form.air_high_kPa} change={(air_high_kPa) => set({ air_high_kPa })} />
        </div>
      )}
    </>
  );
}

export function PlanSheet() {
  const byHand = rig.value?.link === 'by-hand';
  const form = useSignal<PlanForm>(emptyPlan(rig.value?.rig ?? '', byHand));
  const order = useSignal<{ steps: Planned[]; warm_up: boolean } | null>(null);
  const looking = useSignal<Problem | null>(null);
  const saving = useSaving();
  const problem = saving.problem.value ?? looking.value;
  const set = (to: Partial<PlanForm>): void => {
    form.value = { ...form.value, ...to };
    // What was shown belongs to another plan now.
    order.value = null;
  };
  // The page may be opened here before the rigs are known.
  useEffect(() => {
    if (form.peek().rig === '' && rig.value) set({ rig: rig.value.rig, measure: byHand ? 'held' : 'gate' });
  }, [rig.value?.rig]);

  const look = async (): Promise<void> => {
    saving.problem.value = null;
    looking.value = null;
    try {
      const answer = await post('trials', { who: who.value.trim() || 'page', dry_run: true, plan: planDocument(form.value) });
      order.value = { steps: answer.steps, warm_up: form.value.warm_up === 'yes' };
    } catch (error) {
      order.value = null;
      looking.value = asProblem(error);
    }
  };
  const store = async (event: Event): Promise<void> => {
    event.preventDefault();
    looking.value = null;
    const name = form.value.name.trim();
    const done = await saving.save(async (by) => {
      await post('trials', { who: by, plan: planDocument(form.value) });
      return `The trial ${name} is planned.`;
    });
    if (!done) return;
    await refreshTrials();
    go(...addressOf(name));
  };
  const parts = { form: form.value, set, problem };
  return (
    <>
      <a class="button back" href={link('trial')}>All trials</a>
      <h1>Plan a trial</h1>
      <form class="sheet" onSubmit={(event) => void store(event)} noValidate>
        <Text label="Name of the trial" value={form.value.name} change={(name) => set({ name })} says={['name:', 'store the trial']} problem={problem} required />
        {rigs.value.length > 1 && <Tiles label="Rig" value={form.value.rig} change={(name) => set({ rig: name })} options={rigs.value.map((one) => ({ value: one.rig, label: one.rig }))} />}
        <h2>What is compared</h2>
        <Compared {...parts} />
        <h2>How often, in which order</h2>
        <Drawn {...parts} />
        <h2>Under which conditions</h2>
        <Conditions {...parts} />
        <Who problem={problem} />
        <div class="controls">
          <button type="button" onClick={() => void look()}>Show the order</button>
          <button type="submit" class="primary" disabled={saving.busy.value}>Store the plan</button>
        </div>
        <Refused problem={problem} />
        <div role="status">{order.value && <Order steps={order.value.steps} warmUp={order.value.warm_up} />}</div>
      </form>
    </>
  );
}
