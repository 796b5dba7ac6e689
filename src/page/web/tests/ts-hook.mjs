// The loader behind ts.mjs.
import { readFile } from 'node:fs/promises';
import { transformWithOxc } from 'vite';

export async function load(url, context, next) {
  if (!/\.tsx?$/.test(url)) return next(url, context);
  const { code } = await transformWithOxc(await readFile(new URL(url), 'utf8'), url, {
    jsx: { runtime: 'automatic', importSource: 'preact' },
  });
  return { format: 'module', source: code, shortCircuit: true };
}
