// One run: its trace, figures, flags, what was coupled, and what people said of it since. A correction is a new row in the
// store, with who and why; nothing is overwritten.
import { useSignal } from '@preact/signals';
import { useEffect } from 'preact/hooks';
import { asProblem, get, part, post, type Problem } from '../lib/api.ts';
import { runNews } from '../lib/live.ts';
import { system } from '../lib/prefs.ts';
import { link } from '../lib/route.ts';
import { piecesOf, refreshShelf, shelf } from '../lib/shelf.ts';
import type { RunDetail } from '../lib/types.ts';
import { fixed, withForce, withTorque } from '../lib/units.ts';
import { fromMedians } from '../lib/run-figures.ts';
import { Chain } from '../parts/chain.tsx';
import { Select, Text, Tiles, Who } from '../parts/fields.tsx';
import { Counts, Flags } from '../parts/run-summary.tsx';
import { RunTrace } from '../parts/run-trace.tsx';
import { useSaving } from '../parts/saving.ts';
import { Caution, Invented, moment, Refused, Stored } from '../parts/words.tsx';

function figures(run: RunDetail): [string, string][] {
  const units = system.value;
  const rows: [string, string][] = [];
  for (const gate of run.gates) {
    rows.push([`Gate ${gate.after_s} s`, gate.tension_kN === null ? 'the tool stopped before' : withForce(gate.tension_kN, units)]);
    rows.push([`Equivalent torque at ${gate.after_s} s`, withTorque(gate.torque_Nm, units)]);
  }
  rows.push(['Held', withForce(run.held_kN, units)], ['Equivalent torque, held', withTorque(run.equivalent_torque_Nm, units)]);
  rows.push([run.peak_is_lower_bound ? 'Peak, at least' : 'Peak', withForce(run.peak_kN, units)]);
  if (run.reading) return [...rows, ['Read from the dial', `${run.reading.value} ${run.reading.unit}, ${run.reading.of}`], ['Entered by', run.entered_by ?? '–']];
  const form = run.plateau_form === null ? '' : ` (${run.plateau_form} form)`;
  rows.push([`Plateau, fitted${form}`, withForce(run.plateau_kN, units)], ['Time constant', `${fixed(run.time_constant_s, 3)} s`]);
  rows.push(...fromMedians(run, units));
  rows.push(['Drive time', `${fixed(run.drive_time_s, 2)} s`], ['Blows', run.blows === null ? 'not to be seen at this rate' : `${run.blows}, ${fixed(run.blow_rate_hz, 1)} a second`]);
  rows.push(['Zero moved by', withForce(run.zero_shift_kN, units)], ['Noise', withForce(run.noise_kN, units)], ['Calibration', run.calibration ?? 'none']);
  return rows;
}

const REASONS = ['trigger let go too early', 'socket slipped off the nut', 'wrong setup was named', 'somebody touched the rig'];

function Corrections({ run, changed }: { run: RunDetail; changed: () => Promise<void> }) {
  const what = useSignal<'exclude' | 'restore' | 'tag'>(run.excluded ? 'restore' : 'exclude');
  const why = useSignal('');
  const setup = useSignal('');
  const tool = useSignal('');
  const saving = useSaving();

  const store = async (event: Event): Promise<void> => {
    event.preventDefault();
    const done = await saving.save(async (by) => {
      const tags = what.value === 'tag' ? { setup: setup.value || null, tool: tool.value || null } : {};
      const answer = await post(`runs/${run.id}/${what.value}`, { who: by, why: why.value, ...tags });
      const now = answer.run;
      return `Stored. Run ${now.id} ${now.excluded ? 'is left out of results' : 'counts'}; setup ${now.setup ?? 'none'}, tool ${now.tool ?? 'none'}.`;
    });
    if (!done) return;
    why.value = '';
    await changed();
  };
  const names = (of: { name: string }[]) => [{ value: '', label: 'as it is' }, ...of.map(({ name }) => ({ value: name, label: name }))];
  return (
    <form class="sheet" onSubmit={(event) => void store(event)} noValidate>
      <h2>Correct this run</h2>
      <Tiles label="What" value={what.value} change={(value) => (what.value = value)} options={[{ value: 'exclude', label: 'Leave out' }, { value: 'restore', label: 'Take back in' }, { value: 'tag', label: 'Other setup or tool' }]} />
      {what.value === 'tag' && (
        <>
          <Select label="Setup" value={setup.value} change={(value) => (setup.value = value)} options={names(shelf.value.setups)} says={['setup']} problem={saving.problem.value} />
          <Select label="Tool" value={tool.value} change={(value) => (tool.value = value)} options={names(shelf.value.tools)} says={['tool']} problem={saving.problem.value} />
        </>
      )}
      <Text label="Why" value={why.value} change={(value) => (why.value = value)} says={['why:']} problem={saving.problem.value} required />
      <div class="suggestions">
        {REASONS.map((reason) => (
          <button type="button" key={reason} onClick={() => (why.value = reason)}>{reason}</button>
        ))}
      </div>
      <Who problem={saving.problem.value} />
      <button type="submit" class="primary" disabled={saving.busy.value}>Store the correction</button>
      <Refused problem={saving.problem.value} />
      <Stored text={saving.stored.value} />
    </form>
  );
}

const SAID: Record<string, string> = { exclude: 'left out', restore: 'taken back in', tag: 'tagged anew' };

const History = ({ run }: { run: RunDetail }) =>
  run.corrections.length === 0 ? null : (
    <section aria-labelledby="said">
      <h2 id="said">What was said of it</h2>
      <ol class="history">
        {run.corrections.map((row) => (
          <li key={row.utc_ns}>
            <strong>{SAID[row.kind] ?? row.kind}</strong> by {row.who}: {row.why}
            {row.kind === 'tag' && ` (setup ${row.setup ?? 'as it was'}, tool ${row.tool ?? 'as it was'})`}, {moment(row.utc_ns / 1e6)}
          </li>
        ))}
      </ol>
    </section>
  );

export function RunView({ id }: { id: number }) {
  const run = useSignal<RunDetail | null>(null);
  const problem = useSignal<Problem | null>(null);
  const ask = async (): Promise<void> => {
    try {
      run.value = await get(`runs/${part(String(id))}`);
    } catch (error) {
      problem.value = asProblem(error);
    }
  };
  useEffect(() => void refreshShelf(), []);
  useEffect(() => void ask(), [id, runNews.value]);
  const shown = run.value;
  return (
    <div class="run">
      <a class="button back" href={link('runs')}>All runs</a>
      <h1>Run {id}</h1>
      <Refused problem={problem.value} />
      {shown && (
        <>
          <p>{moment(shown.utc)}, rig {shown.rig}, tool {shown.tool ?? 'none'}, setup {shown.setup ?? 'none'}, test bolt {shown.bolt ?? 'none'}</p>
          {shown.simulated && <Invented />}
          <Counts run={shown} />
          {shown.reading === null && <RunTrace run={shown} />}
          <div class="pair">
            <section aria-labelledby="figures">
              <h2 id="figures">Figures</h2>
              <dl class="figures">
                {figures(shown).map(([name, value]) => (
                  <div key={name}><dt>{name}</dt><dd>{value}</dd></div>
                ))}
              </dl>
            </section>
            <section aria-labelledby="flags">
              <h2 id="flags">Flags</h2>
              <Flags flags={shown.flags} />
              <h2>Coupled</h2>
              <Chain tool={shown.tool} pieces={piecesOf(shown.setup)} />
            </section>
          </div>
          <History run={shown} />
          <Corrections run={shown} changed={ask} />
        </>
      )}
      <Caution />
    </div>
  );
}
