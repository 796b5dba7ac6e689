// The answers of requests, as the TypeScript compiler sees them: it refuses this file where a path as it is asked for does not get the
// answer of the document, or where a mistake is no longer one.
import type { CalibrationList, Run, RunList, Thinned, Trial, TrialOrder } from '../src/lib/answers.ts';
import { type Answer, get } from '../src/lib/api.ts';

type Same<A, B> = (<T>() => T extends A ? 1 : 2) extends <T>() => T extends B ? 1 : 2 ? true : false;
type True<T extends true> = T;

export type Checked = [
  True<Same<Answer<'GET', 'calibrations'>, CalibrationList>>,
  True<Same<Answer<'GET', `runs?${string}`>, RunList>>,
  True<Same<Answer<'GET', `runs/${number}`>, Run>>,
  True<Same<Answer<'GET', `runs/${string}/trace?points=${number}`>, Thinned>>,
  True<Same<Answer<'POST', `trials/${string}/${'ready' | 'say'}`>, Trial>>,
  True<Same<Answer<'POST', 'trials'>, TrialOrder | Trial>>,
  True<Same<Answer<'GET', 'calibration'>, never>>,
  True<Same<Answer<'PUT', 'calibrations'>, never>>,
  True<Same<Answer<'GET', string>, never>>,
];

export const mistakes = (): unknown => [
  // @ts-expect-error: there is no such path.
  get('calibration'),
  // @ts-expect-error: the name of a calibration stands elsewhere in its answer.
  get('calibrations').then((answer) => answer.calibrations.map((one) => one.name)),
];
