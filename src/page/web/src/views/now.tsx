// What happens now, to be read from two metres: state, tension, equivalent torque, trace, what is coupled, the last run.
import { useEffect } from 'preact/hooks';
import { useSignal } from '@preact/signals';
import { switchSound } from '../lib/cue.ts';
import { frozen, lastRun, overLimit, reading, rig } from '../lib/live.ts';
import { sound, system } from '../lib/prefs.ts';
import { link } from '../lib/route.ts';
import { contactWords } from '../lib/fit.ts';
import { piecesOf } from '../lib/shelf.ts';
import type { Rig } from '../lib/types.ts';
import { trial } from '../lib/trials.ts';
import { equivalent, forceText, forceUnit, torqueText, torqueUnit, withForce } from '../lib/units.ts';
import { Band } from '../parts/band.tsx';
import { Chain } from '../parts/chain.tsx';
import { LiveTrace } from '../parts/live-trace.tsx';
import { NextStepPanel } from '../parts/ready.tsx';
import { RunSummary } from '../parts/run-summary.tsx';
import { Mark } from '../parts/shapes.tsx';
import { SoFar } from '../parts/so-far.tsx';
import { Caution, Invented, Standing, standingWords } from '../parts/words.tsx';
import { DialForm } from './dial.tsx';

const Over = () => {
  if (overLimit.value === null) return null;
  const allowed = rig.value?.in_force.bolt?.allowed_kN ?? null;
  const limit = allowed === null ? '' : ` Allowed: ${withForce(allowed, system.value)}.`;
  const seen = overLimit.value > 0 ? ` Seen: ${withForce(overLimit.value, system.value)}.` : '';
  return (
    <section class="over" role="alert" aria-label="Over limit">
      <Mark shape="octagon" />
      <p>
        <strong>OVER LIMIT</strong>
        <span>Stop and inspect the test bolt.{limit}{seen}</span>
      </p>
      <button type="button" onClick={() => (overLimit.value = null)}>I have seen it</button>
    </section>
  );
};

const Big = ({ label, value, unit, id }: { label: string; value: string; unit: string; id: string }) => (
  <div class="big" id={id}>
    <h2>{label}</h2>
    <p>
      <span class="digits">{value}</span> <span class="unit">{unit}</span>
    </p>
  </div>
);

/** The figures, or in their place the reason why there are none. */
const Figures = () => {
  const now = reading.value;
  const units = system.value;
  if (now.is === 'none') {
    return (
      <div class="numbers">
        <div class="big no-number" id="no-reading">
          <h2>Tension</h2>
          <p>{now.why === 'asking' ? 'Asking …' : 'No reading'}</p>
          <small>{now.detail}</small>
        </div>
      </div>
    );
  }
  if (now.kN === null) {
    return (
      <div class="numbers">
        <Big id="tension" label="Counts: no calibration" value={String(now.counts)} unit="counts" />
      </div>
    );
  }
  const torque = equivalent(now.kN, rig.value?.in_force.bolt?.factor_N_per_Nm);
  return (
    <div class={frozen.value ? 'numbers frozen' : 'numbers'}>
      <Big id="tension" label={frozen.value ? 'Frozen, not live' : 'Tension'} value={forceText(now.kN, units)} unit={forceUnit(units)} />
      {torque === null ? (
        <div class="big no-number" id="torque">
          <h2>Equivalent torque</h2>
          <small>No bolt factor is set, so there is none.</small>
        </div>
      ) : (
        <Big id="torque" label="Equivalent torque" value={torqueText(torque, units)} unit={torqueUnit(units)} />
      )}
    </div>
  );
};

const Controls = () => (
  <div class="controls">
    <button type="button" aria-pressed={frozen.value} onClick={() => (frozen.value = !frozen.value)}>
      {frozen.value ? 'Go on live' : 'Freeze'}
    </button>
    <button type="button" aria-pressed={sound.value} onClick={() => void switchSound(!sound.value)}>
      {sound.value ? 'Sound is on' : 'Sound is off'}
    </button>
    <button type="button" onClick={() => (system.value = system.value === 'SI' ? 'US' : 'SI')}>
      Show {system.value === 'SI' ? 'lbf, lbf·ft' : 'kN, N·m'}
    </button>
  </div>
);

const Coupled = ({ of }: { of: Rig }) => {
  const { setup, contacts, tool, bolt } = of.in_force;
  return (
    <section aria-labelledby="coupled">
      <h2 id="coupled">Coupled now</h2>
      <Chain tool={tool} pieces={piecesOf(setup)} />
      <p>
        {setup === null ? 'No setup is in force.' : `Setup ${setup}, ${contactWords(contacts)}.`}{' '}
        {bolt ? `Test bolt ${bolt.name}, allowed ${bolt.allowed_kN === null ? 'not set' : withForce(bolt.allowed_kN, system.value)}.` : 'No test bolt is named.'}
      </p>
      <a class="button" href={link('setups', 'use')}>Change what is coupled</a>
    </section>
  );
};

/** Room for the trace after everything that is read from afar. */
function traceHeight(): number {
  return innerWidth < 700 ? 200 : Math.max(200, Math.min(420, innerHeight - 560));
}

export function Now() {
  const height = useSignal(traceHeight());
  useEffect(() => {
    const fit = (): void => void (height.value = traceHeight());
    addEventListener('resize', fit);
    return () => removeEventListener('resize', fit);
  }, []);
  const shown = rig.value;
  if (!shown) return <Over />;
  const byHand = shown.link === 'by-hand';
  const words = standingWords(shown, lastRun.value?.flags);
  return (
    <div class="now">
      <h1 class="unseen">Now at {shown.rig}</h1>
      <Over />
      <div class={trial.value ? 'facing with-step' : 'facing'}>
        <div class="facing-head">
          <Band />
          {byHand ? <DialForm rig={shown} /> : <Figures />}
          {!byHand && <Controls />}
        </div>
        <div class="facing-side">
          {trial.value && <NextStepPanel trial={trial.value} short />}
          <section aria-labelledby="last-run">
            <h2 id="last-run">Last run</h2>
            {lastRun.value && <SoFar run={lastRun.value.id} />}
            {lastRun.value ? <RunSummary run={lastRun.value} /> : <p>None yet at this rig.</p>}
          </section>
        </div>
        <div class="facing-trace">
          {!byHand && <LiveTrace height={height.value} />}
          {shown.simulated && <Invented />}
          <Coupled of={shown} />
        </div>
      </div>
      <Standing words={words} />
      <Caution />
    </div>
  );
}
