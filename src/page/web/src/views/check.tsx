// The quick check of an incoming tool on one sheet: what it must give, so many runs, the verdict. The runs are the same as
// all others; nothing is measured or judged here.
import { useSignal } from '@preact/signals';
import { useEffect } from 'preact/hooks';
import { asProblem, get, part, post, type Problem } from '../lib/api.ts';
import { type Acceptance, acceptQuery, type AcceptForm } from '../lib/judging.ts';
import { lastRun, refresh, rig, runNews } from '../lib/live.ts';
import { system } from '../lib/prefs.ts';
import { link } from '../lib/route.ts';
import { piecesOf, refreshShelf, shelf } from '../lib/shelf.ts';
import type { RunLine } from '../lib/types.ts';
import { withForce } from '../lib/units.ts';
import { Chain } from '../parts/chain.tsx';
import { Stepper, Tiles, Who } from '../parts/fields.tsx';
import { leftOut } from '../parts/run-summary.tsx';
import { useSaving } from '../parts/saving.ts';
import { Mark } from '../parts/shapes.tsx';
import { Caution, Invented, Refused } from '../parts/words.tsx';
import { LimitFields, Sheet } from './acceptance.tsx';

const START: AcceptForm = { tool: null, setup: '', measure: 'gate', runs: '3', kind: 'class', limit: '', reference: null, side: 'least' };
const named = (of: readonly { name: string }[]) => of.map(({ name }) => ({ value: name, label: name }));

/** The runs since the check began, oldest first. */
const Came = ({ runs, measure }: { runs: readonly RunLine[]; measure: string }) => (
  <ol class="history">
    {runs.map((run) => (
      <li key={run.id}>
        <a href={link('runs', run.id)}>Run {run.id}</a>: {withForce(measure === 'gate' ? (run.gates[0]?.tension_kN ?? null) : run.held_kN, system.value)}
        {run.excluded && <strong> left out: {leftOut(run)}</strong>}
      </li>
    ))}
  </ol>
);

export function Check() {
  const form = useSignal<AcceptForm>(START);
  const since = useSignal<number | null>(null);
  const came = useSignal<readonly RunLine[]>([]);
  const found = useSignal<Acceptance | null>(null);
  const problem = useSignal<Problem | null>(null);
  const saving = useSaving();
  const set = (to: Partial<AcceptForm>): void => void (form.value = { ...form.value, ...to });
  useEffect(() => void refreshShelf(), []);

  const shown = rig.value;
  const wanted = Number(form.value.runs);
  const counted = came.value.filter((run) => !run.excluded);

  const look = async (): Promise<void> => {
    if (since.value === null || !shown) return;
    const { tool, setup } = form.value;
    try {
      const query = new URLSearchParams({ rig: shown.rig, tool: tool ?? '', setup, limit: '100' });
      const { runs } = await get<{ runs: RunLine[] }>(`runs?${query}`);
      came.value = runs.filter((run) => run.id > (since.value ?? 0)).reverse();
      if (came.value.filter((run) => !run.excluded).length < wanted) return;
      found.value = await get<Acceptance>(`tools/${part(tool ?? '')}/acceptance?${acceptQuery(form.value, system.value)}`);
      problem.value = null;
    } catch (error) {
      problem.value = asProblem(error);
    }
  };
  useEffect(() => void look(), [runNews.value, since.value, wanted]);

  const begin = async (event: Event): Promise<void> => {
    event.preventDefault();
    if (!shown) return;
    await saving.save(async (by) => {
      await post(`rigs/${part(shown.rig)}/use`, { who: by, setup: form.value.setup || null, tool: form.value.tool });
      await refresh();
      found.value = null;
      problem.value = null;
      came.value = [];
      since.value = lastRun.value?.id ?? 0;
      return `In force: ${form.value.tool}, ${form.value.setup}.`;
    });
  };
  if (!shown) return <p class="empty">There is no rig yet. Add one at the view Rig.</p>;
  const { tools, setups } = shelf.value;
  const next = Math.min(counted.length + 1, wanted);
  return (
    <div class="check">
      <a class="button back" href={link('results')}>All results</a>
      <h1>Check a tool at {shown.rig}</h1>
      {shown.simulated && <Invented />}
      {since.value === null ? (
        <form class="sheet" onSubmit={(event) => void begin(event)} noValidate>
          <Tiles label="Tool" value={form.value.tool} change={(tool) => set({ tool })} says={['among the tools']} problem={saving.problem.value} options={tools.map(({ name, class: of }) => ({ value: name, label: name, note: of ?? undefined }))} hint={tools.length === 0 ? 'No tool stands on the shelf yet: add it at the view Setups.' : undefined} />
          <Tiles label="Setup" value={form.value.setup} change={(setup) => set({ setup })} says={['setup \'', 'among the setups']} problem={saving.problem.value} options={named(setups)} hint="Usually the plain socket." />
          <Stepper label="Runs" value={form.value.runs} change={(runs) => set({ runs })} least={2} most={50} says={['runs:']} problem={saving.problem.value} />
          <LimitFields form={form.value} set={set} problem={problem.value} />
          <Who problem={saving.problem.value} />
          <button type="submit" class="primary" disabled={saving.busy.value || form.value.tool === null || form.value.setup === ''}>Begin</button>
          <Refused problem={saving.problem.value} />
        </form>
      ) : (
        <section class="sheet" aria-labelledby="going">
          <h2 id="going">{form.value.tool}, {form.value.setup}</h2>
          <Chain tool={form.value.tool} pieces={piecesOf(form.value.setup)} />
          {found.value === null && <p class="big-word" role="status"><Mark shape="ring" /> Run {next} of {wanted}: drive the nut</p>}
          <Came runs={came.value} measure={form.value.measure} />
          <Refused problem={problem.value} />
          {found.value && <Sheet of={found.value} />}
          <div class="controls">
            {found.value && <button type="button" onClick={() => { found.value = null; set({ runs: String(wanted + 1) }); }}>One run more</button>}
            <button type="button" onClick={() => { since.value = null; found.value = null; }}>Another check</button>
          </div>
        </section>
      )}
      <Caution />
    </div>
  );
}
