// What both plots share: axes that are read at arm's length and more, and lines across with their names on them.
import type uPlot from 'uplot';
import type { PlotColours } from '../lib/colours.ts';
import { fixed } from '../lib/units.ts';

/** uPlot draws on a canvas and knows no style sheet. */
const FONT = "16px 'IBM Plex Sans Condensed', sans-serif";

export function axis(colours: PlotColours, label: string, values: (ticks: number[]) => string[], size = 44): uPlot.Axis {
  return {
    label,
    labelFont: FONT,
    font: FONT,
    labelSize: 24,
    size,
    stroke: colours.ink,
    grid: { stroke: colours.grid, width: 1 },
    ticks: { stroke: colours.grid, width: 1 },
    values: (_, ticks) => values(ticks),
  };
}

/** A line across the plot at a value, with words on it and its own dashes. `row` moves the words down. */
export function stroked(u: uPlot, scale: 'x' | 'y', at: number, colour: string, words: string, dash: number[], row = 0): void {
  const position = u.valToPos(at, scale, true);
  const { left, top, width, height } = u.bbox;
  const inside = scale === 'x' ? position >= left && position <= left + width : position >= top && position <= top + height;
  if (!inside) return;
  const { ctx } = u;
  const ratio = devicePixelRatio;
  ctx.save();
  ctx.strokeStyle = colour;
  ctx.fillStyle = colour;
  ctx.lineWidth = 2.5 * ratio;
  ctx.setLineDash(dash.map((length) => length * ratio));
  ctx.beginPath();
  if (scale === 'x') {
    ctx.moveTo(position, top);
    ctx.lineTo(position, top + height);
  } else {
    ctx.moveTo(left, position);
    ctx.lineTo(left + width, position);
  }
  ctx.stroke();
  ctx.font = `600 ${15 * ratio}px 'IBM Plex Sans Condensed', sans-serif`;
  if (scale === 'x') {
    const fits = position + ctx.measureText(words).width + 8 * ratio < left + width;
    ctx.textAlign = fits ? 'left' : 'right';
    ctx.fillText(words, position + (fits ? 6 : -6) * ratio, top + (18 + 18 * row) * ratio);
  } else {
    ctx.textAlign = 'right';
    const below = position - top < 24 * ratio;
    ctx.fillText(words, left + width - 6 * ratio, position + (below ? 18 : -6) * ratio);
  }
  ctx.restore();
}

/** Ticks with as many decimals as tell them apart. */
export function tickTexts(ticks: readonly number[]): string[] {
  const step = Math.abs((ticks[1] ?? 0) - (ticks[0] ?? 0));
  const whole = (decimals: number): boolean => Math.abs(step * 10 ** decimals - Math.round(step * 10 ** decimals)) < 1e-6;
  const decimals = step >= 10 || whole(0) ? 0 : whole(1) ? 1 : 2;
  return ticks.map((tick) => fixed(tick, decimals));
}
