// What the daemon says its answers are, against what the page takes them for: the types of the page must be a part of those
// that follow from the daemon's own document (OpenAPI 3.1), as the TypeScript compiler sees it.
import assert from 'node:assert/strict';
import { execFile } from 'node:child_process';
import { mkdirSync, writeFileSync } from 'node:fs';
import { join, relative } from 'node:path';
import { test } from 'node:test';
import { promisify } from 'node:util';
import { compile, type JSONSchema } from 'json-schema-to-typescript';
import { Bench, REPOSITORY, WEB } from './bench.ts';

/** Operation, the page's type of its answer, the file of that type in src/lib; `[]` and members by dots as in TypeScript. */
const TAKEN: readonly [operation: string, type: string, file: string][] = [
  ['get /rigs', '{ rigs: Rig[] }', 'types'],
  ['get /ports', '{ ports: PortState[] }', 'types'],
  ['post /ports/hear', 'Heard', 'types'],
  ['post /rigs/{rig}/use', '{ in_force: InForce }', 'types'],
  ['get /runs', '{ runs: RunLine[]; next: number | null }', 'types'],
  ['get /runs/{id}', 'RunDetail', 'types'],
  ['get /runs/{id}/trace', 'Trace', 'types'],
  ['get /trials', '{ trials: TrialLine[] }', 'trial'],
  ['get /trials/{name}', 'Trial', 'trial'],
  ['post /trials/{name}/ready', 'Trial', 'trial'],
  ['post /trials/{name}/say', 'Trial', 'trial'],
  ['get /trials/{name}/readings', 'Readings', 'comparison'],
  ['get /trials/{name}/comparison', 'Comparison | PieceEffects', 'comparison'],
  ['get /tools/{tool}/acceptance', 'Acceptance', 'judging'],
  ['get /tools/{tool}/history', 'ToolHistory', 'judging'],
  ['get /limits', '{ limits: ClassLimit[] }', 'judging'],
  ['get /session', 'Session', 'session'],
];

interface Described {
  paths: Record<string, Record<string, { responses: Record<string, { content?: Record<string, { schema: JSONSchema }> }> }>>;
  components: { schemas: Record<string, Members> };
}

/** Documents that are asked and answered alike: what may be left out of a question always stands in an answer. */
const ALIKE = ['Plan', 'SourceState', 'InForce'];

interface Members {
  properties?: Record<string, unknown>;
  required?: string[];
  oneOf?: Members[];
}

function whole(of: Members | undefined): void {
  if (of?.properties) of.required = Object.keys(of.properties);
  of?.oneOf?.forEach(whole);
}

/** Arrays of a fixed length, as the compiler of types knows them (JSON Schema draft 7). */
const olderTuples = (_: string, value: unknown): unknown => {
  const { prefixItems, ...rest } = (value ?? {}) as { prefixItems?: unknown[] };
  if (!Array.isArray(prefixItems)) return value;
  return { ...rest, items: prefixItems, minItems: prefixItems.length, maxItems: prefixItems.length, additionalItems: false };
};

/** The schema of what an operation answers. */
function answerOf(described: Described, operation: string): JSONSchema {
  const [method = '', path = ''] = operation.split(' ');
  const found = described.paths[`/api/v1${path}`]?.[method]?.responses['200']?.content?.['application/json']?.schema;
  assert.ok(found, `the document has an answer of ${operation}`);
  return found;
}

/** Modules whose names the type `type` uses. */
const imports = (): string => {
  const files = [...new Set(TAKEN.map(([, , file]) => file))];
  const lib = relative(join(REPOSITORY, 'target/page-types'), join(WEB, 'src/lib'));
  return files.map((file) => `import type * as ${file} from '${lib}/${file}.ts';`).join('\n');
};

/** Names of the page's types with the module that they are in. */
const inModule = (type: string, file: string): string => type.replace(/\b[A-Z]\w*/g, (name) => `${file}.${name}`);

test('what the daemon says it answers is what the page takes', async () => {
  const bench = await Bench.start({ scenario: null });
  let described: Described;
  try {
    described = JSON.parse(JSON.stringify(await bench.get('openapi.json')), olderTuples) as Described;
  } finally {
    await bench.end();
  }
  for (const name of ALIKE) whole(described.components.schemas[name]);
  const properties = Object.fromEntries(TAKEN.map(([operation]) => [operation, answerOf(described, operation)]));
  const all = { title: 'Answers', type: 'object', additionalProperties: false, required: Object.keys(properties), properties, components: described.components } as unknown as JSONSchema;
  const folder = join(REPOSITORY, 'target/page-types');
  mkdirSync(folder, { recursive: true });
  writeFileSync(join(folder, 'answers.ts'), await compile(all, 'Answers', { format: false, bannerComment: '', declareExternallyReferenced: true }));
  const lines = TAKEN.map(([operation, type, file], at) => `export const taken${at}: ${inModule(type, file)} = answers['${operation}'];`);
  writeFileSync(join(folder, 'taken.ts'), [imports(), "import type { Answers } from './answers.ts';", 'declare const answers: Answers;', ...lines, ''].join('\n'));
  const extending = relative(folder, join(WEB, 'tsconfig.json'));
  writeFileSync(join(folder, 'tsconfig.json'), JSON.stringify({ extends: extending, include: ['taken.ts'], compilerOptions: { noEmit: true, types: [] } }));
  const said = await promisify(execFile)(join(WEB, 'node_modules/.bin/tsc'), ['-p', folder]).then(({ stdout }) => stdout, (error: { stdout: string }) => error.stdout);
  assert.ok(said === '', said);
});
