/* The drawing of the rig, as the server made it, with every strand's tension written in; beside it what is
   nearest to its limit. */
import { id, inner, list, make, rows, text } from "../shared/dom.js";
import { forceText, percent } from "../shared/format.js";
import { numbered, page, sessionQuery } from "./page_state.js";

/** @import { Head, NearPart } from "./wire.js" */

const AGAIN_AFTER_MS = 2000; // a drawing that did not come is asked for again
let asked = ""; // which drawing, how wide
/** Strand -> where its tension is written. @type {Map<string, Element>} */
let labels = new Map();

/**
 * Put the drawing in: parsed as an image and taken over as nodes, so that none of it becomes markup of the page.
 * @param {string} svg
 */
function put(svg) {
  const found = new DOMParser().parseFromString(svg, "image/svg+xml").documentElement;
  if (found.nodeName !== "svg") return;
  for (const node of found.querySelectorAll("script, foreignObject")) node.remove();
  found.removeAttribute("aria-label");
  found.setAttribute("aria-labelledby", "rig-title");
  id("rig").replaceChildren(document.importNode(found, true));
  labels = new Map();
  for (const node of id("rig").querySelectorAll("[data-tension]"))
    labels.set(node.getAttribute("data-tension") ?? "", node);
}

/** @param {number} version number of the drawing that is there now */
async function draw(version) {
  const width = Math.max(320, Math.min(1000, Math.floor(id("rig").clientWidth / 20) * 20));
  const key = version + "/" + width;
  if (key === asked || !id("rig").clientWidth) return;
  asked = key;
  try {
    const address = "/rig?w=" + width + sessionQuery("&");
    const answer = await fetch(address, { cache: "no-store", signal: AbortSignal.timeout(5000) });
    if (answer.ok) put((await answer.json()).svg);
  } catch {
    setTimeout(() => (asked = ""), AGAIN_AFTER_MS);
  }
}

/**
 * What a part carries, and whether its own cell reads it or it is the most that it can be.
 * @param {NearPart} use
 */
export function carries(use) {
  if (use.by === "cell") return forceText(use.force_N) + " by its own cell,";
  return (use.by === "most" ? "at most " : "") + forceText(use.force_N);
}

function useRow() {
  const row = make("div", "", "use");
  const bar = make("i");
  bar.append(make("b"));
  row.append(make("span", "", "name"), make("span", "", "share"), bar, make("span", "", "of"));
  return row;
}

/** @type {(row: HTMLElement, use: NearPart) => void} */
function fillUse(row, use) {
  const share = use.share ?? 0;
  text(inner(row, 0), use.name);
  text(inner(row, 1), (use.over ? "OVER, " : "") + percent(share));
  inner(inner(row, 2), 0).style.width = Math.min(100, 100 * share) + "%";
  text(inner(row, 3), carries(use) + " of " + forceText(use.limit_N));
  row.classList.toggle("over", use.over);
}

/**
 * The tension of a strand, N; null where it is not known.
 * @param {Head} head
 * @param {number} k index of the strand
 * @param {(number | null)[]} tensions_N
 */
function tension(head, k, tensions_N) {
  const read_N = page.now?.force_N;
  const known_N = tensions_N[k] ?? null;
  return known_N !== null && k === head.haul_strand && read_N ? read_N : known_N;
}

/**
 * Show tensions and uses.
 * @param {Head} head
 * @param {boolean} known whether what the server sent last is of now
 */
export function showRig(head, known) {
  if (page.now?.drawing) draw(page.now.drawing);
  /** @type {(number | null)[]} */
  const tensions_N = [];
  if (known) for (let k = 0; page.parts[`strand:${k}`]; k++) tensions_N.push(...(page.parts[`strand:${k}`] ?? []));
  head.strands.forEach((name, k) => {
    const node = labels.get(name);
    const force_N = tension(head, k, tensions_N);
    if (node) text(node, force_N === null ? "—" : forceText(force_N));
  });
  rows(id("nearest"), known ? numbered("use") : [], useRow, fillUse);
  const unrated = head.parts - head.rated;
  list("rig-note", [
    known && page.parts.tensions_from ? "Tensions: " + page.parts.tensions_from + "."
      : known ? "Tensions: not known before something is hauled." : "Tensions: not known now.",
    head.rated + " of " + head.parts + " are rated" +
      (unrated > 0 ? "; the other " + unrated + " are not judged." : "."),
  ]);
}
