// The step of the guide that makes a first, nominal calibration: from data sheets, a known slope, or the unit the board
// prints. What it makes is shown before anything is stored.
import type { Line } from '../lib/rig-document.ts';
import { slopeOf } from '../lib/rig-document.ts';
import type { Sheet } from '../lib/sheet.ts';
import { fixed } from '../lib/units.ts';
import { number, Text, Tiles } from '../parts/fields.tsx';
import type { StepProps } from './guide-steps.tsx';

const SHEET: readonly { key: keyof Sheet; label: string; unit?: string }[] = [
  { key: 'rated_kN', label: 'Rated load of the cell', unit: 'kN' },
  { key: 'rated_mV_per_V', label: 'Rated output', unit: 'mV/V' },
  { key: 'excitation_V', label: 'Excitation', unit: 'V' },
  { key: 'gain', label: 'Gain ahead of the converter' },
  { key: 'full_scale_V', label: "Input at the converter's largest code, at gain 1", unit: 'V' },
  { key: 'bits', label: 'Bits of the converter' },
];

const WAYS: readonly { value: Line; label: string; note: string }[] = [
  { value: 'sheet', label: 'Data sheets', note: 'of cell and converter' },
  { value: 'slope', label: 'Slope', note: 'kN per count is known' },
  { value: 'unit', label: 'Prints a force', note: 'in kN, N or lbf' },
  { value: 'none', label: 'None', note: 'counts only, for now' },
];

export function CalibrationStep({ draft, change, problem }: StepProps) {
  const slope = slopeOf(draft, number);
  return (
    <>
      <Tiles label="First calibration" value={draft.line} change={(line) => change({ line })} options={WAYS} hint="Until a reference has been at the rig it is nominal: percent of baseline is sound, because the gain cancels; kN are approximate." />
      {draft.line === 'sheet' &&
        SHEET.map(({ key, label, unit }) => (
          <Text key={key} label={label} unit={unit} numeric value={draft.sheet[key]} change={(value) => change({ sheet: { ...draft.sheet, [key]: value } })} hint={key === 'full_scale_V' ? 'Often half the excitation.' : undefined} />
        ))}
      {draft.line === 'slope' && <Text label="kN per count" numeric value={draft.slope} change={(value) => change({ slope: value })} says={['coefficients_kN']} problem={problem} />}
      {draft.line === 'unit' && <Tiles label="It prints" value={draft.prints} change={(prints) => change({ prints })} options={[{ value: 'kN', label: 'kN' }, { value: 'N', label: 'N' }, { value: 'lbf', label: 'lbf' }]} />}
      {slope !== null && (
        <>
          <p role="status" class="status">
            {Number.isFinite(slope.kN_per_count) && slope.kN_per_count !== 0
              ? `${slope.kN_per_count.toExponential(6)} kN per count${slope.ends_at_kN === null ? '' : `; the converter ends at ${fixed(slope.ends_at_kN, 1)} kN`}.`
              : 'These figures do not make a calibration yet.'}
          </p>
          <Text label="Name of this calibration" value={draft.lineName} change={(lineName) => change({ lineName })} says={['calibration']} problem={problem} hint={`Left open: ${draft.name} data sheet.`} />
        </>
      )}
    </>
  );
}
