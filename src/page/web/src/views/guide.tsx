// Adding a rig, step by step, as `boltscribe rig add` does: how it talks, at which port, what it prints, its range and a
// first calibration; then the live rig with its zero and the turn of its sign. A port is only listened to; a device is
// asked who it is only where a person says that it speaks our protocol.
import { useSignal } from '@preact/signals';
import { part, post, put } from '../lib/api.ts';
import { refresh, rig, rigs, showRig } from '../lib/live.ts';
import { link } from '../lib/route.ts';
import { type Draft, DRAFT, rigDocument } from '../lib/rig-document.ts';
import { number, Text, Tiles, Who } from '../parts/fields.tsx';
import { useSaving } from '../parts/saving.ts';
import { Caution, Refused, Standing, standingWords, Stored } from '../parts/words.tsx';
import { CalibrationStep } from './guide-calibration.tsx';
import { DialStep, ListenStep, PortStep, type StepProps } from './guide-steps.tsx';
import { ZeroButton } from './rig.tsx';

const InstrumentStep = ({ draft, change }: StepProps) => (
  <Tiles
    label="How does the amplifier talk?"
    value={draft.instrument}
    change={(instrument) => change({ instrument })}
    options={[
      { value: 'lines', label: 'Lines', note: 'it prints numbers as lines of text' },
      { value: 'framed', label: 'Framed', note: "it speaks this project's own protocol" },
      { value: 'typed', label: 'By hand', note: 'a dial that you read after each run' },
    ]}
  />
);

/** After the rig was added: is it alive, where is its zero, does its reading rise when the bolt is pulled? */
function Live({ draft, leave }: { draft: Draft; leave?: () => void }) {
  const turned = useSignal(false);
  const saving = useSaving();
  const shown = rigs.value.find((one) => one.rig === draft.name);
  if (!shown) return null;
  const turn = async (): Promise<void> => {
    const done = await saving.save(async (by) => {
      await put(`rigs/${part(draft.name)}`, { who: by, rig: rigDocument(draft, number, !turned.value) });
      await refresh();
      return 'The sign is turned round, and the rig was taken up anew. Take the zero again.';
    });
    if (done) turned.value = !turned.value;
  };
  return (
    <div class="guide-live">
      <h2>Rig {shown.rig} is there</h2>
      <Standing words={standingWords(shown)} />
      {!shown.dial && shown.calibration !== null && rig.value?.rig === shown.rig && (
        <>
          <ZeroButton of={shown} />
          <div class="sheet">
            <h2>Does it rise?</h2>
            <p>Tighten the nut a little by hand. The reading above must rise. If it falls, turn the sign round; loosen the bolt first.</p>
            <button type="button" disabled={saving.busy.value} onClick={() => void turn()}>Turn the sign round</button>
            <Refused problem={saving.problem.value} />
            <Stored text={saving.stored.value} />
          </div>
        </>
      )}
      <p>Next: put pieces, tool and test bolt on the shelf, then put a setup in force.</p>
      <p class="controls">
        <a class="button primary" href={link('setups', 'pieces')} onClick={leave}>To the shelf</a>
        <a class="button" href={link('now')} onClick={leave}>To the view Now</a>
      </p>
    </div>
  );
}

/** `leave`: told when somebody goes on from it, also to the address where it stands. */
export function Guide({ first, leave }: { first: boolean; leave?: () => void }) {
  const draft = useSignal<Draft>(DRAFT);
  const added = useSignal(false);
  const saving = useSaving();
  const change = (to: Partial<Draft>): void => void (draft.value = { ...draft.value, ...to });
  const now = draft.value;
  const problem = saving.problem.value;
  const steps: StepProps = { draft: now, change, problem };
  const byHand = now.instrument === 'typed';
  const ready = now.instrument !== null && (byHand || now.port !== '');

  const add = async (event: Event): Promise<void> => {
    event.preventDefault();
    added.value = await saving.save(async (by) => {
      const answer = await post('rigs', { who: by, rig: rigDocument(now, number) });
      await refresh();
      showRig(answer.rig);
      return `Added, and taken up: rig ${answer.rig}. Its file: ${answer.file}`;
    });
  };
  return (
    <div class="guide">
      <h1>{added.value ? 'A rig is added' : first ? 'There is no rig yet' : 'Add a rig'}</h1>
      {first && !added.value && <p>Plug in the amplifier of the load cell and add its rig here. Nothing is changed until the last step.</p>}
      {!added.value && (
        <form class="sheet" onSubmit={(event) => void add(event)} noValidate>
          <InstrumentStep {...steps} />
          {now.instrument !== null && !byHand && <PortStep {...steps} />}
          {now.instrument !== null && !byHand && now.port !== '' && <ListenStep {...steps} />}
          {byHand && <DialStep {...steps} />}
          {ready && (
            <>
              <Text label="Name of the rig" value={now.name} change={(name) => change({ name })} says={['name']} problem={problem} hint="a-z, 0-9 and inner hyphens. Runs and calibrations remember the rig by it." />
              <Text label="Full range of the cell, if known" unit="kN" numeric value={now.range} change={(range) => change({ range })} says={['range_kN']} problem={problem} hint="Thresholds and warnings follow it." />
              {!byHand && <CalibrationStep {...steps} />}
              <Who problem={problem} />
              <button type="submit" class="primary" disabled={saving.busy.value}>Add the rig</button>
            </>
          )}
          <Refused problem={problem} />
        </form>
      )}
      <Stored text={saving.stored.value} />
      {added.value && <Live draft={now} leave={leave} />}
      <Caution />
    </div>
  );
}
