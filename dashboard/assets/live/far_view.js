/* The far view: one number over the whole screen, its share of the stop level and the state, for those who stand
   beside the rope.  On a phone held upright it runs along the screen's height. */
import { button, id, make, text } from "../shared/dom.js";
import { farSize } from "./far_text.js";

// the name of a namespace, put together: it is no address, and no script here holds one
const SVG = ["http:", "", "www.w3.org", "2000", "svg"].join("/");
const PROBE = "0123456789";
let open = false;
/** What is shown now. @type {Far} */
let shown = { number: "", state: "", share: "", level: "" };
/** @type {Element | null} */
let before = null;
/** @type {Promise<{ release(): Promise<void> } | null> | null} */
let awake = null;

/**
 * What the far view shows.
 * @typedef {object} Far
 * @property {string} number the tension without its unit, or a word in its place
 * @property {string} state in words
 * @property {string} share the unit, and the share of the stop level
 * @property {string} level "stop", "caution" or ""
 */

/** Height of a digit and width of a text, for a font of 1 px. @type {(font: string, content: string) => [number, number]} */
function measured(font, content) {
  const paper = document.createElement("canvas").getContext("2d");
  if (!paper) return [0.73, 0.64 * content.length];
  const size = 200;
  paper.font = `700 ${size}px ${font}`;
  return [paper.measureText(PROBE).actualBoundingBoxAscent / size, paper.measureText(content).width / size];
}

function build() {
  const view = make("div");
  view.id = "far-view";
  view.setAttribute("role", "dialog");
  view.setAttribute("aria-modal", "true");
  view.setAttribute("aria-label", "Far view");
  const frame = make("div");
  frame.id = "far-frame";
  const state = make("p");
  state.id = "far-state";
  const share = make("p");
  share.id = "far-share";
  const drawing = document.createElementNS(SVG, "svg");
  const number = document.createElementNS(SVG, "text");
  number.id = "far-number";
  drawing.append(number);
  frame.append(state, drawing, share);
  view.append(frame, button("Back", close, "far-back"));
  view.addEventListener("click", close);
  document.body.append(view);
}

function fill() {
  const { innerWidth: width, innerHeight: height } = window;
  const number = document.getElementById("far-number");
  const drawing = number?.parentElement;
  if (!open || !number || !drawing) return;
  const [rise, run] = measured(getComputedStyle(document.body).fontFamily, shown.number || "0");
  const { turned, font, squeeze, digits } = farSize(width, height, rise, run);
  const [long, short] = turned ? [height, width] : [width, height];
  id("far-view").dataset.level = shown.level;
  const frame = id("far-frame");
  frame.classList.toggle("turned", turned);
  frame.style.width = long + "px";
  frame.style.height = short + "px";
  drawing.setAttribute("width", String(long));
  drawing.setAttribute("height", String(Math.ceil(digits)));
  number.setAttribute("transform", `translate(${long / 2} ${digits}) scale(${squeeze} 1)`);
  number.setAttribute("font-size", String(font));
  number.setAttribute("data-high", String(digits));
  text(number, shown.number);
  text("far-state", shown.state);
  text("far-share", shown.share);
  id("far-state").classList.toggle("long", shown.state.length > 36);
}

/** Show what is new. @param {Far} now */
export function showFar(now) {
  shown = now;
  fill();
}

function close() {
  if (!open) return;
  open = false;
  document.getElementById("far-view")?.remove();
  document.documentElement.classList.remove("far");
  awake?.then((lock) => lock?.release());
  awake = null;
  if (before instanceof HTMLElement) before.focus({ preventScroll: true });
}

/** Open the far view; a touch anywhere or Esc closes it. */
export function openFar() {
  if (open) {
    close();
    return;
  }
  open = true;
  before = document.activeElement;
  build();
  document.documentElement.classList.add("far");
  id("far-back").focus({ preventScroll: true });
  // the screen stays on where the browser lets a page ask for it
  awake = "wakeLock" in navigator ? navigator.wakeLock.request("screen").catch(() => null) : null;
  fill();
}

/** Make its button work. */
export function buildFar() {
  id("far").addEventListener("click", openFar);
  window.addEventListener("resize", fill);
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape") close();
  });
}
