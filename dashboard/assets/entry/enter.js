/* Takes the code out of the address bar and changes it for a cookie, once. */
"use strict";
(function () {
  const said = document.getElementById("said");
  const form = document.getElementById("form");
  const field = document.getElementById("code");

  function ask(text) {
    said.textContent = text;
    form.hidden = false;
    field.focus();
  }
  async function enter(code) {
    said.textContent = "one moment";
    try {
      const answer = await fetch("/enter", {
        method: "POST",
        headers: { "Content-Type": "application/json" },
        body: JSON.stringify({ code: code }),
      });
      if (answer.ok) location.replace("/");
      else ask((await answer.text()).slice(0, 200));
    } catch (error) {
      ask("no answer: is this phone on the same network?");
    }
  }
  async function begin() {
    const code = decodeURIComponent(location.hash.slice(1));
    history.replaceState(null, "", "/enter");
    if (code) return enter(code);
    try {
      if ((await fetch("/who", { cache: "no-store" })).ok) return location.replace("/");
    } catch (error) {
      return ask("no answer: is this phone on the same network?");
    }
    return ask("a code is needed");
  }
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    // a whole link may be pasted too
    enter(field.value.trim().replace(/^.*#/, ""));
  });
  window.addEventListener("hashchange", begin);
  begin();
})();
