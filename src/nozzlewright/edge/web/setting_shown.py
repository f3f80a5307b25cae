"""The change of a setting as the step shows it: what to fit, what to expect, how sure that is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from nozzlewright.advice import Choice, SettingChange, SettingKnowledge
from nozzlewright.advice.setting import effect_words, shim_thickness
from nozzlewright.bench import OpeningBand, ShimDrawer
from nozzlewright.edge.web import show
from nozzlewright.edge.web.texts import _, said
from nozzlewright.judging.wording import percent
from nozzlewright.measurement import Cause, NotMeasured, Quantity
from nozzlewright.records import InjectorStory, Standing
from nozzlewright.workflow.setting_record import change_in, opening_from

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
