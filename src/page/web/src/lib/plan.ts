// A plan as it is filled in, and the document that goes to the daemon. What is no number at all is told here, in the same
// words as the daemon's, so that it shows at its field; what a plan may hold is the daemon's to say.
import { Problem } from './api.ts';
import type { Measure, Plan } from './trial.ts';

export interface PlanForm {
  name: string;
  rig: string;
  tools: string[];
  baseline: string | null;
  setups: string[];
  repeats: string;
  order: Plan['order'];
  seed: string;
  baseline_every: string;
  warm_up: 'yes' | 'no';
  measure: Measure;
  rest_s: string;
  fresh: Plan['fresh'];
  air_low_kPa: string;
  air_high_kPa: string;
  bolt: string | null;
}

/** A seed is drawn, not chosen: whoever picks it picks the order. Small enough to be read out. */
export const drawSeed = (random: () => number = Math.random): string => String(1 + Math.floor(random() * 9999));

export const emptyPlan = (rig: string, byHand: boolean): PlanForm => ({
  name: '',
  rig,
  tools: [],
  baseline: null,
  setups: [],
  repeats: '3',
  order: 'blocks',
  seed: drawSeed(),
  baseline_every: '',
  warm_up: 'yes',
  measure: byHand ? 'held' : 'gate',
  rest_s: '0',
  fresh: 'no',
  air_low_kPa: '',
  air_high_kPa: '',
  bolt: null,
});

function whole(field: string, text: string): number {
  const trimmed = text.trim();
  if (!/^\d{1,15}$/.test(trimmed)) throw new Problem(0, `${field}: expected a whole number, found '${trimmed}'`);
  return Number(trimmed);
}

function decimal(field: string, text: string): number {
  const trimmed = text.trim();
  if (!/^(\d+\.?\d*|\.\d+)$/.test(trimmed)) throw new Problem(0, `${field}: expected a number with a decimal point, found '${trimmed}'`);
  return Number(trimmed);
}

/** The document; throws a Problem at the first field that cannot be read. */
export function planDocument(form: PlanForm): Omit<Plan, 'air_kPa' | 'drawing' | 'looks' | 'remount'> & Partial<Plan> {
  if (form.baseline === null) throw new Problem(0, 'baseline: expected the setup that counts as 100 %, found none');
  const air = form.fresh !== 'no' && (form.air_low_kPa.trim() !== '' || form.air_high_kPa.trim() !== '');
  const band = air ? ([decimal('air_kPa', form.air_low_kPa), decimal('air_kPa', form.air_high_kPa)] as [number, number]) : null;
  return {
    name: form.name.trim(),
    rig: form.rig,
    tools: form.tools,
    baseline: form.baseline,
    setups: form.setups.filter((name) => name !== form.baseline),
    repeats: whole('repeats', form.repeats),
    order: form.order,
    seed: whole('seed', form.seed),
    baseline_every: form.baseline_every.trim() === '' ? null : whole('baseline_every', form.baseline_every),
    warm_up: form.warm_up === 'yes',
    measure: form.measure,
    rest_s: form.rest_s.trim() === '' ? 0 : decimal('rest_s', form.rest_s),
    fresh: form.fresh,
    ...(band ? { air_kPa: band } : {}),
    bolt: form.bolt,
  };
}

/** With a name in a list, or without it where it was there; order as chosen. */
export const toggled = (names: readonly string[], name: string): string[] =>
  names.includes(name) ? names.filter((one) => one !== name) : [...names, name];
