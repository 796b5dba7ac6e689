// The state of the run as one band across the page: a word, a shape, a colour, and while the tool drives what is left to
// the gate. Each says it alone.
import { gates, reading, rig, run } from '../lib/live.ts';
import { trial } from '../lib/trials.ts';
import { stepWords } from '../lib/trial.ts';
import { toGate } from '../lib/run.ts';
import { fixed } from '../lib/units.ts';
import { Mark, type Shape } from './shapes.tsx';

interface Face {
  state: string;
  shape: Shape;
  word: string;
  more: string;
}

const WHY: Record<string, Face> = {
  asking: { state: 'away', shape: 'ring', word: 'Asking', more: 'The daemon is asked what it knows.' },
  lost: { state: 'away', shape: 'broken', word: 'Disconnected', more: 'This page has lost the daemon. It tries again by itself.' },
  line: { state: 'away', shape: 'broken', word: 'Rig disconnected', more: '' },
  silent: { state: 'away', shape: 'broken', word: 'No signal', more: 'The line is open, but the amplifier sends nothing.' },
  'not-served': { state: 'away', shape: 'broken', word: 'Not served', more: 'No daemon runs this rig.' },
  'by-hand': { state: 'waiting', shape: 'ring', word: 'Read by hand', more: 'Type what the dial shows after each run.' },
};

/** Nothing runs: what is waited for depends on the trial that goes on, if one does. */
function idle(): Face {
  const of = trial.value;
  const next = of?.next;
  if (of?.standing === 'awaiting a run' && next) return { state: 'waiting', shape: 'triangle', word: 'Awaiting a run', more: `Pull the trigger for ${stepWords(next, of.steps_total).toLowerCase()}: ${next.setup}.` };
  if (of?.standing === 'ready to go on') return { state: 'waiting', shape: 'ring', word: 'Waiting', more: 'The trial waits for somebody to be ready.' };
  return { state: 'waiting', shape: 'ring', word: 'Waiting', more: 'Pull the trigger; the run is found by itself.' };
}

function face(): Face {
  const now = reading.value;
  const going = run.value;
  const all = gates();
  if (now.is === 'none') {
    const of = trial.value;
    if (now.why === 'by-hand' && of?.standing === 'awaiting a run' && of.next)
      return { state: 'waiting', shape: 'triangle', word: 'Awaiting a run', more: `Tighten for ${stepWords(of.next, of.steps_total).toLowerCase()}: ${of.next.setup}. Then type what the dial shows.` };
    const found = WHY[now.why] ?? { state: 'away', shape: 'broken' as const, word: 'No reading', more: '' };
    return now.why === 'line' ? { ...found, more: now.detail } : found;
  }
  if (going === null) return idle();
  if (going.phase === 'measured') return { state: 'measured', shape: 'check', word: 'Measured', more: 'Loosen the bolt for the next run.' };
  if (going.first_s === null) return { state: 'driving', shape: 'triangle', word: 'Driving', more: 'The run began before this page looked.' };
  if (going.gatesPassed >= all.length) return { state: 'gate', shape: 'diamond', word: 'Gate reached', more: 'It is read. You may let go.' };
  return { state: 'driving', shape: 'triangle', word: 'Driving', more: 'Hold the trigger until the gate.' };
}

/** Seconds to the gate and a bar that runs out. */
const Countdown = () => {
  const going = run.value;
  if (reading.value.is !== 'live' || going?.phase !== 'driving') return null;
  const all = gates();
  const next = toGate(going, all);
  if (next === null) return null;
  const before = all[going.gatesPassed - 1] ?? 0;
  const share = Math.min(1, Math.max(0, next.left_s / (next.after_s - before)));
  return (
    <div class="countdown" aria-hidden="true">
      <span class="seconds">{fixed(next.left_s, 1)}</span>
      <span class="seconds-unit">s to the gate</span>
      <span class="fuse"><span style={{ transform: `scaleX(${share})` }} /></span>
    </div>
  );
};

export const Band = () => {
  const now = face();
  return (
    <section class={`band ${now.state}`} id="state" data-state={now.state} aria-label={`State of ${rig.value?.rig ?? 'the rig'}`}>
      <Mark shape={now.shape} />
      <div class="band-words" role="status">
        <p class="band-word">{now.word}</p>
        <p class="band-more">{now.more}</p>
      </div>
      <Countdown />
    </section>
  );
};
