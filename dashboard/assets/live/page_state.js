/* What the live page knows: parts and moment as the server sent them last, and what it knows of itself. */

/** @import { Now, Parts } from "./wire.js" */

/** States of a recording that is over. */
const OVER = ["sealed", "changed", "cut"];

export const page = {
  /** Parts by their key. @type {Parts} */
  parts: {},
  /** The session at the last answer. @type {Now | null} */
  now: null,
  /** Whether answers have stopped for longer than a number may stay. */
  lost: false,
  /** "operator", "viewer", or "" until the server has said. */
  role: "",
  /** Name of the session where the server has several, else "". */
  session: "",
  /** What every action has to carry. */
  token: "",
};

/** What became of the answers so far; the size of the largest is in bytes, of those after the first. */
export const stats = {
  updates: 0,
  largest: 0,
  errors: 0,
  /** @type {number[]} */
  serverMs: [],
  /** @type {number | undefined} */
  shown: undefined,
  last: "",
};

/** @param {string} state */
export function isOver(state) {
  return OVER.includes(state);
}

/**
 * The parts "name:0", "name:1" and so on that are there.
 * @template {"alarm" | "event" | "use" | "warning" | "chapter" | "peak"} K
 * @param {K} name
 */
export function numbered(name) {
  /** @type {NonNullable<Parts[`${K}:${string}`]>[]} */
  const found = [];
  for (let k = 0; `${name}:${k}` in page.parts; k++) {
    const part = page.parts[/** @type {`${K}:${string}`} */ (`${name}:${k}`)];
    if (part !== null && part !== undefined) found.push(part);
  }
  return found;
}

/**
 * The query that names the session, where there are several.
 * @param {string} joint "?" or "&"
 */
export function sessionQuery(joint) {
  return page.session ? joint + "s=" + encodeURIComponent(page.session) : "";
}
