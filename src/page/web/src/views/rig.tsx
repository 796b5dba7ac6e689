// The rig: how it is, its zero, its calibration, its accounts; and the guide by which one more is added.
import { useSignal } from '@preact/signals';
import { useEffect } from 'preact/hooks';
import { type Answer, get, part, post, remove } from '../lib/api.ts';
import { lastRun, reading, refresh, rig } from '../lib/live.ts';
import { system } from '../lib/prefs.ts';
import { link, route } from '../lib/route.ts';
import type { Rig } from '../lib/types.ts';
import { fixed, forceText, forceUnit, withForce } from '../lib/units.ts';
import { Select, Who } from '../parts/fields.tsx';
import { useSaving } from '../parts/saving.ts';
import { Mark } from '../parts/shapes.tsx';
import { Caution, Invented, Refused, Standing, standingWords, Stored } from '../parts/words.tsx';
import { DialForm } from './dial.tsx';
import { Guide } from './guide.tsx';

const LINK_WORDS: Record<Rig['link'], string> = { up: 'open', down: 'down', 'not-served': 'not served', 'by-hand': 'a dial, read by hand' };

/** The live reading in a line; the reason where there is none. */
export const LiveLine = () => {
  const now = reading.value;
  if (now.is === 'none') return <p class="live-line none"><Mark shape="broken" />No reading: {now.detail || 'asking'}</p>;
  return (
    <p class="live-line">
      <strong class="digits">{now.kN === null ? now.counts : forceText(now.kN, system.value, true)}</strong>{' '}
      {now.kN === null ? 'counts' : `${forceUnit(system.value)}, ${now.counts} counts`}
    </p>
  );
};

export function ZeroButton({ of }: { of: Rig }) {
  const saving = useSaving();
  const zero = async (): Promise<void> => {
    await saving.save(async (by) => {
      const answer = await post(`rigs/${part(of.rig)}/zero`, { who: by });
      await refresh();
      return `Zero taken at ${withForce(answer.zero_kN, system.value)}.${answer.remark ? ` Mind: ${answer.remark}` : ''}`;
    });
  };
  return (
    <div class="sheet">
      <h2>Zero</h2>
      <p>{of.zero_kN === null ? 'No zero was taken since the rig started.' : `The zero stands at ${withForce(of.zero_kN, system.value)}.`} Bolt loose, nobody touching the rig, for two seconds.</p>
      <LiveLine />
      <Who problem={saving.problem.value} />
      <button type="button" class="primary" disabled={saving.busy.value} onClick={() => void zero()}>Take the zero</button>
      <Refused problem={saving.problem.value} />
      <Stored text={saving.stored.value} />
    </div>
  );
}

function Calibration({ of }: { of: Rig }) {
  const kept = useSignal<string[]>([]);
  const chosen = useSignal('');
  const saving = useSaving();
  useEffect(() => {
    get('calibrations').then(
      (answer) => (kept.value = answer.calibrations.map((one) => one.taken.name)),
      () => undefined,
    );
  }, []);
  const store = async (event: Event): Promise<void> => {
    event.preventDefault();
    await saving.save(async (by) => {
      const answer = await post(`rigs/${part(of.rig)}/calibrate`, { who: by, name: chosen.value });
      await refresh();
      return `In force: ${answer.calibration.id}.${answer.expired ? ' It has expired.' : ''}`;
    });
  };
  return (
    <div class="sheet">
      <h2>Calibration</h2>
      <p>{of.calibration === null ? 'None: the rig shows counts only.' : `In force: ${of.calibration}.`} {of.nominal && 'It is nominal: percent of baseline is sound, kN and torque are approximate.'}</p>
      {of.dial === null && kept.value.length > 0 && (
        <form onSubmit={(event) => void store(event)} noValidate>
          <Select label="Put another one in force" value={chosen.value} change={(value) => (chosen.value = value)} options={[{ value: '', label: 'choose' }, ...kept.value.map((name) => ({ value: name, label: name }))]} />
          <Who problem={saving.problem.value} />
          <button type="submit" disabled={saving.busy.value || chosen.value === ''}>Put in force</button>
        </form>
      )}
      <Refused problem={saving.problem.value} />
      <Stored text={saving.stored.value} />
    </div>
  );
}

function rows(of: Rig): [string, string][] {
  const sum = (of: Record<string, number>): number => Object.values(of).reduce((total, value) => total + value, 0);
  const { counters } = of;
  return [
    ['Line', `${LINK_WORDS[of.link]}${of.link_detail ? `: ${of.link_detail}` : ''}`],
    ['Port', of.port ?? 'none'],
    ['Who answers', of.identity ? `${of.identity.firmware}, ${of.identity.serial}` : 'has not told'],
    ['Rate', of.rate_hz === null ? 'not known yet' : `${fixed(of.rate_hz, 0)} samples a second`],
    ['Full range', withForce(of.range_kN, system.value)],
    ['Samples', `${counters.samples_in}, of them ${counters.samples_missing} lost on the way`],
    ['Bytes thrown away', String(sum(counters.bytes_discarded))],
    ['Samples dropped', String(sum(counters.samples_dropped))],
    ['Runs since the start', String(counters.runs)],
  ];
}

function Accounts({ of }: { of: Rig }) {
  const health = useSignal<Answer<'GET', 'status'> | null>(null);
  useEffect(() => {
    const ask = (): void => void get('status').then((answer) => (health.value = answer), () => (health.value = null));
    ask();
    const timer = setInterval(ask, 5000);
    return () => clearInterval(timer);
  }, []);
  const now = health.value;
  return (
    <section aria-labelledby="accounts">
      <h2 id="accounts">State and accounts</h2>
      <dl class="figures">
        {rows(of).map(([name, value]) => (
          <div key={name}><dt>{name}</dt><dd>{value}</dd></div>
        ))}
        <div><dt>Store</dt><dd>{now === null ? 'does not answer' : now.writer === null ? 'read only' : now.writer.failing ? `cannot be written: ${now.writer.failing}` : `${now.runs} runs, ${now.writer.waiting} rows waiting, ${now.writer.failed_commits} failed commits`}</dd></div>
        <div><dt>Program</dt><dd>{now?.version ?? '–'}</dd></div>
      </dl>
    </section>
  );
}

function RemoveRig({ of }: { of: Rig }) {
  const saving = useSaving();
  const off = async (): Promise<void> => {
    await saving.save(async (by) => {
      await remove(`rigs/${part(of.rig)}`, { who: by });
      await refresh();
      return `Rig ${of.rig} is taken away; its runs stay.`;
    });
  };
  return (
    <details class="take-off">
      <summary>Take this rig away</summary>
      <p>Its runs stay in the store. A rig of the settings file is taken away there.</p>
      <button type="button" disabled={saving.busy.value} onClick={() => void off()}>Take {of.rig} away</button>
      <Refused problem={saving.problem.value} />
    </details>
  );
}

export function RigView() {
  const shown = rig.value;
  if (route.value[1] === 'add' || !shown) return <Guide first={false} />;
  return (
    <div class="rig">
      <h1>Rig {shown.rig}</h1>
      {shown.simulated && <Invented />}
      <Standing words={standingWords(shown, lastRun.value?.flags)} />
      <div class="pair">
        {shown.dial ? <DialForm rig={shown} /> : <ZeroButton of={shown} />}
        <Calibration of={shown} />
      </div>
      <Accounts of={shown} />
      <p class="controls"><a class="button" href={link('rig', 'add')}>Add a rig</a></p>
      <RemoveRig of={shown} />
      <Caution />
    </div>
  );
}
