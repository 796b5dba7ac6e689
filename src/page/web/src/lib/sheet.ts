// A nominal calibration from the data sheets of cell and converter, by the rule of src/analysis/metrology/nominal.rs.

/** Figures of the data sheets; all above 0, but the rated output, which may be negative. */
export interface Sheet {
  rated_kN: number;
  rated_mV_per_V: number;
  excitation_V: number;
  gain: number;
  full_scale_V: number;
  bits: number;
}

/** kN per count: rated load / (rated output × counts per mV/V). */
export function knPerCount(sheet: Sheet): number {
  const largest = 2 ** (sheet.bits - 1);
  const countsPerMvPerV = (largest * sheet.excitation_V) / (sheet.full_scale_V / sheet.gain) / 1000;
  return sheet.rated_kN / (sheet.rated_mV_per_V * countsPerMvPerV);
}

/** The largest load the converter can show, kN. */
export const fullScaleKn = (sheet: Sheet): number => Math.abs(knPerCount(sheet)) * 2 ** (sheet.bits - 1);
