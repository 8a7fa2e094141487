/* Shows a drawing that the server made: SVG as text in `data-svg` of the element that it is to stand in; and tells
   what a finger met on it. */

const REACH = [0, 8, 14, 20]; // px round a finger in which a thin strand still counts as touched

/** @param {HTMLElement} place */
export function showDrawing(place) {
  const drawn = new DOMParser().parseFromString(place.dataset.svg ?? "", "image/svg+xml").documentElement;
  // no script and no other element than a drawing has: names in it are escaped, this is a second lock
  const plain = drawn.nodeName === "svg" && !drawn.querySelector("script, foreignObject, a");
  place.replaceChildren(...(plain ? [drawn] : []));
}

/** What lies on the drawing at a point of the window or near it: the nearest, a part before a strand.
 * @type {(place: Element, x: number, y: number) => { element?: string | undefined, strand?: number } | null} */
export function touchedOn(place, x, y) {
  for (const reach of REACH) {
    const around = [[0, 0], [reach, 0], [-reach, 0], [0, reach], [0, -reach]]
      .map(([dx, dy]) => document.elementFromPoint(x + (dx ?? 0), y + (dy ?? 0)))
      .filter((one) => one && place.contains(one));
    for (const target of around) {
      const part = target?.closest("[data-element]");
      if (part instanceof SVGElement) return { element: part.dataset.element };
    }
    for (const target of around) {
      const line = target?.closest("[data-number]");
      if (line instanceof SVGElement) return { strand: Number(line.dataset.number) };
    }
  }
  return null;
}
