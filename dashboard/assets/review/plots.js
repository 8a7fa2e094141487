/* The plots of the review page: force and travel over a window of time that is zoomed and read under the
   pointer, force against travel, efficiency stroke by stroke. */
import { id, make, text } from "../shared/dom.js";
import { ask } from "./ask.js";
import { draw, keys } from "./paint.js";
import { nearest, reading, step } from "./points.js";

/** @import { EfficiencyPlot, LoopAnswer, WindowAnswer } from "./wire.js" */

const LEAST_S = 0.02; // of a window
const GO_S = 4; // around a time that is gone to
const NOTHING_READ = "Point at the plot, or tap it, to read numbers there.";
const coarse = matchMedia("(pointer: coarse)");

// -- over time: a window that the server is asked for --------------------------------------------
/** The last answer. @type {WindowAnswer | null} */
let latest = null;
/** The one that is drawn. @type {WindowAnswer | null} */
let shown = null;
/** The session, s. @type {[number, number]} */
let whole = [0, 1];
/** The window, s; null for the session. @type {[number, number] | null} */
let view = null;
/** The time that is read, s. @type {number | null} */
let cursor = null;
/** The line at the cursor. @type {HTMLElement | null} */
let line = null;
let asking = false;
let again = false;
/** Names the stroke at a time. @type {(time_s: number) => string} */
let strokeAt = () => "";

const plot = () => /** @type {PlotElement} */ (id("time-plot"));
const span = () => view || whole;
const wide = () => span()[1] - span()[0];

/** @type {(from_s: number, to_s: number) => void} */
export function setWhole(from_s, to_s) {
  whole = [from_s, to_s];
}

/** Show a window of time, s. @type {(from_s: number, to_s: number) => Promise<void>} */
export function showWindow(from_s, to_s) {
  const length_s = Math.min(Math.max(to_s - from_s, LEAST_S), whole[1] - whole[0]);
  const begin_s = Math.min(Math.max(from_s, whole[0]), whole[1] - length_s);
  view = length_s >= whole[1] - whole[0] - 1e-9 ? null : [begin_s, begin_s + length_s];
  if (cursor !== null && (cursor < span()[0] || cursor > span()[1])) cursor = null;
  return askWindow();
}

/** Ask for the window.  One question at a time; what was chosen meanwhile is asked next. */
export async function askWindow() {
  if (asking) {
    again = true;
    return;
  }
  asking = true;
  try {
    do {
      again = false;
      const [from, to] = span();
      /** @type {WindowAnswer | null} */
      const sent = await ask("/window",
        { from: from.toFixed(6), to: to.toFixed(6), w: Math.round(plot().clientWidth) || 1000 });
      if (sent) {
        latest = sent;
        await drawTime();
      }
    } while (again);
  } finally {
    asking = false;
  }
}

/** @type {Promise<void>} */
let drawing = Promise.resolve();
/* One drawing after the other, each of what is newest when it begins. */
function drawTime() {
  drawing = drawing.catch(() => undefined).then(drawNewest);
  return drawing;
}

async function drawNewest() {
  if (!latest) return;
  const sent = latest;
  const { figure } = sent;
  plot().classList.toggle("three", Boolean(figure.layout.yaxis3));
  await draw("time-plot", figure, { dragmode: coarse.matches ? false : "zoom" });
  shown = sent;
  timeKey(sent);
  text("time-note", sent.note);
  if (!line) {
    line = make("i", "", "cursor");
    plot().on("plotly_relayout", zoomed);
    plot().on("plotly_doubleclick", () => showWindow(...whole));
  }
  plot().append(line);
  read();
}

/** @param {WindowAnswer} sent */
function timeKey({ traces, figure }) {
  /** @type {[string, string][]} */
  const lines = traces.map((t) => [t.meta, t.name + ", " + t.unit]);
  const names = (figure.layout.shapes ?? []).map((s) => s.name);
  if (names.includes("predicted")) lines.push(["predicted", "predicted haul force ± 95 %"]);
  if (names.includes("stroke") || names.includes("lower")) lines.push(["stroke", "▲ hauling, ▼ lowering"]);
  if (names.includes("reset")) lines.push(["reset", "reset"]);
  if (names.includes("event")) lines.push(["event", "numbers on top: what happened, below"]);
  keys("time-key", lines);
}

/** @param {Record<string, unknown>} change */
function zoomed(change) {
  const from = change["xaxis.range[0]"];
  const to = change["xaxis.range[1]"];
  if (typeof from === "number" && typeof to === "number") showWindow(from, to);
}

/**
 * Move or zoom the window.
 * @param {string} how "in", "out", "left", "right" or "all"
 */
export function moveWindow(how) {
  const [from, to] = span();
  const length_s = to - from;
  const middle = cursor === null ? (from + to) / 2 : cursor;
  if (how === "all") return showWindow(...whole);
  if (how === "in") return showWindow(middle - length_s / 4, middle + length_s / 4);
  if (how === "out") return showWindow(middle - length_s, middle + length_s);
  const by = how === "left" ? -length_s / 2 : length_s / 2;
  return showWindow(from + by, to + by);
}

/** Show a time in the middle, and what came before and after around it. @param {number} at_s */
export function goTo(at_s) {
  const length_s = Math.min(wide(), GO_S);
  cursor = Math.min(Math.max(at_s, whole[0]), whole[1]);
  return showWindow(at_s - length_s / 2, at_s + length_s / 2);
}

// -- numbers under the pointer --------------------------------------------------------------------
function read() {
  const layout = plot()._fullLayout;
  if (!shown || !layout || !line) return;
  line.hidden = cursor === null;
  if (cursor === null) {
    text("time-read", NOTHING_READ);
    return;
  }
  line.style.left = layout.margin.l + layout.xaxis.l2p(cursor) + "px";
  line.style.top = layout.margin.t + "px";
  line.style.height = layout.height - layout.margin.t - layout.margin.b + "px";
  const at = cursor;
  const { figure: { data }, traces } = shown;
  const near = data.find((t) => t.meta === "measured" && t.x.length);
  const everyReading = traces.length > 0 && !traces[0].width_s;
  const k = near ? nearest(near, at) : -1;
  const time = near && everyReading && k >= 0 ? near.x[k] : at;
  const inside = strokeAt(at);
  text("time-read", [
    time.toFixed(everyReading ? 3 : 2) + " s",
    ...(inside ? [inside] : []),
    ...data.map((trace, j) => reading(trace, traces[j], at, wide())),
  ].join("  ·  "));
}

/** @param {PointerEvent} event */
function point(event) {
  const layout = plot()._fullLayout;
  if (!shown || !layout) return;
  const x = layout.xaxis.p2l(event.clientX - plot().getBoundingClientRect().left - layout.margin.l);
  if (x < span()[0] || x > span()[1]) return;
  cursor = x;
  read();
}

/** @type {Record<string, string>} */
const MOVES = { "+": "in", "=": "in", "-": "out", 0: "all", Home: "all" };

/** @param {KeyboardEvent} event */
function key(event) {
  const [from, to] = span();
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  if (MOVES[event.key]) {moveWindow(MOVES[event.key]);}
  else if (event.key === "ArrowLeft" || event.key === "ArrowRight") {
    const steps = event.key === "ArrowLeft" ? -1 : 1;
    if (event.shiftKey) {moveWindow(steps < 0 ? "left" : "right");}
    else {
      const at = cursor ?? (from + to) / 2;
      cursor = Math.min(to, Math.max(from, step(shown?.figure.data[0], shown?.traces[0], at, steps, wide())));
      read();
    }
  } else {return;}
  event.preventDefault();
}

/**
 * Listen to pointer, keys, theme and size.
 * @param {(time_s: number) => string} nameStroke names the stroke at a time
 */
export function beginPlots(nameStroke) {
  strokeAt = nameStroke;
  plot().addEventListener("pointermove", point);
  plot().addEventListener("pointerdown", point);
  plot().addEventListener("keydown", key);
  const anew = () => {
    drawTime();
    drawLoop();
    drawEach();
  };
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", anew);
  let before = innerWidth;
  addEventListener("resize", () => {
    if (Math.abs(innerWidth - before) < 4) return;
    before = innerWidth;
    anew();
  });
}

// -- the two small ones ---------------------------------------------------------------------------
/** @type {LoopAnswer | null} */
let loop = null;
/** @type {EfficiencyPlot | null} */
let each = null;

async function drawLoop() {
  if (!loop) return;
  const { figure, said } = loop;
  await draw("loop-plot", figure);
  /** @type {[string, string][]} */
  const lines = [["measured", "measured"]];
  if (figure.layout.shapes?.length) lines.push(["predicted", "predicted ± 95 %"]);
  keys("loop-key", lines);
  text("loop-said", said);
}

async function drawEach() {
  if (!each) return;
  const { layout, nothing } = each;
  await draw("each-plot", each);
  /** @type {[string, string][]} */
  const lines = [["dot", "stroke ± 95 %"], ["predicted", "predicted ± 95 %"]];
  if (layout.shapes?.some((s) => s.name === "session"))
    lines.splice(1, 0, ["session", "whole session ± 95 %"]);
  keys("each-key", lines);
  text("each-note", nothing);
}

/**
 * Show force against travel.
 * @param {number} stroke its number; 0 for the session
 */
export async function showLoop(stroke) {
  /** @type {LoopAnswer | null} */
  const sent = await ask("/loop", { stroke });
  if (sent) loop = sent;
  await drawLoop();
}

/** @param {EfficiencyPlot} figure */
export function showEach(figure) {
  each = figure;
  return drawEach();
}
