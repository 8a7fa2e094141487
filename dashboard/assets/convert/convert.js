/* The choice of two rigs leads to the address of their list; a button prints it. */
import { id } from "../shared/dom.js";

/** @param {string} name id of the list */
function chosen(name) {
  return encodeURIComponent(id(name, HTMLSelectElement).value);
}

document.getElementById("choice")?.addEventListener("submit", (event) => {
  event.preventDefault();
  id("show", HTMLButtonElement).disabled = true; // a long list takes some seconds
  location.assign("/convert/?a=" + chosen("stands") + "&b=" + chosen("wanted"));
});
document.getElementById("print")?.addEventListener("click", () => window.print());
/* A page that the browser kept comes back as it was left. */
window.addEventListener("pageshow", () => {
  const show = document.getElementById("show");
  if (show instanceof HTMLButtonElement) show.disabled = false;
});
