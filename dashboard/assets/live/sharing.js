/* What sharing adds to the live page: a viewer's page has no controls, an operator's leads to the link for
   others; and every page says for how long it was not watching. */
import { button, id, make, within } from "../shared/dom.js";
import { codeTaken } from "../shared/operator_link.js";
import { page, stats } from "./page_state.js";

const LOOK_MS = 250;
const GAP_MS = 3000; // a page that is watched asks about ten times a second
const SETTLED = 10; // updates: the first ones wait for the plot to be loaded and drawn
const LET_IN_MS = 5000;
const ASK_AGAIN_MS = 3000;
let askedStill = 0;
let seen = 0; // updates at the last look
let steady = 0;
let wall = 0;
let longest = 0;
let gaps = 0;

/** Time since the last update, ms.  Some clocks stand still while a phone sleeps: the longer of the two counts. */
function away() {
  return Math.max(performance.now() - steady, Date.now() - wall);
}

/** @param {number} ms */
function tell(ms) {
  gaps += 1;
  longest = Math.max(longest, ms);
  const place = document.getElementById("away") ?? awayNote();
  place.textContent = "this page was not watching for " + Math.round(ms / 1000) + " s, until " +
    new Date().toTimeString().slice(0, 8) +
    (gaps > 1 ? " (" + gaps + " times, at most " + Math.round(longest / 1000) + " s)" : "") +
    ": see what happened below; keep this screen on";
}

function awayNote() {
  const place = button("", () => {
    gaps = longest = 0;
    place.remove();
  }, "away");
  place.setAttribute("role", "alert");
  place.title = "touch to put away";
  id("banner").after(place);
  return place;
}

function look() {
  if (stats.updates === seen) {
    if (page.role && away() > LET_IN_MS && performance.now() > askedStill + LET_IN_MS) stillLetIn();
    return;
  }
  const ms = away();
  if (seen >= SETTLED && ms > GAP_MS) tell(ms);
  seen = stats.updates;
  steady = performance.now();
  wall = Date.now();
}

/* A cookie ends after 12 h and with the run: then the code is asked for, not NO LINK shown for ever. */
async function stillLetIn() {
  askedStill = performance.now();
  try {
    if ((await fetch("/who", { cache: "no-store" })).status === 403) location.replace("/enter");
  } catch {
    return; // no link: the page says so
  }
}

/** Who looks at this page. @returns {Promise<{ role: string, shared: boolean } | null>} */
async function who() {
  try {
    const answer = await fetch("/who", { cache: "no-store" });
    return answer.ok ? await answer.json() : null;
  } catch {
    return null;
  }
}

async function askWho() {
  await codeTaken;
  const found = await who();
  if (found === null) {
    setTimeout(askWho, ASK_AGAIN_MS); // until then nobody acts from here
    return;
  }
  page.role = found.role;
  document.documentElement.dataset.role = found.role;
  const last = within(document, "#page main");
  if (!found.shared) {
    if (found.role === "operator") return;
    const note = make("p", "You look on. To mark, zero or end, open the link that the program printed, to its end.");
    note.id = "shared";
    last.append(note);
    return;
  }
  if (found.role === "operator") {
    const note = make("p", "Shared on this network, over plain HTTP: not secret. ");
    const link = make("a", "Link and picture for others");
    note.id = "shared";
    link.href = "/share";
    note.append(link);
    last.append(note);
    return;
  }
  const note = button("Set this screen to stay on: a dark one watches nothing. You look on; the operator marks, zeroes " +
    "and ends. This page is not secret: it goes over plain HTTP. Touch to put this at the end.",
    () => last.append(note), "shared");
  id("banner").after(note);
}

export function beginSharing() {
  setInterval(look, LOOK_MS);
  document.addEventListener("visibilitychange", look);
  askWho();
}
