"""A budget as bars: which cause matters most."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from nozzlewright.edge.paper.svg import LIGHT, Drawing, Theme, text_width
from nozzlewright.report.budget import SMALL_SHARE, Budget, heaped
from nozzlewright.report.wording import ValueText
from nozzlewright.said import Said, figure, joined, say

MOST_BARS = 8
_TEXT, _SMALL = 8.0, 7.2
_ROW = 23.0
_BAR = 7.0


def budget_height(budget: Budget, most: int = MOST_BARS) -> float:
    """Return the height that the picture of a budget takes, [pt]."""
    return _ROW * (len(heaped(budget, most)) + 1) + 4.0


def budget_figure(
    budget: Budget,
    width: float = 480.0,
    theme: Theme | None = LIGHT,
    *,
    most: int = MOST_BARS,
    words: Callable[[str], str] = str,
) -> str:
    """Return the bars of a budget, the largest cause on top, as SVG.

    The length of a bar is its standard uncertainty; the outlined one is all of them together. A
    bar's length is not its share: the squares add up, so the share of the variance is said too.

    Parameters
    ----------
    budget : Budget
        What to draw
    width : float
        Of the picture, [pt]; its height follows (:func:`budget_height`)
    theme : Theme, optional
        Colours; None: the page that holds the figure has the rules
    most : int
        Bars at most; what is left goes into one
    words : callable
        Puts what is said into the reader's language and unit
    """
    bars = heaped(budget, most)
    drawing = Drawing(width, budget_height(budget, most))
    y = 0.0
    for at, (name, size, length, share) in enumerate(bars):
        told = joined(" · ", [size, _percent(share)])
        _bar(drawing, y, width, (words(name), words(told)), length, "mu" if at else "pt")
        y += _ROW
    together = words(budget.standard_text)
    _bar(drawing, y, width, (words("all together (u)"), together), 1.0, "")
    return drawing.finished(budget_description(budget, most, words), theme)


def _bar(
    drawing: Drawing,
    y: float,
    width: float,
    texts: tuple[str, str],
    length: float,
    kind: str,
) -> None:
    name, told = texts
    room = width - text_width(told, _SMALL) - 6.0
    drawing.text(0.5, y + _TEXT, _shortened(name, room, _TEXT), size=_TEXT)
    drawing.text(width - 0.5, y + _TEXT, told, size=_SMALL, kind="mu", anchor="end")
    top = y + _TEXT + 3.0
    long = max((width - 1.0) * length, 1.0)
    if kind:
        drawing.rectangle(0.5, top, width - 1.0, _BAR, "bd")
        drawing.rectangle(0.5, top, long, _BAR, kind)
    else:
        drawing.rectangle(0.5, top, long, _BAR, "hm")


def _shortened(words: str, room: float, size: float) -> str:
    if text_width(words, size) <= room:
        return words
    kept = words
    while kept and text_width(f"{kept}…", size) > room:
        kept = kept[:-1]
    return f"{kept.rstrip()}…"


def _percent(share: float) -> str:
    return (
        f"{100.0 * share:.0f}\N{NO-BREAK SPACE}%"
        if share >= 0.005
        else "<\N{NO-BREAK SPACE}1\N{NO-BREAK SPACE}%"
    )


def budget_description(
    budget: Budget, most: int = MOST_BARS, words: Callable[[str], str] = str
) -> str:
    """Return what the bars show, in words."""
    parts: Sequence[str] = [
        f"{words(name)} {words(size)} ({_percent(share)})"
        for name, size, _, share in heaped(budget, most)
    ]
    return f"{words(budget.name)}: {'; '.join(parts)}"


# -- all in one bar --------------------------------------------------------------------------------

STRIP_HEIGHT = 8.0
_SEGMENTS = ("pt", "mu", "ti", "bd")
"""Fills of the largest causes, in their order; what is left is plain."""


def budget_strip(value: ValueText, width: float = 150.0, theme: Theme | None = LIGHT) -> str:
    """Return the shares of a value's causes in its variance as one bar, the largest left, as SVG.

    Parameters
    ----------
    value : ValueText
        A measured value with its budget
    width : float
        Of the picture, [pt]
    theme : Theme, optional
        Colours; None: the page that holds the figure has the rules
    """
    drawing = Drawing(width, STRIP_HEIGHT)
    x, whole = 0.5, width - 1.0
    for kind, share in zip(_SEGMENTS, value.shares, strict=False):
        long = share * whole
        drawing.rectangle(x, 0.5, long, STRIP_HEIGHT - 1.0, kind)
        x += long
        if x < whole:
            drawing.line(x, 0.5, x, STRIP_HEIGHT - 0.5, "in")
    for y in (0.5, STRIP_HEIGHT - 0.5):
        drawing.line(0.5, y, width - 0.5, y, "ax")
    for at in (0.5, width - 0.5):
        drawing.line(at, 0.5, at, STRIP_HEIGHT - 0.5, "ax")
    return drawing.finished(strip_words(value), theme)


def strip_words(value: ValueText) -> Said:
    """Return what the strip shows, in words."""
    return joined(
        "; ",
        [
            say("{cause} {share}", cause=cause, share=figure(share, ".0%"))
            for (cause, _), share in zip(value.budget, value.shares, strict=True)
            if share >= SMALL_SHARE
        ],
    )
