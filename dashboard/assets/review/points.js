/* Reads values off the points of a plot, as the pointer does: no browser is needed for that. */

/** @import { TraceText } from "./wire.js" */

/** How much of the window a reading may lie from the pointer, where every reading is drawn. */
const NEAR_SHARE = 1 / 40;
const STEP_SHARE = 1 / 200;

/**
 * Index of the point next to x; -1 where there is none.  Points of a gap are null in y.
 * @param {PlotTrace} trace
 * @param {number} x
 */
export function nearest(trace, x) {
  let low = 0;
  let high = trace.x.length - 1;
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if (trace.x[middle] < x) low = middle;
    else high = middle;
  }
  let best = -1;
  for (let k = Math.max(0, low - 2); k <= Math.min(trace.x.length - 1, high + 2); k++)
    if (trace.y[k] !== null && (best < 0 || Math.abs(trace.x[k] - x) < Math.abs(trace.x[best] - x))) best = k;
  return best;
}

/** Four figures, without powers of ten below 10,000. @param {number} value */
export function short(value) {
  return Math.abs(value) >= 1e4 ? value.toFixed(0) : String(Number(value.toPrecision(4)));
}

/**
 * What a trace reads at x: a value, or lowest and highest of the column.
 * @param {PlotTrace} trace
 * @param {TraceText} about
 * @param {number} x s
 * @param {number} wide of the window, s
 */
export function reading(trace, about, x, wide) {
  const k = nearest(trace, x);
  const near = about.width_s || wide * NEAR_SHARE;
  if (k < 0 || Math.abs(trace.x[k] - x) > near) return about.name + ": no reading";
  if (!about.width_s) return about.name + " " + short(trace.y[k] ?? 0) + " " + about.unit;
  const column = Math.floor(trace.x[k] / about.width_s);
  const inside = [];
  for (let j = Math.max(0, k - 2); j <= Math.min(trace.x.length - 1, k + 2); j++) {
    const value = trace.y[j];
    if (value !== null && Math.floor(trace.x[j] / about.width_s) === column) inside.push(value);
  }
  const low = short(Math.min(...inside));
  const high = short(Math.max(...inside));
  return about.name + " " + (low === high ? low : low + " to " + high) + " " + about.unit;
}

/**
 * The time one step before or after x: the next reading where every one is drawn, else the next column.
 * @param {PlotTrace | undefined} trace
 * @param {TraceText | undefined} about
 * @param {number} x s
 * @param {number} steps -1 or 1
 * @param {number} wide of the window, s
 */
export function step(trace, about, x, steps, wide) {
  if (trace && about && !about.width_s && trace.x.length > 1) {
    const k = nearest(trace, x) + steps;
    if (k >= 0 && k < trace.x.length) return trace.x[k];
  }
  return x + steps * (about?.width_s || wide * STEP_SHARE);
}
