/* The review page: ask for what was chosen, put it in as text.  Nothing here changes a session; a what-if
   is asked for by a number and shown in place of the record's figures, under a bar that says so. */
import { button, id, inner, list, make, tableOf, text } from "../shared/dom.js";
import { ask, chosen, stats } from "./ask.js";
import { askWindow, beginPlots, goTo, moveWindow, setWhole, showEach, showLoop, showWindow } from "./plots.js";

/** @import { BudgetRows, ReviewAnswer } from "./wire.js" */
/** A cell of a table: a text, or an element. @typedef {string | Node} Cell */

const AIR = 0.03; // of a stroke, shown before and after it
const FIRST_E = 0.9; // where the what-if slider stands at the start
/** What is shown. @type {ReviewAnswer | null} */
let current = null;
/** The record's own, in the units that are shown. @type {ReviewAnswer | null} */
let record = null;
let budget = "";
let loopOf = 0;
let last = { ...chosen }; // with which the last answer was asked for
let asking = false;
let again = false;

/**
 * Rows as a table; the first cell heads its row.
 * @param {string} where id of its place
 * @param {string[]} head names of the columns
 * @param {Cell[][]} lines
 * @param {string} name class of the table
 * @returns the rows of the body
 */
function table(where, head, lines, name) {
  const made = tableOf(head, lines, name);
  id(where).replaceChildren(made);
  return Array.from(inner(made, 1).children);
}

/** @type {(where: string, sentence: string) => void} */
function note(where, sentence) {
  id(where).append(make("p", sentence, "note"));
}

/** @type {(where: string, sentence: string) => void} */
function onlyNote(where, sentence) {
  id(where).replaceChildren(make("p", sentence, "note"));
}

/** @type {(content: string, then: () => void, label: string) => HTMLButtonElement} */
function jump(content, then, label) {
  const made = button(content, () => {
    then();
    id("time-plot").scrollIntoView({ block: "center" });
  });
  made.className = "jump";
  made.setAttribute("aria-label", label);
  return made;
}

/** A text with a bar for a share. @type {(content: string, value: number) => HTMLElement} */
function share(content, value) {
  const node = make("span", content, "share");
  const bar = make("i");
  bar.style.width = Math.max(0, Math.min(1, value || 0)) * 100 + "%";
  const rail = make("b");
  rail.append(bar);
  node.append(rail);
  return node;
}

/** @type {(where: string, choices: [string, string][], value: string) => void} */
function options(where, choices, value) {
  const node = id(where, HTMLSelectElement);
  node.textContent = "";
  for (const [given, content] of choices) {
    const option = make("option", content);
    option.value = given;
    node.append(option);
  }
  node.value = value;
}

/** @param {number} time_s */
function strokeAt(time_s) {
  const inside = current?.strokes.find((s) => s.from_s <= time_s && time_s <= s.to_s);
  return inside ? "stroke " + inside.cells[0] : "";
}

/** @param {ReviewAnswer} now */
function show(now) {
  const supposed = Boolean(now.what_if);
  document.title = (supposed ? "WHAT IF, " : "") + "review: " + now.title;
  text("title", now.title);
  const state = now.state === "growing"
    ? "STILL RECORDED, as of " + now.as_of + ": load this page again for more" : now.state;
  text("sub", [now.folder, now.started, state, now.demo ? "demo, simulated" : ""].filter((x) => x).join(" · "));
  id("page").classList.toggle("supposed", supposed);
  id("what-if").hidden = !supposed;
  text("what-if-said", supposed ? now.what_if + ": not the record, not a measurement." : "");
  const sentences = now.sentences.map((sentence) => make("p", sentence));
  id("sentences").replaceChildren(...sentences);
  sentences.at(-1)?.classList.toggle("grave", now.grave);
  id("chapters-tile").hidden = !now.chapters.length;
  if (now.chapters.length) table("chapters", now.chapters[0], now.chapters.slice(1), "cards chapters");
  table("results", now.heads.results, now.results.map((r) => r.map((content) => content || "–")),
        now.chapters.length ? "results beside" : "results");
  text("verdict", (now.why_not ? "Not known: " + now.why_not + ". " : "") + "Readings: " + now.readings + ".");
  list("warnings", now.warnings);
  strokes(now);
  peaks(now);
  text("unrated", now.unrated);
  budgets(now);
  events(now);
  compare(now);
  setWhole(now.from_s, now.to_s);
}

/** @param {ReviewAnswer} now */
function strokes(now) {
  if (!now.strokes.length) {onlyNote("strokes", "No stroke was found.");}
  else {
    const lines = now.strokes.map(({ k, from_s, to_s, cells: [name, ...cells] }) => [
      jump(name, () => {
        loopOf = k;
        id("loop-of", HTMLSelectElement).value = String(k);
        showLoop(k);
        const air_s = AIR * (to_s - from_s);
        showWindow(from_s - air_s, to_s + air_s);
      }, "show stroke " + name + " on the plots"),
      ...cells,
    ]);
    table("strokes", now.heads.strokes, lines, "cards");
    if (now.strokes_more) note("strokes", now.strokes_more);
  }
  if (loopOf > now.strokes.length) loopOf = 0;
  /** @type {[string, string][]} */
  const choices = now.strokes.map((s) => [String(s.k), "stroke " + s.cells[0]]);
  options("loop-of", [["0", "whole session"], ...choices], String(loopOf));
}

/** @param {ReviewAnswer} now */
function peaks(now) {
  if (!now.peaks.length) {
    onlyNote("peaks", "No force was read.");
    return;
  }
  const place = now.heads.peaks.indexOf("use");
  const lines = now.peaks.map(({ use, cells }) =>
    cells.map((content, k) => (k === place && use !== null ? share(content, use) : content)));
  table("peaks", now.heads.peaks, lines, "cards")
    .forEach((row, k) => row.classList.toggle("bad", now.peaks[k].over));
}

/** @param {ReviewAnswer} now */
function budgets(now) {
  const names = now.budgets.map((b) => b.name);
  if (!names.includes(budget)) budget = names[0] || "";
  options("budget-of", names.map((n) => [n, n]), budget);
  id("budget-of").hidden = !names.length;
  const one = now.budgets.find((b) => b.name === budget);
  if (one) budgetTable(one);
  else onlyNote("budget", "Nothing was measured that has an uncertainty.");
}

/** @param {BudgetRows} one */
function budgetTable(one) {
  const [[, ...head], ...lines] = one.rows;
  table("budget", [one.name + " " + one.said, ...head],
    lines.map((r, k) => [...r.slice(0, -1), share(r[r.length - 1], one.shares[k])]), "budget");
  note("budget", one.note);
}

/** @param {ReviewAnswer} now */
function events(now) {
  if (!now.events.length) {
    onlyNote("events", "Nothing is recorded.");
    return;
  }
  const lines = now.events.map(({ time_s, cells: [name, ...cells] }) =>
    [jump(name, () => goTo(time_s), "show event " + name + " on the plot"), ...cells]);
  table("events", now.heads.events, lines, "happened");
  if (now.events_more) note("events", now.events_more);
}

/** @param {ReviewAnswer} now */
function compare(now) {
  const own = record;
  id("compare").textContent = "";
  if (!now.what_if || !own) return;
  const lines = now.summary.map((r, k) => [r[0], own.summary[k][1], r[1]]);
  table("compare", ["quantity", "as recorded", "WHAT IF"], lines, "compare")
    .forEach((row, k) => row.classList.toggle("other", lines[k][1] !== lines[k][2]));
}

/** @param {string} selector @returns {NodeListOf<HTMLElement>} */
function all(selector) {
  return document.querySelectorAll(selector);
}

function press() {
  for (const one of all("[data-units]")) one.setAttribute("aria-pressed", String(one.dataset.units === chosen.units));
  for (const one of all("[data-rig]")) one.setAttribute("aria-pressed", String(Number(one.dataset.rig) === chosen.rig));
  text("e-said", chosen.e || "as in the file");
}

/** Build what depends on the first answer. @param {ReviewAnswer} now */
function buildWhatIf(now) {
  const e = id("e", HTMLInputElement);
  e.min = String(now.least_e);
  e.max = String(now.most_e);
  e.value = String(FIRST_E);
  if (!now.rigs.length) {
    id("rigs").append(make("span", "Another rig: start with haul watch SESSION --rig FILE.", "note"));
    return;
  }
  ["rig as recorded", ...now.rigs].forEach((name, k) => {
    const one = button(name, () => {
      chosen.rig = k;
      load();
    });
    one.dataset.rig = String(k);
    id("rigs").append(one);
  });
}

/** One question at a time; what was chosen meanwhile is asked next. */
async function load() {
  press();
  if (asking) {
    again = true;
    return;
  }
  asking = true;
  do {
    again = false;
    await loadOnce();
  } while (again);
  asking = false;
}

async function loadOnce() {
  const supposed = Boolean(chosen.e || chosen.rig);
  if (supposed && record?.units !== chosen.units) record = (await ask("/review-data", {}, true)) || record;
  /** @type {ReviewAnswer | null} */
  const answer = await ask("/review-data");
  if (!answer) { // a rig that does not fit: what is shown stays, and so does what it was asked with
    Object.assign(chosen, last);
    press();
    return;
  }
  last = { ...chosen, units: answer.units };
  const begin = current === null;
  current = answer;
  if (!supposed) record = answer;
  if (begin) buildWhatIf(answer);
  show(answer);
  press();
  await Promise.all([askWindow(), showLoop(loopOf), showEach(answer.efficiency)]);
  stats.loads++;
}

for (const one of all("[data-units]"))
  {one.addEventListener("click", () => {
    chosen.units = one.dataset.units ?? chosen.units;
    load();
  });}
for (const one of all("[data-move]")) one.addEventListener("click", () => moveWindow(one.dataset.move ?? ""));
id("go").addEventListener("submit", (event) => {
  event.preventDefault();
  const given = id("go-to", HTMLInputElement).value.trim();
  const at_s = Number(given.replace(",", "."));
  if (given && Number.isFinite(at_s)) goTo(at_s);
});
id("loop-of").addEventListener("change", () => {
  loopOf = Number(id("loop-of", HTMLSelectElement).value);
  showLoop(loopOf);
});
id("budget-of").addEventListener("change", () => {
  budget = id("budget-of", HTMLSelectElement).value;
  if (current) budgets(current);
});
id("e").addEventListener("input", () => {
  chosen.e = Number(id("e", HTMLInputElement).value).toFixed(2);
  load();
});
id("what-if-off").addEventListener("click", () => {
  chosen.e = "";
  chosen.rig = 0;
  load();
});
window.haulTest = { stats };
beginPlots(strokeAt);
load();
