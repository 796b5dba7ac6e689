// What the types of answers are made of.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { answersOf } from '../../answers.ts';

test('another name of a member in the document is another type', async () => {
  const document = (name: string): unknown => ({
    paths: { '/api/v1/things/{id}': { get: { responses: { 200: { content: { 'application/json': { schema: { $ref: '#/components/schemas/Thing' } } } } } } } },
    components: { schemas: { Thing: { type: 'object', additionalProperties: false, required: [name], properties: { [name]: { type: 'number', description: 'Kilonewtons.' } } } } },
  });
  const one = await answersOf(document('held_kN'));
  assert.match(one, /'GET things\/\{id\}': Thing;/);
  assert.match(one, /Kilonewtons\.[\s\S]*held_kN: number;/);
  assert.notEqual(one, await answersOf(document('peak_kN')));
});
