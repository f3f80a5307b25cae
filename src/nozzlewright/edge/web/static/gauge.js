// The gauge page: live figures and strip chart, start and stop, and readings by hand.
import { texts, post } from "/static/page.js";
import { onKey } from "/static/keys.js";
import { follow } from "/static/live.js";
import { forgetButton, keepDraft } from "/static/draft.js";
import { figure, StripChart } from "/static/strip_chart.js";

const FIGURES_PER_S = 10; // quicker figures cannot be read
const LISTED = 6; // openings that stand in the list

const filled = (text, values) => text.replace(/\{(\w+)\}/g, (_, name) => values[name] ?? "");
const secondsOf = (value) => `${figure(value, 1)}\u00a0s`;

/** The live gauge in one element (macro `live`); `onState` hears what the bench says. */
class Gauge {
  constructor(root, onState = () => {}) {
    this.root = root;
    this.onState = onState;
    this.parts = Object.fromEntries([...root.querySelectorAll("[data-part]")].map((one) => [one.dataset.part, one]));
    this.factor = Number(root.dataset.factor);
    this.decimals = Number(root.dataset.decimals);
    this.unit = root.dataset.unit;
    this.printed = root.querySelector(".live-figures .unit").textContent;
    this.chart = new StripChart(this.parts.strip, {
      factor: this.factor, decimals: this.decimals, unit: this.unit, words: texts,
    });
    this.shownAt = 0;
    for (const one of root.querySelectorAll("[name=span]")) {
      one.addEventListener("change", () => this.chart.span(Number(one.value)));
    }
    this.line = follow(root.dataset.bench, {
      samples: (time, pressure) => this.samples(time, pressure),
      state: (data) => this.state(data),
      line: (up) => this.lineIs(up),
      gone: () => location.reload(), // the page itself says what has become of the bench
    });
  }

  pressure(pa, decimals = this.decimals) {
    return pa === null || pa === undefined ? "–" : `${figure(pa * this.factor, decimals)}\u00a0${this.printed}`;
  }

  samples(time, pressure) {
    this.chart.add(time, pressure);
    const now = performance.now();
    if (now - this.shownAt < 1000 / FIGURES_PER_S) return;
    const latest = pressure[pressure.length - 1];
    if (latest === undefined) return;
    this.shownAt = now;
    this.shown(Number.isNaN(latest) ? "–" : figure(latest * this.factor, this.decimals));
  }

  shown(text) {
    this.parts.figure.textContent = text;
    for (const echo of document.querySelectorAll("[data-echo=figure]")) echo.textContent = text;
  }

  lineIs(up) {
    if (!up) this.linkIs("lost", texts.line_lost);
  }

  linkIs(state, words) {
    const { link } = this.parts;
    this.root.toggleAttribute("data-lost", state !== "live");
    if (link.dataset.state === state && this.parts["link-words"].textContent === words) return;
    link.dataset.state = state;
    this.parts["link-words"].textContent = words;
    if (state === "lost") this.shown("–");
  }

  state(data) {
    this.linkIs(data.up ? "live" : "lost", data.up ? `${texts.live} · ${data.rate ?? "–"}\u00a0Hz` : data.link);
    const { recording, marks } = data;
    const mine = recording !== null && recording.id.startsWith(this.root.dataset.mine);
    this.marks(mine ? marks : null);
    this.onState(data, mine);
    this.root.dispatchEvent(new CustomEvent("state", { detail: data }));
  }

  marks(marks) {
    const { parts } = this;
    if (parts.noticed) parts.noticed.hidden = marks === null;
    parts.highest.textContent = this.pressure(marks?.highest);
    parts.fall.textContent = marks && marks.fall !== null ? `${this.pressure(marks.fall)} ${texts.per_second}` : "–";
    this.chart.mark({
      openings: (marks?.openings ?? []).map(([at, opened, closed]) => ({ at, opened, closed })),
      hold: marks?.hold ?? null,
      window: marks?.drop ? [marks.drop.from, marks.drop.to] : null,
      target: marks?.seat && !marks.seat.done ? marks.seat.target : null,
      drop: marks?.timed_at ? { start: marks.timed_at[0], end: marks.timed_at[1] } : null,
    });
    if (!marks || !parts.noticed) return;
    this.seat(marks.seat);
    this.drop(marks.drop);
    this.openings(marks);
  }

  seat(seat) {
    const { parts } = this;
    parts.seat.hidden = seat === null;
    if (!seat) return;
    const left = seat.wanted === null ? null : Math.max(0, seat.wanted - seat.for);
    const running = seat.in_place && seat.for > 0;
    if (!running) parts["seat-figure"].textContent = seat.wanted === null ? "–" : `${figure(seat.wanted, 0)}\u00a0s`;
    else if (seat.done || left === null) parts["seat-figure"].textContent = `${secondsOf(seat.for)} ${texts.held}`;
    else parts["seat-figure"].textContent = `${Math.ceil(left)} ${texts.left}`;
    parts["seat-bar"].value = running && seat.wanted ? Math.min(1, seat.for / seat.wanted) : 0;
    said(parts["seat-words"], seat.done ? texts.seat_done
      : running ? texts.seat_runs
      : seat.target === null ? texts.seat_unknown
      : filled(texts.seat_wait, { pressure: seat.shown }));
  }

  drop(drop) {
    const { parts } = this;
    parts.drop.hidden = drop === null;
    if (!drop) return;
    const whole = this.unit === "MPa" ? 1 : 0;
    parts["drop-window"].textContent = `${figure(drop.from * this.factor, whole)} → ${this.pressure(drop.to, whole)}`;
    parts["drop-figure"].textContent = drop.seconds === null ? "–" : secondsOf(drop.seconds);
    const words = {
      waiting: filled(texts.drop_wait, { pressure: this.pressure(drop.from, whole) }),
      running: filled(texts.drop_runs, { pressure: this.pressure(drop.to, whole) }),
      stopped: texts.drop_stopped,
    }[drop.state];
    said(parts["drop-words"], drop.note ? `${filled(texts.drop_again, { why: drop.note })} ${words}` : words);
  }

  openings(marks) {
    const { parts } = this, last = marks.openings.slice(-LISTED).reverse();
    parts["no-openings"].hidden = marks.count > 0;
    parts["openings-count"].textContent = marks.count ? String(marks.count) : "";
    const key = JSON.stringify([marks.count, last.map((one) => one.slice(1))]);
    if (this.listed === key) return;
    this.listed = key;
    parts["opening-list"].replaceChildren(...last.map(([, opened, closed], index) => {
      const item = document.createElement("li");
      item.append(
        piece("number-of", `${marks.count - index}.`),
        piece("", this.pressure(opened)),
        piece("shut-at", closed === null ? "" : `${texts.shut} ${figure(closed * this.factor, this.decimals)}`),
      );
      return item;
    }));
  }
}

function piece(name, text) {
  const span = document.createElement("span");
  if (name) span.className = name;
  span.textContent = text;
  return span;
}

/** Put words into a live region only where they changed: else they would be read out each time. */
function said(element, words) {
  if (element.textContent !== words) element.textContent = words;
}

/**
 * The one large button: start and stop by tap or pedal; both work without this script too.
 *
 * Returns what hears the state of the bench.
 */
function startAndStop() {
  const start = document.getElementById("start"), stop = document.getElementById("stop");
  const word = document.querySelector("[data-part=go-state]");
  // Where the space bar works the lever of a pretend bench, another key starts and stops.
  const ownKey = document.querySelector("[data-pump]") ? "KeyR" : undefined;
  let leaving = false, going = false;

  function show(data, mine) {
    if (leaving) return;
    if (going && !mine) {
      // It ended without this page: the program was started anew, or another screen stopped it.
      // What there is to decide about it stands on this page when it is asked for again.
      leaving = true;
      said(word, texts.reading);
      location.reload();
      return;
    }
    going = mine;
    const busy = data.recording !== null && !mine;
    start.hidden = mine;
    start.disabled = busy;
    stop.hidden = !mine;
    said(word, busy ? texts.other_recording : mine ? kept(data.recording) : "");
  }
  function kept(recording) {
    if (recording.disk) return `${texts.recording} · ${recording.disk}`;
    return recording.behind > 1 ? `${texts.recording} · ${texts.behind} ${secondsOf(recording.behind)}`
      : `${texts.recording} · ${texts.kept}`;
  }
  async function begin(event) {
    event.preventDefault();
    start.disabled = true;
    try {
      await post(event.target.action, new FormData(event.target));
      start.hidden = true;
      stop.hidden = false;
      said(word, texts.recording);
      // A key that works the lever must not press this button too.
      if (ownKey) start.blur();
      else if (document.activeElement === document.body || document.activeElement === start) stop.focus();
    } catch (fault) {
      said(word, fault.faults ? fault.message : texts.could_not);
    } finally {
      start.disabled = false;
    }
  }
  document.getElementById("start-form").addEventListener("submit", begin);
  async function end(event) {
    event.preventDefault();
    if (leaving) return;
    leaving = stop.disabled = true;
    said(word, texts.reading);
    try {
      const { go } = await post(event.target.action, new FormData(event.target));
      location.assign(go);
    } catch (fault) {
      // Not sent: the page stays, and so does what it shows.
      leaving = stop.disabled = false;
      said(word, fault.faults ? fault.message : texts.could_not);
    }
  }
  document.getElementById("stop-form").addEventListener("submit", end);
  onKey(ownKey ?? "pedal", {
    down: () => {
      const button = stop.hidden ? start : stop;
      if (!button.disabled) button.form.requestSubmit(button);
    },
  });
  return show;
}

/** Readings one by one: the next input shows when the one before it has been filled. */
function oneByOne(group) {
  const fields = [...group.querySelectorAll(".field")], inputs = fields.map((field) => field.querySelector("input"));
  const open = () => {
    const filledTo = inputs.findLastIndex((input) => input.value.trim() !== "" || input === document.activeElement);
    fields.forEach((field, index) => { field.hidden = index > filledTo + 1; });
  };
  group.addEventListener("input", open);
  group.addEventListener("focusin", open);
  open();
}

/** Enter goes on to the next input, and never sends half a card. */
function enterGoesOn(form) {
  form.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || !(event.target instanceof HTMLInputElement) || event.target.type !== "text") return;
    event.preventDefault();
    const all = [...form.querySelectorAll("input[type=text], button[type=submit]")].filter((one) => one.offsetParent);
    all[all.indexOf(event.target) + 1]?.focus();
  });
}

/** A stopwatch by tap or pedal; its time goes into the first of its inputs that is empty. */
function stopwatch(root) {
  const time = root.querySelector("[data-part=time]"), word = root.querySelector("[data-part=word]");
  const button = root.querySelector("button"), words = [word.textContent, root.dataset.stopWord];
  const inputs = root.dataset.stopwatch.split(" ").map((name) => document.getElementById(name));
  let began = null;
  const shown = () => (performance.now() - began) / 1000;
  function tick() {
    if (began === null) return;
    time.textContent = figure(shown(), 1);
    requestAnimationFrame(tick);
  }
  function press() {
    if (began === null) {
      began = performance.now();
      word.textContent = words[1];
      root.toggleAttribute("data-runs", true);
      tick();
      return;
    }
    const seconds = shown();
    began = null;
    root.toggleAttribute("data-runs", false);
    word.textContent = words[0];
    time.textContent = figure(seconds, 1);
    const input = inputs.find((one) => one.value.trim() === "") ?? inputs[inputs.length - 1];
    input.closest(".field").hidden = false;
    input.value = figure(seconds, 2);
    input.dispatchEvent(new Event("input", { bubbles: true }));
  }
  root.hidden = false;
  button.addEventListener("click", press);
  return { root, press, runs: () => began !== null };
}

/** What was typed stays on this device until the test is saved: a page that is left loses nothing. */
function keepTyped(form) {
  const about = document.getElementById("hand-draft"), { key, done, again, sure } = about.dataset;
  const kept = keepDraft(form, `nozzlewright.hand.${key}`, {
    done: done.split(" "), again: again === "yes", passing: ["step"],
  });
  if (!kept.draft || again === "yes") return;
  about.hidden = false;
  forgetButton(about.querySelector("button"), sure, kept.forget);
}

/** The dial of this bench, as it was typed last on this device. */
function keepDial(form) {
  const key = "nozzlewright.dial", { dial_unit: unit, division } = form.elements;
  try {
    const last = JSON.parse(localStorage.getItem(key) ?? "null");
    if (last && division.value === "") {
      division.value = last.division;
      if ([...unit].some((one) => one.value === last.unit)) unit.value = last.unit;
    }
  } catch { /* this device keeps nothing */ }
  form.addEventListener("submit", () => {
    try {
      localStorage.setItem(key, JSON.stringify({ unit: unit.value, division: division.value }));
    } catch { /* nor now */ }
  });
}

/** The pressure of the seat hold, from the pops that are typed. */
function holdAt(form) {
  const words = form.querySelector("[data-hold-at]");
  if (!words) return;
  const margins = JSON.parse(words.dataset.margins), unit = form.elements.dial_unit;
  const pops = [...form.querySelectorAll("[name^=opening_]")];
  function show() {
    const values = pops.filter((one) => one.value.trim()).map((one) => Number(one.value.replace(",", ".")));
    const mean = values.reduce((sum, one) => sum + one, 0) / values.length;
    const hold = mean - margins[unit.value], decimals = { MPa: 2, psi: 0 }[unit.value] ?? 1;
    words.hidden = !(hold > 0);
    if (words.hidden) return;
    const printed = form.querySelector(`[name=dial_unit][value="${unit.value}"] + .tile-face`).innerText.trim();
    said(words, filled(words.dataset.holdAt, { pressure: `${figure(hold, decimals)}\u00a0${printed}` }));
  }
  form.addEventListener("input", show);
  show();
}

function byHand(form) {
  keepTyped(form);
  keepDial(form);
  holdAt(form);
  form.querySelectorAll("[data-one-by-one]").forEach(oneByOne);
  enterGoesOn(form);
  const watches = [...form.querySelectorAll("[data-stopwatch]")].map(stopwatch);
  if (!watches.length) return;
  // The pedal works the watch that runs, else the one last touched, else the last: the drop's.
  let chosen = watches[watches.length - 1];
  const mark = () => watches.forEach((one) => { one.root.querySelector("kbd").hidden = one !== chosen; });
  for (const one of watches) {
    one.root.closest(".sheet").addEventListener("focusin", () => { chosen = one; mark(); });
  }
  mark();
  onKey("pedal", { down: () => (watches.find((one) => one.runs()) ?? chosen).press() });
}

const live = document.querySelector("[data-gauge]");
/** The gauge of this page, where it has one that records. */
export const gauge = live && document.getElementById("start-form") ? new Gauge(live, startAndStop()) : null;
const hand = document.getElementById("hand-form");
if (hand) byHand(hand);
