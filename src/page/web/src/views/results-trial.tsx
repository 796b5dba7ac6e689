// The comparison of one trial. Asked anew with each run; whoever asks otherwise (measure, drift, a difference that is to be
// shown) sees what was asked above the answer.
import { useSignal } from '@preact/signals';
import { useEffect, useRef } from 'preact/hooks';
import { asProblem, get, part, Problem, ROOT } from '../lib/api.ts';
import { byTool, checkWords, type Comparison, driftOverall, driftWords, noteWords, type Question, questionQuery, type Readings, riskWords } from '../lib/comparison.ts';
import { runNews } from '../lib/live.ts';
import { link } from '../lib/route.ts';
import { addressOf, trials } from '../lib/trials.ts';
import { MEASURES } from '../lib/trial.ts';
import { fixed } from '../lib/units.ts';
import { Text, Tiles } from '../parts/fields.tsx';
import { RunOrder } from '../parts/run-order.tsx';
import { Invented, Refused } from '../parts/words.tsx';
import { PerTool } from './results-tool.tsx';
import { Beside, Needed } from './results-more.tsx';
import { Pieces } from './results-pieces.tsx';
import { Traces } from './results-traces.tsx';

const PLAIN: Question = { measure: '', drift: '', difference: '', expected_sd: '' };

const Asking = ({ now, ask, problem }: { now: Question; ask: (to: Question) => void; problem: Problem | null }) => {
  const typed = useSignal(now);
  const set = (to: Partial<Question>): void => void (typed.value = { ...typed.value, ...to });
  return (
    <details>
      <summary>Ask otherwise: measure, drift, runs needed</summary>
      <form onSubmit={(event) => { event.preventDefault(); ask(typed.value); }} noValidate>
        <Tiles label="Measure" value={typed.value.measure} change={(measure) => set({ measure })} says={['measure:', 'figure \'']} problem={problem} options={[{ value: '', label: 'as planned' }, ...MEASURES]} />
        <Tiles label="Drift" value={typed.value.drift} change={(drift) => set({ drift })} says={['drift']} problem={problem} options={[{ value: '', label: 'as the runs allow' }, { value: 'linear', label: 'a straight line' }, { value: 'bracket', label: 'between baselines' }, { value: 'none', label: 'none' }]} />
        <Text label="Difference that is to be shown" unit="%" numeric value={typed.value.difference} change={(difference) => set({ difference })} says={['difference:']} problem={problem} hint="Then the runs that are still needed are told." />
        <Text label="Spread of one run that is expected" unit="%" numeric value={typed.value.expected_sd} change={(expected_sd) => set({ expected_sd })} says={['expected_sd:']} problem={problem} hint="Empty: as the runs show it." />
        <button type="submit" class="primary">Ask</button>
      </form>
    </details>
  );
};

const Words = ({ of, overall }: { of: Comparison; overall: number | null }) => (
  <section aria-labelledby="in-words">
    <h2 id="in-words">In words</h2>
    <ul class="flags">
      <li>{driftWords(of, fixed)}{overall !== null && ` From the first run to the last that is ${fixed(overall, 2)} %.`}</li>
      <li>{of.residual_sd_percent === null ? 'There are too few repeats to tell how much runs differ.' : `Repeats differ by ${fixed(of.residual_sd_percent, 2)} % (standard deviation, ${of.degrees_of_freedom} degrees of freedom).`}</li>
      {checkWords(of.checks, of.alpha).map((one) => <li key={one}>{one}</li>)}
      {[...of.arrangement.notes, ...of.notes].map((note) => <li key={note}>{noteWords(note)}</li>)}
      <li>“No difference shown” is no proof that there is none.</li>
    </ul>
  </section>
);

const LeftOut = ({ of }: { of: Comparison['excluded'] }) => (
  <section aria-labelledby="left-out">
    <h2 id="left-out">Runs that are left out</h2>
    {of.length === 0 ? (
      <p>None.</p>
    ) : (
      <ul class="lost-runs">
        {of.map(({ run, why }) => <li key={run}><a class="run-link" href={link('runs', run)} aria-label={`Run ${run}`}>{run}</a><span>{why ?? 'it has no figure'}</span></li>)}
      </ul>
    )}
  </section>
);

const Found = ({ of, readings }: { of: Comparison; readings: Readings | null }) => {
  const setups = [...new Set(of.setups.map((row) => row.setup).filter((setup) => setup !== of.baseline))];
  return (
    <>
      <p>
        {of.quantity === 'tension' ? 'Tension' : 'Torque'}, {of.measure}{of.gate_s !== null && ` at ${of.gate_s} s`}, as a percentage of the baseline <strong>{of.baseline}</strong> of the same tool. {riskWords(of)}
      </p>
      {byTool(of.setups).map((group) => <PerTool key={group.tool} tool={group.tool} rows={group.rows} gate={of.measure} />)}
      {of.beside && <Beside of={of} beside={of.beside} />}
      <Words of={of} overall={driftOverall(of.drift_percent_per_hour, readings?.rows ?? [])} />
      {readings && readings.rows.length > 0 && (
        <section aria-labelledby="run-order">
          <h2 id="run-order">Runs in their order</h2>
          {byTool(readings.rows).map((group) => (
            <div key={group.tool}>
              <h3>{group.tool ?? 'no tool'}</h3>
              <RunOrder rows={group.rows} tool={group.tool} baseline={of.baseline} setups={setups} measure={of.measure} drift_percent_per_hour={of.drift_percent_per_hour} />
            </div>
          ))}
        </section>
      )}
      {readings && readings.rows.length > 0 && <Traces rows={readings.rows} />}
      <Needed of={of} />
      <LeftOut of={of.excluded} />
    </>
  );
};

export function OfTrial({ name }: { name: string }) {
  const found = useSignal<Comparison | null>(null);
  const readings = useSignal<Readings | null>(null);
  const problem = useSignal<Problem | null>(null);
  const question = useSignal<Question>(PLAIN);
  const asking = useRef<{ question: Question | null; again: boolean }>({ question: null, again: false });
  const ask = async (): Promise<void> => {
    const asked = question.value;
    // A comparison takes its time. News that come meanwhile make one more, not one each.
    if (asking.current.question === asked) {
      asking.current.again = true;
      return;
    }
    asking.current = { question: asked, again: false };
    try {
      const measure = asked.measure === '' ? '' : `measure=${asked.measure}`;
      const [comparison, rows] = await Promise.all([get(`trials/${part(name)}/comparison?${questionQuery(asked)}`), get(`trials/${part(name)}/readings?${measure}`)]);
      // A slower answer to an older question must not replace a newer one.
      if (question.value !== asked) return;
      if ('pieces' in comparison) throw new Problem(0, 'expected setups, found what pieces do');
      found.value = comparison;
      readings.value = rows;
      problem.value = null;
    } catch (error) {
      if (question.value !== asked) return;
      problem.value = asProblem(error);
      found.value = null;
    } finally {
      if (question.value === asked) {
        const { again } = asking.current;
        asking.current = { question: null, again: false };
        if (again) void ask();
      }
    }
  };
  useEffect(() => void ask(), [name, question.value, runNews.value]);
  const line = trials.value?.find((one) => one.trial === name);
  const pieces = [...new Set(readings.value?.rows.flatMap((row) => row.pieces) ?? [])];
  return (
    <>
      <div class="controls">
        <a class="button" href={link('results')}>All results</a>
        <a class="button" href={link(...addressOf(name))}>The trial itself</a>
        <a class="button" href={`${ROOT}/trials/${part(name)}/report`} target="_blank" rel="noopener">Report<span class="unseen"> (opens in a new tab)</span></a>
      </div>
      <h1>Results of {name}</h1>
      {line && line.standing !== 'done' && <p class="remark">The trial is not done: {line.steps_done} of {line.steps_total} steps so far.</p>}
      {found.value?.simulated && <Invented />}
      <Asking now={question.value} ask={(to) => (question.value = { ...to })} problem={problem.value} />
      <Refused problem={problem.value} />
      {found.value === null && problem.value === null && <p>Asking …</p>}
      {found.value && <Found of={found.value} readings={readings.value} />}
      {found.value && <Pieces trial={name} measure={question.value.measure} drift={question.value.drift} known={pieces} />}
    </>
  );
}
