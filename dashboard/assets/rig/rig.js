/* The rig page: shows the drawing that the server made, and tells Dash what a finger touched on it. */
import { followFinger, touchedAt } from "./menu_place.js";
import { id } from "../shared/dom.js";
import { showDrawing, touchedOn } from "../shared/drawing.js";
import { codeTaken } from "../shared/operator_link.js";

const SETTLE_MS = 200; // after the last change of the window's size

/** @type {(name: string, value: unknown) => void} */
function tell(name, value) {
  window.dash_clientside?.set_props?.(name, { data: value });
}

/** Show the drawing anew whenever Dash sets another. @type {(place: HTMLElement) => void} */
function follow(place) {
  const show = () => showDrawing(place);
  new MutationObserver(show).observe(place, { attributes: true, attributeFilter: ["data-svg"] });
  show();
  place.addEventListener("click", (event) => {
    const what = touchedOn(place, event.clientX, event.clientY);
    if (what) {
      touchedAt(event.clientX, event.clientY);
      tell("touched", { ...what, at: Date.now() });
    }
  });
  const measure = () => tell("width", Math.round(place.clientWidth));
  let waiting = 0;
  window.addEventListener("resize", () => {
    clearTimeout(waiting);
    waiting = window.setTimeout(measure, SETTLE_MS);
  });
  measure();
}

/* Buttons that change no rig: what they carry goes into a store of the page, from which Dash answers. */
function followStores() {
  document.addEventListener("click", (event) => {
    const button = event.target instanceof Element ? event.target.closest("button") : null;
    if (button?.dataset.touch) tell("touched", { ...JSON.parse(button.dataset.touch), at: Date.now() });
    if (button?.dataset.store) tell(button.dataset.store, button.dataset.value ?? "");
  });
}

/* By keyboard: the menu takes the focus when it opens, and the rope's list takes it back, at the place where
   the next part goes. */
function followKeys() {
  const menu = id("menu");
  let keys = false; // whether the last touch was a key
  let place = 0; // which button of the rope's list had the focus
  let open = false;
  document.addEventListener("keydown", (event) => {
    if (event.key === "Enter" || event.key === " ") keys = true;
  }, true);
  document.addEventListener("pointerdown", () => {
    keys = false;
  }, true);
  document.addEventListener("focusin", (event) => {
    const index = rope().indexOf(/** @type {HTMLButtonElement} */ (event.target));
    if (index >= 0) place = index;
  });
  const rope = () => [...document.querySelectorAll("#ropes button")];
  new MutationObserver(() => {
    const opened = !menu.hidden && menu.childElementCount > 0;
    if (opened === open && !(opened && !menu.contains(document.activeElement))) return;
    open = opened;
    if (!keys) return;
    const next = opened ? menu.querySelector(".choices button, .field input") : rope()[Math.min(place + 2, rope().length - 2)];
    if (next instanceof HTMLElement) next.focus({ preventScroll: opened });
  }).observe(menu, { childList: true, attributes: true, attributeFilter: ["hidden"] });
}

async function begin() {
  await codeTaken;
  const ready = () => document.getElementById("drawing") && window.dash_clientside?.set_props;
  while (!ready()) await new Promise((done) => setTimeout(done, 50));
  follow(id("drawing"));
  followStores();
  followFinger(id("menu"));
  followKeys();
}

begin();
