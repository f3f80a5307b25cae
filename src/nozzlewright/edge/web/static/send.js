// A form that would be sent while the bench PC cannot be reached stays on the screen, with all that
// was typed: the browser would put a page of its own in its place. Sent twice it is one entry.
//
// Whether it can be reached is asked while somebody works at a form, not while nobody does.
const ASK_EVERY_MS = 1500, LONGEST_WAIT_MS = 6000;
const root = document.documentElement;
let asked = performance.now(), asking = null;

const lost = () => "unreachable" in root.dataset;

/** Ask the bench PC for a sign of life; returns whether it gave one. */
function ask() {
  asking ??= (async () => {
    const stop = new AbortController(), timer = setTimeout(() => stop.abort(), LONGEST_WAIT_MS);
    try {
      await fetch("/health", { cache: "no-store", signal: stop.signal });
      delete root.dataset.unreachable;
    } catch {
      root.dataset.unreachable = "";
    }
    clearTimeout(timer);
    asked = performance.now();
    asking = null;
    return !lost();
  })();
  return asking;
}

function worked(event) {
  const form = event.target.closest?.("form");
  if (form?.method === "post" && performance.now() - asked > ASK_EVERY_MS) ask();
}
for (const name of ["input", "focusin", "pointerdown"]) document.addEventListener(name, worked);
addEventListener("offline", () => { root.dataset.unreachable = ""; });
addEventListener("online", ask);

function tell(form, button) {
  for (const old of form.querySelectorAll(".unsent")) old.remove();
  const said = document.createElement("p");
  said.className = "fault-at unsent";
  said.setAttribute("role", "alert");
  said.textContent = document.body.dataset.unsent;
  (button?.closest(".buttons") ?? button ?? form.lastElementChild).after(said);
}

document.addEventListener("submit", async (event) => {
  const form = event.target, button = event.submitter;
  if (event.defaultPrevented || form.method !== "post" || !lost()) return;
  event.preventDefault();
  if (await ask()) form.requestSubmit(button);
  else tell(form, button);
});
