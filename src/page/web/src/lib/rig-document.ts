// A new rig as its guide gathers it, and the document with the keys of [[rig]] that is handed to the daemon. Nothing is
// checked here that the daemon checks; what is left open is left out.
import { N_PER_LBF } from './units.ts';
import { fullScaleKn, knPerCount, type Sheet } from './sheet.ts';

export type Instrument = 'lines' | 'framed' | 'typed';
export type Line = 'sheet' | 'slope' | 'unit' | 'none';

export interface Draft {
  instrument: Instrument | null;
  port: string;
  baud: string;
  rate: string;
  pattern: string;
  tick: string;
  decimals: string;
  name: string;
  range: string;
  line: Line;
  lineName: string;
  slope: string;
  prints: 'kN' | 'N' | 'lbf';
  sheet: Record<keyof Sheet, string>;
  dialUnit: string;
  dialStep: string;
  dialPsi: 'force' | 'oil-pressure' | null;
  piston: string;
}

export const DRAFT: Draft = {
  instrument: null,
  port: '',
  baud: '115200',
  rate: '',
  pattern: '{value}',
  tick: '',
  decimals: '0',
  name: 'bench-1',
  range: '',
  line: 'sheet',
  lineName: '',
  slope: '',
  prints: 'kN',
  sheet: { rated_kN: '', rated_mV_per_V: '2', excitation_V: '5', gain: '128', full_scale_V: '', bits: '24' },
  dialUnit: 'kN',
  dialStep: '',
  dialPsi: null,
  piston: '',
};

export type Read = (text: string) => number | null;

const KN_PER = { kN: 1, N: 0.001, lbf: N_PER_LBF / 1000 };

export interface Slope {
  kN_per_count: number;
  /** Where the converter ends, kN; only a data sheet tells. */
  ends_at_kN: number | null;
}

/** kN per count; null for none, NaN where the figures do not make one. */
export function slopeOf(draft: Draft, read: Read): Slope | null {
  const known = (text: string): number => read(text) ?? Number.NaN;
  switch (draft.line) {
    case 'none':
      return null;
    case 'slope':
      return { kN_per_count: known(draft.slope), ends_at_kN: null };
    case 'unit':
      return { kN_per_count: KN_PER[draft.prints] * 10 ** -(read(draft.decimals) ?? 0), ends_at_kN: null };
    case 'sheet': {
      const figures = Object.entries(draft.sheet).map(([key, text]) => [key, known(text)]);
      const sheet = Object.fromEntries(figures) as Sheet;
      const positive = [sheet.rated_kN, sheet.excitation_V, sheet.gain, sheet.full_scale_V].every((value) => value > 0);
      const usable = positive && sheet.rated_mV_per_V !== 0 && Number.isInteger(sheet.bits) && sheet.bits >= 2 && sheet.bits <= 32;
      return usable ? { kN_per_count: knPerCount(sheet), ends_at_kN: fullScaleKn(sheet) } : { kN_per_count: Number.NaN, ends_at_kN: null };
    }
  }
}

/** The dial shows oil pressure, so the piston's area is needed. */
export const showsPressure = (draft: Draft): boolean =>
  draft.dialUnit === 'bar' || draft.dialUnit === 'MPa' || (draft.dialUnit === 'psi' && draft.dialPsi === 'oil-pressure');

/** The keys of [[rig]]. `turned` gives the line the other sign, under a name of its own. */
export function rigDocument(draft: Draft, read: Read, turned = false): Record<string, unknown> {
  const document: Record<string, unknown> = { name: draft.name, instrument: draft.instrument };
  const put = (key: string, text: string): void => {
    const value = read(text);
    // What is no number goes as typed, and the daemon says what it expected.
    if (value !== null) document[key] = Number.isNaN(value) ? text : value;
  };
  put('range_kN', draft.range);
  if (draft.instrument === 'typed') {
    document['dial_unit'] = draft.dialUnit;
    put('dial_resolution', draft.dialStep);
    if (draft.dialUnit === 'psi' && draft.dialPsi) document['dial_psi'] = draft.dialPsi;
    if (showsPressure(draft)) put('piston_area_mm2', draft.piston);
    return document;
  }
  document['port'] = draft.port;
  if (draft.baud !== '115200') put('baud', draft.baud);
  put('rate_hz', draft.rate);
  if (draft.instrument === 'lines') {
    if (draft.pattern !== '{value}') document['pattern'] = draft.pattern;
    if (draft.pattern.includes('{tick}')) put('tick_hz', draft.tick);
    if ((read(draft.decimals) ?? 0) > 0) put('decimals', draft.decimals);
  }
  const slope = slopeOf(draft, read);
  if (slope !== null) {
    const id = `${draft.lineName || `${draft.name} data sheet`}${turned ? ' turned' : ''}`;
    document['calibration'] = { id, coefficients_kN: [0, turned ? -slope.kN_per_count : slope.kN_per_count], nominal: true };
  }
  return document;
}
