r"""What the points of a gauge's certificate say between them, and whether they can be believed.

The errors of indication are described by a line, or by a parabola where the points ask for it. One
shift for all pressures is not tried: points that scatter do not show a slope that is there, and a
shift would say that there is none (counted in decision 0018). The rule that chooses: the parabola
is taken only where it lowers the corrected Akaike criterion

.. math:: n \ln\frac{\chi^2}{n} + 2 k \frac{n}{n - k - 1},
          \qquad \chi^2 = \sum_i \left(\frac{\bar u}{u_i}\right)^2 r_i^2

by :data:`CRITERION_GAIN` or more (r residuals, k parameters with the scatter among them, u stated
standard uncertainties, their geometric mean :math:`\bar u`; Hurvich and Tsai, Biometrika 76 (1989)
297, from memory). Fewer than five points cannot choose: they get a line.

The points weigh as :math:`1/u_i^2`. How far the curve is known follows from their scatter about
it, which few points tell badly: its causes carry the degrees of freedom. The stated uncertainty,
which is mostly common to all points, is carried beside it and does not average out.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from functools import partial
from itertools import permutations

import numpy as np
from numpy.typing import NDArray

from nozzlewright.bench import CertificatePoint
from nozzlewright.measurement import Calibration, Cause, NotMeasured, Quantity, fit_calibration
from nozzlewright.measurement.units import PRESSURE_UNITS
from nozzlewright.said import Said, figure, in_bar, pressure_figure, say

FloatArray = NDArray[np.float64]

CERTIFICATE = say("gauge certificate")

MAX_DEGREE = 2
"""Highest polynomial for the errors of a certificate; a parabola fits a bent tube or a cell."""
FEWEST_TO_CHOOSE = 5
CRITERION_GAIN = 2.0
"""By how much the corrected Akaike criterion must fall for one more degree to be believed."""
DAYS_IN_YEAR = 365.25
LEAST_YEARS = 0.1
"""Two certificates that are closer than this tell repeatability, not drift."""
FAR_OFF = 0.2
"""Share by which reference and indication may differ before a slip of the unit is suspected."""
ODD_CHANCE = 0.01
"""Chance below which the scatter of the points does not go with their stated uncertainty."""


@dataclass(frozen=True)
class Candidate:
    """A polynomial that was tried."""

    degree: int
    scatter_pa: float
    """Standard deviation of a point of average weight about it, [Pa]."""
    criterion: float
    """Corrected Akaike criterion; the lower the better."""


@dataclass(frozen=True)
class CertificateFit:
    """The errors of a gauge as a curve through the points of its certificate."""

    points: tuple[CertificatePoint, ...]
    """In the order of what was shown."""
    curve: Calibration
    """Error of indication against what is shown, [Pa]."""
    candidates: tuple[Candidate, ...]
    """What was tried, the lowest degree first; one alone where the points cannot choose."""

    @property
    def degree(self) -> int:
        """Of the curve: 0 a shift, 1 a line, 2 a parabola."""
        return len(self.curve.coefficients) - 1

    @property
    def shown_pa(self) -> FloatArray:
        """What was shown at each point, shape (N,), [Pa]."""
        return np.array([point.indicated_pa for point in self.points])

    @property
    def error_pa(self) -> FloatArray:
        """Shown less reference at each point, shape (N,), [Pa]."""
        return np.array([point.indicated_pa - point.reference_pa for point in self.points])

    @property
    def stated_pa(self) -> FloatArray:
        """Stated standard uncertainty at each point, shape (N,), [Pa]."""
        return np.array([point.standard_uncertainty_pa for point in self.points])

    @property
    def residuals_pa(self) -> FloatArray:
        """Error at each point less that of the curve, shape (N,), [Pa]."""
        return self.error_pa - self.errors_at(self.shown_pa)

    @property
    def chi_squared(self) -> float:
        """Squares of the residuals over the stated standard uncertainties, added up."""
        return float(np.sum((self.residuals_pa / self.stated_pa) ** 2))

    @property
    def chance(self) -> float | None:
        """Chance of scatter as large as this if the stated uncertainties were all of it.

        None where no point is left over. The stated uncertainty is an upper bound for it, being
        mostly common to the points: a chance near 1 is the rule.
        """
        if self.curve.degrees_of_freedom < 1:
            return None
        from scipy.special import chdtrc

        return float(chdtrc(self.curve.degrees_of_freedom, self.chi_squared))

    def errors_at(self, shown_pa: FloatArray) -> FloatArray:
        """Return the curve at pressures shown; beyond its ends it is held, [Pa]."""
        low, high = self.curve.range
        held = np.clip(shown_pa, low, high)
        return np.asarray(np.polynomial.polynomial.polyval(held, self.curve.coefficients))

    def stated_at(self, shown_pa: float) -> float:
        """Return the stated standard uncertainty between the points, [Pa]."""
        return float(np.interp(shown_pa, self.shown_pa, self.stated_pa))

    def hysteresis_at(self, shown_pa: float) -> float:
        """Return down less up between the points, [Pa]."""
        way = np.array([point.hysteresis_pa for point in self.points])
        return float(np.interp(shown_pa, self.shown_pa, way))

    def curve_at(self, shown_pa: float) -> dict[Cause, float]:
        """Return what is unknown of the curve, beside what is stated, by cause, [Pa].

        Two points have no scatter about their line: its height is known as stated, and its slope as
        if what is stated of either were its own.

        Raises
        ------
        ValueError
            Outside the points, where the certificate says nothing.
        """
        terms = list(self.curve.at(shown_pa).contributions.items())
        return dict(terms if self.curve.degrees_of_freedom > 0 else terms[1:])

    def standard_uncertainty_at(self, shown_pa: float) -> float:
        """Return the standard uncertainty of a correction: stated, curve and hysteresis, [Pa].

        Raises
        ------
        ValueError
            Outside the points, where the certificate says nothing.
        """
        return self._unknown_at(shown_pa).standard_uncertainty

    def reach_at(self, shown_pa: float) -> float:
        """Return half of the 95 % interval of a correction, [Pa].

        Raises
        ------
        ValueError
            Outside the points, where the certificate says nothing.
        """
        return self._unknown_at(shown_pa).coverage_interval[1]

    def _unknown_at(self, shown_pa: float) -> Quantity:
        curve = self.curve_at(shown_pa)
        way = hysteresis_uncertainty(self.hysteresis_at(shown_pa))
        parts = {
            **curve,
            Cause(say("gauge level"), self.curve.scope): self.stated_at(shown_pa),
            Cause(say("gauge hysteresis"), self.curve.scope, rectangular=True): way,
        }
        return Quantity(0.0, "Pa", parts)

    def correction_at(self, shown_pa: float) -> float:
        """Return what is to be added to a pressure shown, [Pa].

        Raises
        ------
        ValueError
            Outside the points, where the certificate says nothing.
        """
        return -self.curve.at(shown_pa).value


def hysteresis_uncertainty(hysteresis_pa: float) -> float:
    r"""Return the standard uncertainty that up and down leave to a reading, [Pa].

    The way is anywhere between the two branches, :math:`u = |h|/2/\sqrt 3` (JCGM 100:2008, 4.3.7).

    >>> round(hysteresis_uncertainty(0.6e5))
    17321
    """
    return abs(hysteresis_pa) / 2.0 / math.sqrt(3.0)


def fit_certificate(points: Sequence[CertificatePoint], scope: str) -> CertificateFit:
    """Return the plainest curve through the errors of a certificate; see the module for the rule.

    Parameters
    ----------
    points : sequence of CertificatePoint
        In any order; points up and down at one pressure count as scatter
    scope : str
        Within what its errors are one and the same

    Raises
    ------
    ValueError
        If there is no point.

    Examples
    --------
    >>> straight = [CertificatePoint(p * 1e5, p * 1.01e5, 5e3) for p in (0, 50, 100, 150, 200, 250)]
    >>> fit = fit_certificate(straight, "C-1")
    >>> fit.degree, round(fit.correction_at(101e5))
    (1, -100000)
    """
    ordered = tuple(sorted(points, key=lambda point: point.indicated_pa))
    if not ordered:
        raise ValueError("a certificate needs a point")
    shown = np.array([point.indicated_pa for point in ordered])
    error = np.array([point.indicated_pa - point.reference_pa for point in ordered])
    stated = np.array([point.standard_uncertainty_pa for point in ordered])
    count, distinct = shown.size, np.unique(shown).size
    line = min(1, distinct - 1)
    fitted = partial(
        fit_calibration, shown, error,
        standard_uncertainties=stated, relative=True, unit="Pa", scope=scope, name=CERTIFICATE,
    )  # fmt: skip
    if count < FEWEST_TO_CHOOSE:
        # Through the points where nothing is left over to tell a scatter.
        exactly = count < line + 2
        curve = fitted(degree=line, relative=not exactly)
        return CertificateFit(ordered, curve, (_candidate(curve, count, error),))
    tried: list[tuple[Candidate, Calibration]] = []
    best = 0
    for degree in range(line, min(MAX_DEGREE, distinct - 1) + 1):
        if count - (degree + 1) - 2 <= 0:
            break
        curve = fitted(degree=degree)
        tried.append((_candidate(curve, count, error), curve))
        if tried[-1][0].criterion < tried[best][0].criterion - CRITERION_GAIN:
            best = len(tried) - 1
    return CertificateFit(ordered, tried[best][1], tuple(candidate for candidate, _ in tried))


def _candidate(curve: Calibration, count: int, error: FloatArray) -> Candidate:
    terms = len(curve.coefficients)
    scatter = curve.residual_standard_deviation
    spare = count - terms - 2
    if spare <= 0:
        return Candidate(terms - 1, scatter, math.inf)
    left = scatter**2 * curve.degrees_of_freedom / count
    criterion = count * math.log(left + 1e-12 * (1.0 + float(np.mean(error**2))))
    criterion += 2.0 * (terms + 1) * count / spare
    return Candidate(terms - 1, scatter, criterion)


# -- whether it can be believed --------------------------------------------------------------------


def slip_of_unit(points: Sequence[CertificatePoint]) -> Said | None:
    """Return what is wrong where reference and indication are not in the same unit; else None.

    The ratio is the line through the origin of least absolute deviations: the median of the
    points' ratios, each weighing as its reference. A gauge whose pointer does not rest at zero is
    far off by ratio at its lowest points alone, and one row typed wrong is no change of the unit.

    >>> str(slip_of_unit([CertificatePoint(p * 1e6, p * 10.2e6, 1e4) for p in (5, 10, 20)]))
    'the gauge shows 10.2 times the reference: MPa against kgf/cm2'
    """
    shown = sorted(
        (p.indicated_pa / p.reference_pa, p.reference_pa)
        for p in points
        if p.reference_pa > 0.0 and p.indicated_pa > 0.0
    )
    if not shown:
        return None
    ratios, weights = np.array(shown).T
    ratio = float(ratios[np.searchsorted(np.cumsum(weights), 0.5 * np.sum(weights))])
    if abs(math.log(ratio)) < math.log1p(FAR_OFF):
        return None
    words = say("the gauge shows {ratio} times the reference", ratio=figure(ratio, ".3g"))
    pair = _units_apart(ratio)
    if pair is None:
        return words
    return say("{words}: {one} against {other}", words=words, one=pair[0], other=pair[1])


def _units_apart(ratio: float, tolerance: float = 0.03) -> tuple[str, str] | None:
    """Return two units of which the first is so many times the second."""
    usual = ("bar", "MPa", "kgf/cm2", "psi", "kPa")
    off, one, other = min(
        (abs(math.log(ratio * PRESSURE_UNITS[other] / PRESSURE_UNITS[one])), one, other)
        for one, other in permutations(usual, 2)
    )
    return (one, other) if off < tolerance else None


LIKE_ANOTHER_SCALE = (("kgf/cm2", "bar"), ("bar", "kgf/cm2"))


def doubts(
    fit: CertificateFit, range_pa: float | None = None, accuracy_class: float | None = None
) -> tuple[Said, ...]:
    """Return what a person should look into before a certificate is believed; it is usable.

    Parameters
    ----------
    fit : CertificateFit
        Points and curve
    range_pa : float, optional
        Span of the gauge's scale, [Pa]
    accuracy_class : float, optional
        Of EN 837-1, [%]
    """
    found: list[Said] = []
    points, errors = fit.points, fit.error_pa
    if len(points) < 3:
        found.append(
            say(
                "There are only {count} points: what lies between them is taken as a line. "
                "Calibrate at five or more.",
                count=len(points),
            )
        )
    if not np.any(errors) and not any(point.hysteresis_pa for point in points):
        found.append(
            say(
                "The gauge shows exactly the reference at every point: no gauge does. Are these "
                "readings, or the marks at which it was to be read?"
            )
        )
    if np.any(np.diff([point.reference_pa for point in points]) <= 0.0):
        found.append(
            say("What the gauge shows does not rise with the reference all along. Check the rows.")
        )
    found += _scale_doubts(fit)
    chance = fit.chance
    if chance is not None and chance < ODD_CHANCE:
        found.append(
            say(
                "The points scatter by {scatter} about the curve, more than their stated "
                "uncertainty allows. The scatter is carried beside it.",
                scatter=in_bar(fit.curve.residual_standard_deviation, ".2g"),
            )
        )
    if range_pa is not None:
        found += _against_the_scale(fit, range_pa, accuracy_class)
    return tuple(found)


def _scale_doubts(fit: CertificateFit) -> list[Said]:
    """Return a doubt where the readings are those of another scale, 2 % apart."""
    reference = np.array([point.reference_pa for point in fit.points])
    far = reference > 0.25 * max(float(reference.max()), 1.0)
    if np.count_nonzero(far) < 2:
        return []
    ratio = fit.shown_pa[far] / reference[far]
    for one, other in LIKE_ANOTHER_SCALE:
        apart = PRESSURE_UNITS[other] / PRESSURE_UNITS[one]
        if np.all(np.abs(ratio / apart - 1.0) < 0.004):
            return [
                say(
                    "All along it shows {share} of the reference, as a scale in {one} does "
                    "against {other}. Check the units.",
                    share=figure(float(np.median(ratio)), ".1%"),
                    one=one,
                    other=other,
                )
            ]
    return []


def _against_the_scale(
    fit: CertificateFit, range_pa: float, accuracy_class: float | None
) -> list[Said]:
    found = []
    high = fit.curve.range[1]
    if high > 1.05 * range_pa:
        found.append(
            say(
                "It goes up to {high}, but the scale of the gauge ends at {end}. Is it this gauge?",
                high=in_bar(high, ".0f"),
                end=in_bar(range_pa, ".0f"),
            )
        )
    elif high < 0.6 * range_pa:
        found.append(
            say(
                "It ends at {high}, the scale of the gauge at {end}: readings above are not "
                "covered by it.",
                high=in_bar(high, ".0f"),
                end=in_bar(range_pa, ".0f"),
            )
        )
    if accuracy_class is None:
        return found
    allowed = accuracy_class / 100.0 * range_pa
    worst = int(np.argmax(np.abs(fit.error_pa)))
    if abs(fit.error_pa[worst]) > allowed:
        found.append(
            say(
                "At {at} it is {error} off; class {grade} allows {allowed}. It is corrected, but "
                "a gauge that has left its class may move on.",
                at=in_bar(float(fit.shown_pa[worst]), ".0f"),
                error=in_bar(float(fit.error_pa[worst]), "+.2f"),
                grade=figure(accuracy_class, "g"),
                allowed=in_bar(allowed, ".2f"),
            )
        )
    if float(fit.stated_pa.max()) > allowed / math.sqrt(3.0):
        found.append(
            say("Its uncertainty is larger than what the class alone leaves: it helps little.")
        )
    return found


# -- drift -----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Drift:
    """How a gauge's error moved between two certificates."""

    years: float
    moved_pa: float
    """Largest change of the curve in the common range, with its sign, [Pa]."""
    at_pa: float
    """Where, [Pa]."""
    standard_uncertainty_pa: float
    """Of that change: both certificates, so that 1.96 of it are 95 %, [Pa]."""

    @property
    def per_year_pa(self) -> float:
        """Size of the change in a year, [Pa]."""
        return abs(self.moved_pa) / self.years

    @property
    def is_proved(self) -> bool:
        """Whether it is more than the two certificates leave unknown (2 u)."""
        return abs(self.moved_pa) > 2.0 * self.standard_uncertainty_pa

    @property
    def sentence(self) -> Said:
        """The drift in words."""
        words = say(
            "Since the certificate before, {years} years earlier, its error moved by {moved} at "
            "{at}, that is {rate} in a year.",
            years=figure(self.years, ".1f"),
            moved=in_bar(self.moved_pa, "+.2f"),
            at=in_bar(self.at_pa, ".0f"),
            rate=in_bar(self.per_year_pa, ".2f"),
        )
        if self.is_proved:
            return words
        return say(
            "{words} The two certificates leave {unknown} unknown, so this may be no drift at all; "
            "it is carried all the same.",
            words=words,
            unknown=in_bar(2.0 * self.standard_uncertainty_pa, ".2f"),
        )


def drift_between(
    earlier: CertificateFit, calibrated_on: str, later: CertificateFit, again_on: str
) -> Drift | NotMeasured:
    """Return how a gauge's error moved from one calibration to the next.

    Parameters
    ----------
    earlier, later : CertificateFit
        The two certificates
    calibrated_on, again_on : str
        Their dates, ISO 8601

    Notes
    -----
    Taken where the two curves are farthest apart within the range of both; the uncertainties of
    the two are taken as independent. Common practice, no source.
    """
    years = years_between(calibrated_on, again_on)
    if years is None:
        return NotMeasured(
            say("one of the two certificates has no date"), say("note the date of calibration")
        )
    if years < LEAST_YEARS:
        return NotMeasured(
            say("the two certificates are not a month apart, or the later one is the older"),
            say("compare with one of a year ago"),
        )
    low = max(earlier.curve.range[0], later.curve.range[0])
    high = min(earlier.curve.range[1], later.curve.range[1])
    if low >= high:
        return NotMeasured(
            say(
                "the two certificates have no pressures in common ({low} and {high})",
                low=pressure_figure(low, ".0f"),
                high=in_bar(high, ".0f"),
            )
        )
    grid = np.linspace(low, high, 101)
    change = later.errors_at(grid) - earlier.errors_at(grid)
    at = int(np.argmax(np.abs(change)))
    where = float(np.clip(grid[at], low, high))
    unknown = math.hypot(earlier.reach_at(where), later.reach_at(where)) / 1.959963984540054
    return Drift(years, float(change[at]), where, unknown)


def years_between(first: str, then: str) -> float | None:
    """Return the years from one day to another, ISO 8601; None where one is missing.

    >>> round(years_between("2025-01-05", "2026-01-05"), 3), years_between("", "2026-01-05")
    (0.999, None)
    """
    try:
        return (date.fromisoformat(then) - date.fromisoformat(first)).days / DAYS_IN_YEAR
    except ValueError:
        return None
