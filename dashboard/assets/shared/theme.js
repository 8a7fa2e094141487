/* Daylight or dark: the system's choice until a person chooses; that choice lives in this tab alone. */
import { id, text } from "./dom.js";

const KEY = "theme";
let theme = "";

function dark() {
  return theme ? theme === "dark" : matchMedia("(prefers-color-scheme: dark)").matches;
}

/** @param {string} name */
function keep(name) {
  try {
    sessionStorage.setItem(KEY, name);
  } catch {
    // a browser that keeps nothing: the theme holds until the page is left
  }
}

function kept() {
  try {
    return sessionStorage.getItem(KEY) || "";
  } catch {
    return "";
  }
}

/**
 * Put on the theme of this tab, and let the page's button change it.
 * @param {() => void} changed called when colours are other than before
 */
export function buildTheme(changed) {
  /** @param {string} name "dark", "light" or "" for the system's choice */
  function wear(name) {
    theme = name;
    if (name) document.documentElement.dataset.theme = name;
    text("theme", dark() ? "Daylight" : "Dark");
    changed();
  }
  const name = kept();
  wear(name === "dark" || name === "light" ? name : "");
  id("theme").addEventListener("click", () => {
    wear(dark() ? "light" : "dark");
    keep(theme);
  });
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => wear(theme));
}
