// A run in short: what counts of its figures, and its flags in words.
import { FLAGS, flagWords } from '../lib/flags.ts';
import { system } from '../lib/prefs.ts';
import { link } from '../lib/route.ts';
import type { RunDetail, RunLine } from '../lib/types.ts';
import { withForce, withTorque } from '../lib/units.ts';
import { Mark } from './shapes.tsx';

/** Whether it counts, and why not. */
export const Counts = ({ run }: { run: RunLine }) =>
  run.excluded ? (
    <p class="counts out">
      <Mark shape="cross" />
      <span><strong>Left out of results.</strong> {leftOut(run)}</span>
    </p>
  ) : (
    <p class="counts in">
      <Mark shape="check" />
      <span><strong>Counts.</strong></span>
    </p>
  );

/** Reasons as sentences: flags in their words, a person's reason as it was given. */
export const leftOut = (run: RunLine): string =>
  run.left_out_because.map((why) => (FLAGS[why] ? flagWords(why) : why)).join('; ');

export const Flags = ({ flags }: { flags: readonly string[] }) =>
  flags.length === 0 ? (
    <p>No flags.</p>
  ) : (
    <ul class="flags">
      {flags.map((flag) => (
        <li key={flag}>
          <strong>{flag}</strong>: {flagWords(flag)}
        </li>
      ))}
    </ul>
  );

export function RunSummary({ run }: { run: RunDetail }) {
  const units = system.value;
  return (
    <div class="run-summary">
      <p class="run-head">
        <strong>Run {run.id}</strong> {run.tool ?? 'no tool'}, {run.setup ?? 'no setup'}
      </p>
      <Counts run={run} />
      <dl class="figures">
        {run.gates.map((gate) => (
          <div key={gate.after_s}>
            <dt>Gate {gate.after_s} s</dt>
            <dd>{gate.tension_kN === null ? 'stopped before' : withForce(gate.tension_kN, units)}</dd>
          </div>
        ))}
        <div>
          <dt>Held</dt>
          <dd>{withForce(run.held_kN, units)}</dd>
        </div>
        <div>
          <dt>Equivalent torque, held</dt>
          <dd>{withTorque(run.equivalent_torque_Nm, units)}</dd>
        </div>
      </dl>
      <Flags flags={run.flags} />
      <a class="button" href={link('runs', run.id)}>Look at run {run.id}</a>
    </div>
  );
}
