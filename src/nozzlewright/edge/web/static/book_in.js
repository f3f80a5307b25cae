// Booking in: one part at a time, and a draft on this device until the set is booked in.
import { forgetButton, keepDraft } from "/static/draft.js";
import { post, texts } from "/static/page.js";

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
  passing: ["photo", "sheet_search"],
  // The sheet that this page was opened with goes before that of the draft.
  fixed: new URLSearchParams(location.search).get("sheet") ? ["sheet"] : [],
  more: () => ({ part: here }),
  tell(saved) {
    words.textContent = saved ? texts.kept : texts.full;
    forget.hidden = false;
  },
});
if (kept.draft && !again) {
  words.textContent = texts.restored;
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
const photoWords = document.getElementById("photo-words");
const DIGEST = /^[0-9a-f]{64}$/;

/** Show a photo that is kept, which goes along with the form, and can be taken out of it. */
function keptPhoto(digest) {
  if (!DIGEST.test(digest) || shown.querySelector(`input[value="${digest}"]`)) return;
  const item = document.createElement("li"), image = document.createElement("img");
  const input = document.createElement("input");
  Object.assign(input, { type: "hidden", name: "photo_kept", value: digest });
  image.alt = texts.kept_photo.replace("{number}", shown.children.length + 1);
  image.src = `/evidence/${digest}.jpg`;
  item.append(input, image);
  shown.append(item);
  takenOut(item);
}
function takenOut(item) {
  const button = document.createElement("button");
  Object.assign(button, { type: "button", className: "button quiet", textContent: texts.take_out });
  button.setAttribute("aria-label", `${texts.take_out}: ${item.querySelector("img").alt}`);
  button.addEventListener("click", () => { item.remove(); kept.later(); });
  item.append(button);
}
function chosenPhoto(file, index) {
  const item = document.createElement("li"), image = document.createElement("img");
  item.className = "chosen";
  image.alt = texts.photo.replace("{number}", index + 1);
  image.src = URL.createObjectURL(file);
  item.append(image);
  shown.append(item);
}
function forgetChosen() {
  for (const old of shown.querySelectorAll(".chosen")) {
    URL.revokeObjectURL(old.querySelector("img").src);
    old.remove();
  }
}
for (const item of shown.children) takenOut(item);
if (kept.draft && !again) for (const digest of [kept.draft.typed?.photo_kept ?? []].flat()) keptPhoto(digest);

// A photo is kept as soon as it was taken: a telephone may close the page behind its camera.
photo.addEventListener("change", async () => {
  forgetChosen();
  const files = [...photo.files], sent = new FormData();
  if (!files.length) return;
  files.forEach(chosenPhoto);
  for (const one of form.querySelectorAll('[name="photo_kept"]')) sent.append("photo_kept", one.value);
  for (const file of files) sent.append("photo", file);
  photoWords.textContent = texts.keeping;
  try {
    const { photos } = await post("/book-in/photos", sent);
    photo.value = "";
    forgetChosen();
    photos.forEach(keptPhoto);
    photoWords.textContent = "";
    kept.later();
  } catch (fault) {
    photoWords.textContent = fault.faults?.length ? fault.message : texts.unkept;
  }
});
if (new URLSearchParams(location.search).get("sheet")) kept.later();

const search = document.getElementById("sheet_search");
search?.addEventListener("input", () => {
  const sought = search.value.toLowerCase().split(/\s+/);
  for (const tile of form.querySelectorAll(".sheets-choice .tile")) {
    const text = tile.textContent.toLowerCase();
    tile.hidden = !tile.querySelector(":checked") && !sought.every((word) => text.includes(word));
  }
});
