/* Owns the live graph: bins of lowest and highest force come in, nothing else sets the figure. */
"use strict";
window.haul = window.haul || {};
(function (haul) {
  const BASE_S = 0.125;
  let level = 0;
  let bins = []; // [index, lowest, highest], in order
  let head = null;
  let colours = null;
  let drawn = "";
  let shapesKey = "";
  let shapes = [];

  haul.graphReset = function () {
    bins = [];
    level = 0;
  };
  haul.graphHead = function (given) {
    head = given;
    shapesKey = "";
    const place = haul.id("graph-key");
    place.textContent = "";
    const key = (name, text) => {
      const item = haul.make("span", "", "key");
      item.append(haul.make("i", "", name), haul.make("span", text));
      place.append(item);
    };
    key("measured", "measured");
    if (head.isHaul && head.haul !== null) key("predicted", "predicted " + haul.forcePlusMinus(head.haul, head.haulU));
    if (head.isHaul && head.limit !== null) key("limit", "first limit " + haul.forceText(head.limit));
  };

  function merge(into, index, low, high) {
    const last = into[into.length - 1];
    if (last && last[0] === index) {
      last[1] = Math.min(last[1], low);
      last[2] = Math.max(last[2], high);
    } else into.push([index, low, high]);
  }
  /* [level, [index, lowest, highest, ...]]: the first of them grew, the others are new. */
  haul.graphTake = function (given) {
    if (!given) return;
    const coarser = given[0] - level;
    if (coarser > 0) {
      const merged = [];
      for (const bin of bins) merge(merged, bin[0] >> coarser, bin[1], bin[2]);
      bins = merged;
      level = given[0];
    } else if (coarser < 0) {
      bins = [];
      level = given[0];
    }
    const flat = given[1];
    for (let k = 0; k < flat.length; k += 3) {
      const last = bins[bins.length - 1];
      if (last && flat[k] < last[0]) continue;
      if (last && flat[k] === last[0]) {
        last[1] = flat[k + 1];
        last[2] = flat[k + 2];
      } else bins.push([flat[k], flat[k + 1], flat[k + 2]]);
    }
  };

  function readColours() {
    const style = getComputedStyle(document.documentElement);
    const get = (name) => style.getPropertyValue(name).trim();
    colours = {
      ink: get("--ink"), panel: get("--panel"), faint: get("--line"), muted: get("--muted"),
      measured: get("--measured"), predicted: get("--predicted"), band: get("--band"), stop: get("--stop"),
    };
    shapesKey = "";
  }
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => (colours = null));

  function nice(value) {
    const power = 10 ** Math.floor(Math.log10(value));
    return [1, 1.5, 2, 3, 4, 5, 6, 8, 10].map((m) => m * power).find((m) => m >= value * 0.999);
  }

  /* Bands and lines behind the trace, made anew only where something about them changed. */
  function behind(top) {
    const key = JSON.stringify([head && [head.haul, head.haulU, head.limit], top]);
    if (key === shapesKey) return;
    shapesKey = key;
    shapes = [];
    if (!head || !head.isHaul) return;
    const across = { xref: "paper", x0: 0, x1: 1, layer: "below" };
    if (head.haul !== null) {
      const low = Math.max(0, head.haul - head.haulU);
      const high = head.haul + head.haulU;
      shapes.push({ ...across, type: "rect", y0: low, y1: high, line: { width: 0 }, fillcolor: colours.band });
      shapes.push({ ...across, type: "line", y0: head.haul, y1: head.haul,
                    line: { width: 1.5, dash: "dash", color: colours.predicted } });
    }
    if (head.limit !== null && head.limit < top) {
      shapes.push({ ...across, type: "line", y0: head.limit, y1: head.limit,
                    line: { width: 2, color: colours.stop } });
    }
  }

  /* Draw what is there; span: seconds, or null for everything; now: time in the session, s. */
  haul.graphDraw = function (span, now) {
    const holder = document.querySelector("#live-graph .js-plotly-plot");
    if (!holder || !window.Plotly || !holder._fullLayout) return null;
    if (!colours) readColours();
    const width = BASE_S * 2 ** level;
    const begin = span === null ? null : Math.max(0, now - span);
    if (begin !== null) {
      let cut = 0;
      while (cut < bins.length && (bins[cut][0] + 1) * width < begin) cut++;
      if (cut) bins = bins.slice(cut);
    }
    const x = [];
    const y = [];
    let highest = 1;
    let lowest = 0;
    const gap = Math.ceil((head ? head.stale : 1) / width) + 1;
    let before = null;
    for (const [index, low, high] of bins) {
      if (before !== null && index - before[0] > gap) {
        x.push((before[0] + 1) * width * 1000);
        y.push(null);
      }
      if (low === high) {
        x.push((index + 0.5) * width * 1000);
        y.push(low);
      } else {
        const up = before === null || Math.abs(before[1] - low) <= Math.abs(before[1] - high);
        x.push((index + 0.25) * width * 1000, (index + 0.75) * width * 1000);
        y.push(up ? low : high, up ? high : low);
      }
      before = [index, y[y.length - 1]];
      if (high > highest) highest = high;
      if (low < lowest) lowest = low;
    }
    let reach = Math.max(highest * 1.04, head && head.haul ? (head.haul + head.haulU) * 1.15 : 0);
    if (head && head.limit && highest > 0.6 * head.limit) reach = Math.max(reach, head.limit * 1.08);
    const top = nice(reach);
    const bottom = lowest < -0.03 * top ? -nice(-lowest) : -0.03 * top;
    behind(top);
    const end = span === null ? Math.max(now, 10) : Math.max(now, span);
    const start = span === null ? (bins.length ? Math.min(0, bins[0][0] * width) : 0) : end - span;
    const key = [x.length, x[x.length - 1], y[y.length - 1], start, end, top, shapesKey, colours.ink,
                 holder.clientWidth].join();
    if (key === drawn) return null;
    drawn = key;
    haul.points = x.length;
    const layout = holder.layout;
    layout.font = { color: colours.muted, size: 13, family: "inherit" };
    layout.xaxis.range = [start * 1000, end * 1000];
    layout.xaxis.tickformat = end < 3600 ? "%-M:%S" : "%-H:%M:%S";
    layout.xaxis.nticks = holder.clientWidth < 500 ? 4 : 8;
    layout.yaxis.range = [bottom, top];
    for (const axis of [layout.xaxis, layout.yaxis]) {
      axis.autorange = false;
      axis.gridcolor = colours.faint;
      axis.linecolor = colours.muted;
      axis.tickcolor = colours.muted;
    }
    layout.shapes = shapes;
    layout.datarevision = (layout.datarevision || 0) + 1;
    const trace = holder.data[0];
    return window.Plotly.react(
      holder,
      [{ ...trace, x: x, y: y, line: { ...trace.line, color: colours.measured } }],
      layout, { displayModeBar: false, displaylogo: false, staticPlot: true, responsive: true }
    );
  };
})(window.haul);
