r"""What a gauge's certificate or class says about the pressures it shows.

A gauge error is common to all readings of one sitting: it hardly changes between the first and
the last injector of a set. So it is carried as a named cause with the sitting as its scope, and
cancels in a difference of two readings taken at the same pressure.

Three cases:

certificate
    The errors of indication at the calibration points are described by the plainest polynomial
    (up to a parabola) that the points ask for, and taken off. What the certificate states as
    standard uncertainty stems mostly from the reference standard, thus is common to all points
    and does not average out: it is carried whole as ``gauge level``. The scatter of the points
    round the polynomial gives further, smaller causes, ``gauge certificate, offset`` and, as
    far as the polynomial goes, ``slope`` and ``bend``.
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
from functools import partial

import numpy as np
from numpy.typing import ArrayLike, NDArray

from nozzlewright.bench import CertificatePoint, Gauge
from nozzlewright.measurement import Calibration, Cause, Caution, fit_calibration
from nozzlewright.said import say

FloatArray = NDArray[np.float64]

LEVEL = say("gauge level")
RESOLUTION = say("gauge resolution")
CERTIFICATE = say("gauge certificate")

MAX_DEGREE = 2
"""Highest polynomial for the errors of a certificate; a parabola fits a bent tube or a cell."""
FEWEST_TO_CHOOSE = 5
CRITERION_GAIN = 2.0
"""By how much the corrected Akaike criterion must fall for one more degree to be believed."""


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

    def correct(self, shown_pa: ArrayLike) -> FloatArray:
        """Return the pressure for pressures shown, any shape, [Pa]."""
        shown = np.asarray(shown_pa, dtype=np.float64)
        return shown - self._error(shown)

    def correct_one(self, shown_pa: float) -> float:
        """Return the pressure for one pressure shown, [Pa]."""
        return float(self.correct(shown_pa))

    def contributions(self, pressure_pa: float) -> dict[Cause, float]:
        """Return the standard uncertainty of the correction, split by cause, [Pa]."""
        return self._contributions(float(pressure_pa))

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
        return _from_certificate(gauge.certificate, level, resolution)
    if gauge.accuracy_class is not None and gauge.range_pa is not None:
        permissible = gauge.accuracy_class / 100.0 * gauge.range_pa
        standard = permissible / math.sqrt(3.0)
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


def _from_certificate(
    points: tuple[CertificatePoint, ...], level: Cause, resolution: float
) -> GaugeCorrection:
    points = tuple(sorted(points, key=lambda point: point.indicated_pa))
    shown = np.array([point.indicated_pa for point in points])
    error = np.array([point.indicated_pa - point.reference_pa for point in points])
    stated = np.array([point.standard_uncertainty_pa for point in points])
    fit = _plainest_polynomial(shown, error, level.scope)
    low, high = float(shown[0]), float(shown[-1])
    span = max(high - low, 1.0)

    def error_at(pressure: FloatArray) -> FloatArray:
        # Held at the ends: a parabola must not run away outside the points.
        return np.asarray(
            np.polynomial.polynomial.polyval(np.clip(pressure, low, high), fit.coefficients)
        )

    def contributions(pressure: float) -> dict[Cause, float]:
        stretch = 1.0 + max(low - pressure, pressure - high, 0.0) / span
        parts = {level: float(np.interp(pressure, shown, stated)) * stretch}
        scatter = fit.at(min(max(pressure, low), high)).contributions
        if fit.degrees_of_freedom > 0:
            parts |= {cause: part * stretch for cause, part in scatter.items()}
        return parts

    cautions: tuple[Caution, ...] = ()
    if len(points) < 3:
        text = say(
            "only {count} point(s): the error between and beyond is taken as a line",
            count=len(points),
        )
        cautions = (Caution(say("short certificate"), text),)
    return GaugeCorrection(level, cautions, resolution, True, error_at, contributions)


def _plainest_polynomial(shown: FloatArray, error: FloatArray, scope: str) -> Calibration:
    """Return the polynomial of the lowest degree that the points ask for.

    A higher degree must lower the corrected Akaike criterion clearly; points up and down at one
    pressure (hysteresis) count as scatter. Fewer than five points cannot choose: they get a line.
    """
    count, distinct = shown.size, np.unique(shown).size
    line = min(1, distinct - 1)
    fitted = partial(fit_calibration, shown, error, unit="Pa", scope=scope, name=CERTIFICATE)
    if count < FEWEST_TO_CHOOSE:
        if count < line + 2:
            # Through the points: nothing is left over to tell a scatter.
            exactly = np.full(count, 1.0)
            return fitted(degree=line, standard_uncertainties=exactly)
        return fitted(degree=line)
    best: tuple[float, Calibration] | None = None
    for degree in range(min(MAX_DEGREE, distinct - 1) + 1):
        terms = degree + 1
        spare = count - terms - 2
        if spare <= 0:
            break
        fit = fitted(degree=degree)
        left = fit.residual_standard_deviation**2 * fit.degrees_of_freedom / count
        criterion = count * math.log(left + 1e-12 * (1.0 + float(np.mean(error**2))))
        criterion += 2.0 * (terms + 1) * count / spare
        if best is None or criterion < best[0] - CRITERION_GAIN:
            best = criterion, fit
    return best[1] if best is not None else fitted(degree=line)
