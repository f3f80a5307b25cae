"""Drawings of the bench sums: made from what came out, or from usual proportions on the cards."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field

from markupsafe import Markup, escape

from nozzlewright.bench.sums import Sum, Worked, result_told, told
from nozzlewright.edge.web.show import localised
from nozzlewright.edge.web.texts import said

WIDTH, HEIGHT = 320.0, 200.0


@dataclass
class Sketch:
    """Lines and faces of a drawing, in the classes of ``drawings.css``."""

    parts: list[str] = field(default_factory=list)

    def line(self, *points: tuple[float, float], kind: str = "line", width: float = 2.0) -> None:
        """Draw through points."""
        path = "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points)
        self.parts.append(
            f'<path class="{kind}" fill="none" stroke="currentColor" stroke-width="{width:g}" '
            f'd="{path}"/>'
        )

    def face(
        self, *points: tuple[float, float], kind: str = "line fill-metal", width: float = 2.0
    ) -> None:
        """Draw a closed face."""
        path = "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points) + "Z"
        self.parts.append(
            f'<path class="{kind}"{_empty(kind)} stroke="currentColor" stroke-width="{width:g}" '
            f'd="{path}"/>'
        )

    def box(
        self, x: float, y: float, wide: float, high: float, kind: str = "line fill-metal"
    ) -> None:
        """Draw an upright rectangle."""
        self.face((x, y), (x + wide, y), (x + wide, y + high), (x, y + high), kind=kind)

    def circle(
        self, x: float, y: float, radius: float, kind: str = "line", width: float = 2.0
    ) -> None:
        """Draw a circle."""
        self.parts.append(
            f'<circle class="{kind}"{_empty(kind)} stroke="currentColor" stroke-width="{width:g}" '
            f'cx="{x:.1f}" cy="{y:.1f}" r="{max(radius, 0.1):.2f}"/>'
        )

    def text(self, x: float, y: float, words: str, anchor: str = "middle") -> None:
        """Write a few words."""
        self.parts.append(
            f'<text class="label" font-size="14" text-anchor="{anchor}" '
            f'x="{x:.1f}" y="{y:.1f}">{escape(words)}</text>'
        )

    def span(self, start: tuple[float, float], end: tuple[float, float], words: str) -> None:
        """Draw a dimension: a thin line with ticks and words at its middle."""
        (x1, y1), (x2, y2) = start, end
        length = math.hypot(x2 - x1, y2 - y1) or 1.0
        nx, ny = -(y2 - y1) / length * 5.0, (x2 - x1) / length * 5.0
        self.line(start, end, kind="thin", width=1.2)
        for x, y in (start, end):
            self.line((x - nx, y - ny), (x + nx, y + ny), kind="thin", width=1.2)
        if abs(x2 - x1) >= abs(y2 - y1):
            self.text((x1 + x2) / 2.0, min(y1, y2) - 6.0, words)
        else:
            self.text(max(x1, x2) + 8.0, (y1 + y2) / 2.0 + 5.0, words, "start")

    def markup(self, name: str) -> Markup:
        """Return the drawing; without a name it is hidden from those who listen."""
        spoken = f'role="img" aria-label="{escape(name)}"' if name else 'aria-hidden="true"'
        drawn = (
            f'<svg class="sum-picture" viewBox="0 0 {WIDTH:g} {HEIGHT:g}" {spoken} '
            f'stroke-linejoin="round" stroke-linecap="round">{"".join(self.parts)}</svg>'
        )
        return Markup(drawn)  # noqa: S704  (numbers of ours; words are escaped)


def _empty(kind: str) -> str:
    return "" if "fill-" in kind else ' fill="none"'


@dataclass(frozen=True)
class Seen:
    """What a drawing is made from: values in SI, and their words."""

    values: Mapping[str, float]
    worked: Worked | None

    def __getitem__(self, key: str) -> float:
        return self.values[key]

    def has(self, *keys: str) -> bool:
        """Tell whether all of them are there."""
        return all(key in self.values for key in keys)

    def words(self, key: str) -> str:
        """Return a value with its unit; nothing on a card."""
        if self.worked is None:
            return ""
        result = self.worked.result(key)
        if result is not None:
            value, after, unit = result_told(result)
            return _in_words(value, "" if "…" in after else after, unit)
        given = self.worked.given.get(key)
        if given is None or isinstance(given, str):
            return ""
        value, after = told(given.quantity, given.unit)
        return _in_words(value, "", given.unit.printed)


def _in_words(*parts: str) -> str:
    return localised(" ".join(part for part in parts if part))


def picture(one: Sum, worked: Worked | None = None) -> Markup:
    """Return the drawing of a sum, from its results where there are any."""
    values: dict[str, float] = dict(USUAL[one.drawing])
    name = ""
    if worked is not None:
        values = {
            key: float(value)
            for key, value in worked.values.items()
            if isinstance(value, float | int)
        }
        values |= {each.output.key: each.quantity.value for each in worked.results}
        name = f"{said(one.title)}: " + ", ".join(
            f"{said(each.output.name)} {_in_words(*result_told(each))}"
            for each in worked.results[:2]
        )
    sketch = Sketch()
    _DRAW[one.drawing](sketch, Seen(values, worked))
    return sketch.markup(name)


# -- one by one ---------------------------------------------------------------------------------


def _wrench(s: Sketch, v: Seen) -> None:
    length, ext, angle = v["wrench"], v["extension"], v["angle"]
    raw = [(0.0, 0.0), (length, 0.0), (length + ext * math.cos(angle), -ext * math.sin(angle))]
    left, right = min(x for x, _y in raw), max(x for x, _y in raw)
    top, bottom = min(y for _x, y in raw), max(y for _x, y in raw)
    room = 250.0 if bottom - top < 0.02 * length else 195.0
    scale = min(room / (right - left), 76.0 / max(bottom - top, 1e-9))
    x0 = 36.0 - left * scale + (room - (right - left) * scale) / 2.0
    y0 = 108.0 - (top + bottom) / 2.0 * scale
    low = y0 + bottom * scale + 40.0
    hand, drive, nut = ((x0 + x * scale, y0 + y * scale) for x, y in raw)
    grip = (hand[0] + 0.3 * (drive[0] - hand[0]), hand[1])
    s.line(hand, drive, width=8.0)
    s.line((hand[0] - 14.0, hand[1]), grip, kind="line", width=15.0)
    s.line(drive, nut, kind="thin", width=8.0)
    s.box(drive[0] - 6.0, drive[1] - 6.0, 12.0, 12.0)
    hexagon = [
        (nut[0] + 14.0 * math.cos(math.pi / 3 * i), nut[1] + 14.0 * math.sin(math.pi / 3 * i))
        for i in range(6)
    ]
    s.face(*hexagon)
    s.circle(*nut, 5.0, "line fill-accent")
    s.line((hand[0], hand[1] - 12.0), (hand[0], hand[1] - 46.0), kind="line", width=2.5)
    s.line((hand[0] - 6, hand[1] - 38), (hand[0], hand[1] - 47), (hand[0] + 6, hand[1] - 38))
    s.span((hand[0], low), (drive[0], low), v.words("wrench") or "L")
    along = math.dist(drive, nut) or 1.0
    if abs(nut[1] - drive[1]) < 2.0:
        s.span((drive[0], low), (nut[0], low), v.words("extension") or "E")
    else:  # beside the extension, on the side away from the hand
        side = -1.0 if nut[1] > drive[1] else 1.0
        nx, ny = (
            -(nut[1] - drive[1]) / along * 24.0 * side,
            (nut[0] - drive[0]) / along * 24.0 * side,
        )
        start, end = (drive[0] + nx, drive[1] + ny), (nut[0] + nx, nut[1] + ny)
        s.span(start, end, "")
        middle = max(start[0], end[0]) if nx > 0.0 else (start[0] + end[0]) / 2.0
        over = (start[1] + end[1]) / 2.0 if nx > 0.0 else min(start[1], end[1]) - 8.0
        s.text(middle + 6.0, over + 5.0, v.words("extension") or "E", "start")
    s.text(160.0, 22.0, v.words("setting") or v.words("delivered"))


def _coils(
    s: Sketch, x: float, base: float, wide: float, high: float, turns: float, wire: float
) -> None:
    number = max(2, min(round(turns), 24))
    thick = min(wire, high / (number + 1))
    step = (high - thick) / number
    for index in range(number + 1):
        y = base - thick / 2.0 - index * step
        rise = step * 0.5 if index < number else 0.0
        s.line((x - wide / 2.0, y), (x + wide / 2.0, y - rise), width=max(thick * 0.72, 1.2))
    s.line((x - wide / 2.0 - 10, base), (x + wide / 2.0 + 10, base), kind="thin", width=1.5)


def _spring(s: Sketch, v: Seen) -> None:
    free = v["free"] if v.has("free") else v["coils"] * v["wire"] * 2.2
    shown = v["fitted"] if v.has("fitted") else v["length"] if v.has("length") else free
    scale = min(140.0 / max(free, shown), 90.0 / v["outer"])
    turns = v["total"] if v.has("total") else v["coils"] + 2.0
    wide, wire = v["outer"] * scale, v["wire"] * scale
    base = 180.0
    _coils(s, 85.0, base, wide, free * scale, turns, wire)
    edge = 85.0 - wide / 2.0 - 16.0
    s.span((edge, base - free * scale), (edge, base), "")
    if 0.0 < shown < free:
        at = 225.0
        _coils(s, at, base, wide, shown * scale, turns, wire)
        s.line((at, base - shown * scale - 30), (at, base - shown * scale - 6), width=2.5)
        s.line(
            (at - 6, base - shown * scale - 14),
            (at, base - shown * scale - 5),
            (at + 6, base - shown * scale - 14),
        )
        top = max(base - shown * scale - 36.0, 14.0)
        s.text(at, top, v.words("force") or v.words("load"))
    s.text(85.0, 18.0, v.words("free"))
    s.text(270.0, 196.0, v.words("rate"), "end")


def _square(s: Sketch, v: Seen) -> None:
    angle = min(v["angle"], 0.5)
    high, wide, base = 130.0, 56.0, 176.0
    s.line((40, base), (280, base), width=3.0)
    s.box(84.0, base - 150.0, 10.0, 150.0)
    lean = math.tan(angle) * high
    for index in range(11):
        y = base - 6.0 - index * (high - 12.0) / 10.0
        x = 96.0 + math.tan(angle) * (base - y)
        s.line((x, y), (x + wide, y - 5.0), width=4.0)
    s.line((94.0, base - high), (94.0 + lean, base - high), kind="line", width=1.5)
    s.text(110.0 + lean, base - high - 10.0, v.words("lean"), "start")
    s.text(250.0, 100.0, v.words("angle"))


def _lift(s: Sketch, v: Seen) -> None:
    lift = v["lift"] if v.has("lift") else v["dial"]
    gap = 16.0 + 34.0 * min(max(lift, 0.0) / 0.6e-3, 1.4)
    face = 96.0
    s.face((40, face), (132, face), (132, 188), (96, 188), (40, 150), kind="line fill-metal")
    s.face((280, face), (188, face), (188, 188), (224, 188), (280, 150), kind="line fill-metal")
    s.face((136, face + gap), (184, face + gap), (184, 188), (136, 188), kind="line fill-dark")
    s.box(148.0, face + gap - 30.0, 24.0, 30.0, "line fill-dark")
    s.face((40, 30), (280, 30), (280, face - 4), (180, face - 4), (180, 60), (140, 60),
           (140, face - 4), (40, face - 4))  # fmt: skip
    s.span((236.0, face - 4.0), (236.0, face + gap), "")
    s.text(160.0, 20.0, v.words("lift") or v.words("dial"))
    s.line((184, face + gap), (242, face + gap), kind="thin", width=1.0)


def _washer(s: Sketch, v: Seen) -> None:
    out = v["protrusion"] if v.has("protrusion") else v["wanted"]
    washer = v["new"] if v.has("new") else v["thickness"] if v.has("thickness") else v["fitted"]
    scale = min(60.0 / max(abs(out), washer, 1e-4), 16e3)
    face = 130.0
    seat = 80.0
    s.face((20, seat), (124, seat), (124, face), (20, face))
    s.face((300, seat), (196, seat), (196, face), (300, face))
    thick = min(washer * scale, 50.0)
    s.box(84.0, seat - thick, 40.0, thick, "line fill-oil")
    s.box(196.0, seat - thick, 40.0, thick, "line fill-oil")
    s.box(96.0, 14.0, 128.0, max(seat - thick - 14.0, 4.0))
    tip = face + max(min(out * scale, 64.0), -44.0)
    s.face(
        (132, seat - thick),
        (188, seat - thick),
        (188, tip - 12),
        (170, tip),
        (150, tip),
        (132, tip - 12),
    )
    s.line((20, face), (300, face), kind="hidden-line", width=1.2)
    if abs(tip - face) > 6.0:
        s.span((214.0, face), (214.0, tip), v.words("protrusion") or v.words("wanted"))
    s.text(60.0, seat - thick / 2.0 + 4.0, v.words("new") or v.words("thickness"))


def _bands(s: Sketch, v: Seen) -> None:
    radius, spacing = 84.0, 22.0
    cx, cy = 120.0, 100.0
    bend = min(v["counted"] if v.has("counted") else v["bands"], 7.0) * spacing
    s.circle(cx, cy, radius, "line fill-metal")
    for index in range(-12, 10):
        level = cy + index * spacing + bend / 2.0
        points = []
        for step in range(-20, 21):
            x = step / 20.0 * radius
            y = level - bend * (1.0 - (x / radius) ** 2)
            inside = (y - cy) ** 2 + x**2 < (radius - 3.0) ** 2
            if inside:
                points.append((cx + x, y))
            elif len(points) > 1:
                s.line(*points, kind="line", width=5.0)
                points = []
            else:
                points = []
        if len(points) > 1:
            s.line(*points, kind="line", width=5.0)
    s.line((cx - radius - 10, cy), (cx + radius + 10, cy), kind="hidden-line", width=1.5)
    s.text(264.0, 92.0, v.words("flatness"))
    s.text(264.0, 114.0, v.words("inches"))


def _areas(s: Sketch, v: Seen) -> None:
    ratio = v["seat"] / v["guide"]
    s.circle(90.0, 100.0, 74.0, "line fill-accent")
    s.circle(90.0, 100.0, 74.0 * ratio, "line fill-metal")
    s.face((212, 20), (268, 20), (268, 120), (240 + 28 * ratio, 158), (240, 176),
           (240 - 28 * ratio, 158), (212, 120))  # fmt: skip
    s.line((240 - 28 * ratio - 22, 178), (240 - 28 * ratio, 158), kind="line")
    s.line((240 + 28 * ratio + 22, 178), (240 + 28 * ratio, 158), kind="line")
    s.text(240.0, 14.0, v.words("spring"))
    for x in (198, 282):
        s.line((x, 176), (x, 132), width=2.0)
        s.line((x - 5, 140), (x, 131), (x + 5, 140))
    s.text(90.0, 196.0, v.words("opening"))


def _two_spring(s: Sketch, v: Seen) -> None:
    first, low, high = v["first"], v["low"], v["high"]
    top = max(first, high) * 1.12

    def x(pressure: float) -> float:
        return 36.0 + 250.0 * pressure / top

    base, stage, full = 164.0, 124.0, 52.0
    s.line((36, 24), (36, base), (300, base), kind="thin", width=1.5)
    s.face(
        (x(low), full),
        (x(high), full),
        (x(high), base),
        (x(low), base),
        kind="fill-accent",
        width=0,
    )
    s.line((36, base), (x(first), base), (x(first), stage), (x(low), stage), width=3.0)
    s.line((x(low), stage), (x(low), full), kind="hidden-line", width=2.0)
    s.line((x(high), stage), (x(high), full), (x(top * 0.99), full), width=3.0)
    s.line((x(low), stage), (x(high), stage), width=3.0)
    s.text(x(first), base + 18.0, v.words("first"))
    s.text(
        (x(low) + x(high)) / 2.0, 40.0, f"{v.words('low')} … {v.words('high')}" if v.worked else ""
    )
    s.text(42.0, stage - 8.0, v.words("pre_lift"), "start")


def _drops(s: Sketch, v: Seen) -> None:
    radius = (3.0 * v["volume"] / (4.0 * math.pi)) ** (1.0 / 3.0)
    tip = v["tip"] if v.has("tip") else 1.1 * radius
    scale = min(26.0 / radius, 44.0 / tip)
    wide = tip * scale
    size = radius * scale
    s.circle(70.0, 70.0 + size * 0.8, size, "line fill-oil")
    s.box(70.0 - wide / 2.0, 8.0, wide, 62.0)
    s.line((70.0 - wide / 2.0, 70.0), (70.0 + wide / 2.0, 70.0), width=2.0)
    s.circle(70.0, min(70.0 + size * 4.6, 186.0 - size), size, "line fill-oil")
    number = max(1, min(round(v["drops"]), 24))
    for index in range(number):
        s.circle(150.0 + (index % 8) * 20.0, 40.0 + (index // 8) * 22.0, 6.5, "line fill-oil", 1.2)
    s.text(222.0, 132.0, v.words("flow"))
    s.text(222.0, 154.0, v.words("rate"))


TWO_LINES = 18.0
"""Height at which words over two lines do not touch each other, in units of the picture."""


def _start(s: Sketch, v: Seen) -> None:
    old, new = v["old"], v["new"]
    top = max(old, new, 1.0) * 1.15

    def y(pressure: float) -> float:
        return 160.0 - 130.0 * pressure / top

    def x(pressure: float) -> float:
        return 50.0 + 210.0 * pressure / top

    s.line((36, 20), (36, 160), (300, 160), kind="thin", width=1.5)
    s.line((50, 160), (x(top), y(top)), width=3.0)
    for pressure, key in ((old, "old"), (new, "new")):
        s.line((36, y(pressure)), (x(pressure), y(pressure)), kind="hidden-line", width=1.4)
        s.line((x(pressure), y(pressure)), (x(pressure), 160), kind="hidden-line", width=1.4)
        s.circle(x(pressure), y(pressure), 4.5, "line fill-accent")
        under = pressure == min(old, new) and abs(y(old) - y(new)) < TWO_LINES
        s.text(40.0, min(y(pressure) + (14.0 if under else -5.0), 154.0), v.words(key), "start")
    s.line((x(old), 170), (x(new), 170), width=3.0)
    s.text((x(old) + x(new)) / 2.0, 190.0, v.words("shift"))


def _fuel(s: Sketch, v: Seen) -> None:
    change = (v["opening"] if v.has("opening") else 0.0) + (v["leak"] if v.has("leak") else 0.0)
    fuel = v["fuel"] if v.has("fuel") else max(abs(change) * 4.0, 1e-12)
    share = max(min(change / fuel, 0.6), -0.9)
    s.box(80.0, 20.0, 60.0, 150.0, "line")
    s.box(180.0, 20.0, 60.0, 150.0, "line")
    full = 110.0
    s.box(80.0, 170.0 - full, 60.0, full, "line fill-oil")
    s.box(180.0, 170.0 - full * (1.0 + share), 60.0, full * (1.0 + share), "line fill-oil")
    s.line((80, 170 - full), (250, 170 - full), kind="hidden-line", width=1.4)
    s.text(110.0, 190.0, v.words("fuel"))
    s.text(210.0, 190.0, v.words("share") or v.words("opening") or v.words("leak"))


def _droplets(s: Sketch, v: Seen) -> None:
    largest = max(v["before"], v["after"])
    spots = ((30, 40), (72, 64), (40, 96), (92, 112), (56, 140), (104, 44), (112, 84), (24, 70))
    for side, key in ((10.0, "before"), (165.0, "after")):
        size = 15.0 * v[key] / largest
        for x, y in spots:
            s.circle(side + x, y, size, "line fill-oil", 1.4)
        s.text(side + 68.0, 188.0, v.words(key))
    s.line((160, 24), (160, 168), kind="hidden-line", width=1.4)


def _units(s: Sketch, _v: Seen) -> None:
    s.line((30, 100), (290, 100), width=2.5)
    for index in range(14):
        x = 40.0 + index * 18.5
        s.line((x, 100.0), (x, 84.0 if index % 5 else 74.0), width=1.6)
        at = 40.0 + index * 19.1
        s.line((at, 100.0), (at, 116.0 if index % 5 else 126.0), kind="thin", width=1.6)
    s.text(160.0, 60.0, "at · kgf/cm² · bar · psi")
    s.text(160.0, 150.0, "atm")


def _misprint(s: Sketch, v: Seen) -> None:
    for x, key, usual in ((24.0, "first", "125 kgf/cm²"), (176.0, "second", "1978 psi")):
        s.box(x, 60.0, 120.0, 80.0, "line fill-metal")
        s.text(x + 60.0, 105.0, v.words(key) or usual)
    for y in (92.0, 108.0):
        s.line((152, y), (168, y), width=2.5)
    if v.worked is None or any("They do not agree" in words for words in v.worked.remarks):
        s.line((166, 82), (154, 118), width=2.5)


_Draw = Callable[[Sketch, Seen], None]

_DRAW: Mapping[str, _Draw] = {
    "wrench": _wrench,
    "spring": _spring,
    "square": _square,
    "lift": _lift,
    "washer": _washer,
    "bands": _bands,
    "areas": _areas,
    "two-spring": _two_spring,
    "drops": _drops,
    "start": _start,
    "fuel": _fuel,
    "droplets": _droplets,
    "units": _units,
    "misprint": _misprint,
}

USUAL: Mapping[str, Mapping[str, float]] = {
    "wrench": {"wrench": 0.3, "extension": 0.08, "angle": 0.5},
    "spring": {"wire": 3e-3, "outer": 12e-3, "coils": 6.0, "free": 30e-3, "fitted": 25e-3},
    "square": {"angle": 0.09},
    "lift": {"lift": 0.3e-3},
    "washer": {"protrusion": 3e-3, "new": 2e-3},
    "bands": {"counted": 1.5},
    "areas": {"guide": 6e-3, "seat": 2.6e-3},
    "two-spring": {"first": 180.0, "low": 240.0, "high": 290.0},
    "drops": {"volume": 26e-9, "tip": 4e-3, "drops": 7.0},
    "start": {"old": 150.0, "new": 220.0},
    "fuel": {"opening": -1.0, "fuel": 5.0},
    "droplets": {"before": 1.0, "after": 0.6},
    "units": {},
    "misprint": {},
}
"""Proportions on the cards, where nothing has been worked out."""


def drawings() -> Iterable[str]:
    """Return the names of all drawings."""
    return _DRAW.keys()
