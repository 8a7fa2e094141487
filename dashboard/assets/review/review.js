/* The review page: ask for what was chosen, put it in as text.  Nothing here changes a session; a what-if
   is asked for by a number and shown in place of the record's figures, under a bar that says so. */
"use strict";
window.haul = window.haul || {};
(function (haul) {
  const found = /^\/s\/([^/]+)\/review$/.exec(location.pathname);
  const session = found ? decodeURIComponent(found[1]) : "";
  const chosen = { units: haul.id("page").dataset.shown, e: "", rig: 0 };
  let told = null; // what is shown
  let record = null; // the record's own, in the units that are shown
  let budget = "";
  let loopOf = 0;
  let last = { ...chosen }; // with which the last answer was asked for
  let asking = false;
  let again = false;
  haul.stats = { loads: 0, errors: 0 };

  function fault(text) {
    haul.text("fault", text);
    haul.id("fault").hidden = !text;
  }
  /* JSON of an address, null where there is none; more: what to ask beside units and what-if. */
  haul.ask = async function (address, more, plain) {
    const query = new URLSearchParams({ units: chosen.units, ...more });
    if (session) query.set("s", session);
    if (!plain && chosen.e) query.set("e", chosen.e);
    if (!plain && chosen.rig) query.set("rig", chosen.rig);
    try {
      const reply = await fetch(address + "?" + query, { cache: "no-store", signal: AbortSignal.timeout(60000) });
      if (!reply.ok) throw new Error((await reply.text()).slice(0, 300));
      const value = await reply.json();
      fault("");
      return value;
    } catch (error) {
      haul.stats.errors++;
      haul.stats.last = String(error);
      fault(error instanceof TypeError ? "No answer: is `haul watch` still running?" : error.message);
      return null;
    }
  };

  /* Rows of texts as a table; the first cell heads its row.  head: names of the columns. */
  function table(where, head, rows, name) {
    const place = haul.id(where);
    place.textContent = "";
    const made = haul.make("table", "", name || "");
    const top = haul.make("thead");
    const first = haul.make("tr");
    for (const text of head) {
      const cell = haul.make("th", text);
      cell.scope = "col";
      first.append(cell);
    }
    top.append(first);
    const body = haul.make("tbody");
    for (const row of rows) {
      const line = haul.make("tr");
      row.forEach((content, k) => {
        const cell = haul.make(k ? "td" : "th");
        if (!k) cell.scope = "row";
        cell.dataset.h = head[k] || "";
        if (content instanceof Node) cell.append(content);
        else cell.textContent = content;
        if (content === "–" || content === "") cell.classList.add("none");
        line.append(cell);
      });
      body.append(line);
    }
    made.append(top, body);
    place.append(made);
    return Array.from(body.children);
  }
  function pair(text, small) {
    const node = haul.make("span", text);
    if (small) node.append(haul.make("small", small));
    return node;
  }
  function jump(text, then, label) {
    const button = haul.make("button", text, "jump");
    button.type = "button";
    button.setAttribute("aria-label", label);
    button.addEventListener("click", () => {
      then();
      haul.id("time-plot").scrollIntoView({ block: "center" });
    });
    return button;
  }
  function share(text, value) {
    const node = haul.make("span", text, "share");
    const bar = haul.make("i");
    bar.style.width = Math.max(0, Math.min(1, value || 0)) * 100 + "%";
    const rail = haul.make("b");
    rail.append(bar);
    node.append(rail);
    return node;
  }
  function options(where, rows, value) {
    const node = haul.id(where);
    node.textContent = "";
    for (const [given, text] of rows) {
      const option = haul.make("option", text);
      option.value = given;
      node.append(option);
    }
    node.value = value;
  }

  haul.strokeAt = function (time) {
    const inside = told && told.strokes.find((s) => s.from <= time && time <= s.to);
    return inside ? "stroke " + inside.cells[0] : "";
  };

  function show() {
    const what = Boolean(told.told);
    document.title = (what ? "WHAT IF, " : "") + "review: " + told.title;
    haul.text("title", told.title);
    haul.text("sub", [told.folder, told.started, told.state === "growing" ? "STILL RECORDED, as of " + told.as_of + ": load this page again for more" : told.state,
      told.demo ? "demo, simulated" : ""].filter((x) => x).join(" · "));
    haul.id("page").classList.toggle("supposed", what);
    haul.id("what-if").hidden = !what;
    haul.text("what-if-said", what ? told.told + ": not the record, not a measurement." : "");
    const said = haul.id("sentences");
    said.textContent = "";
    for (const text of told.sentences) said.append(haul.make("p", text));
    said.lastChild.classList.toggle("grave", told.grave);
    table("results", told.heads.results, told.results.map((r) => r.map((text) => text || "–")), "results");
    haul.text("verdict", (told.why_not ? "Not known: " + told.why_not + ". " : "") + "Readings: " + told.readings + ".");
    haul.list("warnings", told.warnings);
    strokes();
    peaks();
    haul.text("unrated", told.unrated);
    budgets();
    events();
    compare();
    haul.timeWhole(told.from, told.to);
  }
  function strokes() {
    const place = haul.id("strokes");
    place.textContent = "";
    if (!told.strokes.length) place.append(haul.make("p", "No stroke was found.", "note"));
    else {
      const rows = told.strokes.map((s) => [
        jump(s.cells[0], () => {
          loopOf = s.k;
          haul.id("loop-of").value = String(s.k);
          haul.loopShow(s.k);
          const air = 0.03 * (s.to - s.from);
          haul.timeShow(s.from - air, s.to + air);
        }, "show stroke " + s.cells[0] + " on the plots"),
        ...s.cells.slice(1),
      ]);
      table("strokes", told.heads.strokes, rows, "cards");
      if (told.strokes_more) place.append(haul.make("p", told.strokes_more, "note"));
    }
    if (loopOf > told.strokes.length) loopOf = 0;
    options("loop-of", [["0", "whole session"], ...told.strokes.map((s) => [String(s.k), "stroke " + s.cells[0]])], String(loopOf));
  }
  function peaks() {
    const place = told.heads.peaks.indexOf("use");
    const rows = told.peaks.map((p) => p.cells.map((text, k) => (k === place && p.use !== null ? share(text, p.use) : text)));
    if (!rows.length) haul.id("peaks").replaceChildren(haul.make("p", "No force was read.", "note"));
    else
      table("peaks", told.heads.peaks, rows, "cards")
        .forEach((row, k) => row.classList.toggle("bad", told.peaks[k].use > 1));
  }
  function budgets() {
    const names = told.budgets.map((b) => b.name);
    if (!names.includes(budget)) budget = names[0] || "";
    options("budget-of", names.map((n) => [n, n]), budget);
    haul.id("budget-of").hidden = !names.length;
    const one = told.budgets.find((b) => b.name === budget);
    if (!one) {
      haul.id("budget").replaceChildren(haul.make("p", "Nothing was measured that has an uncertainty.", "note"));
      return;
    }
    const [[, ...head], ...rows] = one.rows;
    table("budget", [one.name + " " + one.said, ...head],
      rows.map((r, k) => [...r.slice(0, -1), share(r[r.length - 1], one.shares[k])]), "budget");
    haul.id("budget").append(haul.make("p", one.note, "note"));
  }
  function events() {
    const place = haul.id("events");
    if (!told.events.length) {
      place.replaceChildren(haul.make("p", "Nothing is recorded.", "note"));
      return;
    }
    table("events", told.heads.events,
      told.events.map((e) => [jump(e.cells[0], () => haul.timeGo(e.at), "show event " + e.cells[0] + " on the plot"), ...e.cells.slice(1)]), "happened");
    if (told.events_more) place.append(haul.make("p", told.events_more, "note"));
  }
  function compare() {
    const place = haul.id("compare");
    place.textContent = "";
    if (!told.told || !record) return;
    const rows = told.summary.map((r, k) => [r[0], record.summary[k][1], r[1]]);
    table("compare", ["quantity", "as recorded", "WHAT IF"], rows, "compare")
      .forEach((row, k) => row.classList.toggle("other", rows[k][1] !== rows[k][2]));
  }
  function press() {
    for (const button of document.querySelectorAll("[data-units]"))
      button.setAttribute("aria-pressed", String(button.dataset.units === chosen.units));
    for (const button of document.querySelectorAll("[data-rig]"))
      button.setAttribute("aria-pressed", String(Number(button.dataset.rig) === chosen.rig));
    haul.text("e-said", chosen.e || "as in the file");
  }
  function first() {
    const e = haul.id("e");
    e.min = told.least_e;
    e.max = told.most_e;
    e.value = 0.9;
    if (!told.rigs.length) {
      haul.id("rigs").append(haul.make("span", "Another rig: start with haul watch SESSION --rig FILE.", "note"));
      return;
    }
    ["rig as recorded", ...told.rigs].forEach((name, k) => {
      const button = haul.make("button", name);
      button.type = "button";
      button.dataset.rig = k;
      button.addEventListener("click", () => {
        chosen.rig = k;
        load();
      });
      haul.id("rigs").append(button);
    });
  }
  /* One question at a time; what was chosen meanwhile is asked next. */
  async function load() {
    press();
    if (asking) {
      again = true;
      return;
    }
    asking = true;
    do {
      again = false;
      const supposed = Boolean(chosen.e || chosen.rig);
      if (supposed && (!record || record.units !== chosen.units)) record = (await haul.ask("/review-data", {}, true)) || record;
      const answer = await haul.ask("/review-data", {});
      if (!answer) { // a rig that does not fit: what is shown stays, and so does what it was asked with
        Object.assign(chosen, last);
        press();
        continue;
      }
      last = { ...chosen, units: answer.units };
      const begin = told === null;
      told = answer;
      if (!supposed) record = answer;
      if (begin) first();
      show();
      press();
      await Promise.all([haul.timeAsk(), haul.loopShow(loopOf), haul.eachShow(told.efficiency)]);
      haul.stats.loads++;
    } while (again);
    asking = false;
  }

  for (const button of document.querySelectorAll("[data-units]"))
    button.addEventListener("click", () => {
      chosen.units = button.dataset.units;
      load();
    });
  for (const button of document.querySelectorAll("[data-move]"))
    button.addEventListener("click", () => haul.timeMove(button.dataset.move));
  haul.id("go").addEventListener("submit", (event) => {
    event.preventDefault();
    const at = Number(haul.id("go-to").value.replace(",", "."));
    if (haul.id("go-to").value.trim() && Number.isFinite(at)) haul.timeGo(at);
  });
  haul.id("loop-of").addEventListener("change", () => {
    loopOf = Number(haul.id("loop-of").value);
    haul.loopShow(loopOf);
  });
  haul.id("budget-of").addEventListener("change", () => {
    budget = haul.id("budget-of").value;
    budgets();
  });
  haul.id("e").addEventListener("input", () => {
    chosen.e = Number(haul.id("e").value).toFixed(2);
    load();
  });
  haul.id("what-if-off").addEventListener("click", () => {
    chosen.e = "";
    chosen.rig = 0;
    load();
  });
  haul.timeBegin();
  load();
})(window.haul);
