/* Where the menu stands: beside the touched place on a wide screen, and never over it; on a phone at the lower
   edge, where the thumb is and the hand hides nothing, with the touched place scrolled free of it. */

const NARROW = "(max-width: 720px)"; // as in rig.css
const FINGER = 22; // px round the middle of a touch that stay free; half of the least target
const GAP = 10; // px between the touched place and the menu
const EDGE = 8; // px to the edges of the screen

/** A place in the window, px. @typedef {{ left: number, top: number, right: number, bottom: number }} Place */
/** The touched place in the document, px. @type {Place} */
let touched = { left: 0, top: 0, right: 0, bottom: 0 };

/** @type {(place: Place) => void} */
function keep(place) {
  const { scrollX: x, scrollY: y } = window;
  touched = { left: place.left + x, top: place.top + y, right: place.right + x, bottom: place.bottom + y };
}

/** Remember where the drawing was touched. @type {(x: number, y: number) => void} */
export function touchedAt(x, y) {
  keep({ left: x - FINGER, top: y - FINGER, right: x + FINGER, bottom: y + FINGER });
}

/** Left and top of a menu beside a place, all in the window.
 * @type {(place: Place, size: { width: number, height: number }, screen: { width: number, height: number }) => { left: number, top: number }} */
export function besidePlace(place, size, screen) {
  /** @type {(value: number, most: number) => number} */
  const within = (value, most) => Math.max(EDGE, Math.min(value, most));
  const top = within(place.top, screen.height - EDGE - size.height);
  if (place.right + GAP + size.width <= screen.width - EDGE) return { left: place.right + GAP, top };
  if (place.left - GAP - size.width >= EDGE) return { left: place.left - GAP - size.width, top };
  const left = within(place.left, screen.width - EDGE - size.width);
  const below = place.bottom + GAP;
  const fits = below + size.height <= screen.height - EDGE || place.top - GAP - size.height < EDGE;
  return { left, top: fits ? below : place.top - GAP - size.height };
}

/** @type {(menu: HTMLElement) => void} */
function stand(menu) {
  if (menu.hidden || menu.childElementCount === 0) return;
  const now = { left: touched.left - window.scrollX, top: touched.top - window.scrollY,
                right: touched.right - window.scrollX, bottom: touched.bottom - window.scrollY };
  if (window.matchMedia(NARROW).matches) {
    menu.style.removeProperty("left");
    menu.style.removeProperty("top");
    const free = window.innerHeight - menu.offsetHeight - GAP;
    if (now.bottom > free && now.top < window.innerHeight) window.scrollBy(0, now.bottom - free);
    return;
  }
  menu.style.left = "0";
  menu.style.top = "0";
  const origin = menu.getBoundingClientRect();
  const at = besidePlace(now, { width: origin.width, height: origin.height },
                         { width: document.documentElement.clientWidth, height: window.innerHeight });
  menu.style.left = `${at.left - origin.left}px`;
  menu.style.top = `${at.top - origin.top}px`;
}

/** Keep the menu at what was touched, by a finger or by the keyboard. @type {(menu: HTMLElement) => void} */
export function followFinger(menu) {
  document.addEventListener("click", (event) => {
    const button = event.target instanceof Element ? event.target.closest("button") : null;
    if (button && (button.dataset.touch || button.closest("#ropes"))) keep(button.getBoundingClientRect());
  }, true);
  const again = () => stand(menu);
  new MutationObserver(again).observe(menu, { childList: true, attributes: true, attributeFilter: ["hidden"] });
  window.addEventListener("resize", again);
}
