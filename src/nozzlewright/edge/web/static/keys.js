// Keys of a page. A foot switch is a key too: which one is chosen in Settings.

/** Key of the stopwatch and foot switch on this screen (KeyboardEvent.code). */
export const pedal = document.documentElement.dataset.pedal || "Space";

const TYPED_INTO = "input:not([type=radio], [type=checkbox], [type=button], [type=submit]), textarea, select, [contenteditable]";

function writing(event) {
  return event.target instanceof Element && event.target.closest(TYPED_INTO) !== null;
}

/**
 * Call `down` when a key goes down and `up` when it is let go; returns how to end it.
 *
 * `code` is a KeyboardEvent.code, or "pedal" for the one chosen in Settings. A key that is held does
 * not repeat. While somebody types into a field, a key is theirs; on a focused button, link or tile
 * Space and Enter keep their own work, unless `evenOnButtons` is given. Where the page is left with
 * the key down (another window comes to the front), `up` is called too: a lever never sticks.
 */
export function onKey(code, { down, up, evenOnButtons = false }) {
  const wanted = code === "pedal" ? pedal : code;
  let held = false;
  function pressed(event) {
    if (event.code !== wanted || event.ctrlKey || event.altKey || event.metaKey) return;
    if (writing(event)) return;
    const own = event.code === "Space" || event.code === "Enter";
    if (own && !evenOnButtons && event.target.closest("button, a[href], summary, input, [role=button]")) return;
    event.preventDefault(); // the space bar would scroll the page
    if (event.repeat || held) return;
    held = true;
    down?.(event);
  }
  function released(event) {
    if (event.code !== wanted || !held) return;
    event.preventDefault();
    held = false;
    up?.(event);
  }
  function left(event) {
    if (!held) return;
    held = false;
    up?.(event);
  }
  const calls = [
    [document, "keydown", pressed],
    [document, "keyup", released],
    [window, "blur", left],
  ];
  for (const [where, name, call] of calls) where.addEventListener(name, call);
  return () => {
    for (const [where, name, call] of calls) where.removeEventListener(name, call);
  };
}

/** Let every element with data-key="KeyN" be pressed by that key; its aria-keyshortcuts says so. */
export function pressByKey(root = document) {
  for (const element of root.querySelectorAll("[data-key]")) {
    onKey(element.dataset.key, { down: () => element.isConnected && element.click() });
  }
}
