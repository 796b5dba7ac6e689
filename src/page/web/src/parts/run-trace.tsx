// The trace of a stored run with its first and last blow and its gates. At most two points a pixel are asked for; each
// holds least and greatest tension of its stretch, so that no blow is lost.
import { effect, useSignal } from '@preact/signals';
import { useEffect, useRef } from 'preact/hooks';
import uPlot from 'uplot';
import { asProblem, get, type Problem } from '../lib/api.ts';
import { plotColours } from '../lib/colours.ts';
import { dark, system } from '../lib/prefs.ts';
import type { RunDetail, Trace } from '../lib/types.ts';
import { fixed, force, forceText, forceUnit, withForce } from '../lib/units.ts';
import { axis, stroked, tickTexts } from './plotting.ts';
import { Refused } from './words.tsx';

const HEIGHT = 320;
const ROWS = 24;

function drawn(element: HTMLElement, trace: Trace, allowed: number | null): uPlot {
  const colours = plotColours(dark());
  const units = system.value;
  const zero = trace.first_blow_s;
  const times = trace.time_s.map((time) => time - zero);
  return new uPlot(
    {
      width: element.clientWidth,
      height: HEIGHT,
      cursor: { show: false },
      legend: { show: false },
      scales: { x: { time: false }, y: { range: (_u, _low, high) => [Math.min(-1, 0), Math.max(high, 1) * 1.3] } },
      axes: [axis(colours, 'seconds after the first blow', (ticks) => ticks.map((tick) => fixed(tick, 1))), axis(colours, forceUnit(units), (ticks) => tickTexts(ticks.map((tick) => force(tick, units))), 58)],
      series: [{}, { points: { show: false }, stroke: colours.trace, width: 1.5 }, { points: { show: false }, stroke: colours.trace, width: 1.5 }],
      bands: [{ series: [2, 1], fill: colours.band }],
      hooks: {
        draw: [
          (u) => {
            trace.gates_s.forEach((gate) => stroked(u, 'x', gate, colours.mark, `gate ${gate} s`, [3, 5]));
            stroked(u, 'x', trace.last_blow_s - zero, colours.mark, 'last blow', [14, 4, 3, 4], 1);
            if (allowed !== null) stroked(u, 'y', allowed, colours.limit, `allowed ${forceText(allowed, units)}`, [14, 7]);
          },
        ],
      },
    },
    [times, trace.min_kN, trace.max_kN] as uPlot.AlignedData,
    element,
  );
}

/** Least and greatest tension of stretches of equal length, fit to read. */
function stretches(trace: Trace): { from: number; to: number; low: number; high: number }[] {
  const each = Math.max(1, Math.ceil(trace.time_s.length / ROWS));
  const rows = [];
  for (let at = 0; at < trace.time_s.length; at += each) {
    const until = Math.min(at + each, trace.time_s.length);
    const low = trace.min_kN.slice(at, until).filter((value) => value !== null);
    const high = trace.max_kN.slice(at, until).filter((value) => value !== null);
    if (high.length === 0) continue;
    const time = (index: number): number => (trace.time_s[index] ?? 0) - trace.first_blow_s;
    rows.push({ from: time(at), to: time(until - 1), low: Math.min(...low), high: Math.max(...high) });
  }
  return rows;
}

export function RunTrace({ run }: { run: RunDetail }) {
  const place = useRef<HTMLDivElement>(null);
  const trace = useSignal<Trace | null>(null);
  const problem = useSignal<Problem | null>(null);

  useEffect(() => {
    const points = Math.min(2000, Math.max(300, 2 * (place.current?.clientWidth ?? 500)));
    get(`runs/${run.id}/trace?points=${points}`).then(
      (found) => (trace.value = found),
      (error: unknown) => (problem.value = asProblem(error)),
    );
  }, [run.id]);

  useEffect(() => {
    const element = place.current;
    if (!element) return undefined;
    let plot: uPlot | null = null;
    const stop = effect(() => {
      plot?.destroy();
      plot = trace.value ? drawn(element, trace.value, run.in_force.bolt?.allowed_kN ?? null) : null;
    });
    const watch = new ResizeObserver(() => plot?.setSize({ width: element.clientWidth, height: HEIGHT }));
    watch.observe(element);
    return () => {
      stop();
      watch.disconnect();
      plot?.destroy();
    };
  }, [run.id]);

  const units = system.value;
  return (
    <figure class="plot">
      <div ref={place} class="canvas" role="img" aria-label={`Trace of run ${run.id}`} />
      <Refused problem={problem.value} />
      <figcaption>
        Tension above the idle reading before the run.{' '}
        {`It rose within ${fixed(run.drive_time_s, 2)} s to ${withForce(run.peak_kN, units)} at most, and held ${withForce(run.held_kN, units)}.`}
      </figcaption>
      {trace.value && (
        <details>
          <summary>The same as a table</summary>
          <table>
            <thead>
              <tr><th scope="col">Seconds after the first blow</th><th scope="col">Least, {forceUnit(units)}</th><th scope="col">Greatest, {forceUnit(units)}</th></tr>
            </thead>
            <tbody>
              {stretches(trace.value).map((row) => (
                <tr key={row.from}><th scope="row">{fixed(row.from, 2)} to {fixed(row.to, 2)}</th><td>{forceText(row.low, units, true)}</td><td>{forceText(row.high, units, true)}</td></tr>
              ))}
            </tbody>
          </table>
        </details>
      )}
    </figure>
  );
}
