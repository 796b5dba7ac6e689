// What else may be said of a trial, each with a reason: a run does not count, a step is left out, the rig counts as warm, the
// trial rests; and whether a fixture goes on by itself. Nothing is overwritten: each is one more entry.
import { useSignal } from '@preact/signals';
import { Problem } from '../lib/api.ts';
import { who } from '../lib/prefs.ts';
import { busy, refusal, say } from '../lib/trials.ts';
import { gosGiven, type Trial } from '../lib/trial.ts';
import { Select, Text, Tiles, Who } from '../parts/fields.tsx';
import { Refused, Stored } from '../parts/words.tsx';

type What = 'repeat' | 'skip' | 'warm' | 'abort' | 'automatic';

const REASONS: Record<Exclude<What, 'automatic'>, readonly string[]> = {
  repeat: ['socket slipped off the nut', 'trigger let go too early', 'the run never came'],
  skip: ['the piece is not at hand', 'no time for it'],
  warm: ['warmed up before this trial'],
  abort: ['end of the shift', 'something is broken'],
};
const DONE: Record<What, string> = {
  repeat: 'Its step is open again.',
  skip: 'The step is left out.',
  warm: 'The rig counts as warm.',
  abort: 'The trial is laid aside. It can be gone on with at any time.',
  automatic: 'Stored.',
};

/** What may be said as the trial stands. */
function choices(of: Trial, gos: number, open: number): { value: What; label: string; note: string }[] {
  const all: (false | { value: What; label: string; note: string })[] = [
    gos > 0 && { value: 'repeat', label: 'Repeat', note: 'a run does not count, or never came' },
    open > 0 && { value: 'skip', label: 'Skip', note: 'leave a step out' },
    of.warm_up !== null && !of.warm && { value: 'warm', label: 'Counts as warm', note: 'end the warm-up' },
    of.standing !== 'laid aside' && of.standing !== 'done' && { value: 'abort', label: 'Lay aside', note: 'the trial rests' },
    of.plan.fresh === 'no' && { value: 'automatic', label: of.automatic ? 'Stop going on by itself' : 'Go on by itself', note: 'for a fixture that pulls the trigger' },
  ];
  return all.filter((one) => one !== false);
}

export function Otherwise({ of }: { of: Trial }) {
  const what = useSignal<What | null>(null);
  const why = useSignal('');
  const go = useSignal('');
  const number = useSignal('');
  const done = useSignal<string | null>(null);
  const gos = gosGiven(of).slice(0, 50);
  const open = of.steps.filter((step) => step.run === null && !step.skipped);
  const chosenGo = gos.some((one) => String(one.go) === go.value) ? go.value : String(gos[0]?.go ?? '');
  const chosenStep = open.some((one) => String(one.number) === number.value) ? number.value : String((open.find((one) => one.number === of.next?.number) ?? open[0])?.number ?? '');
  const store = async (event: Event): Promise<void> => {
    event.preventDefault();
    done.value = null;
    const chosen = what.value;
    if (chosen === null) return;
    if (who.value.trim() === '') {
      refusal.value = new Problem(0, 'who: expected your name, found none', 'every change is stored with who made it');
      return;
    }
    const said = {
      repeat: { entry: 'repeat', go: Number(chosenGo), why: why.value },
      skip: { entry: 'skip', number: Number(chosenStep), why: why.value },
      warm: { entry: 'warm', why: why.value },
      abort: { entry: 'abort', why: why.value },
      automatic: { entry: 'automatic', on: !of.automatic },
    }[chosen];
    if (await say(said)) {
      done.value = DONE[chosen];
      why.value = '';
      what.value = null;
    }
  };
  return (
    <details class="otherwise">
      <summary>Repeat, skip, lay aside …</summary>
      <form onSubmit={(event) => void store(event)} noValidate>
        <Tiles label="What" value={what.value} change={(value) => (what.value = value)} options={choices(of, gos.length, open.length)} />
        {what.value === 'repeat' && <Select label="Which" value={chosenGo} change={(value) => (go.value = value)} options={gos.map((one) => ({ value: String(one.go), label: `go ${one.go}: ${one.step.number === 0 ? 'warm-up' : `step ${one.step.number}`}, ${one.step.setup}, ${one.run === null ? 'no run known' : `run ${one.run}`}` }))} says={['go:']} problem={refusal.value} />}
        {what.value === 'skip' && <Select label="Which step" value={chosenStep} change={(value) => (number.value = value)} options={open.map((one) => ({ value: String(one.number), label: `${one.number}: ${one.tool}, ${one.setup}` }))} says={['number:']} problem={refusal.value} />}
        {what.value !== null && what.value !== 'automatic' && (
          <>
            <Text label="Why" value={why.value} change={(value) => (why.value = value)} says={['why:']} problem={refusal.value} required />
            <div class="suggestions">{REASONS[what.value].map((reason) => <button type="button" key={reason} onClick={() => (why.value = reason)}>{reason}</button>)}</div>
          </>
        )}
        {what.value !== null && (
          <>
            <Who problem={refusal.value} />
            <button type="submit" class="primary" disabled={busy.value}>Store it</button>
            <Refused problem={refusal.value} />
          </>
        )}
        <Stored text={done.value} />
      </form>
    </details>
  );
}
