/* The live page: ask for what is new, draw, wait for the paint, ask again.  The browser's own drawing
   sets the pace, so nothing piles up; numbers are blanked by the page's own clock. */
import { button, id, list, tableOf, text } from "../shared/dom.js";
import { clock, forceText, useUnits } from "../shared/format.js";
import { buildTheme } from "../shared/theme.js";
import { buildSound, soundUnits, sounded, tickSound } from "./alarm_sound.js";
import { showConversion } from "./conversion.js";
import { drawGraph, forgetColours, graph, resetGraph, takeBins, takeHead } from "./graph.js";
import { buildFar } from "./far_view.js";
import { buildBar } from "./hands_bar.js";
import { buildKeyboard } from "./keyboard.js";
import { acknowledge, buildActions, takeAnswers } from "./operator_actions.js";
import { isOver, numbered, page, sessionQuery, stats } from "./page_state.js";
import { showRig } from "./rig_view.js";
import { beginSharing } from "./sharing.js";
import { blankTiles, showTiles } from "./tiles.js";

/** @import { SinceAnswer, Head, Now, Span } from "./wire.js" */

const PACE_MS = 100;
const NO_LINK_MS = 1000;
const ANSWER_WITHIN_MS = 3000;
const BLOCKED_MS = 350; // the page's clock this late: it was the page itself that stood still
const MOST_WAIT_MS = 250; // for a drawing that costs much
const TIMES_KEPT = 600;
const ALL = "all";
/** Time in view: what the server is asked for, in s, and its name. */
const SPANS = [["60", "1 min"], ["300", "5 min"], ["600", "10 min"], ["3600", "1 h"], [ALL, "all"]];
/** Sign before the state's word. @type {Record<string, string>} */
const SIGNS = {
  haul: "▲", lower: "▼", ease: "▽", hold: "■", held: "■", rest: "■", reset: "↻", back: "▼", nodata: "?", stalled: "?",
  cut: "✕", changed: "✕", sealed: "●", loose: "?", wait: "…",
};
/** Run of the server, from the first answer on. @type {string | null} */
let run = null;
let seq = 0;
let version = 0;
let span = "60";
let chosen = false; // whether a person chose the span
let answered = -Infinity;
let linked = false;
/** Time of the session at which the view was paused, s. @type {number | null} */
let pausedAt = null;
let clocked = performance.now();

const sleep = (/** @type {number} */ ms) => new Promise((done) => setTimeout(done, ms));
const painted = () => Promise.race([new Promise(requestAnimationFrame), sleep(250)]);
const time = () => page.now?.time_s ?? 0;

/** @type {(name: string, byHand: boolean) => void} */
function choose(name, byHand) {
  chosen = chosen || byHand;
  span = name;
  seq = 0;
  resetGraph();
  for (const one of id("spans").querySelectorAll("button"))
    if (one.value) one.setAttribute("aria-pressed", String(one.value === span));
}

/** What to ask for: while the view is paused, far enough back to fill it. */
function asking() {
  if (pausedAt === null || span === ALL || !page.now) return span;
  const back = Number(span) + time() - pausedAt;
  return SPANS.find(([name]) => name === ALL || Number(name) >= back)?.[0] ?? ALL;
}

function pause() {
  pausedAt = pausedAt === null ? time() : null;
  text("pause", pausedAt === null ? "Pause view" : "Go on");
  id("pause").setAttribute("aria-pressed", String(pausedAt !== null));
  id("paused").hidden = pausedAt === null;
  text("paused", pausedAt === null ? "" : "VIEW PAUSED at " + clock(pausedAt) + ", recording goes on");
  if (pausedAt === null) choose(span, true);
}

/**
 * Take an answer in.
 * @param {SinceAnswer} answer
 * @param {number} size bytes
 */
function take(answer, size) {
  if (run !== null && answer.run !== run) {
    location.reload(); // another run of the server: its token is another too
    return;
  }
  const first = run === null;
  run = answer.run;
  if (!first && seq > 0 && version > 0) stats.largest = Math.max(stats.largest, size);
  Object.assign(page.parts, answer.parts);
  page.now = answer.now;
  version = answer.version;
  seq = answer.seq;
  takeBins(answer);
  const { head } = answer.parts;
  if (head) {
    useUnits(head.units);
    soundUnits(head.units);
    takeHead(head);
    buildBar(head);
    buildActions(head);
  }
  if (first && page.now && isOver(page.now.state) && !chosen) choose(ALL, false);
}

/** @type {(head: Head, now: Now) => void} */
function showBanner(head, now) {
  text("title", head.title);
  text("sub", head.folder + (head.demo ? " · demo, simulated" : ""));
  text("clock", now.time_s === undefined ? "" : clock(now.time_s));
  const { fault } = page.parts;
  text("state", (SIGNS[now.state] ? SIGNS[now.state] + " " : "") + (fault ? "NOT FOLLOWED" : now.words));
  text("state-detail", fault || now.detail || "");
  if (id("banner").dataset.state !== now.state) id("banner").dataset.state = now.state;
}

/** @param {Head} head */
function showNotes(head) {
  const events = numbered("event").map((e) => clock(e.time_s) + "  " + e.kind + (e.text ? ": " + e.text : ""));
  list("events", events.length === 0 ? ["nothing to tell so far"] : events);
  const unrated = head.rated < head.parts
    ? [head.rated + " of " + head.parts + " strands and parts are rated in the rig file."] : [];
  list("warnings", [...unrated, ...numbered("warning")]);
  text("graph-title", (head.haul_cell ? "Haul force" : "Force, " + (head.drawn || "no cell")) +
    (head.travel_title ? " and travel" : "") + " over time");
  text("graph-note", head.holds.length
    ? "Near nothing while the load is held on " + head.holds.join(" or ") + ": the haul strand rests, the rope behind it is loaded."
    : "Near nothing here says nothing about the rope behind the haul strand.");
}

/** What each table shows. @type {Record<string, string>} */
const filled = {};

/** A table as texts, names of the columns first. @type {(where: string, rows: string[][]) => void} */
function fillTable(where, rows) {
  const content = JSON.stringify(rows);
  if (filled[where] === content) return;
  filled[where] = content;
  const [head, ...lines] = rows;
  id(where).replaceChildren(...(head ? [tableOf(head, lines, "cards " + where)] : []));
}

function showTables() {
  const [chapters, peaks] = [numbered("chapter"), numbered("peak")];
  id("chapters-tile").hidden = !chapters.length;
  id("peaks-tile").hidden = !peaks.length;
  fillTable("chapters", chapters);
  fillTable("highest", peaks);
}

function show() {
  const { now, parts: { head, done } } = page;
  if (!head || !now) return;
  showBanner(head, now);
  showTiles(head, now);
  showNotes(head);
  showTables();
  const over = isOver(now.state);
  id("hands-tile").hidden = over;
  takeAnswers(done ?? []);
  showConversion(over);
  showRig(head, !over && now.state !== "wait" && now.state !== "stalled");
}

/* The page's own clock: after a second without an answer no live number stays.  Where the page itself
   stood still (the first drawing, a tab that slept), it asks once before it says that the link is gone. */
function watchLink() {
  const at = performance.now();
  if (at - clocked > BLOCKED_MS) answered = Math.max(answered, at - NO_LINK_MS / 2);
  clocked = at;
  const quiet = at - answered;
  page.lost = quiet >= NO_LINK_MS;
  id("page").classList.toggle("nolink", page.lost);
  const { now, parts: { alarms, head, sudden } } = page;
  const over = now !== null && isOver(now.state);
  if (linked && now)
    {tickSound({
      alarm: over ? 0 : alarms?.sounding ?? 0,
      state: now.state,
      lost: page.lost && !over,
      nearness: page.lost ? null : now.nearness,
      shock: sudden?.kind === "shock" ? sudden.time_s : 0,
    });}
  if (!page.lost || !linked || !now) {
    linked = linked || !page.lost;
    return;
  }
  text("link", over ? "page ended" : "NO LINK " + Math.round(Math.min(quiet, 1e7) / 1000) + " s");
  if (over) return; // what a finished session came to does not grow old
  id("banner").dataset.state = "nolink";
  text("state", "NO LINK");
  text("state-detail", "this page gets no answer: look at the rope, not here");
  blankTiles(head, now);
  if (head) showRig(head, false);
}

function spansSeen() {
  /** @type {Span[]} */
  const found = [];
  for (const [key, value] of Object.entries(page.parts))
    if (value && key.startsWith("span:")) found.push(/** @type {Span} */ (value));
  return found;
}

/* The graph costs the most: where a drawing takes long, the next waits as long, and the numbers,
   which cost next to nothing, keep their pace. */
let drewAt = -Infinity;
let drawCost = 0;
async function draw() {
  if (performance.now() - drewAt < Math.min(drawCost, MOST_WAIT_MS)) return;
  const began = performance.now();
  await plot();
  drewAt = performance.now();
  drawCost = drewAt - began;
}

function plot() {
  const end_s = pausedAt === null ? time() : pausedAt;
  const drawing = drawGraph(span === ALL ? null : Number(span), end_s, spansSeen());
  const name = SPANS.find((s) => s[0] === span)?.[1] ?? "";
  const { view } = graph;
  text("in-view", view
    ? "In view (" + name + "): peak " + forceText(view.high) + " · min " + forceText(view.low) +
      " · mean over time " + forceText(view.mean)
    : "Nothing in view");
  return drawing;
}

/** Keep what the server says it took. @param {Response} reply */
function timed(reply) {
  const found = /dur=([0-9.]+)/.exec(reply.headers.get("server-timing") || "");
  if (found) stats.serverMs.push(Number(found[1]));
  if (stats.serverMs.length > TIMES_KEPT) stats.serverMs.shift();
}

/** Ask once, and show the answer; whether there is more to ask for at once. */
async function round() {
  const chose = span;
  const address = "/since?seq=" + seq + "&v=" + version + "&span=" + asking() + sessionQuery("&");
  const reply = await fetch(address, { cache: "no-store", signal: AbortSignal.timeout(ANSWER_WITHIN_MS) });
  if (!reply.ok) throw new Error("answer " + reply.status);
  const content = await reply.text();
  if (chose !== span) return false; // the answer is of a span that is no longer asked for
  /** @type {SinceAnswer} */
  const answer = JSON.parse(content);
  take(answer, Number(reply.headers.get("content-length")) || content.length);
  answered = performance.now();
  page.lost = false;
  text("link", "link alive");
  timed(reply);
  show();
  const more = Boolean(answer.more);
  if (chose === span && !more) await draw();
  await painted();
  stats.updates++;
  stats.shown = page.now?.time_s;
  return more;
}

async function loop() {
  let next = performance.now();
  for (;;) {
    let more = false;
    try {
      more = await round();
    } catch (error) {
      stats.errors++;
      stats.last = String(error);
      await sleep(200);
    }
    next = Math.max(next + (more ? 0 : PACE_MS), performance.now());
    await sleep(Math.max(0, next - performance.now()));
  }
}

function begin() {
  if (!document.getElementById("page") || !document.getElementById("banner")) {
    setTimeout(begin, 20); // the shell is built by the page's own scripts, which run first
    return;
  }
  page.token = document.querySelector('meta[name="haul-token"]')?.getAttribute("content") ?? "";
  const found = /^\/s\/([^/]+)\/$/.exec(location.pathname);
  page.session = found ? decodeURIComponent(found[1]) : "";
  for (const [name, label] of SPANS) {
    const one = button(label, () => choose(name, true));
    one.value = name;
    id("spans").append(one);
  }
  const hold = button("Pause view", pause, "pause");
  hold.setAttribute("aria-pressed", "false");
  id("spans").append(hold);
  id("ack").addEventListener("click", acknowledge);
  buildSound();
  buildTheme(forgetColours);
  buildKeyboard();
  buildFar();
  choose(span, false);
  text("state", "CONNECTING");
  setInterval(watchLink, 100);
  beginSharing();
  loop();
}

window.haulTest = { page, stats, graph, sounded, forceText };
begin();
