/* Owns the live graph: bins of force and travel come in, nothing else sets the figure. */
"use strict";
window.haul = window.haul || {};
(function (haul) {
  let base_s = 0; // of the narrowest bin; the server tells it with the head
  const WAY_GAP_S = 1.5; // of travel left open in the drawing: common practice, no source
  const STROKE = { haul: [0.345, 0.372], lower: [0.345, 0.372], reset: [0.31, 0.337] }; // shares of the height
  /* Bins [index, lowest, highest, mean] in order, at the level that the server told last. */
  class Bins {
    constructor(width) {
      this.width = width; // numbers a bin has on the wire
      this.reset();
    }
    reset() {
      this.level = 0;
      this.bins = [];
    }
    get width_s() {
      return base_s * 2 ** this.level;
    }
    take(given) {
      if (!given) return;
      if (given[0] > this.level && this.bins.length) this.merge(given[0] - this.level);
      else if (given[0] < this.level) this.bins = [];
      this.level = given[0];
      const flat = given[1];
      for (let k = 0; k < flat.length; k += this.width) {
        const bin = flat.slice(k, k + this.width);
        const last = this.bins[this.bins.length - 1];
        if (last && bin[0] < last[0]) continue;
        if (last && bin[0] === last[0]) this.bins[this.bins.length - 1] = bin;
        else this.bins.push(bin);
      }
    }
    merge(coarser) {
      const merged = [];
      for (const [index, low, high, mean] of this.bins) {
        const last = merged[merged.length - 1];
        if (last && last[0] === index >> coarser) {
          last[1] = Math.min(last[1], low);
          last[2] = Math.max(last[2], high);
          if (mean !== undefined) last[3] = (last[3] + mean) / 2;
        } else merged.push([index >> coarser, low, high, mean]);
      }
      this.bins = merged;
    }
    /* Those between two times, s; what is older than the first is let go. */
    between(begin, end) {
      const wide = this.width_s;
      let cut = 0;
      while (cut < this.bins.length && (this.bins[cut][0] + 1) * wide < begin) cut++;
      if (cut) this.bins = this.bins.slice(cut);
      let upto = this.bins.length;
      while (upto && this.bins[upto - 1][0] * wide > end) upto--;
      return upto === this.bins.length ? this.bins : this.bins.slice(0, upto);
    }
  }
  const force = new Bins(4);
  const way = new Bins(3);
  let head = null;
  let colours = null;
  let drawn = "";

  haul.graphReset = function () {
    force.reset();
    way.reset();
    drawn = "";
  };
  haul.graphColours = function () {
    colours = null;
    drawn = "";
  };
  haul.graphTake = function (answer) {
    force.take(answer.b);
    way.take(answer.l);
  };
  haul.graphHead = function (given) {
    head = given;
    base_s = head.base;
    drawn = "";
    const place = haul.id("graph-key");
    place.textContent = "";
    const key = (name, text) => {
      const item = haul.make("span", "", "key");
      item.append(haul.make("i", "", name), haul.make("span", text));
      place.append(item);
    };
    key("measured", "force");
    if (head.isHaul && head.haul !== null) key("predicted", "predicted " + haul.forcePlusMinus(head.haul, head.haulU));
    if (head.levels.length) key("limit", "stop level " + haul.forceText(head.levels[0][0]));
    if (head.warn !== null) key("caution", "caution " + haul.forceText(head.warn));
    key("stroke", "stroke");
    key("reset", "reset");
    key("mark", "mark");
    key("sudden", "shock or slip");
    if (head.way) key("travelled", head.way.toLowerCase() + ", below");
  };

  function readColours() {
    const style = getComputedStyle(document.documentElement);
    const get = (name) => style.getPropertyValue(name).trim();
    colours = {
      ink: get("--ink"), panel: get("--panel"), faint: get("--line"), muted: get("--muted"), way: get("--way"),
      measured: get("--measured"), predicted: get("--predicted"), band: get("--band"), stop: get("--stop"),
      caution: get("--caution-line"),
    };
  }
  function nice(value) {
    const power = 10 ** Math.floor(Math.log10(value));
    return [1, 1.5, 2, 3, 4, 5, 6, 8, 10].map((m) => m * power).find((m) => m >= value * 0.999);
  }

  /* Bands, levels, strokes, resets and marks. */
  function shapes(top, start, end, now, spans) {
    const made = [];
    const across = { xref: "paper", x0: 0, x1: 1, layer: "between" };
    const level = (at, colour, wide, dash) =>
      made.push({ ...across, type: "line", y0: at, y1: at, line: { width: wide, color: colour, dash: dash } });
    if (head.isHaul && head.haul !== null) {
      made.push({ ...across, type: "rect", y0: Math.max(0, head.haul - head.haulU), y1: head.haul + head.haulU,
                  line: { width: 0 }, fillcolor: colours.band });
      level(head.haul, colours.predicted, 1.5, "dash");
    }
    if (head.levels.length && head.levels[0][0] < top) level(head.levels[0][0], colours.stop, 3, "solid");
    if (head.warn !== null && head.warn < top) level(head.warn, colours.caution, 2, "dot");
    for (const [from, to, what] of spans) {
      const until = to === null ? Math.min(now, end) : to;
      if (until < start || from > end) continue;
      const x0 = Math.max(from, start) * 1000;
      const x1 = Math.min(until, end) * 1000;
      if (STROKE[what]) {
        const solid = what !== "reset";
        made.push({ type: "rect", xref: "x", yref: "paper", x0: x0, x1: x1, y0: STROKE[what][0], y1: STROKE[what][1],
                    fillcolor: solid ? colours.ink : colours.panel, line: { width: 1.5, color: colours.ink } });
      } else {
        made.push({ type: "line", xref: "x", yref: "paper", x0: x0, x1: x0, y0: what === "mark" ? 0 : 0.4, y1: 1,
                    line: { width: what === "mark" ? 1.5 : 2.5, color: what === "mark" ? colours.ink : colours.stop,
                            dash: what === "mark" ? "dot" : "solid" } });
      }
    }
    return made;
  }

  /* Lowest and highest of each bin as one line; what is silent longer than `gap_s` is left open. */
  function line(bins, wide, gap_s) {
    const x = [];
    const y = [];
    const gap = Math.ceil(gap_s / wide) + 1;
    let before = null;
    for (const [index, low, high] of bins) {
      if (before !== null && index - before[0] > gap) {
        x.push((before[0] + 1) * wide * 1000);
        y.push(null);
      }
      if (low === high) {
        x.push((index + 0.5) * wide * 1000);
        y.push(low);
      } else {
        const up = before === null || Math.abs(before[1] - low) <= Math.abs(before[1] - high);
        x.push((index + 0.25) * wide * 1000, (index + 0.75) * wide * 1000);
        y.push(up ? low : high, up ? high : low);
      }
      before = [index, y[y.length - 1]];
    }
    return [x, y];
  }
  function range(bins) {
    let low = Infinity;
    let high = -Infinity;
    for (const bin of bins) {
      if (bin[1] < low) low = bin[1];
      if (bin[2] > high) high = bin[2];
    }
    return [low, high];
  }
  /* Highest, lowest and mean over time of what is in view, N; null where nothing is. */
  function inView(bins) {
    if (!bins.length) return null;
    const [low, high] = range(bins);
    let sum = 0;
    for (const bin of bins) sum += bin[3];
    return { high: high, low: low, mean: sum / bins.length };
  }

  /* Draw what is there; span: seconds, or null for everything; now: the time at the right edge, s;
     spans: [from, to, what].  A promise while something is drawn. */
  haul.graphDraw = function (span, now, spans) {
    const holder = document.querySelector("#live-graph .js-plotly-plot");
    if (!holder || !window.Plotly || !holder._fullLayout || !head) return null;
    if (!colours) readColours();
    const end = span === null ? Math.max(now, 10) : Math.max(now, span);
    const start = span === null ? 0 : end - span;
    const bins = force.between(start, end);
    const ways = way.between(start, end);
    haul.view = inView(bins);
    const [x, y] = line(bins, force.width_s, head.stale);
    const [wx, wy] = line(ways, way.width_s, WAY_GAP_S);
    const [lowest, highest] = bins.length ? range(bins) : [0, 1];
    let reach = Math.max(highest * 1.04, 1, head.isHaul && head.haul ? (head.haul + head.haulU) * 1.15 : 0);
    for (const at of [head.levels.length ? head.levels[0][0] : 0, head.warn || 0])
      if (at && highest > 0.6 * at) reach = Math.max(reach, at * 1.08);
    const [unit, size] = haul.forceAxis(nice(reach)); // the axis is round in what is shown
    const [long, metre] = haul.lengthAxis();
    const top = nice(reach / size) * size;
    const bottom = lowest < -0.03 * top ? -nice(-lowest / size) * size : -0.03 * top;
    const [nearest, farthest] = ways.length ? range(ways) : [0, 1];
    const floor = nearest < -0.05 ? -nice(-nearest / metre) : 0;
    const ceiling = nice(Math.max(1, (farthest * 1.02) / metre));
    const key = [x.length, x[x.length - 1], y[y.length - 1], wx.length, wy[wy.length - 1], start, end, top,
                 spans.length, holder.clientWidth, holder.clientHeight, colours.ink].join();
    if (key === drawn) return null;
    drawn = key;
    haul.points = x.length + wx.length;
    const layout = holder.layout;
    layout.font = { color: colours.muted, size: 13, family: "inherit" };
    layout.xaxis.range = [start * 1000, end * 1000];
    layout.xaxis.tickformat = end < 3600 ? "%-M:%S" : "%-H:%M:%S";
    layout.xaxis.nticks = holder.clientWidth < 500 ? 4 : 8;
    layout.yaxis.range = [bottom / size, top / size];
    layout.yaxis.title.text = unit;
    layout.yaxis2.title.text = long;
    layout.yaxis2.range = [floor, ceiling];
    for (const axis of [layout.xaxis, layout.yaxis, layout.yaxis2]) {
      axis.autorange = false;
      axis.gridcolor = colours.faint;
      axis.linecolor = colours.muted;
      axis.tickcolor = colours.muted;
    }
    layout.shapes = shapes(top, start, end, now, spans);
    for (const shape of layout.shapes)
      if (shape.yref === undefined) {
        shape.y0 /= size;
        shape.y1 /= size;
      }
    layout.datarevision = (layout.datarevision || 0) + 1;
    const [one, two] = holder.data;
    const shown = y.map((v) => (v === null ? null : v / size));
    const shownWay = wy.map((v) => (v === null ? null : v / metre));
    return window.Plotly.react(
      holder,
      [{ ...one, x: x, y: shown, line: { ...one.line, color: colours.measured } },
       { ...two, x: wx, y: shownWay, line: { ...two.line, color: colours.way } }],
      layout, { displayModeBar: false, displaylogo: false, staticPlot: true, responsive: true }
    );
  };
})(window.haul);
