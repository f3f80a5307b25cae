// Booking in: one part at a time, and a draft on this device until the set is booked in.
import { forgetButton, keepDraft } from "/static/draft.js";
import { texts } from "/static/page.js";

const form = document.getElementById("book");
const about = document.getElementById("draft");
const words = document.getElementById("kept-words");
const forget = document.getElementById("forget");
const parts = [...form.querySelectorAll(".part")];
const again = about.dataset.again === "yes";
let here = 0;

const kept = keepDraft(form, "nozzlewright.book-in", {
  done: about.dataset.booked,
  again,
  passing: ["photo", "photo_kept", "sheet_search"],
  more: () => ({ part: here }),
  tell(saved) {
    words.textContent = saved ? texts.kept : texts.full;
    forget.hidden = false;
  },
});
if (kept.draft && !again) {
  words.textContent = `${texts.restored} ${texts.photos}`;
  forget.hidden = false;
}
forgetButton(document.getElementById("forget-draft"), texts.forget, kept.forget);

// -- one part at a time ------------------------------------------------------------------------

const way = document.getElementById("way");
const steps = document.getElementById("steps");
const before = document.getElementById("part-before");
const next = document.getElementById("part-next");

const buttons = parts.map((part, index) => {
  const button = document.createElement("button");
  button.type = "button";
  const number = document.createElement("span");
  number.className = "number";
  number.textContent = index + 1;
  const name = document.createElement("span");
  name.className = "way-name";
  name.textContent = part.dataset.name;
  button.append(number, " ", name);
  button.addEventListener("click", () => go(index, true));
  if (part.querySelector(".fault-at")) button.classList.add("has-fault");
  way.append(button);
  return button;
});

function go(index, move) {
  here = Math.min(Math.max(index, 0), parts.length - 1);
  parts.forEach((part, at) => part.classList.toggle("is-here", at === here));
  buttons.forEach((button, at) => {
    if (at === here) button.setAttribute("aria-current", "step");
    else button.removeAttribute("aria-current");
  });
  before.disabled = here === 0;
  next.hidden = here === parts.length - 1;
  if (move) {
    parts[here].focus({ preventScroll: true });
    scrollTo({ top: 0 });
    kept.later();
  }
}

form.classList.add("stepwise");
way.hidden = steps.hidden = false;
before.addEventListener("click", () => go(here - 1, true));
next.addEventListener("click", () => go(here + 1, true));
const faulty = parts.findIndex((part) => part.querySelector(".fault-at"));
go(faulty >= 0 ? faulty : again ? parts.length - 1 : kept.draft?.part ?? 0, false);

// A fault on top leads to its field, in whichever part that stands.
document.addEventListener("click", (event) => {
  const link = event.target.closest?.("a[href^='#']");
  const field = link && document.getElementById(link.hash.slice(1));
  const at = field ? parts.findIndex((part) => part.contains(field)) : -1;
  if (at < 0) return;
  event.preventDefault();
  go(at, true);
  (field.matches("fieldset") ? field.querySelector("input") : field).focus();
});

// Return in a line goes on to the next part; only the last part sends.
form.addEventListener("keydown", (event) => {
  if (event.key === "Enter" && event.target.matches("input") && here < parts.length - 1) {
    event.preventDefault();
    go(here + 1, true);
  }
});
// What is needed may stand in a part that is not shown: the browser could not point at it.
form.noValidate = true;
form.addEventListener("submit", (event) => {
  const missing = parts.findIndex((part) => part.querySelector(":invalid"));
  if (missing < 0) return;
  event.preventDefault();
  go(missing, true);
  parts[missing].querySelector(":invalid:not(fieldset)").reportValidity();
});

// -- photos and sheets -------------------------------------------------------------------------

const photo = document.getElementById("photo");
const shown = document.getElementById("photos");
photo.addEventListener("change", () => {
  for (const old of shown.querySelectorAll(".chosen")) {
    URL.revokeObjectURL(old.querySelector("img").src);
    old.remove();
  }
  [...photo.files].forEach((file, index) => {
    const item = document.createElement("li");
    item.className = "chosen";
    const image = document.createElement("img");
    image.alt = texts.photo.replace("{number}", index + 1);
    image.src = URL.createObjectURL(file);
    item.append(image);
    shown.append(item);
  });
});

const search = document.getElementById("sheet_search");
search?.addEventListener("input", () => {
  const sought = search.value.toLowerCase().split(/\s+/);
  for (const tile of form.querySelectorAll(".sheets-choice .tile")) {
    const text = tile.textContent.toLowerCase();
    tile.hidden = !tile.querySelector(":checked") && !sought.every((word) => text.includes(word));
  }
});
