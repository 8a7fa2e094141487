/* The tiles of the live page, each filled from what the server sent last. */
import { digits, id, inner, list, make, rows, text } from "../shared/dom.js";
import {
  ago, clock, counted, force, forceOf, forcePlusMinus, forceText, length, lengthOf, lengthText, number, percent,
  plusMinus,
} from "../shared/format.js";
import { showFar } from "./far_view.js";
import { tabTitle } from "./far_text.js";
import { showBar } from "./hands_bar.js";
import { isOver, numbered, page } from "./page_state.js";
import { carries } from "./rig_view.js";

/** @import { Alarm, ChannelHead, ChannelNow, Happened, Head, Measured, Now } from "./wire.js" */

const LEVELS = ["", "CAUTION", "STOP"];
const STOP = 2;
/** In place of a number where there is no haul force, by the state. @type {Record<string, string>} */
const NO_FORCE = {
  before: "none yet", nodata: "NO DATA", nocell: "no cell", rest: "at rest", loose: "let go", sealed: "ended",
  cut: "ended", changed: "ended", stalled: "old", wait: "…", back: "run back",
};
/** @type {Record<string, string>} */
const METHODS = {
  known: "from the rig file", cell: "by a cell", "haul-and-lower": "from hauling and lowering", model: "by the model",
};
const COLUMNS = ["channel", "now", "rate", "age", "dropped"];
/** @type {Record<string, string>} */
const FAULTS = { overdue: "NO DATA", saturated: "BEYOND CAPACITY" };

/**
 * Whether nothing is heard of the channel that an alarm is about.
 * @param {Alarm} alarm
 * @param {Now} now
 */
function silent(alarm, now) {
  if (page.lost || now.state === "stalled") return true;
  return alarm.channel !== null && page.parts[`channel:${alarm.channel}`]?.fault === "overdue";
}

/**
 * Where the value of an alarm is now.
 * @param {Alarm} alarm
 * @param {Now} now
 */
function since(alarm, now) {
  if (alarm.level === 0 && !page.lost) return "below again";
  if (isOver(now.state)) return "over when the recording ended";
  if (silent(alarm, now)) return "no data now";
  const shown = alarm.acknowledged ? alarm.level : alarm.worst;
  return alarm.level < shown ? "now over caution alone" : "still over";
}

/** What is at risk, and how much of how much it is allowed. @type {(head: Head, alarm: Alarm) => string} */
function headline(head, alarm) {
  const unit = alarm.channel === null ? "N" : head.channels[alarm.channel].unit;
  if (alarm.value === null) return alarm.label;
  if (alarm.limit === null) return alarm.label + ", " + (unit === "m" ? lengthText(alarm.value) : forceText(alarm.value));
  return alarm.label + ", " + (unit === "m" ? lengthOf(alarm.value, alarm.limit) : forceOf(alarm.value, alarm.limit));
}

function alarmRow() {
  const row = make("div", "", "one");
  const words = make("div", "", "words");
  words.append(make("b"), make("span"), make("span", "", "how"));
  row.append(make("i", "", "sign"), words);
  return row;
}

/** Alarms stay until they are acknowledged: a sign, a word, and where the value is now. @type {(head: Head, now: Now) => void} */
function alarms(head, now) {
  const found = numbered("alarm");
  rows(id("alarms"), found, alarmRow, (row, alarm) => {
    const shown = alarm.acknowledged ? alarm.level : alarm.worst;
    row.className = "one " + (shown === STOP ? "stop" : "caution") + (alarm.acknowledged ? " seen" : "");
    text(inner(row, 0), shown === STOP ? "STOP" : "!");
    const words = inner(row, 1);
    text(inner(words, 0), LEVELS[shown] + ": " + headline(head, alarm));
    text(inner(words, 1), "at " + clock(alarm.since_s) + ", " + since(alarm, now) +
      (alarm.acknowledged ? ", acknowledged" : ", not acknowledged"));
    text(inner(words, 2), alarm.how);
  });
  const more = (page.parts.alarms?.count ?? 0) - found.length;
  id("alarm").hidden = found.length === 0;
  id("page").classList.toggle("alarmed", found.length > 0);
  const open = isOver(now.state) ? [] : found.filter((one) => !one.acknowledged);
  showBar(open.length ? open.length + Math.max(0, more) : 0);
  text("ack", "Acknowledge" + (more > 0 ? " (and " + more + " more)" : ""));
  id("ack").hidden = isOver(now.state) || page.role !== "operator" || found.every((one) => one.acknowledged);
}

/** In place of a tension, by the state; what holds the load where that is known. @type {(head: Head, now: Now) => string} */
function noForce(head, now) {
  const holds = head.holds.join(" or ");
  /** @type {Record<string, string>} */
  const words = { ...NO_FORCE, held: "on " + holds, reset: holds ? "on " + holds : "let go" };
  return words[now.state] || "—";
}

/** Share of the stop level in words; "" where there is none. @type {(head: Head, now: Now) => string} */
function stopShare(head, now) {
  const stop = head.stop_levels[0];
  const share = now.stop_share ?? null;
  return stop ? (share === null ? "stop level " : percent(share) + " of the stop level ") + forceText(stop.force_N) : "";
}

/** The far view and the tab's title: state and tension, and the worst that is not acknowledged. @type {(head: Head, now: Now) => void} */
function afar(head, now) {
  const worst = numbered("alarm").find((one) => !one.acknowledged);
  const over = isOver(now.state);
  const level = over ? 0 : page.parts.alarms?.sounding ?? 0;
  const pair = force(now.force_N ?? null);
  document.title = tabTitle(level, now.words, pair ? pair.join(" ") : "", head.title);
  showFar({
    number: pair ? pair[0] : noForce(head, now),
    state: !over && worst ? LEVELS[worst.worst] + ": " + headline(head, worst) : now.words,
    share: [pair ? pair[1] : "", stopShare(head, now)].filter((part) => part).join(" · "),
    level: ["", "caution", "stop"][level] || (now.reached ?? ""),
  });
}

/** What the haul came to, where its tension stood. @type {(head: Head, now: Now) => void} */
function result(head, now) {
  const { actual_ma, efficiency, verdict, why_not, strokes } = page.parts;
  digits("tension", null, NO_FORCE[now.state]);
  digits("result", actual_ma ? [plusMinus(actual_ma.value, actual_ma.U95), ": 1"] : null, "not measured");
  id("result").classList.toggle("pair", Boolean(actual_ma));
  const said = [actual_ma ? verdict || "" : why_not || ""];
  if (efficiency) said.push("efficiency " + plusMinus(100 * (efficiency.value ?? 0), 100 * (efficiency.U95 ?? 0), "%"));
  if (typeof now.peak_N === "number")
    {said.push("peak " + forceText(now.peak_N) + (now.peak_over ? ", OVER the stop level" : "") +
      (head.stop_levels[0] ? ", stop level " + forceText(head.stop_levels[0].force_N) : ""));}
  if (typeof now.moved_m === "number")
    {said.push("load moved " + lengthText(now.moved_m) +
      (strokes ? " in " + counted(strokes.haul_strokes, "stroke") : ""));}
  list("tension-note", said.filter((one) => one));
  id("gauge").hidden = true;
  const { results } = id("to-result").dataset;
  if (results) id("to-result").setAttribute("href", results + encodeURIComponent(page.session) + "/");
}

/** @type {(head: Head, now: Now) => void} */
function tension(head, now) {
  const holds = head.holds.join(" or ");
  const force_N = now.force_N ?? null;
  digits("tension", force(force_N), noForce(head, now));
  const said = [];
  const stop = head.stop_levels[0];
  if (stop) {
    said.push(stopShare(head, now), "set by " + stop.because);
  } else {
    said.push(head.haul_cell ? "no stop level: none in the sensors file, and " + head.because
      : "no haul cell, no stop level");
  }
  const use = now.nearest;
  if (!isOver(now.state) && use) {
    said.push((use.over ? "OVER ITS LIMIT: " : "nearest to its limit: ") + use.name + ", " + carries(use) + " of " +
      forceText(use.limit_N) + ", " + percent(use.share ?? 0));
  }
  if (force_N === null && typeof now.last_haul_N === "number")
    {said.push("last hauled at " + forceText(now.last_haul_N) +
      (isOver(now.state) ? "" : ", " + ago(now.since_haul_s ?? 0)));}
  if (now.held_N && !(use && head.holds.includes(use.name)))
    said.push(holds + " carries at most about " + forceText(now.held_N));
  list("tension-note", said);
  gauge(head, now, force_N);
}

/** Haul tension as a bar against caution and stop level; the words beside it say the same.
 * @type {(head: Head, now: Now, force_N: number | null) => void} */
function gauge(head, now, force_N) {
  const place = id("gauge");
  const stop_N = head.stop_levels[0]?.force_N ?? null;
  const { caution_N } = head;
  const end_N = 1.15 * (stop_N || caution_N || 0); // so that the level stands within the bar
  place.hidden = !end_N;
  if (!end_N) return;
  place.style.visibility = force_N === null ? "hidden" : "visible";
  if (!place.firstChild) {
    place.setAttribute("aria-hidden", "true");
    place.append(make("i", "", "fill"), make("i", "", "warn"), make("i", "", "end"));
  }
  const at = (/** @type {number} */ value_N) => Math.min(100, Math.max(0, (100 * value_N) / end_N)) + "%";
  const [fill, warn, end] = [inner(place, 0), inner(place, 1), inner(place, 2)];
  fill.style.width = force_N === null ? "0" : at(force_N);
  warn.hidden = caution_N === null || caution_N > end_N;
  if (caution_N !== null && !warn.hidden) warn.style.left = at(caution_N);
  end.hidden = stop_N === null;
  if (stop_N !== null) end.style.left = at(stop_N);
  place.dataset.over = now.reached ?? "";
}

/** @param {Happened} one */
function happened(one) {
  return clock(one.time_s) + ", " + one.kind + ": " + one.text;
}

/** @param {Now} now */
function peak(now) {
  digits("peak", force(now.peak_N), "none yet");
  const { last_alarm, sudden } = page.parts;
  const said = [];
  if (typeof now.peak_N === "number")
    said.push("at " + clock(now.peak_s ?? 0) + (now.peak_over ? ", OVER the stop level" : ""));
  said.push(last_alarm ? "last alarm " + happened(last_alarm) : "no alarm so far");
  if (sudden) said.push(happened(sudden));
  list("peak-note", said);
}

/** @param {Head} head */
function advantage(head) {
  const { actual_ma, efficiency, load_force_N, load_force_method, verdict, why_not } = page.parts;
  // of the rig that was measured, where the rig was changed since
  const predicted = page.parts.predicted ?? head;
  digits("ma", actual_ma ? [plusMinus(actual_ma.value, actual_ma.U95), ": 1"] : null, "not measured");
  id("ma").classList.toggle("pair", Boolean(actual_ma));
  const said = ["predicted " + plusMinus(predicted.model_ma, predicted.model_ma_U95) +
    " · ideal " + number(predicted.ideal_ma)];
  if (actual_ma) {
    if (efficiency)
      {said.push("efficiency " + plusMinus(100 * (efficiency.value ?? 0), 100 * (efficiency.U95 ?? 0), "%") +
        " over " + counted(actual_ma.n, "observation"));}
    said.push(verdict || "");
  } else {said.push(why_not || "wait for the first steady stroke");}
  if (load_force_N)
    {said.push("load " + forcePlusMinus(load_force_N.value ?? 0, load_force_N.U95 ?? 0) +
      " (" + (METHODS[load_force_method ?? ""] ?? "") + ")");}
  list("ma-note", said.filter((s) => s));
  scale(actual_ma ?? null, predicted.ideal_ma ?? 0, predicted.model_ma ?? 0, predicted.model_ma_U95 ?? 0);
}

function scalePlace() {
  const place = make("div");
  place.id = "scale";
  place.setAttribute("aria-hidden", "true");
  place.append(make("i", "", "band"), make("i", "", "whisker"), make("i", "", "dot"));
  id("ma").after(place);
  const ends = make("div", "", "ends");
  ends.append(make("span", "0"), make("span"));
  place.after(ends);
  return place;
}

/**
 * Predicted as a band, measured as a mark with its uncertainty, from nothing to the ideal.
 * @param {Measured | null} actual
 * @param {number} ideal
 * @param {number} model
 * @param {number} modelU95
 */
function scale(actual, ideal, model, modelU95) {
  const place = document.getElementById("scale") ?? scalePlace();
  const at = (/** @type {number} */ value) => Math.min(100, Math.max(0, (100 * value) / ideal));
  /** @type {(node: HTMLElement, low: number, high: number) => void} */
  const put = (node, low, high) => {
    node.style.left = at(low) + "%";
    node.style.width = Math.max(0.5, at(high) - at(low)) + "%";
  };
  const ends = place.nextElementSibling;
  if (ends) text(inner(ends, 1), "ideal " + number(ideal));
  const [band, whisker, dot] = [inner(place, 0), inner(place, 1), inner(place, 2)];
  put(band, model - modelU95, model + modelU95);
  whisker.hidden = dot.hidden = !actual;
  if (!actual) return;
  const value = actual.value ?? 0;
  put(whisker, value - (actual.U95 ?? 0), value + (actual.U95 ?? 0));
  dot.style.left = at(value) + "%";
}

/** @type {(head: Head, now: Now) => void} */
function left(head, now) {
  const { meets, why } = page.parts.left ?? { meets: [], why: "" };
  digits("left", length(now.rope_left_m), isOver(now.state) ? "ended" : "not known");
  const said = [];
  if (typeof now.load_left_m === "number") {
    if (meets.length) said.push((now.nearness === "met" ? "TWO-BLOCKED: " : "then ") + meets.join(" meets "));
    said.push(lengthText(now.load_left_m) + " of load travel");
  } else if (why) {said.push(why);}
  if (!head.load_counted) said.push("from the rope alone: no counter at the load");
  list("left-note", said);
}

/** @type {(head: Head, now: Now) => void} */
function travel(head, now) {
  digits("travel", length(now.moved_m), "not known");
  const said = [];
  const { moved, strokes } = page.parts;
  if (typeof now.to_go_m === "number")
    {said.push(lengthText(now.to_go_m) + " to go of " + lengthText(head.pull_distance_m) +
      (moved?.first_rig ? ", by the first rig's file" : ""));}
  if (moved?.why) said.push(moved.why);
  if (moved?.lowered_m) said.push("hauled " + lengthText(moved.hauled_m) + ", lowered " + lengthText(moved.lowered_m));
  if (typeof now.rope_out_m === "number")
    said.push("rope out, net of what is fed back, " + lengthText(now.rope_out_m));
  if (strokes) said.push(counted(strokes.haul_strokes, "stroke") + ", " + counted(strokes.resets, "reset"));
  if (moved && moved.hauled_m !== null)
    {said.push((moved.rigs > 1 ? "sum over " + moved.rigs + " rigs, each by its own ratio" : "by the rig's ratio") +
      ": no counter at the load");}
  list("travel-note", said);
}

/** @param {number} count of channels */
function channelTable(count) {
  const table = make("table");
  const top = make("tr");
  for (const name of COLUMNS) top.append(make("th", name));
  table.append(top);
  for (let k = 0; k < count; k++) {
    const row = make("tr");
    for (let c = 0; c < COLUMNS.length; c++) row.append(make("td"));
    table.append(row);
  }
  return table;
}

/** @type {(channel: ChannelHead, seen: ChannelNow) => string} */
function channelValue(channel, seen) {
  if (seen.fault) return FAULTS[seen.fault];
  if (seen.value === null) return seen.readings > 0 ? "resting" : "none yet";
  return channel.unit === "N" ? forceText(seen.value) : lengthText(seen.value);
}

/** @param {Head} head */
function channels(head) {
  const place = id("channels");
  if (!place.firstChild) place.append(channelTable(head.channels.length));
  head.channels.forEach((channel, k) => {
    const row = inner(inner(place, 0), k + 1);
    const seen = page.parts[`channel:${k}`];
    text(inner(row, 0), channel.name + " at " + channel.at);
    if (!seen) return;
    text(inner(row, 1), channelValue(channel, seen));
    text(inner(row, 2), seen.rate_Hz === null ? "ended" : number(seen.rate_Hz) + " /s");
    text(inner(row, 3), seen.age_s === null || seen.rate_Hz === null ? "—" : seen.age_s.toFixed(1) + " s");
    text(inner(row, 4), seen.dropped + " of " + (seen.dropped + seen.readings));
    row.classList.toggle("bad", Boolean(seen.fault));
  });
}

/** Fill every tile. @type {(head: Head, now: Now) => void} */
export function showTiles(head, now) {
  alarms(head, now);
  if (isOver(now.state)) result(head, now);
  else tension(head, now);
  text("tension-title", isOver(now.state) ? "Result" : "Haul tension");
  id("tension").hidden = isOver(now.state);
  id("result").hidden = id("to-result").hidden = !isOver(now.state);
  peak(now);
  advantage(head);
  left(head, now);
  travel(head, now);
  channels(head);
  afar(head, now);
}

/** Leave no number that could be taken for one of now: the link is lost. @type {(head: Head | undefined, now: Now) => void} */
export function blankTiles(head, now) {
  for (const where of ["tension", "left", "travel", "peak"]) {
    digits(where, null, "NO LINK");
    list(where + "-note", []);
  }
  id("gauge").hidden = true;
  document.title = tabTitle(0, "NO LINK", "", head?.title ?? "");
  showFar({ number: "NO LINK", state: "this page gets no answer: look at the rope, not here", share: "", level: "stop" });
  text("in-view", "");
  if (head) alarms(head, now);
  const table = id("channels").firstElementChild;
  for (const row of Array.from(table?.children ?? []).slice(1))
    for (const cell of Array.from(row.children).slice(1)) text(cell, "—");
}
