/* What sharing adds to the live page: a viewer's page has no hands, an operator's leads to the picture
   for others; and every page says for how long it was not watching.  Reads haul.stats.updates alone. */
"use strict";
window.haul = window.haul || {};
(function (haul) {
  const LOOK_MS = 250;
  const GAP_MS = 3000; // a page that is watched asks about ten times a second
  const SETTLED = 10; // updates: the first ones wait for the plot to be loaded and drawn
  const LET_IN_MS = 5000;
  let askedStill = 0;
  let seen = 0;
  let steady = 0;
  let wall = 0;
  let longest = 0;
  let gaps = 0;

  /* Some clocks stand still while a phone sleeps: the longer of the two counts. */
  function away() {
    return Math.max(performance.now() - steady, Date.now() - wall);
  }
  function tell(ms) {
    gaps += 1;
    longest = Math.max(longest, ms);
    const ended = new Date();
    const text = "this page was not watching for " + Math.round(ms / 1000) + " s, until " + ended.toTimeString().slice(0, 8) +
      (gaps > 1 ? " (" + gaps + " times, at most " + Math.round(longest / 1000) + " s)" : "") +
      ": see what happened below; keep this screen on";
    let place = document.getElementById("away");
    if (!place) {
      place = document.createElement("button");
      place.id = "away";
      place.type = "button";
      place.setAttribute("role", "alert");
      place.title = "touch to put away";
      place.addEventListener("click", () => {
        gaps = longest = 0;
        place.remove();
      });
      document.getElementById("banner").after(place);
    }
    place.textContent = text;
  }
  function look() {
    const updates = haul.stats ? haul.stats.updates : 0;
    if (updates === seen) {
      if (haul.role && away() > LET_IN_MS && performance.now() > askedStill + LET_IN_MS) stillLetIn();
      return;
    }
    const ms = away();
    if (seen >= SETTLED && ms > GAP_MS) tell(ms);
    seen = updates;
    steady = performance.now();
    wall = Date.now();
  }
  /* A cookie ends after 12 h and with the run: then the code is asked for, not NO LINK shown for ever. */
  async function stillLetIn() {
    askedStill = performance.now();
    try {
      if ((await fetch("/who", { cache: "no-store" })).status === 403) location.replace("/enter");
    } catch (error) {
      return; // no link: the page says so
    }
  }
  async function askWho() {
    let who = null;
    try {
      const answer = await fetch("/who", { cache: "no-store" });
      if (answer.ok) who = await answer.json();
    } catch (error) {
      who = null;
    }
    if (who === null) {
      setTimeout(askWho, 3000); // until then nobody acts from here
      return;
    }
    haul.role = who.role;
    document.documentElement.dataset.role = who.role;
    if (!who.shared) return;
    if (who.role === "operator") {
      const note = document.createElement("p");
      const link = document.createElement("a");
      note.id = "shared";
      note.textContent = "Shared on this network, over plain HTTP: not secret. ";
      link.href = "/share";
      link.textContent = "Link and picture for others";
      note.append(link);
      document.querySelector("#page main").append(note);
      return;
    }
    const note = document.createElement("button");
    note.id = "shared";
    note.type = "button";
    note.textContent = "Set this screen to stay on: a dark one watches nothing. You look on; the operator marks, zeroes " +
      "and ends. This page is not secret: it goes over plain HTTP. Touch to put this at the end.";
    note.addEventListener("click", () => document.querySelector("#page main").append(note));
    document.getElementById("banner").after(note);
  }
  function begin() {
    if (!document.getElementById("banner")) {
      setTimeout(begin, 50);
      return;
    }
    setInterval(look, LOOK_MS);
    document.addEventListener("visibilitychange", look);
    askWho();
  }
  begin();
})(window.haul);
