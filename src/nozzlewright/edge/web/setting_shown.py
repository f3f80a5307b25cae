"""The change of a setting as the step shows it: what to fit, what to expect, how sure that is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from nozzlewright.advice import Act, Choice, SettingChange, SettingKnowledge
from nozzlewright.advice.setting import effect_words, shim_thickness, spring_warnings
from nozzlewright.bench import OpeningBand, SettingSheet, ShimDrawer
from nozzlewright.edge.web import show
from nozzlewright.edge.web.texts import N_, _, said
from nozzlewright.judging.wording import percent
from nozzlewright.measurement import Cause, NotMeasured, Quantity
from nozzlewright.records import InjectorStory, JobStory, Standing
from nozzlewright.workflow.match_chosen import (
    ChosenMatch,
    PlannedHere,
    PlannedStep,
    PlanState,
    chosen_match,
)
from nozzlewright.workflow.setting_record import change_in, measured_spring, opening_from

WIDTH = 640.0
"""Of the picture, in its own units."""
EDGE = 24.0
BAR = 1e5


@dataclass(frozen=True)
class Picture:
    """Pressure on the band: places along the picture, in its own units, and what they say."""

    band: tuple[float, float]
    zone: tuple[float, float]
    target: float
    now: float
    then: float
    span: tuple[float, float]
    """95 % interval of what the gauge is to show."""
    band_words: tuple[str, str]
    target_words: str
    now_words: str
    then_words: str
    words: str
    """The whole in a sentence, for those who cannot see it."""
    stays: bool


@dataclass(frozen=True)
class ChoiceShown:
    """One thing that can be done."""

    what: str
    """Shim to fit, or turns, large."""
    by: str
    """How much that is more or less than now."""
    chance: str
    shown: str
    """What the gauge is to show."""
    stock: str
    shim_mm: str
    """As it stands in the input; empty for a screw."""
    turns: str
    sense: str
    stays: bool
    shims_um: str
    """A stack, for the record; empty for one shim."""


@dataclass(frozen=True)
class Learned:
    """What the last change taught."""

    foretold: str
    got: str
    held: bool
    effect: str


@dataclass(frozen=True)
class Proposal:
    """What the step proposes."""

    best: ChoiceShown
    others: tuple[ChoiceShown, ...]
    stays: bool
    now: str
    target: str
    picture: Picture
    do: str
    why: str
    warnings: tuple[str, ...]
    effect: str
    sure: str
    remarks: tuple[str, ...]
    trial: bool


@dataclass(frozen=True)
class PlannedShown:
    """What the chosen match plans at one injector, and how far it has come."""

    cylinder: int
    injector: str
    what: str
    """Shim to fit, or turns, large; or that it stays."""
    by: str
    foretold: str
    """What the gauge is to show."""
    state: str
    """Shape of the state."""
    state_words: str
    open: bool
    """Whether it is still to be done here, and the match holds."""
    do: str
    why: str
    """Why it no longer holds."""
    reading: str
    shim_mm: str
    """As it stands in the input; empty for a screw."""
    turns: str
    sense: str
    shims_um: str
    """A stack, for the record; empty for one shim."""
    stays: bool = False
    """Whether nothing is planned here but that it stays."""
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class MatchShown:
    """The match that was chosen, as pages show it."""

    who: str
    at: datetime
    words: str
    work: str
    steps: tuple[PlannedShown, ...]
    done: int
    of: int
    stale: tuple[str, ...]
    entry: str


_PLAN_STATES: Mapping[PlanState, tuple[str, str]] = {
    PlanState.TO_DO: ("waiting", N_("to do")),
    PlanState.DONE: ("done", N_("done, not read yet")),
    PlanState.AS_FORETOLD: ("pass", N_("done, as foretold")),
    PlanState.NOT_AS_FORETOLD: ("unclear", N_("done, not as foretold")),
    PlanState.OTHERWISE: ("unclear", N_("done otherwise")),
    PlanState.STALE: ("unclear", N_("out of date")),
    PlanState.STAYS: ("open", N_("stays as it is")),
}


def planned_match(story: JobStory) -> MatchShown | None:
    """Return the match that was chosen last; None where none was."""
    found = chosen_match(story)
    return None if found is None else _match_shown(found)


def _match_shown(found: ChosenMatch) -> MatchShown:
    draft = found.chosen.entry.draft
    return MatchShown(
        who=draft.who,
        at=draft.at,
        words=said(found.words),
        work=said(found.work),
        steps=tuple(_planned(found, one) for one in found.steps),
        done=found.done,
        of=len(found.acts),
        stale=tuple(map(said, found.stale)),
        entry=found.chosen.id,
    )


def planned_at(
    story: JobStory, one: InjectorStory, sheet: SettingSheet | None, effect: Quantity | None
) -> tuple[PlannedShown, MatchShown] | None:
    """Return what the chosen match plans at an injector, and the match; None where nothing.

    Parameters
    ----------
    story, one : JobStory, InjectorStory
        The job; the injector
    sheet : SettingSheet or None
        For what is to be feared of the spring at the pressure that is planned
    effect : Quantity or None
        Of shim, [Pa/m], or of a turn, [Pa], at this injector
    """
    found = chosen_match(story)
    here = found.at(one.injector) if found is not None else None
    if found is None or here is None:
        return None
    shown, whole = _planned(found, here), _match_shown(found)
    if sheet is None or effect is None or not shown.open:
        return shown, whole
    spring = measured_spring(one.spring)
    warnings = tuple(
        said(each) for each in spring_warnings(sheet, here.step.opening, effect, spring)
    )
    return replace(shown, warnings=warnings), whole


def _planned(found: ChosenMatch, here: PlannedHere) -> PlannedShown:
    step = here.step
    state, words = _PLAN_STATES[here.state]
    what, by = _planned_words(step)
    total = sum(step.shims_um) / 1e3 if step.act is Act.SHIM and step.shims_um else None
    turns = step.turns
    return PlannedShown(
        cylinder=step.cylinder,
        injector=step.injector,
        what=what,
        by=by,
        foretold=show.pressure(step.opening),
        state=state,
        state_words=_(words),
        open=here.open and found.holds and step.act in (Act.SHIM, Act.TURN),
        do=said(step.do),
        why=said(here.why),
        reading="" if here.reading is None else show.pressure(here.reading.value),
        shim_mm="" if total is None else show.localised(f"{round(total, 3):g}"),
        turns="" if turns is None else show.localised(f"{abs(turns):.3g}"),
        sense="out" if turns is not None and turns < 0 else "in",
        shims_um="+".join(map(str, step.shims_um)) if len(step.shims_um) > 1 else "",
        stays=step.act is Act.KEEP,
    )


def _planned_words(step: PlannedStep) -> tuple[str, str]:
    """Return what is to be done, large, and by how much that is more or less."""
    if step.act is Act.KEEP:
        return _("leave it"), ""
    if step.act is Act.SPARE:
        return _("spare %(name)s") % {"name": step.spare}, ""
    if step.turns is not None:
        sense = _("in") if step.turns >= 0 else _("out")
        turns = show.localised(f"{abs(step.turns):.2f}")
        degrees = show.localised(f"{abs(step.turns) * 360.0:.0f}")
        return _("%(turns)s turn %(sense)s") % {"turns": turns, "sense": sense}, f"{degrees}°"
    if step.thicker_m is not None:
        return _signed_um(step.thicker_m * 1e6), ""
    sizes = " + ".join(show.localised(shim_thickness(size * 1e-6)) for size in step.shims_um)
    what = f"{sizes} mm"
    by = _signed_um(sum(step.shims_um) - sum(step.shims_were_um))
    if step.spring_um is None:
        return what, by
    length = show.localised(f"{step.spring_um / 1e3:.2f}")
    return what, _("%(by)s and the spring of %(length)s mm") % {"by": by, "length": length}


def _signed_um(size_um: float) -> str:
    sign = "−" if size_um < 0 else "+"
    return f"{sign}{show.localised(shim_thickness(abs(size_um) * 1e-6))} mm"


def proposal_of(
    change: SettingChange,
    opening: Quantity,
    band: OpeningBand,
    knowledge: SettingKnowledge,
    drawer: ShimDrawer | None,
    shim_now_mm: float | None,
) -> Proposal:
    """Return a proposed change as the step shows it."""
    return Proposal(
        best=_choice(change.best, drawer, shim_now_mm, by_screw=change.by_screw),
        others=tuple(
            _choice(one, drawer, shim_now_mm, by_screw=change.by_screw) for one in change.others
        ),
        stays=change.best.amount == 0.0,
        now=show.pressure(opening.value),
        target=show.pressure(change.target_pa),
        picture=_picture(change, opening, band),
        do=said(change.do),
        why=said(change.why),
        warnings=tuple(said(warning) for warning in change.warnings),
        effect=said(effect_words(change.effect, by_screw=change.by_screw)),
        sure=said(knowledge.sure),
        remarks=tuple(said(remark) for remark in knowledge.remarks),
        trial=change.trial,
    )


def _choice(
    one: Choice, drawer: ShimDrawer | None, now_mm: float | None, *, by_screw: bool
) -> ChoiceShown:
    shims = [round(size * 1e6) for size in one.shims_m]
    stays = one.amount == 0.0
    if by_screw:
        what = (
            _("leave it")
            if stays
            else _("%(turns)s turn %(sense)s")
            % {
                "turns": show.localised(f"{abs(one.amount):.2f}"),
                "sense": _("in") if one.amount > 0 else _("out"),
            }
        )
        by = "" if stays else f"{show.localised(f'{abs(one.amount) * 360.0:.0f}')}°"
    elif stays:
        what = _("leave it")
        by = "" if now_mm is None else f"{show.localised(f'{now_mm:.2f}')} mm"
    else:
        sign = "+" if one.amount > 0 else "−"
        step = f"{sign}{show.localised(shim_thickness(abs(one.amount)))} mm"
        sizes = " + ".join(show.localised(shim_thickness(size)) for size in one.shims_m)
        what, by = (f"{sizes} mm", step) if sizes else (step, "")
    total = None if not one.shims_m else sum(one.shims_m) * 1e3
    return ChoiceShown(
        what=what,
        by=by,
        chance=said(percent(one.chance)),
        shown=show.pressure(one.shown.value if stays else one.shown),
        stock="" if stays or by_screw else _stock(shims, drawer),
        shim_mm="" if total is None else show.localised(f"{round(total, 3):g}"),
        turns=show.localised(f"{abs(one.amount):.3g}") if by_screw and not stays else "",
        sense="out" if one.amount < 0 else "in",
        stays=stays,
        shims_um="+".join(map(str, shims)) if len(shims) > 1 else "",
    )


def _stock(shims: Sequence[int], drawer: ShimDrawer | None) -> str:
    """Return how many of a shim are in the drawer, in words; empty where nobody counts them."""
    if drawer is None or len(shims) != 1:
        return ""
    count = drawer.counts.get(shims[0], 0)
    if count is None:
        return _("as many as you like in the drawer")
    return _("%(count)s in the drawer") % {"count": count}


def _picture(change: SettingChange, opening: Quantity, band: OpeningBand) -> Picture:
    shown = change.best.shown
    low, high = shown.coverage_interval
    ends = (band.lower_pa, band.upper_pa, opening.value, low, high, change.target_pa)
    least, most = min(ends), max(ends)
    room = 0.06 * (most - least) + 1.0

    def at(pressure_pa: float) -> float:
        share = (pressure_pa - least + room) / (most - least + 2.0 * room)
        return round(EDGE + share * (WIDTH - 2.0 * EDGE), 1)

    number = show.pressure_number
    zone = tuple(min(max(edge, band.lower_pa), band.upper_pa) for edge in change.zone_pa)
    words = _(
        "Opening pressure now %(now)s; after the change %(then)s, in 19 of 20 cases "
        "%(low)s to %(high)s; band %(lower)s to %(upper)s, target %(target)s."
    ) % {
        "now": show.pressure(opening.value),
        "then": show.pressure(shown.value),
        "low": number(low),
        "high": show.pressure(high),
        "lower": number(band.lower_pa),
        "upper": show.pressure(band.upper_pa),
        "target": show.pressure(change.target_pa),
    }
    return Picture(
        band=(at(band.lower_pa), at(band.upper_pa)),
        zone=(at(zone[0]), at(max(zone))),
        target=at(change.target_pa),
        now=at(opening.value),
        then=at(shown.value),
        span=(at(low), at(high)),
        band_words=(number(band.lower_pa), number(band.upper_pa)),
        target_words=number(change.target_pa),
        now_words=number(opening.value),
        then_words=number(shown.value),
        words=words,
        stays=change.best.amount == 0.0,
    )


def learned_of(knowledge: SettingKnowledge | None, one: InjectorStory) -> Learned | None:
    """Return what was foretold of the last change, what was read, and what that taught."""
    if not one.settings or knowledge is None:
        return None
    last = one.settings[-1]
    after = _read_after(one, last)
    noted = (last.body.get("foretold") or {}).get("opening_pa")
    if after is None or not isinstance(noted, Sequence) or len(noted) != 2:
        return None
    foretold = Quantity(float(noted[0]), "Pa", {Cause("as noted"): float(noted[1])})
    low, high = foretold.coverage_interval
    step = change_in(last.body)
    if step is None or step[1] is not knowledge.by_screw:
        return None
    effect = knowledge.effect_of(one.injector)
    return Learned(
        foretold=show.pressure(foretold),
        got=show.pressure(after.value),
        held=low <= after.value <= high,
        effect=said(effect_words(effect, by_screw=knowledge.by_screw)),
    )


def _read_after(one: InjectorStory, change: Standing) -> Quantity | None:
    for test in reversed(one.tests):
        if test.entry.number < change.entry.number:
            return None
        opening = opening_from(test)
        if opening is not None:
            return opening
    return None


def missing_words(missing: NotMeasured) -> tuple[str, str]:
    """Return why nothing can be proposed, and what to do."""
    return said(missing.reason), said(missing.remedy)
