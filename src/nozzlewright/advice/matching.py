"""Which injectors of a set are to be touched, and how, so that all are in band and the set is even.

The fitter is given the choice: for each number of injectors touched the most even set that can be
had, first of all with the fewest outside the band. What is kept to: a cylinder keeps its injector,
or gets a whole tested spare; needle and nozzle are never parted, only shims and springs move; a
shim that comes out of an opened injector may go into another one; a thickness that the drawer
lacks is not used. An injector that is opened is left in band, if anything to be had brings it in;
where the drawer cannot bring all in, one that goes without may be opened to come nearer the rest.
How it is solved, and proved: :mod:`nozzlewright.advice.match_model`.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from functools import cached_property, partial
from itertools import chain, combinations_with_replacement

import numpy as np

from nozzlewright.advice.effect import learn
from nozzlewright.advice.match_model import (
    EQUAL_PA,
    MOST_PROGRAMMES,
    Found,
    Search,
    SetModel,
    Thing,
    Way,
)
from nozzlewright.advice.setting import LARGEST_STACK, SettingMeans, shims_to_be_had
from nozzlewright.advice.setting_spring import SPRING_LENGTH, SPRING_RATE
from nozzlewright.bench import OpeningBand, SettingSheet, ShimDrawer
from nozzlewright.bench.drawer import MICROMETRE
from nozzlewright.judging import InjectorOutcome, Outcome, SetVerdict
from nozzlewright.judging.engine_set import opening_pressures
from nozzlewright.judging.verdict import BenchTest
from nozzlewright.measurement import Cause, Quantity, draws_of, linear_combination
from nozzlewright.said import say

DRAWS = 10_000
"""Trials for a chance; it is then known to half of a per cent (JCGM 101:2008, 7.2)."""
START = 8984
"""Start of the random numbers: any number would do, a fixed one repeats."""

WORTH_PA = 0.1e5
"""What makes the set more even by less than this is not worth a purchase or an opening, [Pa];
common practice, no source."""


class Act(StrEnum):
    """What is done at a cylinder."""

    KEEP = "keep"
    SHIM = "shim"
    """Other shims or another spring, of known thickness."""
    TURN = "turn"
    """The screw, or a shim whose thickness has yet to be measured: any pressure can be had."""
    SPARE = "spare"
    """A whole tested spare goes in; its own shim may be changed as well."""


@dataclass(frozen=True)
class Spare:
    """A tested injector on the shelf."""

    identity: str
    opening: Quantity
    """Opening pressure as it was left, [Pa]."""
    shims_um: tuple[int, ...] | None = None
    """Its shims, [um]; None: not known, so that it goes in as it is."""
    effect: Quantity | None = None
    """Rise of opening pressure for thickness added, [Pa/m]; None: not known."""
    shift: Quantity | None = None
    """What opening and closing does to it besides the change, [Pa]; None: as to the injector whose
    place it takes."""


@dataclass(frozen=True)
class Springs:
    """Springs whose length under one and the same test load was measured.

    A spring longer by x does what a shim thicker by x does, as long as the rates are alike.
    """

    fitted_um: Mapping[int, int] = field(default_factory=dict)
    """Length of the fitted one by cylinder, where it is known, [um]."""
    counts: Mapping[int, int | None] = field(default_factory=dict)
    """Number on the shelf by length, [um]; None: as many as are asked for."""
    length_u_m: float = 10e-6
    """Standard uncertainty of a length, [m]; common practice, no source."""
    rates_u_pa: float = 0.0
    """Standard uncertainty of an opening pressure by the rate of one spring, its length being
    known, [Pa]; see :func:`nozzlewright.advice.setting_spring.rates_doubt`."""
    load_n: float | None = None
    """Load under which they were measured, [N]; 0: free; None: one that nobody has written down."""


@dataclass(frozen=True)
class Weights:
    """What counts as work: whole numbers, one for an injector touched once."""

    opening: int = 1
    exchange: int = 1
    """A spare in the place of an injector."""


@dataclass(frozen=True)
class MatchCase:
    """All that a match rests on; by cylinder."""

    openings: Mapping[int, Quantity]
    """Opening pressure as it is, [Pa]."""
    band: OpeningBand
    effects: Mapping[int, Quantity]
    """Rise of opening pressure for thickness added, [Pa/m], or for one turn inwards, [Pa]."""
    shims_um: Mapping[int, tuple[int, ...]]
    """Shims fitted, [um]; a cylinder that is not named has a screw or an unmeasured shim."""
    drawer: ShimDrawer
    stack: bool = False
    may_open: frozenset[int] = frozenset()
    """The others stay as they are."""
    open_anyway: frozenset[int] = frozenset()
    """To be opened for another reason: a change there is no further work."""
    springs: Springs | None = None
    spares: tuple[Spare, ...] = ()
    weights: Weights = Weights()
    spread_limit_pa: float | None = None
    shifts: Mapping[int, Quantity] = field(default_factory=dict)
    """What opening and closing does to the opening pressure besides the change, [Pa]."""

    @property
    def within_pa(self) -> int:
        """How near to the least spread is near enough, in whole pascals.

        Springs and shims that both move reach nearly any pressure: what the last touches gain is
        far less than the length of a spring is known to.
        """
        return 0 if self.springs is None else round(WORTH_PA)


@dataclass(frozen=True)
class MatchStep:
    """What is done at one cylinder, and what it leads to."""

    cylinder: int
    act: Act
    predicted: Quantity
    """Opening pressure to be expected, [Pa]."""
    shims_um: tuple[int, ...] = ()
    """Shims fitted afterwards, [um]; empty where they are not known or there is a screw."""
    spring_um: int | None = None
    """Another spring of this length, [um]."""
    spring_was_um: int | None = None
    shims_were_um: tuple[int, ...] = ()
    """Shims before, [um]; of the spare, where one goes in."""
    spare: str = ""
    """Identity of the spare."""
    thicker_m: float | None = None
    """MatchStep of a shim that was not measured, [m]."""
    turns: float | None = None
    """Turns of the screw inwards."""

    @property
    def opened(self) -> bool:
        """Whether an injector is opened for it."""
        return self.act in (Act.SHIM, Act.TURN) or self.shims_um != self.shims_were_um


@dataclass(frozen=True)
class Chances:
    """What is to be expected of a plan, readings, effects and new assemblies being uncertain."""

    in_band: float
    """Probability that all are truly in band."""
    in_limit: float | None
    """Probability that the true spread is within the sheet's limit; None: it has none."""
    spread_pa: tuple[float, float]
    """Between these the true spread lies with 95 %, [Pa]."""


@dataclass(frozen=True)
class MatchPlan:
    """One choice: what is done at each cylinder, and what the set is like afterwards."""

    case: MatchCase
    changes: tuple[MatchStep, ...]
    """One for each cylinder whose opening pressure is known, in order."""
    work: int
    """Injectors touched, as the weights count them."""
    outside: tuple[int, ...]
    """Cylinders that end outside the band."""
    spread_pa: float
    """Largest predicted opening pressure less the smallest."""
    proven: bool = True
    """Whether it is proved that none is better for this work by more than the search is to tell."""
    gap_pa: float = 0.0
    """By how much the least spread may lie below this one; nought where it is the least."""

    @property
    def acts(self) -> tuple[MatchStep, ...]:
        """Return the changes that are work."""
        return tuple(change for change in self.changes if change.act is not Act.KEEP)

    @property
    def openings(self) -> int:
        """Return how many injectors are opened, those opened anyway among them."""
        opened = {step.cylinder for step in self.acts if step.opened}
        return len(opened | self.anyway)

    @property
    def anyway(self) -> frozenset[int]:
        """Return the cylinders whose injectors are opened for another reason."""
        return self.case.open_anyway & self.case.may_open

    @property
    def exchanges(self) -> int:
        """Return how many spares go in."""
        return sum(change.act is Act.SPARE for change in self.acts)

    @property
    def within_limit(self) -> bool | None:
        """Return whether the spread is within the sheet's limit; None: it has none."""
        limit = self.case.spread_limit_pa
        return None if limit is None else self.spread_pa <= limit + EQUAL_PA

    @property
    def rank(self) -> tuple[float, ...]:
        """Return what plans are put in order by, the best first."""
        return _rank(len(self.outside), self.spread_pa, self.work, self.case.spread_limit_pa)

    @cached_property
    def chances(self) -> Chances:
        """Return what is to be expected, by drawing (JCGM 101:2008)."""
        rng = np.random.default_rng(START)
        drawn = np.stack(draws_of(tuple(one.predicted for one in self.changes), DRAWS, rng))
        spread = np.ptp(drawn, axis=0)
        band, limit = self.case.band, self.case.spread_limit_pa
        inside = ((drawn >= band.lower_pa) & (drawn <= band.upper_pa)).all(axis=0)
        low, high = np.quantile(spread, [0.025, 0.975])
        return Chances(
            in_band=float(inside.mean()),
            in_limit=None if limit is None else float((spread <= limit).mean()),
            spread_pa=(float(low), float(high)),
        )


@dataclass(frozen=True)
class Matching:
    """The choices, that with the least work first, each of them better than those before."""

    case: MatchCase
    front: tuple[MatchPlan, ...]
    gap_pa: float = 0.0
    """By how much a set might be more even than the last plan, where that is not proven."""

    @property
    def proven(self) -> bool:
        """Return whether it is proved that none of the plans can be bettered."""
        return self.gap_pa <= EQUAL_PA + self.case.within_pa and all(
            plan.proven for plan in self.front
        )

    @property
    def advised(self) -> MatchPlan:
        """Return the plan with the least work that meets the sheet; else the most even one."""
        return min(self.choices, key=lambda plan: plan.rank)

    @property
    def choices(self) -> tuple[MatchPlan, ...]:
        """Return the plans that are worth choosing among.

        Left out is one that is more even than the one before by less than is worth an opening,
        unless it is that one which meets the sheet.
        """
        chosen = [self.front[0]]
        for plan in self.front[1:]:
            last = chosen[-1]
            if (
                len(plan.outside) < len(last.outside)
                or plan.within_limit is not last.within_limit
                or last.spread_pa - plan.spread_pa >= WORTH_PA
            ):
                chosen.append(plan)
        return tuple(chosen)

    @property
    def now(self) -> MatchPlan:
        """Return the set as it is (but for what is opened anyway)."""
        return self.front[0]


@dataclass(frozen=True)
class Purchase:
    """What one more shim in the drawer would gain."""

    size_um: int
    plan: MatchPlan
    """The plan that it makes possible."""
    instead_of: MatchPlan

    @property
    def less_spread_pa(self) -> float:
        """Return by how much the spread gets less."""
        return self.instead_of.spread_pa - self.plan.spread_pa

    @property
    def less_work(self) -> int:
        """Return how many injectors fewer are touched."""
        return self.instead_of.work - self.plan.work


def match_set(
    openings: Mapping[int, Quantity],
    band: OpeningBand,
    effects: Mapping[int, Quantity] | Quantity,
    shims_now: Mapping[int, float | Sequence[float] | None],
    drawer: ShimDrawer,
    *,
    stack: bool = False,
    may_open: Collection[int] | None = None,
    open_anyway: Collection[int] = (),
    springs: Springs | None = None,
    spares: Sequence[Spare] = (),
    weights: Weights | None = None,
    spread_limit_pa: float | None = None,
    reassembly_pa: float | None = None,
    shifts: Mapping[int, Quantity] | None = None,
    most_programmes: int = MOST_PROGRAMMES,
) -> Matching:
    """Return, for each amount of work that gives a better set, the best that can be had.

    Parameters
    ----------
    openings : mapping of int to Quantity
        Opening pressure of each cylinder's injector, [Pa]
    band : OpeningBand
        Band in which all are to lie, with its target
    effects : Quantity, or mapping of int to Quantity
        Rise for thickness added, [Pa/m], or for a turn of the screw, [Pa]; for all, or by
        cylinder; a cylinder without one stays as it is, or gets a spare
    shims_now : mapping of int to float, sequence of float, or None
        Shims fitted, [m]; None: not measured, or there is a screw
    drawer : ShimDrawer
        Shims to be had
    stack : bool
        Whether up to three shims may lie on one another
    may_open : collection of int, optional
        Cylinders that may be touched; all where it is left out
    open_anyway : collection of int
        Cylinders that are opened for another reason
    springs : Springs, optional
        Springs that may be used
    spares : sequence of Spare
        Tested injectors that may be used
    weights : Weights, optional
        What counts as work
    spread_limit_pa : float or None
        The sheet's limit of the spread, [Pa]
    reassembly_pa : float or None
        Standard uncertainty of a new assembly, [Pa]
    shifts : mapping of int to Quantity, optional
        What opening and closing does besides the change, where more is known of it, [Pa]
    most_programmes : int
        Work of the search before it is broken off; a plan then says that it is not proven

    Returns
    -------
    Matching
        The front, its first plan the set as it is

    Raises
    ------
    ValueError
        If no opening pressure is given.
    """
    if not openings:
        raise ValueError("a match needs the opening pressure of one injector at least")
    case = MatchCase(
        openings=dict(sorted(openings.items())),
        band=band,
        effects=(
            dict.fromkeys(openings, effects) if isinstance(effects, Quantity) else dict(effects)
        ),
        shims_um={
            cylinder: _micrometres(shims)
            for cylinder, shims in shims_now.items()
            if shims is not None and cylinder in openings
        },
        drawer=drawer,
        stack=stack,
        may_open=frozenset(openings if may_open is None else may_open),
        open_anyway=frozenset(open_anyway),
        springs=springs,
        spares=tuple(spares),
        weights=weights or Weights(),
        spread_limit_pa=spread_limit_pa,
        shifts=reassembled(openings, reassembly_pa) if shifts is None else dict(shifts),
    )
    return matched(case, most_programmes)


def reassembled(cylinders: Iterable[int], u_pa: float | None) -> dict[int, Quantity]:
    """Return what a new assembly does to each cylinder's injector, [Pa]; none if nobody says."""
    if u_pa is None:
        return {}
    return {
        one: Quantity(0.0, "Pa", {Cause(say("new assembly"), str(_name(one))): u_pa})
        for one in cylinders
    }


def _name(cylinder: int) -> str:
    return say("cylinder {number}", number=cylinder)


def matched(case: MatchCase, most_programmes: int = MOST_PROGRAMMES) -> Matching:
    """Return the choices of a case; see :func:`match_set`."""
    options, search = _searched(case, most_programmes)
    front = tuple(options.plan(found) for found in search.front())
    least = search.last.spread_pa - search.last.gap_pa
    even = search.last.outside == len(front[-1].outside)
    return Matching(case, front, max(0.0, front[-1].spread_pa - least) if even else 0.0)


def _searched(case: MatchCase, most_programmes: int = MOST_PROGRAMMES) -> tuple[_Options, Search]:
    """Return the ways of a case and their search.

    A shim that brings one of two injectors into band is not there for the other: where not all
    can be in band, ways that end outside count too.
    """
    options = _Options(case)
    search = Search(options.model, most_programmes, within_pa=case.within_pa)
    if options.left_out and search.least_outside(search.most_work):
        options = _Options(case, beside_the_band=True)
        search = Search(options.model, most_programmes, within_pa=case.within_pa)
    return options, search


def purchase(matching: Matching, sizes_um: Iterable[int]) -> Purchase | None:
    """Return what one more shim, of the size that gains most, would gain; None if none helps.

    Each size is tried: a gain is fewer outside the band, fewer injectors touched to meet the
    sheet, or a spread that is less by what is worth an opening.

    Parameters
    ----------
    matching : Matching
        The choices with the drawer as it is
    sizes_um : iterable of int
        Sizes that can be bought, [um]
    """
    best = matching.advised
    size_bought: int | None = None
    case, limit = matching.case, matching.case.spread_limit_pa
    for size in sorted(set(sizes_um)):
        there = case.drawer.counts.get(size, 0)
        if there is None or size <= 0:
            continue
        fuller = ShimDrawer({**case.drawer.counts, size: there + 1})
        options, search = _searched(replace(case, drawer=fuller))
        if _can_better(search, best):
            best, size_bought = options.plan(search.placed(search.advised(limit))), size
    return None if size_bought is None else Purchase(size_bought, best, matching.advised)


def _can_better(search: Search, known: MatchPlan) -> bool:
    """Return whether a plan goes before a known one by so much that a shim is worth buying.

    Asked are the few questions that decide: their searches end at once where even an endless
    drawer could not do it.
    """
    outside, work, limit = len(known.outside), known.work, known.case.spread_limit_pa
    if search.least_outside(search.most_work) < outside:
        return True

    def reaches(spread_pa: float, touched: int) -> bool:
        """Return whether so little spread can be had for so much work."""
        if touched < 0 or spread_pa < 0.0:
            return False
        return search.reaches(int(spread_pa), touched, outside)

    if known.within_limit is False and limit is not None:
        return reaches(max(limit, known.spread_pa - WORTH_PA), search.most_work)
    any_spread = 1e12 if limit is None else limit
    return reaches(any_spread, work - 1) or reaches(known.spread_pa - WORTH_PA, work)


def _rank(outside: int, spread_pa: float, work: int, limit_pa: float | None) -> tuple[float, ...]:
    """Return what plans are put in order by, the best first.

    All in band; the spread within the limit; then, where it is, the least work and the least
    spread, and where it is not, the least spread and the least work.
    """
    too_wide = limit_pa is not None and spread_pa > limit_pa + EQUAL_PA
    rest = (spread_pa, work) if too_wide else (work, spread_pa)
    return (outside, too_wide, *rest)


def case_of(
    set_verdict: SetVerdict, sheet: SettingSheet, means: SettingMeans | None = None
) -> MatchCase | None:
    """Return the case of a judged set; None where there is no band or no opening pressure.

    What is to be opened for another reason (out of band, or to be reworked) is no further work;
    what a new pair will open at is not known yet, so that it is left out.

    Parameters
    ----------
    set_verdict : SetVerdict
        The set as it was judged
    sheet : SettingSheet
        Band, limit, screw or shims
    means : SettingMeans, optional
        What is known of the effect, and which shims there are; None: what the sheet says
    """
    band = sheet.opening_band(set_verdict.condition)
    openings = opening_pressures(set_verdict.injectors)
    means = means or SettingMeans(learn(sheet))
    knowledge, drawer = means.knowledge, shims_to_be_had(sheet, means.drawer)
    effects, shifts, shims, anyway = {}, {}, {}, set()
    for verdict in set_verdict.injectors:
        cylinder, injector = verdict.injector.cylinder, verdict.injector
        if verdict.outcome is InjectorOutcome.EXCHANGE:
            openings.pop(cylinder, None)
        if cylinder not in openings:
            continue
        name = means.identity(injector.identity) or str(_name(cylinder))
        if knowledge.known:
            effects[cylinder] = knowledge.effect_of(name)
            shifts[cylinder] = knowledge.shift_of(name, openings[cylinder])
        sitting = injector.as_left if verdict.as_left else injector.as_found
        # Where nobody has said which shims there are, any may be had.
        if (
            sitting is not None
            and sitting.shim_mm is not None
            and not knowledge.by_screw
            and drawer.sizes_m
        ):
            shims[cylinder] = (round(sitting.shim_mm * 1e3),)
        if (
            verdict.outcome is InjectorOutcome.REWORK
            or verdict.of(BenchTest.OPENING).outcome is Outcome.FAIL
        ):
            anyway.add(cylinder)
    if band is None or not openings:
        return None
    return MatchCase(
        openings=openings,
        band=band,
        effects=effects,
        shims_um=shims,
        drawer=drawer,
        stack=sheet.adjustment.shim_stack_allowed,
        may_open=frozenset(openings),
        open_anyway=frozenset(anyway),
        spread_limit_pa=sheet.spread_pa,
        shifts=shifts,
    )


def to_be_matched(
    set_verdict: SetVerdict, sheet: SettingSheet, means: SettingMeans | None = None
) -> dict[int, float]:
    """Return the injectors to be reset and the opening pressure to give them, [Pa].

    Where the spread fails, the fewest are opened that bring it within the limit, with the shims
    to be had; where it is not proved good, only the odd one out is. What is out of band is set
    for that reason, and is not among them.
    """
    odd = set_verdict.odd_one_out
    fails = set_verdict.spread_outcome is Outcome.FAIL
    if not fails and (odd is None or set_verdict.spread_outcome is Outcome.PASS):
        return {}
    case = case_of(set_verdict, sheet, means)
    if case is None or len(case.openings) < 2:
        return {}
    if not case.effects:  # how much a step does is not known: any pressure may be had in the end
        unknown = Quantity(1.0, "Pa", method=say("not known"))
        case = replace(case, effects=dict.fromkeys(case.openings, unknown), shims_um={})
    if not fails and odd is not None:
        case = replace(case, may_open=frozenset({odd.cylinder}), spread_limit_pa=0.0)
    options, search = _searched(case)
    plan = options.plan(search.placed(search.advised(case.spread_limit_pa)))
    return {
        change.cylinder: change.predicted.value
        for change in plan.acts
        if change.cylinder not in case.open_anyway
    }


def _micrometres(shims_m: float | Sequence[float]) -> tuple[int, ...]:
    each = shims_m if isinstance(shims_m, Sequence) else (shims_m,)
    return tuple(sorted((round(one / MICROMETRE) for one in each), reverse=True))


class _Options:
    """The ways of a case, and what each of them means."""

    def __init__(self, case: MatchCase, *, beside_the_band: bool = False) -> None:
        self.case = case
        self.beside_the_band = beside_the_band
        """Whether ways that end outside are kept though another ends inside."""
        self.left_out = False
        """Whether any was not kept."""
        self.cylinders = tuple(case.openings)
        self._ways: list[Way] = []
        self._meant: list[tuple[MatchStep, Callable[[], Quantity] | None]] = []
        """Step of each way, and what tells its opening pressure where that is not known yet."""
        self._stacks = self._all_stacks()
        for place, cylinder in enumerate(self.cylinders):
            self._of(place, cylinder)
        band = case.band
        self.model = SetModel(
            places=len(self.cylinders),
            ways=tuple(self._ways),
            stock=self._stock(),
            lower_pa=round(band.lower_pa),
            upper_pa=round(band.upper_pa),
            target_pa=round(min(max(band.target_pa, band.lower_pa), band.upper_pa)),
        )

    def plan(self, found: Found) -> MatchPlan:
        """Return what a plan of the model means at the bench."""
        changes = []
        for way, pressure in zip(found.ways, found.pressures_pa, strict=True):
            change, foretold = self._meant[way]
            if foretold is not None:
                change = replace(change, predicted=foretold())
            if self._ways[way].any_in_band:
                change = self._turned(change, pressure)
            changes.append(change)
        outside = tuple(
            change.cylinder
            for change, way in zip(changes, found.ways, strict=True)
            if self._ways[way].outside
        )
        return MatchPlan(
            case=self.case,
            changes=tuple(changes),
            work=found.work,
            outside=outside,
            spread_pa=float(found.spread_pa),
            proven=found.proven,
            gap_pa=float(found.gap_pa),
        )

    # --- ways of one cylinder -------------------------------------------------------------------

    def _of(self, place: int, cylinder: int) -> None:
        case = self.case
        shims = case.shims_um.get(cylinder)
        fitted = shims or ()
        now = case.openings[cylinder]
        self._add(
            place,
            MatchStep(cylinder, Act.KEEP, now, fitted, shims_were_um=fitted),
            0,
        )
        if cylinder not in case.may_open:
            return
        effect = case.effects.get(cylinder)
        work = 0 if cylinder in case.open_anyway else case.weights.opening
        if effect is not None and shims is None:
            self._add(place, MatchStep(cylinder, Act.TURN, now), work, any_in_band=True)
        elif effect is not None and shims is not None:
            spring = case.springs.fitted_um.get(cylinder) if case.springs else None
            base = MatchStep(cylinder, Act.SHIM, now, shims_were_um=shims, spring_was_um=spring)
            self._reshimmed(place, base, now, effect, work)
        for spare in case.spares:
            own = spare.shims_um or ()
            base = MatchStep(
                cylinder, Act.SPARE, spare.opening, own, shims_were_um=own, spare=spare.identity
            )
            exchange = case.weights.exchange
            self._add(place, base, exchange, takes={("spare", spare.identity): 1})
            if spare.effect is not None and spare.shims_um:
                self._reshimmed(
                    place, base, spare.opening, spare.effect,
                    exchange + case.weights.opening, takes={("spare", spare.identity): 1},
                )  # fmt: skip

    def _reshimmed(
        self,
        place: int,
        base: MatchStep,
        opening: Quantity,
        effect: Quantity,
        work: int,
        takes: Mapping[Thing, int] | None = None,
    ) -> None:
        """Add the ways of an opened injector; in band only, where any is and no other is asked."""
        case, was = self.case, base.shims_were_um
        thick = sum(was)
        lengths: list[int | None] = [None]
        if base.spring_was_um is not None and case.springs is not None:
            others = {*case.springs.counts, *case.springs.fitted_um.values()}
            lengths += sorted(others - {base.spring_was_um})
        shift = self._shift_of(base)
        besides = opening.value + (0.0 if shift is None else shift.value)
        found: list[tuple[int, float, tuple[int, ...], int | None]] = []
        for length in lengths:
            longer = 0 if length is None else length - (base.spring_was_um or 0)
            for total, stack in self._stacks:
                if stack != was or length is not None:
                    by = (total - thick + longer) * MICROMETRE
                    found.append((round(besides + by * effect.value), by, stack, length))
        inside = [one for one in found if case.band.lower_pa <= one[0] <= case.band.upper_pa]
        if inside and not self.beside_the_band:
            self.left_out |= len(inside) < len(found)
            found = inside
        besides_shims = Counter(takes or {})
        besides_shims.subtract([("shim", size) for size in was])
        for pressure, by, stack, length in found:
            net = Counter(besides_shims)
            net.update([("shim", size) for size in stack])
            if length is not None and base.spring_was_um is not None:
                net["spring", length] += 1
                net["spring", base.spring_was_um] -= 1
            foretold = partial(
                self._predicted, base, opening, effect, by, spring=length is not None
            )
            change = replace(base, shims_um=stack, spring_um=length)
            self._add(place, change, work, takes=net, pressure_pa=pressure, foretold=foretold)

    def _add(
        self,
        place: int,
        change: MatchStep,
        work: int,
        *,
        takes: Mapping[Thing, int] | None = None,
        any_in_band: bool = False,
        pressure_pa: int | None = None,
        foretold: Callable[[], Quantity] | None = None,
    ) -> None:
        pressure = round(change.predicted.value) if pressure_pa is None else pressure_pa
        band = self.case.band
        outside = not any_in_band and not band.lower_pa <= pressure <= band.upper_pa
        net = {thing: count for thing, count in (takes or {}).items() if count}
        self._ways.append(Way(place, pressure, work, outside, net, any_in_band))
        self._meant.append((change, foretold))

    def _predicted(
        self,
        step: MatchStep,
        opening: Quantity,
        effect: Quantity,
        change: float,
        *,
        spring: bool = False,
    ) -> Quantity:
        """Return the opening pressure to be expected after a change.

        Parameters
        ----------
        change : float
            Thickness added, [m], or turns inwards, [1]
        """
        case = self.case
        terms = [(1.0, opening), (change, effect)]
        shift = self._shift_of(step)
        if shift is not None:
            terms.append((1.0, shift))
        predicted = linear_combination(
            terms,
            unit="Pa",
            method=say("opening pressure measured, plus the effect of the change"),
        )
        if spring and case.springs is not None:
            of_one = case.springs.length_u_m * effect.value, case.springs.rates_u_pa
            name = str(_name(step.cylinder))
            for cause, doubt in zip(
                (Cause(SPRING_LENGTH, name), Cause(SPRING_RATE, name)),
                of_one,
                strict=True,
            ):
                predicted = predicted.with_contribution(cause, math.sqrt(2.0) * doubt)
        return predicted

    def _shift_of(self, step: MatchStep) -> Quantity | None:
        """Return what opening and closing does to the injector of a step, [Pa]."""
        of_spare = next((s.shift for s in self.case.spares if s.identity == step.spare), None)
        return self.case.shifts.get(step.cylinder) if of_spare is None else of_spare

    def _turned(self, step: MatchStep, pressure_pa: int) -> MatchStep:
        now, effect = self.case.openings[step.cylinder], self.case.effects[step.cylinder]
        shift = self.case.shifts.get(step.cylinder)
        besides = 0.0 if shift is None else shift.value
        by = (pressure_pa - now.value - besides) / effect.value
        predicted = self._predicted(step, now, effect, by)
        if effect.unit == "Pa":
            return replace(step, predicted=predicted, turns=by)
        return replace(step, predicted=predicted, thicker_m=by)

    # --- what there is ----------------------------------------------------------------------------

    def _opened(self) -> list[tuple[int, ...]]:
        """Return the shims of what may be opened."""
        case = self.case
        own = [shims for one, shims in case.shims_um.items() if one in case.may_open]
        return own + [spare.shims_um for spare in case.spares if spare.shims_um]

    def _all_stacks(self) -> list[tuple[int, tuple[int, ...]]]:
        """Return what can be laid under a spring: thickness and shims, [um].

        Of those of equal thickness that need nothing scarce, one with the fewest shims will do.
        """
        case = self.case
        counts = case.drawer.counts
        fitted = set(chain.from_iterable(self._opened()))
        sizes = sorted(
            {size for size, count in counts.items() if count is None or count > 0} | fitted,
            reverse=True,
        )
        most = (LARGEST_STACK if len(sizes) <= 80 else 2) if case.stack else 1
        stacks = chain.from_iterable(
            combinations_with_replacement(sizes, number) for number in range(1, most + 1)
        )
        kept: dict[tuple[int, tuple[int, ...]], tuple[int, tuple[int, ...]]] = {}
        for stack in stacks:
            scarce = tuple(size for size in stack if counts.get(size, 0) is not None)
            kept.setdefault((sum(stack), scarce), (sum(stack), stack))
        return list(kept.values())

    def _stock(self) -> dict[Thing, int]:
        case = self.case
        stock: dict[Thing, int] = {("spare", spare.identity): 1 for spare in case.spares}
        fitted = set(chain.from_iterable(self._opened()))
        for size in {*case.drawer.counts, *fitted}:
            count = case.drawer.counts.get(size, 0)
            if count is not None:
                stock["shim", size] = count
        if case.springs is not None:
            for length in {*case.springs.counts, *case.springs.fitted_um.values()}:
                count = case.springs.counts.get(length, 0)
                if count is not None:
                    stock["spring", length] = count
        return stock
