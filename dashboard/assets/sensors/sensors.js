/* The sensors page: shows what runs by (ports, lines, values), and tells Dash what a finger touched in it. What only a
   touch changes is made by Dash. */
import { button, id, make, rows, text } from "../shared/dom.js";
import { showDrawing, touchedOn } from "../shared/drawing.js";
import { codeTaken } from "../shared/operator_link.js";
import { acted, followEnter, followTouches } from "../shared/touches.js";

const SETTLE_MS = 200; // after the last change of the window's size
const LIFT_MS = 60; // from a finger that lifts to its click: a browser needs a frame or two
const MOST_HELD_MS = 1500; // a finger that rests longer does not keep the page still

/**
 * @typedef {{port: string, name: string, label: string, word: string, mind: boolean, tips: string[],
 *   asks: {text: string, buttons: [string, string][]}[], buttons: [string, string][],
 *   lines: [string, string, string][][]}} PortShown
 * @typedef {{version: number, may: boolean, ports: PortShown[], channels: Record<string, [string, string]>,
 *   step: {rows: [string, string][], buttons: [string, string][]}}} Live
 */

/** @type {Live | null} */
let live = null;
let held = 0; // a timer while a finger is on the page, which then stays as it is

/** A button of the live part; what it does stands in its data. */
function liveButton() {
  return button("", () => undefined);
}

/** @type {(node: HTMLElement, pair: [string, string]) => void} */
function fillButton(node, [label, act]) {
  text(node, label);
  node.dataset.act = act;
  node.toggleAttribute("disabled", !live?.may);
}

/* -- ports and lines ---------------------------------------------------------------------------- */
function newPort() {
  const port = make("article", "", "port");
  const head = make("div", "", "head");
  head.append(make("h3"), make("span", "", "label"));
  // its buttons above what the device says, so that it never moves one from under a finger
  port.append(head, make("p", "", "word"), make("div", "", "choices"), make("ul", "", "tips"),
    make("div", "", "asks"), make("div", "", "lines"));
  return port;
}

/** @type {(port: HTMLElement, shown: PortShown) => void} */
function fillPort(port, shown) {
  const [head, word, buttons, tips, asks, lines] = /** @type {HTMLElement[]} */ ([...port.children]);
  if (!head || !word || !tips || !asks || !lines || !buttons) return;
  const [title, label] = [...head.children];
  if (title && label) {
    text(title, shown.name);
    text(label, shown.label);
  }
  text(word, shown.word);
  word.classList.toggle("mind", shown.mind);
  rows(tips, shown.tips, () => make("li"), text);
  rows(asks, shown.asks, () => {
    const ask = make("div", "", "asked");
    ask.append(make("p"), make("div", "", "choices"));
    return ask;
  }, (ask, one) => {
    const [said, choices] = /** @type {HTMLElement[]} */ ([...ask.children]);
    if (!said || !choices) return;
    text(said, one.text);
    rows(choices, one.buttons, liveButton, fillButton);
  });
  lines.hidden = shown.lines.length === 0;
  lines.setAttribute("role", "group");
  lines.setAttribute("aria-label", `Last lines of ${shown.name}`);
  rows(lines, shown.lines, () => make("p", "", "line"), (line, parts) => {
    const last = line === lines.lastElementChild;
    fillLine(line, parts, shown.port, last);
  });
  rows(buttons, shown.buttons, liveButton, (node, pair) => {
    fillButton(node, pair);
    node.setAttribute("aria-label", `${pair[0]}: ${shown.name}`);
    node.classList.toggle("strong", pair[0] === "Listen");
  });
}

/**
 * Fill a line: numbers are buttons. Elements stay where they are, so that a focus does too.
 * @type {(line: HTMLElement, parts: [string, string, string][], port: string, last: boolean) => void}
 */
function fillLine(line, parts, port, last) {
  parts.forEach(([content, place, channel], k) => {
    let node = line.children[k];
    if (!node || (node.tagName === "BUTTON") !== (place !== "")) {
      const fresh = place ? liveButton() : make("span");
      if (node) node.replaceWith(fresh);
      else line.append(fresh);
      node = fresh;
    }
    text(node, content);
    if (!(node instanceof HTMLButtonElement)) return;
    node.dataset.act = JSON.stringify(["number", port, place]);
    node.classList.toggle("taken", channel !== "");
    node.setAttribute("aria-label", `${content}, ${place}${channel ? `, channel ${channel}` : ""}`);
    node.title = channel || place;
    node.disabled = !live?.may;
    node.tabIndex = last ? 0 : -1; // by keyboard the last line is enough
  });
  while (line.children.length > parts.length) line.lastChild?.remove();
}

function show() {
  if (!live || held) return;
  rows(id("ports"), live.ports, newPort, fillPort);
  for (const node of document.querySelectorAll("[data-value]")) {
    if (!(node instanceof HTMLElement)) continue;
    const [value, level] = live.channels[node.dataset.value ?? ""] ?? ["", "none"];
    text(node, value);
    node.dataset.level = level;
  }
  const place = document.getElementById("step-live");
  if (place) {
    if (!place.firstChild) place.append(make("div", "", "choices"), make("div"));
    const [choices, said] = /** @type {HTMLElement[]} */ ([...place.children]);
    if (!said || !choices) return;
    rows(said, live.step.rows, () => make("p"), (node, [content, kind]) => {
      text(node, content);
      node.className = kind;
    });
    rows(choices, live.step.buttons, liveButton, fillButton);
    // what stands below does not rise again while the question is open
    const most = Math.max(Number(place.dataset.most) || 0, place.offsetHeight);
    place.dataset.most = String(most);
    place.style.minHeight = `${most}px`;
  }
  for (const node of document.querySelectorAll("#step button, #channels button, #file button, #hand button, .typed button"))
    node.toggleAttribute("data-viewer", !live.may);
  id("page").toggleAttribute("data-viewer", !live.may);
}

/* -- the drawing -------------------------------------------------------------------------------- */
/** Draw the rig into an element that Dash made for it. @type {(place: HTMLElement) => void} */
function draw(place) {
  if (place.dataset.drawn === String(place.dataset.svg?.length) && place.firstChild) return;
  place.dataset.drawn = String(place.dataset.svg?.length);
  showDrawing(place);
  place.onclick = (event) => {
    const what = touchedOn(place, event.clientX, event.clientY);
    if (what) acted(JSON.stringify(["touched", what]));
  };
}

/* -- keys: a question takes the focus when it opens, and gives it back -------------------------- */
function followSteps() {
  const step = id("step");
  let keys = false; // whether the last touch was a key
  /** @type {Element | null} */
  let from = null; // what had the focus before
  let title = "";
  document.addEventListener("keydown", (event) => {
    if (event.key === "Enter" || event.key === " ") keys = true;
  }, true);
  document.addEventListener("pointerdown", () => {
    keys = false;
  }, true);
  document.addEventListener("focusin", (event) => {
    if (event.target instanceof Element && !step.contains(event.target)) from = event.target;
  });
  new MutationObserver(() => {
    for (const place of step.querySelectorAll("[data-svg]"))
      if (place instanceof HTMLElement) draw(place);
    const head = document.getElementById("step-title");
    const now = step.hidden ? "" : `${head?.textContent} ${step.querySelector(".about")?.textContent}`;
    if (now === title) return;
    title = now;
    const place = document.getElementById("step-live");
    if (place) {
      place.dataset.most = "";
      place.style.minHeight = "";
    }
    show();
    if (now) {
      if (!keys) window.scrollTo(0, 0);
      const next = step.querySelector(".strong, .field input, .choices button");
      if (keys && next instanceof HTMLElement) next.focus();
    } else if (keys && from instanceof HTMLElement && from.isConnected) {
      from.focus();
    }
  }).observe(step, { childList: true, subtree: true, attributes: true, attributeFilter: ["hidden", "data-svg"] });
}

/* -- a finger: between its touch and the click nothing moves ------------------------------------ */
function holdStill() {
  /** @type {(after: number) => void} */
  const letGo = (after) => {
    clearTimeout(held);
    held = window.setTimeout(() => {
      held = 0;
      show();
    }, after);
  };
  document.addEventListener("pointerdown", () => letGo(MOST_HELD_MS), true);
  for (const end of ["pointerup", "pointercancel"]) document.addEventListener(end, () => letGo(LIFT_MS), true);
}

async function begin() {
  await codeTaken;
  const ready = () => document.getElementById("live") && window.dash_clientside?.set_props;
  while (!ready()) await new Promise((done) => setTimeout(done, 50));
  const feed = id("live");
  const read = () => {
    if (!feed.dataset.live) return;
    live = /** @type {Live} */ (JSON.parse(feed.dataset.live));
    show();
  };
  new MutationObserver(read).observe(feed, { attributes: true, attributeFilter: ["data-live"] });
  holdStill();
  // what Dash made anew has no values yet
  new MutationObserver(show).observe(id("channels"), { childList: true });
  followSteps();
  read();
  const measure = () => window.dash_clientside?.set_props?.("width", { data: Math.round(id("page").clientWidth - 56) });
  let waiting = 0;
  window.addEventListener("resize", () => {
    clearTimeout(waiting);
    waiting = window.setTimeout(measure, SETTLE_MS);
  });
  measure();
}

followEnter();
followTouches();
begin();
