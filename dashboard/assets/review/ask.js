/* Questions of the review page to its server, and what was chosen on the page. */
import { id, text } from "../shared/dom.js";

const ANSWER_WITHIN_MS = 60000;
const found = /^\/s\/([^/]+)\/review$/.exec(location.pathname);
/** Name of the session, where the server has several. */
const session = found ? decodeURIComponent(found[1]) : "";

/** What was chosen: units, pulley efficiency of a what-if ("" for none), number of another rig (0 for none). */
export const chosen = { units: id("page").dataset.shown ?? "metric", e: "", rig: 0 };

/** What was asked for and drawn so far. */
export const stats = { loads: 0, errors: 0, last: "", drawn: 0 };

/** @param {string} sentence "" for none */
function fault(sentence) {
  text("fault", sentence);
  id("fault").hidden = !sentence;
}

/**
 * The JSON of an address, in the chosen units; null where there is none, and then the page says why.
 * @param {string} address
 * @param {Record<string, string | number>} [more] what to ask beside units and what-if
 * @param {boolean} [plain] whether the record itself is asked for
 */
export async function ask(address, more = {}, plain = false) {
  const query = new URLSearchParams({ units: chosen.units });
  for (const [name, value] of Object.entries(more)) query.set(name, String(value));
  if (session) query.set("s", session);
  if (!plain && chosen.e) query.set("e", chosen.e);
  if (!plain && chosen.rig) query.set("rig", String(chosen.rig));
  try {
    const reply = await fetch(address + "?" + query,
      { cache: "no-store", signal: AbortSignal.timeout(ANSWER_WITHIN_MS) });
    if (!reply.ok) throw new Error((await reply.text()).slice(0, 300));
    const value = await reply.json();
    fault("");
    return value;
  } catch (error) {
    stats.errors++;
    stats.last = String(error);
    fault(error instanceof TypeError || !(error instanceof Error)
      ? "No answer: is `haul watch` still running?" : error.message);
    return null;
  }
}
