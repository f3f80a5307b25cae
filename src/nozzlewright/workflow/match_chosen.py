"""One act: choose a match, so that it is part of the story; and how far it has come since.

The entry keeps what is planned at each injector, and the reading on which that rests. A newer
choice takes the place of an older one, and both stay in the story. Whether a step is done, came
out as foretold or has gone stale is never written down: it follows from the entries that came
after the choice.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

from nozzlewright.advice import Act, MatchPlan, MatchStep, SettingKnowledge, reading_after
from nozzlewright.advice.match_words import bench_steps, choice_words, work_words
from nozzlewright.advice.setting_spring import SPRING_LENGTH, SPRING_RATE
from nozzlewright.judging.wording import bar, stated
from nozzlewright.measurement import Cause, Quantity, difference
from nozzlewright.records import Entry, EntryKind, InjectorStory, JobStory, Standing
from nozzlewright.said import Said, as_data, from_data, say
from nozzlewright.workflow.match import Allowed
from nozzlewright.workflow.setting_record import (
    READ_ONCE_PA,
    change_in,
    measured_spring,
    opening_from,
)
from nozzlewright.workflow.workshop import Workshop

SAME_SHIM_UM = 2.0
"""Thicknesses that differ by no more are the same, [um]."""
SAME_SPRING_UM = 30.0
"""Lengths of a spring that differ by no more are the same spring measured twice, [um]."""
SAME_TURN = 0.03
"""Turns that differ by no more are the same, [1]: ten degrees."""
READ_AGAIN = 2.0
"""A reading farther than this from the one before it has changed, [sd]."""


class PlanState(StrEnum):
    """How far the plan has come at one injector."""

    TO_DO = "to do"
    DONE = "done"
    AS_FORETOLD = "as foretold"
    NOT_AS_FORETOLD = "not as foretold"
    OTHERWISE = "done otherwise"
    STALE = "stale"
    STAYS = "stays"


AT_ODDS = frozenset({PlanState.NOT_AS_FORETOLD, PlanState.OTHERWISE, PlanState.STALE})
"""States at one injector after which what is planned at the others is no longer the best."""


@dataclass(frozen=True)
class PlannedStep:
    """What was planned at one injector."""

    cylinder: int
    injector: str
    """Its identity in the record."""
    act: Act
    now_pa: float
    """Opening pressure on which it rests, [Pa]."""
    opening: Quantity
    """Opening pressure foretold, with the doubt of what this gauge is to show, [Pa]."""
    shims_um: tuple[int, ...] = ()
    shims_were_um: tuple[int, ...] = ()
    spring_um: int | None = None
    spring_was_um: int | None = None
    spare: str = ""
    thicker_m: float | None = None
    turns: float | None = None
    do: str = ""
    """The step in words, as it was said then; empty where nothing is done."""


@dataclass(frozen=True)
class PlannedHere:
    """What is planned at one injector, and how far it has come."""

    step: PlannedStep
    state: PlanState
    reading: Quantity | None = None
    """What was read after it was done."""
    why: str = ""
    """Why it no longer holds; empty where it does."""

    @property
    def open(self) -> bool:
        """Whether it is still to be done, and holds."""
        return self.state is PlanState.TO_DO


@dataclass(frozen=True)
class ChosenMatch:
    """The match that was chosen last, and how far it has come."""

    chosen: Standing
    steps: tuple[PlannedHere, ...]
    """In the order of the bench, those that stay as they are last."""
    words: str
    work: str
    stale: tuple[str, ...] = field(default=())
    """Why it no longer holds as a whole; empty where it does."""

    @property
    def acts(self) -> tuple[PlannedHere, ...]:
        """Return what is work."""
        return tuple(one for one in self.steps if one.step.act is not Act.KEEP)

    @property
    def done(self) -> int:
        """Return how many of the injectors to be touched are done."""
        ready = {PlanState.DONE, PlanState.AS_FORETOLD, PlanState.NOT_AS_FORETOLD}
        return sum(one.state in ready for one in self.acts)

    @property
    def holds(self) -> bool:
        """Whether nothing has come up that asks for another match."""
        return not self.stale

    def at(self, injector: str) -> PlannedHere | None:
        """Return what is planned at an injector; None where it is none of the plan."""
        return next((one for one in self.steps if one.step.injector == injector), None)


# --- the act --------------------------------------------------------------------------------------


def choose(
    shop: Workshop,
    id: str,  # noqa: A002 - the record's word
    who: str,
    story: JobStory,
    plan: MatchPlan,
    allowed: Allowed | None = None,
) -> Entry:
    """Write down which choice of a match is carried out.

    Parameters
    ----------
    shop : Workshop
        The workshop
    id, who : str
        Identity of the act, so that a repeated tap is the same one; the person
    story : JobStory
        The job
    plan : MatchPlan
        The choice
    allowed : Allowed, optional
        What the fitter allowed

    Raises
    ------
    NotAllowed
        If an injector of the plan is no longer in the set, or the job was handed over.
    """
    known = shop.records.entry(id)
    if known is not None and known.kind is EntryKind.MATCH and known.draft.story == story.job:
        return known
    body = chosen_body(plan, story, shop.setting_known(story), allowed)
    return shop.note(id, who, story.job, EntryKind.MATCH, body)


def chosen_body(
    plan: MatchPlan,
    story: JobStory,
    knowledge: SettingKnowledge | None = None,
    allowed: Allowed | None = None,
) -> dict[str, Any]:
    """Return what the entry of a choice says, as plain data."""
    allowed = allowed or Allowed()
    words = {one.cylinder: one for one in bench_steps(plan)}
    changes = {change.cylinder: change for change in plan.changes}
    order = [*words, *(one for one in changes if one not in words)]
    steps = []
    for cylinder in order:
        one, change = story.at_cylinder(cylinder), changes[cylinder]
        if one is None:
            continue
        step = _step_data(change, plan.case.openings[cylinder], one, knowledge)
        if cylinder in words:
            step["do"] = as_data(words[cylinder].do)
        steps.append(step)
    return {
        "sheet": story.sheet,
        "touched": plan.work,
        "spread_pa": plan.spread_pa,
        "outside": list(plan.outside),
        "proven": plan.proven,
        "words": as_data(choice_words(plan)),
        "work": as_data(work_words(plan)),
        "spares": allowed.spares,
        "springs": allowed.springs,
        "steps": steps,
    }


def _step_data(
    step: MatchStep, now: Quantity, one: InjectorStory, knowledge: SettingKnowledge | None
) -> dict[str, Any]:
    shown_u = _shown_u(step, now, one, knowledge)
    data: dict[str, Any] = {
        "cylinder": step.cylinder,
        "injector": one.injector,
        "act": step.act.value,
        "now_pa": now.value,
        "opening_pa": [step.predicted.value, shown_u],
        "shims_um": list(step.shims_um),
        "shims_were_um": list(step.shims_were_um),
        "spring_um": step.spring_um,
        "spring_was_um": step.spring_was_um,
        "spare": step.spare,
        "thicker_m": step.thicker_m,
        "turns": step.turns,
    }
    return {key: value for key, value in data.items() if value not in (None, "", [])}


def _shown_u(
    step: MatchStep, now: Quantity, one: InjectorStory, knowledge: SettingKnowledge | None
) -> float:
    """Return the doubt of what the same gauge is to show afterwards, [Pa]."""
    whole = step.predicted.standard_uncertainty
    if knowledge is None or step.act in (Act.SPARE, Act.KEEP):
        return whole
    amount = step.turns if step.turns is not None else step.thicker_m
    if amount is None:
        longer = 0 if step.spring_um is None else step.spring_um - (step.spring_was_um or 0)
        amount = (sum(step.shims_um) - sum(step.shims_were_um) + longer) * 1e-6
    shown = reading_after(now, amount, knowledge, one.injector).standard_uncertainty
    of_spring = [
        part
        for cause, part in step.predicted.contributions.items()
        if step.spring_um is not None and cause.name in _OF_SPRING
    ]
    return math.hypot(shown, *of_spring)


_OF_SPRING = frozenset({SPRING_LENGTH, SPRING_RATE})


def is_chosen(story: JobStory, plan: MatchPlan) -> bool:
    """Return whether a plan asks for just what the match asks for that was chosen last."""
    if story.match is None:
        return False
    kept = {one.cylinder: one for one in planned_steps(story.match.body)}
    return set(kept) == {change.cylinder for change in plan.changes} and all(
        _asks(kept[change.cylinder]) == _asks(change) for change in plan.changes
    )


def _asks(step: PlannedStep | MatchStep) -> tuple[object, ...]:
    turns, thicker = step.turns, step.thicker_m
    return (
        step.act,
        step.shims_um,
        step.shims_were_um,
        step.spring_um,
        step.spare,
        None if turns is None else round(turns, 3),
        None if thicker is None else round(thicker, 6),
    )


def planned_steps(body: Mapping[str, Any]) -> tuple[PlannedStep, ...]:
    """Return the steps that an entry of a choice keeps, in their order."""
    return tuple(_step_from(step) for step in body.get("steps", ()))


def _step_from(data: Mapping[str, Any]) -> PlannedStep:
    value, u = data["opening_pa"]
    return PlannedStep(
        cylinder=int(data["cylinder"]),
        injector=str(data["injector"]),
        act=Act(data["act"]),
        now_pa=float(data["now_pa"]),
        opening=Quantity(float(value), "Pa", {Cause(say("as noted")): float(u)}),
        shims_um=tuple(int(one) for one in data.get("shims_um", ())),
        shims_were_um=tuple(int(one) for one in data.get("shims_were_um", ())),
        spring_um=data.get("spring_um"),
        spring_was_um=data.get("spring_was_um"),
        spare=str(data.get("spare", "")),
        thicker_m=data.get("thicker_m"),
        turns=data.get("turns"),
        do=from_data(data.get("do", "")),
    )


# --- how far it has come --------------------------------------------------------------------------


def chosen_match(story: JobStory) -> ChosenMatch | None:
    """Return the match that was chosen last, with what came of it; None where none was chosen."""
    chosen = story.match
    if chosen is None:
        return None
    steps = planned_steps(chosen.body)
    here = [_here(story, chosen, step) for step in steps]
    stale = [
        *_whole(story, chosen),
        *(
            say("Cylinder {cylinder}: {why}", cylinder=one.step.cylinder, why=one.why)
            for one in here
            if one.state in AT_ODDS and one.why
        ),
    ]
    return ChosenMatch(
        chosen,
        tuple(here),
        words=from_data(chosen.body["words"]),
        work=from_data(chosen.body["work"]),
        stale=tuple(stale),
    )


def _whole(story: JobStory, chosen: Standing) -> Iterator[Said]:
    if story.sheet != chosen.body.get("sheet"):
        yield say("Another setting sheet was chosen since.")
    planned = {step.injector for step in planned_steps(chosen.body)}
    spares = {step.spare for step in planned_steps(chosen.body) if step.spare}
    for one in story.in_order():
        new = one.injector not in planned and not {one.serial, one.injector} & spares
        if new and any(
            opening_from(test) is not None and test.entry.number > chosen.entry.number
            for test in one.tests
        ):
            yield say(
                "Cylinder {cylinder} was read, which was not reckoned with.", cylinder=one.cylinder
            )


def _here(story: JobStory, chosen: Standing, step: PlannedStep) -> PlannedHere:
    one, number = story.injectors.get(step.injector), chosen.entry.number
    if step.act is Act.SPARE:
        return _exchanged(story, step, one)
    if one is None:
        return PlannedHere(step, PlanState.STALE, why=say("it was taken out of the set."))
    changed_at = max(
        (each.entry.number for each in one.settings if each.entry.number > number), default=0
    )
    if one.assembled_at > number and one.spring_changed_at == one.assembled_at:
        changed_at = max(changed_at, one.spring_changed_at)
    if not changed_at and _as_planned(one, step, number) and one.assembled_at > number:
        changed_at = one.assembled_at  # the planned shim went in as it was put together
    if changed_at:
        return _changed(one, step, number, changed_at)
    why = _gone_stale(one, step, number)
    if why:
        return PlannedHere(step, PlanState.STALE, why=why)
    return PlannedHere(step, PlanState.STAYS if step.act is Act.KEEP else PlanState.TO_DO)


def _changed(one: InjectorStory, step: PlannedStep, number: int, changed_at: int) -> PlannedHere:
    if step.act is Act.KEEP:
        return PlannedHere(
            step, PlanState.OTHERWISE, why=say("it was set, and was to stay as it was.")
        )
    if not _as_planned(one, step, number):
        return PlannedHere(step, PlanState.OTHERWISE, why=say("it was set otherwise than planned."))
    reading = _read_after(one, changed_at)
    if reading is None:
        return PlannedHere(step, PlanState.DONE)
    low, high = step.opening.coverage_interval
    near = abs(reading.value - step.opening.value) <= READ_AGAIN * READ_ONCE_PA
    if near or low <= reading.value <= high:
        return PlannedHere(step, PlanState.AS_FORETOLD, reading)
    return PlannedHere(
        step,
        PlanState.NOT_AS_FORETOLD,
        reading,
        why=say(
            "it came out at {reading}, where {foretold} was foretold.",
            reading=bar(round(reading.value, -4)),
            foretold=stated(step.opening),
        ),
    )


def _as_planned(one: InjectorStory, step: PlannedStep, number: int) -> bool:
    """Return whether an injector is set as it was planned."""
    if step.act is Act.KEEP:
        return False
    if step.spring_um is not None:
        fitted = measured_spring(one.spring)
        if one.spring_changed_at <= number or fitted is None:
            return False
        if abs(fitted.length.value * 1e6 - step.spring_um) > SAME_SPRING_UM:
            return False
    if step.shims_um:
        return (
            one.shim_mm is not None and abs(one.shim_mm * 1e3 - sum(step.shims_um)) <= SAME_SHIM_UM
        )
    done = [change_in(each.body) for each in one.settings if each.entry.number > number]
    amount = sum(each[0] for each in done if each is not None)
    if step.turns is not None:
        return bool(done) and abs(amount - step.turns) <= SAME_TURN
    if step.thicker_m is not None:
        finest = 0.5 * 0.05e-3  # the nearest shim of what is sold
        return bool(done) and abs(amount - step.thicker_m) <= finest
    return step.spring_um is not None


def _gone_stale(one: InjectorStory, step: PlannedStep, number: int) -> str:
    """Return why what is planned at an injector no longer holds; empty where it does."""
    if step.shims_were_um and one.shim_mm is not None:
        were = sum(step.shims_were_um)
        if abs(one.shim_mm * 1e3 - were) > SAME_SHIM_UM:
            return say("another shim lies in it than was reckoned with.")
    before = _read_before(one, number)
    if before is None or abs(before.value - step.now_pa) > 1e3:
        return say("the reading on which the plan rests was put right.")
    now = _read_after(one, number)
    if now is None:
        return ""
    apart = difference(now, before)
    doubt = max(READ_AGAIN * apart.standard_uncertainty, READ_AGAIN * READ_ONCE_PA)
    if abs(apart.value) <= doubt:
        return ""
    return say(
        "it was read again, {now} instead of {before}.",
        now=bar(round(now.value, -4)),
        before=bar(round(before.value, -4)),
    )


def _read_after(one: InjectorStory, number: int) -> Quantity | None:
    for test in reversed(one.tests):
        if test.entry.number <= number:
            return None
        opening = opening_from(test)
        if opening is not None:
            return opening
    return None


def _read_before(one: InjectorStory, number: int) -> Quantity | None:
    for test in reversed(one.tests):
        opening = opening_from(test)
        if test.entry.number < number and opening is not None:
            return opening
    return None


def _exchanged(story: JobStory, step: PlannedStep, one: InjectorStory | None) -> PlannedHere:
    there = story.at_cylinder(step.cylinder)
    if there is not None and step.spare in {there.serial, there.injector}:
        return PlannedHere(step, PlanState.DONE)
    if one is None and there is not None:
        return PlannedHere(
            step, PlanState.OTHERWISE, why=say("another injector than the planned one is in it.")
        )
    return PlannedHere(step, PlanState.TO_DO)
