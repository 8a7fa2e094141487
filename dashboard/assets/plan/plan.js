/* The plan page: ask for what was chosen, put it in.  The server has escaped every text from a file; what
   comes is parsed without being run, and only the elements and attributes of a plan are taken over. */
import { id, text, within } from "../shared/dom.js";

/** @import { FrameAnswer, PlanAnswer, PlannedRigTables } from "./wire.js" */
/**
 * A rig of the page.
 * @typedef {object} RigOnPage
 * @property {number} k its place among the rigs
 * @property {HTMLElement} node
 * @property {HTMLInputElement} slider over the steps of the job
 * @property {number} v version of its file
 * @property {number} frames number of steps
 * @property {number} wide width of its drawing, px; 0 before the first
 * @property {boolean} busy whether a drawing is asked for
 * @property {boolean} again whether another one is due
 */

const ANSWER_WITHIN_MS = 30000;
const OTHER_WIDTH_PX = 4; // from which on a drawing is made anew
const TAGS = new Set(("section h2 div ul li p span small strong b table tbody tr th td " +
  "svg g title line polygon path rect circle text").split(" "));
const page = id("page");
/** @type {Record<string, string>} */
const chosen = { units: page.dataset.units ?? "", labels: "t", mode: "each", e: "" };
/** @type {RigOnPage[]} */
const rigs = Array.from(document.querySelectorAll(".rig"), (node, k) => ({
  k, node: /** @type {HTMLElement} */ (node), slider: within(node, ".frame", HTMLInputElement),
  v: 0, frames: 0, wide: 0, busy: false, again: false,
}));
const slider = id("e", HTMLInputElement);
/** What was asked for so far. */
const stats = { plans: 0, drawings: 0, errors: 0 };
let asking = false;
let askAgain = false;

/** A question that the server did not answer as asked. */
class Refusal extends Error {
  /**
   * @param {string} message
   * @param {number} status
   */
  constructor(message, status) {
    super(message);
    this.status = status;
  }
}

/** @type {(place: Element, markup: string) => void} */
function put(place, markup) {
  const parsed = new DOMParser().parseFromString(markup, "text/html").body;
  for (const node of Array.from(parsed.querySelectorAll("*"))) {
    if (!TAGS.has(node.localName)) node.remove();
    for (const { name } of Array.from(node.attributes))
      if (/^on|href|src/i.test(name)) node.removeAttribute(name);
  }
  place.replaceChildren(...Array.from(parsed.childNodes));
}

/** @param {Record<string, string | number>} [more] */
function query(more = {}) {
  const all = new URLSearchParams(chosen);
  if (!chosen.e) all.delete("e");
  for (const [name, value] of Object.entries(more)) all.set(name, String(value));
  return all.toString();
}

/** The JSON of an address.  Throws a Refusal, or what fetch throws where there is no answer. @param {string} address */
async function get(address) {
  const reply = await fetch(address, { cache: "no-store", signal: AbortSignal.timeout(ANSWER_WITHIN_MS) });
  if (!reply.ok) throw new Refusal(await reply.text(), reply.status);
  return reply.json();
}

/** @param {unknown} error */
function fail(error) {
  stats.errors++;
  text("plan-fault", error instanceof Refusal ? error.message : "No answer: is `haul plan` still running?");
  id("plan-fault").hidden = false;
  page.classList.toggle("stale", true);
}

function well() {
  id("plan-fault").hidden = true;
  page.classList.toggle("stale", false);
}

/** Numbers and tables.  One question at a time; what was chosen meanwhile is asked next. */
async function ask() {
  if (asking) {
    askAgain = true;
    return;
  }
  asking = true;
  try {
    do {
      askAgain = false;
      /** @type {PlanAnswer} */
      const answer = await get("/plan?" + query());
      rigs.forEach((rig, k) => take(rig, answer.rigs[k]));
      const side = document.getElementById("compare");
      if (side) {
        put(side, answer.compare);
        side.hidden = !answer.compare;
      }
      if (!chosen.e) slider.value = String(answer.rigs[0].e);
      stats.plans++;
      well();
    } while (askAgain);
  } catch (error) {
    fail(error);
  }
  asking = false;
}

/** @type {(rig: RigOnPage, sent: PlannedRigTables) => void} */
function take(rig, sent) {
  const place = (/** @type {string} */ name) => within(rig.node, name);
  rig.v = sent.v;
  rig.frames = sent.frames;
  text(place(".fault"), sent.fault);
  place(".fault").hidden = !sent.fault;
  place(".content").hidden = Boolean(sent.fault);
  if (sent.fault) return;
  text(place(".name"), sent.title);
  put(place(".said"), sent.said);
  put(place(".top"), sent.top);
  put(place(".tables"), sent.tables);
  rig.slider.max = String(Math.max(0, sent.frames - 1));
  draw(rig);
}

/** One drawing at a time; what was chosen meanwhile is drawn next. @param {RigOnPage} rig */
async function draw(rig) {
  if (rig.busy) {
    rig.again = true;
    return;
  }
  rig.busy = true;
  try {
    do {
      rig.again = false;
      if (!rig.frames) break;
      await drawOnce(rig);
    } while (rig.again);
  } catch (error) {
    if (error instanceof Refusal && (error.status === 409 || error.status === 404)) ask();
    else fail(error);
  }
  rig.busy = false;
}

/** @param {RigOnPage} rig */
async function drawOnce(rig) {
  const place = within(rig.node, ".drawing");
  const wide = Math.floor(place.clientWidth) || 900;
  const frame = rig.slider.value;
  /** @type {FrameAnswer} */
  const sent = await get("/drawing?" + query({ rig: rig.k, frame, w: wide, v: rig.v }));
  put(place, sent.svg);
  rig.wide = wide;
  const title = within(rig.node, ".frame-text");
  text(title, sent.text + " (" + (Number(frame) + 1) + " of " + sent.steps + ")");
  title.dataset.kind = sent.kind;
  text(within(rig.node, ".frame-more"), sent.more.join(" · "));
  rig.slider.setAttribute("aria-valuetext", sent.text);
  stats.drawings++;
  if (Math.abs(place.clientWidth - wide) > OTHER_WIDTH_PX) rig.again = true; // turned or resized meanwhile
}

/** @returns {NodeListOf<HTMLButtonElement>} */
function choices() {
  return document.querySelectorAll("button[data-set]");
}

function press() {
  for (const one of choices()) one.setAttribute("aria-pressed", String(chosen[one.dataset.set ?? ""] === one.value));
  text("e-said", chosen.e || "file");
  id("e-off", HTMLButtonElement).disabled = !chosen.e;
}

/** @param {string} e pulley efficiency of a what-if; "" for the file's own */
function suppose(e) {
  chosen.e = e;
  press();
  ask();
}

for (const one of choices())
  {one.addEventListener("click", () => {
    const name = one.dataset.set ?? "";
    chosen[name] = one.value;
    if (name === "mode") for (const rig of rigs) rig.slider.value = "0";
    press();
    ask();
  });}
slider.addEventListener("input", () => suppose(Number(slider.value).toFixed(2)));
id("e-off").addEventListener("click", () => suppose(""));
id("again").addEventListener("click", ask);
for (const rig of rigs) {
  const step = (/** @type {number} */ by) => {
    rig.slider.value = String(Number(rig.slider.value) + by);
    draw(rig);
  };
  rig.slider.addEventListener("input", () => draw(rig));
  within(rig.node, ".back").addEventListener("click", () => step(-1));
  within(rig.node, ".on").addEventListener("click", () => step(1));
  const place = within(rig.node, ".drawing");
  new ResizeObserver(() => {
    if (rig.wide && Math.abs(Math.floor(place.clientWidth) - rig.wide) > OTHER_WIDTH_PX) draw(rig);
  }).observe(place);
}
window.haulTest = { stats };
press();
ask();
