r"""How far fitters agree on grades: the same tip, spray or chatter, graded by several.

Kappa is the agreement beyond that which chance alone would give,
:math:`\kappa = (P_o - P_e)/(1 - P_e)`: 1 where all agree, 0 where they agree no more often than by
chance. Where everything was given one grade, chance alone agrees always: kappa is then undefined,
not 0, and the injectors must differ more.

Sources: J. Cohen, Educ. Psychol. Meas. 20 (1960) 37, and Psychol. Bull. 70 (1968) 213 (weights);
J. L. Fleiss, J. Cohen, B. S. Everitt, Psychol. Bull. 72 (1969) 323 (standard errors); J. L.
Fleiss, Psychol. Bull. 76 (1971) 378; J. L. Fleiss, J. C. M. Nee, J. R. Landis, Psychol. Bull. 86
(1979) 974. From memory; the published values that they are checked against stand in
``tests/reference/test_agreement.py``.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import combinations
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike, NDArray

from nozzlewright.analysis.gauge_study import in_order
from nozzlewright.measurement import Cause, NotMeasured, Quantity
from nozzlewright.said import Said, joined, say

FEW_GRADES = Cause(say("few injectors graded"))
_NORMAL_95 = 1.959963984540054
_LIKE = NotMeasured(
    say("everything was given one and the same grade: chance alone would agree as well"),
    say("take injectors that differ, so that each grade comes up"),
)

STRENGTH: tuple[tuple[float, Said], ...] = (
    (0.0, say("poor")),
    (0.20, say("slight")),
    (0.40, say("fair")),
    (0.60, say("moderate")),
    (0.80, say("substantial")),
    (1.00, say("almost perfect")),
)
"""Words for kappa up to each bound: J. R. Landis, G. G. Koch, Biometrics 33 (1977) 159, table 2
(from memory). A convention only: its authors call the bounds arbitrary."""


class Weights(StrEnum):
    """How much a disagreement counts by how many grades lie between."""

    NONE = "none"
    """Each alike."""
    LINEAR = "linear"
    QUADRATIC = "quadratic"


@dataclass(frozen=True)
class GradeReading:
    """One grade given in a study."""

    part: str
    fitter: str
    grade: str


@dataclass(frozen=True)
class Kappa:
    """Agreement beyond chance."""

    kappa: Quantity
    """With its standard error and 95 % interval, [1]."""
    observed: float
    """Agreement that was seen, 0 to 1; weighted where kappa is."""
    expected: float
    """Agreement that chance alone would give, 0 to 1."""
    error_by_chance: float
    """Standard error if there were no agreement beyond chance."""
    subjects: int
    """Injectors, or readings, that were graded by all."""

    @property
    def z(self) -> float:
        """Kappa over its standard error by chance; infinite where that is zero."""
        if self.error_by_chance == 0.0:
            return math.copysign(math.inf, self.kappa.value)
        return self.kappa.value / self.error_by_chance

    @property
    def p(self) -> float:
        """Probability, both tails, of such a kappa by chance."""
        return math.erfc(abs(self.z) / math.sqrt(2.0))

    @property
    def strength(self) -> Said:
        """Word for it by :data:`STRENGTH`: a convention."""
        return strength_of(self.kappa.value)


def strength_of(kappa: float) -> Said:
    """Return the word of Landis and Koch for a kappa.

    >>> str(strength_of(-0.1)), str(strength_of(0.2)), str(strength_of(0.43))
    ('poor', 'slight', 'moderate')
    """
    if kappa < 0.0:
        return STRENGTH[0][1]
    return next((word for bound, word in STRENGTH[1:] if kappa <= bound + 1e-12), STRENGTH[-1][1])


def _kappa_quantity(kappa: float, error: float, method: str) -> Quantity:
    if 1.0 - kappa < 1e-12:
        kappa = 1.0  # without the crumbs of rounding
    low, high = kappa - _NORMAL_95 * error, min(kappa + _NORMAL_95 * error, 1.0)
    return Quantity(kappa, "1", {FEW_GRADES: error}, method=method, interval=(low, high))


# -- two fitters -----------------------------------------------------------------------------------


def cohen_kappa(table: ArrayLike, weights: Weights = Weights.NONE) -> Kappa | NotMeasured:
    r"""Return the agreement of two fitters.

    With shares :math:`p_{ij}`, margins :math:`p_{i.}, p_{.j}`, weights of agreement :math:`w_{ij}`
    (1 on the diagonal), :math:`\bar w_{i.} = \sum_j w_{ij} p_{.j}` and
    :math:`\bar w_{.j} = \sum_i w_{ij} p_{i.}`,

    .. math::

        \mathrm{var}(\kappa) = \frac{\sum_{ij} p_{ij}
            [w_{ij} - (\bar w_{i.} + \bar w_{.j})(1 - \kappa)]^2
            - [\kappa - P_e (1 - \kappa)]^2}{n (1 - P_e)^2}

    Parameters
    ----------
    table : array_like of shape (grades, grades)
        How often the first gave grade i and the second grade j, grades in order
    weights : Weights
        Linear or quadratic only where the grades have an order

    Returns
    -------
    Kappa or NotMeasured
        The latter where all were given one grade by both

    Raises
    ------
    ValueError
        If the table is not square, holds a negative or no count at all.

    Examples
    --------
    >>> found = cohen_kappa([[20, 5], [10, 15]])
    >>> round(found.kappa.value, 3), round(found.observed, 2)
    (0.4, 0.7)
    """
    counts = np.asarray(table, dtype=np.float64)
    if counts.ndim != 2 or counts.shape[0] != counts.shape[1]:
        raise ValueError(f"a table of two fitters is square, not of shape {counts.shape}")
    total = float(counts.sum())
    if np.any(counts < 0.0) or not total > 0.0:
        raise ValueError("a table of grades needs counts of zero or more, and one at least")
    share = counts / total
    rows, columns = share.sum(axis=1), share.sum(axis=0)
    w = _weights(counts.shape[0], weights)
    observed = float(np.sum(w * share))
    chance = rows[:, None] * columns[None, :]
    expected = float(np.sum(w * chance))
    if 1.0 - expected < 1e-12:
        return _LIKE
    kappa = (observed - expected) / (1.0 - expected)
    means = (w @ columns)[:, None] + (w.T @ rows)[None, :]
    scale = total * (1.0 - expected) ** 2
    spread = np.sum(share * (w - means * (1.0 - kappa)) ** 2)
    variance = (spread - (kappa - expected * (1.0 - kappa)) ** 2) / scale
    by_chance = (np.sum(chance * (w - means) ** 2) - expected**2) / scale
    method = say("Cohen's kappa")
    if weights is not Weights.NONE:
        method = say("Cohen's kappa, nearer grades counting as partly agreed")
    return Kappa(
        _kappa_quantity(kappa, _root(float(variance)), method),
        observed,
        expected,
        _root(float(by_chance)),
        round(total),
    )


def _root(variance: float) -> float:
    """Return a standard error; of the crumbs that rounding leaves of nothing, nothing."""
    return math.sqrt(variance) if variance > 1e-18 else 0.0


def _weights(grades: int, weights: Weights) -> NDArray[np.float64]:
    place = np.arange(grades, dtype=np.float64)
    apart = np.abs(place[:, None] - place[None, :]) / max(grades - 1, 1)
    if weights is Weights.NONE:
        return np.eye(grades)
    return 1.0 - (apart if weights is Weights.LINEAR else apart**2)


# -- several fitters -------------------------------------------------------------------------------


def fleiss_kappa(counts: ArrayLike) -> Kappa | NotMeasured:
    r"""Return the agreement of several fitters, each injector graded equally often.

    With :math:`n_{ij}` of m grades of injector i in grade j, and shares :math:`p_j`,

    .. math::

        P_o = \frac{\sum_{ij} n_{ij}^2 - N m}{N m (m - 1)}, \quad P_e = \sum_j p_j^2, \quad
        \mathrm{var}_0 = \frac{2}{N m (m-1)} \cdot
            \frac{(\sum p_j q_j)^2 - \sum p_j q_j (q_j - p_j)}{(\sum p_j q_j)^2}

    The variance holds if there were no agreement beyond chance; the interval rests on a jackknife
    over the injectors (each left out in turn), which does not suppose that.

    Parameters
    ----------
    counts : array_like of shape (injectors, grades)
        How often each injector was given each grade

    Returns
    -------
    Kappa or NotMeasured
        The latter where all were given one grade

    Raises
    ------
    ValueError
        If the injectors were not graded equally often, or not twice at least.
    """
    table = np.asarray(counts, dtype=np.float64)
    if table.ndim != 2 or table.shape[0] < 1:
        raise ValueError(f"a table of injectors by grades has two axes, not shape {table.shape}")
    times = table.sum(axis=1)
    m = float(times[0])
    if np.any(times != m) or m < 2.0:
        raise ValueError("each injector is graded equally often, and twice at least")
    number = table.shape[0]
    share = table.sum(axis=0) / (number * m)
    observed, expected = _fleiss_parts(table)
    q = 1.0 - share
    spread = float(np.sum(share * q))
    if spread < 1e-12:
        return _LIKE
    kappa = (observed - expected) / (1.0 - expected)
    by_chance = 2.0 / (number * m * (m - 1.0)) / spread**2
    by_chance *= spread**2 - float(np.sum(share * q * (q - share)))

    def of(kept: NDArray[np.intp]) -> float | None:
        seen, chance = _fleiss_parts(table[kept])
        return (seen - chance) / (1.0 - chance) if 1.0 - chance > 1e-12 else None

    error = _jackknife(of, number)
    return Kappa(
        _kappa_quantity(kappa, error, say("Fleiss' kappa; interval by leaving out each in turn")),
        observed,
        expected,
        _root(by_chance),
        number,
    )


def _fleiss_parts(table: NDArray[np.float64]) -> tuple[float, float]:
    number, m = table.shape[0], float(table[0].sum())
    share = table.sum(axis=0) / (number * m)
    agreed = (float(np.sum(table**2)) - number * m) / (number * m * (m - 1.0))
    return agreed, float(np.sum(share**2))


def grade_kappas(counts: ArrayLike) -> tuple[float | NotMeasured, ...]:
    r"""Return Fleiss' kappa of each grade against all others.

    .. math:: \kappa_j = 1 - \frac{\sum_i n_{ij} (m - n_{ij})}{N m (m - 1) p_j q_j}

    Parameters
    ----------
    counts : array_like of shape (injectors, grades)
        As for :func:`fleiss_kappa`

    Returns
    -------
    tuple of float or NotMeasured
        One for each grade; the latter where it was given never, or always
    """
    table = np.asarray(counts, dtype=np.float64)
    number, m = table.shape[0], float(table[0].sum())
    share = table.sum(axis=0) / (number * m)
    split = np.sum(table * (m - table), axis=0)
    found: list[float | NotMeasured] = []
    for p, apart in zip(share.tolist(), split.tolist(), strict=True):
        spread = p * (1.0 - p)
        if spread < 1e-12:
            found.append(
                NotMeasured(
                    say("the grade was given never, or always"),
                    say("take injectors that differ, so that each grade comes up"),
                )
            )
        else:
            found.append(1.0 - apart / (number * m * (m - 1.0) * spread))
    return tuple(found)


def grade_agreement(counts: ArrayLike) -> tuple[float | NotMeasured, ...]:
    """Return for each grade how often a second grading gives it too, where the first did.

    Parameters
    ----------
    counts : array_like of shape (injectors, grades)
        As for :func:`fleiss_kappa`

    Returns
    -------
    tuple of float or NotMeasured
        Share of pairs, 0 to 1 (specific agreement: M. Spitzer, J. L. Fleiss, Br. J. Psychiatry 125
        (1974) 341, from memory); the latter where the grade was never given
    """
    table = np.asarray(counts, dtype=np.float64)
    m = float(table[0].sum())
    given = table.sum(axis=0) * (m - 1.0)
    agreed = np.sum(table * (table - 1.0), axis=0)
    never = NotMeasured(
        say("the grade was never given"),
        say("take injectors that differ, so that each grade comes up"),
    )
    return tuple(
        float(a / g) if g > 0.0 else never
        for a, g in zip(agreed.tolist(), given.tolist(), strict=True)
    )


def _jackknife(of: Callable[[NDArray[np.intp]], float | None], number: int) -> float:
    r"""Return a standard error by leaving out each in turn.

    .. math:: s^2 = \frac{N - 1}{N} \sum_i (\kappa_{(i)} - \bar\kappa_{(.)})^2

    (B. Efron, C. Stein, Ann. Statist. 9 (1981) 586, from memory)
    """
    everyone = np.arange(number)
    found = [of(np.delete(everyone, one)) for one in range(number)] if number > 1 else []
    known = np.array([one for one in found if one is not None])
    if known.size < 2 or float(np.ptp(known)) < 1e-9:  # all alike but for rounding
        return 0.0
    return math.sqrt((known.size - 1) / known.size * float(np.sum((known - known.mean()) ** 2)))


# -- a study ---------------------------------------------------------------------------------------


@dataclass(frozen=True)
class PairAgreement:
    """Two fitters, round by round."""

    first: str
    second: str
    agreed: float
    """Share of gradings alike, 0 to 1."""
    kappa: Quantity | NotMeasured
    """Linear weights; the interval rests on a jackknife over the injectors."""


@dataclass(frozen=True)
class GradeStudy:
    """What a study of grades says."""

    grades: tuple[str, ...]
    """In their order, the best first."""
    parts: tuple[str, ...]
    fitters: tuple[str, ...]
    repeats: int
    given: NDArray[np.intp]
    """Places of the grades given, shape (parts, fitters, repeats)."""
    all_alike: float
    """Share of injectors on which all fitters agreed every time, 0 to 1."""
    together: Kappa | NotMeasured
    """All gradings of each injector held against each other (Fleiss)."""
    by_grade: Mapping[str, float | NotMeasured]
    """Where one gives the grade, how often another does too, 0 to 1."""
    with_himself: Mapping[str, float | NotMeasured]
    """Share of injectors that each fitter graded alike every time, 0 to 1."""
    pairs: tuple[PairAgreement, ...]
    split: tuple[str, ...]
    """Injectors on which not all gradings were alike, the most divided first."""


def grade_study(
    readings: Sequence[GradeReading], grades: Sequence[str]
) -> GradeStudy | NotMeasured:
    """Return what a study of grades says; or why it says nothing, and what to grade.

    Parameters
    ----------
    readings : sequence of GradeReading
        Those of one fitter and part in the order in which they were given; else in any order
    grades : sequence of str
        In their order, the best first

    Returns
    -------
    GradeStudy or NotMeasured

    Raises
    ------
    ValueError
        If a grade is none of `grades`, or fewer than two are known.
    """
    known = {grade: place for place, grade in enumerate(grades)}
    if len(known) < 2:
        raise ValueError("agreement needs two grades or more")
    for one in readings:
        if one.grade not in known:
            raise ValueError(f"'{one.grade}' is none of the grades {', '.join(known)}")
    if not readings:
        return NotMeasured(say("there is no grade yet"), say("let each fitter grade each injector"))
    parts = tuple(sorted({one.part for one in readings}, key=in_order))
    fitters = tuple(sorted({one.fitter for one in readings}, key=in_order))
    times = Counter((one.part, one.fitter) for one in readings)
    most = max(times.values())
    missing = [(p, f) for f in fitters for p in parts if times[p, f] < most]
    if missing:
        named = [
            say("{fitter} on injector {part}", fitter=fitter, part=part)
            for part, fitter in missing[:8]
        ]
        if len(missing) > len(named):
            named.append(say("and {number} more", number=len(missing) - len(named)))
        return NotMeasured(
            say("grades are missing: {which}", which=joined("; ", named)),
            say("take the missing grades: agreement can be told only from a full table"),
        )
    if len(parts) < 2:
        return NotMeasured(
            say("one injector alone was graded: agreement by chance cannot be told from it"),
            say("grade several injectors that differ, better ten"),
        )
    if len(fitters) < 2 and most < 2:
        return NotMeasured(
            say("one fitter graded each injector once: there is nothing to hold it against"),
            say("let a second fitter grade the same ones, or grade them once more"),
        )
    rows: dict[tuple[str, str], list[int]] = {}
    for one in readings:
        rows.setdefault((one.part, one.fitter), []).append(known[one.grade])
    given = np.array([[rows[p, f] for f in fitters] for p in parts], dtype=np.intp)
    return _study(given, tuple(known), parts, fitters)


def _study(
    given: NDArray[np.intp],
    grades: tuple[str, ...],
    parts: tuple[str, ...],
    fitters: tuple[str, ...],
) -> GradeStudy:
    number, _, repeats = given.shape
    counts = _counts(given.reshape(number, -1), len(grades))
    alike = counts.max(axis=1) == counts.sum(axis=1)
    once = NotMeasured(
        say("each injector was graded once by each"), say("go round once more, without a look back")
    )
    himself: dict[str, float | NotMeasured] = {
        fitter: float(np.mean(np.ptp(given[:, place], axis=1) == 0)) if repeats > 1 else once
        for place, fitter in enumerate(fitters)
    }
    divided = np.argsort(counts.max(axis=1), kind="stable")
    return GradeStudy(
        grades=grades,
        parts=parts,
        fitters=fitters,
        repeats=repeats,
        given=given,
        all_alike=float(np.mean(alike)),
        together=fleiss_kappa(counts),
        by_grade=MappingProxyType(dict(zip(grades, grade_agreement(counts), strict=True))),
        with_himself=MappingProxyType(himself),
        pairs=tuple(
            _pair(given, len(grades), first, second, fitters)
            for first, second in combinations(range(len(fitters)), 2)
        ),
        split=tuple(parts[place] for place in divided.tolist() if not alike[place]),
    )


def _counts(given: NDArray[np.intp], grades: int) -> NDArray[np.float64]:
    return np.stack([np.sum(given == grade, axis=1) for grade in range(grades)], axis=1).astype(
        np.float64
    )


def _pair(
    given: NDArray[np.intp], grades: int, first: int, second: int, fitters: Sequence[str]
) -> PairAgreement:
    one, other = given[:, first], given[:, second]

    def table(kept: NDArray[np.intp] | slice) -> NDArray[np.float64]:
        counts = np.zeros((grades, grades))
        np.add.at(counts, (one[kept].ravel(), other[kept].ravel()), 1.0)
        return counts

    def of(kept: NDArray[np.intp]) -> float | None:
        found = cohen_kappa(table(kept), Weights.LINEAR)
        return None if isinstance(found, NotMeasured) else found.kappa.value

    whole = cohen_kappa(table(slice(None)), Weights.LINEAR)
    kappa: Quantity | NotMeasured
    if isinstance(whole, NotMeasured):
        kappa = whole
    else:
        error = _jackknife(of, len(given))
        kappa = _kappa_quantity(whole.kappa.value, error, whole.kappa.method)
    return PairAgreement(fitters[first], fitters[second], float(np.mean(one == other)), kappa)


def percent_agreement(ratings: ArrayLike) -> float:
    """Return the share of injectors on which all gradings are alike, 0 to 1.

    Parameters
    ----------
    ratings : array_like of shape (injectors, gradings)
        Grades, of any kind

    >>> percent_agreement([["dry", "dry"], ["damp", "drop"]])
    0.5
    """
    given = np.asarray(ratings)
    return float(np.mean(np.all(given == given[:, :1], axis=1)))
