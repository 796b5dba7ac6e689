// Building a chain piece by piece, from the tool to the nut. A piece that does not fit cannot be chosen and says why; the
// daemon checks the whole chain again when it is stored.
import { useSignal } from '@preact/signals';
import { part, put, remove } from '../lib/api.ts';
import { contacts, contactWords, isComplete, KIND_WORDS, openDrive, whyNot } from '../lib/fit.ts';
import { piecesOf, refreshShelf, shelf } from '../lib/shelf.ts';
import type { Piece } from '../lib/types.ts';
import { Chain } from '../parts/chain.tsx';
import { Select, Text, Who } from '../parts/fields.tsx';
import { named, useSaving } from '../parts/saving.ts';
import { Refused, Stored } from '../parts/words.tsx';
import { TakeOff } from './shelf.tsx';

const Choice = ({ piece, why, add }: { piece: Piece; why: string | null; add: () => void }) => {
  const id = `piece-${piece.name.replace(/\W/g, '-')}`;
  return (
    <button type="button" class="tile piece" aria-disabled={why !== null} aria-describedby={why === null ? undefined : id} onClick={() => why === null && add()}>
      <span class="tile-words">
        {piece.name}
        <small>{KIND_WORDS[piece.kind]}, {piece.drive_in}{piece.drive_out && piece.drive_out !== piece.drive_in ? ` to ${piece.drive_out}` : ''}</small>
        {why !== null && <small class="why" id={id}>{why}</small>}
      </span>
    </button>
  );
};

export function Builder() {
  const chain = useSignal<Piece[]>([]);
  const tool = useSignal('');
  const name = useSignal<string | null>(null);
  const saving = useSaving();
  const known = shelf.value;
  const anvil = known.tools.find((one) => one.name === tool.value)?.anvil ?? null;
  const complete = isComplete(chain.value);
  const offered = openDrive(chain.value, anvil);
  const proposed = chain.value.filter((piece) => piece.kind !== 'socket').map((piece) => piece.name).join(' + ') || (complete ? 'direct' : '');
  const title = name.value ?? proposed.slice(0, 64);

  const store = async (event: Event): Promise<void> => {
    event.preventDefault();
    const done = await saving.save(async (by) => {
      const document = { name: title, pieces: chain.value.map((piece) => piece.name) };
      const stored = await put(`shelf/setups/${named('setup', title)}`, { who: by, document });
      return `Stored: setup ${stored.name} of ${('pieces' in stored ? stored.pieces : document.pieces).join(', ')}.`;
    });
    if (!done) return;
    chain.value = [];
    name.value = null;
    await refreshShelf();
  };
  return (
    <>
      <form class="sheet" onSubmit={(event) => void store(event)} noValidate>
        <h2>Build a chain</h2>
        <Select label="For the tool" value={tool.value} change={(value) => { tool.value = value; chain.value = []; }} options={[{ value: '', label: 'any tool' }, ...known.tools.map((one) => ({ value: one.name, label: `${one.name}, ${one.anvil}` }))]} />
        <Chain tool={tool.value || null} pieces={chain.value} nut={complete} />
        <p role="status" class="status">
          {complete
            ? `The chain is whole: ${contactWords(contacts(chain.value))}.`
            : chain.value.length === 0 && offered === null
              ? 'Choose what sits on the anvil.'
              : `Open end: ${offered ?? 'any drive'}. Go on to the socket that sits on the nut.`}
        </p>
        <div class="tiles pieces" role="group" aria-label="Pieces on the shelf">
          {known.pieces.map((piece) => (
            <Choice key={piece.name} piece={piece} why={whyNot(piece, chain.value, anvil)} add={() => (chain.value = [...chain.value, piece])} />
          ))}
        </div>
        {known.pieces.length === 0 && <p class="empty">No pieces stand on the shelf. Put some there first.</p>}
        <div class="controls">
          <button type="button" disabled={chain.value.length === 0} onClick={() => (chain.value = chain.value.slice(0, -1))}>Take the last piece off</button>
        </div>
        <Text label="Name of the setup" value={title} change={(value) => (name.value = value)} says={['setup name', 'the same name']} problem={saving.problem.value} />
        <Who problem={saving.problem.value} />
        <button type="submit" class="primary" disabled={saving.busy.value}>Store the setup</button>
        <Refused problem={saving.problem.value} />
        <Stored text={saving.stored.value} />
      </form>
      <section class="shelf" aria-labelledby="chains">
        <h2 id="chains">Setups on the shelf</h2>
        <ul class="cards">
          {known.setups.map((setup) => (
            <li key={setup.name}>
              <h3>{setup.name}</h3>
              <Chain tool={null} pieces={piecesOf(setup.name)} />
              <p>{setup.uses ? `${setup.uses.runs} runs` : ''}</p>
              <TakeOff what={setup.name} off={(body) => remove(`shelf/setups/${part(setup.name)}`, body)} />
            </li>
          ))}
        </ul>
      </section>
    </>
  );
}
