/* The bar that stays in reach: what gloved hands ask for while a rope is loaded, one touch each.  What can't be
   taken back is asked about first, above the bar. */
import { button, id, make, text } from "../shared/dom.js";
import { openConversion, showChoice } from "./conversion.js";
import { acknowledge, ask, choose, leaveQuestion, say, send, sure } from "./operator_actions.js";
import { page, sessionQuery } from "./page_state.js";

/** @import { ChannelHead, Head, RigsAnswer } from "./wire.js" */

const MOST_RIG = 50000; // bytes
const LATER = "rig changed, details later";

/** @param {string} name of the rig that may be on the ground now */
function isItThis(name) {
  return "Is the rig on the ground now the one of " + name + "? Its limits become the alarm levels.";
}

/**
 * Ask whether the rig is on the ground already, or is yet to be made of the one in use.
 * @param {string} label of the rig
 * @param {() => void} then what to do if it is
 * @param {string} name of its file
 */
function asked(label, then, name) {
  const yes = button("Yes, this rig", () => {
    leaveQuestion();
    then();
  }, "sure");
  yes.className = "main";
  const moves = button("Not yet: show the moves to it", () => {
    leaveQuestion();
    openConversion(name);
  }, "rig-moves");
  choose(isItThis(label), [yes, moves]);
}

function rigFile() {
  const file = make("input");
  file.type = "file";
  file.accept = ".toml,application/toml,text/plain";
  file.id = "rig-file";
  file.hidden = true;
  file.setAttribute("aria-label", "a rig file of this device");
  file.addEventListener("change", async () => {
    const chosen = file.files?.[0];
    file.value = "";
    if (!chosen) return;
    if (chosen.size > MOST_RIG) {
      say("rig changed", "NOT TAKEN, " + chosen.name + " is longer than 50 kB");
      return;
    }
    const content = await chosen.text();
    sure(isItThis(chosen.name), "Yes, this rig", () => send("rig", "rig changed", { text: content }));
  });
  return file;
}

/** The rigs beside the session, as the server lists them; none where it can't say. */
async function rigs() {
  try {
    const answer = await fetch("/rigs" + sessionQuery("?"), { cache: "no-store", signal: AbortSignal.timeout(3000) });
    return answer.ok ? /** @type {RigsAnswer} */ (await answer.json()).rigs : [];
  } catch {
    return [];
  }
}

/** @param {HTMLInputElement} file */
async function changed(file) {
  const choices = (await rigs()).map(({ file: name, title }) => {
    const label = title && title !== name ? title + " (" + name + ")" : name;
    return button(label, () => asked(label, () => send("rig", "rig changed", { file: name }), name));
  });
  const later = button("Changed, details later", () => {
    leaveQuestion();
    ask("mark", LATER, "", LATER);
  }, "rig-later");
  const other = button("A file of this device", () => {
    leaveQuestion();
    file.click();
  });
  const planned = button("Plan the moves to another rig", () => {
    leaveQuestion();
    showChoice();
  }, "rig-plan");
  choose("Which rig is on the ground now? Until it is chosen, the alarm levels are those of the rig before.",
         [...choices, planned, later, other]);
}

/** @param {ChannelHead} channel */
function zero(channel) {
  sure("Is the rope slack, with nothing on the cell of " + channel.name + "? What it reads now becomes nought.",
       "The rope is slack: zero it", () => ask("zero", "zero " + channel.name, channel.name));
}

/** @param {ChannelHead[]} cells */
function zeroOne(cells) {
  if (cells.length === 1) zero(cells[0]);
  else choose("Which cell has nothing on it?", cells.map((cell) => button("Zero " + cell.name, () => zero(cell))));
}

/**
 * Build the bar, once.
 * @param {Head} head
 */
export function buildBar(head) {
  const place = id("bar");
  if (place.firstChild) return;
  const cells = head.channels.filter((channel) => channel.unit === "N");
  const file = rigFile();
  const status = make("p", "", "said");
  status.id = "hands-said";
  status.setAttribute("role", "status");
  const row = make("div", "", "hands");
  const seen = button("Acknowledge", acknowledge, "bar-ack");
  seen.disabled = true;
  const end = button("End", () =>
    sure("End the recording and seal the session? Alarms end with it.", "End it", () => ask("end", "end")), "end");
  end.className = "end";
  row.append(button("Mark", () => ask("mark", "mark"), "bar-mark"),
             button("Rig changed", () => changed(file), "rig-changed"), seen);
  if (cells.length) row.append(button("Zero", () => zeroOne(cells), "zero"));
  row.append(end);
  place.append(status, row, file);
}

/**
 * Say how many alarms wait to be acknowledged.
 * @param {number} count
 */
export function showBar(count) {
  const seen = document.getElementById("bar-ack");
  if (!(seen instanceof HTMLButtonElement)) return;
  seen.disabled = count === 0;
  seen.classList.toggle("main", count > 0);
  text(seen, "Acknowledge" + (count > 1 ? " " + count : ""));
  if (page.role !== "operator") leaveQuestion();
}
