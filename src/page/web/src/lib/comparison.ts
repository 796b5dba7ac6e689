// A comparison as the daemon tells it, and what a plot of it needs. Pure. All figures are the daemon's; here they get places
// and words.
import type { TrialReading as ReadingRow, TrialSetups, TrialSetupsAndPlateau } from './answers.ts';

export type { ComparisonPlanning as Planning, PieceCompared as PieceRow, SetupCompared as SetupRow, TrialPieces as PieceEffects, TrialReading as ReadingRow, TrialReadings as Readings, Verdict } from './answers.ts';
export type Comparison = TrialSetups & Partial<Pick<TrialSetupsAndPlateau, 'beside'>>;

/** Rows by tool, in the order of the answer. */
export function byTool<T extends { tool: string | null }>(rows: readonly T[]): { tool: string | null; rows: T[] }[] {
  const groups: { tool: string | null; rows: T[] }[] = [];
  for (const row of rows) {
    const group = groups.find((one) => one.tool === row.tool);
    if (group) group.rows.push(row);
    else groups.push({ tool: row.tool, rows: [row] });
  }
  return groups;
}

/** What is promised of a comparison's verdicts: nothing where the order of its runs does not bear it, however they were judged. */
export function riskWords(of: { alpha: number; arrangement: { risk_holds: boolean } }): string {
  const percent = `${Number((100 * of.alpha).toPrecision(3))} %`;
  return of.arrangement.risk_holds
    ? `Risk of a wrong verdict among a tool's setups: ${percent}.`
    : `Judged at ${percent}, but how often a verdict is wrong is not promised for this order of runs: why stands below, in words.`;
}

/** Ticks of 1, 2 or 5 times a power of ten that hold all values: at least `fewest` steps of them. */
export function ticks(low: number, high: number, fewest = 4): number[] {
  // One value alone gets some room, or there would be no scale.
  if (!(high > low)) return ticks(low, low + Math.max(1e-6, Math.abs(low) * 0.02), fewest);
  const raw = (high - low) / fewest;
  const power = 10 ** Math.floor(Math.log10(raw));
  const step = [5, 2, 1].map((times) => times * power).find((one) => one <= raw * (1 + 1e-9)) ?? power;
  const [first, last] = [Math.floor(low / step + 1e-9), Math.ceil(high / step - 1e-9)];
  return Array.from({ length: last - first + 1 }, (_, at) => Number(((first + at) * step).toPrecision(12)));
}

/** Decimals that tell neighbouring ticks apart. */
export const tickDecimals = (all: readonly number[]): number => {
  const [first, second] = all;
  if (first === undefined || second === undefined) return 0;
  return Math.max(0, -Math.floor(Math.log10(second - first) + 1e-9));
};

/** A linear place on a plot. */
export const place = (value: number, from: readonly [number, number], to: readonly [number, number]): number =>
  to[0] + ((value - from[0]) / (from[1] - from[0])) * (to[1] - to[0]);

/** A p as people write it. */
export function pText(p: number | null | undefined): string {
  if (p === null || p === undefined || !Number.isFinite(p)) return '–';
  return p < 0.001 ? '< 0.001' : p.toFixed(3);
}

/** The line that drift draws through a tool's baseline runs: ends as time and value; none without a slope or runs. */
export function driftLine(rows: readonly ReadingRow[], baseline: string, percentPerHour: number | null): [[number, number], [number, number]] | null {
  const counted = rows.filter((row) => row.excluded === null && row.value_kN !== null && row.value_kN > 0);
  const base = counted.filter((row) => row.setup === baseline);
  const [first, last] = [counted[0], counted.at(-1)];
  if (percentPerHour === null || base.length === 0 || !first || !last) return null;
  // The slope is one of ln(value), so the line goes through the baseline's mean time and mean logarithm.
  const mean = (of: (row: ReadingRow) => number): number => base.reduce((sum, row) => sum + of(row), 0) / base.length;
  const [time, log] = [mean((row) => row.time_s), mean((row) => Math.log(row.value_kN ?? 1))];
  const at = (time_s: number): [number, number] => [time_s, Math.exp(log + ((percentPerHour / 100) * (time_s - time)) / 3600)];
  return [at(first.time_s), at(last.time_s)];
}

/** Drift in words, with its sign and how sure it is. */
export function driftWords(of: Pick<Comparison, 'drift' | 'drift_percent_per_hour' | 'drift_se_percent_per_hour' | 'drift_p_value'>, fixed: (value: number, decimals: number) => string): string {
  if (of.drift === 'none') return 'No drift was taken out.';
  if (of.drift === 'bracket') return 'Drift was taken out by the baseline runs before and after each setup.';
  if (of.drift_percent_per_hour === null) return 'A straight line of drift was taken out.';
  const size = Math.abs(of.drift_percent_per_hour) >= 10 ? 0 : 2;
  const sure = of.drift_se_percent_per_hour === null ? '' : ` (standard error ${fixed(of.drift_se_percent_per_hour, size)}, p of no drift ${pText(of.drift_p_value)})`;
  return `A drift of ${fixed(of.drift_percent_per_hour, size)} % an hour was taken out${sure}.`;
}

/** The same drift from the first run to the last, percent; none without a slope. */
export function driftOverall(percentPerHour: number | null, rows: readonly ReadingRow[]): number | null {
  const [first, last] = [rows[0], rows.at(-1)];
  if (percentPerHour === null || !first || !last) return null;
  return 100 * Math.expm1(((percentPerHour / 100) * (last.time_s - first.time_s)) / 3600);
}

/** A note of the daemon without the names of its document's members, as a sentence. */
export function noteWords(note: string): string {
  const plain = note.replaceAll('low_total and high_total', 'the limits with calibration').replaceAll('low and high', 'the limits');
  return `${plain.charAt(0).toUpperCase()}${plain.slice(1)}${plain.endsWith('.') ? '' : '.'}`;
}

/** Words in lines of at most so many characters; a longer word keeps its line. */
export function lines(text: string, most: number): string[] {
  const found: string[] = [];
  for (const word of text.split(' ')) {
    const last = found.at(-1);
    if (last !== undefined && last.length + 1 + word.length <= most) found[found.length - 1] = `${last} ${word}`;
    else found.push(word);
  }
  return found;
}

/** What the checks of the residuals say, in words; an unremarkable one is said as such. */
export function checkWords(checks: Comparison['checks'], alpha: number): string[] {
  const { outlier, trend_p_value: trend, lag_1_correlation: lag } = checks;
  const words: string[] = [];
  if (outlier) words.push(outlier.p_value < alpha ? `Run ${outlier.run} stands out (p ${pText(outlier.p_value)}): look at it. It is not left out.` : 'No run stands out.');
  if (trend !== null) words.push(trend < alpha ? `A trend is left over (p ${pText(trend)}): the drift was no straight line.` : 'No trend is left over.');
  if (lag !== null) words.push(`Correlation of each run with the next: ${lag.toFixed(2).replace('-', '\u2212')}.`);
  return words;
}

/** What was asked besides: the query of the address at the daemon. */
export interface Question {
  measure: string;
  drift: string;
  difference: string;
  expected_sd: string;
}

export function questionQuery(asked: Question): string {
  const query = new URLSearchParams();
  for (const [key, value] of Object.entries(asked) as [string, string][]) if (value.trim() !== '') query.set(key, value.trim());
  return query.toString();
}

/** Letters for setups in a plot, the baseline apart: A, B … Z, then A2 and so on. */
export const letter = (at: number): string => String.fromCharCode(65 + (at % 26)) + (at < 26 ? '' : String(Math.floor(at / 26) + 1));
