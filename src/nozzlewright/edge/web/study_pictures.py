"""Pictures of a study of fitters: its readings side by side, and where their scatter lies."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from markupsafe import Markup

from nozzlewright.analysis.gauge_study import GaugeStudy
from nozzlewright.edge.paper.svg import Drawing, nice_ticks, text_width, tick_text
from nozzlewright.edge.web.show import localised
from nozzlewright.edge.web.texts import _, said
from nozzlewright.report.fitter_study import ShareRow

TEXT = 9.0
_PAD = 4.0


def readings_picture(
    study: GaugeStudy, size: tuple[float, float], shown: Callable[[float], float], unit: str
) -> Markup:
    """Return the readings by injector and fitter.

    Parameters
    ----------
    study : GaugeStudy
        Its readings
    size : tuple of float
        Width and height, [pt]
    shown : callable
        A reading in the unit of the screen
    unit : str
        That unit, as it is printed
    """
    width, height = size
    drawing = Drawing(width, height)
    values = np.vectorize(shown, otypes=[float])(study.values)
    low, high = float(values.min()), float(values.max())
    spare = 0.06 * (high - low) or abs(high) * 0.01 or 1.0
    low, high = low - spare, high + spare
    ticks = nice_ticks(low, high, 5)
    names = [localised(tick_text(tick, ticks)) for tick in ticks]
    left = max(text_width(name, TEXT) for name in names) + 2.0 * _PAD
    top, bottom, right = TEXT + 2.0 * _PAD, height - TEXT - 2.0 * _PAD, width - 1.0

    def at(value: float) -> float:
        return bottom - (bottom - top) * (value - low) / (high - low)

    drawing.text(0.0, TEXT, unit, size=TEXT, kind="mu")
    for tick, name in zip(ticks, names, strict=True):
        drawing.text(left - _PAD, at(tick) + 0.34 * TEXT, name, size=TEXT, kind="mu", anchor="end")
    wide = (right - left) / len(study.parts)
    every = 1 + int(max(text_width(part, TEXT) for part in study.parts) // max(wide - 2.0, 1.0))
    for column in range(0, len(study.parts), 2):
        drawing.rectangle(left + column * wide, top, wide, bottom - top, "bd")
    for tick in ticks:
        drawing.line(left, at(tick), right, at(tick), "gr")
    for column, part in enumerate(study.parts):
        x = left + column * wide
        if column % every == 0:
            drawing.text(
                x + wide / 2.0, height - _PAD, part[:14], size=TEXT, kind="mu", anchor="middle"
            )
        _column(drawing, values[column], x, wide, at)
    drawing.line(left, bottom, right, bottom, "ax")
    return Markup(drawing.finished(_("Readings by injector and fitter"), None))  # noqa: S704


def _column(
    drawing: Drawing, cells: np.ndarray, x: float, wide: float, at: Callable[[float], float]
) -> None:
    """Draw one injector: each fitter's readings on a line, their means joined."""
    step = wide / (len(cells) + 1)
    half = min(3.2, 0.36 * step)
    places = [x + step * (place + 1) for place in range(len(cells))]
    means = [at(float(readings.mean())) for readings in cells]
    drawing.polyline(np.column_stack([places, means]), "tr")
    for place, mean, readings in zip(places, means, cells, strict=True):
        drawing.line(place, at(float(readings.min())), place, at(float(readings.max())), "mw")
        for reading in readings.tolist():
            drawing.circle(place, at(reading), min(1.7, half), "hm")
        drawing.line(place - half, mean, place + half, mean, "wh")


def shares_picture(rows: Sequence[ShareRow], width: float) -> Markup:
    """Return bars of the shares of the variance, those that add up to the whole."""
    known = [row for row in rows if row.variance is not None]
    tall = 2.0 * TEXT + 3.0 * _PAD
    drawing = Drawing(width, tall * max(len(known), 1))
    room = width - text_width("100 %", TEXT) - 2.0 * _PAD
    for place, row in enumerate(known):
        y = place * tall
        size = room * min(max(row.variance or 0.0, 0.0), 1.0)
        drawing.text(0.0, y + TEXT, said(row.name), size=TEXT)
        bar = y + TEXT + _PAD
        drawing.rectangle(0.0, bar, room, TEXT, "bd")
        drawing.rectangle(0.0, bar, size, TEXT, "pt")
        drawing.text(
            size + _PAD if size < room - 1.0 else room + _PAD,
            bar + 0.85 * TEXT,
            said(row.of_variance),
            size=TEXT,
            kind="st",
        )
    return Markup(drawing.finished(_("Where the variance lies"), None))  # noqa: S704
