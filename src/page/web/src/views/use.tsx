// Putting in force what the next run is tagged with. Filled in from what is in force now; what is shown afterwards is the
// daemon's answer, not what was chosen.
import { useSignal } from '@preact/signals';
import { useEffect } from 'preact/hooks';
import { part, post, Problem } from '../lib/api.ts';
import { refresh, rig } from '../lib/live.ts';
import { system } from '../lib/prefs.ts';
import { piecesOf, shelf } from '../lib/shelf.ts';
import { contacts, contactWords } from '../lib/fit.ts';
import type { InForce, Piece, SourceState } from '../lib/types.ts';
import { withForce } from '../lib/units.ts';
import { Chain } from '../parts/chain.tsx';
import { number, Text, Tiles, Who } from '../parts/fields.tsx';
import { useSaving } from '../parts/saving.ts';
import { Refused, Standing, standingWords, Stored } from '../parts/words.tsx';

const sourceWords = (source: SourceState): string => {
  if (source.kind === 'battery') return `battery ${source.id}${source.rested_v === null ? '' : `, ${source.rested_v} V rested`}${source.fresh === null ? '' : source.fresh ? ', fresh' : ', not fresh'}`;
  if (source.kind === 'air') return `air${source.dynamic_kPa === null ? '' : `, ${source.dynamic_kPa} kPa at the tool`}`;
  return `mains${source.voltage_v === null ? '' : `, ${source.voltage_v} V`}`;
};

const words = (now: InForce): string =>
  `setup ${now.setup ?? 'none'}${now.contacts === null ? '' : ` (${contactWords(now.contacts)})`}, tool ${now.tool ?? 'none'}, ${now.source ? sourceWords(now.source) : 'no source named'}, test bolt ${now.bolt?.name ?? 'none'}`;

/** First mismatch of a setup with the tool, so that it is seen before it is refused. */
function unfit(setup: string, anvil: string | null): string | null {
  const first = piecesOf(setup)[0];
  if (anvil === null || first === undefined || typeof first === 'string') return null;
  return first.drive_in === anvil ? null : `needs ${first.drive_in}, the tool has ${anvil}`;
}

export function UseSheet() {
  const shown = rig.value;
  const setup = useSignal<string | null>(null);
  const tool = useSignal<string | null>(null);
  const bolt = useSignal<string | null>(null);
  const battery = useSignal<string | null>(null);
  const figure = useSignal('');
  const fresh = useSignal<'yes' | 'no' | 'unsaid'>('unsaid');
  const saving = useSaving();

  useEffect(() => {
    const now = rig.peek()?.in_force;
    setup.value = now?.setup ?? null;
    tool.value = now?.tool ?? null;
    bolt.value = now?.bolt?.name ?? null;
    battery.value = now?.source?.kind === 'battery' ? now.source.id : null;
  }, [shown?.rig]);

  if (!shown) return <p class="empty">There is no rig yet. Add one at the view Rig.</p>;
  const known = shelf.value;
  const driven = known.tools.find((one) => one.name === tool.value) ?? null;
  const source = (): SourceState | undefined => {
    const reading = number(figure.value);
    // It would be dropped on the way, as if nothing had been read.
    if (Number.isNaN(reading)) throw new Problem(0, `reading: expected a number with a decimal point, found '${figure.value}'`);
    if (driven?.source === 'battery') return battery.value === null ? undefined : { kind: 'battery', id: battery.value, rested_v: reading, fresh: fresh.value === 'unsaid' ? null : fresh.value === 'yes' };
    if (driven?.source === 'air') return reading === null ? undefined : { kind: 'air', dynamic_kPa: reading };
    if (driven?.source === 'mains') return reading === null ? undefined : { kind: 'mains', voltage_v: reading };
    return undefined;
  };
  const store = async (event: Event): Promise<void> => {
    event.preventDefault();
    await saving.save(async (by) => {
      const fed = source();
      const body = { who: by, setup: setup.value, tool: tool.value, bolt: bolt.value, ...(fed ? { source: fed } : {}) };
      const answer = await post(`rigs/${part(shown.rig)}/use`, body);
      await refresh();
      return `In force at ${shown.rig}: ${words(answer.in_force)}.`;
    });
  };
  const chosen = piecesOf(setup.value);
  const whole = chosen.every((piece): piece is Piece => typeof piece !== 'string');
  const problem = saving.problem.value;
  return (
    <form class="sheet" onSubmit={(event) => void store(event)} noValidate>
      <h2>In force at {shown.rig}</h2>
      <p id="in-force">Now: {words(shown.in_force)}.</p>
      <Tiles label="Tool" value={tool.value} change={(value) => (tool.value = value)} says={['among the tools']} problem={problem} options={known.tools.map((one) => ({ value: one.name, label: one.name, note: `${one.anvil}, ${one.source}` }))} />
      <Tiles label="Setup" value={setup.value} change={(value) => (setup.value = value)} says={['setup \'', 'among the setups']} problem={problem} options={known.setups.map((one) => ({ value: one.name, label: one.name, note: unfit(one.name, driven?.anvil ?? null) ?? `${one.pieces.length} ${one.pieces.length === 1 ? 'piece' : 'pieces'}` }))} />
      {setup.value !== null && (
        <>
          <Chain tool={tool.value} pieces={chosen} />
          {whole && <p>{contactWords(contacts(chosen as Piece[]))} from the anvil to the socket's drive.</p>}
        </>
      )}
      {driven?.source === 'battery' && (
        <>
          <Tiles label="Battery" value={battery.value} change={(value) => (battery.value = value)} says={['among the sources', 'takes battery']} problem={problem} options={known.sources.filter((one) => one.kind === 'battery').map((one) => ({ value: one.name, label: one.name }))} hint={known.sources.length === 0 ? 'No battery stands on the shelf; its name is optional.' : undefined} />
          {battery.value !== null && (
            <>
              <Text label="Rested voltage, if measured" unit="V" numeric value={figure.value} change={(value) => (figure.value = value)} says={['rested_v', 'reading:']} problem={problem} />
              <Tiles label="Freshly charged and rested" value={fresh.value} change={(value) => (fresh.value = value)} options={[{ value: 'yes', label: 'yes' }, { value: 'no', label: 'no' }, { value: 'unsaid', label: 'not known' }]} />
            </>
          )}
        </>
      )}
      {driven?.source === 'air' && <Text label="Pressure at the tool while it runs" unit="kPa" numeric value={figure.value} change={(value) => (figure.value = value)} says={['dynamic_kPa', 'reading:']} problem={problem} />}
      {driven?.source === 'mains' && <Text label="Voltage at the outlet" unit="V" numeric value={figure.value} change={(value) => (figure.value = value)} says={['voltage_v', 'reading:']} problem={problem} />}
      <Tiles label="Test bolt" value={bolt.value} change={(value) => (bolt.value = value)} says={['among the bolts', 'test bolt \'']} problem={problem} options={known.bolts.map((one) => ({ value: one.name, label: one.name, note: one.allowed_kN === null ? 'no limit set' : `allowed ${withForce(one.allowed_kN, system.value)}` }))} />
      <Standing words={standingWords(shown)} />
      <Who problem={problem} />
      <button type="submit" class="primary" disabled={saving.busy.value}>Put in force</button>
      <Refused problem={problem} />
      <Stored text={saving.stored.value} />
    </form>
  );
}
