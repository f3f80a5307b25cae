"""What shim or screw does to the opening pressure, learned from the changes on record.

The model is in :mod:`nozzlewright.advice.effect_model`; here is what it comes to: the effect for
one injector, the pressure to be expected after a change, how sure that is and from what. A change
that does not agree with all the others is set aside and named, never swallowed.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from nozzlewright.advice.effect_model import (
    Fit,
    Floats,
    Model,
    SeenChange,
    SeenShift,
    Variances,
    half_normal,
    order_of,
    parts_of,
)
from nozzlewright.advice.effect_prior import BAR, BAR_PER_MM, EffectPrior, prior_of
from nozzlewright.bench import SettingSheet
from nozzlewright.judging.wording import plain, with_unit
from nozzlewright.measurement import Cause, Quantity, difference, linear_combination
from nozzlewright.said import Said, Unit, figure, pressure_figure, say

LOCK_NUT_DOUBT_PA = 3.0 * BAR
"""Standard deviation of the prior for what tightening the lock nut does, [Pa]; common practice, no
source."""
SETTLING_PRIOR_PA = (1.0 * BAR, 1.5 * BAR)
"""Prior mean and standard deviation of the drop as a new spring settles over its first pops,
[Pa]; common practice, no source."""
SHIFT_SCATTER_SCALE_PA = 1.0 * BAR
"""Scale of the half-normal prior for the scatter of lock nut and settling, [Pa]; common practice,
no source."""
OUTLIER = 4.0
"""A change farther than this from what all the others foretell of it is set aside, [sd]."""
RETURNS = 3.0
"""A change nearer than this to what the others foretell, once they agree, is learned from after
all, [sd]."""
HIDDEN = 4.5
"""The same for a change picked out as the worst, the scatter being that of the rest, [sd]."""
SUSPECT = 3.0
"""From here on it is looked at whether a change hides itself by widening the scatter, [sd]."""
_ROUNDS = 8


@dataclass(frozen=True)
class SetAside:
    """A change that does not agree with all the others, and is not learned from."""

    change: SeenChange
    reason: str
    distance: float
    """From what the others foretell, in standard deviations of that forecast, [1]."""


@dataclass(frozen=True)
class SettingKnowledge:
    """What is known of the setting of one kind of injector, and from what."""

    prior: EffectPrior
    model: Model = field(repr=False, compare=False)
    fit: Fit = field(repr=False, compare=False)
    changes: tuple[SeenChange, ...] = ()
    """Those that were learned from."""
    set_aside: tuple[SetAside, ...] = ()
    lock_nut: Quantity = field(default=Quantity(0.0, "Pa"))
    """Rise of the opening pressure at the next tightening of the lock nut, [Pa]."""
    lock_nuts_seen: int = 0
    settling: Quantity = field(default=Quantity(0.0, "Pa"))
    """Drop of the opening pressure as the next new spring settles, [Pa]."""
    springs_seen: int = 0
    new_springs: frozenset[str] = frozenset()
    """Injectors whose spring is new and has yet to settle."""
    kind: str = ""
    """Name of the kind: scope of what its injectors share."""

    @property
    def by_screw(self) -> bool:
        """Whether it is set by a screw."""
        return self.prior.by_screw

    @property
    def injectors(self) -> int:
        """Number of injectors that were learned from."""
        return len({change.injector for change in self.changes})

    @property
    def known(self) -> bool:
        """Whether more is known than what is usual everywhere."""
        return self.prior.known or bool(self.changes)

    def effect_of(self, injector: str = "") -> Quantity:
        """Return the effect for one injector, [Pa/m] of shim or [Pa] for one turn inwards.

        Its part that is common to the kind has a cause of its own, so that differences between
        two injectors know what cancels.
        """
        return self._state(injector, None)[0]

    def shift_of(self, injector: str = "", opening: Quantity | None = None) -> Quantity:
        """Return what opening and closing once more does besides the change itself, [Pa].

        Parameters
        ----------
        injector : str
            Its identity
        opening : Quantity, optional
            Opening pressure as it is; where it is the reading with which the injector's last
            change ended, the chance of that assembly is known in part and goes with it
        """
        return self._state(injector, opening)[1]

    def after(self, opening: Quantity, amount: float, injector: str = "") -> Quantity:
        """Return the opening pressure to be expected after a change, [Pa].

        Parameters
        ----------
        opening : Quantity
            As it is, [Pa]
        amount : float
            Shim thickness added, [m]; or turns inwards, [1]. Zero: it is not opened at all
        injector : str
            Its identity
        """
        if amount == 0.0:
            return opening
        effect, shift = self._state(injector, opening)
        return linear_combination(
            [(1.0, opening), (amount, effect), (1.0, shift)],
            unit="Pa",
            method=say("opening pressure measured, plus the effect of the change"),
        )

    @property
    def scatter_pa(self) -> float:
        """Standard deviation from one assembly to the next, as far as it is known, [Pa]."""
        return self.model.state(self.fit, "", None)[2] * BAR

    @property
    def spread(self) -> float:
        """Standard deviation of the effects of the injectors of the kind, [Pa/m] or [Pa]."""
        spread2 = float(self.fit.weight @ np.square(self.fit.spread))
        return math.sqrt(spread2) * self.model.scale

    def _state(self, injector: str, opening: Quantity | None) -> tuple[Quantity, Quantity]:
        model = self.model
        mean, covariance, _ = model.state(self.fit, injector, opening)
        lower = _root(covariance)
        unit = "Pa" if self.by_screw else "Pa/m"
        scope = self.kind or self.prior.effect.method
        own = injector or say("an injector")
        causes = (
            Cause(say("effect of the kind"), scope),
            Cause(say("shift on closing"), scope),
            Cause(say("effect of this injector"), own),
            Cause(say("new assembly"), own),
        )
        effect = Quantity(
            float(mean[2]) * model.scale,
            unit,
            {
                cause: float(part) * model.scale
                for cause, part in zip(causes, lower[2], strict=True)
            },
            method=self.sure,
        )
        shift = Quantity(
            float(mean[3]) * BAR,
            "Pa",
            {cause: float(part) * BAR for cause, part in zip(causes, lower[3], strict=True)},
            method=self.sure,
        )
        return effect, shift

    @property
    def sure(self) -> Said:
        """From what it is known, in words."""
        if not self.changes:
            return say("{source}", source=self.prior.effect.method)
        if self.injectors == 1:
            return say(
                "learned from {changes} on 1 injector of this kind", changes=_count(self.changes)
            )
        return say(
            "learned from {changes} on {injectors} injectors of this kind",
            changes=_count(self.changes),
            injectors=self.injectors,
        )

    @property
    def remarks(self) -> tuple[Said, ...]:
        """What was set aside, and why."""
        return tuple(
            say("{name}: {reason}", name=one.change.name or one.change.injector, reason=one.reason)
            for one in self.set_aside
        )


def _count(changes: Sequence[object]) -> Said:
    return say("1 change") if len(changes) == 1 else say("{count} changes", count=len(changes))


def _root(covariance: Floats) -> Floats:
    """Return a lower triangular root; a variance of zero is allowed."""
    scale = np.sqrt(np.maximum(np.diag(covariance), 1e-30))
    relative = covariance / np.outer(scale, scale)
    return np.asarray(
        scale[:, None] * np.linalg.cholesky(relative + 1e-10 * np.eye(len(scale))),
        dtype=np.float64,
    )


def effect_of(knowledge: SettingKnowledge, injector: str = "") -> Quantity:
    """Return what shim or screw does to one injector, [Pa/m], or [Pa] for one turn inwards."""
    return knowledge.effect_of(injector)


def learn(
    sheet: SettingSheet,
    changes: Iterable[SeenChange] = (),
    *,
    lock_nuts: Iterable[SeenShift] = (),
    settlings: Iterable[SeenShift] = (),
    new_springs: Iterable[str] = (),
    variances: Variances | None = None,
) -> SettingKnowledge:
    """Return what the changes on record say of the setting of a sheet's kind of injector.

    Parameters
    ----------
    sheet : SettingSheet
        What is known beforehand: effect printed, or spring rate and diameters
    changes : iterable of SeenChange
        Of injectors of this kind, in any order
    lock_nuts : iterable of SeenShift
        Readings with the lock nut slack and then tight
    settlings : iterable of SeenShift
        First and settled readings of new springs
    new_springs : iterable of str
        Injectors whose spring has yet to settle
    variances : Variances, optional
        Spread and scatter, where they are known; nothing is set aside then

    Returns
    -------
    SettingKnowledge
        With the changes that do not agree with all the others set aside, each with its reason
    """
    prior = prior_of(sheet)
    usable = sorted(
        (one for one in changes if one.amount != 0.0 and one.by_screw is prior.by_screw),
        key=order_of,
    )
    if variances is None:
        model, fit, aside = _agreeing(prior, usable)
    else:
        model, aside = Model(prior, usable), []
        fit = model.fit(variances)
    lock_nuts, settlings = tuple(lock_nuts), tuple(settlings)
    kind = sheet.injector or sheet.title
    return SettingKnowledge(
        prior=prior,
        changes=model.changes,
        set_aside=tuple(aside),
        lock_nut=_shift(lock_nuts, 0.0, LOCK_NUT_DOUBT_PA, Cause(say("lock nut"), kind), sign=1.0),
        lock_nuts_seen=len(lock_nuts),
        settling=_shift(
            settlings, *SETTLING_PRIOR_PA, Cause(say("new spring settling"), kind), sign=-1.0
        ),
        springs_seen=len(settlings),
        new_springs=frozenset(new_springs),
        kind=kind,
        model=model,
        fit=fit,
    )


def _agreeing(
    prior: EffectPrior, changes: Sequence[SeenChange]
) -> tuple[Model, Fit, list[SetAside]]:
    """Part the changes into those that agree with each other, and those that do not."""
    parts = [parts_of(change) for change in changes]

    def model_of(places: Sequence[int]) -> Model:
        return Model(prior, [changes[at] for at in places], [parts[at] for at in places])

    aside: set[int] = set()
    returned: set[int] = set()
    for _ in range(_ROUNDS):
        left = [at for at in range(len(changes)) if at not in aside]
        model = model_of(left)
        fit = model.fit()
        away = np.abs(model.distances(fit))
        far = {at: away[n] for n, at in enumerate(left) if away[n] > OUTLIER}
        if not far and (hidden := _hidden(model_of, changes, left, away)) is not None:
            far = {hidden: math.inf}
        if far:
            worst: dict[str, int] = {}
            for at in sorted(far, key=lambda at: (-far[at], at)):
                worst.setdefault(changes[at].injector, at)  # its neighbour may share a reading
            aside |= set(worst.values())
            continue
        agrees = {
            at for at in aside - returned if abs(_foretold(model, fit, changes[at])[2]) < RETURNS
        }
        if not agrees:
            break
        aside -= agrees
        returned |= agrees
    left = [at for at in range(len(changes)) if at not in aside]
    if model.changes != tuple(changes[at] for at in left):
        model = model_of(left)
        fit = model.fit()
    others = [changes[at] for at in aside]
    return model, fit, [_why_aside(model, fit, changes[at], others) for at in sorted(aside)]


def _hidden(
    model_of: Callable[[Sequence[int]], Model],
    changes: Sequence[SeenChange],
    left: Sequence[int],
    away: Floats,
) -> int | None:
    r"""Return the change that stands out only when it has no say in the scatter; or None.

    Whether it is worth a look is told by its residual r studentised from outside,
    :math:`r \sqrt{(n - 2) / (n - 1 - r^2)}` (R. D. Cook and S. Weisberg, Residuals and Influence
    in Regression, 1982, 2.2, from memory).
    """
    many = len(left)
    if not many:
        return None
    at = int(np.argmax(away))
    outside = max(many - 2.0, 1.0) / max(many - 1.0 - away[at] ** 2, 0.5)
    if away[at] * math.sqrt(outside) < SUSPECT:
        return None
    model = model_of([one for one in left if one != left[at]])
    distance = _foretold(model, model.fit(), changes[left[at]])[2]
    return left[at] if abs(distance) > (HIDDEN if many > 1 else OUTLIER) else None


def _foretold(model: Model, fit: Fit, change: SeenChange) -> tuple[float, float, float]:
    """Return the rise foretold of a change, its standard deviation [bar], and the distance."""
    mean, covariance, _ = model.state(fit, change.injector, change.before)
    weights = np.array([0.0, 0.0, change.amount * model.unit, 1.0])
    error = math.hypot(0.0, *parts_of(change).values())
    expected = float(weights @ mean)
    deviation = math.sqrt(float(weights @ covariance @ weights) + error**2)
    rise = (change.after.value - change.before.value) / BAR
    return expected, deviation, (rise - expected) / deviation


def _why_aside(
    model: Model, fit: Fit, change: SeenChange, others: Sequence[SeenChange]
) -> SetAside:
    expected, deviation, distance = _foretold(model, fit, change)
    rise = change.after.value - change.before.value
    same = [
        one
        for one in others
        if one.injector == change.injector
        and one is not change
        and abs((one.after.value - one.before.value) / one.amount - rise / change.amount)
        < 0.15 * abs(rise / change.amount)
    ]
    told = say(
        "{amount} moved it by {rise} {unit}, where {low} to {high} {unit} were to be expected",
        amount=amount_words(change.amount, by_screw=model.prior.by_screw),
        rise=pressure_figure(rise, "+.1f"),
        low=pressure_figure((expected - 2.0 * deviation) * BAR, "+.1f"),
        high=pressure_figure((expected + 2.0 * deviation) * BAR, "+.1f"),
        unit=Unit("bar"),
    )
    if same:
        reason = say(
            "{told}; its changes agree with each other but not with its kind: it has another "
            "spring or nozzle",
            told=told,
        )
    elif model.prior.by_screw:
        reason = say("{told}: turns miscounted, or another spring; not learned from", told=told)
    else:
        reason = say(
            "{told}: a shim written down wrongly, or another spring; not learned from", told=told
        )
    return SetAside(change, reason, distance)


def amount_words(amount: float, *, by_screw: bool) -> Said:
    """Return a change in words: millimetres of shim, or turns.

    >>> str(amount_words(-1.5e-4, by_screw=False)), str(amount_words(0.25, by_screw=True))
    ('-0.15 mm', '+0.25 turn')
    """
    if by_screw:
        return say("{turns} turn", turns=figure(amount, "+.2f"))
    return say("{thickness} mm", thickness=figure(amount * 1e3, "+.3f").removesuffix("0"))


def per_mm(effect_pa_per_m: float) -> Said:
    """Return an effect with its unit."""
    return with_unit(plain(effect_pa_per_m / BAR_PER_MM, "bar/mm"), "bar/mm")


def _shift(
    seen: Sequence[SeenShift], mean_pa: float, doubt_pa: float, cause: Cause, *, sign: float
) -> Quantity:
    """Return the next shift of a sort: its mean learned, its scatter beside it.

    Normal with a normal prior for the mean, the scatter integrated over a grid with a half-normal
    prior (Gelman and others, 2013, 5.4, with one group).
    """
    rises = np.array([sign * (one.after.value - one.before.value) for one in seen]) / BAR
    errors = (
        np.array([difference(one.after, one.before).standard_uncertainty for one in seen]) / BAR
    )
    scatters = np.linspace(0.05, 5.0, 60) * (SHIFT_SCATTER_SCALE_PA / BAR)
    variance = np.square(errors)[None, :] + np.square(scatters)[:, None]
    precision = (1.0 / variance).sum(axis=1) + (BAR / doubt_pa) ** 2
    pull = (rises / variance).sum(axis=1) + mean_pa / BAR * (BAR / doubt_pa) ** 2
    mean = pull / precision
    log = -0.5 * (
        np.log(variance).sum(axis=1)
        + np.log(precision)
        + (np.square(rises) / variance).sum(axis=1)
        - pull * mean
    ) + half_normal(scatters, SHIFT_SCATTER_SCALE_PA / BAR)
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    best = float(weight @ mean)
    of_mean = float(weight @ (1.0 / precision + np.square(mean - best)))
    of_scatter = float(weight @ np.square(scatters))
    return Quantity(
        best * BAR,
        "Pa",
        {
            cause: math.sqrt(of_mean) * BAR,
            replace(cause, scope=say("the next one")): math.sqrt(of_scatter) * BAR,
        },
        method=say("learned from {count}", count=_count(seen))
        if seen
        else say("common practice, no source"),
    )
