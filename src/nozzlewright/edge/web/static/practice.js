// The pump of the pretend bench under a finger, a mouse or a key; and what is seen when one looks.
import { texts, post } from "/static/page.js";
import { onKey } from "/static/keys.js";
import { gauge } from "/static/gauge.js";

const TURN_DEG = 38, PIVOT = "48 128"; // how far the arm swings, and round what
const TRAVEL = 0.55; // share of the drawing's height that is a full stroke
const SIGN_EVERY_MS = 30000; // that somebody is there

const pump = document.querySelector("[data-pump]"), bench = gauge.root.dataset.bench;
const arm = pump.querySelector("[data-part=arm]"), lever = pump.querySelector("[data-part=lever]");
const words = pump.querySelector("[data-part=pump-state]");
const toggles = Object.fromEntries([...pump.querySelectorAll("[data-toggle]")].map((one) => [one.dataset.toggle, one]));
let dragged = null, shown = 0, wanted = 0;

function tell(message) {
  if (!gauge.line.send(message)) words.textContent = texts.no_line;
}

// -- the lever: what the bench says of it, drawn evenly --
function drawArm() {
  shown += (wanted - shown) * 0.35;
  arm.setAttribute("transform", `rotate(${(shown * TURN_DEG).toFixed(2)} ${PIVOT})`);
  if (Math.abs(wanted - shown) > 0.002) requestAnimationFrame(drawArm);
  else drawing = false;
}
let drawing = false;
function leverAt(value) {
  wanted = value;
  if (drawing) return;
  drawing = true;
  requestAnimationFrame(drawArm);
}

lever.addEventListener("pointerdown", (event) => {
  event.preventDefault();
  lever.setPointerCapture(event.pointerId);
  dragged = { from: event.clientY, at: shown, height: lever.clientHeight * TRAVEL, sent: 0, next: null };
});
lever.addEventListener("pointermove", (event) => {
  if (!dragged) return;
  const value = Math.min(1, Math.max(0, dragged.at + (event.clientY - dragged.from) / dragged.height));
  leverAt(value);
  if (dragged.next === null) {
    requestAnimationFrame(() => {
      if (dragged && dragged.next !== null) tell({ lever: dragged.next });
      if (dragged) dragged.next = null;
    });
  }
  dragged.next = value;
});
function letGo() {
  if (!dragged) return;
  dragged = null;
  tell({ key: "" });
}
for (const name of ["pointerup", "pointercancel", "lostpointercapture"]) lever.addEventListener(name, letGo);

// -- strokes by themselves while a key or button is held --
for (const button of pump.querySelectorAll("[data-hold]")) {
  const pace = button.dataset.hold;
  const down = () => { button.setAttribute("aria-pressed", "true"); tell({ key: pace }); };
  const up = () => {
    if (button.getAttribute("aria-pressed") !== "true") return;
    button.setAttribute("aria-pressed", "false");
    tell({ key: "" });
  };
  button.setAttribute("aria-pressed", "false");
  button.addEventListener("pointerdown", (event) => { event.preventDefault(); button.setPointerCapture(event.pointerId); down(); });
  for (const name of ["pointerup", "pointercancel", "lostpointercapture", "blur"]) button.addEventListener(name, up);
  button.addEventListener("contextmenu", (event) => event.preventDefault());
  button.addEventListener("keydown", (event) => {
    if ((event.code !== "Space" && event.code !== "Enter") || event.repeat) return;
    event.preventDefault();
    down();
  });
  button.addEventListener("keyup", up);
  onKey(pace === "slow" ? "Space" : "KeyB", { down, up });
}

// -- valves --
function toggle(name) {
  const pressed = toggles[name].getAttribute("aria-pressed") !== "true";
  toggles[name].setAttribute("aria-pressed", String(pressed));
  tell(name === "valve" ? { valve_open: !pressed } : { released: pressed });
}
for (const [name, code] of [["valve", "KeyV"], ["released", "KeyL"]]) {
  toggles[name].addEventListener("click", (event) => {
    toggle(name);
    if (event.detail > 0) toggles[name].blur(); // so that the space bar is the lever's again
  });
  onKey(code, { down: () => toggle(name) });
}

gauge.root.addEventListener("state", ({ detail: { hand } }) => {
  if (!hand) return;
  if (!dragged) leverAt(hand.lever);
  toggles.valve.setAttribute("aria-pressed", String(!hand.valve_open));
  toggles.released.setAttribute("aria-pressed", String(hand.released));
  const now = hand.released ? texts.pump_released : hand.valve_open ? texts.pump_open : texts.pump_shut;
  if (words.textContent !== now) words.textContent = now;
});
setInterval(() => { if (!document.hidden) gauge.line.send({ here: true }); }, SIGN_EVERY_MS);

// -- looking and listening: only what is asked for, only when it is asked for --
const looked = document.querySelector("[data-part=look]"), lookWords = document.querySelector("[data-part=look-words]");
const looks = [...document.querySelectorAll("[data-look]")];
for (const button of looks) {
  button.addEventListener("click", async (event) => {
    if (event.detail > 0) button.blur();
    try {
      const seen = await post(`/live/${encodeURIComponent(bench)}/look`, { at: button.dataset.look });
      looks.forEach((one) => one.setAttribute("aria-pressed", String(one === button)));
      looked.hidden = false;
      for (const picture of looked.querySelectorAll("[data-picture]")) picture.hidden = picture.dataset.picture !== seen.picture;
      lookWords.textContent = seen.words;
    } catch (fault) {
      looked.hidden = false;
      lookWords.textContent = fault.faults ? fault.message : texts.could_not;
    }
  });
}
