/* The live page: ask for what is new, draw, wait for the paint, ask again.  The browser's own drawing
   sets the pace, so nothing piles up; numbers are blanked by the page's own clock. */
"use strict";
window.haul = window.haul || {};
(function (haul) {
  const PACE_MS = 100;
  const NO_LINK_MS = 1000;
  const OVER = ["sealed", "changed", "cut"];
  const SPANS = [["60", "1 min"], ["600", "10 min"], ["all", "all"]];
  const SIGNS = {
    haul: "▲", lower: "▼", ease: "▽", hold: "■", held: "■", rest: "■", reset: "↻", back: "▼", nodata: "?", stalled: "?",
    cut: "✕", changed: "✕", sealed: "●", loose: "?", wait: "…",
  };
  let parts = {};
  let now = null;
  let run = null;
  let seq = 0;
  let version = 0;
  let span = "60";
  let chosen = false;
  let answered = -Infinity;
  let linked = false;
  haul.stats = { updates: 0, largest: 0, serverMs: [], errors: 0 };

  const sleep = (ms) => new Promise((done) => setTimeout(done, ms));
  const painted = () => Promise.race([new Promise(requestAnimationFrame), sleep(250)]);

  function choose(name, byHand) {
    chosen = chosen || byHand;
    span = name;
    seq = 0;
    haul.graphReset();
    for (const button of haul.id("spans").children)
      button.setAttribute("aria-pressed", String(button.value === span));
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
    now = answer.now;
    version = answer.v;
    seq = answer.seq;
    haul.graphTake(answer.b);
    if ("head" in answer.p) {
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
    haul.text("alarm", parts.alarm || "");
    haul.id("alarm").hidden = !parts.alarm;
    tension(head);
    advantage(head);
    left(head);
    travel(head);
    channels(head);
    const happened = lines("e");
    haul.list("events", happened.length === 0 ? ["nothing to tell so far"] : happened.map((e) => haul.clock(e[0]) + "  " + e[1] + (e[2] ? ": " + e[2] : "")));
    const rated = head.of - head.rated;
    const unrated = rated > 0 ? [rated + " of " + head.of + " strands and parts are unrated in the rig file."] : [];
    haul.list("warnings", unrated.concat(lines("w")));
    haul.text("graph-title", head.isHaul ? "Haul force over time" : "Force over time, " + (head.force || "no cell"));
    haul.text("graph-note", head.holds.length
      ? "Near nothing while the load is held on " + head.holds.join(" or ") + ": the haul strand rests, the rope behind it is loaded."
      : "Near nothing here says nothing about the rope behind the haul strand.");
    const over = OVER.includes(now.k);
    haul.id("hands-tile").hidden = over;
    haul.handsTake(parts.done);
  }

  function tension(head) {
    const words = {
      before: "none yet", nodata: "NO DATA", nocell: "no cell", rest: "at rest", loose: "let go",
      sealed: "ended", cut: "ended", changed: "ended", stalled: "old", wait: "…",
      held: "on " + head.holds.join(" or "), reset: head.holds.length ? "on " + head.holds.join(" or ") : "let go",
      back: "run back",
    };
    haul.digits("tension", haul.force(now.f), words[now.k] || "—");
    const said = [];
    if (now.f === null && now.lf !== null && now.lf !== undefined)
      said.push("last hauled at " + haul.forceText(now.lf) + (OVER.includes(now.k) ? "" : ", " + haul.ago(now.la)));
    if (now.hc) said.push(head.holds.join(" or ") + " carries at most about " + haul.forceText(now.hc));
    if (head.haul !== null) said.push("predicted while hauling " + haul.forcePlusMinus(head.haul, head.haulU));
    if (now.pk !== null && now.pk !== undefined) said.push("peak " + haul.forceText(now.pk) + " at " + haul.clock(now.pt) +
        (head.limit !== null && now.pk > head.limit ? ", OVER the first limit" : ""));
    if (head.limit !== null) {
      const share = now.f === null ? "" : Math.round((100 * now.f) / head.limit) + " % of ";
      said.push(share + haul.forceText(head.limit) + ", where the first limit is reached: " + head.because);
    } else said.push("unrated: " + head.because);
    haul.list("tension-note", said);
  }

  function advantage(head) {
    const ma = parts.ma;
    haul.digits("ma", ma ? [haul.plusMinus(ma[0], ma[1]), ": 1"] : null, "not measured");
    haul.id("ma").classList.toggle("pair", Boolean(ma));
    const said = [
      "predicted " + haul.plusMinus(head.model, head.modelU) + " · ideal " + haul.number(head.ideal),
    ];
    if (ma) {
      if (parts.eff) said.push("efficiency " + haul.plusMinus(100 * parts.eff[0], 100 * parts.eff[1], "%") +
        " over " + ma[2] + (ma[2] === 1 ? " observation" : " observations"));
      said.push(parts.verdict || "");
    } else said.push(parts.why || "wait for the first steady stroke");
    if (parts.load) said.push("load " + haul.forcePlusMinus(parts.load[0], parts.load[1]) + " (" +
      ({ known: "from the rig file", cell: "by a cell", "haul-and-lower": "from hauling and lowering", model: "by the model" }[parts.method] || "") + ")");
    haul.list("ma-note", said.filter((s) => s));
    scale(head, ma);
  }

  /* Predicted as a band, measured as a mark with its uncertainty, from nothing to the ideal. */
  function scale(head, ma) {
    let place = haul.id("scale");
    if (!place) {
      place = haul.make("div");
      place.id = "scale";
      place.setAttribute("aria-hidden", "true");
      place.append(haul.make("i", "", "band"), haul.make("i", "", "whisker"), haul.make("i", "", "dot"));
      haul.id("ma").after(place);
      const ends = haul.make("div", "", "ends");
      ends.append(haul.make("span", "0"), haul.make("span", "ideal " + haul.number(head.ideal)));
      place.after(ends);
    }
    const at = (value) => Math.min(100, Math.max(0, (100 * value) / (head.ideal * 1.0)));
    const put = (node, low, high) => {
      node.style.left = at(low) + "%";
      node.style.width = Math.max(0.5, at(high) - at(low)) + "%";
    };
    put(place.children[0], head.model - head.modelU, head.model + head.modelU);
    place.children[1].hidden = place.children[2].hidden = !ma;
    if (ma) {
      put(place.children[1], ma[0] - ma[1], ma[0] + ma[1]);
      place.children[2].style.left = at(ma[0]) + "%";
    }
  }

  function left(head) {
    const known = parts.left || { by: [], why: "" };
    haul.digits("left", haul.length(now.sl), OVER.includes(now.k) ? "ended" : "not known");
    const said = [];
    if (now.sl !== null && now.sl !== undefined) {
      said.push("of load, " + haul.lengthText(now.sr) + " of rope");
      if (known.by.length)
        said.push((now.sl < 0.05 ? "two-blocked: " : "then ") + known.by.join(" meets "));
    } else if (known.why) said.push(known.why);
    if (!head.loadCounted) said.push("from the rope alone: no counter at the load");
    haul.list("left-note", said);
  }

  function travel(head) {
    haul.digits("travel", haul.length(now.lt), "not known");
    const said = [];
    if (head.go !== null && now.lt !== null && now.lt !== undefined)
      said.push(haul.lengthText(Math.max(0, head.go - now.lt)) + " to go of " + haul.lengthText(head.go));
    if (now.ht !== null && now.ht !== undefined) said.push("rope out, net of what is fed back, " + haul.lengthText(now.ht));
    const sum = parts.sum;
    if (sum) said.push(sum.n + (sum.n === 1 ? " stroke, " : " strokes, ") + sum.resets + (sum.resets === 1 ? " reset" : " resets"));
    if (!head.loadCounted) said.push("by the rig's ratio: no counter at the load");
    haul.list("travel-note", said);
  }

  function channels(head) {
    const place = haul.id("channels");
    if (!place.firstChild) {
      const table = haul.make("table");
      const top = haul.make("tr");
      for (const name of ["channel", "now", "rate", "age", "dropped"]) top.append(haul.make("th", name));
      table.append(top);
      for (let k = 0; k < head.channels.length; k++) {
        const row = haul.make("tr");
        for (let c = 0; c < 5; c++) row.append(haul.make("td"));
        table.append(row);
      }
      place.append(table);
    }
    head.channels.forEach((channel, k) => {
      const cells = place.firstChild.children[k + 1].children;
      const row = parts["c:" + k];
      haul.text(cells[0], channel.name + " at " + channel.at);
      if (!row) return;
      let value = channel.unit === "N" ? haul.forceText(row[0]) : haul.lengthText(row[0]);
      if (row[5]) value = row[5];
      else if (row[0] === null) value = row[4] > 0 ? "resting" : "none yet";
      haul.text(cells[1], value);
      haul.text(cells[2], row[1] === null ? "ended" : haul.number(row[1]) + " /s");
      haul.text(cells[3], row[2] === null ? "—" : row[1] === null ? "—" : row[2].toFixed(1) + " s");
      haul.text(cells[4], row[3] + " of " + (row[3] + row[4]));
      place.firstChild.children[k + 1].classList.toggle("bad", Boolean(row[5]));
    });
  }

  /* The page's own clock: after a second without an answer no live number stays. */
  function watchLink() {
    const quiet = performance.now() - answered;
    const fresh = quiet < NO_LINK_MS;
    const page = haul.id("page");
    if (page) page.classList.toggle("nolink", !fresh);
    if (fresh || !linked || !now) {
      linked = linked || fresh;
      return;
    }
    const over = OVER.includes(now.k);
    haul.text("link", over ? "page ended" : "NO LINK " + Math.round(Math.min(quiet, 1e7) / 1000) + " s");
    if (over) return; // what a finished session came to does not grow old
    haul.id("banner").dataset.state = "nolink";
    haul.text("state", "NO LINK");
    haul.text("state-detail", "this page gets no answer: look at the rope, not here");
    for (const where of ["tension", "left", "travel"]) {
      haul.digits(where, null, "NO LINK");
      haul.list(where + "-note", []);
    }
    const table = haul.id("channels").firstChild;
    if (table)
      for (const row of Array.from(table.children).slice(1))
        for (const cell of Array.from(row.children).slice(1)) haul.text(cell, "—");
  }

  async function loop() {
    let next = performance.now();
    for (;;) {
      try {
        const address = "/since?seq=" + seq + "&v=" + version + "&span=" + span +
          (haul.session ? "&s=" + encodeURIComponent(haul.session) : "");
        const reply = await fetch(address, { cache: "no-store", signal: AbortSignal.timeout(3000) });
        if (!reply.ok) throw new Error("answer " + reply.status);
        const text = await reply.text();
        const asked = span;
        take(JSON.parse(text), Number(reply.headers.get("content-length")) || text.length);
        answered = performance.now();
        haul.text("link", "live");
        const timing = /dur=([0-9.]+)/.exec(reply.headers.get("server-timing") || "");
        if (timing) haul.stats.serverMs.push(Number(timing[1]));
        if (haul.stats.serverMs.length > 600) haul.stats.serverMs.shift();
        show();
        if (asked === span) await haul.graphDraw(span === "all" ? null : Number(span), now.t || 0);
        await painted();
        haul.stats.updates++;
      } catch (error) {
        haul.stats.errors++;
        haul.stats.last = String(error);
        await sleep(200);
      }
      next = Math.max(next + PACE_MS, performance.now());
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
    choose(span, false);
    haul.id("alarm").hidden = true;
    haul.text("state", "CONNECTING");
    setInterval(watchLink, 100);
    loop();
  }
  begin();
})(window.haul);
