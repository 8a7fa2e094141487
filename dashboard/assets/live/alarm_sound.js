/* Tones and spoken words for a crew that looks at the rope.  Nothing sounds before a touch on the page
   asked for it; that touch is the test. */
import { id, inner, make, text } from "../shared/dom.js";

/** @import { Now } from "./wire.js" */
/**
 * What a sound follows from.
 * @typedef {object} Heard
 * @property {number} alarm highest level that is not acknowledged
 * @property {string} state
 * @property {boolean} lost whether there is no link
 * @property {Now["nearness"]} nearness how near to two-blocked the load is
 * @property {number} shock time of the last shock, s; 0 for none
 */

/** Tones of one pattern: hertz, from s, for s. @typedef {[number, number, number][]} Tones */

/** @type {Tones} */
const alternating = [0, 1, 2, 3, 4, 5].map((k) => [k % 2 ? 650 : 950, 0.16 * k, 0.15]);
/** @type {Record<string, Tones>} */
const PATTERNS = {
  stop: alternating,
  back: alternating,
  caution: [[650, 0, 0.25], [650, 0.4, 0.25], [650, 0.8, 0.25]],
  nodata: [[430, 0, 0.45], [430, 0.6, 0.45]],
  set: [[760, 0, 0.12], [520, 0.14, 0.22]],
  half: [[820, 0, 0.08], [820, 0.16, 0.08], [820, 0.32, 0.08]],
  blocked: [[820, 0, 0.06], [820, 0.1, 0.06], [820, 0.2, 0.06], [820, 0.3, 0.06], [820, 0.4, 0.06]],
  shock: [[650, 0, 0.25]],
  test: [[650, 0, 0.2]],
};
/** Load travel at which the server says "soon", in words, by the units' name. @type {Record<string, string>} */
const NEAR = { metric: "half a metre", us: "a foot and a half" };
/** @type {Record<string, string>} */
const WORDS = {
  stop: "stop", back: "load running back", caution: "caution", nodata: "no data", set: "set",
  half: NEAR.metric + " to two-blocked", blocked: "two-blocked", shock: "shock", test: "sound on",
};
/** @type {Record<string, number>} */
const AGAIN_MS = { stop: 1800, back: 1800, caution: 4000, nodata: 4000 };
const LEGEND = [
  ["stop", "two tones in turn, again until acknowledged", "over a stop level"],
  ["load running back", "two tones in turn", "the load comes back with the haul let go"],
  ["caution", "three long tones of one pitch, again until acknowledged", "over a caution level"],
  ["no data", "two low long tones, again while it lasts", "a cell, the recorder or the link is silent"],
  ["set", "a high and a low tone", "the haul was let go, the load is held"],
  [WORDS.half, "three short tones", NEAR.metric + " of load travel is left in this stroke"],
  ["two-blocked", "five short tones", "two bodies meet: reset"],
  ["shock", "one long tone", "the force rose suddenly"],
];
const KEPT = 60;
/** What was asked for since the page was opened, the last of it. @type {string[]} */
export const sounded = [];
/** @type {AudioContext | null} */
let context = null;
let on = false;
let last = { name: "", at: -Infinity };
let said = ""; // the last that was spoken and goes on
let toldSoon = false; // in this stroke
let toldMet = false;
/** @type {Heard | null} */
let before = null;

/** @param {string} what */
function note(what) {
  sounded.push(what);
  if (sounded.length > KEPT) sounded.shift();
}

/** @type {(to: AudioContext, name: string) => void} */
function tone(to, name) {
  note("tone " + name);
  const start = to.currentTime + 0.02;
  for (const [hertz, from, lasts] of PATTERNS[name]) {
    const source = to.createOscillator();
    const loud = to.createGain();
    source.type = "square"; // carries further over a small loudspeaker than a sine
    source.frequency.value = hertz;
    loud.gain.setValueAtTime(0, start + from);
    loud.gain.linearRampToValueAtTime(0.5, start + from + 0.01);
    loud.gain.setValueAtTime(0.5, start + from + lasts - 0.01);
    loud.gain.linearRampToValueAtTime(0, start + from + lasts);
    source.connect(loud).connect(to.destination);
    source.start(start + from);
    source.stop(start + from + lasts + 0.01);
  }
}

/**
 * Speak, by a voice of this device alone: a page without internet must not wait for one.
 * @param {string} words
 */
function say(words) {
  const speech = window.speechSynthesis;
  if (!speech || !window.SpeechSynthesisUtterance) return;
  note("say " + words);
  const voices = speech.getVoices().filter((v) => v.localService && v.lang.startsWith("en"));
  if (!voices.length) return;
  const spoken = new SpeechSynthesisUtterance(words);
  spoken.voice = voices[0];
  spoken.rate = 1.05;
  speech.cancel();
  speech.speak(spoken);
}

/** @type {(to: AudioContext, name: string) => void} */
function play(to, name) {
  last = { name, at: performance.now() };
  tone(to, name);
  if (!AGAIN_MS[name] || said !== name) say(WORDS[name]);
  said = name;
}

function show() {
  const running = on && context?.state === "running";
  text("sound", running ? "SOUND ON" : on ? "SOUND BLOCKED" : "SOUND OFF");
  id("sound").setAttribute("aria-pressed", String(Boolean(running)));
  id("sound").title = running ? "touch: off" : "touch: on, with a test tone";
}

/** Make the button work, and write the sounds into the legend. */
export function buildSound() {
  id("sound").addEventListener("click", touch);
  show();
  const table = make("table");
  const top = make("tr");
  for (const name of ["spoken", "tone", "when"]) top.append(make("th", name));
  table.append(top);
  for (const row of LEGEND) {
    const line = make("tr");
    row.forEach((content) => line.append(make("td", content)));
    if (row[0] === WORDS.half) line.id = "near";
    table.append(line);
  }
  id("legend").append(table);
}

/**
 * Say lengths as a person in these units says them.
 * @param {string} name "metric" or "us"
 */
export function soundUnits(name) {
  const near = NEAR[name] || NEAR.metric;
  WORDS.half = near + " to two-blocked";
  const line = id("near");
  text(inner(line, 0), WORDS.half);
  text(inner(line, 2), near + " of load travel is left in this stroke");
}

async function touch() {
  on = !on;
  if (on) {
    context ??= new (window.AudioContext || window.webkitAudioContext)();
    try {
      await context.resume();
    } catch {
      note("blocked");
    }
    if (context.state === "running") {
      tone(context, "test");
      say(WORDS.test);
    }
    context.onstatechange = show;
  } else {window.speechSynthesis?.cancel();}
  said = "";
  show();
}

/**
 * The sounds of what happened since the last call, each once.
 * @param {Heard} heard
 */
export function newSounds(heard) {
  const was = before;
  before = heard;
  const sounds = [];
  if (heard.nearness === null || heard.nearness === undefined || heard.nearness === "far") toldSoon = toldMet = false;
  if (heard.state === "held" && was && ["haul", "hold", "ease"].includes(was.state)) sounds.push("set");
  if (heard.state === "haul" && heard.nearness === "met" && !toldMet) {
    toldSoon = toldMet = true;
    sounds.push("blocked");
  } else if (heard.state === "haul" && heard.nearness === "soon" && !toldSoon) {
    toldSoon = true;
    sounds.push("half");
  }
  if (heard.shock && was && heard.shock !== was.shock) sounds.push("shock");
  return sounds;
}

/**
 * The sound of what lasts, the gravest alone; "" for none.
 * @param {Heard} heard
 */
export function lastingSound(heard) {
  if (heard.alarm === 2) return "stop";
  if (heard.state === "back") return "back";
  if (heard.alarm === 1) return "caution";
  return heard.lost || ["nodata", "stalled", "cut"].includes(heard.state) ? "nodata" : "";
}

/**
 * Sound what is due; called several times a second.
 * @param {Heard} heard
 */
export function tickSound(heard) {
  const sounds = newSounds(heard);
  if (!on || !context || context.state !== "running") return;
  const lasting = lastingSound(heard);
  if (!lasting && AGAIN_MS[said]) said = "";
  if (lasting && (last.name !== lasting || performance.now() - last.at >= AGAIN_MS[lasting])) play(context, lasting);
  else if (sounds.length && lasting !== "stop" && lasting !== "back") play(context, sounds[sounds.length - 1]);
}
