"""A measured value: never a bare number.

The uncertainty is kept split by cause. Two quantities that share a :class:`Cause` (the gauge's
level error in one sitting, say) are correlated through it, so that a difference knows what
cancels. Propagation is first order (JCGM 100:2008, 5.1.2 and 5.2.2); where a model bends, use
:func:`nozzlewright.measurement.monte_carlo.propagate_by_draws` (JCGM 101:2008).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from types import MappingProxyType

from nozzlewright.said import Said, say


@dataclass(frozen=True, order=True)
class Cause:
    """Why a value is uncertain.

    Two contributions are fully correlated when their causes are equal, and independent when not.
    """

    name: str
    """What it is in words: ``gauge level``, ``repeatability``, ``temperature`` ..."""
    scope: str = ""
    """Within what it is one and the same: a sitting, a rig, an injector. Empty: everywhere."""
    rectangular: bool = False
    """Whether its error is anywhere within a bound, all alike (JCGM 100:2008, 4.3.7), such as a
    gauge's permissible error; else normal."""
    degrees: float | None = field(default=None, compare=False)
    """Degrees of freedom with which its size is known, where it rests on few readings and is not
    widened for it already; None: taken as large. No part of what it is."""
    rests_on: str = field(default="", compare=False)
    """Name of the estimate to which these degrees belong, where several causes rest on one; empty:
    that of the cause. No part of what it is."""

    def __str__(self) -> str:
        return self.words

    @property
    def words(self) -> Said:
        """Name and scope."""
        return _cause_words(self.name, self.scope)


@lru_cache(maxsize=1024, typed=True)  # few causes, in the budget of every value
def _cause_words(name: str, scope: str) -> Said:
    if not scope:
        return say("{name}", name=name)
    return say("{name} ({scope})", name=name, scope=scope)


@dataclass(frozen=True, order=True)
class Caution:
    """Something that a reader of the value must know before leaning on it."""

    name: str
    """Short name in the trade's words, the same wherever it appears (``clipping``)."""
    text: str
    """What was seen and what it means for the value."""

    def __str__(self) -> str:
        return self.sentence

    @property
    def sentence(self) -> Said:
        """Name and text."""
        return say("{name}: {text}", name=self.name, text=self.text)


@dataclass(frozen=True)
class NotMeasured:
    """A value that could not be had, with the reason. Judging never makes a pass of it."""

    reason: str
    """Why, in words that stand after "not measured, because"."""
    remedy: str = ""
    """What to do to have it next time."""

    def __bool__(self) -> bool:
        return False

    def __str__(self) -> str:
        return self.sentence

    @property
    def sentence(self) -> Said:
        """That it was not measured, and why."""
        return say("not measured, because {reason}", reason=self.reason)


@dataclass(frozen=True)
class Quantity:
    """A value in SI with its uncertainty split by cause.

    Raises
    ------
    ValueError
        If the value or a contribution is not a finite number.
    """

    value: float
    """Best estimate, [unit]."""
    unit: str
    """SI unit of value and contributions: ``Pa``, ``s``, ``m``, ``Hz``, ``1`` ..."""
    contributions: Mapping[Cause, float] = field(default_factory=dict)
    """Standard uncertainty for each cause, signed by the sensitivity to it, [unit]."""
    method: str = ""
    """How the value came about, in a sentence."""
    cautions: tuple[Caution, ...] = ()
    interval: tuple[float, float] | None = None
    """95 % coverage interval where value ± 2 u would mislead; otherwise None, [unit]."""

    def __post_init__(self) -> None:
        if not math.isfinite(self.value):
            raise ValueError(f"a quantity needs a finite value, not {self.value}")
        for cause, part in self.contributions.items():
            if not math.isfinite(part):
                raise ValueError(f"the contribution of {cause} is {part}, not a finite number")
        kept = {cause: float(part) for cause, part in self.contributions.items() if part != 0.0}
        object.__setattr__(self, "contributions", MappingProxyType(kept))
        object.__setattr__(self, "cautions", tuple(dict.fromkeys(self.cautions)))

    @property
    def standard_uncertainty(self) -> float:
        """Combined standard uncertainty, [unit] (JCGM 100:2008, 5.1.2)."""
        return math.hypot(*self.contributions.values()) if self.contributions else 0.0

    @property
    def degrees_of_freedom(self) -> float:
        r"""Effective degrees of freedom of the combined uncertainty; infinite: taken as large.

        .. math:: \nu = u^4 / \sum_j u_j^4 / \nu_j

        (Welch and Satterthwaite; JCGM 100:2008, G.4.1). Causes that rest on one estimate, by name
        and degrees, are one term of the sum.

        What is known with a single degree, or less, is no part of it: where such an estimate comes
        out small by chance, the formula would take it for small. It goes beside the rest by
        Cochran's rule, Student's factors weighed by the squares,

        .. math:: t = (u_r^2 \, t_\nu + u_1^2 \, t_1) / (u_r^2 + u_1^2) ,

        and the degrees are those that have this factor (W. G. Cochran, Biometrics 20 (1964) 191,
        from memory; counted in decision 0018).
        """
        groups: dict[tuple[str, float], float] = {}
        for cause, part in self.contributions.items():
            if cause.degrees is not None:
                key = (cause.rests_on or cause.name, cause.degrees)
                groups[key] = groups.get(key, 0.0) + part**2
        if not groups:
            return math.inf
        single = sum(square for (_, degrees), square in groups.items() if degrees <= 1.0)
        rest = max(self.standard_uncertainty**2 - single, 0.0)
        below = sum(square**2 / degrees for (_, degrees), square in groups.items() if degrees > 1.0)
        freedom = rest**2 / below if below > 0.0 else math.inf
        return _beside_single(rest / (rest + single), freedom) if single > 0.0 else freedom

    @property
    def student_factor(self) -> float:
        """Student's factor over that of the normal law, 1 or more, [1].

        1.96 times it times u covers 95 % (JCGM 100:2008, G.4.1; between whole numbers of degrees
        interpolated, note 1).
        """
        freedom = self.degrees_of_freedom
        return _student(max(freedom, 1.0)) if math.isfinite(freedom) else 1.0

    @property
    def coverage_interval(self) -> tuple[float, float]:
        """95 % coverage interval, [unit]: as stated, else value ± 1.96 u.

        Where one rectangular cause outweighs the rest, the factor is smaller, down to 1.65; where
        causes rest on few readings it is Student's (:attr:`student_factor`).
        """
        if self.interval is not None:
            return self.interval
        half_width = _half_width(self.contributions) * self.student_factor
        return self.value - half_width, self.value + half_width

    @property
    def budget(self) -> tuple[tuple[Cause, float], ...]:
        """Causes with the size of their contribution, largest first, [unit]."""
        sized = ((cause, abs(part)) for cause, part in self.contributions.items())
        return tuple(sorted(sized, key=lambda row: (-row[1], row[0])))

    @property
    def widened(self) -> Quantity:
        """The same with each cause that rests on few readings widened by Student's factor.

        For those who take every cause as normal and known, such as draws: wider than need be
        where several such causes meet.
        """
        if all(cause.degrees is None for cause in self.contributions):
            return self
        parts = {
            replace(cause, degrees=None): part
            * (1.0 if cause.degrees is None else _student(max(cause.degrees, 1.0)))
            for cause, part in self.contributions.items()
        }
        return replace(self, contributions=parts)

    def with_cautions(self, *cautions: Caution) -> Quantity:
        """Return the same quantity with further cautions."""
        return replace(self, cautions=(*self.cautions, *cautions)) if cautions else self

    def with_contribution(self, cause: Cause, standard_uncertainty: float) -> Quantity:
        """Return the same quantity with one more cause; an equal cause adds with its sign."""
        parts = dict(self.contributions)
        parts[cause] = parts.get(cause, 0.0) + standard_uncertainty
        return replace(self, contributions=parts)


@lru_cache(maxsize=256)
def _student(degrees: float) -> float:
    from scipy.special import stdtrit  # slow to import, seldom needed

    return max(float(stdtrit(degrees, 0.975)) / 1.959963984540054, 1.0)


def _beside_single(share: float, freedom: float) -> float:
    """Return the degrees whose Student's factor is Cochran's, the rest having a share of u^2."""
    from scipy.special import ndtri, stdtridf, stdtrit

    of_rest = float(stdtrit(freedom, 0.975) if math.isfinite(freedom) else ndtri(0.975))
    factor = share * of_rest + (1.0 - share) * float(stdtrit(1.0, 0.975))
    return float(stdtridf(0.975, factor))


def _half_width(contributions: Mapping[Cause, float]) -> float:
    r"""Return half of the 95 % interval, the largest rectangular cause taken as such.

    The error is :math:`R + N`, R within ±a all alike, N normal with s. With
    :math:`G(x) = x \Phi(x) + \varphi(x)`,

    .. math::

        P(|R + N| \le w) = \frac{s}{2a} \left[ G\left(\tfrac{w+a}{s}\right)
            - G\left(\tfrac{w-a}{s}\right) - G\left(\tfrac{a-w}{s}\right)
            + G\left(\tfrac{-w-a}{s}\right) \right]

    (the two densities convolved); w is found by bisection. EA-4/02 M:2022, S9.14 gives the limit
    k = 1.65 for a rectangular cause alone (from memory; here 0.95 sqrt 3).
    """
    whole = math.hypot(*contributions.values()) if contributions else 0.0
    boxes = [abs(part) for cause, part in contributions.items() if cause.rectangular]
    largest = max(boxes, default=0.0)
    if largest < 0.3 * whole or whole == 0.0:
        return 1.959963984540054 * whole
    bound = math.sqrt(3.0) * largest
    rest = math.sqrt(max(whole**2 - largest**2, 0.0))
    if rest < 0.01 * bound:
        return 0.95 * bound + rest

    def smooth(x: float) -> float:
        density = math.exp(-0.5 * x * x) / math.sqrt(2.0 * math.pi)
        return x * 0.5 * math.erfc(-x / math.sqrt(2.0)) + density

    low, high = 1.5 * whole, 2.0 * whole
    for _ in range(40):
        w = 0.5 * (low + high)
        inside = smooth((w + bound) / rest) - smooth((w - bound) / rest)
        inside += smooth((-w - bound) / rest) - smooth((bound - w) / rest)
        if inside * rest / (2.0 * bound) < 0.95:
            low = w
        else:
            high = w
    return 0.5 * (low + high)


Measured = Quantity | NotMeasured
"""What a measurement gives: a quantity, or the reason why there is none."""


def exact(value: float, unit: str, method: str = say("stated")) -> Quantity:
    """Return a quantity that is taken as known, such as a limit printed on a sheet."""
    return Quantity(value, unit, method=method)


def covariance(a: Quantity, b: Quantity) -> float:
    """Return the covariance that stems from shared causes, [unit of a x unit of b]."""
    return sum(part * b.contributions.get(cause, 0.0) for cause, part in a.contributions.items())


def linear_combination(
    terms: Sequence[tuple[float, Quantity]], *, unit: str, method: str
) -> Quantity:
    """Return the sum of coefficient x quantity; shared causes cancel or add by their sign.

    Cautions of all the terms are carried over.
    """
    parts: dict[Cause, float] = {}
    for coefficient, quantity in terms:
        for cause, part in quantity.contributions.items():
            parts[cause] = parts.get(cause, 0.0) + coefficient * part
    return Quantity(
        value=sum(coefficient * quantity.value for coefficient, quantity in terms),
        unit=unit,
        contributions=parts,
        method=method,
        cautions=_cautions_of(quantity for _, quantity in terms),
    )


def difference(a: Quantity, b: Quantity, *, method: str = say("difference")) -> Quantity:
    """Return a - b, knowing what the two share.

    >>> gauge = Cause("gauge level", "one sitting")
    >>> a = Quantity(175e5, "Pa", {gauge: 2e5, Cause("repeatability", "a"): 3e4})
    >>> b = Quantity(172e5, "Pa", {gauge: 2e5, Cause("repeatability", "b"): 4e4})
    >>> difference(a, b).standard_uncertainty
    50000.0
    """
    return linear_combination([(1.0, a), (-1.0, b)], unit=a.unit, method=method)


def mean_of(quantities: Sequence[Quantity], *, method: str = say("mean")) -> Quantity:
    """Return the arithmetic mean; what is common to all does not average out."""
    if not quantities:
        raise ValueError("the mean of nothing is not defined")
    weight = 1.0 / len(quantities)
    return linear_combination(
        [(weight, quantity) for quantity in quantities], unit=quantities[0].unit, method=method
    )


def propagate(
    function: Callable[..., float], *inputs: Quantity, unit: str, method: str
) -> Quantity:
    """Return function(values) with first-order uncertainty (JCGM 100:2008, 5.1.2).

    The sensitivity to each input is a central difference over one standard uncertainty of it,
    as JCGM 100:2008, 5.1.3 note 2 allows.

    Parameters
    ----------
    function : callable
        Model in SI floats, one argument for each input
    *inputs : Quantity
        Input quantities; causes that they share are treated as correlated
    unit : str
        SI unit of the result
    method : str
        How the result came about

    Raises
    ------
    ValueError
        If the model is not finite at the inputs' values.
    """
    values = [quantity.value for quantity in inputs]
    parts: dict[Cause, float] = {}
    for index, quantity in enumerate(inputs):
        step = quantity.standard_uncertainty
        if step == 0.0:
            continue
        above, below = list(values), list(values)
        above[index] += step
        below[index] -= step
        sensitivity = (function(*above) - function(*below)) / (2.0 * step)
        for cause, part in quantity.contributions.items():
            parts[cause] = parts.get(cause, 0.0) + sensitivity * part
    return Quantity(
        value=function(*values),
        unit=unit,
        contributions=parts,
        method=method,
        cautions=_cautions_of(inputs),
    )


def _cautions_of(quantities: Iterable[Quantity]) -> tuple[Caution, ...]:
    return tuple(dict.fromkeys(caution for quantity in quantities for caution in quantity.cautions))
