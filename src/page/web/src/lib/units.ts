// Units of the page. The interface speaks kN and N·m; what is shown is converted here and nowhere else, by exact
// factors: 1 lbf = 4.4482216152605 N (0.45359237 kg × 9.80665 m/s²) and 1 ft = 0.3048 m.

export type System = 'SI' | 'US';

export const N_PER_LBF = 4.4482216152605;
export const M_PER_FT = 0.3048;
export const NM_PER_LBF_FT = N_PER_LBF * M_PER_FT;

const NOTHING = '–';

export const forceUnit = (system: System): string => (system === 'SI' ? 'kN' : 'lbf');
export const torqueUnit = (system: System): string => (system === 'SI' ? 'N·m' : 'lbf·ft');

/** A tension in kN as a number of the shown unit. */
export const force = (kN: number, system: System): number => (system === 'SI' ? kN : (kN * 1000) / N_PER_LBF);

/** A torque in N·m as a number of the shown unit. */
export const torque = (nm: number, system: System): number => (system === 'SI' ? nm : nm / NM_PER_LBF_FT);

/** A number of the shown unit as kN. */
export const toKn = (value: number, system: System): number => (system === 'SI' ? value : (value * N_PER_LBF) / 1000);

/** A number of the shown unit as N·m. */
export const toNm = (value: number, system: System): number => (system === 'SI' ? value : value * NM_PER_LBF_FT);

/** With fixed decimals, a true minus sign, and never a negative nought. */
export function fixed(value: number | null | undefined, decimals: number): string {
  if (value === null || value === undefined || !Number.isFinite(value)) return NOTHING;
  const text = value.toFixed(decimals);
  if (Number(text) === 0) return (0).toFixed(decimals);
  return text.replace('-', '\u2212');
}

/** A tension without its unit; `fine` is for tables, the other for reading at two metres. */
export function forceText(kN: number | null | undefined, system: System, fine = false): string {
  if (kN === null || kN === undefined) return NOTHING;
  return fixed(force(kN, system), system === 'SI' ? (fine ? 2 : 1) : 0);
}

export function torqueText(nm: number | null | undefined, system: System, fine = false): string {
  if (nm === null || nm === undefined) return NOTHING;
  return fixed(torque(nm, system), fine ? 1 : 0);
}

export const withForce = (kN: number | null | undefined, system: System): string =>
  kN === null || kN === undefined ? NOTHING : `${forceText(kN, system, true)} ${forceUnit(system)}`;

export const withTorque = (nm: number | null | undefined, system: System): string =>
  nm === null || nm === undefined ? NOTHING : `${torqueText(nm, system, true)} ${torqueUnit(system)}`;

/** Equivalent torque in N·m of a tension in kN; none without a bolt factor (N per N·m). */
export const equivalent = (kN: number | null, factor: number | null | undefined): number | null =>
  kN === null || !factor ? null : (kN * 1000) / factor;
