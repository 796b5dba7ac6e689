// Steps of the guide: the port, what is heard at it, and a dial.
import { useSignal } from '@preact/signals';
import { useEffect } from 'preact/hooks';
import { asProblem, get, post, type Problem } from '../lib/api.ts';
import { type Draft, showsPressure } from '../lib/rig-document.ts';
import type { Heard, PortState } from '../lib/types.ts';
import { Text, Tiles } from '../parts/fields.tsx';
import { Refused } from '../parts/words.tsx';

export interface StepProps {
  draft: Draft;
  change: (to: Partial<Draft>) => void;
  problem: Problem | null;
}

export function PortStep({ draft, change, problem }: StepProps) {
  const ports = useSignal<PortState[] | null>(null);
  const look = (): void => void get('ports').then((answer) => (ports.value = answer.ports), () => (ports.value = []));
  useEffect(look, []);
  const remark = (port: PortState): string | undefined => (port.rig ? `taken by rig ${port.rig}` : (port.not_allowed ?? port.device ?? undefined));
  return (
    <>
      <Tiles label="At which port?" value={draft.port} change={(port) => change({ port })} options={(ports.value ?? []).map((port) => ({ value: port.path, label: port.path, note: remark(port) }))} hint={ports.value?.length === 0 ? 'No port was found.' : undefined} />
      <button type="button" onClick={look}>Look for ports again</button>
      <Text label="Or type its path" value={draft.port} change={(port) => change({ port })} says={['port']} problem={problem} />
    </>
  );
}

function taken(draft: Draft, heard: Heard): Partial<Draft> {
  if (draft.instrument === 'framed') {
    // Blows are seen from 1,000 samples a second on; more costs disk and tells little more.
    const enough = heard.rates_hz.filter((rate) => rate >= 1000);
    const usual = enough.length > 0 ? Math.min(...enough) : Math.max(0, ...heard.rates_hz);
    return usual > 0 ? { rate: String(usual) } : {};
  }
  const guess = heard.guess;
  if (!guess?.pattern) return {};
  return { pattern: guess.pattern, decimals: String(guess.decimals), tick: guess.tick_hz === null ? '' : String(guess.tick_hz), rate: guess.rate_hz === null ? '' : String(guess.rate_hz) };
}

export function ListenStep({ draft, change, problem }: StepProps) {
  const heard = useSignal<Heard | null>(null);
  const busy = useSignal(false);
  const refused = useSignal<Problem | null>(null);
  const framed = draft.instrument === 'framed';
  const listen = async (): Promise<void> => {
    busy.value = true;
    refused.value = null;
    try {
      heard.value = await post('ports/hear', { port: draft.port, baud: Number(draft.baud), framed, for_s: 3 });
      change(taken(draft, heard.value));
    } catch (error) {
      refused.value = asProblem(error);
    } finally {
      busy.value = false;
    }
  };
  const found = heard.value;
  return (
    <fieldset class="field">
      <legend>What talks there?</legend>
      <Text label="Bits a second" numeric value={draft.baud} change={(baud) => change({ baud })} says={['baud']} problem={refused.value ?? problem} />
      <button type="button" disabled={busy.value} onClick={() => void listen()}>{busy.value ? 'Listening for 3 s …' : 'Listen at the port'}</button>
      <Refused problem={refused.value} />
      <div role="status" class="status">
        {found && (
          <div class="heard">
            <p>{found.device ?? `${found.bytes} bytes came.`}{found.bytes === 0 && ' Is it powered, does it send by itself, is the rate right?'}</p>
            {found.lines.length > 0 && <pre tabIndex={0} aria-label="The last lines that came">{found.lines.slice(-6).join('\n')}</pre>}
            {[...found.remarks, ...(found.guess?.remarks ?? [])].map((remark) => <p key={remark}>{remark}</p>)}
          </div>
        )}
      </div>
      {framed ? (
        <Text label="Samples a second" numeric value={draft.rate} change={(rate) => change({ rate })} says={['rate_hz']} problem={problem} hint={found && found.rates_hz.length > 0 ? `It offers ${found.rates_hz.join(', ')}.` : 'Listen first: it tells what it offers.'} />
      ) : (
        <>
          <Text label="Pattern of a line" value={draft.pattern} change={(pattern) => change({ pattern })} says={['pattern']} problem={problem} hint="{value} is the reading, {tick} the board's clock, {skip} anything else." />
          {draft.pattern.includes('{tick}') && <Text label="Ticks a second" numeric value={draft.tick} change={(tick) => change({ tick })} says={['tick_hz']} problem={problem} />}
          <Text label="Decimals of the reading" numeric value={draft.decimals} change={(decimals) => change({ decimals })} says={['decimals']} problem={problem} />
          <Text label="Lines a second, by the data sheet" numeric value={draft.rate} change={(rate) => change({ rate })} says={['rate_hz']} problem={problem} />
        </>
      )}
    </fieldset>
  );
}

const DIAL_UNITS = ['kN', 'N', 'lbf', 'psi', 'bar', 'MPa'];

export const DialStep = ({ draft, change, problem }: StepProps) => (
  <>
    <Tiles label="What stands on the dial?" value={draft.dialUnit} change={(dialUnit) => change({ dialUnit })} says={['dial_unit']} problem={problem} options={DIAL_UNITS.map((unit) => ({ value: unit, label: unit }))} />
    {draft.dialUnit === 'psi' && (
      <Tiles label="psi may be a force or a pressure. It reads" value={draft.dialPsi} change={(dialPsi) => change({ dialPsi })} says={['dial_psi']} problem={problem} options={[{ value: 'force', label: 'force', note: 'its figures are lbf' }, { value: 'oil-pressure', label: 'oil pressure', note: 'under a piston' }]} />
    )}
    {showsPressure(draft) && <Text label="Area of the piston" unit="mm²" numeric value={draft.piston} change={(piston) => change({ piston })} says={['piston_area']} problem={problem} />}
    <Text label="Smallest step that you can read" unit={draft.dialUnit} numeric value={draft.dialStep} change={(dialStep) => change({ dialStep })} says={['dial_resolution']} problem={problem} />
  </>
);
