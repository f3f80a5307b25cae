// Pressure against time, running: the last seconds of a bench with what was noticed in them.
import uPlot from "/static/vendor/uplot/uPlot.esm.js";

const FINE_S = 0.005, COARSE_S = 0.04; // least distance of two points in the short and long window
const FIGURE_WIDE = 52; // of an opening's figure with its gap, [px]
const SHORT_S = 10, LONG_S = 60;
const LEAST_BETWEEN_MS = 25; // frames: half of sixty a second look as even, and four charts fit a small machine
const ROOM = 1.15; // of the highest pressure shown, on top

/** Points kept in order; what is older than `seconds` goes, `least` is the span of a min/max pair. */
class Points {
  constructor(seconds, least) {
    this.seconds = seconds;
    this.least = least;
    this.time = [];
    this.pressure = [];
    this.opened = -Infinity; // start of the span that is still being filled
  }

  add(time, pressure) {
    const { time: t, pressure: p } = this;
    for (let k = 0; k < time.length; k++) {
      const at = time[k], value = Number.isNaN(pressure[k]) ? null : pressure[k];
      const last = t.length - 1;
      if (last >= 0 && at <= t[last]) continue;
      if (value === null || at - this.opened >= this.least || p[last] === null) {
        this.opened = value === null ? -Infinity : at;
        t.push(at);
        p.push(value);
      } else if (t[last] === this.opened) {
        t.push(at);
        p.push(value);
      } else {
        // A span holds two points: where a third comes, the one between that tells least goes.
        const [before, between] = [p[last - 1], p[last]];
        const turns = (between - before) * (value - between) < 0;
        if (turns && Math.abs(between - before) > Math.abs(value - before)) continue;
        t[last] = at;
        p[last] = value;
      }
    }
    if (t.length && t[t.length - 1] - t[0] > 1.25 * this.seconds) {
      let first = 0;
      while (t[first] < t[t.length - 1] - this.seconds - 1) first++;
      t.splice(0, first);
      p.splice(0, first);
    }
  }
}

export class StripChart {
  /**
   * `element` is filled; `factor` makes the screen's unit of a Pa, `decimals` belong to it;
   * `words` are `ago` ("{seconds} s ago"), `now`, `opening`, `closing`, `hold`, `window`, `target`.
   */
  constructor(element, { factor, decimals, unit, words }) {
    Object.assign(this, { element, factor, decimals, unit, words });
    this.seconds = SHORT_S;
    this.fine = new Points(SHORT_S, FINE_S);
    this.coarse = new Points(LONG_S, COARSE_S);
    this.marks = { openings: [] };
    this.top = 0;
    this.waiting = null; // samples that are not on the screen yet
    this.asked = false;
    this.drawnAt = 0;
    this.inked();
    this.plot = new uPlot(this.options(), [[], []], element);
    new ResizeObserver(() => this.plot.setSize(this.size())).observe(element);
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => this.inked());
  }

  /** Take samples: times [s], pressures [Pa]. */
  add(time, pressure) {
    if (!time.length) return;
    this.fine.add(time, pressure);
    this.coarse.add(time, pressure);
    this.waiting ??= { first: time[0], last: time[0] };
    this.waiting.last = time[time.length - 1];
    this.draw();
  }

  /** Show what was noticed; times on the clock of the samples. */
  mark(marks) {
    this.marks = marks;
    this.draw();
  }

  /** Show the last `seconds`. */
  span(seconds) {
    this.seconds = seconds;
    this.draw();
  }

  /** Draw at the next frame. */
  draw() {
    if (this.asked) return;
    this.asked = true;
    requestAnimationFrame((now) => this.frame(now));
  }

  frame(now) {
    if (now - this.drawnAt < LEAST_BETWEEN_MS) {
      requestAnimationFrame((later) => this.frame(later));
      return;
    }
    this.asked = false;
    this.drawnAt = now;
    const points = this.seconds > SHORT_S ? this.coarse : this.fine;
    const end = this.fine.time.at(-1);
    if (end === undefined) return;
    const shown = this.waiting;
    this.waiting = null;
    this.plot.batch(() => {
      this.plot.setData([points.time, points.pressure], false);
      this.plot.setScale("x", { min: end - this.seconds, max: end });
      this.plot.setScale("y", { min: 0, max: this.ceiling(points) });
    });
    // The next frame begins once this one is out: an upper bound for when it could be seen.
    if (shown) {
      requestAnimationFrame(() =>
        this.element.dispatchEvent(new CustomEvent("drawn", {
          bubbles: true, detail: { ...shown, at: (performance.timeOrigin + performance.now()) / 1000 },
        })));
    }
  }

  /** The top of the scale: a round pressure above all that is shown, lowered only when far off. */
  ceiling(points) {
    let highest = this.marks.target ?? 0;
    if (this.marks.window) highest = Math.max(highest, this.marks.window[0]);
    for (let k = points.time.length - 1; k >= 0; k--) {
      if (points.time[k] < points.time[points.time.length - 1] - this.seconds) break;
      if (points.pressure[k] > highest) highest = points.pressure[k];
    }
    const wanted = rounded(Math.max(highest * this.factor * ROOM, 50e5 * this.factor)) / this.factor;
    if (wanted > this.top || wanted < 0.6 * this.top) this.top = wanted;
    return this.top;
  }

  size() {
    const width = Math.max(240, this.element.clientWidth);
    return { width, height: Math.max(180, this.element.clientHeight) };
  }

  inked() {
    const css = getComputedStyle(document.documentElement);
    const ink = (name) => css.getPropertyValue(`--${name}`).trim();
    this.ink = {
      ink: ink("ink"), soft: ink("ink-soft"), line: ink("line"), accent: ink("accent"),
      tint: ink("tint"), paper: ink("paper"), font: `13px ${ink("font")}`,
    };
    if (this.plot) this.plot.redraw();
  }

  options() {
    const seconds = (span) => (span > SHORT_S ? 10 : 2);
    const axis = { font: this.ink.font, stroke: () => this.ink.soft };
    return {
      ...this.size(),
      legend: { show: false },
      cursor: { show: false },
      select: { show: false },
      padding: [12, 14, 0, 0],
      scales: { x: { time: false, auto: false }, y: { auto: false } },
      axes: [
        {
          ...axis,
          size: 34,
          grid: { stroke: () => this.ink.line, width: 1 },
          ticks: { show: false },
          splits: (_, __, low, high) => {
            const found = [], step = seconds(high - low);
            for (let ago = 0; ago <= high - low + 1e-6; ago += step) found.unshift(high - ago);
            return found;
          },
          values: (plot, splits) => splits.map((at, index) => {
            const ago = Math.round(plot.scales.x.max - at);
            if (ago === 0) return this.words.now;
            return index % (plot.width < 500 ? 2 : 1) === 0 ? `−${ago} s` : "";
          }),
        },
        {
          ...axis,
          size: 54,
          grid: { stroke: () => this.ink.line, width: 1 },
          ticks: { show: false },
          splits: (_, __, ___, high) => {
            const top = high * this.factor, step = top / 4 < 1 ? top / 4 : rounded(top / 5);
            const found = [];
            for (let at = 0; at <= top * 1.0001; at += step) found.push(at / this.factor);
            return found;
          },
          values: (_, splits) => splits.map((at) => figure(at * this.factor, this.unit === "MPa" ? 1 : 0)),
        },
      ],
      series: [{}, { stroke: () => this.ink.ink, width: 2, points: { show: false }, spanGaps: false }],
      hooks: { drawAxes: [(plot) => this.ground(plot)], draw: [(plot) => this.notes(plot)] },
    };
  }

  /** What lies under the curve: the hold, the window of the drop, the pressure to be held. */
  ground(plot) {
    const { ctx, bbox } = plot, { hold, window: edges, target } = this.marks;
    ctx.save();
    if (hold) {
      const from = Math.max(bbox.left, plot.valToPos(hold.start, "x", true));
      ctx.fillStyle = this.ink.tint;
      ctx.fillRect(from, bbox.top, bbox.left + bbox.width - from, bbox.height);
      this.word(plot, this.words.hold, from + 6 * devicePixelRatio, bbox.top + 16 * devicePixelRatio, this.ink.ink);
    }
    ctx.lineWidth = 1.5 * devicePixelRatio;
    ctx.setLineDash([7 * devicePixelRatio, 5 * devicePixelRatio]);
    const lines = [...(edges ?? []).map((at) => [at, ""]), ...(target ? [[target, this.words.target]] : [])];
    for (const [at, word] of lines) {
      const y = plot.valToPos(at, "y", true);
      if (y < bbox.top) continue;
      ctx.strokeStyle = this.ink.accent;
      ctx.beginPath();
      ctx.moveTo(bbox.left, y);
      ctx.lineTo(bbox.left + bbox.width, y);
      ctx.stroke();
      const text = `${word ? `${word} ` : ""}${figure(at * this.factor, this.unit === "MPa" ? 1 : 0)}`;
      this.word(plot, text, bbox.left + 6 * devicePixelRatio, y - 5 * devicePixelRatio, this.ink.accent);
    }
    ctx.restore();
  }

  /** What lies on it: each opening with its pressure, and where the needle shut again. */
  notes(plot) {
    const { ctx, bbox } = plot, unit = devicePixelRatio;
    const shown = this.marks.openings.filter((one) => one.at >= plot.scales.x.min);
    ctx.save();
    ctx.fillStyle = ctx.strokeStyle = this.ink.accent;
    ctx.lineWidth = 2 * unit;
    for (const one of shown) {
      const x = plot.valToPos(one.at, "x", true), y = plot.valToPos(one.opened, "y", true);
      ctx.beginPath();
      ctx.moveTo(x, y - 5 * unit);
      ctx.lineTo(x - 6 * unit, y - 16 * unit);
      ctx.lineTo(x + 6 * unit, y - 16 * unit);
      ctx.fill();
      if (one.closed !== null) {
        const low = plot.valToPos(one.closed, "y", true) + 6 * unit;
        ctx.beginPath();
        ctx.moveTo(x - 6 * unit, low);
        ctx.lineTo(x + 6 * unit, low);
        ctx.stroke();
      }
    }
    if (this.seconds <= SHORT_S) {
      // The last one bears its figure, and before it each that has room for its own.
      let free = Infinity;
      for (const one of [...shown].reverse()) {
        const at = plot.valToPos(one.at, "x", true), y = plot.valToPos(one.opened, "y", true);
        const x = Math.min(at, bbox.left + bbox.width - 40 * unit) - 14 * unit;
        if (x + FIGURE_WIDE * unit > free) continue;
        free = x;
        this.word(plot, figure(one.opened * this.factor, this.decimals), x, y - 20 * unit, this.ink.ink);
      }
    }
    const timed = this.marks.drop;
    if (timed) {
      ctx.strokeStyle = this.ink.accent;
      for (const at of [timed.start, timed.end]) {
        const x = plot.valToPos(at, "x", true);
        if (x < bbox.left) continue;
        ctx.beginPath();
        ctx.moveTo(x, bbox.top);
        ctx.lineTo(x, bbox.top + bbox.height);
        ctx.stroke();
      }
    }
    ctx.restore();
  }

  word(plot, text, x, y, ink) {
    const { ctx } = plot;
    ctx.save();
    ctx.setLineDash([]);
    ctx.font = `${600} ${13 * devicePixelRatio}px ${this.ink.font.slice(5)}`;
    ctx.lineWidth = 4 * devicePixelRatio;
    ctx.strokeStyle = this.ink.paper;
    ctx.lineJoin = "round";
    ctx.textAlign = "left";
    ctx.textBaseline = "alphabetic";
    ctx.strokeText(text, x, y);
    ctx.fillStyle = ink;
    ctx.fillText(text, x, y);
    ctx.restore();
  }
}

const comma = document.documentElement.lang === "de";

/** A number as this screen's language writes it. */
export function figure(value, decimals) {
  const text = (value < 0 && Number(value.toFixed(decimals)) === 0 ? 0 : value).toFixed(decimals).replace("-", "−");
  return comma ? text.replace(".", ",") : text;
}

/** The next of 1, 2, 2.5, 5, 10 ... times a power of ten. */
function rounded(value) {
  const size = 10 ** Math.floor(Math.log10(value));
  for (const step of [1, 1.5, 2, 2.5, 3, 4, 5, 6, 8]) if (step * size >= value * 0.9999) return step * size;
  return 10 * size;
}
