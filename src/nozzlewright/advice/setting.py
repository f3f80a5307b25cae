r"""Shim or screw: the change that most probably brings an opening pressure into its band.

Not the nearest thickness is looked for but the one with the best prospect: of all that can be
fitted, it is reckoned how probable the next reading lies where a pass is given (the sheet's band,
under the guarded rule without its guard bands), from what is known of the effect
(:mod:`nozzlewright.advice.effect`). So a doubtful effect counts, and a shim a little off the
target but safe within the band is preferred to one that lands on it by luck. Worth of a choice:

.. math:: P(\text{next reading passes}) - c \, \frac{E[(p - p_t)^2]}{h^2} - c_s (n - 1)

with the target :math:`p_t`, half the width of the band h and the number of shims n. The second
term decides where several are safe; the third keeps stacks for need.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations_with_replacement, pairwise

import numpy as np
from numpy.typing import NDArray

from nozzlewright.advice.effect import SettingKnowledge, per_mm
from nozzlewright.advice.effect_prior import BAR_PER_MM, has_screw, screw_effect, shim_effect
from nozzlewright.advice.setting_spring import room_left, room_warning, set_warning
from nozzlewright.bench import MeasuredSpring, OpeningBand, SettingSheet, ShimDrawer
from nozzlewright.judging import acceptance_zone
from nozzlewright.judging.wording import bar, percent, plain, stated
from nozzlewright.measurement import Cause, Quantity, covariance, linear_combination
from nozzlewright.said import Figure, Said, Unit, figure, joined, say

__all__ = [
    "LARGEST_STACK",
    "Choice",
    "SettingChange",
    "SettingMeans",
    "change_to",
    "effect_words",
    "has_screw",
    "reading_after",
    "screw_effect",
    "shim_effect",
    "shim_thickness",
    "shims_to_be_had",
]

Floats = NDArray[np.float64]

SENSIBLE_EFFECT_PA_PER_M = (60.0 * BAR_PER_MM, 200.0 * BAR_PER_MM)
"""Range of shim effects met in use, [Pa/m]; common practice, no source."""
LARGEST_STACK = 3
"""Shims in a stack; more are not stiff; common practice, no source."""
OFF_TARGET = 0.1
"""What a pressure at the edge of the band is worth less than one on target, in chances, [1]."""
STACKED = 0.01
"""What each shim more is worth less, in chances, [1]."""
WORTH_OPENING = 0.05
"""By how much a change must better the prospect for the injector to be opened, in chances, [1]."""
FREE_STEP_M = 5e-6
"""Step of thickness where nobody says which shims exist, [m]."""
FREE_TURN = 1.0 / 72.0
"""Step in which a screw can be turned by hand, five degrees, [1]; common practice, no source."""
FARTHEST_M, MOST_TURNS = 2e-3, 6.0
"""Largest change that is looked at: thickness, [m]; turns, [1]."""
RIVALS = 2
"""Further choices that are named."""


@dataclass(frozen=True)
class Choice:
    """One thing that can be done to the setting, and what it comes to."""

    amount: float
    """Thickness added, [m]; or turns inwards, [1]. Zero: it stays as it is."""
    shims_m: tuple[float, ...]
    """What lies under the spring then, where that is known, [m]."""
    shown: Quantity
    """What the same gauge is to show in the same sitting, [Pa]."""
    chance: float
    """Probability that this reading is a pass, [1]."""


@dataclass(frozen=True)
class SettingChange:
    """The change that is proposed, and the opening pressure to be expected after it."""

    do: str
    """The step in the imperative, with numbers and units."""
    why: str
    predicted: Quantity
    """The opening pressure itself, the gauge's own error included, [Pa]."""
    best: Choice
    others: tuple[Choice, ...]
    """The next best, the better first."""
    target_pa: float
    zone_pa: tuple[float, float]
    """Where a reading is a pass, [Pa]."""
    effect: Quantity
    """Of shim, [Pa/m], or of one turn, [Pa]."""
    warnings: tuple[str, ...] = ()
    out_of_reach: bool = False
    """True where nothing to be had brings it into the band."""
    trial: bool = False
    """Whether the effect is not known at all, so that this is a step to learn it by."""
    by_screw: bool = False

    @property
    def shim_change_m(self) -> float | None:
        """Thickness to be added; None where it is set by a screw."""
        return None if self.by_screw else self.best.amount

    @property
    def screw_turns(self) -> float | None:
        """Turns inwards; None where it is set by shims."""
        return self.best.amount if self.by_screw else None


@dataclass(frozen=True)
class SettingMeans:
    """What the setting of a set can be changed by, and what is known of it."""

    knowledge: SettingKnowledge
    drawer: ShimDrawer | None = None
    """Shims that the workshop has; None: those that the sheet lists."""
    known_as: Mapping[str, str] = field(default_factory=dict)
    """Identity in the record, by the identity in the set, where the two differ."""

    def identity(self, of_the_set: str) -> str:
        """Return the identity by which the record knows an injector of the set."""
        return self.known_as.get(of_the_set, of_the_set)


def shims_to_be_had(sheet: SettingSheet, drawer: ShimDrawer | None) -> ShimDrawer:
    """Return what can be fitted: the workshop's drawer, else the thicknesses that the sheet lists.

    >>> from nozzlewright.bench import ShimDrawer
    >>> shims_to_be_had(None, ShimDrawer({1300: 2})).sizes_m
    (0.0013,)
    """
    if drawer is not None:
        return drawer
    return ShimDrawer({round(size * 1e6): None for size in sheet.adjustment.shim_sizes_m})


def change_to(
    target_pa: float,
    opening: Quantity,
    band: OpeningBand,
    sheet: SettingSheet,
    knowledge: SettingKnowledge,
    *,
    drawer: ShimDrawer | None = None,
    shim_now_m: float | None = None,
    identity: str = "",
    spring: MeasuredSpring | None = None,
) -> SettingChange:
    """Return the change of shim or screw with the best prospect.

    Parameters
    ----------
    target_pa : float
        Opening pressure wanted, [Pa]
    opening : Quantity
        Opening pressure as it was read, [Pa]
    band : OpeningBand
        Band in which it is to lie afterwards
    sheet : SettingSheet
        Screw or shims, stacks allowed or not, decision rule
    knowledge : SettingKnowledge
        What is known of the effect
    drawer : ShimDrawer, optional
        Shims that the workshop has; None: those that the sheet lists, as many as are asked for
    shim_now_m : float or None
        Shim now fitted, [m]
    identity : str
        Injector
    spring : MeasuredSpring, optional
        Its spring as it was measured

    Returns
    -------
    SettingChange
        What to fit or turn, what the gauge will show, how probable it is a pass, the next best
        choices, and what there is to beware of
    """
    zone = _zone(opening, band, sheet)
    aim = target_pa
    if identity and identity in knowledge.new_springs:
        aim = min(target_pa + max(knowledge.settling.value, 0.0), max(zone[1], target_pa))
    half_width = max(0.5 * (band.upper_pa - band.lower_pa), 1.0)
    prospect = _Prospect(knowledge, opening, zone, aim, identity, half_width)
    stack = LARGEST_STACK if sheet.adjustment.shim_stack_allowed else 1
    if has_screw(sheet):
        reach = math.floor(MOST_TURNS / FREE_TURN)
        amounts = np.arange(-reach, reach + 1, dtype=np.float64) * FREE_TURN
        ranked = prospect.ranked(amounts, np.ones(amounts.size))
        choices = [prospect.choice(amounts[at], ()) for at in ranked[:1]]
    else:
        free = drawer is None and not sheet.adjustment.shim_sizes_m
        stock = None if free else shims_to_be_had(sheet, drawer)
        choices = _shims(prospect, stock, shim_now_m, stack)
    stay = prospect.choice(0.0, () if shim_now_m is None else (shim_now_m,))
    if not choices or stay.chance >= choices[0].chance - WORTH_OPENING:
        choices = [stay, *(one for one in choices if one.amount != 0.0)]
    best = choices[0]
    predicted = knowledge.after(opening, best.amount, identity)
    change = SettingChange(
        do="",
        why="",
        predicted=predicted,
        best=best,
        others=tuple(choices[1 : 1 + RIVALS]),
        target_pa=target_pa,
        zone_pa=zone,
        effect=prospect.effect,
        out_of_reach=bool(best.shims_m)
        and bool(shims_to_be_had(sheet, drawer).sizes_m)
        and not band.lower_pa <= predicted.value <= band.upper_pa,
        trial=not knowledge.known,
        by_screw=has_screw(sheet),
    )
    warnings = (
        *_of_the_effect(change, sheet),
        *_of_the_injector(knowledge, identity),
        *_of_the_stock(prospect, sheet, drawer, shim_now_m, best, stack),
        *_beside_the_band(change, band),
        *_of_the_spring(change, opening),
        *spring_warnings(sheet, predicted, change.effect, spring),
        *(_unknown_shim(change, shim_now_m)),
    )
    return replace(
        change,
        do=_do(change, shim_now_m, knowledge, aim),
        why=_why(change, knowledge),
        warnings=warnings,
    )


def _zone(opening: Quantity, band: OpeningBand, sheet: SettingSheet) -> tuple[float, float]:
    """Return where a reading on this gauge is a pass; the band where no reading could be."""
    found = acceptance_zone(
        opening.standard_uncertainty * opening.student_factor,
        band.lower_pa,
        band.upper_pa,
        sheet.rule,
    ) or (None, None)
    low, high = found
    return (
        band.lower_pa if low is None else low,
        band.upper_pa if high is None else high,
    )


def reading_after(
    opening: Quantity, amount: float, knowledge: SettingKnowledge, identity: str = ""
) -> Quantity:
    """Return what the same gauge is to show after a change, in the same sitting, [Pa]."""
    prospect = _Prospect(knowledge, opening, (0.0, 0.0), 0.0, identity, 1.0)
    return prospect.choice(amount, ()).shown


class _Prospect:
    """What each change would come to."""

    def __init__(
        self,
        knowledge: SettingKnowledge,
        opening: Quantity,
        zone: tuple[float, float],
        aim_pa: float,
        identity: str,
        half_width_pa: float,
    ) -> None:
        self.knowledge, self.opening, self.identity = knowledge, opening, identity
        self.zone, self.aim = zone, aim_pa
        self.half_width = half_width_pa
        self.effect = knowledge.effect_of(identity)
        self.own = _without_level(opening).standard_uncertainty
        """Standard uncertainty of one reading that is not the gauge's level, [Pa]."""
        shift = knowledge.shift_of(identity, opening)
        base = linear_combination([(1.0, _without_level(opening)), (1.0, shift)], unit="Pa",
                                  method="")  # fmt: skip
        self.base, self.variance = base.value, base.standard_uncertainty**2 + self.own**2
        self.cross = covariance(base, self.effect)
        self.effect_variance = self.effect.standard_uncertainty**2

    def means(self, amounts: Floats) -> Floats:
        """Return the reading to be expected after each change, shape (n,), [Pa]."""
        moved = self.base + amounts * self.effect.value
        return np.where(amounts == 0.0, self.opening.value, moved)

    def deviations(self, amounts: Floats) -> Floats:
        """Return its standard deviation, shape (n,), [Pa]."""
        moved = self.variance + 2.0 * amounts * self.cross + amounts**2 * self.effect_variance
        return np.sqrt(np.where(amounts == 0.0, 2.0 * self.own**2, np.maximum(moved, 0.0)))

    def chances(self, amounts: Floats) -> Floats:
        """Return the probability that it is a pass, shape (n,)."""
        return self._chances(amounts, self.deviations(amounts))

    def _chances(self, amounts: Floats, deviations: Floats) -> Floats:
        means, widths = self.means(amounts), np.maximum(deviations, 1.0)
        low, high = (_normal((edge - means) / widths) for edge in self.zone)
        within = self.zone[0] <= self.opening.value <= self.zone[1]
        found = high - low
        return np.where(amounts == 0.0, 1.0 if within else found, found)

    def worth(self, amounts: Floats, numbers: Floats) -> Floats:
        """Return what each change is worth, in chances, shape (n,)."""
        deviations = self.deviations(amounts)
        if self.knowledge.known and not self.knowledge.changes:
            # Until a change was seen the effect's doubt is a guess of its size: that a smaller
            # step has less of it is no reason to fall short of the target.
            whole = (self.aim - self.base) / self.effect.value
            deviations = np.where(amounts == 0.0, deviations, self.deviations(np.array([whole])))
        away = (self.means(amounts) - self.aim) ** 2 + deviations**2
        off = np.minimum(away / self.half_width**2, 1e3)
        return self._chances(amounts, deviations) - OFF_TARGET * off - STACKED * (numbers - 1.0)

    def ranked(self, amounts: Floats, numbers: Floats) -> list[int]:
        """Return places, the best first; of equals the least work."""
        worth = np.round(self.worth(amounts, numbers), 9)
        return [int(at) for at in np.lexsort((np.abs(amounts), numbers, -worth))]

    def choice(self, amount: float, shims_m: tuple[float, ...]) -> Choice:
        """Return one change with what it comes to."""
        amount = float(amount)
        at = np.array([amount])
        mean, deviation = float(self.means(at)[0]), float(self.deviations(at)[0])
        shown = Quantity(
            mean,
            "Pa",
            {Cause(say("next reading"), self.identity): deviation},
            say("opening pressure measured, plus the effect of the change"),
        )
        return Choice(amount, shims_m, shown, float(self.chances(at)[0]))


def _without_level(opening: Quantity) -> Quantity:
    """Return a reading without the gauge's level: it is the same at the next reading.

    What the scale can resolve is another matter: it is new with each reading.
    """
    kept = {
        cause: part
        for cause, part in opening.contributions.items()
        if not cause.name.startswith("gauge") or cause.name.startswith("gauge resolution")
    }
    return replace(opening, contributions=kept, interval=None)


_ERF = np.vectorize(math.erf, otypes=[float])


def _normal(z: Floats) -> Floats:
    """Return the normal distribution function, any shape."""
    return np.asarray(0.5 * (1.0 + _ERF(np.clip(z, -40.0, 40.0) / math.sqrt(2.0))))


# --- what can be fitted -------------------------------------------------------------------------


def _shims(
    prospect: _Prospect, stock: ShimDrawer | None, now_m: float | None, stack: int
) -> list[Choice]:
    """Return the best choices among the shims, the best first; without a stock any thickness."""
    sizes = [] if stock is None else [round(size * 1e6) for size in stock.sizes_m]
    if now_m is None or stock is None:
        step = _finest_step(sizes) if sizes else round(FREE_STEP_M * 1e6)
        count = math.floor(FARTHEST_M * 1e6 / step)
        amounts = np.arange(-count, count + 1) * step * 1e-6
        if now_m is not None:
            amounts = amounts[now_m + amounts > 0.0]
        amounts = amounts[np.abs(amounts) > 1e-9]
        order = prospect.ranked(amounts, np.ones(amounts.size))
        return [
            prospect.choice(amounts[at], () if now_m is None else (round(now_m + amounts[at], 9),))
            for at in order[: 1 + RIVALS]
        ]
    totals = _totals(stock, round(now_m * 1e6), stack)
    thickness = np.array(sorted(totals))
    amounts = np.round(thickness * 1e-6 - now_m, 9)
    amounts[np.abs(amounts) < 1e-6] = 0.0
    numbers = np.array([len(totals[one]) for one in sorted(totals)], dtype=np.float64)
    kept = amounts != 0.0
    amounts, thickness, numbers = amounts[kept], thickness[kept], numbers[kept]
    return [
        prospect.choice(
            amounts[at], tuple(round(one * 1e-6, 9) for one in totals[int(thickness[at])])
        )
        for at in prospect.ranked(amounts, numbers)[: 1 + RIVALS]
    ]


def _totals(stock: ShimDrawer, now_um: int, stack: int) -> dict[int, tuple[int, ...]]:
    """Return each thickness that can be made, with the fewest shims that make it, [um].

    The shim that is fitted now may go into a stack.
    """
    sizes = [round(size * 1e6) for size in stock.sizes_m]
    most = stack if len(sizes) <= 40 else min(stack, 2)
    there = dict(stock.counts)
    if most > 1 and there.get(now_um, 0) is not None:
        there[now_um] = (there.get(now_um) or 0) + 1
        sizes = sorted({*sizes, now_um})
    totals: dict[int, tuple[int, ...]] = {}
    for number in range(1, most + 1):
        for shims in combinations_with_replacement(sorted(sizes, reverse=True), number):
            total = sum(shims)
            if total not in totals and _are_there(shims, there):
                totals[total] = shims
    return totals


def _are_there(shims: Sequence[int], there: dict[int, int | None]) -> bool:
    if len(shims) == 1:
        return True
    for size in set(shims):
        count = there.get(size, 0)
        if count is not None and shims.count(size) > count:
            return False
    return True


def _finest_step(sizes_um: Iterable[int]) -> int:
    ordered = sorted(set(sizes_um))
    steps = [b - a for a, b in pairwise(ordered)]
    return min(steps) if steps else ordered[0]


# --- what to beware of --------------------------------------------------------------------------


def _of_the_effect(change: SettingChange, sheet: SettingSheet) -> Iterator[Said]:
    effect, pitch = change.effect, sheet.adjustment.screw_pitch_m
    if change.by_screw and pitch is None:
        return
    value = effect.value / pitch if change.by_screw and pitch is not None else effect.value
    low, high = SENSIBLE_EFFECT_PA_PER_M
    if not low <= value <= high:
        yield say(
            "An effect of {effect} lies outside the usual {low} to {high} (common practice): look "
            "for a wrong unit or a misprint first.",
            effect=per_mm(value),
            low=plain(low / BAR_PER_MM, "bar/mm"),
            high=per_mm(high),
        )


def _of_the_injector(knowledge: SettingKnowledge, identity: str) -> Iterator[Said]:
    for one in knowledge.set_aside:
        if identity and one.change.injector == identity:
            yield say(
                "An earlier change of this injector is not learned from: {reason}. Measure the "
                "shim, and make sure that the spring is the right one.",
                reason=one.reason,
            )
            return


def _of_the_stock(
    prospect: _Prospect,
    sheet: SettingSheet,
    drawer: ShimDrawer | None,
    now_m: float | None,
    best: Choice,
    stack: int,
) -> Iterator[Said]:
    """Say which shim would be better, where it exists and the drawer has run out of it."""
    listed = sheet.adjustment.shim_sizes_m
    if drawer is None or now_m is None or has_screw(sheet) or not listed:
        return
    better = _shims(prospect, shims_to_be_had(sheet, None), now_m, stack)
    if better and better[0].chance > best.chance + WORTH_OPENING:
        yield say(
            "The drawer lacks {shims} mm: with that the chance would be {chance}.",
            shims=joined(" + ", [shim_thickness(one) for one in better[0].shims_m]),
            chance=percent(better[0].chance),
        )


def _beside_the_band(change: SettingChange, band: OpeningBand) -> Iterator[Said]:
    limits = say("{lower} to {upper}", lower=bar(band.lower_pa), upper=bar(band.upper_pa))
    predicted = change.best.shown
    if not band.lower_pa <= predicted.value <= band.upper_pa:
        yield say(
            "Even so it would open at {predicted}, outside {limits}: no size to be had brings it "
            "in; look at spring and spindle.",
            predicted=stated(predicted),
            limits=limits,
        )
        return
    low, high = predicted.coverage_interval
    if low < band.lower_pa or high > band.upper_pa:
        yield say(
            "The prediction reaches outside the band of {limits}: read again, and correct once "
            "more if need be.",
            limits=limits,
        )


def _of_the_spring(change: SettingChange, opening: Quantity) -> Iterator[Said]:
    r"""Say where the spring would be pressed harder than it can be, as far as it is known.

    The spring is pressed together by :math:`p (A_g - A_s) / k` at the opening pressure p, which by
    the effect b is :math:`p / b`: known without any dimension. Where the new shim adds more than
    that again, a figure is wrong.
    """
    if change.by_screw or change.effect.value <= 0.0:
        return
    pressed = opening.value / change.effect.value
    if change.best.amount < -pressed:
        yield say(
            "So much thinner would leave the spring slack: it is pressed together by about "
            "{pressed} mm now.",
            pressed=figure(pressed * 1e3, ".2f"),
        )


def effect_per_length(effect: Quantity, sheet: SettingSheet) -> Quantity | None:
    """Return the rise of opening pressure for so much more pressed together, [Pa/m].

    Of a screw that of a turn over its pitch; None where the pitch is not known.
    """
    pitch = sheet.adjustment.screw_pitch_m
    if effect.unit == "Pa/m":
        return effect
    if pitch is None:
        return None
    return linear_combination([(1.0 / pitch, effect)], unit="Pa/m", method=effect.method)


def spring_warnings(
    sheet: SettingSheet,
    opening: Quantity,
    effect: Quantity,
    spring: MeasuredSpring | None = None,
) -> Iterator[Said]:
    """Yield what there is to beware of with the spring at an opening pressure.

    That it would be solid or nearly so before the needle is fully open; that it has set.

    Parameters
    ----------
    sheet : SettingSheet
        The spring's particulars, as far as it gives any
    opening : Quantity
        Opening pressure that is to be set, [Pa]
    effect : Quantity
        Of shim, [Pa/m], or of a turn, [Pa]
    spring : MeasuredSpring, optional
        The spring as it was measured
    """
    if sheet.spring is None:
        return
    by_length = effect_per_length(effect, sheet)
    yield from set_warning(sheet, spring, by_length)
    yield from room_warning(room_left(sheet, opening, by_length, spring))


def _unknown_shim(change: SettingChange, now_m: float | None) -> Iterator[Said]:
    if not change.by_screw and now_m is None:
        yield say("The shim now fitted was not written down: measure it first.")


# --- words --------------------------------------------------------------------------------------


def _do(
    change: SettingChange, now_m: float | None, knowledge: SettingKnowledge, aim_pa: float
) -> Said:
    words = _turn_words(change, knowledge) if change.by_screw else _shim_words(change, now_m)
    if aim_pa != change.target_pa:
        words = say(
            "{do} Aimed {more} above the target, because the new spring settles.",
            do=words,
            more=bar(round(aim_pa - change.target_pa, -4)),
        )
    return words


def _expect(change: SettingChange) -> Said:
    return say(
        "expect {expected}, target {target}",
        expected=stated(change.predicted),
        target=bar(change.target_pa),
    )


def _turn_words(change: SettingChange, knowledge: SettingKnowledge) -> Said:
    turns = change.best.amount
    if turns == 0.0:
        return say(
            "Leave the adjusting screw: no turn makes it better; {expect}.", expect=_expect(change)
        )
    do = say(
        "Slacken the lock nut, turn the adjusting screw {turns} turn ({degrees}°) {way}, tighten "
        "the lock nut and read again over three pops or more: expect {expected}, target {target}.",
        turns=figure(abs(turns), ".2f"),
        degrees=figure(abs(turns) * 360.0, ".0f"),
        way=say("in (clockwise)") if turns >= 0.0 else say("out (anticlockwise)"),
        expected=stated(change.predicted),
        target=bar(change.target_pa),
    )
    if knowledge.lock_nuts_seen < 2:
        return do
    slack = change.best.shown.value - knowledge.lock_nut.value
    return say(
        "{do} With the lock nut still slack it should show {slack}: tightening it moves the "
        "pressure by {shift}.",
        do=do,
        slack=bar(round(slack, -4)),
        shift=stated(knowledge.lock_nut),
    )


def _shim_words(change: SettingChange, now_m: float | None) -> Said:
    shims, by = change.best.shims_m, change.best.amount
    if by == 0.0:
        if now_m is None:
            return say("Leave it: no change makes it better; {expect}.", expect=_expect(change))
        return say(
            "Keep the shim of {shim} mm: none to be had comes nearer; {expect}.",
            shim=shim_thickness(now_m),
            expect=_expect(change),
        )
    thickness = shim_thickness(abs(by))
    way = (
        say("{thickness} mm thicker", thickness=thickness)
        if by > 0.0
        else say("{thickness} mm thinner", thickness=thickness)
    )
    if not shims or now_m is None:
        return say(
            "Fit a shim {by} than the one now fitted: {expect}.", by=way, expect=_expect(change)
        )
    if len(shims) == 1:
        return say(
            "Fit shim of {shim} mm in place of {now} mm ({by}): {expect}.",
            shim=shim_thickness(shims[0]),
            now=shim_thickness(now_m),
            by=way,
            expect=_expect(change),
        )
    return say(
        "Fit shims of {shims} mm in place of {now} mm ({by}): {expect}.",
        shims=joined(" + ", [shim_thickness(one) for one in shims]),
        now=shim_thickness(now_m),
        by=way,
        expect=_expect(change),
    )


def _why(change: SettingChange, knowledge: SettingKnowledge) -> Said:
    effect = effect_words(change.effect, by_screw=change.by_screw)
    told = (
        say("One turn does {effect}, {source}.", effect=effect, source=knowledge.sure)
        if change.by_screw
        else say("Shims do {effect}, {source}.", effect=effect, source=knowledge.sure)
    )
    if change.trial:
        told = say(
            "{told} Neither sheet nor record knows more: take this as a trial step, read again, "
            "and the next one will be surer.",
            told=told,
        )
    return say(
        "{told} The chance that the next reading is a pass: {chance}.",
        told=told,
        chance=percent(change.best.chance),
    )


def effect_words(effect: Quantity, *, by_screw: bool) -> Said:
    """Return an effect with its 95 % interval."""
    if by_screw:
        return stated(effect)
    low, high = effect.coverage_interval
    words = per_mm(effect.value)
    if high > low:
        places = ".1f" if high - low < 10.0 * BAR_PER_MM else ".0f"
        words = say(
            "{effect} {unit} ({low} to {high} {unit})",
            effect=figure(effect.value / BAR_PER_MM, places, "bar/mm"),
            low=figure(low / BAR_PER_MM, places, "bar/mm"),
            high=figure(high / BAR_PER_MM, places, "bar/mm"),
            unit=Unit("bar/mm"),
        )
    return words


def shim_thickness(length_m: float) -> Figure:
    """Return a thickness in mm with two decimals, as shims are marked; with three if it has them.

    >>> shim_thickness(1.3e-3), shim_thickness(1.345e-3)
    ('1.30', '1.345')
    """
    return Figure(f"{length_m * 1e3:.3f}".removesuffix("0"))
