// What follows from a run's medians, in words: growth, stated tensions, indices. Null is said to be none, never shown as 0.
import type { RunDetail } from './types.ts';
import { fixed, force, forceUnit, withForce, type System } from './units.ts';

type Figures = Pick<RunDetail, 'growth' | 'reached' | 'held_over_limit' | 'held_over_limit_se' | 'energy_index_kN2_per_blow' | 'energy_index_se_kN2_per_blow' | 'limit_index_kN2' | 'limit_index_se_kN2' | 'step_scatter_percent' | 'step_scatter_se_percent' | 'preload_kN'>;

const NONE = 'none: the signal cannot bear it';

/** A value with its standard error. */
const within = (value: number | null, se: number | null, decimals: number, unit: string): string =>
  value === null ? NONE : `${fixed(value, decimals)} ± ${fixed(se, decimals)} ${unit}`.trimEnd();

/** Enough decimals for two digits of the standard error. */
const decimalsFor = (se: number | null): number => (se === null || !(se > 0) ? 2 : Math.max(0, 1 - Math.floor(Math.log10(se))));

function reachedText(one: Figures['reached'][number]): string {
  if (one.state === 'never-reached') return 'never reached';
  if (one.state === 'unknown') return 'not known';
  const blows = one.blows === null ? '' : `, blow ${one.blows}`;
  return `${fixed(one.after_s, 3)} s${blows}`;
}

/** The rows of a run's view; the standard error stands behind ±. */
export function fromMedians(run: Figures, system: System): [string, string][] {
  const scale = force(1, system);
  const growth = run.growth.map(({ after_s, growth_kN_per_s, growth_se_kN_per_s }): [string, string] => {
    const [value, se] = [growth_kN_per_s, growth_se_kN_per_s].map((kN) => (kN === null ? null : kN * scale));
    return [`Growth at ${after_s} s`, within(value ?? null, se ?? null, decimalsFor(se ?? null), `${forceUnit(system)}/s`)];
  });
  return [
    ['Held over plateau', within(run.held_over_limit, run.held_over_limit_se, 3, '')],
    ['Energy index', within(run.energy_index_kN2_per_blow, run.energy_index_se_kN2_per_blow, decimalsFor(run.energy_index_se_kN2_per_blow), 'kN² a blow')],
    ['Limit index', within(run.limit_index_kN2, run.limit_index_se_kN2, decimalsFor(run.limit_index_se_kN2), 'kN²')],
    ['Scatter blow to blow', within(run.step_scatter_percent, run.step_scatter_se_percent, 1, '%')],
    ...growth,
    ...run.reached.map((one): [string, string] => [`To ${withForce(one.tension_kN, system)}`, reachedText(one)]),
    ['Preload at the first blow', run.preload_kN === null ? 'not known' : withForce(run.preload_kN, system)],
  ];
}
