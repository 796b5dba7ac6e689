// What the feed takes for late, and for a sign of life.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { BEHIND_MS, Delay, readText } from '../../src/lib/feed.ts';

test('a message is behind by what it took more than the quickest, whatever the clocks', () => {
  const delay = new Delay();
  // The clock here stands an hour before the daemon's.
  assert.equal(delay.behind(3_600_000, 40), 0);
  assert.equal(delay.behind(3_601_000, 1_030), 0, 'quicker still');
  assert.equal(delay.behind(3_602_000, 2_090), 60);
  assert.ok(delay.behind(3_603_000, 8_000) > BEHIND_MS);
});

test('a sign of life is no message', () => {
  assert.equal(readText('{"news":"alive"}'), null);
  assert.equal(readText('{"news":"trial","rig":"a","utc_ns":1,"trial":"t"}')?.news, 'trial');
});
