/* Tones and spoken words for a crew that looks at the rope.  Nothing sounds before a touch on the page
   asked for it; that touch is the test.  Patterns: [hertz, from s, for s]. */
"use strict";
window.haul = window.haul || {};
(function (haul) {
  const alternating = [0, 1, 2, 3, 4, 5].map((k) => [k % 2 ? 650 : 950, 0.16 * k, 0.15]);
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
  const NEAR = { metric: "half a metre", us: "a foot and a half" }; // of load travel, not more than the page is told
  const WORDS = {
    stop: "stop", back: "load running back", caution: "caution", nodata: "no data", set: "set",
    half: NEAR.metric + " to two-blocked", blocked: "two-blocked", shock: "shock", test: "sound on",
  };
  const AGAIN_MS = { stop: 1800, back: 1800, caution: 4000, nodata: 4000 };
  haul.tones = [
    ["stop", "two tones in turn, again until acknowledged", "over a stop level"],
    ["load running back", "two tones in turn", "the load comes back with the haul let go"],
    ["caution", "three long tones of one pitch, again until acknowledged", "over a caution level"],
    ["no data", "two low long tones, again while it lasts", "a cell, the recorder or the link is silent"],
    ["set", "a high and a low tone", "the haul was let go, the load is held"],
    [WORDS.half, "three short tones", NEAR.metric + " of load travel is left in this stroke"],
    ["two-blocked", "five short tones", "two bodies meet: reset"],
    ["shock", "one long tone", "the force rose suddenly"],
  ];
  let context = null;
  let on = false;
  let last = { name: "", at: -Infinity };
  let was = {};
  haul.sounded = []; // what was asked for since the page was opened, the last of it

  function note(text) {
    haul.sounded.push(text);
    if (haul.sounded.length > 60) haul.sounded.shift();
  }
  function tone(name) {
    note("tone " + name);
    const start = context.currentTime + 0.02;
    for (const [hertz, from, lasts] of PATTERNS[name]) {
      const source = context.createOscillator();
      const loud = context.createGain();
      source.type = "square"; // carries further over a small loudspeaker than a sine
      source.frequency.value = hertz;
      loud.gain.setValueAtTime(0, start + from);
      loud.gain.linearRampToValueAtTime(0.5, start + from + 0.01);
      loud.gain.setValueAtTime(0.5, start + from + lasts - 0.01);
      loud.gain.linearRampToValueAtTime(0, start + from + lasts);
      source.connect(loud).connect(context.destination);
      source.start(start + from);
      source.stop(start + from + lasts + 0.01);
    }
  }
  /* Spoken by a voice of this device alone: a page without internet must not wait for one. */
  function say(text) {
    const speech = window.speechSynthesis;
    if (!speech || !window.SpeechSynthesisUtterance) return;
    note("say " + text);
    const voices = speech.getVoices().filter((v) => v.localService && /^en/.test(v.lang));
    if (!voices.length) return;
    const words = new SpeechSynthesisUtterance(text);
    words.voice = voices[0];
    words.rate = 1.05;
    speech.cancel();
    speech.speak(words);
  }
  function play(name) {
    last = { name: name, at: performance.now() };
    tone(name);
    if (!AGAIN_MS[name] || was.told !== name) say(WORDS[name]);
    was.told = name;
  }
  function show() {
    const button = haul.id("sound");
    const running = on && context && context.state === "running";
    haul.text(button, running ? "SOUND ON" : on ? "SOUND BLOCKED" : "SOUND OFF");
    button.setAttribute("aria-pressed", String(Boolean(running)));
    button.title = running ? "touch: off" : "touch: on, with a test tone";
  }
  haul.soundBuild = function () {
    haul.id("sound").addEventListener("click", haul.soundTouch);
    show();
    const place = haul.id("legend");
    const table = haul.make("table");
    const top = haul.make("tr");
    for (const name of ["spoken", "tone", "when"]) top.append(haul.make("th", name));
    table.append(top);
    for (const row of haul.tones) {
      const line = haul.make("tr");
      row.forEach((text) => line.append(haul.make("td", text)));
      if (row[0] === WORDS.half) line.id = "near";
      table.append(line);
    }
    place.append(table);
  };
  /* What is said of a way, as a person in these units says it. */
  haul.soundUnits = function (name) {
    const near = NEAR[name] || NEAR.metric;
    WORDS.half = near + " to two-blocked";
    const [spoken, , when] = haul.id("near").children;
    spoken.textContent = WORDS.half;
    when.textContent = near + " of load travel is left in this stroke";
  };
  haul.soundTouch = async function () {
    on = !on;
    if (on) {
      context = context || new (window.AudioContext || window.webkitAudioContext)();
      try {
        await context.resume();
      } catch (error) {
        note("blocked");
      }
      if (context.state === "running") {
        tone("test");
        say(WORDS.test);
      }
      context.onstatechange = show;
    } else if (window.speechSynthesis) window.speechSynthesis.cancel();
    was.told = "";
    show();
  };
  /* seen: {alarm: worst level not acknowledged, state, lost: no link, left: load to two-blocked, m; near: at which of it to speak;
     shock: time of the last}; called several times a second. */
  haul.soundTick = function (seen) {
    const before = was;
    was = { ...seen, told: before.told, soon: before.soon, met: before.met };
    if (seen.left === null || seen.left === undefined || seen.left > seen.near[2]) was.soon = was.met = false;
    const events = [];
    if (seen.state === "held" && ["haul", "hold", "ease"].includes(before.state)) events.push("set");
    if (seen.state === "haul" && seen.left !== null && seen.left !== undefined) {
      if (seen.left < seen.near[0] && !was.met) {
        was.soon = was.met = true;
        events.push("blocked");
      } else if (seen.left < seen.near[1] && !was.soon) {
        was.soon = true;
        events.push("half");
      }
    }
    if (seen.shock && before.shock !== undefined && seen.shock !== before.shock) events.push("shock");
    if (!on || !context || context.state !== "running") return;
    const silent = seen.lost || ["nodata", "stalled", "cut"].includes(seen.state);
    const goes = seen.alarm === 2 ? "stop" : seen.state === "back" ? "back"
      : seen.alarm === 1 ? "caution" : silent ? "nodata" : "";
    const now = performance.now();
    if (!goes) was.told = AGAIN_MS[was.told] ? "" : was.told;
    if (goes && (last.name !== goes || now - last.at >= AGAIN_MS[goes])) {
      play(goes);
    } else if (events.length && goes !== "stop" && goes !== "back") play(events[events.length - 1]);
  };
})(window.haul);
