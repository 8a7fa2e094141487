/* Takes the operator's code out of the address bar and changes it for a cookie: the link that the program
   prints where the page is not shared leads straight to the page, which anybody on this machine may look at. */

const CODE = /^#[A-Za-z0-9_-]{22}$/;

/** Whether the address held a code that the server took. */
async function takeCode() {
  if (!CODE.test(location.hash)) return false;
  const code = location.hash.slice(1);
  history.replaceState(null, "", location.pathname + location.search);
  try {
    const answer = await fetch("/enter", {
      method: "POST",
      headers: { "Content-Type": "application/json" },
      body: JSON.stringify({ code }),
    });
    return answer.ok;
  } catch {
    return false; // no link: the page says so
  }
}

/** Done once the code in the address was given to the server, or there was none. */
export const codeTaken = takeCode();

// the link opened in a tab that shows the page already: nothing is loaded anew
window.addEventListener("hashchange", async () => {
  if (await takeCode()) location.reload();
});
