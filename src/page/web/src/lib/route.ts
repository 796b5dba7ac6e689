// Where the page is: the part of the address behind '#', such as #/runs/12. Nothing else of the address is used.
import { signal } from '@preact/signals';

const read = (): string[] => location.hash.replace(/^#\/?/, '').split('/').filter(Boolean).map(decodeURIComponent);

/** The parts of the address; empty at the first view. */
export const route = signal<string[]>(typeof location === 'undefined' ? [] : read());

export const link = (...parts: (string | number)[]): string => `#/${parts.map((part) => encodeURIComponent(part)).join('/')}`;
export const go = (...parts: (string | number)[]): void => {
  location.hash = link(...parts);
};

export function watchRoute(): void {
  addEventListener('hashchange', () => {
    route.value = read();
    document.getElementById('view')?.focus();
    scrollTo(0, 0);
  });
}
