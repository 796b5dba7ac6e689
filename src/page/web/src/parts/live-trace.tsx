// The live trace: the last seconds of tension, drawn from the ring on each frame of the screen. No component is rendered
// for a reading. Least and greatest of each reading make a band, so that no blow is lost between two points.
import { effect, useSignal } from '@preact/signals';
import { useEffect, useRef } from 'preact/hooks';
import uPlot from 'uplot';
import { plotColours } from '../lib/colours.ts';
import { frozen, latest, reading, rig, ring, streamNow } from '../lib/live.ts';
import { dark, system } from '../lib/prefs.ts';
import { force, forceText, forceUnit } from '../lib/units.ts';
import { axis, stroked, tickTexts } from './plotting.ts';

const WINDOW_S = 10;
/** Marks stand still; the trace moves under them. */
const AGO_S = [10, 8, 6, 4, 2, 0];
const TABLE_EVERY_MS = 1000;

/** Upper end of the scale: it grows at once and shrinks only with the window. */
function top(high: Float64Array, allowed: number | null): number {
  let most = 1;
  for (const value of high) if (value > most) most = value;
  // The limit comes into view before it is reached, and does not flatten an idle trace.
  if (allowed !== null && most > 0.5 * allowed) most = Math.max(most, allowed);
  const step = most > 100 ? 20 : most > 20 ? 10 : most > 5 ? 5 : 1;
  return Math.ceil((most * 1.05) / step) * step;
}

/** Seconds of the rig in a second here. */
const scaleNow = (): number => rig.peek()?.identity?.time_scale ?? 1;

interface Row {
  ago: number;
  low: number;
  high: number;
}

export function LiveTrace({ height }: { height: number }) {
  const place = useRef<HTMLDivElement>(null);
  const rows = useSignal<Row[]>([]);
  const open = useSignal(false);

  useEffect(() => {
    const element = place.current;
    if (!element) return undefined;
    let plot: uPlot | null = null;
    let frame = 0;
    let draws = 0;
    let tabled_ms = 0;

    const make = (): void => {
      plot?.destroy();
      const colours = plotColours(dark());
      const units = system.value;
      plot = new uPlot(
        {
          width: element.clientWidth,
          height,
          pxAlign: 0,
          cursor: { show: false },
          legend: { show: false },
          scales: { x: { time: false, auto: false }, y: { auto: false } },
          axes: [{ ...axis(colours, 'seconds ago', () => AGO_S.map(String)), splits: () => AGO_S.map((ago) => streamEnd - ago * scaleNow()) }, axis(colours, forceUnit(units), (ticks) => tickTexts(ticks.map((tick) => force(tick, units))), 58)],
          series: [{}, { points: { show: false }, stroke: colours.trace, width: 1 }, { points: { show: false }, stroke: colours.trace, width: 1 }, { points: { show: false }, stroke: colours.trace, width: 2.5 }],
          bands: [{ series: [2, 1], fill: colours.band }],
          hooks: { draw: [(u) => { const allowed = rig.peek()?.in_force.bolt?.allowed_kN; if (allowed) stroked(u, 'y', allowed, colours.limit, `allowed ${forceText(allowed, units)}`, [14, 7]); }] },
        },
        [[], [], [], []],
        element,
      );
    };

    let streamEnd = 0;
    const draw = (): void => {
      frame = requestAnimationFrame(draw);
      if (document.hidden || frozen.peek() || plot === null || reading.peek().is !== 'live') return;
      const now = performance.now();
      const scale = scaleNow();
      streamEnd = streamNow(now);
      const columns = ring.since(streamEnd - (WINDOW_S + 1) * scale);
      const u = plot;
      u.batch(() => {
        u.setData(columns as unknown as uPlot.AlignedData, false);
        u.setScale('x', { min: streamEnd - WINDOW_S * scale, max: streamEnd });
        u.setScale('y', { min: -1, max: top(columns[2], rig.peek()?.in_force.bolt?.allowed_kN ?? null) });
      });
      draws += 1;
      element.dataset['draws'] = String(draws);
      if (open.peek() && now - tabled_ms > TABLE_EVERY_MS) {
        tabled_ms = now;
        rows.value = secondBySecond(columns, latest.at_s, scale);
      }
    };

    const stopTheme = effect(() => {
      void dark();
      void system.value;
      make();
    });
    const watch = new ResizeObserver(() => plot?.setSize({ width: element.clientWidth, height }));
    watch.observe(element);
    frame = requestAnimationFrame(draw);
    return () => {
      cancelAnimationFrame(frame);
      watch.disconnect();
      stopTheme();
      plot?.destroy();
    };
  }, [height]);

  const allowed = rig.value?.in_force.bolt?.allowed_kN ?? null;
  return (
    <figure class="plot">
      <div ref={place} class="canvas" role="img" aria-label={`Tension of the last ${WINDOW_S} seconds, in ${forceUnit(system.value)}`} />
      <figcaption>
        Tension of the last {WINDOW_S} s: line is the mean, band from least to greatest.{' '}
        {allowed === null ? 'No limit is set.' : `Dashes: allowed ${forceText(allowed, system.value)} ${forceUnit(system.value)}.`}
      </figcaption>
      <details onToggle={(event) => (open.value = event.currentTarget.open)}>
        <summary>The same as a table</summary>
        <table>
          <thead>
            <tr><th scope="col">Seconds ago</th><th scope="col">Least, {forceUnit(system.value)}</th><th scope="col">Greatest, {forceUnit(system.value)}</th></tr>
          </thead>
          <tbody>
            {rows.value.map((row) => (
              <tr key={row.ago}><th scope="row">{row.ago}</th><td>{forceText(row.low, system.value, true)}</td><td>{forceText(row.high, system.value, true)}</td></tr>
            ))}
          </tbody>
        </table>
      </details>
    </figure>
  );
}

function secondBySecond([t, low, high]: readonly Float64Array[], end: number, scale: number): Row[] {
  const rows: Row[] = [];
  if (!t || !low || !high) return rows;
  for (let at = t.length - 1; at >= 0; at -= 1) {
    const ago = Math.floor((end - (t[at] ?? 0)) / scale);
    if (ago < 0 || ago >= WINDOW_S) continue;
    const row = rows[ago] ?? { ago, low: Infinity, high: -Infinity };
    row.low = Math.min(row.low, low[at] ?? Infinity);
    row.high = Math.max(row.high, high[at] ?? -Infinity);
    rows[ago] = row;
  }
  return rows.filter(Boolean);
}
