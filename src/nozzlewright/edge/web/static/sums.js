// A sum is worked out anew while somebody types; the button does the same without this script.

const form = document.getElementById("sum");
const outcome = document.getElementById("outcome");
let timer = 0;
let asked = 0;

async function workOut() {
  const query = new URLSearchParams();
  for (const [name, value] of new FormData(form)) query.append(name, value);
  const address = `${form.action}?${query}`;
  const mine = ++asked;
  outcome.setAttribute("aria-busy", "true");
  try {
    const answer = await fetch(address, { headers: { Accept: "text/html" } });
    const shown = new DOMParser().parseFromString(await answer.text(), "text/html");
    const fresh = shown.getElementById("outcome");
    if (mine !== asked) return;
    if (fresh) outcome.replaceChildren(...fresh.childNodes);
    if (answer.ok) history.replaceState(null, "", address);
  } catch {
    // The line is down: what stands there stays, and the button tells what is wrong.
  } finally {
    if (mine === asked) outcome.removeAttribute("aria-busy");
  }
}

form.addEventListener("input", () => {
  clearTimeout(timer);
  timer = setTimeout(workOut, 250);
});
