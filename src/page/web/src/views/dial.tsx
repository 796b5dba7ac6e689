// A reading by hand, where there is only a dial. It goes to the daemon as typed, so that a decimal comma is noticed there.
import { useSignal } from '@preact/signals';
import { part, post } from '../lib/api.ts';
import { system } from '../lib/prefs.ts';
import type { Rig } from '../lib/types.ts';
import { withForce } from '../lib/units.ts';
import { Text, Tiles, Who } from '../parts/fields.tsx';
import { useSaving } from '../parts/saving.ts';
import { Refused, Stored } from '../parts/words.tsx';

export function DialForm({ rig }: { rig: Rig }) {
  const figure = useSignal('');
  const of = useSignal<'held' | 'peak'>('held');
  const note = useSignal('');
  const remarks = useSignal<string[]>([]);
  const saving = useSaving();
  const dial = rig.dial;
  if (!dial) return null;

  const store = async (event: Event): Promise<void> => {
    event.preventDefault();
    remarks.value = [];
    const done = await saving.save(async (by) => {
      const body = { who: by, reading: figure.value, peak: of.value === 'peak', ...(note.value === '' ? {} : { note: note.value }) };
      const run = await post(`rigs/${part(rig.rig)}/readings`, body);
      remarks.value = run.remarks;
      const kN = of.value === 'peak' ? run.peak_kN : run.held_kN;
      return `Stored as run ${run.id}: ${withForce(kN, system.value)}.`;
    });
    if (done) figure.value = '';
  };

  return (
    <form class="sheet dial" onSubmit={(event) => void store(event)} noValidate>
      <h2>What the dial shows</h2>
      <Text label="Reading" unit={dial.unit} numeric value={figure.value} change={(value) => (figure.value = value)} says={['cannot read \'', 'reading']} problem={saving.problem.value} hint={`The dial can be read to ${dial.resolution} ${dial.unit}.`} />
      <Tiles label="It is" value={of.value} change={(value) => (of.value = value)} options={[{ value: 'held', label: 'what is held' }, { value: 'peak', label: 'the highest seen' }]} />
      <Text label="Note, if any" value={note.value} change={(value) => (note.value = value)} says={['note:']} problem={saving.problem.value} />
      <Who problem={saving.problem.value} />
      <button type="submit" class="primary" disabled={saving.busy.value}>Store the reading</button>
      <Refused problem={saving.problem.value} />
      <Stored text={saving.stored.value} />
      {remarks.value.map((remark) => (
        <p class="remark" role="alert" key={remark}>{remark}</p>
      ))}
    </form>
  );
}
