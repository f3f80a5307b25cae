// The check of the rig, one step at a time; what is typed is kept on this device until it is saved.

import { keepDraft } from "/static/draft.js";
import { texts } from "/static/page.js";

const form = document.getElementById("rig-form");
const steps = [...form.querySelectorAll(".check-step")];
const faulty = steps.findIndex((step) => step.querySelector(".fault-at"));
const again = form.querySelector(".fault-at") !== null;
const saved = document.querySelector("[data-saved]")?.dataset.saved ?? "";
const here = new URLSearchParams(location.search);
const key = `nozzlewright.rig ${form.querySelector('[name="rig"]')?.value ?? ""}`;
let at = 0;

// What was typed on another day is none of today's readings.
try {
  if (JSON.parse(localStorage.getItem(key) ?? "{}").day !== today()) localStorage.removeItem(key);
} catch {
  localStorage.removeItem(key);
}
// A recording of the hold is not lost while the nozzle is being recorded, nor the other way round.
const recorded = {};
const { draft, later } = keepDraft(form, key, {
  done: saved,
  again,
  passing: ["back", "recorded", "recorded_reference", "recorded_zero"],
  more: () => ({ at, day: today(), recorded, back: here.get("back") ?? draft?.back }),
});

const kinds = ["blank", "reference", "zero"];
for (const name of kinds) {
  const digest = here.get(name) ?? draft?.recorded?.[name];
  if (digest) recorded[name] = digest;
}
// Nor is the page to which somebody goes back with the rig checked.
if (draft?.back && !here.has("back") && kinds.some((name) => here.has(name))) {
  here.set("back", draft.back);
  location.replace(`${location.pathname}?${here}`);
}
const lost = Object.keys(recorded).filter((name) => !here.has(name));
if (lost.length > 0 && here.size > 0 && kinds.some((name) => here.has(name))) {
  lost.forEach((name) => here.set(name, recorded[name]));
  location.replace(`${location.pathname}?${here}`);
}
if (Object.keys(recorded).length > 0 || here.has("back")) later();

function stepOf(name) {
  const field = form.querySelector(`[name="${name}"][value="recorded"]`);
  if (field && !again) field.checked = true;
  return steps.findIndex((step) => step.contains(field));
}

if (faulty >= 0) at = faulty;
else if (here.has("blank")) at = stepOf("hold");
else if (here.has("reference")) at = stepOf("reference");
else if (here.has("zero")) at = steps.findIndex((step) => step.querySelector("#zero"));
else if (Number.isInteger(draft?.at)) at = draft.at;

function today() {
  return new Date().toDateString();
}

function button(words, kind, act) {
  const made = document.createElement("button");
  made.type = "button";
  made.className = `button ${kind}`;
  made.textContent = words;
  made.addEventListener("click", act);
  return made;
}

const ways = document.createElement("p");
ways.className = "step-ways";
const back = button(texts.back, "plain", () => show(at - 1, true));
const next = button(texts.next, "main", () => show(at + 1, true));
const all = button(texts.all, "quiet", () => {
  form.classList.remove("by-steps");
  ways.remove();
});
ways.append(back, next, all);

function show(to, move) {
  at = Math.max(0, Math.min(to, steps.length - 1));
  steps.forEach((step, index) => step.classList.toggle("step-now", index === at));
  form.classList.toggle("at-last", at === steps.length - 1);
  back.hidden = at === 0;
  next.hidden = at === steps.length - 1;
  const title = steps[at].querySelector("h3");
  title.querySelector("small")?.remove();
  const count = document.createElement("small");
  count.textContent = texts.step.replace("{at}", at + 1).replace("{all}", steps.length);
  title.prepend(count);
  steps[at].after(ways);
  if (move) {
    later();
    title.tabIndex = -1;
    title.focus();
  }
}

// Enter goes on; only the last step saves.
form.addEventListener("keydown", (event) => {
  if (event.key !== "Enter" || !form.classList.contains("by-steps")) return;
  if (event.target.tagName !== "INPUT" || at === steps.length - 1) return;
  event.preventDefault();
  show(at + 1, true);
});

if (steps.length > 1) {
  form.classList.add("by-steps");
  show(at, false);
}
