/* The tiles of the live page, each filled from what the page was told: haul.parts and haul.now. */
"use strict";
window.haul = window.haul || {};
(function (haul) {
  const LEVELS = ["", "CAUTION", "STOP"];
  let parts = {};
  let now = null;
  const over = () => haul.OVER.includes(now.k);

  /* Alarms stay until they are acknowledged; a sign, a word, and where the value is now. */
  function alarms(head) {
    const found = [];
    for (let k = 0; k < 5; k++) if (parts["al:" + k]) found.push(parts["al:" + k]);
    const place = haul.id("alarms");
    while (place.children.length > found.length) place.lastChild.remove();
    found.forEach(([level, worst, label, time, value, seen, name], k) => {
      if (!place.children[k]) {
        const row = haul.make("div", "", "one");
        const words = haul.make("div", "", "words");
        words.append(haul.make("b"), haul.make("span"));
        row.append(haul.make("i", "", "sign"), words);
        place.append(row);
      }
      const row = place.children[k];
      const shown = seen ? level : worst;
      row.className = "one " + (shown === 2 ? "stop" : "caution") + (seen ? " seen" : "");
      haul.text(row.children[0], shown === 2 ? "STOP" : "!");
      haul.text(row.children[1].children[0], LEVELS[shown] + ": " + label);
      const channel = head.channels.find((c) => c.name === name);
      const text = value === null ? "" : (channel && channel.unit === "m" ? haul.lengthText(value) : haul.forceText(value));
      haul.text(row.children[1].children[1],
        (text ? text + " " : "") + "at " + haul.clock(time) + ", " +
        (level === 0 && !haul.lost ? "below again" : over() ? "over when the recording ended"
          : silent(name, head) ? "no data now" : level < shown ? "now over caution alone" : "still over") +
        (seen ? ", acknowledged" : ", not acknowledged"));
    });
    const more = (parts.aln || 0) - found.length;
    haul.id("alarm").hidden = found.length === 0;
    haul.text("ack", "Acknowledge" + (more > 0 ? " (and " + more + " more)" : ""));
    haul.id("ack").hidden = over() || haul.role !== "operator" || found.every((one) => one[5]);
  }
  /* Whether nothing is heard of the channel that an alarm is about. */
  function silent(name, head) {
    if (haul.lost || now.k === "stalled") return true;
    const k = head.channels.findIndex((c) => c.name === name);
    return k >= 0 && Boolean(parts["c:" + k]) && parts["c:" + k][5] === "NO DATA";
  }
  haul.worstAlarm = function () {
    const parts = haul.parts;
    let level = 0;
    for (let k = 0; k < 5; k++)
      if (parts["al:" + k] && !parts["al:" + k][5]) level = Math.max(level, parts["al:" + k][1]);
    return level;
  };

  function tension(head) {
    const words = {
      before: "none yet", nodata: "NO DATA", nocell: "no cell", rest: "at rest", loose: "let go",
      sealed: "ended", cut: "ended", changed: "ended", stalled: "old", wait: "…",
      held: "on " + head.holds.join(" or "), reset: head.holds.length ? "on " + head.holds.join(" or ") : "let go",
      back: "run back",
    };
    haul.digits("tension", haul.force(now.f), words[now.k] || "—");
    const said = [];
    const [level, because] = head.levels[0] || [null, ""];
    const live = now.f !== null && now.f !== undefined;
    if (level !== null) {
      const share = live ? Math.round((100 * now.f) / level) + " % of the stop level " : "stop level ";
      said.push(share + haul.forceText(level), "set by " + because);
    } else said.push(head.isHaul ? "no stop level: none in the sensors file, and " + head.because : "no haul cell, no stop level");
    if (!over() && now.u) {
      const [name, force, limit, share] = now.u;
      said.push((share > 1 ? "OVER ITS LIMIT: " : "nearest to its limit: ") + name + ", " + haul.carries(parts, name, force) + " of " +
        haul.forceText(limit) + ", " + Math.round(100 * share) + " %");
    }
    if (!live && now.lf !== null && now.lf !== undefined)
      said.push("last hauled at " + haul.forceText(now.lf) + (over() ? "" : ", " + haul.ago(now.la)));
    if (now.hc && !(now.u && head.holds.includes(now.u[0]))) said.push(head.holds.join(" or ") + " carries at most about " + haul.forceText(now.hc));
    haul.list("tension-note", said);
    gauge(head, level, live ? now.f : null);
  }

  /* Haul tension as a bar against caution and stop level; the words beside it say the same. */
  function gauge(head, level, force) {
    const place = haul.id("gauge");
    const reach = 1.15 * (level || head.warn || 0);
    place.hidden = !reach;
    if (!reach) return;
    place.style.visibility = force === null ? "hidden" : "visible";
    if (!place.firstChild) {
      place.setAttribute("aria-hidden", "true");
      place.append(haul.make("i", "", "fill"), haul.make("i", "", "warn"), haul.make("i", "", "end"));
    }
    const at = (value) => Math.min(100, Math.max(0, (100 * value) / reach)) + "%";
    const [fill, warn, end] = place.children;
    fill.style.width = force === null ? "0" : at(force);
    warn.hidden = head.warn === null || head.warn > reach;
    if (!warn.hidden) warn.style.left = at(head.warn);
    end.hidden = level === null;
    if (level !== null) end.style.left = at(level);
    place.dataset.over = force === null ? "" : level !== null && force > level ? "stop" : head.warn !== null && force > head.warn ? "caution" : "";
  }

  function peak(head) {
    haul.digits("peak", haul.force(now.pk), "none yet");
    const said = [];
    const level = head.levels[0] ? head.levels[0][0] : null;
    if (now.pk !== null && now.pk !== undefined)
      said.push("at " + haul.clock(now.pt) + (level !== null && now.pk > level ? ", OVER the stop level" : ""));
    const told = (row) => haul.clock(row[0]) + ", " + row[1] + ": " + row[2];
    said.push(parts.lasta ? "last alarm " + told(parts.lasta) : "no alarm so far");
    if (parts.last) said.push(told(parts.last));
    haul.list("peak-note", said);
  }

  function advantage(head) {
    const ma = parts.ma;
    // of the rig that was measured, where the rig was changed since
    const [ideal, model, modelU] = parts.pred || [head.ideal, head.model, head.modelU];
    haul.digits("ma", ma ? [haul.plusMinus(ma[0], ma[1]), ": 1"] : null, "not measured");
    haul.id("ma").classList.toggle("pair", Boolean(ma));
    const said = [
      "predicted " + haul.plusMinus(model, modelU) + " · ideal " + haul.number(ideal),
    ];
    if (ma) {
      if (parts.eff) said.push("efficiency " + haul.plusMinus(100 * parts.eff[0], 100 * parts.eff[1], "%") +
        " over " + ma[2] + (ma[2] === 1 ? " observation" : " observations"));
      said.push(parts.verdict || "");
    } else said.push(parts.why || "wait for the first steady stroke");
    if (parts.load) said.push("load " + haul.forcePlusMinus(parts.load[0], parts.load[1]) + " (" +
      ({ known: "from the rig file", cell: "by a cell", "haul-and-lower": "from hauling and lowering", model: "by the model" }[parts.method] || "") + ")");
    haul.list("ma-note", said.filter((s) => s));
    scale(ma, ideal, model, modelU);
  }

  /* Predicted as a band, measured as a mark with its uncertainty, from nothing to the ideal. */
  function scale(ma, ideal, model, modelU) {
    let place = haul.id("scale");
    if (!place) {
      place = haul.make("div");
      place.id = "scale";
      place.setAttribute("aria-hidden", "true");
      place.append(haul.make("i", "", "band"), haul.make("i", "", "whisker"), haul.make("i", "", "dot"));
      haul.id("ma").after(place);
      const ends = haul.make("div", "", "ends");
      ends.append(haul.make("span", "0"), haul.make("span"));
      place.after(ends);
    }
    const at = (value) => Math.min(100, Math.max(0, (100 * value) / ideal));
    const put = (node, low, high) => {
      node.style.left = at(low) + "%";
      node.style.width = Math.max(0.5, at(high) - at(low)) + "%";
    };
    haul.text(place.nextSibling.lastChild, "ideal " + haul.number(ideal));
    put(place.children[0], model - modelU, model + modelU);
    place.children[1].hidden = place.children[2].hidden = !ma;
    if (ma) {
      put(place.children[1], ma[0] - ma[1], ma[0] + ma[1]);
      place.children[2].style.left = at(ma[0]) + "%";
    }
  }

  function left(head) {
    const known = parts.left || { by: [], why: "" };
    haul.digits("left", haul.length(now.sr), over() ? "ended" : "not known");
    const said = [];
    if (now.sl !== null && now.sl !== undefined) {
      if (known.by.length)
        said.push((now.sl < head.near[0] ? "TWO-BLOCKED: " : "then ") + known.by.join(" meets "));
      said.push(haul.lengthText(now.sl) + " of load travel");
    } else if (known.why) said.push(known.why);
    if (!head.loadCounted) said.push("from the rope alone: no counter at the load");
    haul.list("left-note", said);
  }

  function travel(head) {
    haul.digits("travel", haul.length(now.lt), "not known");
    const said = [];
    const moved = parts.moved || {};
    if (now.tg !== null && now.tg !== undefined)
      said.push(haul.lengthText(now.tg) + " to go of " + haul.lengthText(head.go) + (moved.first ? ", by the first rig's file" : ""));
    if (moved.why) said.push(moved.why);
    if (moved.down) said.push("hauled " + haul.lengthText(moved.up) + ", lowered " + haul.lengthText(moved.down));
    if (now.ht !== null && now.ht !== undefined) said.push("rope out, net of what is fed back, " + haul.lengthText(now.ht));
    const sum = parts.sum;
    if (sum) said.push(sum.n + (sum.n === 1 ? " stroke, " : " strokes, ") + sum.resets + (sum.resets === 1 ? " reset" : " resets"));
    if (moved.up !== null && moved.up !== undefined)
      said.push((moved.rigs > 1 ? "sum over " + moved.rigs + " rigs, each by its own ratio" : "by the rig's ratio") +
        ": no counter at the load");
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

  haul.alarmsLost = function () {
    if (parts.head && now) alarms(parts.head);
  };
  haul.tiles = function () {
    parts = haul.parts;
    now = haul.now;
    const head = parts.head;
    alarms(head);
    tension(head);
    peak(head);
    advantage(head);
    left(head);
    travel(head);
    channels(head);
  };
})(window.haul);
