// A form that would be sent while the bench PC cannot be reached stays on the screen, with all that
// was typed: the browser would put a page of its own in its place. Sent twice it is one entry.
const LONGEST_WAIT_MS = 6000;
const sure = new WeakSet(), asking = new WeakSet();

async function reachable() {
  try {
    const stop = new AbortController();
    setTimeout(() => stop.abort(), LONGEST_WAIT_MS);
    await fetch("/health", { cache: "no-store", signal: stop.signal });
    return true;
  } catch {
    return false;
  }
}

function tell(form, button) {
  const said = document.createElement("p");
  said.className = "fault-at unsent";
  said.setAttribute("role", "alert");
  said.textContent = document.body.dataset.unsent;
  (button?.closest(".buttons") ?? button ?? form.lastElementChild).after(said);
}

document.addEventListener("submit", async (event) => {
  const form = event.target, button = event.submitter;
  if (event.defaultPrevented || form.method !== "post" || sure.delete(form)) return;
  event.preventDefault();
  if (asking.has(form)) return;
  asking.add(form);
  for (const old of form.querySelectorAll(".unsent")) old.remove();
  const up = await reachable();
  asking.delete(form);
  if (!up) {
    tell(form, button);
    return;
  }
  sure.add(form);
  form.requestSubmit(button);
  sure.delete(form); // it was held back by what the form needs
});
