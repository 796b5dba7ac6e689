// What comes next in a trial: tool, setup, chain, what is to be read at the source, and one big "Ready". Stands at the views
// Trial and Now alike, so that a step looks the same wherever it is begun.
import { useSignal } from '@preact/signals';
import { useEffect, useRef } from 'preact/hooks';
import { endedAt_ms, overLimit, rigs, run } from '../lib/live.ts';
import { pedalNext } from '../lib/pedal.ts';
import { pedal, who } from '../lib/prefs.ts';
import { addressOf, blocked, busy, giveBack, ready, refusal, say, typed } from '../lib/trials.ts';
import { link } from '../lib/route.ts';
import { piecesOf, shelf } from '../lib/shelf.ts';
import { type NextStep, restLeft_s, stepWords, type Trial } from '../lib/trial.ts';
import { Chain } from './chain.tsx';
import { number, Text, Tiles, Who } from './fields.tsx';
import { Mark } from './shapes.tsx';
import { Refused } from './words.tsx';

const read = (text: string): void => void (typed.value = { ...typed.value, text, figure: number(text) });

const FRESH_WORDS: Record<NonNullable<NextStep['source']>, string> = {
  battery: 'Swap in a freshly charged and rested battery, and read its voltage before this run.',
  air: 'Read the air pressure at the tool while it runs, before this run.',
  mains: 'Read the voltage at the outlet before this run.',
};

/** What is to be told of the source. Optional where the plan does not ask for it. */
function Source({ next }: { next: NextStep }) {
  const due = next.fresh_source_due;
  const problem = refusal.value;
  if (next.source === null) return null;
  const batteries = shelf.value.sources.filter((one) => one.kind === 'battery');
  const fields = (
    <>
      {next.source === 'battery' && <Tiles label="Battery" value={typed.value.battery} change={(battery) => (typed.value = { ...typed.value, battery })} says={['battery', 'among the sources', 'fresh source']} problem={problem} options={batteries.map((one) => ({ value: one.name, label: one.name }))} hint={batteries.length === 0 ? 'No battery stands on the shelf: add one at Setups, Sources.' : undefined} />}
      {next.source === 'battery' && <Text label="Rested voltage" unit="V" numeric value={typed.value.text} change={read} says={['rested_v', 'reading:']} problem={problem} required={due} />}
      {next.source === 'air' && <Text label="Pressure at the running tool" unit="kPa" numeric value={typed.value.text} change={read} says={['dynamic_kPa', 'reading:', 'kPa']} problem={problem} required={due} hint={next.air_kPa ? `The plan asks for ${next.air_kPa[0]} to ${next.air_kPa[1]} kPa.` : undefined} />}
      {next.source === 'mains' && <Text label="Voltage at the outlet" unit="V" numeric value={typed.value.text} change={read} says={['voltage_v', 'reading:', 'fresh source']} problem={problem} required={due} />}
    </>
  );
  return due ? (
    <div class="due">
      <p class="due-words"><Mark shape="diamond" /> <strong>Reading due.</strong> {FRESH_WORDS[next.source]}</p>
      <div class="due-fields">{fields}</div>
    </div>
  ) : (
    <details open={typed.peek().text !== '' || typed.peek().battery !== null}>
      <summary>Tell of the {next.source} (optional)</summary>
      {fields}
    </details>
  );
}

/** Rest before the run: told, not forced. */
function Rest({ next }: { next: NextStep }) {
  const now = useSignal(performance.now());
  useEffect(() => {
    const timer = setInterval(() => (now.value = performance.now()), 1000);
    return () => clearInterval(timer);
  }, []);
  if (next.rest_s <= 0) return null;
  const left = restLeft_s(next.rest_s, endedAt_ms.value, now.value);
  return <p class="rest">Rest of {next.rest_s} s before this run. {left !== null && (left > 0 ? <strong>{Math.ceil(left)} s are left.</strong> : <strong>It is over.</strong>)}</p>;
}

const Facing = ({ trial, next, heading }: { trial: Trial; next: NextStep; heading: 'h2' | 'h3' }) => {
  const Heading = heading;
  return (
    <>
      <div aria-live="polite">
        <p class="step-number">{stepWords(next, trial.steps_total)}</p>
        <dl class="fitting">
          <div><dt>Tool</dt><dd>{next.tool}</dd></div>
          <div><dt>Setup</dt><dd>{next.setup}</dd></div>
        </dl>
      </div>
      <Heading class="unseen">What to fit</Heading>
      <Chain tool={next.tool} pieces={piecesOf(next.setup).length > 0 ? piecesOf(next.setup) : next.pieces} />
    </>
  );
};

const isByHand = (trial: Trial): boolean => rigs.value.find((one) => one.rig === trial.plan.rig)?.link === 'by-hand';

const waitingWords = (trial: Trial, driving: boolean): string => {
  if (isByHand(trial)) return 'Tighten, then type what the dial shows; the reading takes this step by itself.';
  return driving ? 'The tool drives: hold it until the gate.' : 'Pull the trigger; the run takes this step by itself.';
};

/** `told`: the state stands elsewhere on the same view already. */
const Waiting = ({ trial, next, told }: { trial: Trial; next: NextStep; told: boolean }) => {
  const driving = run.value?.phase === 'driving';
  return (
    <>
      {!told && (
        <div class="awaiting" role="status">
          <Mark shape="triangle" />
          <p><strong>Awaiting a run</strong><span>{waitingWords(trial, driving)}</span></p>
        </div>
      )}
      {!driving && !trial.automatic && <button type="button" class="not-yet" onClick={() => void giveBack(next.go)}>Not yet: give the go back</button>}
      {trial.automatic && <p>The next steps are made ready by themselves.</p>}
    </>
  );
};

const Begin = ({ next }: { next: NextStep }) => {
  const why = blocked.value;
  // Asked for where there was none: it must not vanish with its first letter.
  const nameless = useSignal(who.peek().trim() === '');
  return (
    <>
      <Source next={next} />
      {next.remount_due && <p class="due-words"><Mark shape="diamond" /> <strong>Take the coupling off and put it on again.</strong> Each run is a mounting of its own.</p>}
      <Rest next={next} />
      {(nameless.value || refusal.value?.detail.startsWith('who:')) && <Who problem={refusal.value} />}
      {why !== null && <p class="hold" id="hold" role="status"><Mark shape="cross" /> {why}</p>}
      {overLimit.value !== null && <button type="button" class="seen" onClick={() => (overLimit.value = null)}>I have seen it</button>}
      <button type="button" class="ready" disabled={why !== null} aria-describedby={why === null ? undefined : 'hold'} onClick={() => void ready()}>
        <Mark shape="check" /> Ready
      </button>
      {pedal.value === 'on' && <p class="hint">The foot pedal {pedalNext()}.</p>}
    </>
  );
};

/** Keeps the focus of the keyboard in a panel whose focused button has gone with the state it belonged to. */
function useKeptFocus(key: string) {
  const element = useRef<HTMLElement>(null);
  const inside = useRef(false);
  useEffect(() => {
    if (inside.current && document.activeElement === document.body) element.current?.focus({ preventScroll: true });
  }, [key]);
  return {
    ref: element,
    tabIndex: -1,
    onFocusIn: () => void (inside.current = true),
    onFocusOut: (event: FocusEvent) => {
      // Nothing takes the focus where the button has gone.
      if (event.relatedTarget !== null) inside.current = false;
    },
  };
}

/** `short` is for where other things stand as well: then a link leads to the whole. */
export function NextStepPanel({ trial, short = false }: { trial: Trial; short?: boolean }) {
  const next = trial.next;
  const heading = short ? 'h3' : 'h2';
  const kept = useKeptFocus(`${trial.standing} ${next?.go}`);
  return (
    <section {...kept} class={`step ${trial.standing === 'awaiting a run' ? 'is-awaiting' : ''}`} aria-label={`Next step of the trial ${trial.trial}`}>
      {short && <h2>Trial {trial.trial}: {trial.steps_done} of {trial.steps_total} steps done</h2>}
      {next && (
        <>
          <Facing trial={trial} next={next} heading={heading} />
          {trial.standing === 'awaiting a run' && <Waiting trial={trial} next={next} told={short} />}
          {trial.standing === 'ready to go on' && <Begin next={next} />}
        </>
      )}
      {trial.standing === 'done' && <p class="big-word" role="status"><Mark shape="check" /> All steps are done. <a class="button primary" href={link('results', trial.trial)}>See the results</a></p>}
      {trial.standing === 'laid aside' && (
        <p class="big-word" role="status"><Mark shape="ring" /> Laid aside. <button type="button" class="primary" disabled={busy.value} onClick={() => void say({ entry: 'resume' })}>Go on with it</button></p>
      )}
      <Refused problem={refusal.value} />
      {refusal.value?.status === 409 && <p>What is shown above was asked anew just now.</p>}
      {short && <a class="button" href={link(...addressOf(trial.trial))}>Open this trial</a>}
    </section>
  );
}
