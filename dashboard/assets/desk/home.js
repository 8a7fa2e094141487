/* The home page: draws the rigs that the server sent, and takes the operator's code from the address. */
import { id } from "../shared/dom.js";
import { showDrawing } from "../shared/drawing.js";
import { codeTaken } from "../shared/operator_link.js";
import { followTouches } from "../shared/touches.js";

const READY_EVERY_MS = 50;

/** Draw what is new below a place. @param {ParentNode} place */
function drawAll(place) {
  for (const one of place.querySelectorAll("[data-svg]")) {
    if (one instanceof HTMLElement && one.dataset.drawn !== one.dataset.svg) {
      showDrawing(one);
      one.dataset.drawn = one.dataset.svg;
    }
  }
}

async function begin() {
  if (await codeTaken) {
    location.reload(); // what an operator may do stands on the page only now
    return;
  }
  while (!document.getElementById("page")) await new Promise((done) => setTimeout(done, READY_EVERY_MS));
  const page = id("page");
  new MutationObserver(() => drawAll(page)).observe(page, { childList: true, subtree: true, attributes: true, attributeFilter: ["data-svg"] });
  drawAll(page);
}

followTouches();
begin();
