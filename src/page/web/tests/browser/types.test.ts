// What the daemon says its answers are, and what the page takes them for: the page's types are made of the daemon's own document,
// and no request names a type of its own.
import assert from 'node:assert/strict';
import { readFileSync } from 'node:fs';
import { test } from 'node:test';
import { answersOf, FILE } from '../../answers.ts';
import { Bench } from './bench.ts';

test('the types of answers are those that follow from the document of the real program', async () => {
  const bench = await Bench.start({ scenario: null });
  try {
    const made = await answersOf(await bench.get('openapi.json'));
    assert.ok(made === readFileSync(FILE, 'utf8'), `${FILE} is not what the document gives: cargo xtask openapi`);
  } finally {
    await bench.end();
  }
});
