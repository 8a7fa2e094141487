/* What a person asks of the recorder.  Each request is shown as sent, then as taken or refused when the
   recorder's own row comes back; NOT TAKEN where that takes longer than a second. */
import { button, id, list, make, text } from "../shared/dom.js";
import { page } from "./page_state.js";

/** @import { Answered, Head } from "./wire.js" */

const TAKEN_WITHIN_MS = 1000;
const FORGOTTEN_MS = 30000;
const SHOWN = 3;
const MOST_NOTE = 300; // characters
const MOST_RIG = 50000; // bytes
/** Requests that the recorder has not answered: id -> what was asked, when. @type {Map<string, [string, number]>} */
const waiting = new Map();
/** The last requests and what became of them, the newest first. @type {[string, string][]} */
let said = [];
/** @type {HTMLElement | null} */
let question = null;

/** @type {(what: string, how: string) => void} */
function say(what, how) {
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
async function send(verb, what, body) {
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
function ask(verb, what, channel = "", note = "") {
  return send(verb, what, { channel, text: note.slice(0, MOST_NOTE) });
}

export function acknowledge() {
  ask("ack", "acknowledge");
}

/**
 * Ask before doing: a sentence and two buttons in place of the others.
 * @param {string} sentence
 * @param {string} yes
 * @param {() => void} then
 */
function sure(sentence, yes, then) {
  leaveQuestion();
  question = make("div", "", "question");
  question.setAttribute("role", "alertdialog");
  question.setAttribute("aria-label", sentence);
  const go = button(yes, () => {
    leaveQuestion();
    then();
  }, "sure");
  go.className = "main";
  const row = make("div", "", "row wrap");
  row.append(go, button("Leave it", leaveQuestion));
  question.append(make("p", sentence), row);
  id("hands").prepend(question);
  go.focus({ preventScroll: false });
}

export function leaveQuestion() {
  if (question) question.remove();
  question = null;
}

function rigFile() {
  const file = make("input");
  file.type = "file";
  file.accept = ".toml,application/toml,text/plain";
  file.id = "rig-file";
  file.hidden = true;
  file.addEventListener("change", async () => {
    const chosen = file.files?.[0];
    file.value = "";
    if (!chosen) return;
    if (chosen.size > MOST_RIG) {
      say("rig changed", "NOT TAKEN, " + chosen.name + " is longer than 50 kB");
      return;
    }
    const content = await chosen.text();
    sure("Is the rig on the ground now the one of " + chosen.name + "? Its limits become the alarm levels.",
         "Yes, this rig", () => send("rig", "rig changed", { text: content }));
  });
  return file;
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
 * Build the controls, once.
 * @param {Head} head
 */
export function buildActions(head) {
  const place = id("hands");
  if (place.firstChild) return;
  const more = make("div", "", "row wrap");
  more.append(button("Undo last", () => ask("undo", "undo"), "undo"));
  head.channels.filter((c) => c.unit === "N").forEach((channel, k) => {
    const zero = () => ask("zero", "zero " + channel.name, channel.name);
    more.append(button("Zero " + channel.name, () =>
      sure("Is the rope slack, with nothing on the cell of " + channel.name + "? What it reads now becomes nought.",
           "The rope is slack: zero it", zero), k ? "" : "zero"));
  });
  const file = rigFile();
  more.append(button("Rig changed", () => file.click(), "rig-changed"), file);
  const end = button("End recording", () =>
    sure("End the recording and seal the session? Alarms end with it.", "End it", () => ask("end", "end")), "end");
  end.className = "end";
  more.append(end);
  const status = make("p", "", "said");
  status.id = "hands-said";
  status.setAttribute("role", "status");
  const before = make("ul", "", "note");
  before.id = "hands-before";
  place.append(noteForm(), more, status, before);
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
