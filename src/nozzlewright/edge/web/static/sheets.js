// Writing a sheet: what is printed in two units is held against each other while it is typed.
import { forgetButton, keepDraft } from "/static/draft.js";
import { post, texts } from "/static/page.js";

const form = document.getElementById("write");
const about = document.getElementById("draft");
const words = document.getElementById("kept-words");
const forget = document.getElementById("forget");
const again = about.dataset.again === "yes";

const kept = keepDraft(form, `nozzlewright.sheet${location.search}`, {
  done: about.dataset.kept,
  again,
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

// Fields that hold a value with its unit; in words a value may stand or not.
const VALUES =
  /^(new|used|fall|seat_pressure|seat_tolerance|drops_pressure|drops_tolerance|spread|reassembly|shim_effect|screw_effect|(new|used)_target|torque_\d+_value|(guide|seat|body)_diameter|guide_length|spring_rate|screw_pitch)$/;
const WORDS = /^(seat|fall|drops|spread|adjust|chatter|spray)_words$|^torque_\d+_words$/;
const PAUSE_MS = 450;
const asked = new WeakMap();

function placeOf(input) {
  const place = document.createElement("div");
  place.className = "printed-check";
  place.setAttribute("role", "status");
  place.id = `check-${input.id}`;
  input.closest(".field").append(place);
  const before = input.getAttribute("aria-describedby");
  input.setAttribute("aria-describedby", before ? `${before} ${place.id}` : place.id);
  return place;
}

function line(shape, text) {
  const p = document.createElement("p");
  const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  svg.setAttribute("class", "shape");
  svg.setAttribute("aria-hidden", "true");
  const use = document.createElementNS("http://www.w3.org/2000/svg", "use");
  use.setAttribute("href", `/static/shapes.svg#${shape}`);
  svg.append(use);
  p.append(svg, document.createTextNode(text));
  return p;
}

async function check(input, place) {
  const text = input.value.trim();
  const number = (asked.get(input) ?? 0) + 1;
  asked.set(input, number);
  if (!text) {
    place.replaceChildren();
    return;
  }
  const atmosphere = form.querySelector('[name="atmosphere"]:checked')?.value ?? "";
  let answer;
  try {
    answer = await post("/api/cross-check", { text: text.slice(0, 300), atmosphere });
  } catch {
    place.replaceChildren(line("waiting", texts.unreachable));
    return;
  }
  if (asked.get(input) !== number) return; // typed on meanwhile
  const lines = answer.faults.map((one) => {
    const fault = line("fail", `${one.what}. ${one.remedy}.`);
    fault.className = "disagrees";
    return fault;
  });
  if (!lines.length && answer.values.length) {
    lines.push(line("pass", texts.read_as.replace("{value}", answer.values.join("; "))));
  } else if (!lines.length && VALUES.test(input.name)) {
    lines.push(line("waiting", texts.unread));
  }
  place.replaceChildren(...lines);
}

const checked = [];
for (const input of form.querySelectorAll("input, textarea")) {
  if (!VALUES.test(input.name) && !WORDS.test(input.name)) continue;
  const place = placeOf(input);
  let waiting = 0;
  const later = () => {
    clearTimeout(waiting);
    waiting = setTimeout(() => check(input, place), PAUSE_MS);
  };
  input.addEventListener("input", later);
  checked.push(later);
  if (input.value && kept.draft && !again) later();
}
for (const choice of form.querySelectorAll('[name="atmosphere"]')) {
  choice.addEventListener("change", () => checked.forEach((later) => later()));
}

// A free row shows once the one before it is used.
for (const rows of form.querySelectorAll(".rows")) {
  const all = [...rows.querySelectorAll(".row-of")];
  const used = (row) => [...row.querySelectorAll("input:not([type=hidden]), textarea, select")].some((one) => one.value);
  const show = () => {
    const last = all.findLastIndex((row) => used(row) || row.querySelector(".fault-at"));
    all.forEach((row, at) => (row.hidden = at > last + 1));
  };
  rows.addEventListener("input", show);
  show();
}
