/* Bins of readings as the server sends them: kept, merged where the server changes the level, and read.

   The server works out lowest, highest and mean value of each bin (analysis/live/minmax_pyramid.py). */

/** @import { Bins as SentBins } from "./wire.js" */

/**
 * A bin: index at its level, lowest, highest and mean value; the mean is left out for a travel.
 * @typedef {[number, number, number, number?]} Bin
 */

/** The bins of one channel, in order of time. */
export class Bins {
  /** @param {number} width numbers that the server sends for each bin: 4 with a mean, else 3 */
  constructor(width) {
    this.width = width;
    /** Width of a bin of level 0, s; the server sends it with the head. */
    this.base_s = 0;
    this.level = 0;
    /** @type {Bin[]} */
    this.bins = [];
  }

  reset() {
    this.level = 0;
    this.bins = [];
  }

  /** Width of a bin, s. */
  get width_s() {
    return this.base_s * 2 ** this.level;
  }

  /**
   * Take what the server sent: bins that are new, and the one that grew.
   * @param {SentBins | null} sent
   */
  take(sent) {
    if (!sent) return;
    if (sent.level > this.level && this.bins.length) this.bins = merged(this.bins, sent.level - this.level);
    else if (sent.level < this.level) this.bins = [];
    this.level = sent.level;
    for (let k = 0; k < sent.flat.length; k += this.width) {
      const bin = /** @type {Bin} */ (sent.flat.slice(k, k + this.width));
      const last = this.bins[this.bins.length - 1];
      if (last && bin[0] < last[0]) continue;
      if (last && bin[0] === last[0]) this.bins[this.bins.length - 1] = bin;
      else this.bins.push(bin);
    }
  }

  /**
   * Bins between two times, s; what is older than the first is let go.
   * @param {number} begin_s
   * @param {number} end_s
   */
  between(begin_s, end_s) {
    const wide = this.width_s;
    let cut = 0;
    while (cut < this.bins.length && (this.bins[cut][0] + 1) * wide < begin_s) cut++;
    if (cut) this.bins = this.bins.slice(cut);
    let upto = this.bins.length;
    while (upto && this.bins[upto - 1][0] * wide > end_s) upto--;
    return upto === this.bins.length ? this.bins : this.bins.slice(0, upto);
  }
}

/**
 * Bins of a level that is coarser by so many steps.
 * @param {Bin[]} bins
 * @param {number} steps
 */
function merged(bins, steps) {
  /** @type {Bin[]} */
  const made = [];
  let of = 0; // bins in the last of those that are made
  for (const [index, low, high, mean] of bins) {
    const last = made[made.length - 1];
    if (last && last[0] === index >> steps) {
      of += 1;
      last[1] = Math.min(last[1], low);
      last[2] = Math.max(last[2], high);
      if (mean !== undefined && last[3] !== undefined) last[3] += (mean - last[3]) / of;
    } else {
      of = 1;
      made.push([index >> steps, low, high, mean]);
    }
  }
  return made;
}

/**
 * Lowest and highest value of some bins.
 * @param {Bin[]} bins at least one
 * @returns {[number, number]}
 */
export function range(bins) {
  let low = Infinity;
  let high = -Infinity;
  for (const bin of bins) {
    if (bin[1] < low) low = bin[1];
    if (bin[2] > high) high = bin[2];
  }
  return [low, high];
}

/**
 * Highest, lowest and mean force over the time in view, N; null where nothing is in view.
 *
 * These three are read off the bins that the graph draws, here and not by the server: the page alone knows
 * which time is in view, as it may be paused while bins still come, and the figures have to be of what is
 * drawn.  Lowest and highest are exact; the mean gives each bin, which is each stretch of time with
 * readings, the same weight.
 * @param {Bin[]} bins
 */
export function inView(bins) {
  if (!bins.length) return null;
  const [low, high] = range(bins);
  let sum = 0;
  for (const bin of bins) sum += bin[3] ?? 0;
  return { high, low, mean: sum / bins.length };
}

/**
 * Lowest and highest of each bin as one line: times in ms, values; null where the line is left open.
 * @param {Bin[]} bins
 * @param {number} width_s of a bin
 * @param {number} gap_s what is silent for longer is left open
 * @returns {[number[], (number | null)[]]}
 */
export function line(bins, width_s, gap_s) {
  /** @type {number[]} */
  const x = [];
  /** @type {(number | null)[]} */
  const y = [];
  const gap = Math.ceil(gap_s / width_s) + 1;
  /** Index of the bin before, and the value at which the line left it. @type {[number, number] | null} */
  let before = null;
  for (const [index, low, high] of bins) {
    if (before !== null && index - before[0] > gap) {
      x.push((before[0] + 1) * width_s * 1000);
      y.push(null);
    }
    let end = low;
    if (low === high) {
      x.push((index + 0.5) * width_s * 1000);
      y.push(low);
    } else {
      const up = before === null || Math.abs(before[1] - low) <= Math.abs(before[1] - high);
      x.push((index + 0.25) * width_s * 1000, (index + 0.75) * width_s * 1000);
      y.push(up ? low : high, up ? high : low);
      end = up ? high : low;
    }
    before = [index, end];
  }
  return [x, y];
}

/**
 * The end of an axis that reaches a value: one, one and a half, two ... times a power of ten.
 * @param {number} value above 0
 */
export function niceEnd(value) {
  const power = 10 ** Math.floor(Math.log10(value));
  return [1, 1.5, 2, 3, 4, 5, 6, 8, 10].map((m) => m * power).find((m) => m >= value * 0.999) ?? 10 * power;
}
