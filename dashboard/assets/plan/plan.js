/* The plan page: ask for what was chosen, put it in.  The server has escaped every text from a file; what
   comes is parsed without being run, and only the elements and attributes of a plan are taken over. */
"use strict";
window.haul = window.haul || {};
(function (haul) {
  const page = document.getElementById("page");
  if (!page || !page.classList.contains("plan")) return;
  const chosen = { units: page.dataset.units, labels: "t", mode: "each", e: "" };
  const rigs = Array.from(document.querySelectorAll(".rig")).map((node, k) => ({
    k, node, v: 0, frames: 0, busy: false, again: false,
    slider: node.querySelector(".frame"),
  }));
  const e = haul.id("e");
  let asking = false;
  let askAgain = false;
  haul.plan = { plans: 0, drawings: 0, errors: 0 };

  const TAGS = new Set(("section h2 div ul li p span small strong b table tbody tr th td " +
    "svg g title line polygon path rect circle text").split(" "));
  function put(place, markup) {
    const parsed = new DOMParser().parseFromString(markup, "text/html").body;
    for (const node of Array.from(parsed.querySelectorAll("*"))) {
      if (!TAGS.has(node.localName)) node.remove();
      for (const { name } of Array.from(node.attributes))
        if (/^on|href|src/i.test(name)) node.removeAttribute(name);
    }
    place.replaceChildren(...Array.from(parsed.childNodes));
  }

  const query = (more) => {
    const all = new URLSearchParams(chosen);
    if (!chosen.e) all.delete("e");
    for (const [name, value] of Object.entries(more || {})) all.set(name, value);
    return all.toString();
  };
  async function get(address) {
    const reply = await fetch(address, { cache: "no-store", signal: AbortSignal.timeout(30000) });
    if (!reply.ok) throw Object.assign(new Error(await reply.text()), { status: reply.status });
    return reply.json();
  }
  function fail(error) {
    haul.plan.errors++;
    const gone = error.status === undefined;
    haul.text("plan-fault", gone ? "No answer: is `haul plan` still running?" : error.message);
    haul.id("plan-fault").hidden = false;
    page.classList.toggle("stale", true);
  }
  function well() {
    haul.id("plan-fault").hidden = true;
    page.classList.toggle("stale", false);
  }

  /* Numbers and tables.  One question at a time; what was chosen meanwhile is asked next. */
  async function ask() {
    if (asking) {
      askAgain = true;
      return;
    }
    asking = true;
    try {
      do {
        askAgain = false;
        const answer = await get("/plan?" + query());
        rigs.forEach((rig, k) => take(rig, answer.rigs[k]));
        const side = haul.id("compare");
        if (side) {
          put(side, answer.compare);
          side.hidden = !answer.compare;
        }
        if (!chosen.e) e.value = answer.rigs[0].e;
        haul.plan.plans++;
        well();
      } while (askAgain);
    } catch (error) {
      fail(error);
    }
    asking = false;
  }
  function take(rig, told) {
    const part = (name) => rig.node.querySelector(name);
    rig.v = told.v;
    rig.frames = told.frames;
    haul.text(part(".fault"), told.fault);
    part(".fault").hidden = !told.fault;
    part(".content").hidden = Boolean(told.fault);
    if (told.fault) return;
    haul.text(part(".name"), told.title);
    put(part(".said"), told.said);
    put(part(".top"), told.top);
    put(part(".tables"), told.tables);
    rig.slider.max = String(Math.max(0, told.frames - 1));
    draw(rig);
  }

  async function draw(rig) {
    if (rig.busy) {
      rig.again = true;
      return;
    }
    rig.busy = true;
    try {
      do {
        rig.again = false;
        if (!rig.frames) break;
        const place = rig.node.querySelector(".drawing");
        const wide = Math.floor(place.clientWidth) || 900;
        const frame = rig.slider.value;
        const told = await get("/drawing?" + query({ rig: rig.k, frame, w: wide, v: rig.v }));
        put(place, told.svg);
        rig.wide = wide;
        const text = told.text + " (" + (Number(frame) + 1) + " of " + told.of + ")";
        haul.text(rig.node.querySelector(".frame-text"), text);
        rig.node.querySelector(".frame-text").dataset.kind = told.kind;
        haul.text(rig.node.querySelector(".frame-more"), told.more.join(" · "));
        rig.slider.setAttribute("aria-valuetext", told.text);
        haul.plan.drawings++;
        if (Math.abs(place.clientWidth - wide) > 4) rig.again = true; // turned or resized meanwhile
      } while (rig.again);
    } catch (error) {
      if (error.status === 409 || error.status === 404) ask();
      else fail(error);
    }
    rig.busy = false;
  }

  function press() {
    for (const button of document.querySelectorAll("[data-set]"))
      button.setAttribute("aria-pressed", String(chosen[button.dataset.set] === button.value));
    haul.text("e-said", chosen.e || "file");
    haul.id("e-off").disabled = !chosen.e;
  }
  for (const button of document.querySelectorAll("[data-set]"))
    button.addEventListener("click", () => {
      chosen[button.dataset.set] = button.value;
      if (button.dataset.set === "mode") for (const rig of rigs) rig.slider.value = "0";
      press();
      ask();
    });
  e.addEventListener("input", () => {
    chosen.e = Number(e.value).toFixed(2);
    press();
    ask();
  });
  haul.id("e-off").addEventListener("click", () => {
    chosen.e = "";
    press();
    ask();
  });
  haul.id("again").addEventListener("click", ask);
  for (const rig of rigs) {
    const step = (by) => {
      rig.slider.value = String(Number(rig.slider.value) + by);
      draw(rig);
    };
    rig.slider.addEventListener("input", () => draw(rig));
    rig.node.querySelector(".back").addEventListener("click", () => step(-1));
    rig.node.querySelector(".on").addEventListener("click", () => step(1));
    new ResizeObserver(() => {
      const wide = Math.floor(rig.node.querySelector(".drawing").clientWidth);
      if (rig.wide && Math.abs(wide - rig.wide) > 4) draw(rig);
    }).observe(rig.node.querySelector(".drawing"));
  }
  press();
  ask();
})(window.haul);
