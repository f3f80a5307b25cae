"""One act: look for the best match of a job's set, with what the fitter allows.

What comes of a choice once it is made: :mod:`nozzlewright.workflow.match_chosen`.
"""

from __future__ import annotations

import hashlib
from collections import Counter, OrderedDict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from threading import Lock

from nozzlewright.advice import (
    MatchCase,
    Matching,
    Purchase,
    SettingMeans,
    Spare,
    Springs,
    case_of,
    matched,
    purchase,
)
from nozzlewright.advice.match_model import MOST_PROGRAMMES
from nozzlewright.advice.setting_spring import (
    SPRING_LENGTH,
    SURE,
    rate_of,
    rates_doubt,
    shortfall_of,
)
from nozzlewright.bench import EngineSet, MeasuredSpring, SettingSheet, ShelfSpring
from nozzlewright.judging import InjectorOutcome
from nozzlewright.measurement import Cause, NotMeasured, Quantity
from nozzlewright.records import AS_LEFT, EntryKind, InjectorStory, JobStory
from nozzlewright.said import say
from nozzlewright.workflow.setting_record import measured_spring
from nozzlewright.workflow.workshop import Workshop

MOST_SPARES = 8
"""Spares that are offered, those tested last first."""
SHELF = 24
"""Injectors laid on the shelf last that are looked at."""
STEPS_UM = (10, 20, 50)
"""Steps in which shims are sold, [um]; common practice."""
WITH_SPRINGS = 400
"""Windows that are looked at where springs may change places before the search is broken off; the
plan then says by how much the spread might be less. Sets of sixteen take a hundred."""
_KEPT = 32


@dataclass(frozen=True)
class Allowed:
    """What the fitter allows."""

    may_open: frozenset[int] | None = None
    """Cylinders; None: all that nobody has agreed to yet."""
    spares: bool = False
    springs: bool = False


def agreed(story: JobStory) -> frozenset[int]:
    """Return the cylinders whose injectors a second person has found good: they stay shut."""
    return frozenset(one.cylinder for one in story.injectors.values() if one.agreed())


def spares_of(shop: Workshop, story: JobStory) -> tuple[Spare, ...]:
    """Return the tested injectors on the shelf that fit a job's engine.

    Those of the same setting sheet whose last verdict as left was that they may be fitted.
    """
    if not story.sheet:
        return ()
    means, spares = shop.setting_means(story), []
    for one in _on_the_shelf(shop, story):
        spare = _spare(shop, one, means)
        if spare is not None:
            spares.append(spare)
        if len(spares) == MOST_SPARES:
            break
    return tuple(spares)


def _on_the_shelf(shop: Workshop, story: JobStory) -> Iterator[InjectorStory]:
    """Yield what lies on the shelf and was tested as left under the sheet of a job."""
    seen = set(story.injectors)
    for laid in shop.records.of_kind(EntryKind.SHELVED, last=SHELF):
        injector, home = laid.draft.injector, laid.draft.story
        if injector in seen:
            continue
        seen.add(injector)
        there = shop.story(home)
        one = there.shelved.get(injector)
        verdict = one.verdicts.get(AS_LEFT) if one is not None else None
        if (
            one is not None
            and there.sheet == story.sheet
            and verdict is not None
            and verdict.body["outcome"] == InjectorOutcome.FIT.value
            and shop.records.of_injector(injector)[-1].draft.story == home
        ):
            yield one


def _spare(shop: Workshop, one: InjectorStory, means: SettingMeans | None) -> Spare | None:
    sitting = shop.sitting(one, AS_LEFT)
    opening = sitting.gauge.opening_pressure if sitting and sitting.gauge else None
    if not isinstance(opening, Quantity):
        return None
    shims = None if one.shim_mm is None else (round(one.shim_mm * 1e3),)
    effect = shift = None
    if means is not None and means.knowledge.known and not means.knowledge.by_screw:
        effect = means.knowledge.effect_of(one.injector)
        shift = means.knowledge.shift_of(one.injector, opening)
    return Spare(one.serial or one.injector, opening, shims, effect, shift)


def case_of_job(
    shop: Workshop, story: JobStory, allowed: Allowed | None = None
) -> MatchCase | NotMeasured:
    """Return what a match of a job's set rests on, or why there can be none yet."""
    allowed = allowed or Allowed()
    judged = shop.judged(story)
    if judged is None:
        return NotMeasured(
            say("there is no setting sheet yet, or no injector is tagged"),
            say("choose the sheet and tag the injectors"),
        )
    case = case_of(judged.verdict, judged.sheet, shop.setting_means(story))
    if case is None:
        return NotMeasured(
            say("no opening pressure is known, or the sheet has no band for it"),
            say("read the opening pressure of every injector"),
        )
    open_ = case.may_open - agreed(story)
    if allowed.may_open is not None:
        open_ &= allowed.may_open
    return replace(
        case,
        may_open=open_,
        spares=spares_of(shop, story) if allowed.spares else (),
        springs=springs_of(shop, story, case) if allowed.springs else None,
    )


def springs_of(shop: Workshop, story: JobStory, case: MatchCase) -> Springs | None:
    """Return the springs that may change places, with those on the shelf; None where none may.

    Only those measured under one and the same load are alike enough: that under which most of the
    set were measured. One that lies below the sheet's least length is to be renewed, and is not
    moved into another injector.
    """
    sheet = shop.sheet(story)
    if sheet is None:
        return None
    measured = {
        one.cylinder: spring
        for one in story.injectors.values()
        if (spring := measured_spring(one.spring)) is not None
    }
    return springs_that_move(sheet, case, measured, shop.spring_shelf(sheet.injector))


def springs_of_set(engine_set: EngineSet, sheet: SettingSheet, case: MatchCase) -> Springs | None:
    """Return the springs of a set in a folder that may change places; None where none may."""
    measured = {
        one.cylinder: one.latest.spring
        for one in engine_set.injectors
        if one.latest is not None and one.latest.spring is not None
    }
    return springs_that_move(sheet, case, measured)


def springs_that_move(
    sheet: SettingSheet,
    case: MatchCase,
    measured: Mapping[int, MeasuredSpring],
    on_shelf: Sequence[ShelfSpring] = (),
) -> Springs | None:
    """Return the springs that may change places; None where none may.

    Parameters
    ----------
    sheet : SettingSheet
        Its lengths, and its rate
    case : MatchCase
        The set: only an injector whose shims are known has its spring moved
    measured : mapping of int to MeasuredSpring
        Springs fitted, by cylinder
    on_shelf : sequence of ShelfSpring
        Springs of the kind on the shelf
    """
    measured = {one: spring for one, spring in measured.items() if one in case.shims_um}
    if not measured:
        return None
    loads = Counter(spring.load_n for spring in measured.values())
    load = max(loads, key=lambda one: (loads[one], -one))
    fitted = {
        cylinder: round(spring.length.value * 1e6)
        for cylinder, spring in measured.items()
        if spring.load_n == load
    }
    shelf = [
        row
        for row in on_shelf
        if row.load_n == load and row.count != 0 and not _has_set(sheet, _on_shelf(row))
    ]
    doubts = [spring.length.standard_uncertainty for spring in measured.values()]
    doubts += [_on_shelf(row).length.standard_uncertainty for row in shelf]
    rate = rate_of(sheet)
    effects = [effect.value for effect in case.effects.values()]
    effect = max(effects, default=0.0)
    fit_to_move = {
        cylinder: length
        for cylinder, length in fitted.items()
        if not _has_set(sheet, measured[cylinder])
    }
    if len(set(fit_to_move.values())) < 2 and not shelf:
        return None
    return Springs(
        fitted_um=fit_to_move,
        counts={row.length_um: row.count for row in shelf},
        length_u_m=max(doubts),
        rates_u_pa=rates_doubt(
            case.band.target_pa,
            effect,
            load,
            rate.value if isinstance(rate, Quantity) else None,
        ),
        load_n=load,
    )


def _on_shelf(row: ShelfSpring) -> MeasuredSpring:
    u_m = row.off_um * 1e-6 / 1.959963984540054
    name = str(row.length_um)
    cause = Cause(SPRING_LENGTH, name)
    return MeasuredSpring(Quantity(row.length_um * 1e-6, "m", {cause: u_m}), row.load_n)


def _has_set(sheet: SettingSheet, spring: MeasuredSpring) -> bool:
    """Return whether a spring is surely shorter than the sheet allows."""
    short = shortfall_of(sheet, spring)
    return short is not None and short.chance >= SURE


def sizes_sold(case: MatchCase, sheet: SettingSheet, step_um: int = 0) -> tuple[int, ...]:
    """Return the sizes that may be bought, [um]: the sheet's, or the whole range in steps.

    Parameters
    ----------
    case : MatchCase
        The set: its shims and the drawer give the range
    sheet : SettingSheet
        Its sizes
    step_um : int
        Step of what is sold, [um]; 0: the sheet's sizes, where it has any, else 0.05 mm
    """
    listed = {round(size * 1e6) for size in sheet.adjustment.shim_sizes_m}
    if not step_um and listed:
        return tuple(sorted(listed))
    step = step_um or STEPS_UM[-1]
    fitted = {one for shims in case.shims_um.values() for one in shims}
    known = listed | fitted | set(case.drawer.counts)
    if not known:
        return ()
    first, last = min(known) // step * step, -(-max(known) // step) * step
    return tuple(size for size in range(first, last + 1, step) if size > 0)


class Matches:
    """Matches that were worked out, kept by what they rest on."""

    def __init__(self) -> None:
        self._kept: OrderedDict[str, Matching | Purchase | None] = OrderedDict()
        self._lock = Lock()

    def known(self, case: MatchCase) -> Matching | None:
        """Return the match of a case, if it was worked out."""
        with self._lock:
            found = self._kept.get(digest_of(case))
        return found if isinstance(found, Matching) else None

    def of(self, case: MatchCase) -> Matching:
        """Return the match of a case; worked out where it is not known."""
        known = self.known(case)
        if known is None:
            # Springs that change places as well as shims make many more ways.
            known = matched(case, MOST_PROGRAMMES if case.springs is None else WITH_SPRINGS)
            self._keep(digest_of(case), known)
        return known

    def purchase(self, case: MatchCase, sizes_um: tuple[int, ...]) -> Purchase | None:
        """Return what one more shim would gain; worked out where it is not known."""
        key = f"{digest_of(case)} {sizes_um}"
        with self._lock:
            if key in self._kept:
                found = self._kept[key]
                return found if isinstance(found, Purchase) else None
        bought = purchase(self.of(case), sizes_um)
        self._keep(key, bought)
        return bought

    def _keep(self, key: str, found: Matching | Purchase | None) -> None:
        with self._lock:
            self._kept[key] = found
            self._kept.move_to_end(key)
            while len(self._kept) > _KEPT:
                self._kept.popitem(last=False)


def digest_of(case: MatchCase) -> str:
    """Return what a case is told apart by: the same for all that a match rests on."""
    return hashlib.sha256(repr(case).encode()).hexdigest()
