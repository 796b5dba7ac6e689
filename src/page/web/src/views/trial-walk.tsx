// One trial on its way: the next step, how far it is, its steps and runs, and what else may be said of it.
import { rigs } from '../lib/live.ts';
import { system } from '../lib/prefs.ts';
import { link } from '../lib/route.ts';
import { missing, trial } from '../lib/trials.ts';
import { PHASE_WORDS, slopeWords, type Trial, type TrialStep, type WarmUp } from '../lib/trial.ts';
import { fixed, forceText, forceUnit } from '../lib/units.ts';
import { NextStepPanel } from '../parts/ready.tsx';
import { Mark } from '../parts/shapes.tsx';
import { Invented, Refused } from '../parts/words.tsx';
import { DialForm } from './dial.tsx';
import { Progress, STANDING_SHAPES } from './trial.tsx';
import { Otherwise } from './trial-say.tsx';

const RunLink = ({ run }: { run: number }) => <a class="run-link" href={link('runs', run)} aria-label={`Run ${run}`}>{run}</a>;

const WarmUpWords = ({ of, warm }: { of: WarmUp; warm: boolean }) => {
  const slope = slopeWords(of, fixed);
  return (
    <section aria-labelledby="warm-up">
      <h2 id="warm-up">Warm-up</h2>
      <p class="verdict"><Mark shape={warm ? 'check' : 'ring'} /> <strong>{warm ? 'Warm' : 'Not warm yet'}</strong></p>
      <p>{of.words}{slope !== null && `; ${slope}`}.</p>
      {of.values_kN.length > 0 && <p class="hint">{of.runs} {of.runs === 1 ? 'run' : 'runs'}, {forceUnit(system.value)}: {of.values_kN.map((value) => forceText(value, system.value)).join(', ')}</p>}
    </section>
  );
};

const state = (step: TrialStep, next: number | undefined): string => (step.run !== null ? 'done' : step.skipped ? 'skipped' : step.number === next ? 'next' : 'open');

const Row = ({ step, next }: { step: TrialStep; next: number | undefined }) => {
  const now = state(step, next);
  return (
    <tr class={`is-${now}`}>
      <th scope="row">Step {step.number}</th>
      <td data-name="For">{PHASE_WORDS[step.phase]}</td>
      <td data-name="Tool">{step.tool}</td>
      <td data-name="Setup">{step.setup}</td>
      <td data-name="State"><span class="verdict">{now === 'done' && <Mark shape="check" />}{now === 'next' && <Mark shape="triangle" />}{now === 'skipped' && <Mark shape="cross" />}{now}</span></td>
      <td data-name={`Tension, ${forceUnit(system.value)}`} class="figure">{step.value_kN === null ? '' : forceText(step.value_kN, system.value, true)}</td>
      <td data-name="Run">{step.run !== null && <RunLink run={step.run} />}</td>
    </tr>
  );
};

const Steps = ({ of }: { of: Trial }) => (
  <section aria-labelledby="steps">
    <h2 id="steps">Steps</h2>
    <table class="list steps">
      <caption class="unseen">Steps of {of.trial} in their order</caption>
      <thead>
        <tr><th scope="col">Step</th><th scope="col">For</th><th scope="col">Tool</th><th scope="col">Setup</th><th scope="col">State</th><th scope="col" class="figure">{of.plan.measure}, {forceUnit(system.value)}</th><th scope="col">Run</th></tr>
      </thead>
      <tbody>{of.steps.map((step) => <Row key={step.number} step={step} next={of.next?.number} />)}</tbody>
    </table>
  </section>
);

const NotCounted = ({ of }: { of: Trial }) => (
  <section aria-labelledby="not-counted">
    <h2 id="not-counted">Runs that are not counted</h2>
    {of.not_counted.length === 0 ? (
      <p>None.</p>
    ) : (
      <ul class="lost-runs">
        {of.not_counted.map(({ run, go, why }) => <li key={go}><RunLink run={run} /><span>{why}</span></li>)}
      </ul>
    )}
  </section>
);

const FRESH = { no: 'no fresh source is asked for', 'each-run': 'a fresh source before each run', 'each-setup': 'a fresh source at each change of setup or tool' } as const;

const PlanWords = ({ of: { plan, planned_by } }: { of: Trial }) => (
  <details>
    <summary>The plan</summary>
    <p>
      Planned by {planned_by} for the rig {plan.rig}. Tools: {plan.tools.join(', ')}. Baseline: {plan.baseline}. Compared with it: {plan.setups.join(', ')}.
      Repeats: {plan.repeats}, {plan.order === 'blocks' ? 'in blocks of random order' : 'in a latin square'}, seed {plan.seed}. Baseline {plan.baseline_every === null ? (plan.drawing === 'second' ? 'spread evenly, about √k times as often as one of k setups' : 'at both ends') : `after every ${plan.baseline_every} runs`}.
      {plan.warm_up ? ' Warm-up first.' : ' No warm-up.'} Measure: {plan.measure}. Rest: {plan.rest_s} s. Source: {FRESH[plan.fresh]}{plan.air_kPa ? `, air from ${plan.air_kPa[0]} to ${plan.air_kPa[1]} kPa` : ''}. Test bolt: {plan.bolt ?? 'the one in force'}.
    </p>
  </details>
);

export function Walk({ name }: { name: string }) {
  const of = trial.value;
  if (of === null || of.trial !== name) {
    return (
      <>
        <a class="button back" href={link('trial')}>All trials</a>
        <h1>Trial {name}</h1>
        {missing.value === null ? <p>Asking …</p> : <Refused problem={missing.value} />}
      </>
    );
  }
  const rig = rigs.value.find((one) => one.rig === of.plan.rig);
  return (
    <>
      <a class="button back" href={link('trial')}>All trials</a>
      <h1>Trial {of.trial}</h1>
      <div class="walk">
        <div>
          <NextStepPanel trial={of} />
          {rig?.link === 'by-hand' && of.standing === 'awaiting a run' && <DialForm rig={rig} />}
        </div>
        <div>
          <section aria-labelledby="how-far">
            <h2 id="how-far">How far it is</h2>
            <p class="verdict"><Mark shape={STANDING_SHAPES[of.standing]} /> <strong>{of.standing}</strong></p>
            <Progress done={of.steps_done} total={of.steps_total} />
            <p>{of.steps_done} of {of.steps_total} steps done{of.steps_skipped > 0 && `, ${of.steps_skipped} skipped`}{of.automatic && '; each step is made ready by itself'}.</p>
            <a class="button" href={link('results', of.trial)}>Results so far</a>
          </section>
          {of.warm_up && <WarmUpWords of={of.warm_up} warm={of.warm} />}
          <PlanWords of={of} />
          <Otherwise of={of} />
        </div>
      </div>
      {rig?.simulated && <Invented />}
      <NotCounted of={of} />
      <Steps of={of} />
    </>
  );
}
