/* What a person asks of the recorder.  Each request is shown as sent, then as taken or refused when the
   recorder's own row comes back; NOT TAKEN where that takes longer than a second. */
import { button, id, list, make, text } from "../shared/dom.js";
import { page } from "./page_state.js";

/** @import { Answered, Head } from "./wire.js" */

const TAKEN_WITHIN_MS = 1000;
const FORGOTTEN_MS = 30000;
const SHOWN = 3;
const MOST_NOTE = 300; // characters
const MOST_NUMBER = 20; // characters
const NUMBER = /^[-+]?([0-9]+([.,][0-9]*)?|[.,][0-9]+)$/;
/** A comma before three digits, which may stand for thousands. */
const UNCLEAR = /,[0-9]{3}$/;
/** Requests that the recorder has not answered: id -> what was asked, when. @type {Map<string, [string, number]>} */
const waiting = new Map();
/** The last requests and what became of them, the newest first. @type {[string, string][]} */
let said = [];
/** @type {HTMLElement | null} */
let question = null;

/** @type {(what: string, how: string) => void} */
export function say(what, how) {
  said = [/** @type {[string, string]} */ ([what, how]), ...said.filter((row) => row[0] !== what)].slice(0, SHOWN);
  text("hands-said", what + ": " + how);
  list("hands-before", said.slice(1).map((row) => row[0] + ": " + row[1]));
  id("hands-said").classList.toggle("not", /^NOT TAKEN|^REFUSED/.test(how));
}

/**
 * Send a request.
 * @param {string} verb
 * @param {string} what the request in words
 * @param {object} body
 */
export async function send(verb, what, body) {
  const sent = performance.now();
  say(what, "sent");
  try {
    const answer = await fetch("/act/" + verb, {
      method: "POST",
      headers: { "Content-Type": "application/json", "X-Haul-Token": page.token },
      body: JSON.stringify({ s: page.session, ...body }),
      signal: AbortSignal.timeout(3000),
    });
    if (answer.ok) waiting.set((await answer.json()).id, [what, sent]);
    else say(what, "NOT TAKEN, " + (await answer.text()).slice(0, 200));
  } catch {
    say(what, "NOT TAKEN, no link");
  }
}

/** @type {(verb: string, what: string, channel?: string, note?: string) => Promise<void>} */
export function ask(verb, what, channel = "", note = "") {
  return send(verb, what, { channel, text: note.slice(0, MOST_NOTE) });
}

export function acknowledge() {
  ask("ack", "acknowledge");
}

/**
 * Ask before doing: a sentence and buttons above the bar, within reach.
 * @param {string} sentence
 * @param {HTMLButtonElement[]} choices what may be done; the first has the focus
 */
export function choose(sentence, choices) {
  leaveQuestion();
  question = make("div", "", "question");
  question.setAttribute("role", "alertdialog");
  question.setAttribute("aria-label", sentence);
  const row = make("div", "", "row wrap");
  row.append(...choices, button("Leave it", leaveQuestion));
  question.append(make("p", sentence), row);
  id("bar").prepend(question);
  choices[0]?.focus({ preventScroll: true });
}

/**
 * Ask whether to do it.
 * @param {string} sentence
 * @param {string} yes
 * @param {() => void} then
 */
export function sure(sentence, yes, then) {
  const go = button(yes, () => {
    leaveQuestion();
    then();
  }, "sure");
  go.className = "main";
  choose(sentence, [go]);
}

export function leaveQuestion() {
  if (question) question.remove();
  question = null;
}

function noteForm() {
  const form = make("form", "", "row");
  const note = make("input");
  note.id = "note";
  note.maxLength = MOST_NOTE;
  note.placeholder = "note for a mark";
  note.setAttribute("aria-label", "note for a mark");
  const mark = make("button", "Mark", "main");
  mark.id = "mark";
  form.append(note, mark);
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    ask("mark", "mark", "", note.value);
    note.value = "";
    note.blur();
  });
  return form;
}

/**
 * A field for the number of a channel that a person enters; the moment is that of the touch.
 * @param {string} name of the channel
 * @param {string} unit
 * @param {number} k which of these channels, from 0
 */
function numberForm(name, unit, k) {
  const form = make("form", "", "row");
  const label = make("label", name + ", " + unit);
  const field = make("input");
  field.id = "number-" + k;
  label.htmlFor = field.id;
  field.inputMode = "decimal";
  field.autocomplete = "off";
  field.maxLength = MOST_NUMBER;
  const sign = button("±", () => {
    field.value = field.value.startsWith("-") ? field.value.slice(1) : "-" + field.value;
    field.focus();
  });
  sign.setAttribute("aria-label", "change the sign of " + name);
  const enter = make("button", "Enter " + name, "main");
  enter.id = "enter-" + k;
  form.append(label, field, sign, enter);
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const entered = field.value.trim();
    const what = name + " " + entered + " " + unit;
    if (!NUMBER.test(entered)) {
      say(what, "NOT TAKEN, write a number such as 12.5");
    } else if (UNCLEAR.test(entered)) {
      say(what, "NOT TAKEN, does the comma stand before decimals? write a point");
    } else {
      send("hand", what, { channel: name, value: entered.replace(",", ".") });
      field.value = "";
      field.blur();
    }
  });
  return form;
}

/**
 * Build the controls beside the bar, once.
 * @param {Head} head
 */
export function buildActions(head) {
  const place = id("said-more");
  if (place.firstChild) return;
  const more = make("div", "", "row wrap");
  more.append(button("Undo last", () => ask("undo", "undo"), "undo"));
  const before = make("ul", "", "note");
  before.id = "hands-before";
  const entered = head.channels.filter((c) => c.entered_in)
    .map((c, k) => numberForm(c.name, c.entered_in, k));
  place.append(...entered, noteForm(), more, before);
  setInterval(overdue, 100);
}

function overdue() {
  for (const [name, [what, sent]] of waiting) {
    const since = performance.now() - sent;
    if (since > FORGOTTEN_MS) waiting.delete(name);
    else if (since > TAKEN_WITHIN_MS) say(what, "NOT TAKEN for " + Math.floor(since / 1000) + " s");
  }
}

/**
 * Take what the recorder did with requests.
 * @param {Answered[]} answers
 */
export function takeAnswers(answers) {
  for (const { id: name, kind, text: why } of answers) {
    const asked = waiting.get(name);
    if (!asked) continue;
    say(asked[0], kind === "refused" ? "REFUSED, " + why : "taken");
    waiting.delete(name);
  }
}
