"""Drawing by hand: the few shapes that the figures need, written as SVG 1.1.

Every length is in points of the finished figure. Colours come from a :class:`Theme` through
classes, so that one drawing serves paper and a page that changes with the light.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from html import escape

import numpy as np
from numpy.typing import NDArray

from nozzlewright.edge.paper.voice import spoken
from nozzlewright.said import Figure, say

FONT_FAMILY = "Source Sans 3"
"""The type family that is shipped; its figures all have one width."""


@dataclass(frozen=True)
class Theme:
    """Colours of a figure."""

    ink: str
    muted: str
    """Second rank of text, axes."""
    faint: str
    """Grid and bands' edges."""
    band: str
    """Fill of a band."""
    accent: str
    tint: str
    """Fill of what the accent marks."""
    paper: str


LIGHT = Theme(
    ink="#16212b", muted="#55626e", faint="#c6ced5", band="#eef1f3", accent="#0b6079",
    tint="#dcebef", paper="#ffffff",
)  # fmt: skip
DARK = Theme(
    ink="#e8edf1", muted="#a3b0bb", faint="#3d4954", band="#212b34", accent="#6cc3dc",
    tint="#1d3b46", paper="#151c22",
)  # fmt: skip
PAGE = Theme(
    ink="var(--ink)", muted="var(--muted)", faint="var(--faint)", band="var(--band)",
    accent="var(--accent)", tint="var(--tint)", paper="var(--paper)",
)  # fmt: skip
"""Colours taken from the page in which the figure stands."""


def style_of(theme: Theme) -> str:
    """Return the rules behind the classes that the figures use."""
    return (
        f".fg text{{font-family:'{FONT_FAMILY}',system-ui,sans-serif;fill:{theme.ink};"
        "font-feature-settings:'tnum';}"
        f".fg .mu{{fill:{theme.muted};}}"
        f".fg .ac{{fill:{theme.accent};}}"
        ".fg .st{font-weight:600;}"
        f".fg .bg{{fill:{theme.paper};}}"
        f".fg .bd{{fill:{theme.band};}}"
        f".fg .ti{{fill:{theme.tint};}}"
        f".fg .gr{{stroke:{theme.faint};stroke-width:.5;fill:none;}}"
        f".fg .ax{{stroke:{theme.muted};stroke-width:.6;fill:none;}}"
        f".fg .in{{stroke:{theme.ink};stroke-width:.8;fill:none;}}"
        f".fg .da{{stroke:{theme.ink};stroke-width:.9;fill:none;stroke-dasharray:3.2 2;}}"
        f".fg .do{{stroke:{theme.muted};stroke-width:.7;fill:none;stroke-dasharray:.8 1.8;"
        "stroke-linecap:round;}"
        f".fg .tr{{stroke:{theme.accent};stroke-width:.8;fill:none;stroke-linejoin:round;}}"
        f".fg .wh{{stroke:{theme.accent};stroke-width:1.3;fill:none;}}"
        f".fg .pt{{fill:{theme.accent};stroke:{theme.accent};stroke-width:.9;}}"
        f".fg .ho{{fill:{theme.paper};stroke:{theme.ink};stroke-width:.8;}}"
        f".fg .hm{{fill:{theme.paper};stroke:{theme.muted};stroke-width:.9;}}"
        f".fg .mw{{stroke:{theme.muted};stroke-width:.9;fill:none;}}"
        f".fg .fi{{fill:{theme.ink};}}"
    )


@dataclass
class Drawing:
    """Shapes in the order in which they are put down."""

    width: float
    height: float
    parts: list[str] = field(default_factory=list)

    def line(self, x1: float, y1: float, x2: float, y2: float, kind: str) -> None:
        """Put down a straight line."""
        self.parts.append(f'<path class="{kind}" d="M{_n(x1)} {_n(y1)}L{_n(x2)} {_n(y2)}"/>')

    def polyline(self, points: NDArray[np.float64], kind: str) -> None:
        """Put down a line through points, shape (N, 2)."""
        if len(points) < 2:
            return
        rounded = np.round(points, 1)
        moved = np.any(np.diff(rounded, axis=0) != 0.0, axis=1)
        kept = rounded[np.concatenate([[True], moved])]
        path = " ".join(f"{x:g} {y:g}" for x, y in kept.tolist())
        self.parts.append(f'<path class="{kind}" d="M{path}"/>')

    def polygon(self, points: Sequence[tuple[float, float]], kind: str) -> None:
        """Put down a closed shape."""
        path = "L".join(f"{_n(x)} {_n(y)}" for x, y in points)
        self.parts.append(f'<path class="{kind}" d="M{path}Z"/>')

    def rectangle(self, x: float, y: float, width: float, height: float, kind: str) -> None:
        """Put down a rectangle."""
        self.parts.append(
            f'<rect class="{kind}" x="{_n(x)}" y="{_n(y)}" width="{_n(max(width, 0.0))}" '
            f'height="{_n(max(height, 0.0))}"/>'
        )

    def circle(self, x: float, y: float, radius: float, kind: str) -> None:
        """Put down a circle."""
        self.parts.append(f'<circle class="{kind}" cx="{_n(x)}" cy="{_n(y)}" r="{_n(radius)}"/>')

    def text(
        self,
        x: float,
        y: float,
        words: str,
        *,
        size: float,
        kind: str = "",
        anchor: str = "start",
        halo: bool = False,
    ) -> None:
        """Put down text; `y` is its base line, `halo` clears the ground under it."""
        words = spoken(words)
        if halo:
            width = text_width(words, size) + 2.0
            left = {"start": x - 1.0, "middle": x - width / 2.0, "end": x - width + 1.0}[anchor]
            self.rectangle(left, y - 0.78 * size, width, size, "bg")
        styled = f' class="{kind}"' if kind else ""
        placed = "" if anchor == "start" else f' text-anchor="{anchor}"'
        self.parts.append(
            f'<text{styled} x="{_n(x)}" y="{_n(y)}" font-size="{_n(size)}"{placed}>'
            f"{escape(words, quote=False)}</text>"
        )

    def arrow(self, x: float, y: float, direction: float, kind: str = "fi") -> None:
        """Put down an arrow head with its tip at (x, y); `direction` is -1 left, +1 right."""
        back = x - 4.2 * direction
        self.polygon([(x, y), (back, y - 1.6), (back, y + 1.6)], kind)

    def finished(self, title: str, theme: Theme | None) -> str:
        """Return the SVG; with a theme it stands by itself, without it the page has the rules."""
        style = f"<style>{style_of(theme)}</style>" if theme else ""
        ground = (
            f'<rect class="bg" width="{_n(self.width)}" height="{_n(self.height)}"/>'
            if theme
            else ""
        )
        size = f'width="{_n(self.width)}" height="{_n(self.height)}"' if theme else ""
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" class="fg" role="img" {size} '
            f'viewBox="0 0 {_n(self.width)} {_n(self.height)}">'
            f"<title>{escape(spoken(title))}</title>{style}{ground}{''.join(self.parts)}</svg>"
        )


def _n(value: float) -> str:
    return f"{round(value, 2):g}"


def text_width(words: str, size: float) -> float:
    """Return about how wide text will be, with room for the wider letters of other families."""
    words = spoken(words)
    narrow = sum(words.count(sign) for sign in " .,:;il|\N{NO-BREAK SPACE}")
    return size * (0.56 * (len(words) - narrow) + 0.28 * narrow)


def nice_ticks(low: float, high: float, wanted: int) -> list[float]:
    """Return ticks at 1, 2 or 5 times a power of ten within [low, high].

    >>> nice_ticks(0.0, 9.3, 5)
    [0.0, 2.0, 4.0, 6.0, 8.0]
    """
    span = high - low
    if not span > 0.0 or not math.isfinite(span):
        return [low]
    raw = span / max(wanted, 1)
    power = 10.0 ** math.floor(math.log10(raw))
    ticks: list[float] = []
    # The widest step that gives no more than was asked for; a narrower one where only one fits.
    for multiple in (10.0, 5.0, 2.0, 1.0, 0.5, 0.2):
        if len(ticks) > 1 and multiple * power < raw * 0.999:
            break
        step = multiple * power
        first = math.ceil(low / step - 1e-9)
        last = math.floor(high / step + 1e-9)
        ticks = [index * step + 0.0 for index in range(first, last + 1)]
    return ticks


def tick_text(tick: float, ticks: Sequence[float]) -> Figure:
    """Return a tick's number with the decimals that its axis needs."""
    step = abs(ticks[1] - ticks[0]) if len(ticks) > 1 else abs(tick) or 1.0
    places = max(0, -math.floor(math.log10(step) + 1e-9))
    text = f"{tick:.{places}f}"
    return Figure(text.replace("-", "\N{MINUS SIGN}"), tick)


@dataclass(frozen=True)
class Panel:
    """A rectangle of paper with its two scales."""

    x: float
    y: float
    width: float
    height: float
    from_t: float
    to_t: float
    from_p: float
    to_p: float

    def at_t(self, t: float) -> float:
        """Return where a time lies, kept within the panel."""
        part = (t - self.from_t) / (self.to_t - self.from_t)
        return self.x + self.width * min(max(part, 0.0), 1.0)

    def at_p(self, p: float) -> float:
        """Return where a pressure lies, kept within the panel."""
        part = (p - self.from_p) / (self.to_p - self.from_p)
        return self.y + self.height * (1.0 - min(max(part, 0.0), 1.0))

    def points(self, t: NDArray[np.float64], p: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return points on paper, shape (N, 2)."""
        x = self.x + self.width * (t - self.from_t) / (self.to_t - self.from_t)
        y = self.y + self.height * (1.0 - (p - self.from_p) / (self.to_p - self.from_p))
        return np.column_stack(
            [np.clip(x, self.x, self.x + self.width), np.clip(y, self.y, self.y + self.height)]
        )

    @property
    def right(self) -> float:
        """Right edge."""
        return self.x + self.width

    @property
    def bottom(self) -> float:
        """Lower edge."""
        return self.y + self.height


def decimated(
    t: NDArray[np.float64], p: NDArray[np.float64], columns: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return a trace thinned so that it looks the same at so many columns of paper.

    First, lowest, highest and last sample of each column are kept, so that no peak is lost.

    Parameters
    ----------
    t, p : ndarray of shape (N,)
        Time, increasing, and pressure
    columns : int
        Columns of paper

    Returns
    -------
    tuple of ndarray
        Time and pressure, at most 4 x `columns` samples
    """
    if t.size <= 4 * columns:
        return t, p
    starts = np.unique(np.searchsorted(t, np.linspace(t[0], t[-1], columns + 1)[:-1]))
    ends = np.append(starts[1:], t.size)
    kept = np.empty((starts.size, 4), dtype=np.intp)
    for row, (start, end) in enumerate(zip(starts.tolist(), ends.tolist(), strict=True)):
        part = p[start:end]
        kept[row] = start, start + part.argmin(), start + part.argmax(), end - 1
    kept.sort(axis=1)
    chosen = np.unique(kept)
    return t[chosen], p[chosen]


def legend(
    drawing: Drawing, x: float, y: float, width: float, size: float, entries: Sequence[str]
) -> None:
    """Draw a legend of shape and word, wrapped to `width`; `y` is the first row's base line."""
    for name, (at, row) in zip(entries, _legend_places(width, size, entries), strict=True):
        base = y + row * (size + 4.0)
        _swatch(drawing, name, x + at, base - 0.32 * size)
        drawing.text(x + at + 15.0, base, LEGEND_WORDS[name], size=size, kind="mu")


def legend_rows(width: float, size: float, entries: Sequence[str]) -> int:
    """Return how many rows the legend takes."""
    return 1 + max((row for _, row in _legend_places(width, size, entries)), default=0)


def _legend_places(width: float, size: float, entries: Sequence[str]) -> list[tuple[float, int]]:
    places = []
    at, row = 0.0, 0
    for name in entries:
        wide = 15.0 + text_width(LEGEND_WORDS[name], size)
        if at > 0.0 and at + wide > width:
            at, row = 0.0, row + 1
        places.append((at, row))
        at += wide + 8.0
    return places


LEGEND_WORDS = {
    "trace": say("gauge pressure"),
    "opening": say("opening (lift-off)"),
    "closing": say("closing"),
    "stroke": say("lever stroke"),
    "fit": say("fit to decay"),
    "window": say("window"),
}
"""What each mark means."""


def _swatch(drawing: Drawing, name: str, x: float, y: float) -> None:
    if name == "trace":
        drawing.line(x, y, x + 12.0, y, "tr")
    elif name == "opening":
        drawing.circle(x + 6.0, y, 1.9, "ho")
    elif name == "closing":
        drawing.line(x + 3.5, y, x + 8.5, y, "in")
    elif name == "stroke":
        drawing.rectangle(x, y - 3.0, 12.0, 6.0, "bd")
        drawing.line(x, y - 3.0, x + 12.0, y - 3.0, "in")
    elif name == "fit":
        drawing.line(x, y, x + 12.0, y, "da")
    elif name == "window":
        drawing.line(x, y, x + 12.0, y, "do")


def hatched(drawing: Drawing, x: float, y: float, width: float, height: float) -> None:
    """Draw an area hatched with slanting lines (drawn out: a pattern fill costs more in a PDF)."""
    drawing.rectangle(x, y, width, height, "bd")
    step = 4.0
    strokes = []
    offset = -height + step
    while offset < width:
        left, right = max(offset, 0.0), min(offset + height, width)
        if right > left:
            strokes.append(
                f"M{_n(x + left)} {_n(y + height - (left - offset))}"
                f"L{_n(x + right)} {_n(y + height - (right - offset))}"
            )
        offset += step
    drawing.parts.append(f'<path class="gr" d="{"".join(strokes)}"/>')
