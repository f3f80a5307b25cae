r"""How far readings depend on who takes them: a study of parts x fitters x repeats.

Crossed two-way analysis of variance with interaction, all effects random. For a parts, b fitters,
n repeats, with mean squares :math:`M_P, M_F, M_{PF}, M_E`:

.. math::

    \sigma_E^2 = M_E, \quad \sigma_{PF}^2 = \frac{M_{PF} - M_E}{n}, \quad
    \sigma_F^2 = \frac{M_F - M_{PF}}{a n}, \quad \sigma_P^2 = \frac{M_P - M_{PF}}{b n}

A component that comes out below zero counts as zero, and that is said. Where the interaction is
nothing but scatter (p above :data:`POOL_ABOVE`), its squares are pooled with those of the repeats.

Sources: AIAG, Measurement Systems Analysis, 4th edition (2010), chapter III; Burdick, Borror,
Montgomery, Design and Analysis of Gauge R&R Studies, ASA-SIAM (2005), chapters 2 and 3, for the
intervals (both from memory; the published numbers that they are checked against stand in
``tests/reference/test_gauge_study.py``).
"""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, lru_cache
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from nozzlewright.bench import ReadingStudy
from nozzlewright.measurement import Cause, NotMeasured, Quantity
from nozzlewright.said import figure, joined, say

POOL_ABOVE = 0.25
"""p of the interaction above which it is pooled with the repeats: T. A. Bancroft, Biometrics 20
(1964) 427, advises 0.25 for such a preliminary test (from memory). Common practice has 0.05 too;
0.25 pools less often, and so hides less."""
STUDY_SPREAD = 6.0
"""Standard deviations that are held against a tolerance (AIAG, 4th edition; the editions before
had 5.15; from memory)."""
PER_CATEGORY = 1.41
"""Of ndc = 1.41 PV / GRR: the square root of 2, as printed (AIAG, 3rd edition, page 117)."""
PARTS_FOR_LEVELS = 5
"""Injectors from which a study tells the level of each fitter; common practice, no source."""
COVERAGE = 0.95
_BOTH = math.sqrt(2.0) * 1.959963984540054
"""Difference of two readings in standard deviations of one, exceeded once in twenty: 2.77, which
ISO 5725-6:1994, 4.1, prints as 2.8 (from memory)."""

PART, FITTER, INTERACTION, REPEATS, TOTAL = "part", "fitter", "interaction", "repeats", "total"
"""Rows of the table of squares."""
FEW_READINGS = Cause(say("few readings in the study"))


@dataclass(frozen=True)
class StudyReading:
    """One reading of a study."""

    part: str
    fitter: str
    value: float
    """In the unit of the study."""


@dataclass(frozen=True)
class SquaresRow:
    """One row of the table of squares."""

    source: str
    sum_of_squares: float
    degrees: int
    mean_square: float
    ratio: float | None = None
    """F; None where the row has none, or where there is nothing to divide by."""
    p: float | None = None
    """Probability of such a ratio by scatter alone."""


@dataclass(frozen=True)
class Component:
    """One share of what makes readings differ."""

    variance: float
    """As it came out, [unit^2]; below zero where scatter outweighs it."""
    deviation: Quantity
    """Standard deviation, zero where the variance came out below, with its 95 % interval."""
    degrees: float
    """Effective degrees of freedom (Satterthwaite)."""
    of_total: float | None
    """Share of the total standard deviation, 0 to 1: shares of deviations do not add up to 1."""
    of_variance: float | None
    """Share of the total variance, 0 to 1: these do."""
    of_tolerance: float | None
    """`STUDY_SPREAD` deviations over the width of the tolerance; None without one."""
    terms: _Terms = field(repr=False)

    def limits(self, coverage: float) -> tuple[float, float]:
        """Return the interval of the standard deviation at another coverage, [unit].

        Raises
        ------
        ValueError
            If the coverage is not between 0 and 1.
        """
        if not 0.0 < coverage < 1.0:
            raise ValueError(f"a probability lies between 0 and 1, not at {coverage}")
        low, high = self.terms.interval(coverage)
        return math.sqrt(max(low, 0.0)), math.sqrt(max(high, 0.0))

    @property
    def clipped(self) -> bool:
        """Whether it came out below zero and counts as zero (of a sum: that which was below)."""
        return self.variance < 0.0


@dataclass(frozen=True)
class OddCell:
    """Repeats of one fitter on one part that lie further apart than the others allow."""

    part: str
    fitter: str
    spread: float
    """Highest less lowest, [unit]."""
    limit: float
    """Upper limit of such a spread, [unit]."""


@dataclass(frozen=True)
class RangeStudy:
    """The same from averages and ranges: cruder, done on paper; a cross-check."""

    mean_ranges: Mapping[str, float]
    """For each fitter, mean over the parts of highest less lowest, [unit]."""
    mean_range: float
    fitters_apart: float
    """Highest less lowest mean of a fitter, [unit]."""
    parts_apart: float
    """Highest less lowest mean of a part, [unit]."""
    range_limit: float
    """Upper limit of the spread of repeats, [unit]."""
    repeatability: float
    reproducibility: float
    gauge: float
    part: float
    total: float

    @property
    def categories(self) -> float:
        """1.41 PV / GRR, not yet a whole number."""
        return PER_CATEGORY * self.part / self.gauge if self.gauge > 0.0 else math.inf


@dataclass(frozen=True)
class GaugeStudy:
    """What a study of readings says."""

    unit: str
    parts: tuple[str, ...]
    fitters: tuple[str, ...]
    repeats: int
    values: NDArray[np.float64]
    """Shape (parts, fitters, repeats), repeats by size, [unit]."""
    table: tuple[SquaresRow, ...]
    """With the interaction, before any pooling."""
    pooled: bool
    """Whether the interaction was taken for scatter and pooled with the repeats."""
    repeatability: Component
    """EV: one fitter, one part, again and again."""
    fitter: Component | NotMeasured
    """Between fitters, the same on all parts."""
    interaction: Component | NotMeasured
    """Between fitters, otherwise on each part; zero where it was pooled."""
    reproducibility: Component | NotMeasured
    """AV: fitter and interaction together."""
    one_fitter: Component
    """Repeats and interaction: all but the level of a fitter, which he takes along."""
    gauge: Component
    """GRR: all that rig and fitters add to a reading."""
    part: Component | NotMeasured
    """PV: what really differs."""
    total: Component | NotMeasured
    """TV."""
    tolerance: float | None
    odd_cells: tuple[OddCell, ...]
    by_ranges: RangeStudy | NotMeasured
    notes: tuple[str, ...]
    """What a reader must know before leaning on it."""
    gauge_terms: tuple[_Terms, ...] = field(repr=False)
    """The shares of GRR, each of which counts as zero where it is below."""

    @property
    def mean(self) -> float:
        """Mean of all readings, [unit]."""
        return float(self.values.mean())

    @property
    def categories(self) -> float | NotMeasured:
        """1.41 PV / GRR, not yet a whole number."""
        if isinstance(self.part, NotMeasured):
            return self.part
        scatter = self.gauge.deviation.value
        if scatter == 0.0:
            return NotMeasured(
                say("all readings of a part are alike: the step of the gauge hides the scatter"),
                say("read to a finer step, or take the readings without seeing the last one"),
            )
        return PER_CATEGORY * self.part.deviation.value / scatter

    @property
    def distinct_categories(self) -> int | NotMeasured:
        """Groups of parts that can be told apart: `categories` cut off to a whole number, from 1.

        Cut off, not rounded: of 4.86 groups the fifth is not quite there, and rounding would claim
        it. 1 means that no two groups can be told apart. AIAG prints 5 for its example of 4.86
        (rounded), widely used programs 4 (cut off): see :attr:`rounded_categories`.
        """
        found = self.categories
        return found if isinstance(found, NotMeasured) else max(1, math.floor(found))

    @property
    def rounded_categories(self) -> int | NotMeasured:
        """The same rounded to the nearest whole number, for comparison with studies that do so."""
        found = self.categories
        return found if isinstance(found, NotMeasured) else max(1, math.floor(found + 0.5))

    @property
    def told_apart(self) -> Quantity:
        """Difference of two parts below which they cannot be told apart, [unit].

        Each read once by any fitter: scatter alone passes it once in twenty (2.77 GRR, the
        reproducibility limit of ISO 5725-6:1994, 4.1).
        """
        return _scaled(self.gauge.deviation)

    @property
    def told_apart_by_one(self) -> Quantity:
        """The same where one fitter reads both: his own level cancels, [unit]."""
        return _scaled(self.one_fitter.deviation)

    @cached_property
    def gauge_of_total(self) -> Quantity | NotMeasured:
        """GRR over TV with its interval, 0 to 1."""
        if isinstance(self.part, NotMeasured):
            return self.part
        if self.gauge.of_total is None:
            return NotMeasured(
                say("all readings are alike"), say("read injectors that differ, to a finer step")
            )
        interval = _ratio_interval(self.gauge_terms, self.part.terms, self.gauge.of_total)
        u = 0.25 * (interval[1] - interval[0])
        return Quantity(
            self.gauge.of_total,
            "1",
            {FEW_READINGS: u},
            method=say("analysis of variance; interval by generalized inference"),
            interval=interval,
        )

    @property
    def categories_interval(self) -> tuple[float, float] | NotMeasured:
        """95 % interval of `categories`; its upper end may be infinite."""
        share = self.gauge_of_total
        if isinstance(share, NotMeasured):
            return share
        low, high = share.coverage_interval
        return tuple(  # type: ignore[return-value]
            PER_CATEGORY * math.sqrt(max(1.0 / one**2 - 1.0, 0.0)) if one > 0.0 else math.inf
            for one in (high, low)
        )


def _scaled(deviation: Quantity) -> Quantity:
    """Return the limit of a difference of two readings from the deviation of one."""
    low, high = deviation.coverage_interval
    return Quantity(
        _BOTH * deviation.value,
        deviation.unit,
        {cause: _BOTH * part for cause, part in deviation.contributions.items()},
        method=deviation.method,
        interval=(_BOTH * low, _BOTH * high),
    )


def gauge_study(
    readings: Sequence[StudyReading],
    unit: str,
    *,
    tolerance: float | None = None,
    pool_above: float = POOL_ABOVE,
) -> GaugeStudy | NotMeasured:
    """Return what a study of readings says; or why it says nothing, and what to read.

    Parameters
    ----------
    readings : sequence of StudyReading
        In any order; each fitter has read each part equally often
    unit : str
        Unit of the values
    tolerance : float, optional
        Width of the band that the sheet allows, [unit]
    pool_above : float
        p above which the interaction is pooled; 1 never pools, 0 always does where F allows

    Returns
    -------
    GaugeStudy or NotMeasured
        With one fitter, or one part, what cannot be told from it is not measured in it

    Raises
    ------
    ValueError
        If a value is not finite, or the tolerance is not above zero.
    """
    if not all(math.isfinite(one.value) for one in readings):
        raise ValueError("a reading of a study needs a finite value")
    if tolerance is not None and not (math.isfinite(tolerance) and tolerance > 0.0):
        raise ValueError(f"a tolerance is wider than zero, not {tolerance}")
    parts = tuple(sorted({one.part for one in readings}, key=in_order))
    fitters = tuple(sorted({one.fitter for one in readings}, key=in_order))
    lacking = _lacking(readings, parts, fitters)
    if lacking is not None:
        return lacking
    cells: dict[tuple[str, str], list[float]] = {}
    for one in readings:
        cells.setdefault((one.part, one.fitter), []).append(one.value)
    values = np.array([[sorted(cells[p, f]) for f in fitters] for p in parts], dtype=np.float64)
    return _study(values, parts, fitters, unit, tolerance, pool_above)


def in_order(name: str) -> tuple[tuple[int, int, str], ...]:
    """Return a key that sorts names with numbers in them by the size of these."""
    pieces = re.findall(r"[0-9]+|[^0-9]+", name)
    return tuple((0, int(one), "") if one[0] in "0123456789" else (1, 0, one) for one in pieces)


def _lacking(
    readings: Sequence[StudyReading], parts: Sequence[str], fitters: Sequence[str]
) -> NotMeasured | None:
    """Return why readings are no study; None where they are."""
    if not readings:
        return NotMeasured(
            say("there is no reading yet"), say("let each fitter read each injector twice or more")
        )
    if len(parts) < 2 and len(fitters) < 2:
        return NotMeasured(
            say("one fitter read one injector: neither fitters nor injectors can be compared"),
            say("let at least two fitters read at least two injectors, better ten"),
        )
    times = Counter((one.part, one.fitter) for one in readings)
    most = max(times.values())
    missing = [
        (part, fitter, times[part, fitter])
        for fitter in fitters
        for part in parts
        if times[part, fitter] < most
    ]
    if missing:
        named = [
            say(
                "{fitter} on injector {part}: {times} of {most}",
                fitter=fitter,
                part=part,
                times=count,
                most=most,
            )
            for part, fitter, count in missing[:6]
        ]
        if len(missing) > len(named):
            named.append(say("and {number} more", number=len(missing) - len(named)))
        return NotMeasured(
            say("readings are missing: {which}", which=joined("; ", named)),
            say("take the missing readings: the shares can be told only from a full table"),
        )
    if most < 2:
        return NotMeasured(
            say("each injector was read only once: a fitter's own scatter cannot be told"),
            say("go round at least once more, without a look at the first readings"),
        )
    return None


def _study(
    values: NDArray[np.float64],
    parts: tuple[str, ...],
    fitters: tuple[str, ...],
    unit: str,
    tolerance: float | None,
    pool_above: float,
) -> GaugeStudy:
    a, b, n = values.shape
    table = squares(values)
    rows = {row.source: row for row in table}
    crossed = rows.get(INTERACTION)
    pooled = crossed is not None and _is_scatter(crossed, pool_above)
    error = _pooled(rows) if pooled else rows[REPEATS]
    inner = error if pooled or crossed is None else crossed
    terms: dict[str, _Terms] = {"repeatability": _Terms({error: 1.0})}
    if crossed is not None and not pooled:
        terms[INTERACTION] = _Terms({crossed: 1.0 / n, error: -1.0 / n})
    if FITTER in rows:
        terms[FITTER] = _Terms({rows[FITTER]: 1.0 / (a * n), inner: -1.0 / (a * n)})
    if PART in rows:
        terms[PART] = _Terms({rows[PART]: 1.0 / (b * n), inner: -1.0 / (b * n)})
    between = [terms[name] for name in (FITTER, INTERACTION) if name in terms]
    if between:
        terms["reproducibility"] = _Terms.sum_of(between)
    own = [terms["repeatability"], *(terms[name] for name in (INTERACTION,) if name in terms)]
    terms["one fitter"] = _Terms.sum_of(own)
    terms["gauge"] = _Terms.sum_of([terms["repeatability"], *between])
    if PART in terms:
        terms[TOTAL] = _Terms.sum_of([terms["gauge"], terms[PART]])

    counted = {
        name: max(terms[name].value, 0.0)
        for name in ("repeatability", INTERACTION, FITTER, PART)
        if name in terms
    }
    between_counted = counted.get(FITTER, 0.0) + counted.get(INTERACTION, 0.0)
    counted["reproducibility"] = between_counted
    counted["one fitter"] = counted["repeatability"] + counted.get(INTERACTION, 0.0)
    counted["gauge"] = counted["repeatability"] + between_counted
    counted[TOTAL] = counted["gauge"] + counted.get(PART, 0.0)

    def component(name: str) -> Component:
        whole = counted[TOTAL] if TOTAL in terms else 0.0
        return _component(terms[name], counted[name], whole, unit, tolerance)

    one_fitter = NotMeasured(
        say("one fitter alone took the readings"), say("let a second fitter read the same ones")
    )
    one_part = NotMeasured(
        say("one injector alone was read"), say("read several injectors that differ, better ten")
    )
    fitter = component(FITTER) if FITTER in terms else one_fitter
    if INTERACTION in terms:
        interaction: Component | NotMeasured = component(INTERACTION)
    elif crossed is not None:
        interaction = _nothing(crossed, rows[REPEATS], n, counted[TOTAL], unit, tolerance)
    else:
        interaction = one_fitter if FITTER not in terms else one_part
    by_ranges = range_study(values, fitters)
    odd: tuple[OddCell, ...] = ()
    if isinstance(by_ranges, RangeStudy):
        odd = _odd_cells(values, parts, fitters, by_ranges.range_limit)
    study = GaugeStudy(
        unit=unit,
        parts=parts,
        fitters=fitters,
        repeats=n,
        values=values,
        table=table,
        pooled=pooled,
        repeatability=component("repeatability"),
        fitter=fitter,
        interaction=interaction,
        reproducibility=component("reproducibility") if between else one_fitter,
        one_fitter=component("one fitter"),
        gauge=component("gauge"),
        part=component(PART) if PART in terms else one_part,
        total=component(TOTAL) if TOTAL in terms else one_part,
        tolerance=tolerance,
        odd_cells=odd,
        by_ranges=by_ranges,
        notes=(),
        gauge_terms=(terms["repeatability"], *between),
    )
    return replace(study, notes=tuple(_notes(study, crossed, pool_above)))


def _is_scatter(crossed: SquaresRow, pool_above: float) -> bool:
    if crossed.p is not None:
        return crossed.p > pool_above
    return crossed.mean_square == 0.0  # nothing to divide by: neither scatters


def _notes(study: GaugeStudy, crossed: SquaresRow | None, pool_above: float) -> list[str]:
    notes: list[str] = []
    if crossed is not None and crossed.p is not None:
        odds = {"p": figure(crossed.p, ".3f"), "limit": figure(pool_above, ".2f")}
        if study.pooled:
            notes.append(
                say(
                    "The fitters do not differ more on one injector than on another (p {p}, above "
                    "{limit}): the interaction is pooled with the repeats",
                    **odds,
                )
            )
        else:
            notes.append(
                say(
                    "The fitters may differ more on one injector than on another (p {p}, not above "
                    "{limit}): the interaction is kept as a share of its own",
                    **odds,
                )
            )
    names = (
        (study.fitter, say("between fitters")),
        (study.interaction, say("fitter with injector")),
        (study.part, say("between injectors")),
    )
    notes += [
        say(
            "The share {which} came out below zero, which chance can do, and counts as zero",
            which=name,
        )
        for share, name in names
        if isinstance(share, Component) and share.clipped
    ]
    if isinstance(study.fitter, Component) and len(study.fitters) == 2:
        notes.append(
            say("Two fitters say little about fitters in general: the interval shows how little")
        )
    flat = float(np.mean(np.ptp(study.values, axis=2) == 0.0))
    if flat > 0.25:
        notes.append(
            say(
                "In {share} of the cells all repeats are alike: the step of the gauge, or a look "
                "at the last reading, hides the scatter",
                share=figure(flat, ".0%"),
            )
        )
    return notes


# -- squares ---------------------------------------------------------------------------------------


def squares(values: NDArray[np.float64]) -> tuple[SquaresRow, ...]:
    """Return the table of squares of a full crossed study.

    Parameters
    ----------
    values : ndarray of shape (parts, fitters, repeats)
        Two or more repeats; one part, or one fitter, leaves its rows out

    Returns
    -------
    tuple of SquaresRow
        Part, fitter, interaction (as far as there are such), repeats, total. F of part and fitter
        is over the interaction where there is one (all effects random), else over the repeats
    """
    a, b, n = values.shape
    values = values - values.mean()  # squares of large numbers would lose the last digits
    of_part, of_fitter, of_cell = (values.mean(axis=axes) for axes in ((1, 2), (0, 2), 2))
    crossed = of_cell - of_part[:, None] - of_fitter[None, :]
    found = [
        (PART, b * n * float(np.sum(of_part**2)), a - 1),
        (FITTER, a * n * float(np.sum(of_fitter**2)), b - 1),
        (INTERACTION, n * float(np.sum(crossed**2)), (a - 1) * (b - 1)),
        (REPEATS, float(np.sum((values - of_cell[:, :, None]) ** 2)), a * b * (n - 1)),
    ]
    found = [(name, _tidy(square, values), degrees) for name, square, degrees in found]
    mean = {name: square / degrees for name, square, degrees in found if degrees}
    degrees_of = {name: degrees for name, _, degrees in found}
    rows = []
    for name, square, degrees in found:
        if not degrees:
            continue
        under = INTERACTION if name in (PART, FITTER) and INTERACTION in mean else REPEATS
        ratio = mean[name] / mean[under] if name != REPEATS and mean[under] > 0.0 else None
        p = None if ratio is None else _above(ratio, degrees, degrees_of[under])
        rows.append(SquaresRow(name, square, degrees, mean[name], ratio, p))
    whole = float(np.sum(values**2))
    return (*rows, SquaresRow(TOTAL, whole, a * b * n - 1, whole / (a * b * n - 1)))


def _tidy(square: float, values: NDArray[np.float64]) -> float:
    """Return a sum of squares without the crumbs that rounding leaves of a zero."""
    return square if square > 1e-26 * float(np.sum(values**2)) else 0.0


def _above(ratio: float, over: int, under: int) -> float:
    from scipy.special import fdtrc

    return float(fdtrc(over, under, ratio))


def _pooled(rows: Mapping[str, SquaresRow]) -> SquaresRow:
    crossed, error = rows[INTERACTION], rows[REPEATS]
    square, degrees = crossed.sum_of_squares + error.sum_of_squares, crossed.degrees + error.degrees
    return SquaresRow(REPEATS, square, degrees, square / degrees)


# -- components and their intervals ----------------------------------------------------------------


@dataclass(frozen=True)
class _Terms:
    """A variance as a sum of mean squares, each with its factor."""

    factors: Mapping[SquaresRow, float]

    @staticmethod
    def sum_of(several: Sequence[_Terms]) -> _Terms:
        added: dict[SquaresRow, float] = {}
        for one in several:
            for row, factor in one.factors.items():
                added[row] = added.get(row, 0.0) + factor
        return _Terms({row: f for row, f in added.items() if abs(f) > 1e-12})

    @property
    def value(self) -> float:
        return sum(factor * row.mean_square for row, factor in self.factors.items())

    @property
    def degrees(self) -> float:
        """Degrees of freedom (Satterthwaite; JCGM 100:2008, G.4.1)."""
        below = sum((f * row.mean_square) ** 2 / row.degrees for row, f in self.factors.items())
        return self.value**2 / below if below > 0.0 else math.inf

    def interval(self, coverage: float) -> tuple[float, float]:
        r"""Return an interval of the variance by modified large samples.

        With :math:`G_i = 1 - n_i/\chi^2_{\alpha;n_i}`, :math:`H_i = n_i/\chi^2_{1-\alpha;n_i} - 1`
        (upper points), a sum of mean squares lies between

        .. math::

            \hat\gamma - \sqrt{\sum_i G_i^2 c_i^2 M_i^2} \quad\text{and}\quad
            \hat\gamma + \sqrt{\sum_i H_i^2 c_i^2 M_i^2}

        (Graybill and Wang, J. Am. Stat. Assoc. 75 (1980) 869). Where some are taken off, there is
        a term :math:`G_{ij} c_i c_j M_i M_j` for each pair of unlike sign, and in the lower end one
        for each pair that is added (Ting, Burdick, Graybill, Jeyaratnam, Lu, J. Stat. Comput.
        Simul. 35 (1990) 135). From memory; checked against published limits and by trial.
        """
        tail = 0.5 * (1.0 - coverage)
        plus = [(f * row.mean_square, row.degrees) for row, f in self.factors.items() if f > 0.0]
        minus = [(-f * row.mean_square, row.degrees) for row, f in self.factors.items() if f < 0.0]
        below = sum((_low(tail, d) * m) ** 2 for m, d in plus)
        below += sum((_high(tail, d) * m) ** 2 for m, d in minus)
        above = sum((_high(tail, d) * m) ** 2 for m, d in plus)
        above += sum((_low(tail, d) * m) ** 2 for m, d in minus)
        for first, over in plus:
            for second, under in minus:
                g, h = _cross(tail, over, under)
                below += g * first * second
                above += h * first * second
        if minus:
            for (first, one), (second, other) in combinations(plus, 2):
                below += _like(tail, one, other) / (len(plus) - 1) * first * second
        return (
            self.value - math.sqrt(max(below, 0.0)),
            self.value + math.sqrt(max(above, 0.0)),
        )


@lru_cache(maxsize=256)
def _low(tail: float, degrees: int) -> float:
    from scipy.special import chdtri

    return 1.0 - degrees / float(chdtri(degrees, tail))


@lru_cache(maxsize=256)
def _high(tail: float, degrees: int) -> float:
    from scipy.special import chdtri

    return degrees / float(chdtri(degrees, 1.0 - tail)) - 1.0


@lru_cache(maxsize=256)
def _cross(tail: float, over: int, under: int) -> tuple[float, float]:
    from scipy.special import fdtri

    f1, f2 = float(fdtri(over, under, 1.0 - tail)), float(fdtri(over, under, tail))
    g = ((f1 - 1.0) ** 2 - (_low(tail, over) * f1) ** 2 - _high(tail, under) ** 2) / f1
    h = ((1.0 - f2) ** 2 - (_high(tail, over) * f2) ** 2 - _low(tail, under) ** 2) / f2
    return g, h


@lru_cache(maxsize=256)
def _like(tail: float, one: int, other: int) -> float:
    both = one + other
    whole = (_low(tail, both) * both) ** 2 / (one * other)
    return whole - _low(tail, one) ** 2 * one / other - _low(tail, other) ** 2 * other / one


_POINTS = 4096
"""Points at which a ratio is looked at for its interval."""


@lru_cache(maxsize=32)
def _pivots(degrees: tuple[int, ...]) -> tuple[NDArray[np.float64], ...]:
    """Return degrees over chi-squared, one row for each, at points spread evenly over chance.

    No chance is in it: the points are those of an additive recurrence by the roots of
    x^(d+1) = x + 1, which fills the unit cube evenly.
    """
    from scipy.special import chdtri

    number, root = len(degrees), 2.0
    for _ in range(40):
        root = (1.0 + root) ** (1.0 / (number + 1.0))
    count = np.arange(1, _POINTS + 1)
    return tuple(
        degree / chdtri(degree, (0.5 + count * root ** -(place + 1.0)) % 1.0)
        for place, degree in enumerate(degrees)
    )


def _ratio_interval(gauge: Sequence[_Terms], part: _Terms, found: float) -> tuple[float, float]:
    r"""Return an interval of GRR / TV by generalized inference.

    Each mean square M with n degrees of freedom stands for :math:`M n / \chi^2_n`; the ratio of
    what comes out has the interval's ends as its quantiles. M. Hamada, S. Weerahandi, J. Qual.
    Technol. 32 (2000) 241 (from memory); checked by trial.
    """
    rows = list(dict.fromkeys(row for terms in (*gauge, part) for row in terms.factors))
    rows = [row for row in rows if row.mean_square > 0.0]
    pivots = dict(zip(rows, _pivots(tuple(row.degrees for row in rows)), strict=True))

    def drawn(terms: _Terms) -> NDArray[np.float64]:
        total = np.zeros(_POINTS)
        for row, factor in terms.factors.items():
            if row in pivots:
                total += factor * row.mean_square * pivots[row]
        return np.maximum(total, 0.0)

    inside = np.sum([drawn(terms) for terms in gauge], axis=0)
    whole = inside + drawn(part)
    ratio = np.sqrt(np.divide(inside, whole, out=np.zeros(_POINTS), where=whole > 0.0))
    tail = 0.5 * (1.0 - COVERAGE)
    low, high = (float(end) for end in np.quantile(ratio, [tail, 1.0 - tail]))
    return min(low, found), max(high, found)


def _component(
    terms: _Terms, counted: float, whole: float, unit: str, tolerance: float | None
) -> Component:
    low, high = (math.sqrt(max(end, 0.0)) for end in terms.interval(COVERAGE))
    size = math.sqrt(counted)
    return Component(
        variance=terms.value,
        deviation=_deviation(size, terms.degrees, (min(low, size), max(high, size)), unit),
        degrees=terms.degrees,
        of_total=math.sqrt(counted / whole) if whole > 0.0 else None,
        of_variance=counted / whole if whole > 0.0 else None,
        of_tolerance=None if tolerance is None else STUDY_SPREAD * size / tolerance,
        terms=terms,
    )


def _deviation(size: float, degrees: float, interval: tuple[float, float], unit: str) -> Quantity:
    # Of a standard deviation from v degrees of freedom, u = s / sqrt(2 v) (JCGM 100:2008, E.4.3);
    # with next to none, as of a share near zero, that means nothing, and the interval bounds it.
    u = 0.25 * (interval[1] - interval[0])
    if degrees > 0.0:
        u = min(u, size / math.sqrt(2.0 * degrees))
    return Quantity(
        size,
        unit,
        {FEW_READINGS: u},
        method=say("analysis of variance; interval by modified large samples"),
        interval=interval,
    )


def _nothing(
    crossed: SquaresRow,
    error: SquaresRow,
    n: int,
    whole: float,
    unit: str,
    tolerance: float | None,
) -> Component:
    """Return the interaction that was pooled: zero, with what it would have been."""
    terms = _Terms({crossed: 1.0 / n, error: -1.0 / n})
    high = math.sqrt(max(terms.interval(COVERAGE)[1], 0.0))
    pooled = say("pooled with the repeats; interval as if it were not")
    return Component(
        variance=max(terms.value, 0.0),
        deviation=Quantity(0.0, unit, method=pooled, interval=(0.0, high)),
        degrees=terms.degrees,
        of_total=0.0 if whole > 0.0 else None,
        of_variance=0.0 if whole > 0.0 else None,
        of_tolerance=None if tolerance is None else 0.0,
        terms=terms,
    )


# -- averages and ranges ---------------------------------------------------------------------------


@lru_cache(maxsize=32)
def range_constants(number: int) -> tuple[float, float]:
    r"""Return mean and root mean square of the range of so many standard normal values.

    .. math::

        d_2 = \int 1 - \Phi^m - (1 - \Phi)^m \, dx, \quad
        E(R^2) = 2 \iint_{x < y} 1 - \Phi(y)^m - (1 - \Phi(x))^m + (\Phi(y) - \Phi(x))^m

    (L. H. C. Tippett, Biometrika 17 (1925) 364). The second is Duncan's :math:`d_2^*` of one
    sample, so that K2 and K3 are its inverse, and K1 that of :math:`d_2`.

    Parameters
    ----------
    number : int
        Values of a sample, 2 or more

    Examples
    --------
    >>> d2, square = range_constants(3)
    >>> round(1.0 / d2, 4), round(1.0 / square, 4)  # K1 and K2 as printed for three
    (0.5908, 0.5231)
    """
    x = np.linspace(-8.0, 8.0, 1601)
    step = float(x[1] - x[0])
    below = np.array([0.5 * math.erfc(-one / math.sqrt(2.0)) for one in x.tolist()])
    above = below[::-1]
    mean = float(np.sum(1.0 - below**number - above**number)) * step
    first, second = below[:, None], below[None, :]
    inner = 1.0 - second**number - (1.0 - first) ** number
    inner = inner + np.maximum(second - first, 0.0) ** number
    # The diagonal belongs half to the triangle.
    square = 2.0 * float(np.sum(np.triu(inner, 1)) + 0.5 * np.sum(np.diag(inner))) * step**2
    return mean, math.sqrt(square)


def range_study(values: NDArray[np.float64], fitters: Sequence[str]) -> RangeStudy | NotMeasured:
    """Return a study by averages and ranges (AIAG, 4th edition, chapter III, from memory).

    Parameters
    ----------
    values : ndarray of shape (parts, fitters, repeats)
        [unit]
    fitters : sequence of str
        Names, in the order of the axis

    Returns
    -------
    RangeStudy or NotMeasured
        The latter where there is one part or one fitter
    """
    a, b, n = values.shape
    if a < 2 or b < 2:
        return NotMeasured(
            say("averages and ranges need two fitters and two injectors"),
            say("let more be read, or by more"),
        )
    spreads = np.ptp(values, axis=2)
    mean_range = float(spreads.mean())
    d2, of_repeats = range_constants(n)
    fitters_apart = float(np.ptp(values.mean(axis=(0, 2))))
    parts_apart = float(np.ptp(values.mean(axis=(1, 2))))
    repeatability = mean_range / d2
    level = (fitters_apart / range_constants(b)[1]) ** 2 - repeatability**2 / (a * n)
    reproducibility = math.sqrt(max(level, 0.0))
    part = parts_apart / range_constants(a)[1]
    gauge = math.hypot(repeatability, reproducibility)
    return RangeStudy(
        mean_ranges=dict(zip(fitters, spreads.mean(axis=0).tolist(), strict=True)),
        mean_range=mean_range,
        fitters_apart=fitters_apart,
        parts_apart=parts_apart,
        range_limit=mean_range * (1.0 + 3.0 * math.sqrt(of_repeats**2 - d2**2) / d2),
        repeatability=repeatability,
        reproducibility=reproducibility,
        gauge=gauge,
        part=part,
        total=math.hypot(gauge, part),
    )


def _odd_cells(
    values: NDArray[np.float64], parts: Sequence[str], fitters: Sequence[str], limit: float
) -> tuple[OddCell, ...]:
    spreads = np.ptp(values, axis=2)
    return tuple(
        OddCell(parts[row], fitters[column], float(spreads[row, column]), limit)
        for row, column in np.argwhere(spreads > limit).tolist()
    )


# -- what a reading carries from it ----------------------------------------------------------------


def fitter_uncertainty(
    study: GaugeStudy, *, readings: int = 1, repeatability_known: bool = False, rig: str = ""
) -> tuple[Cause, float]:
    r"""Return what a reading owes to the hand and eye that took it, for a budget.

    .. math:: u^2 = \sigma_F^2 + \sigma_{PF}^2 + \sigma_E^2 / m

    Parameters
    ----------
    study : GaugeStudy
        Of the same rig and the same thing read
    readings : int
        Readings of one fitter of which the value is the mean, m
    repeatability_known : bool
        Whether the budget has the scatter of the repeats already: it is left out then, so as not
        to count twice
    rig : str
        Within what the cause is one and the same

    Returns
    -------
    tuple of Cause and float
        Cause ``fitter`` and standard uncertainty, [unit]; where one fitter alone took part, what
        lies between fitters is not in it

    Raises
    ------
    ValueError
        If there is less than one reading.

    Notes
    -----
    What lies between fitters is systematic for one fitter and does not average out (JCGM
    100:2008, 4.2.2 and F.1.1.2).
    """
    if readings < 1:
        raise ValueError(f"a value rests on one reading or more, not {readings}")
    parts = [
        one.deviation.value
        for one in (study.fitter, study.interaction)
        if isinstance(one, Component)
    ]
    if not repeatability_known:
        parts.append(study.repeatability.deviation.value / math.sqrt(readings))
    return Cause(say("fitter"), rig), math.hypot(*parts)


def reading_study(study: GaugeStudy, *, identity: str, name: str) -> ReadingStudy:
    r"""Return what a study tells of one reading, share by share, for budgets.

    Parameters
    ----------
    study : GaugeStudy
        Of readings in Pa or s
    identity, name : str
        By which it is known; in words

    Notes
    -----
    A variance that came out below zero counts as zero (AIAG), and so does an interaction that was
    pooled with the repeats: its scatter is in these. Where one fitter alone took part, what lies
    between fitters is zero here: such a study cannot tell it.

    The level of a fitter who took part is his mean less that of all,

    .. math:: \hat\ell_j = \bar y_{\cdot j \cdot} - \bar y_{\cdot\cdot\cdot} ,
              \qquad u^2(\hat\ell_i - \hat\ell_j) = 2 M_{PF} / (a n) ,

    the best linear unbiased one, on the degrees of :math:`M_{PF}`; these hold whatever lies between
    fitters in general. The interaction is taken as it is here, pooled or not, and no less than the
    repeats. From fewer than :data:`PARTS_FOR_LEVELS` injectors it is not handed on: there the
    interaction itself is a guess.
    """

    def share(one: Component | NotMeasured) -> tuple[float, float]:
        if isinstance(one, NotMeasured) or one.deviation.value == 0.0:
            return 0.0, math.inf
        return one.deviation.value, one.degrees

    a, b, n = study.values.shape
    of_parts = study.values.mean(axis=(1, 2))
    rows = {row.source: row for row in study.table}
    crossed = rows.get(INTERACTION)
    levels: tuple[float, ...] = ()
    level = 0.0
    if crossed is not None and a >= PARTS_FOR_LEVELS:
        of_fitters = study.values.mean(axis=(0, 2))
        levels = tuple((of_fitters - of_fitters.mean()).tolist())
        # By chance it may be below that of the repeats, which in the long run it never is.
        least = max(crossed.mean_square, rows[REPEATS].mean_square)
        level = math.sqrt(least / (a * n))
    repeatability, interaction, fitter = (
        share(one) for one in (study.repeatability, study.interaction, study.fitter)
    )
    return ReadingStudy(
        identity,
        name,
        study.unit,
        *repeatability,
        *interaction,
        *fitter,
        lowest=float(of_parts.min()),
        highest=float(of_parts.max()),
        fitters=study.fitters,
        levels=levels,
        level=level,
        level_degrees=(a - 1.0) * (b - 1.0) if levels else math.inf,
    )
