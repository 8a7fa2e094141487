/* The drawing of the rig, as the server made it, with every strand's tension written in; what is
   nearest to its limit beside it. */
"use strict";
window.haul = window.haul || {};
(function (haul) {
  let asked = "";
  let labels = new Map();

  /* Parsed as an image, put in as nodes: no markup of it can become part of the page. */
  function put(text) {
    const found = new DOMParser().parseFromString(text, "image/svg+xml").documentElement;
    if (found.nodeName !== "svg") return;
    for (const node of found.querySelectorAll("script, foreignObject")) node.remove();
    found.removeAttribute("aria-label");
    found.setAttribute("aria-labelledby", "rig-title");
    haul.id("rig").replaceChildren(document.importNode(found, true));
    labels = new Map();
    for (const node of haul.id("rig").querySelectorAll("[data-tension]"))
      labels.set(node.getAttribute("data-tension"), node);
  }
  async function draw(version) {
    const width = Math.max(320, Math.min(1000, Math.floor(haul.id("rig").clientWidth / 20) * 20));
    const key = version + "/" + width;
    if (key === asked || !haul.id("rig").clientWidth) return;
    asked = key;
    try {
      const address = "/rig?w=" + width + (haul.session ? "&s=" + encodeURIComponent(haul.session) : "");
      const answer = await fetch(address, { cache: "no-store", signal: AbortSignal.timeout(5000) });
      if (answer.ok) put((await answer.json()).svg);
    } catch (error) {
      setTimeout(() => (asked = ""), 2000);
    }
  }
  /* What a part carries, and whether its own cell reads it or it is the most that it can be. */
  haul.carries = function (parts, name, force) {
    const said = (key) => (parts[key] || []).includes(name);
    return said("own") ? haul.forceText(force) + " by its own cell," : (said("most") ? "at most " : "") + haul.forceText(force);
  };
  function nearest(uses, parts) {
    const place = haul.id("nearest");
    while (place.children.length > uses.length) place.lastChild.remove();
    uses.forEach(([name, force, limit, share], k) => {
      if (!place.children[k]) {
        const row = haul.make("div", "", "use");
        const bar = haul.make("i");
        bar.append(haul.make("b"));
        row.append(haul.make("span", "", "name"), haul.make("span", "", "share"), bar, haul.make("span", "", "of"));
        place.append(row);
      }
      const row = place.children[k];
      haul.text(row.children[0], name);
      haul.text(row.children[1], (share > 1 ? "OVER, " : "") + Math.round(100 * share) + " %");
      row.children[2].firstChild.style.width = Math.min(100, 100 * share) + "%";
      haul.text(row.children[3], haul.carries(parts, name, force) + " of " + haul.forceText(limit));
      row.classList.toggle("over", share > 1);
    });
  }
  /* parts, head: what the page was told; known: whether what it was told is of now. */
  haul.rigShow = function (parts, head, drawn, known, haulN) {
    if (drawn) draw(drawn);
    const strands = [];
    for (let k = 0; parts["s:" + k]; k++) strands.push(...parts["s:" + k]);
    head.strands.forEach((name, k) => {
      const node = labels.get(name);
      let force = known && strands[k] !== undefined ? strands[k] : null;
      if (force !== null && k === head.haulStrand && haulN) force = haulN;
      if (node) haul.text(node, force === null ? "—" : haul.forceText(force));
    });
    const uses = [];
    for (let k = 0; known && k < 5; k++) if (parts["u:" + k]) uses.push(parts["u:" + k]);
    nearest(uses, parts);
    const said = [];
    if (known && parts.how) said.push("Tensions: " + parts.how + ".");
    else said.push(known ? "Tensions: not known before something is hauled." : "Tensions: not known now.");
    said.push(head.rated + " of " + head.of + " are rated" +
      (head.rated < head.of ? "; the other " + (head.of - head.rated) + " are not judged." : "."));
    haul.list("rig-note", said);
  };
})(window.haul);
