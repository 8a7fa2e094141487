/* Keeps the words and ways of the strip as they are now: another page or phone may change them. */

const EVERY_MS = 2000;
const ANSWER_WITHIN_MS = 3000;

/* Daylight or dark as chosen in this tab; without a choice the style sheet follows the system. */
try {
  const theme = sessionStorage.getItem("theme");
  if (theme === "dark" || theme === "light") document.documentElement.dataset.theme = theme;
} catch {
  // a browser that keeps nothing
}

/** @typedef {{ name: string, address: string, word: string }} StripItem */

/** @param {StripItem} item */
function show(item) {
  const link = document.querySelector('#strip [data-step="' + item.name + '"]');
  const word = link?.querySelector("small");
  if (!(link instanceof HTMLAnchorElement) || !word) return;
  if (link.getAttribute("href") !== item.address) link.setAttribute("href", item.address);
  if (word.textContent !== item.word) word.textContent = item.word;
}

async function look() {
  try {
    const reply = await fetch("/desk/strip", { cache: "no-store", signal: AbortSignal.timeout(ANSWER_WITHIN_MS) });
    if (reply.ok) {
      /** @type {StripItem[]} */
      const items = await reply.json();
      items.forEach(show);
    }
  } catch {
    // no link: the strip leads on as it is
  }
  setTimeout(look, EVERY_MS);
}

setTimeout(look, EVERY_MS);
