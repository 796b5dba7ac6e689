// A device stays with its rig.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { inAddress, pinned, shown, withRig } from '../../src/lib/pin.ts';
import type { Rig } from '../../src/lib/types.ts';

const named = (...names: string[]): Rig[] => names.map((rig) => ({ rig }) as Rig);

test('the first rig is taken once, and kept when the order of the list changes', () => {
  const kept = pinned('', '', named('bench-1', 'bench-2'));
  assert.equal(kept, 'bench-1');
  assert.equal(pinned('', kept, named('bench-2', 'bench-1')), 'bench-1');
});

test('a rig that is away is not replaced by another', () => {
  assert.equal(shown('bench-1', named('bench-2')), null);
  assert.equal(pinned('', 'bench-1', named('bench-2')), 'bench-1');
  assert.equal(shown('bench-1', named('bench-2', 'bench-1'))?.rig, 'bench-1');
});

test('the address names the rig, whatever was kept, and keeps what else it says', () => {
  assert.equal(pinned(inAddress('?rig=bench%203'), 'bench-1', named('bench-1')), 'bench 3');
  assert.equal(inAddress(withRig('?x=1', 'bench 3')), 'bench 3');
  assert.match(withRig('?x=1&rig=a', 'b'), /^\?x=1&rig=b$/);
});
