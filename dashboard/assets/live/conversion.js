/* The panel of a planned conversion: choose a rig, see the moves that make it of the one in use with the load held,
   and touch each as it is made.  The plan lies in the server and the moves in the session, so every page shows the
   same; the rig changes by itself with the last one. */
import { button, id, make, rows, text } from "../shared/dom.js";
import { say, send } from "./operator_actions.js";
import { numbered, page, sessionQuery } from "./page_state.js";

/** @import { ConversionAnswer, ShownMove } from "./conversion_wire.js" */

const ANSWER_MS = 5000;
const LOOK_MS = 400; // while the moves are worked out
const LEAST_PX = 320; // width of a drawing
const MOST_PX = 700;
const STEP_PX = 20;
/** What the server said last. @type {ConversionAnswer | null} */
let known = null;
let asked = ""; // what the last answer was of: events, rig
let askedAt = -Infinity;
let asking = false;
let again = false; // whether something was done here since the last answer was asked for
let shown = ""; // the answer that is shown
let opened = false; // whether a person opened the panel here

/** Width for a drawing, px. */
function room() {
  const width = Math.floor(id("conversion").clientWidth / STEP_PX) * STEP_PX - STEP_PX;
  return Math.max(LEAST_PX, Math.min(MOST_PX, width));
}

/** What changes whenever a move is marked or the rig changes. */
function mark() {
  const event = numbered("event")[0];
  return JSON.stringify([event?.time_s, event?.kind, event?.text, page.parts.head?.strands.length, page.role, room()]);
}

/** Ask for the plan, with the rigs to choose from where they are not known yet. */
async function look() {
  if (asking) return;
  asking = true;
  again = false;
  const of = mark();
  askedAt = performance.now();
  const query = "/conversion?w=" + room() + (known?.choices.length ? "" : "&choices=1") + sessionQuery("&");
  try {
    const answer = await fetch(query, { cache: "no-store", signal: AbortSignal.timeout(ANSWER_MS) });
    if (answer.ok) {
      /** @type {ConversionAnswer} */
      const planned = await answer.json();
      if (!planned.choices.length && known) planned.choices = known.choices;
      known = planned;
      asked = of;
      show(planned);
    }
  } catch {
    return; // no link: the page says so, and asks again
  } finally {
    asking = false;
  }
}

/**
 * Open the panel for a rig, as another part of the page asks for it.
 * @param {string} rigName of its file, or of the rig on the shelf
 */
export async function openConversion(rigName) {
  opened = true;
  const what = "moves to " + rigName;
  try {
    const answer = await fetch("/act/convert", {
      method: "POST",
      headers: { "Content-Type": "application/json", "X-Haul-Token": page.token },
      body: JSON.stringify({ s: page.session, rig: rigName }),
      signal: AbortSignal.timeout(ANSWER_MS),
    });
    say(what, answer.ok ? "being worked out" : "NOT TAKEN, " + (await answer.text()).slice(0, 200));
  } catch {
    say(what, "NOT TAKEN, no link");
  }
  again = true;
  id("conversion-tile").scrollIntoView({ block: "start" });
}

/** Lead to the list of rigs that the one in use may be made into. */
export function showChoice() {
  id("conversion-tile").scrollIntoView({ block: "start" });
  document.getElementById("conversion-rig")?.focus({ preventScroll: true });
}

/**
 * A drawing of the server as nodes, so that none of it becomes markup of the page.
 * @param {string} svg
 */
function drawn(svg) {
  const found = new DOMParser().parseFromString(svg, "image/svg+xml").documentElement;
  if (found.nodeName !== "svg" || found.querySelector("script, foreignObject, a")) return null;
  return document.importNode(found, true);
}

/** @type {(planned: ConversionAnswer) => HTMLElement} */
function chooser(planned) {
  const form = make("form", "", "row wrap");
  const label = make("label", "Make this rig of the one in use, with the load held");
  const field = make("select");
  field.id = "conversion-rig";
  label.htmlFor = field.id;
  for (const { name, title } of planned.choices) {
    const one = make("option", title === name ? name : title + " (" + name + ")");
    one.value = name;
    one.selected = name === planned.name;
    field.append(one);
  }
  const go = make("button", "Show the moves");
  go.id = "conversion-show";
  form.append(label, field, go);
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    openConversion(field.value);
  });
  return form;
}

/** @type {(planned: ConversionAnswer, move: ShownMove) => HTMLElement} */
function item(planned, move) {
  const row = make("li");
  const made = move.number <= planned.marked || planned.state === "done";
  const next = !made && move.number === planned.marked + 1;
  row.className = made ? "made" : next ? "next" : "later";
  row.append(make("p", (made ? "✓ " : "") + move.number + ". " + move.text), make("p", move.held_by, "held"));
  if (next) row.setAttribute("aria-current", "step");
  const picture = make("details");
  picture.open = next;
  picture.append(make("summary", "the rig after move " + move.number));
  const svg = drawn(move.svg);
  if (svg) picture.append(svg);
  if (next && page.role === "operator") {
    const last = move.number === planned.moves.length;
    const done = button(last ? "Move " + move.number + " is made: haul with the new rig" : "Move " + move.number + " is made",
                        () => touch(move.number, "move " + move.number));
    done.className = "main done";
    row.append(done);
  }
  row.append(picture);
  return row;
}

/** @type {(step: number, what: string) => Promise<void>} */
async function touch(step, what) {
  for (const one of id("conversion").querySelectorAll("button")) one.disabled = true;
  await send("move", what, { step: String(step) });
  again = true;
  shown = "";
}

/** @type {(planned: ConversionAnswer) => HTMLElement[]} */
function body(planned) {
  const parts = [];
  if (planned.state === "working") parts.push(make("p", "Working out the moves to " + planned.title + " …", "said"));
  if (planned.state === "refused") parts.push(make("p", planned.title + ": " + planned.why, "said not"));
  if (planned.state === "done")
    {parts.push(make("p", "Made: the rig in use is " + planned.title + ". Strokes, limits and rope left go on with it.",
                     "said"));}
  if (planned.state !== "ready") return parts;
  parts.push(make("p", planned.title + ": " + planned.ratio + ", " + planned.marked + " of " + planned.moves.length +
    " moves made", "ratio"));
  const facts = make("dl", "", "facts");
  for (const [label, value] of planned.facts) {
    const pair = make("div");
    pair.append(make("dt", label), make("dd", value));
    facts.append(pair);
  }
  parts.push(facts);
  const warnings = make("ul", "", "mind");
  rows(warnings, planned.warnings, () => make("li"), text);
  if (planned.warnings.length) parts.push(warnings);
  const moves = make("ol", "", "moves");
  for (const move of planned.moves) moves.append(item(planned, move));
  parts.push(moves);
  if (page.role !== "operator") return parts;
  const row = make("div", "", "row wrap");
  if (planned.marked >= planned.moves.length)
    {row.append(button("The new rig was not taken: take it now", () => touch(planned.moves.length + 1, "rig changed"),
                       "conversion-rig-now"));}
  parts.push(row);
  return parts;
}

/** @param {ConversionAnswer} planned */
function show(planned) {
  const content = JSON.stringify([planned, page.role]);
  if (content === shown) return;
  shown = content;
  const operator = page.role === "operator";
  id("conversion-tile").hidden = planned.state === "none" && !operator;
  const parts = body(planned);
  if (operator && planned.marked && planned.undo) {
    const what = "undo move " + planned.marked;
    parts.push(button("Undo move " + planned.marked, () => send("undo", what, { channel: "", text: planned.undo }),
                      "conversion-undo"));
  }
  if (operator) parts.push(chooser(planned));
  const place = id("conversion");
  const held = document.activeElement?.id ?? "";
  place.replaceChildren(...parts);
  if (held) document.getElementById(held)?.focus({ preventScroll: true });
  if (opened && planned.state === "ready") place.querySelector(".next")?.scrollIntoView({ block: "nearest" });
}

/**
 * Keep the panel as the server has it.
 * @param {boolean} over whether the recording is over
 */
export function showConversion(over) {
  if (over || !page.role) {
    id("conversion-tile").hidden = true;
    return;
  }
  const due = again || known === null || mark() !== asked || known.state === "working";
  if (due && performance.now() - askedAt > LOOK_MS) look();
}
