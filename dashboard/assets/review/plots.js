/* The plots of the review page.  Figures come from the server; here they are painted in the theme's
   colours, zoomed, and read under the pointer.  No text of a file is ever written into a plot. */
"use strict";
window.haul = window.haul || {};
(function (haul) {
  const CONFIG = { displayModeBar: false, displaylogo: false, responsive: true, doubleClick: false, scrollZoom: false };
  const TRACES = { measured: "--measured", rope: "--measured", load: "--predicted", "force-1": "--other", "force-2": "--other", "force-3": "--other" };
  const DASHES = { load: "dash", "force-1": "dot", "force-2": "dash", "force-3": "dashdot" };
  const LEAST_S = 0.02;
  const style = () => getComputedStyle(haul.id("page"));
  const get = (name) => style().getPropertyValue(name).trim();
  const still = matchMedia("(pointer: coarse)");
  haul.plots = { drawn: 0 };

  /* Fill in what the page alone knows: colours, sizes, what a finger may do. */
  function painted(figure, more) {
    const narrow = innerWidth < 560;
    const axis = { gridcolor: get("--line"), linecolor: get("--muted"), tickcolor: get("--muted"), zerolinecolor: get("--line") };
    const layout = { ...figure.layout, ...more };
    layout.font = { color: get("--muted"), size: narrow ? 12 : 13, family: "inherit" };
    for (const name of ["xaxis", "yaxis", "yaxis2", "yaxis3"])
      if (layout[name]) layout[name] = { ...layout[name], ...axis, nticks: name === "xaxis" ? (narrow ? 5 : 10) : narrow ? 5 : 6 };
    if (narrow) layout.margin = { ...layout.margin, l: 52, r: 8 };
    const fills = { predicted: "--band", session: "--session", stroke: "--stroke", lower: "--lower", reset: "--reset" };
    const lines = { "predicted-line": "--predicted", event: "--muted" };
    layout.shapes = (layout.shapes || []).map((shape) => ({
      ...shape,
      ...(fills[shape.name] ? { fillcolor: get(fills[shape.name]) } : {}),
      line: { ...shape.line, color: get(lines[shape.name] || "--line") },
    }));
    layout.annotations = (layout.annotations || []).map((note) => ({
      ...note, font: { ...note.font, color: get(note.name === "event" ? "--ink" : "--muted") },
    }));
    const data = figure.data.map((trace) => {
      const colour = get(TRACES[trace.meta] || "--measured");
      const made = { ...trace, hoverinfo: "skip" };
      if (trace.line) made.line = { ...trace.line, color: colour, dash: DASHES[trace.meta] || "solid" };
      if (trace.marker) made.marker = { ...trace.marker, color: colour };
      if (trace.error_y) made.error_y = { ...trace.error_y, color: colour };
      return made;
    });
    return [data, layout];
  }
  async function draw(id, figure, more) {
    const [data, layout] = painted(figure, more);
    // a plot that takes no gesture leaves the finger to scroll the page
    const moves = Boolean(more && more.dragmode);
    await window.Plotly.react(haul.id(id), data, layout, { ...CONFIG, staticPlot: !moves });
    haul.plots.drawn++;
  }
  /* The key beside a plot: [class of the sample, text]. */
  haul.keys = function (id, rows) {
    const place = haul.id(id);
    place.textContent = "";
    for (const [name, text] of rows) {
      const item = haul.make("span", "", "key");
      item.append(haul.make("i", "", name), haul.make("span", text));
      place.append(item);
    }
  };

  // -- over time: a window that the server is asked for --------------------------------------------
  let latest = null; // the last answer
  let shown = null; // the one that is drawn
  let whole = [0, 1];
  let view = null; // [from, to], null: whole
  let cursor = null; // seconds
  let asking = false;
  let again = false;
  let line = null;
  const plot = () => haul.id("time-plot");
  const span = () => view || whole;

  haul.timeWhole = function (from, to) {
    whole = [from, to];
  };
  haul.timeShow = function (from, to) {
    const least = Math.max(to - from, LEAST_S);
    const wide = Math.min(least, whole[1] - whole[0]);
    from = Math.min(Math.max(from, whole[0]), whole[1] - wide);
    view = wide >= whole[1] - whole[0] - 1e-9 ? null : [from, from + wide];
    if (cursor !== null && (cursor < span()[0] || cursor > span()[1])) cursor = null;
    return haul.timeAsk();
  };
  haul.timeAsk = async function () {
    if (asking) {
      again = true;
      return;
    }
    asking = true;
    try {
      do {
        again = false;
        const [from, to] = span();
        const told = await haul.ask("/window", { from: from.toFixed(6), to: to.toFixed(6), w: Math.round(plot().clientWidth) || 1000 });
        if (told) {
          latest = told;
          await drawTime();
        }
      } while (again);
    } finally {
      asking = false;
    }
  };
  let drawing = Promise.resolve();
  /* One drawing after the other, each of what is newest when it begins. */
  function drawTime() {
    drawing = drawing.catch(() => null).then(drawNewest);
    return drawing;
  }
  async function drawNewest() {
    if (!latest) return;
    const told = latest;
    const figure = told.figure;
    plot().classList.toggle("three", Boolean(figure.layout.yaxis3));
    await draw("time-plot", figure, { dragmode: still.matches ? false : "zoom" });
    shown = told;
    const rows = told.traces.map((t) => [t.meta, t.name + ", " + t.unit]);
    const names = figure.layout.shapes.map((s) => s.name);
    if (names.includes("predicted")) rows.push(["predicted", "predicted haul force ± 95 %"]);
    if (names.includes("stroke") || names.includes("lower")) rows.push(["stroke", "▲ hauling, ▼ lowering"]);
    if (names.includes("reset")) rows.push(["reset", "reset"]);
    if (names.includes("event")) rows.push(["event", "numbers on top: what happened, below"]);
    haul.keys("time-key", rows);
    haul.text("time-note", told.note);
    if (!line) {
      line = haul.make("i", "", "cursor");
      plot().append(line);
      plot().on("plotly_relayout", zoomed);
      plot().on("plotly_doubleclick", () => haul.timeShow(...whole));
    } else plot().append(line);
    read();
  }
  function zoomed(change) {
    const from = change["xaxis.range[0]"];
    const to = change["xaxis.range[1]"];
    if (typeof from === "number" && typeof to === "number") haul.timeShow(from, to);
  }
  haul.timeMove = function (way) {
    const [from, to] = span();
    const wide = to - from;
    const middle = cursor === null ? (from + to) / 2 : cursor;
    if (way === "all") return haul.timeShow(...whole);
    if (way === "in") return haul.timeShow(middle - wide / 4, middle + wide / 4);
    if (way === "out") return haul.timeShow(middle - wide, middle + wide);
    return haul.timeShow(from + (way === "left" ? -wide / 2 : wide / 2), to + (way === "left" ? -wide / 2 : wide / 2));
  };
  /* A second in the middle, what came before and after around it. */
  haul.timeGo = function (at) {
    const wide = Math.min(span()[1] - span()[0], 4);
    cursor = Math.min(Math.max(at, whole[0]), whole[1]);
    return haul.timeShow(at - wide / 2, at + wide / 2);
  };

  // -- numbers under the pointer --------------------------------------------------------------------
  /* Index of the point next to x; points of a gap are null in y. */
  function nearest(trace, x) {
    let low = 0;
    let high = trace.x.length - 1;
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (trace.x[middle] < x) low = middle;
      else high = middle;
    }
    let best = -1;
    for (let k = Math.max(0, low - 2); k <= Math.min(trace.x.length - 1, high + 2); k++)
      if (trace.y[k] !== null && (best < 0 || Math.abs(trace.x[k] - x) < Math.abs(trace.x[best] - x))) best = k;
    return best;
  }
  const short = (value) => (Math.abs(value) >= 1e4 ? value.toFixed(0) : String(Number(value.toPrecision(4))));
  function told(trace, about, x) {
    const k = nearest(trace, x);
    const near = about.width_s || (span()[1] - span()[0]) / 40;
    if (k < 0 || Math.abs(trace.x[k] - x) > near) return about.name + ": no reading";
    if (!about.width_s) return about.name + " " + short(trace.y[k]) + " " + about.unit;
    const column = Math.floor(trace.x[k] / about.width_s);
    const inside = [];
    for (let j = Math.max(0, k - 2); j <= Math.min(trace.x.length - 1, k + 2); j++)
      if (trace.y[j] !== null && Math.floor(trace.x[j] / about.width_s) === column) inside.push(trace.y[j]);
    const low = Math.min(...inside);
    const high = Math.max(...inside);
    return about.name + " " + (short(low) === short(high) ? short(low) : short(low) + " to " + short(high)) + " " + about.unit;
  }
  function read() {
    const layout = plot()._fullLayout;
    if (!shown || !layout || !line) return;
    line.hidden = cursor === null;
    if (cursor === null) {
      haul.text("time-read", "Point at the plot, or tap it, to read numbers there.");
      return;
    }
    line.style.left = layout.margin.l + layout.xaxis.l2p(cursor) + "px";
    line.style.top = layout.margin.t + "px";
    line.style.height = layout.height - layout.margin.t - layout.margin.b + "px";
    const near = shown.figure.data.filter((t) => t.meta === "measured" && t.x.length)[0];
    const about = shown.traces[0];
    const k = near ? nearest(near, cursor) : -1;
    const at = about && !about.width_s && k >= 0 ? near.x[k] : cursor;
    const parts = [at.toFixed(about && !about.width_s ? 3 : 2) + " s"];
    const inside = haul.strokeAt(cursor);
    if (inside) parts.push(inside);
    shown.figure.data.forEach((trace, j) => parts.push(told(trace, shown.traces[j], cursor)));
    haul.text("time-read", parts.join("  ·  "));
  }
  function point(event) {
    const layout = plot()._fullLayout;
    if (!shown || !layout) return;
    const x = layout.xaxis.p2l(event.clientX - plot().getBoundingClientRect().left - layout.margin.l);
    if (x < span()[0] || x > span()[1]) return;
    cursor = x;
    read();
  }
  function key(event) {
    const [from, to] = span();
    const moves = { "+": "in", "=": "in", "-": "out", "0": "all", Home: "all" };
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    if (moves[event.key]) haul.timeMove(moves[event.key]);
    else if (event.key === "ArrowLeft" || event.key === "ArrowRight") {
      const way = event.key === "ArrowLeft" ? -1 : 1;
      if (event.shiftKey) haul.timeMove(way < 0 ? "left" : "right");
      else {
        cursor = Math.min(to, Math.max(from, step(cursor === null ? (from + to) / 2 : cursor, way)));
        read();
      }
    } else return;
    event.preventDefault();
  }
  /* The next reading where every one is drawn, else the next column. */
  function step(x, way) {
    const about = shown && shown.traces[0];
    const trace = shown && shown.figure.data[0];
    if (about && !about.width_s && trace.x.length > 1) {
      const k = nearest(trace, x) + way;
      if (k >= 0 && k < trace.x.length) return trace.x[k];
    }
    return x + way * ((about && about.width_s) || (span()[1] - span()[0]) / 200);
  }
  haul.timeBegin = function () {
    plot().addEventListener("pointermove", point);
    plot().addEventListener("pointerdown", point);
    plot().addEventListener("keydown", key);
    const anew = () => {
      drawTime();
      drawLoop();
      drawEach();
    };
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", anew);
    let wide = innerWidth;
    addEventListener("resize", () => {
      if (Math.abs(innerWidth - wide) < 4) return;
      wide = innerWidth;
      anew();
    });
  };

  // -- the two small ones ---------------------------------------------------------------------------
  let loop = null;
  let each = null;
  async function drawLoop() {
    if (!loop) return;
    await draw("loop-plot", loop.figure);
    const rows = [["measured", "measured"]];
    if (loop.figure.layout.shapes.length) rows.push(["predicted", "predicted ± 95 %"]);
    haul.keys("loop-key", rows);
    haul.text("loop-said", loop.said);
  }
  async function drawEach() {
    if (!each) return;
    await draw("each-plot", each);
    const rows = [["dot", "stroke ± 95 %"], ["predicted", "predicted ± 95 %"]];
    if (each.layout.shapes.some((s) => s.name === "session")) rows.splice(1, 0, ["session", "whole session ± 95 %"]);
    haul.keys("each-key", rows);
    haul.text("each-note", each.nothing);
  }
  haul.loopShow = async function (stroke) {
    const told = await haul.ask("/loop", { stroke: stroke });
    if (told) loop = told;
    await drawLoop();
  };
  haul.eachShow = function (figure) {
    each = figure;
    return drawEach();
  };
})(window.haul);
