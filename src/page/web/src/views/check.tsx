// The quick check of an incoming tool on one sheet: what it must give, so many runs, the verdict. The runs are the same as
// all others; nothing is measured or judged here.
import { useSignal } from '@preact/signals';
import { useEffect } from 'preact/hooks';
import { asProblem, get, part, post, Problem } from '../lib/api.ts';
import { type Acceptance, acceptQuery, type AcceptForm, figureOf, missing } from '../lib/judging.ts';
import { lastRun, refresh, rig, runNews } from '../lib/live.ts';
import { system } from '../lib/prefs.ts';
import { link } from '../lib/route.ts';
import { classLimitOf, piecesOf, refreshShelf, shelf } from '../lib/shelf.ts';
import type { RunLine } from '../lib/types.ts';
import { withForce } from '../lib/units.ts';
import { Chain } from '../parts/chain.tsx';
import { Stepper, Tiles, Who } from '../parts/fields.tsx';
import { leftOut } from '../parts/run-summary.tsx';
import { useSaving } from '../parts/saving.ts';
import { Mark } from '../parts/shapes.tsx';
import { Caution, Invented, Refused } from '../parts/words.tsx';
import { LimitFields, Sheet } from './acceptance.tsx';

/** Fewer have no spread, and more belong into a trial. */
const [RUNS_LEAST, RUNS_MOST] = [2, 50];
const START: AcceptForm = { tool: null, setup: '', measure: 'gate', runs: '3', kind: 'class', limit: '', reference: null, side: 'least' };
const named = (of: readonly { name: string }[]) => of.map(({ name }) => ({ value: name, label: name }));

/** The runs since the check began, oldest first. */
const Came = ({ runs, measure }: { runs: readonly RunLine[]; measure: string }) => (
  <ol class="history">
    {runs.map((run) => (
      <li key={run.id}>
        <a href={link('runs', run.id)}>Run {run.id}</a>: {withForce(figureOf(run, measure), system.value)}
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
  const counts = (run: RunLine): boolean => !run.excluded && figureOf(run, form.value.measure) !== null;
  const classLimit = classLimitOf(form.value.tool);

  const look = async (): Promise<void> => {
    if (since.value === null || !shown) return;
    const { tool, setup } = form.value;
    try {
      const query = new URLSearchParams({ rig: shown.rig, tool: tool ?? '', setup, limit: '100' });
      const { runs } = await get(`runs?${query}`);
      came.value = runs.filter((run) => run.id > (since.value ?? 0)).reverse();
      if (came.value.filter(counts).length < wanted) return;
      found.value = await get(`tools/${part(tool ?? '')}/acceptance?${acceptQuery(form.value, system.value)}`);
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
      const lacks = missing(form.value, classLimit, shown.calibration !== null && !shown.nominal);
      if (lacks) throw lacks;
      if (!(Number.isInteger(wanted) && wanted >= RUNS_LEAST && wanted <= RUNS_MOST)) throw new Problem(0, `runs: expected ${RUNS_LEAST} to ${RUNS_MOST}, found '${form.value.runs}'`);
      // The limit of a class says with which setup and by which figure.
      set(classLimit !== null && form.value.kind === 'class' ? { setup: classLimit.setup, measure: classLimit.measure } : { measure: START.measure });
      if (form.value.setup === '') throw new Problem(0, "setup '': expected one among the setups, found none");
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
  const next = Math.min(came.value.filter(counts).length + 1, wanted);
  return (
    <div class="check">
      <a class="button back" href={link('results')}>All results</a>
      <h1>Check a tool at {shown.rig}</h1>
      {shown.simulated && <Invented />}
      {since.value === null ? (
        <form class="sheet" onSubmit={(event) => void begin(event)} noValidate>
          <Tiles label="Tool" value={form.value.tool} change={(tool) => set({ tool })} says={['tool:', 'among the tools']} problem={saving.problem.value} options={tools.map(({ name, class: of }) => ({ value: name, label: name, note: of ?? undefined }))} hint={tools.length === 0 ? 'No tool stands on the shelf yet: add it at the view Setups.' : undefined} />
          <LimitFields form={form.value} set={set} problem={saving.problem.value} classLimit={classLimit} />
          {form.value.kind !== 'class' && <Tiles label="Setup" value={form.value.setup} change={(setup) => set({ setup })} says={['setup \'', 'among the setups']} problem={saving.problem.value} options={named(setups)} hint="Usually the plain socket." />}
          <Stepper label="Runs" value={form.value.runs} change={(runs) => set({ runs })} least={RUNS_LEAST} most={RUNS_MOST} says={['runs:']} problem={saving.problem.value} />
          <Who problem={saving.problem.value} />
          <button type="submit" class="primary" disabled={saving.busy.value}>Begin</button>
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
