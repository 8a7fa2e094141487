/* The check before the pull: takes the operator's code from the address, and leads the keyboard into the question
   why something is overruled and out of it again. */
import { id } from "../shared/dom.js";
import { codeTaken } from "../shared/operator_link.js";
import { followTexts, followTouches } from "../shared/touches.js";

const READY_EVERY_MS = 50;

/** The button of the question that leaves all as it is. */
function leave() {
  const all = Array.from(id("why").querySelectorAll("button"));
  return all[all.length - 1];
}

async function begin() {
  if (await codeTaken) {
    location.reload(); // what an operator may do stands on the page only now
    return;
  }
  while (!document.getElementById("why")) await new Promise((done) => setTimeout(done, READY_EVERY_MS));
  const why = id("why");
  /** @type {Element | null} */
  let before = null;
  new MutationObserver(() => {
    if (!why.hidden && !why.contains(document.activeElement)) {
      before = document.activeElement;
      why.querySelector("button")?.focus();
    } else if (why.hidden && before instanceof HTMLElement) {
      if (before.isConnected) before.focus({ preventScroll: true });
      before = null;
    }
  }).observe(why, { attributes: true, attributeFilter: ["hidden"] });
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape" && !why.hidden) leave().click();
  });
}

followTexts();
followTouches();
begin();
