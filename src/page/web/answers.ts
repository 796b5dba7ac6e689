// Makes the types of the daemon's answers, src/lib/answers.ts, of the daemon's own document (OpenAPI 3.1). `cargo xtask openapi`
// runs it; a test holds what it wrote against the document of the real program.
import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { compile, type JSONSchema } from 'json-schema-to-typescript';

/** Where the types lie. */
export const FILE = join(import.meta.dirname, 'src/lib/answers.ts');
const ROOT = '/api/v1/';
const HEAD = `// Made by \`cargo xtask openapi\` of the daemon's document; a change by hand is lost and fails a test.
/** What each path answers, by method and path. */`;

interface Schema {
  title?: string;
  properties?: Record<string, unknown>;
  required?: string[];
  oneOf?: Schema[];
}

interface Operation {
  responses: Record<string, { content?: Record<string, { schema?: Schema }> }>;
}

export interface Described {
  paths: Record<string, Record<string, Operation>>;
  components: { schemas: Record<string, Schema> };
}

/** Documents that are asked and answered alike: what may be left out of a question always stands in an answer. */
const ALIKE = ['Plan', 'SourceState', 'InForce'];

function whole(of: Schema | undefined): void {
  if (of?.properties) of.required = Object.keys(of.properties);
  of?.oneOf?.forEach(whole);
}

/** As the compiler of types knows it (JSON Schema draft 7): arrays of a fixed length; a reference has nothing beside it, or it
 *  would become a type of its own. */
const older = (_: string, value: unknown): unknown => {
  const { prefixItems, $ref, ...rest } = (value ?? {}) as { prefixItems?: unknown[]; $ref?: unknown };
  if (typeof $ref === 'string') return { $ref };
  if (!Array.isArray(prefixItems)) return value;
  return { ...rest, items: prefixItems, minItems: prefixItems.length, maxItems: prefixItems.length, additionalItems: false };
};

/** The schemas of all answers in JSON, by method and path. */
function answers(described: Described): Record<string, Schema> {
  const found: Record<string, Schema> = {};
  for (const [path, operations] of Object.entries(described.paths)) {
    for (const [method, { responses }] of Object.entries(operations)) {
      const schemas = ['200', '201'].flatMap((status) => responses[status]?.content?.['application/json']?.schema ?? []);
      const [only] = schemas;
      if (only) found[`${method.toUpperCase()} ${path.replace(ROOT, '')}`] = schemas.length === 1 ? only : { oneOf: schemas };
    }
  }
  return found;
}

/** The types that follow from a document. */
export async function answersOf(document: unknown): Promise<string> {
  const described = JSON.parse(JSON.stringify(document), older) as Described;
  for (const name of ALIKE) whole(described.components.schemas[name]);
  for (const [name, schema] of Object.entries(described.components.schemas)) schema.title = name;
  const properties = answers(described);
  const all = { title: 'Answers', type: 'object', additionalProperties: false, required: Object.keys(properties), properties, components: described.components };
  return compile(all as unknown as JSONSchema, 'Answers', { bannerComment: HEAD, declareExternallyReferenced: true, style: { printWidth: 130, singleQuote: true } });
}

const [, self, from] = process.argv;
if (self === import.meta.filename) {
  if (!from) throw new Error('expected the file of a document, found none');
  writeFileSync(FILE, await answersOf(JSON.parse(readFileSync(from, 'utf8'))));
}
