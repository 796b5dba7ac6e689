// The last run of a trial beside its baseline so far, so that a slip is seen while the socket is still on the nut.
import { useSignal } from '@preact/signals';
import { useEffect } from 'preact/hooks';
import { get, part } from '../lib/api.ts';
import type { Readings } from '../lib/comparison.ts';
import { soFar } from '../lib/so-far.ts';
import { trial } from '../lib/trials.ts';
import { fixed } from '../lib/units.ts';

export function SoFar({ run }: { run: number }) {
  const readings = useSignal<Readings | null>(null);
  const name = trial.value?.trial ?? null;
  useEffect(() => {
    if (name === null) return;
    get(`trials/${part(name)}/readings`).then(
      (found) => (readings.value = found),
      () => (readings.value = null),
    );
  }, [name, run, trial.value?.steps_done]);
  const found = name !== null && readings.value ? soFar(readings.value.rows, readings.value.baseline, run) : null;
  if (found === null || readings.value === null) return null;
  return (
    <p class="so-far">
      <strong>{fixed(found.percent, 1)} %</strong> of {readings.value.baseline} so far ({found.runs} {found.runs === 1 ? 'run' : 'runs'} of it; drift is not taken out).
    </p>
  );
}
