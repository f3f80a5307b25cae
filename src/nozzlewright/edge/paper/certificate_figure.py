"""A gauge's certificate as a picture: errors, the curve through them, its doubt, what is left."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from nozzlewright.analysis.certificate import CertificateFit
from nozzlewright.edge.paper.svg import (
    LIGHT,
    Drawing,
    Panel,
    Theme,
    nice_ticks,
    text_width,
    tick_text,
)
from nozzlewright.said import PRESSURE_UNITS_PA

_SMALL, _LABEL = 7.4, 8.0
_LEFT, _RIGHT = 36.0, 6.0
_CURVE_POINTS = 81
K95 = 1.96
"""From a standard uncertainty to the band drawn, 95 %."""

Floats = NDArray[np.float64]


def certificate_figure(
    fit: CertificateFit,
    size: tuple[float, float] = (480.0, 300.0),
    theme: Theme | None = LIGHT,
    *,
    unit: str = "bar",
    printed: str = "",
    words: Callable[[str], str] = str,
    numbers: Callable[[str], str] = str,
) -> str:
    """Return errors of indication with curve and 95 % band, and the residuals below, as SVG.

    Parameters
    ----------
    fit : CertificateFit
        Points and curve
    size : tuple of float
        Width and height, [pt]
    theme : Theme, optional
        Colours; None: the page that holds the figure has the rules
    unit, printed : str
        Unit to show pressures in, one of :data:`nozzlewright.said.PRESSURE_UNITS_PA`, and how it
        is spelled
    words : callable
        Puts the figure's few words into the reader's language
    numbers : callable
        Gives a number of an axis the reader's decimal sign
    """
    width, height = size
    factor, name = 1.0 / PRESSURE_UNITS_PA[unit], printed or unit
    shown, error = fit.shown_pa * factor, fit.error_pa * factor
    half_way = np.array([point.hysteresis_pa for point in fit.points]) * factor / 2.0
    stated = K95 * fit.stated_pa * factor
    low, high = (end * factor for end in fit.curve.range)
    grid = np.linspace(low, high, _CURVE_POINTS)
    curve = fit.errors_at(grid / factor) * factor
    band = np.array([_band(fit, at / factor) for at in grid]) * factor

    drawing = Drawing(width, height)
    pad = 0.04 * max(high - low, 1.0)
    upper_height, gap = 0.58 * (height - 66.0), 30.0
    above = Panel(
        _LEFT, 16.0, width - _LEFT - _RIGHT, upper_height, low - pad, high + pad,
        *_span([*(curve - band), *(curve + band), *(error - np.abs(half_way)),
                *(error + np.abs(half_way)), 0.0]),
    )  # fmt: skip
    residual = fit.residuals_pa * factor
    below = Panel(
        _LEFT, above.bottom + gap, above.width, height - above.bottom - gap - 24.0,
        low - pad, high + pad, *_span([*(residual - stated), *(residual + stated), 0.0]),
    )  # fmt: skip
    _ground(drawing, above, words("error"), name, numbers)
    edge = above.points(grid, curve + band).tolist()
    edge += above.points(grid[::-1], (curve - band)[::-1]).tolist()
    drawing.polygon([(x, y) for x, y in edge], "ti")
    _zero(drawing, above)
    drawing.polyline(above.points(grid, curve), "wh")
    for x, y, way in zip(shown, error, half_way, strict=True):
        at = above.at_t(float(x))
        if way:
            _branch(drawing, at, above.at_p(float(y - way)), upward=True)
            _branch(drawing, at, above.at_p(float(y + way)), upward=False)
        else:
            drawing.circle(at, above.at_p(float(y)), 2.4, "ho")
    _ground(drawing, below, words("left over"), name, numbers)
    _zero(drawing, below)
    for x, y, u in zip(shown, residual, stated, strict=True):
        at = below.at_t(float(x))
        drawing.line(at, below.at_p(float(y - u)), at, below.at_p(float(y + u)), "mw")
        drawing.circle(at, below.at_p(float(y)), 2.4, "pt")
    _shown_axis(drawing, below, words("shown"), name, numbers)
    return drawing.finished(_description(fit, factor, name, words), theme)


def _band(fit: CertificateFit, shown_pa: float) -> float:
    low, high = fit.curve.range
    return fit.reach_at(min(max(shown_pa, low), high))


def _span(values: list[float]) -> tuple[float, float]:
    low, high = float(min(values)), float(max(values))
    room = 0.08 * (high - low) or 1.0
    return low - room, high + room


def _zero(drawing: Drawing, panel: Panel) -> None:
    drawing.line(panel.x, panel.at_p(0.0), panel.right, panel.at_p(0.0), "ax")


def _ground(
    drawing: Drawing, panel: Panel, label: str, unit: str, numbers: Callable[[str], str]
) -> None:
    ticks = nice_ticks(panel.from_p, panel.to_p, max(2, round(panel.height / 26.0)))
    for tick in ticks:
        y = panel.at_p(tick)
        drawing.line(panel.x, y, panel.right, y, "gr")
        text = numbers(tick_text(tick, ticks))
        drawing.text(panel.x - 4.0, y + 0.35 * _SMALL, text, size=_SMALL, kind="mu", anchor="end")
    drawing.text(0.0, panel.y - 6.0, f"{label}, {unit}", size=_LABEL, kind="mu")


def _shown_axis(
    drawing: Drawing, panel: Panel, label: str, unit: str, numbers: Callable[[str], str]
) -> None:
    name = f"{label}, {unit}"
    ticks = nice_ticks(panel.from_t, panel.to_t, max(2, round(panel.width / 60.0)))
    base = panel.bottom + 4.0 + _SMALL
    room = panel.right - text_width(name, _LABEL) - 14.0
    for tick in ticks:
        x = panel.at_t(tick)
        drawing.line(x, panel.bottom, x, panel.bottom + 3.0, "ax")
        if x < room:
            text = numbers(tick_text(tick, ticks))
            drawing.text(x, base, text, size=_SMALL, kind="mu", anchor="middle")
    drawing.line(panel.x, panel.bottom, panel.right, panel.bottom, "ax")
    drawing.text(panel.right, base, name, size=_LABEL, kind="mu", anchor="end")


def _branch(drawing: Drawing, x: float, y: float, *, upward: bool) -> None:
    tip = -2.8 if upward else 2.8
    corners = [(x, y + tip), (x - 2.8, y - 0.7 * tip), (x + 2.8, y - 0.7 * tip)]
    drawing.polygon(corners, "ho")


def _description(fit: CertificateFit, factor: float, unit: str, words: Callable[[str], str]) -> str:
    points = "; ".join(
        f"{shown * factor:.4g} {unit}: {error * factor:+.3g}"
        for shown, error in zip(fit.shown_pa, fit.error_pa, strict=True)
    )
    return f"{words('Errors of the gauge')}: {points}"
