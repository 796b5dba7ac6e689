// Pieces, tools, sources and test bolts on the shelf: what there is, and a sheet for one more. Which fields a kind has is
// told in documents.ts.
import { useSignal } from '@preact/signals';
import { part, put, remove } from '../lib/api.ts';
import { refreshShelf, shelf, type ShelfKind } from '../lib/shelf.ts';
import { number, Text, Tiles, Who } from '../parts/fields.tsx';
import { named, useSaving } from '../parts/saving.ts';
import { Refused, Stored } from '../parts/words.tsx';
import { type Field, KINDS, type Values } from './documents.ts';

/** Takes something off the shelf, with a reason. What is stored of it stays. */
export function TakeOff({ what, off }: { what: string; off: (body: { who: string; why: string }) => Promise<unknown> }) {
  const why = useSignal('');
  const saving = useSaving();
  const take = async (event: Event): Promise<void> => {
    event.preventDefault();
    await saving.save(async (by) => {
      await off({ who: by, why: why.value });
      await refreshShelf();
      return `${what} is off the shelf.`;
    });
  };
  return (
    <details class="take-off">
      <summary>Take {what} off the shelf</summary>
      <form onSubmit={(event) => void take(event)} noValidate>
        <Text label="Why" value={why.value} change={(value) => (why.value = value)} says={['why:']} problem={saving.problem.value} />
        <Who problem={saving.problem.value} />
        <button type="submit" disabled={saving.busy.value}>Take it off</button>
        <Refused problem={saving.problem.value} />
      </form>
    </details>
  );
}

const Entry = ({ field, values, change, problem }: { field: Field; values: Values; change: (key: string, value: string) => void; problem: ReturnType<typeof useSaving>['problem']['value'] }) => {
  const value = values[field.key] ?? '';
  const common = { label: field.label, says: field.says, problem, hint: field.hint };
  return field.options ? (
    <Tiles {...common} value={value || null} change={(chosen) => change(field.key, chosen)} options={field.options} />
  ) : (
    <Text {...common} value={value} change={(typed) => change(field.key, typed)} numeric={field.numeric} unit={field.unit} required={field.required} />
  );
};

export function ShelfSheet({ kind }: { kind: Exclude<ShelfKind, 'setups'> }) {
  const about = KINDS[kind];
  const values = useSignal<Values>(about.start);
  const saving = useSaving();
  const store = async (event: Event): Promise<void> => {
    event.preventDefault();
    const done = await saving.save(async (by) => {
      const document = about.document(values.value, number);
      const stored = await put(`shelf/${kind}/${named(kind.slice(0, -1), String(document['name']))}`, { who: by, document });
      await refreshShelf();
      return `Stored: ${about.describe(stored as never)}.`;
    });
    if (done) values.value = about.start;
  };
  const entries: readonly { name: string }[] = shelf.value[kind];
  const fields = about.fields.filter((field) => field.when?.(values.value) ?? true);
  return (
    <>
      <section class="shelf" aria-labelledby="on-shelf">
        <h2 id="on-shelf">{about.title} on the shelf</h2>
        {entries.length === 0 && <p class="empty">None yet.</p>}
        <ul class="cards">
          {entries.map((entry) => (
            <li key={entry.name}>
              <h3>{entry.name}</h3>
              <p>{about.describe(entry as never)}</p>
              <TakeOff what={entry.name} off={(body) => remove(`shelf/${kind}/${part(entry.name)}`, body)} />
            </li>
          ))}
        </ul>
      </section>
      <form class="sheet" onSubmit={(event) => void store(event)} noValidate>
        <h2>{about.add}</h2>
        {fields.map((field) => (
          <Entry key={field.key} field={field} values={values.value} problem={saving.problem.value} change={(key, value) => (values.value = { ...values.value, [key]: value })} />
        ))}
        <Who problem={saving.problem.value} />
        <button type="submit" class="primary" disabled={saving.busy.value}>Put it on the shelf</button>
        <Refused problem={saving.problem.value} />
        <Stored text={saving.stored.value} />
      </form>
    </>
  );
}
