// What is coupled and what there is to couple: putting a setup in force, building a chain, and the shelf.
import { useEffect } from 'preact/hooks';
import { link, route } from '../lib/route.ts';
import { refreshShelf, type ShelfKind } from '../lib/shelf.ts';
import { Caution } from '../parts/words.tsx';
import { Builder } from './builder.tsx';
import { ShelfSheet } from './shelf.tsx';
import { UseSheet } from './use.tsx';

const PAGES: readonly { id: 'use' | ShelfKind; title: string }[] = [
  { id: 'use', title: 'In force' },
  { id: 'setups', title: 'Chains' },
  { id: 'pieces', title: 'Pieces' },
  { id: 'tools', title: 'Tools' },
  { id: 'sources', title: 'Sources' },
  { id: 'bolts', title: 'Test bolts' },
];

export function Setups() {
  const here = PAGES.find((page) => page.id === route.value[1]) ?? PAGES[0];
  useEffect(() => void refreshShelf(), [here?.id]);
  return (
    <div class="setups">
      <h1>Setups</h1>
      <nav class="pages" aria-label="Setups and shelf">
        {PAGES.map((page) => (
          <a key={page.id} href={link('setups', page.id)} aria-current={page === here ? 'page' : undefined}>{page.title}</a>
        ))}
      </nav>
      {here?.id === 'use' && <UseSheet />}
      {here?.id === 'setups' && <Builder />}
      {here && here.id !== 'use' && here.id !== 'setups' && <ShelfSheet kind={here.id} key={here.id} />}
      <Caution />
    </div>
  );
}
