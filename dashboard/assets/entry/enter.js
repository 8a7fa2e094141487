/* The entry page: takes the code out of the address bar and changes it for a cookie, once. */

const said = /** @type {HTMLElement} */ (document.getElementById("said"));
const form = /** @type {HTMLFormElement} */ (document.getElementById("form"));
const field = /** @type {HTMLInputElement} */ (document.getElementById("code"));
const NO_ANSWER = "no answer: is this phone on the same network?";

/** @param {string} text */
function ask(text) {
  said.textContent = text;
  form.hidden = false;
  field.focus();
}

/** @param {string} code */
async function enter(code) {
  said.textContent = "one moment";
  try {
    const answer = await fetch("/enter", {
      method: "POST",
      headers: { "Content-Type": "application/json" },
      body: JSON.stringify({ code }),
    });
    if (answer.ok) location.replace("/");
    else ask((await answer.text()).slice(0, 200));
  } catch {
    ask(NO_ANSWER);
  }
}

async function begin() {
  const code = decodeURIComponent(location.hash.slice(1));
  history.replaceState(null, "", "/enter");
  if (code) {
    await enter(code);
    return;
  }
  try {
    if ((await fetch("/who", { cache: "no-store" })).ok) location.replace("/");
    else ask("a code is needed");
  } catch {
    ask(NO_ANSWER);
  }
}

form.addEventListener("submit", (event) => {
  event.preventDefault();
  enter(field.value.trim().replace(/^.*#/, "")); // a whole link may be pasted too
});
window.addEventListener("hashchange", begin);
begin();
