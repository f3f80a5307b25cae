// A form's draft, kept on this device as it is typed, until it was saved.

/**
 * Keep what is typed into a form under a key of the device; returns what was kept before.
 *
 * `done` is the id of the form that was saved last, or several: a draft of it is thrown away. `again` tells that the
 * page shows what was sent, which then counts; so do fields that are `fixed`. `more()` gives what is kept beside the fields, and
 * `tell(kept)` is told whether the device keeps it. A draft keeps the form's id, so that it is the
 * same entry when it is sent once more.
 */
export function keepDraft(form, key, { done = "", again = false, passing = [], fixed = [], more = () => ({}), tell = () => {} }) {
  const skipped = new Set(["csrf", "form_page", ...passing]);
  let draft = read(key);
  if (draft && [done].flat().includes(draft.typed?.form_id)) {
    localStorage.removeItem(key);
    draft = null;
  }
  if (draft && !again) restore(form, draft.typed ?? {}, fixed);

  let waiting = 0;
  const keep = () => {
    waiting = 0;
    const typed = {};
    for (const [name, value] of new FormData(form)) {
      if (!skipped.has(name) && typeof value === "string") (typed[name] ??= []).push(value);
    }
    const own = typed.form_id?.[0];
    try {
      localStorage.setItem(key, JSON.stringify({ typed: { ...typed, form_id: own }, ...more() }));
      tell(true);
    } catch {
      tell(false);
    }
  };
  const later = () => {
    clearTimeout(waiting);
    waiting = setTimeout(keep, 250);
  };
  form.addEventListener("input", later);
  form.addEventListener("change", later);
  form.addEventListener("submit", keep);
  addEventListener("pagehide", () => waiting && keep());
  const forget = () => {
    clearTimeout(waiting);
    waiting = 0;
    localStorage.removeItem(key);
  };
  return { draft, later, forget };
}

/** A button that throws the draft away when it is pressed twice. */
export function forgetButton(button, sure, forget) {
  button.addEventListener("click", () => {
    if (!button.dataset.sure) {
      button.dataset.sure = "yes";
      button.textContent = sure;
      return;
    }
    forget();
    location.assign(location.pathname + location.search);
  });
}

function read(key) {
  try {
    return JSON.parse(localStorage.getItem(key) ?? "null");
  } catch {
    return null;
  }
}

function restore(form, typed, fixed) {
  for (const input of form.elements) {
    if (!input.name || fixed.includes(input.name) || ["file", "submit", "button"].includes(input.type)) continue;
    const values = [typed[input.name] ?? []].flat();
    if (["radio", "checkbox"].includes(input.type)) {
      if (input.name in typed || input.type === "checkbox") input.checked = values.includes(input.value);
    } else if (values.length) input.value = values[0];
  }
}
