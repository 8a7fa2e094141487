/* Tells the server what a finger touched.  A touch is read where it happens: Dash alone would lose one whose button is
   drawn anew before the call is made, and one that waits while another call runs. */
const MOST = 8; // last touches that are sent with each one, so that none is lost with a call
const AGAIN_MS = 10000; // and no longer than this: a server that was started anew does nothing a second time
const STORE = "touches"; // id of the component that they go into
const READY_EVERY_MS = 50;

const page = crypto.getRandomValues(new Uint32Array(2)).join("-");
/** @type {{at: number, row: [number, string, string | number]}[]} */
let kept = [];
let count = 0;
/** @type {{button: Element, name: string} | null} */
let pressed = null; // under the finger: what it meant when the finger came down

function send() {
  const set = window.dash_clientside?.set_props;
  if (set) set(STORE, { data: { page, touched: kept.map((one) => one.row) } });
  else setTimeout(send, READY_EVERY_MS);
}

/**
 * Tell the server of a touch.
 * @param {string} property of a Dash component, such as {"act":"...","type":"do"}.n_clicks
 * @param {string | number} value
 */
export function touched(property, value) {
  count += 1;
  const now = performance.now();
  kept = [...kept.filter((one) => now - one.at < AGAIN_MS), { at: now, row: /** @type {[number, string, string | number]} */ ([count, property, value]) }].slice(-MOST);
  send();
}

/** Tell the server that an act was asked for. @param {string} act */
export function acted(act) {
  touched(JSON.stringify({ act, type: "do" }) + ".n_clicks", 1);
}

/** The name of an act's button as Dash writes it, "" for any other. @param {HTMLButtonElement} button */
function nameOf(button) {
  const { act } = button.dataset;
  if (act) return JSON.stringify({ act, type: "do" });
  return button.id.startsWith("{") && button.id.includes('"type":"do"') ? button.id : "";
}

/** @param {Event} event */
function buttonOf(event) {
  const target = event.target instanceof Element ? event.target.closest("button") : null;
  return target instanceof HTMLButtonElement ? target : null;
}

/** Tell the server of each touch on a button of Dash, and on one whose act stands in its data. */
export function followTouches() {
  document.addEventListener("pointerdown", (event) => {
    const button = buttonOf(event);
    pressed = button && { button, name: nameOf(button) };
  }, true);
  document.addEventListener("click", (event) => {
    const button = buttonOf(event);
    if (!button) return;
    const name = pressed?.button === button ? pressed.name : nameOf(button);
    pressed = null;
    if (name) touched(name + ".n_clicks", 1);
  });
}

/** The field of Dash that an event is about, null for any other. @param {Event} event */
function fieldOf(event) {
  const field = event.target;
  return field instanceof HTMLInputElement && field.id.startsWith("{") && field.id.includes('"type":"field"') ? field : null;
}

/** Tell the server of each field whose text was changed, with the text. */
export function followTexts() {
  document.addEventListener("change", (event) => {
    const field = fieldOf(event);
    if (field) touched(field.id + ".value", field.value);
  });
}

/** Tell the server of each field that Enter was pressed in; Dash sends its text. */
export function followEnter() {
  document.addEventListener("keydown", (event) => {
    const field = event.key === "Enter" && !event.isComposing ? fieldOf(event) : null;
    // Dash takes the text over first
    if (field) setTimeout(() => touched(field.id + ".n_submit", 1));
  });
}
