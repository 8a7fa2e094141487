/* Numbers and times as texts.  Numbers come in SI and are shown in the units that the server names. */

/** @typedef {[string, string]} NumberAndUnit */

const LBF_N = 4.4482216152605;
const FOOT_M = 0.3048;
const KN_FROM_N = 995; // which two figures round to 1.0 kN
const OF_RATIO = 0.05; // share by which rounding may change how far a force is beyond what is allowed
let us = false;

/**
 * Choose the units of all that follows.
 * @param {string} name "metric" or "us"
 */
export function useUnits(name) {
  us = name === "us";
}

/**
 * Two significant figures, without powers of ten.
 * @param {number} value
 */
function two(value) {
  return figures(value, 2);
}

/**
 * So many significant figures, without powers of ten.
 * @param {number} value
 * @param {number} count
 */
function figures(value, count) {
  if (value === 0) return "0";
  const rounded = Number(value.toPrecision(count));
  const places = Math.max(0, count - 1 - Math.floor(Math.log10(Math.abs(rounded))));
  return rounded.toFixed(Math.min(places, 6));
}

/**
 * Unit and size of one unit in N for an axis that reaches so many newtons.
 * @param {number} reach_N
 * @returns {[string, number]}
 */
export function forceAxis(reach_N) {
  return us ? ["lbf", LBF_N] : reach_N >= 2000 ? ["kN", 1000] : ["N", 1];
}

/**
 * Unit and size of one unit in m for an axis of lengths.
 * @returns {[string, number]}
 */
export function lengthAxis() {
  return us ? ["ft", FOOT_M] : ["m", 1];
}

/**
 * Unit and size of one unit in N for one force.
 * @param {number} force_N
 * @returns {[string, number]}
 */
function forceUnit(force_N) {
  return us ? ["lbf", LBF_N] : Math.abs(force_N) >= KN_FROM_N ? ["kN", 1000] : ["N", 1];
}

/**
 * A force as number and unit; null where it is not known.
 * @param {number | null | undefined} force_N
 * @returns {NumberAndUnit | null}
 */
export function force(force_N) {
  if (force_N === null || force_N === undefined) return null;
  const [unit, size] = forceUnit(force_N);
  return [two(force_N / size), unit];
}

/** @param {number | null | undefined} force_N */
export function forceText(force_N) {
  return joined(force(force_N));
}

/**
 * A force against what is allowed, "8.5 of 5.1 kN": two figures, and more where both would read alike.
 * @param {number} force_N
 * @param {number} allowed_N
 */
export function forceOf(force_N, allowed_N) {
  const [unit, size] = forceUnit(Math.max(Math.abs(force_N), Math.abs(allowed_N)));
  return twoNumbers(force_N / size, allowed_N / size) + " " + unit;
}

/**
 * A length against what is allowed, "2.1 of 2.0 m".
 * @param {number} length_m
 * @param {number} allowed_m
 */
export function lengthOf(length_m, allowed_m) {
  const [unit, size] = lengthAxis();
  return twoNumbers(length_m / size, allowed_m / size) + " " + unit;
}

/**
 * "a of b", with the fewest figures, two to four, that tell them apart and keep their ratio.
 * @param {number} a
 * @param {number} b
 */
function twoNumbers(a, b) {
  const digits = [2, 3].find((n) => asFarApart(a, b, n)) ?? 4;
  return figures(a, digits) + " of " + figures(b, digits);
}

/**
 * Whether two numbers, each with so many figures, are as far apart as they are.
 * @param {number} a
 * @param {number} b
 * @param {number} count
 */
function asFarApart(a, b, count) {
  const [one, other] = [Number(figures(a, count)), Number(figures(b, count))];
  if (a === b || other === 0) return true;
  return one !== other && Math.abs(one / other - a / b) <= OF_RATIO * Math.abs(a / b);
}

/**
 * A length as number, to a hundredth or two figures, and unit; null where it is not known.
 * @param {number | null | undefined} length_m
 * @returns {NumberAndUnit | null}
 */
export function length(length_m) {
  if (length_m === null || length_m === undefined) return null;
  const [unit, size] = lengthAxis();
  const rounded = Number((length_m / size).toPrecision(2));
  return [Math.abs(rounded) < 0.995 ? rounded.toFixed(2) : two(length_m / size), unit];
}

/** @param {number | null | undefined} length_m */
export function lengthText(length_m) {
  return joined(length(length_m));
}

/** @param {NumberAndUnit | null} pair */
function joined(pair) {
  return pair ? pair[0] + " " + pair[1] : "not known";
}

/** @param {number | null | undefined} value */
export function number(value) {
  return value === null || value === undefined ? "not known" : two(value);
}

/**
 * A share as a whole percentage.
 * @param {number} share
 */
export function percent(share) {
  return Math.round(100 * share) + " %";
}

/**
 * A value to two figures and its expanded uncertainty, to the same place and rounded up.
 * @param {number | null | undefined} value
 * @param {number | null | undefined} expanded
 * @param {string} [unit]
 */
export function plusMinus(value, expanded, unit = "") {
  const end = unit ? " " + unit : "";
  if (value === null || value === undefined) return "not known";
  if (!expanded || !value) return two(value) + end;
  const place = 1 - Math.floor(Math.log10(Math.abs(Number(value.toPrecision(2)))));
  const step = 10 ** -place;
  const shown = Math.min(Math.max(0, place), 6);
  const up = Math.ceil(expanded / step - 1e-9) * step;
  return two(value) + " ± " + up.toFixed(shown) + end;
}

/**
 * A force and its expanded uncertainty, N.
 * @param {number} force_N
 * @param {number} expanded_N
 */
export function forcePlusMinus(force_N, expanded_N) {
  const [unit, size] = forceUnit(force_N);
  return plusMinus(force_N / size, expanded_N / size, unit);
}

/**
 * A time of the session as m:ss or h:mm:ss.
 * @param {number} time_s
 */
export function clock(time_s) {
  const s = Math.max(0, Math.floor(time_s));
  const padded = (/** @type {number} */ x) => String(x).padStart(2, "0");
  const h = Math.floor(s / 3600);
  const minutes = h ? h + ":" + padded(Math.floor(s / 60) % 60) : String(Math.floor(s / 60));
  return minutes + ":" + padded(s % 60);
}

/**
 * How long ago something was.
 * @param {number} since_s
 */
export function ago(since_s) {
  if (since_s < 2) return "just now";
  return (since_s < 120 ? since_s + " s" : clock(since_s)) + " ago";
}

/**
 * A count with its noun.
 * @param {number} n
 * @param {string} noun of one
 */
export function counted(n, noun) {
  return n + " " + noun + (n === 1 ? "" : "s");
}
