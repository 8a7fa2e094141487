/* Plots of the review page in the theme's colours.  Figures come from the server, which names what each trace
   and shape is; no text of a file is ever written into a plot. */
import { id, make } from "../shared/dom.js";
import { stats } from "./ask.js";

const CONFIG = { displayModeBar: false, displaylogo: false, responsive: true, doubleClick: false, scrollZoom: false };
const NARROW_PX = 560;
/** Colour of a trace by what it is. @type {Record<string, string>} */
const TRACES = {
  measured: "--measured", rope: "--measured", load: "--predicted", "force-1": "--other", "force-2": "--other",
  "force-3": "--other",
};
/** @type {Record<string, string>} */
const DASHES = { load: "dash", "force-1": "dot", "force-2": "dash", "force-3": "dashdot" };
/** @type {Record<string, string>} */
const FILLS = { predicted: "--band", session: "--session", stroke: "--stroke", lower: "--lower", reset: "--reset" };
/** @type {Record<string, string>} */
const LINES = { "predicted-line": "--predicted", event: "--muted" };
const AXES = /** @type {const} */ (["xaxis", "yaxis", "yaxis2", "yaxis3"]);

/** @param {string} name of a colour */
function get(name) {
  return getComputedStyle(id("page")).getPropertyValue(name).trim();
}

/** @type {(trace: PlotTrace) => PlotTrace} */
function paintedTrace(trace) {
  const meta = trace.meta ?? "";
  const color = get(TRACES[meta] || "--measured");
  return {
    ...trace, hoverinfo: "skip",
    ...(trace.line ? { line: { ...trace.line, color, dash: DASHES[meta] || "solid" } } : {}),
    ...(trace.marker ? { marker: { ...trace.marker, color } } : {}),
    ...(trace.error_y ? { error_y: { ...trace.error_y, color } } : {}),
  };
}

/** @type {(given: PlotLayout, more: Partial<PlotLayout>) => PlotLayout} */
function paintedLayout(given, more) {
  const narrow = innerWidth < NARROW_PX;
  const axis = {
    gridcolor: get("--line"), linecolor: get("--muted"), tickcolor: get("--muted"), zerolinecolor: get("--line"),
  };
  const layout = { ...given, ...more };
  layout.font = { color: get("--muted"), size: narrow ? 12 : 13, family: "inherit" };
  for (const name of AXES) {
    const one = layout[name];
    const nticks = name === "xaxis" ? (narrow ? 5 : 10) : narrow ? 5 : 6;
    if (one) layout[name] = { ...one, ...axis, nticks };
  }
  if (narrow && layout.margin) layout.margin = { ...layout.margin, l: 52, r: 8 };
  layout.shapes = (layout.shapes || []).map((shape) => ({
    ...shape,
    ...(FILLS[shape.name ?? ""] ? { fillcolor: get(FILLS[shape.name ?? ""]) } : {}),
    line: { ...shape.line, color: get(LINES[shape.name ?? ""] || "--line") },
  }));
  layout.annotations = (layout.annotations || []).map((note) => ({
    ...note, font: { ...note.font, color: get(note.name === "event" ? "--ink" : "--muted") },
  }));
  return layout;
}

/**
 * Draw a figure: what the page alone knows is filled in, colours, sizes, what a finger may do.
 * @param {string} name id of the plot
 * @param {PlotFigure} figure
 * @param {Partial<PlotLayout>} [more]
 */
export async function draw(name, figure, more = {}) {
  // a plot that takes no gesture leaves the finger to scroll the page
  const staticPlot = !more.dragmode;
  await window.Plotly?.react(
    id(name), figure.data.map(paintedTrace), paintedLayout(figure.layout, more), { ...CONFIG, staticPlot });
  stats.drawn++;
}

/**
 * The key beside a plot: class of the sample, text.
 * @param {string} name id of its place
 * @param {[string, string][]} lines
 */
export function keys(name, lines) {
  const place = id(name);
  place.textContent = "";
  for (const [sample, content] of lines) {
    const item = make("span", "", "key");
    item.append(make("i", "", sample), make("span", content));
    place.append(item);
  }
}
