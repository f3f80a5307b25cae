// A sum is worked out anew while somebody types; the button does the same without this script.

const form = document.getElementById("sum");
const outcome = document.getElementById("outcome");
const heard = document.getElementById("heard");
let timer = 0;
let asked = 0;

/** The address of what is filled in; a unit without its value says nothing. */
function address() {
  const query = new URLSearchParams();
  const filled = new FormData(form);
  for (const [name, value] of filled) {
    const of = name.replace(/_(unit|pm)$/, "");
    if (value && (filled.get(of) ?? filled.get(name))) query.append(name, value);
  }
  return `${form.action}?${query}`;
}

async function workOut() {
  const there = address();
  const mine = ++asked;
  outcome.setAttribute("aria-busy", "true");
  try {
    const answer = await fetch(there, { headers: { Accept: "text/html" } });
    const shown = new DOMParser().parseFromString(await answer.text(), "text/html");
    const fresh = shown.getElementById("outcome");
    if (mine !== asked) return;
    if (fresh) outcome.replaceChildren(...fresh.childNodes);
    if (answer.ok) history.replaceState(null, "", there);
    const parts = [...outcome.querySelectorAll("#result, .sum-main")];
    heard.textContent = parts.map((one) => one.textContent.trim()).join(" ");
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
