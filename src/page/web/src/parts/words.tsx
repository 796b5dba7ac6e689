// Sentences that stand in several places: the caution, refusals, what stands at a rig, marks of invented data.
import type { Problem } from '../lib/api.ts';
import type { Rig } from '../lib/types.ts';
import { Mark } from './shapes.tsx';

/** Stands wherever a limit, a plan or a result is shown. */
export const Caution = () => (
  <aside class="caution" aria-label="Caution">
    <Mark shape="octagon" />
    <p>
      <strong>A stretched bolt stores energy.</strong> Stay out of its line, wear eye and hearing protection, never pass the
      test bolt's allowed tension. Equivalent torque is the steady torque that would give the same tension, not what the tool
      delivers blow by blow. Results compare tools on this rig; they are no basis for tightening a real connection.
    </p>
  </aside>
);

export const Invented = () => (
  <p class="invented">
    <Mark shape="broken" />
    <span>
      <strong>Simulated rig.</strong> Every number here is invented.
    </span>
  </p>
);

/** What stands until somebody changes it. */
const STANDING: Record<string, string> = {
  'no calibration': 'No calibration: counts only',
  nominal: 'Nominal calibration: kN and torque are approximate, percent is sound',
  'no limit set': 'No limit set: nothing warns of too much tension',
  'no bolt factor': 'No bolt factor: no equivalent torque',
  'no setup': 'No setup: runs are left out of results',
  'nothing is measured': 'Nothing is measured: a part of the daemon broke off or stands still',
  'no release seen since the start': 'No release seen since the start: release the bolt, or take the zero if nothing pulls',
  'calibration expired': 'Calibration expired',
};

/** States that stand, loudest first. */
export function standingWords(rig: Rig, lastFlags: readonly string[] = []): string[] {
  const words = rig.standing.map((standing) => STANDING[standing] ?? standing);
  if (lastFlags.includes('cold')) words.unshift('Cold: the rig is not warmed up, runs are recorded and not compared');
  if (lastFlags.includes('bolt-due')) words.unshift('Test bolt due: measure its factor again');
  return words;
}

export const Standing = ({ words }: { words: string[] }) =>
  words.length === 0 ? null : (
    <ul class="standing" aria-label="Standing states">
      {words.map((one) => (
        <li key={one}>
          <Mark shape="diamond" />
          {one}
        </li>
      ))}
    </ul>
  );

/** A refusal in the daemon's words. */
export const Refused = ({ problem, id }: { problem: Problem | null; id?: string }) =>
  problem === null ? null : (
    <div class="refused" role="alert" id={id}>
      <Mark shape="cross" />
      <p>
        {problem.detail}
        {problem.hint && <span class="hint">{problem.hint}</span>}
      </p>
    </div>
  );

/** What was stored, in the daemon's answer. */
export const Stored = ({ text }: { text: string | null }) => (
  <div role="status" class="status">
    {text !== null && (
      <p class="stored">
        <Mark shape="check" />
        {text}
      </p>
    )}
  </div>
);

/** A day and a time of this device's zone. */
export const moment = (utc: string | number): string =>
  new Date(utc).toLocaleString(undefined, { dateStyle: 'short', timeStyle: 'medium' });
