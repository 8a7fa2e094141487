/* The live graph: takes bins of force and travel, and alone sets the figure. */
import { id, make } from "../shared/dom.js";
import { forceAxis, forcePlusMinus, forceText, lengthAxis } from "../shared/format.js";
import { Bins, inView, line, niceEnd, range } from "./bins.js";

/** @import { SinceAnswer, Head, Span } from "./wire.js" */
/** @typedef {{ ink: string, panel: string, faint: string, muted: string, travel: string, measured: string,
 *   predicted: string, band: string, stop: string, caution: string }} Colours */

const TRAVEL_GAP_S = 1.5; // of travel left open in the drawing: common practice, no source
/** Where strokes and resets are drawn, as shares of the plot's height. @type {Record<string, [number, number]>} */
const STROKE = { haul: [0.345, 0.372], lower: [0.345, 0.372], reset: [0.31, 0.337] };
const CONFIG = { displayModeBar: false, displaylogo: false, staticPlot: true, responsive: true };
const force = new Bins(4);
const travel = new Bins(3);
/** @type {Head | null} */
let head = null;
/** @type {Colours | null} */
let colours = null;
let drawn = ""; // what the figure was drawn from

/** What the graph shows; points are those of both lines. */
export const graph = {
  /** Highest, lowest and mean force in view, N. @type {ReturnType<typeof inView>} */
  view: null,
  points: 0,
};

/** Forget all bins: the server is asked for another span. */
export function resetGraph() {
  force.reset();
  travel.reset();
  drawn = "";
}

/** Read the theme's colours again at the next drawing. */
export function forgetColours() {
  colours = null;
  drawn = "";
}

/** @param {SinceAnswer} answer */
export function takeBins(answer) {
  force.take(answer.force);
  travel.take(answer.travel);
}

/**
 * Take the head, and write the key of the graph.
 * @param {Head} given
 */
export function takeHead(given) {
  head = given;
  force.base_s = travel.base_s = head.bin_s;
  drawn = "";
  const place = id("graph-key");
  place.textContent = "";
  /** @type {(name: string, content: string) => void} */
  const key = (name, content) => {
    const item = make("span", "", "key");
    item.append(make("i", "", name), make("span", content));
    place.append(item);
  };
  key("measured", "force");
  if (head.haul_cell && head.haul_force_N !== null)
    key("predicted", "predicted " + forcePlusMinus(head.haul_force_N, head.haul_force_U95_N));
  if (head.stop_levels.length) key("limit", "stop level " + forceText(head.stop_levels[0].force_N));
  if (head.caution_N !== null) key("caution", "caution " + forceText(head.caution_N));
  key("stroke", "stroke");
  key("reset", "reset");
  key("mark", "mark");
  key("sudden", "shock or slip");
  if (head.travel_title) key("travelled", head.travel_title.toLowerCase() + ", below");
}

/** @returns {Colours} */
function readColours() {
  const style = getComputedStyle(document.documentElement);
  const get = (/** @type {string} */ name) => style.getPropertyValue(name).trim();
  return {
    ink: get("--ink"), panel: get("--panel"), faint: get("--line"), muted: get("--muted"), travel: get("--way"),
    measured: get("--measured"), predicted: get("--predicted"), band: get("--band"), stop: get("--stop"),
    caution: get("--caution-line"),
  };
}

/**
 * The band of the prediction and the levels, at forces in one unit.
 * @param {Head} of
 * @param {Colours} paint
 * @param {number} top_N force at the top of the plot
 * @param {number} size newtons in the unit of the axis
 */
function levelShapes(of, paint, top_N, size) {
  /** @type {PlotShape[]} */
  const made = [];
  /** @type {PlotShape} */
  const across = { xref: "paper", x0: 0, x1: 1, layer: "between" };
  /** @type {(at_N: number, color: string, width: number, dash: string) => void} */
  const level = (at_N, color, width, dash) =>
    made.push({ ...across, type: "line", y0: at_N / size, y1: at_N / size, line: { width, color, dash } });
  if (of.haul_cell && of.haul_force_N !== null) {
    made.push({
      ...across, type: "rect", y0: Math.max(0, of.haul_force_N - of.haul_force_U95_N) / size,
      y1: (of.haul_force_N + of.haul_force_U95_N) / size, line: { width: 0 }, fillcolor: paint.band,
    });
    level(of.haul_force_N, paint.predicted, 1.5, "dash");
  }
  const stop_N = of.stop_levels[0]?.force_N;
  if (stop_N !== undefined && stop_N < top_N) level(stop_N, paint.stop, 3, "solid");
  if (of.caution_N !== null && of.caution_N < top_N) level(of.caution_N, paint.caution, 2, "dot");
  return made;
}

/**
 * Strokes, resets, marks and what was sudden, as far as they are in view.
 * @param {Span[]} spans
 * @param {Colours} paint
 * @param {number} start_s
 * @param {number} end_s
 * @param {number} now_s what still goes on ends there
 */
function spanShapes(spans, paint, start_s, end_s, now_s) {
  /** @type {PlotShape[]} */
  const made = [];
  for (const [from_s, to_s, kind] of spans) {
    const until_s = to_s === null ? Math.min(now_s, end_s) : to_s;
    if (until_s < start_s || from_s > end_s) continue;
    const x0 = Math.max(from_s, start_s) * 1000;
    const x1 = Math.min(until_s, end_s) * 1000;
    const heights = STROKE[kind];
    if (heights) {
      made.push({
        type: "rect", xref: "x", yref: "paper", x0, x1, y0: heights[0], y1: heights[1],
        fillcolor: kind === "reset" ? paint.panel : paint.ink, line: { width: 1.5, color: paint.ink },
      });
    } else {
      const mark = kind === "mark";
      made.push({
        type: "line", xref: "x", yref: "paper", x0, x1: x0, y0: mark ? 0 : 0.4, y1: 1,
        line: { width: mark ? 1.5 : 2.5, color: mark ? paint.ink : paint.stop, dash: mark ? "dot" : "solid" },
      });
    }
  }
  return made;
}

/**
 * How high the axis of the force has to reach, N: over what is in view, over the prediction, and over a
 * level that the force comes near.
 * @param {Head} of
 * @param {number} highest_N in view
 */
function forceReach(of, highest_N) {
  const predicted_N = of.haul_cell && of.haul_force_N ? of.haul_force_N + of.haul_force_U95_N : 0;
  let reach_N = Math.max(highest_N * 1.04, 1, predicted_N * 1.15);
  for (const at_N of [of.stop_levels[0]?.force_N ?? 0, of.caution_N ?? 0])
    if (at_N && highest_N > 0.6 * at_N) reach_N = Math.max(reach_N, at_N * 1.08);
  return reach_N;
}

/**
 * Draw what is there.  A promise while something is drawn, null where nothing is new.
 * @param {number | null} span_s how long a time is in view; null for everything
 * @param {number} now_s the time at the right edge
 * @param {Span[]} spans
 */
export function drawGraph(span_s, now_s, spans) {
  const holder = /** @type {PlotElement | null} */ (document.querySelector("#live-graph .js-plotly-plot"));
  if (!holder || !window.Plotly || !holder._fullLayout || !head) return null;
  const paint = (colours ??= readColours());
  const end_s = span_s === null ? Math.max(now_s, 10) : Math.max(now_s, span_s);
  const start_s = span_s === null ? 0 : end_s - span_s;
  const bins = force.between(start_s, end_s);
  const travelBins = travel.between(start_s, end_s);
  graph.view = inView(bins);
  const [x, y] = line(bins, force.width_s, head.drawn_stale_s);
  const [travelX, travelY] = line(travelBins, travel.width_s, TRAVEL_GAP_S);
  const [lowest_N, highest_N] = bins.length ? range(bins) : [0, 1];
  const reach_N = forceReach(head, highest_N);
  const [unit, size] = forceAxis(niceEnd(reach_N)); // the axis is round in what is shown
  const [lengthUnit, metres] = lengthAxis();
  const top_N = niceEnd(reach_N / size) * size;
  const bottom_N = lowest_N < -0.03 * top_N ? -niceEnd(-lowest_N / size) * size : -0.03 * top_N;
  const [nearest_m, farthest_m] = travelBins.length ? range(travelBins) : [0, 1];
  const key = [x.length, x[x.length - 1], y[y.length - 1], travelX.length, travelY[travelY.length - 1], start_s, end_s,
               top_N, spans.length, holder.clientWidth, holder.clientHeight, paint.ink].join();
  if (key === drawn) return null;
  drawn = key;
  graph.points = x.length + travelX.length;
  const layout = holder.layout;
  layout.font = { color: paint.muted, size: 13, family: "inherit" };
  layout.xaxis.range = [start_s * 1000, end_s * 1000];
  layout.xaxis.tickformat = end_s < 3600 ? "%-M:%S" : "%-H:%M:%S";
  layout.xaxis.nticks = holder.clientWidth < 500 ? 4 : 8;
  layout.yaxis.range = [bottom_N / size, top_N / size];
  layout.yaxis.title.text = unit;
  layout.yaxis2.title.text = lengthUnit;
  layout.yaxis2.range = [nearest_m < -0.05 ? -niceEnd(-nearest_m / metres) : 0,
                         niceEnd(Math.max(1, (farthest_m * 1.02) / metres))];
  for (const axis of [layout.xaxis, layout.yaxis, layout.yaxis2]) {
    axis.autorange = false;
    axis.gridcolor = paint.faint;
    axis.linecolor = paint.muted;
    axis.tickcolor = paint.muted;
  }
  layout.shapes = [...levelShapes(head, paint, top_N, size), ...spanShapes(spans, paint, start_s, end_s, now_s)];
  layout.datarevision = (layout.datarevision || 0) + 1;
  const [one, two] = holder.data;
  const shown = y.map((v) => (v === null ? null : v / size));
  const shownTravel = travelY.map((v) => (v === null ? null : v / metres));
  return window.Plotly.react(
    holder,
    [{ ...one, x, y: shown, line: { ...one.line, color: paint.measured } },
     { ...two, x: travelX, y: shownTravel, line: { ...two.line, color: paint.travel } }],
    layout, CONFIG
  );
}
