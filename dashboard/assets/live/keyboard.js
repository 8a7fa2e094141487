/* Keys of the live page: each touches a control that is on the page. */
import { button, id, make, text } from "../shared/dom.js";
import { leaveQuestion } from "./operator_actions.js";

/** Key, what it does, id of the control ("" for none). */
const KEYS = [
  ["M", "mark", "mark"], ["N", "write a note for the mark", "note"], ["U", "undo the last", "undo"],
  ["A", "acknowledge alarms", "bar-ack"], ["Z", "zero, asks first", "zero"], ["R", "rig changed", "rig-changed"],
  ["E", "end the recording, asks first", "end"], ["P", "pause the view", "pause"],
  ["F", "far view", "far"], ["1 to 5", "time in view", ""], ["S", "sound on or off", "sound"], ["D", "daylight or dark", "theme"],
  ["Esc", "leave a question", ""],
];
let keysOn = true;

/** @param {KeyboardEvent} event */
function press(event) {
  if (!keysOn || event.ctrlKey || event.altKey || event.metaKey || event.repeat) return;
  if (event.key === "Escape") {
    leaveQuestion();
    return;
  }
  const target = event.target;
  if (target instanceof Element && /^(input|textarea|select)$/i.test(target.tagName)) return;
  const key = event.key.toUpperCase();
  if (/^[1-5]$/.test(key)) {
    const span = id("spans").querySelectorAll("button")[Number(key) - 1];
    if (span?.value) span.click();
  }
  const control = KEYS.find((k) => k[0] === key && k[2])?.[2];
  const node = control ? document.getElementById(control) : null;
  if (!node || !node.offsetParent || (node instanceof HTMLButtonElement && node.disabled)) return;
  event.preventDefault();
  if (node instanceof HTMLInputElement) node.focus();
  else node.click();
}

/** Listen to the keys, and write them into the legend. */
export function buildKeyboard() {
  document.addEventListener("keydown", press);
  const keys = make("dl", "", "keyboard");
  for (const [key, what] of KEYS) {
    const item = make("div");
    item.append(make("dt", key), make("dd", what));
    keys.append(item);
  }
  const toggle = button("Keys are on", () => {
    keysOn = !keysOn;
    text(toggle, keysOn ? "Keys are on" : "Keys are off");
    toggle.setAttribute("aria-pressed", String(keysOn));
  }, "keys");
  toggle.setAttribute("aria-pressed", "true");
  id("legend").append(keys, toggle);
}
