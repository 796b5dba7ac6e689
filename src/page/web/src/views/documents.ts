// The documents of the shelf as sheets: which fields a kind has, in which words the daemon refuses each, how the typed
// values become a document, and how a stored one is told in a line. Ranges are the daemon's business.
import { Problem } from '../lib/api.ts';
import { DRIVES, KIND_WORDS } from '../lib/fit.ts';
import { system } from '../lib/prefs.ts';
import type { ShelfKind } from '../lib/shelf.ts';
import type { Piece, PieceKind, Source, TestBolt, Tool, Uses } from '../lib/types.ts';
import { forceUnit, toKn, withForce } from '../lib/units.ts';

export type Values = Record<string, string>;

export interface Field {
  key: string;
  label: string;
  says: readonly string[];
  hint?: string;
  numeric?: boolean;
  unit?: string;
  required?: boolean;
  options?: readonly { value: string; label: string; note?: string }[];
  when?: (values: Values) => boolean;
}

type Read = (text: string) => number | null;

export interface Kind {
  title: string;
  add: string;
  start: Values;
  readonly fields: Field[];
  document(values: Values, read: Read): Record<string, unknown>;
  describe(stored: never): string;
}

const text = (value: string | undefined): string | null => (value?.trim() ? value.trim() : null);
/** NaN cannot travel as JSON, and as text the daemon could not tell which field it stood in. */
const figure = (key: string, value: string | undefined, read: Read): number | null => {
  const found = read(value ?? '');
  if (found !== null && Number.isNaN(found)) throw new Problem(0, `${key}: expected a number with a decimal point, found '${value}'`);
  return found;
};
const drives = DRIVES.map((drive) => ({ value: drive, label: drive }));
const uses = (of: Uses | undefined): string => (of && of.runs > 0 ? `, ${of.runs} runs` : '');
const marked = (serial: string | null): string => (serial ? `, marked ${serial}` : '');

const pieces: Kind = {
  title: 'Pieces',
  add: 'One more piece',
  start: { kind: 'extension' },
  fields: [
    { key: 'name', label: 'Name', says: ['piece name', 'the same name'], required: true, hint: 'One physical thing, one name: wear is its own.' },
    { key: 'kind', label: 'What it is', says: ['kind'], options: (Object.keys(KIND_WORDS) as PieceKind[]).map((kind) => ({ value: kind, label: KIND_WORDS[kind] })) },
    { key: 'drive_in', label: 'Drive towards the tool', says: ['drive_in'], options: drives },
    { key: 'drive_out', label: 'Drive towards the nut', says: ['drive out', 'drive_out'], options: drives, when: (values) => values['kind'] !== 'socket' },
    { key: 'length_mm', label: 'Length', unit: 'mm', numeric: true, says: ['length_mm'] },
    { key: 'mass_g', label: 'Mass', unit: 'g', numeric: true, says: ['mass_g'] },
    { key: 'serial', label: 'Mark or serial number', says: ['serial'] },
  ],
  document: (values, read) => ({
    name: values['name'] ?? '',
    kind: values['kind'],
    drive_in: values['drive_in'] ?? '',
    drive_out: values['kind'] === 'socket' ? null : text(values['drive_out']),
    length_mm: figure('length_mm', values['length_mm'], read),
    mass_g: figure('mass_g', values['mass_g'], read),
    serial: text(values['serial']),
  }),
  describe: (piece: Piece) =>
    `${KIND_WORDS[piece.kind]} ${piece.name}, ${piece.drive_in}${piece.drive_out ? ` to ${piece.drive_out}` : ''}${piece.length_mm === null ? '' : `, ${piece.length_mm} mm`}${piece.mass_g === null ? '' : `, ${piece.mass_g} g`}${marked(piece.serial)}${uses(piece.uses)}`,
};

const tools: Kind = {
  title: 'Tools',
  add: 'One more tool',
  start: { source: 'battery' },
  fields: [
    { key: 'name', label: 'Name', says: ['tool name', 'the same name'], required: true },
    { key: 'anvil', label: 'Anvil or chuck', says: ['anvil', 'drive size'], options: drives },
    { key: 'source', label: 'Driven by', says: ['source'], options: [{ value: 'battery', label: 'Battery' }, { value: 'air', label: 'Air' }, { value: 'mains', label: 'Mains' }] },
    { key: 'serial', label: 'Serial number', says: ['serial'] },
    { key: 'class', label: 'Class, in your words', says: ['class'], hint: 'Tools of one class are compared with each other.' },
  ],
  document: (values) => ({ name: values['name'] ?? '', anvil: values['anvil'] ?? '', source: values['source'], serial: text(values['serial']), class: text(values['class']) }),
  describe: (tool: Tool) => `${tool.name}, ${tool.anvil}, ${tool.source}${marked(tool.serial)}${uses(tool.uses)}`,
};

const sources: Kind = {
  title: 'Sources',
  add: 'One more source',
  start: { kind: 'battery' },
  fields: [
    { key: 'name', label: 'Name', says: ['source name', 'the same name'], required: true },
    { key: 'kind', label: 'What it is', says: ['kind'], options: [{ value: 'battery', label: 'Battery' }, { value: 'air', label: 'Air' }, { value: 'mains', label: 'Mains' }] },
    { key: 'serial', label: 'Mark or serial number', says: ['serial'] },
  ],
  document: (values) => ({ name: values['name'] ?? '', kind: values['kind'], serial: text(values['serial']) }),
  describe: (source: Source) => `${source.name}, ${source.kind}${marked(source.serial)}${uses(source.uses)}`,
};

/** A factor as typed, in the unit that is shown; the daemon keeps the unit it was given in. */
function factor(values: Values, read: Read): Record<string, unknown> | null {
  if (values['given'] === 'none') return null;
  const value = figure('bolt factor', values['factor'], read);
  if (value === null) return null;
  if (values['given'] === 'nut-factor') return { given: 'nut-factor', nut_factor: value };
  return system.value === 'SI' ? { given: 'ratio', factor_N_per_Nm: value } : { given: 'ratio-lbf', factor_lbf_per_lbf_ft: value };
}

const bolts: Kind = {
  title: 'Test bolts',
  add: 'One more test bolt',
  start: { given: 'nut-factor' },
  get fields(): Field[] {
    const force = forceUnit(system.value);
    return [
      { key: 'name', label: 'Name', says: ['bolt name', 'the same name'], required: true },
      { key: 'thread', label: 'Thread as marked', says: ['thread'], hint: 'Such as M20x2.5.', required: true },
      { key: 'diameter_mm', label: 'Nominal diameter', unit: 'mm', numeric: true, says: ['diameter_mm'], required: true },
      { key: 'allowed', label: 'Allowed tension', unit: force, numeric: true, says: ['allowed_kN'], hint: 'Never to be passed. Without it nothing can warn: "no limit set" stands until it is given.' },
      { key: 'given', label: 'Bolt factor', says: [], options: [{ value: 'nut-factor', label: 'by nut factor K' }, { value: 'ratio', label: system.value === 'SI' ? 'as N per N·m' : 'as lbf per lbf·ft' }, { value: 'none', label: 'not known' }], hint: 'Without it there is no equivalent torque.' },
      { key: 'factor', label: 'Value of the factor', numeric: true, says: ['bolt factor', 'nut_factor', 'factor_'], when: (values) => values['given'] !== 'none' },
      { key: 'lubricant', label: 'Lubricant', says: ['lubricant'] },
    ];
  },
  document: (values, read) => {
    const allowed = figure('allowed_kN', values['allowed'], read);
    return {
      name: values['name'] ?? '',
      thread: values['thread'] ?? '',
      diameter_mm: figure('diameter_mm', values['diameter_mm'], read),
      allowed_kN: allowed === null ? null : toKn(allowed, system.value),
      factor: factor(values, read),
      lubricant: text(values['lubricant']),
    };
  },
  describe: (bolt: TestBolt) =>
    `${bolt.name}, ${bolt.thread}, ${bolt.allowed_kN === null ? 'no limit set' : `allowed ${withForce(bolt.allowed_kN, system.value)}`}, ${bolt.factor === null ? 'no bolt factor' : `bolt factor by ${bolt.factor.given.replace('-', ' ')}`}${uses(bolt.uses)}${bolt.uses?.tightenings === undefined ? '' : `, ${bolt.uses.tightenings} tightenings`}`,
};

export const KINDS: Record<Exclude<ShelfKind, 'setups'>, Kind> = { pieces, tools, sources, bolts };
