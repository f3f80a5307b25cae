r"""What a gauge's certificate or class says about the pressures it shows.

A gauge error is common to all readings of one sitting: it hardly changes between the first and
the last injector of a set. So it is carried as a named cause with the sitting as its scope, and
cancels in a difference of two readings taken at the same pressure.

Three cases:

certificate
    The errors of indication at the calibration points are described by a line, or a parabola where
    the points ask for it (:mod:`nozzlewright.analysis.certificate`), and taken off. What the
    certificate states as standard uncertainty stems mostly from the reference standard, thus is
    common to all points and does not average out: between the points it is interpolated and carried
    whole as ``gauge level``. The scatter of the points round the polynomial gives further, smaller
    causes, ``gauge certificate, offset`` and, as far as the polynomial goes, ``slope`` and
    ``bend``. Where the gauge showed one thing going up and another going down, half of the
    difference is the bound of ``gauge hysteresis``: it has one sign for a reading with the pressure
    rising and the other for one with it falling. Where two certificates told a drift, it grows with
    the time since the last one: ``gauge drift``. Beyond its points a certificate says nothing: a
    reading there goes by the class, or is called ``gauge unknown``.
class
    EN 837-1 allows an error of :math:`a = \text{class} \cdot \text{span} / 100` at any point, of
    which nothing else is known: rectangular, :math:`u = a / \sqrt 3` (JCGM 100:2008, 4.3.7).
    The error is taken as a shift that is the same at all pressures. Real errors are a mix of
    shift and slope; a slope leaves the time of a drop by a *ratio* of pressures as it is, so the
    shift is the careful choice there, and for one pressure the two are alike.
neither
    The values stay, with the caution ``gauge unknown``: their uncertainty then lacks the level.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from nozzlewright.analysis.certificate import fit_certificate, years_between
from nozzlewright.bench import Gauge
from nozzlewright.measurement import Cause, Caution
from nozzlewright.said import in_bar, pressure_figure, say

FloatArray = NDArray[np.float64]

LEVEL = say("gauge level")
RESOLUTION = say("gauge resolution")
HYSTERESIS = say("gauge hysteresis")
TURN = say("turn of the gauge")
DRIFT = say("gauge drift")
BEYOND_SHARE = 0.02
"""Share of a certificate's range by which a reading may lie beyond its end and still count."""


@dataclass(frozen=True)
class GaugeCorrection:
    """A gauge's error of indication and what remains unknown of it."""

    level: Cause
    """The error common to all readings of the sitting."""
    cautions: tuple[Caution, ...]
    resolution_standard_uncertainty_pa: float
    """Of one reading, from the smallest step shown, :math:`q / \\sqrt{12}`; 0 where unknown."""
    known: bool
    """False where neither class nor certificate says anything of the level."""
    _error: Callable[[FloatArray], FloatArray] = field(repr=False)
    _contributions: Callable[[float], dict[Cause, float]] = field(repr=False)
    range_pa: tuple[float, float] = (-math.inf, math.inf)
    """Between what pressures the level is known, [Pa]."""

    def correct(self, shown_pa: ArrayLike) -> FloatArray:
        """Return the pressure for pressures shown, any shape, [Pa]."""
        shown = np.asarray(shown_pa, dtype=np.float64)
        return shown - self._error(shown)

    def correct_one(self, shown_pa: float) -> float:
        """Return the pressure for one pressure shown, [Pa]."""
        return float(self.correct(shown_pa))

    def contributions(self, pressure_pa: float, *, falling: bool = False) -> dict[Cause, float]:
        """Return the standard uncertainty of the correction, split by cause, [Pa].

        `falling`: whether the pressure had come down to the reading.
        """
        parts = self._contributions(float(pressure_pa))
        if falling:
            return {c: -part if c.name == HYSTERESIS else part for c, part in parts.items()}
        return parts

    def half_turn(self, pressure_pa: float) -> float:
        """Return half of what the gauge may hold back of a fall that follows on a rise, [Pa].

        As the pressure turns, the pointer goes from the branch of rising readings to that of
        falling ones: it lags by anything from nothing (the loop is one of the tube's, and so short
        a fall goes through little of it) to the whole hysteresis (slack and friction, taken up at
        once). Half of it is added to such a fall. That half is its standard uncertainty too, as
        both ends are as likely as what lies between (JCGM 100:2008, 4.3.8 for the one-sided bound;
        the deviation of a value that is at either end).
        """
        parts = self._contributions(float(pressure_pa))
        return math.sqrt(3.0) * sum(part for c, part in parts.items() if c.name == HYSTERESIS)

    def cautions_at(self, shown_pa: float) -> tuple[Caution, ...]:
        """Return the cautions of a reading, that it lies beyond the certificate among them."""
        low, high = self.range_pa
        margin = BEYOND_SHARE * (high - low) if math.isfinite(high) else 0.0
        if low - margin <= shown_pa <= high + margin:
            return self.cautions
        text = say(
            "the reading of {reading} lies beyond the certificate, which goes from {low} to "
            "{high}: there the uncertainty lacks the error of its level",
            reading=in_bar(shown_pa),
            low=pressure_figure(low),
            high=in_bar(high),
        )
        return (*self.cautions, Caution(say("gauge unknown"), text))

    def standard_uncertainty(self, pressure_pa: float) -> float:
        """Return the standard uncertainty of the correction at a pressure, [Pa]."""
        return math.hypot(*self.contributions(pressure_pa).values(), 0.0)


def gauge_correction(gauge: Gauge, sitting: str) -> GaugeCorrection:
    """Return what is known of a gauge's level, the best source first.

    Parameters
    ----------
    gauge : Gauge
        Certificate, else class and range
    sitting : str
        Scope of the causes: within it the error is one and the same

    Returns
    -------
    GaugeCorrection
        Correction (zero for a class), contributions to the uncertainty, cautions

    Notes
    -----
    Source: EN 837-1:1996 (class as permissible error in per cent of span); JCGM 100:2008, 4.3.7
    and H.3 (calibration by a line). That a certificate's stated uncertainty is common to its
    points is common practice, no source.

    Examples
    --------
    >>> dial = gauge_correction(Gauge(range_pa=400e5, accuracy_class=1.0), "Monday")
    >>> round(dial.standard_uncertainty(175e5))
    230940
    """
    level = Cause(LEVEL, sitting)
    step = gauge.resolution_pa or 0.0
    resolution = step / math.sqrt(12.0)
    if gauge.certificate:
        return _from_certificate(gauge, level, resolution)
    if gauge.accuracy_class is not None and gauge.range_pa is not None:
        standard = _class_uncertainty(gauge) or 0.0
        level = Cause(LEVEL, sitting, rectangular=True)
        return GaugeCorrection(
            level, (), resolution, True, np.zeros_like, lambda _pressure: {level: standard}
        )
    missing = (
        say("the gauge's range is not stated: the uncertainty lacks the error of its level")
        if gauge.accuracy_class is not None
        else say(
            "the gauge's class or certificate is not stated: the uncertainty lacks the error of "
            "its level"
        )
    )
    caution = Caution(say("gauge unknown"), missing)
    return GaugeCorrection(level, (caution,), resolution, False, np.zeros_like, lambda _p: {})


def _from_certificate(gauge: Gauge, level: Cause, resolution: float) -> GaugeCorrection:
    fit = fit_certificate(gauge.certificate, level.scope)
    low, high = fit.curve.range
    span = max(high - low, 1.0)
    by_class = _class_uncertainty(gauge)
    way = Cause(HYSTERESIS, level.scope, rectangular=True)
    moved, drift_caution = _drift(gauge, level.scope)

    def contributions(pressure: float) -> dict[Cause, float]:
        beyond = max(low - pressure, pressure - high, 0.0)
        stretch = 1.0 + beyond / span
        stated = fit.stated_at(pressure) * stretch
        if beyond > BEYOND_SHARE * span and by_class is not None:
            stated = max(stated, by_class)
        parts = {level: stated, **moved}
        if (hysteresis := fit.hysteresis_at(pressure)) != 0.0:
            parts[way] = hysteresis / 2.0 / math.sqrt(3.0) * stretch
        curve = fit.curve_at(min(max(pressure, low), high))
        return parts | {cause: part * stretch for cause, part in curve.items()}

    cautions = list(drift_caution)
    if len(fit.points) < 3:
        text = say(
            "only {count} point(s): the error between and beyond is taken as a line",
            count=len(fit.points),
        )
        cautions.append(Caution(say("short certificate"), text))
    known = (-math.inf, math.inf) if by_class is not None or len(fit.points) < 2 else (low, high)
    return GaugeCorrection(
        level, tuple(cautions), resolution, True, fit.errors_at, contributions, known
    )


def _class_uncertainty(gauge: Gauge) -> float | None:
    """Return what the class alone leaves, [Pa]; None where class or range are not stated."""
    if gauge.accuracy_class is None or gauge.range_pa is None:
        return None
    return gauge.accuracy_class / 100.0 * gauge.range_pa / math.sqrt(3.0)


def _drift(gauge: Gauge, scope: str) -> tuple[dict[Cause, float], tuple[Caution, ...]]:
    """Return what a drift has grown to since the last calibration, rectangular."""
    if not gauge.drift_pa_per_year:
        return {}, ()
    years = years_between(gauge.calibrated_on, gauge.used_on)
    if years is None:
        text = say(
            "its drift is stated but not the dates of calibration and sitting: the drift of one "
            "year is taken"
        )
        cautions: tuple[Caution, ...] = (Caution(say("gauge drift"), text),)
        years = 1.0
    else:
        cautions = ()
    grown = gauge.drift_pa_per_year * max(years, 0.0) / math.sqrt(3.0)
    return {Cause(DRIFT, scope, rectangular=True): grown}, cautions
