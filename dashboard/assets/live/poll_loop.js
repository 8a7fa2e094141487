/* The live page: ask for what is new, draw, wait for the paint, ask again.  The browser's own drawing
   sets the pace, so nothing piles up; numbers are blanked by the page's own clock. */
"use strict";
window.haul = window.haul || {};
(function (haul) {
  const PACE_MS = 100;
  const NO_LINK_MS = 1000;
  const OVER = (haul.OVER = ["sealed", "changed", "cut"]);
  const BLOCKED_MS = 350; // the page's clock this late: it was the page itself that stood still
  const SPANS = [["60", "1 min"], ["300", "5 min"], ["600", "10 min"], ["3600", "1 h"], ["all", "all"]];
  const SIGNS = {
    haul: "▲", lower: "▼", ease: "▽", hold: "■", held: "■", rest: "■", reset: "↻", back: "▼", nodata: "?", stalled: "?",
    cut: "✕", changed: "✕", sealed: "●", loose: "?", wait: "…",
  };
  const parts = (haul.parts = {});
  let now = null;
  let run = null;
  let seq = 0;
  let version = 0;
  let span = "60";
  let chosen = false;
  let answered = -Infinity;
  let linked = false;
  let pausedAt = null; // time in the session at which the view was paused, s
  let clocked = performance.now();
  haul.stats = { updates: 0, largest: 0, serverMs: [], errors: 0 };

  const sleep = (ms) => new Promise((done) => setTimeout(done, ms));
  const painted = () => Promise.race([new Promise(requestAnimationFrame), sleep(250)]);

  function choose(name, byHand) {
    chosen = chosen || byHand;
    span = name;
    seq = 0;
    haul.graphReset();
    for (const button of haul.id("spans").querySelectorAll("button[value]"))
      button.setAttribute("aria-pressed", String(button.value === span));
  }
  /* What to ask for: while the view is paused, far enough back to fill it. */
  function asking() {
    if (pausedAt === null || span === "all" || !now) return span;
    const back = Number(span) + (now.t || 0) - pausedAt;
    return (SPANS.find(([name]) => name === "all" || Number(name) >= back) || ["all"])[0];
  }
  function pause() {
    pausedAt = pausedAt === null ? (now && now.t) || 0 : null;
    const button = haul.id("pause");
    haul.text(button, pausedAt === null ? "Pause view" : "Go on");
    button.setAttribute("aria-pressed", String(pausedAt !== null));
    haul.id("paused").hidden = pausedAt === null;
    haul.text("paused", pausedAt === null ? "" : "VIEW PAUSED at " + haul.clock(pausedAt) + ", recording goes on");
    if (pausedAt === null) choose(span, true);
  }

  function take(answer, size) {
    if (run !== null && answer.run !== run) {
      location.reload(); // another run of the server: its token is another too
      return;
    }
    const first = run === null;
    run = answer.run;
    if (!first && seq > 0 && version > 0) haul.stats.largest = Math.max(haul.stats.largest, size);
    for (const [key, value] of Object.entries(answer.p)) parts[key] = value;
    now = haul.now = answer.now;
    version = answer.v;
    seq = answer.seq;
    haul.graphTake(answer);
    if ("head" in answer.p) {
      haul.unitsTake(parts.head.units);
      haul.soundUnits(parts.head.units);
      haul.graphHead(parts.head);
      haul.handsBuild(parts.head);
    }
    if (first && OVER.includes(now.k) && !chosen) choose("all", false);
  }

  function lines(key) {
    const found = [];
    for (let k = 0; key + ":" + k in parts; k++) {
      const part = parts[key + ":" + k];
      if (part !== null) found.push(part);
    }
    return found;
  }

  function show() {
    const head = parts.head;
    if (!head || !now) return;
    haul.text("title", head.title);
    haul.text("sub", head.folder + (head.demo ? " · demo, simulated" : ""));
    haul.text("clock", now.t === undefined ? "" : haul.clock(now.t));
    const banner = haul.id("banner");
    const word = parts.fault ? "NOT FOLLOWED" : now.w;
    haul.text("state", (SIGNS[now.k] ? SIGNS[now.k] + " " : "") + word);
    haul.text("state-detail", parts.fault || now.d || "");
    if (banner.dataset.state !== now.k) banner.dataset.state = now.k;
    haul.tiles();
    const happened = lines("e");
    haul.list("events", happened.length === 0 ? ["nothing to tell so far"] : happened.map((e) => haul.clock(e[0]) + "  " + e[1] + (e[2] ? ": " + e[2] : "")));
    const unrated = head.rated < head.of
      ? [head.rated + " of " + head.of + " strands and parts are rated in the rig file."] : [];
    haul.list("warnings", unrated.concat(lines("w")));
    haul.text("graph-title", (head.isHaul ? "Haul force" : "Force, " + (head.force || "no cell")) +
      (head.way ? " and travel" : "") + " over time");
    haul.text("graph-note", head.holds.length
      ? "Near nothing while the load is held on " + head.holds.join(" or ") + ": the haul strand rests, the rope behind it is loaded."
      : "Near nothing here says nothing about the rope behind the haul strand.");
    const over = OVER.includes(now.k);
    haul.id("hands-tile").hidden = over;
    haul.handsTake(parts.done);
    haul.rigShow(parts, head, now.g, !over && now.k !== "wait" && now.k !== "stalled", now.f);
  }

  /* The page's own clock: after a second without an answer no live number stays.  Where the page itself
     stood still (the first drawing, a tab that slept), it asks once before it says that the link is gone. */
  function watchLink() {
    const at = performance.now();
    if (at - clocked > BLOCKED_MS) answered = Math.max(answered, at - NO_LINK_MS / 2);
    clocked = at;
    const quiet = at - answered;
    const fresh = quiet < NO_LINK_MS;
    const page = haul.id("page");
    if (page) page.classList.toggle("nolink", !fresh);
    const over = now && OVER.includes(now.k);
    haul.lost = !fresh;
    if (linked && now)
      haul.soundTick({ alarm: over ? 0 : haul.worstAlarm(), state: now.k, lost: !fresh && !over, left: fresh ? now.sl : null, near: parts.head.near,
                       shock: parts.last && parts.last[1] === "shock" ? parts.last[0] : 0 });
    if (fresh || !linked || !now) {
      linked = linked || fresh;
      return;
    }
    haul.text("link", over ? "page ended" : "NO LINK " + Math.round(Math.min(quiet, 1e7) / 1000) + " s");
    if (over) return; // what a finished session came to does not grow old
    haul.id("banner").dataset.state = "nolink";
    haul.text("state", "NO LINK");
    haul.text("state-detail", "this page gets no answer: look at the rope, not here");
    for (const where of ["tension", "left", "travel", "peak"]) {
      haul.digits(where, null, "NO LINK");
      haul.list(where + "-note", []);
    }
    haul.id("gauge").hidden = true;
    haul.text("in-view", "");
    haul.alarmsLost();
    if (parts.head) haul.rigShow({}, parts.head, 0, false);
    const table = haul.id("channels").firstChild;
    if (table)
      for (const row of Array.from(table.children).slice(1))
        for (const cell of Array.from(row.children).slice(1)) haul.text(cell, "—");
  }

  function spansSeen() {
    const found = [];
    for (const [key, value] of Object.entries(parts)) if (value && key.startsWith("k:")) found.push(value);
    return found;
  }
  /* The graph costs the most: where a drawing takes long, the next waits as long, and the numbers,
     which cost next to nothing, keep their pace. */
  let drewAt = -Infinity;
  let drawCost = 0;
  async function draw() {
    if (performance.now() - drewAt < Math.min(drawCost, 250)) return;
    const began = performance.now();
    await plot();
    drewAt = performance.now();
    drawCost = drewAt - began;
  }
  function plot() {
    const end = pausedAt === null ? now.t || 0 : pausedAt;
    const drawing = haul.graphDraw(span === "all" ? null : Number(span), end, spansSeen());
    const seen = haul.view;
    const name = (SPANS.find((s) => s[0] === span) || ["", ""])[1];
    haul.text("in-view", seen
      ? "In view (" + name + "): peak " + haul.forceText(seen.high) + " · min " + haul.forceText(seen.low) +
        " · mean over time " + haul.forceText(seen.mean)
      : "Nothing in view");
    return drawing;
  }

  async function loop() {
    let next = performance.now();
    for (;;) {
      let more = false;
      try {
        const asked = asking();
        const chose = span;
        const address = "/since?seq=" + seq + "&v=" + version + "&span=" + asked +
          (haul.session ? "&s=" + encodeURIComponent(haul.session) : "");
        const reply = await fetch(address, { cache: "no-store", signal: AbortSignal.timeout(3000) });
        if (!reply.ok) throw new Error("answer " + reply.status);
        const text = await reply.text();
        if (chose === span) {
          const answer = JSON.parse(text);
          more = Boolean(answer.more);
          take(answer, Number(reply.headers.get("content-length")) || text.length);
          answered = performance.now();
          haul.text("link", "link alive");
          const timing = /dur=([0-9.]+)/.exec(reply.headers.get("server-timing") || "");
          if (timing) haul.stats.serverMs.push(Number(timing[1]));
          if (haul.stats.serverMs.length > 600) haul.stats.serverMs.shift();
          show();
          if (chose === span && !more) await draw();
          await painted();
          haul.stats.updates++;
          haul.stats.shown = now.t;
        }
      } catch (error) {
        haul.stats.errors++;
        haul.stats.last = String(error);
        await sleep(200);
      }
      next = Math.max(next + (more ? 0 : PACE_MS), performance.now());
      await sleep(Math.max(0, next - performance.now()));
    }
  }

  function begin() {
    if (!haul.id("page") || !haul.id("banner")) {
      setTimeout(begin, 20);
      return;
    }
    haul.token = document.querySelector('meta[name="haul-token"]').content;
    const found = /^\/s\/([^/]+)\/$/.exec(location.pathname);
    haul.session = found ? decodeURIComponent(found[1]) : "";
    for (const [name, label] of SPANS) {
      const button = haul.make("button", label);
      button.type = "button";
      button.value = name;
      button.addEventListener("click", () => choose(name, true));
      haul.id("spans").append(button);
    }
    const hold = haul.make("button", "Pause view");
    hold.type = "button";
    hold.id = "pause";
    hold.setAttribute("aria-pressed", "false");
    hold.addEventListener("click", pause);
    haul.id("spans").append(hold);
    haul.id("ack").addEventListener("click", haul.acknowledge);
    haul.soundBuild();
    haul.lookBuild();
    choose(span, false);
    haul.text("state", "CONNECTING");
    setInterval(watchLink, 100);
    loop();
  }
  begin();
})(window.haul);
