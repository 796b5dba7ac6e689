// The views, in the order of their buttons. A further view is a line here and a file beside this one; nothing else knows
// how many there are.
import type { ComponentType } from 'preact';
import { Check } from './check.tsx';
import { Now } from './now.tsx';
import { Results } from './results.tsx';
import { RigView } from './rig.tsx';
import { Runs } from './runs.tsx';
import { Setups } from './setups.tsx';
import { TrialView } from './trial.tsx';

export interface View {
  /** First part of the address behind '#'. */
  id: string;
  title: string;
  component: ComponentType;
  /** It has no button of its own: it belongs to this one. */
  within?: string;
}

export const VIEWS: readonly View[] = [
  { id: 'now', title: 'Now', component: Now },
  { id: 'trial', title: 'Trial', component: TrialView },
  { id: 'results', title: 'Results', component: Results },
  { id: 'runs', title: 'Runs', component: Runs },
  { id: 'setups', title: 'Setups', component: Setups },
  { id: 'rig', title: 'Rig', component: RigView },
  { id: 'check', title: 'Check a tool', component: Check, within: 'results' },
];
