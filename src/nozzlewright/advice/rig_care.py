"""What to do about the rig that was checked, and what comes due on it.

What is to be done is common practice, no source. Where something was not measured, what makes it
measured is said by whoever missed it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from nozzlewright.judging.rig import (
    CHARTED,
    Fitness,
    ItemVerdict,
    RigItem,
    RigVerdict,
    drift_text,
)
from nozzlewright.measurement import NotMeasured
from nozzlewright.said import Said, say


@dataclass(frozen=True)
class RigAct:
    """One thing to do."""

    item: RigItem | None
    """What it is for; None: the card as a whole."""
    do: str


@dataclass(frozen=True)
class ComingDue:
    """A day after which something no longer holds."""

    item: RigItem
    on: date
    """Last day."""
    drifts: bool
    """Whether it is the day on which a drift may reach its limit, not a date on the card."""


NO_LIMITS = say(
    "Write on the card what the rig must keep: how far it may fall with its plug, its zero, its "
    "temperature, its dates."
)
"""What to do about a card that demands nothing."""

AGAINST_ANOTHER_GAUGE = say(
    "Hold the gauge against a dead-weight tester or another gauge: that tells whether it is "
    "the gauge or the nozzle."
)
"""What to do where the reference nozzle opens elsewhere than it did."""

_DATED = {
    RigItem.GAUGE: say("Have the gauge calibrated, and put the new certificate on the card."),
    RigItem.PROBE: say("Have the temperature probe calibrated, and write the day on the card."),
    RigItem.OIL: say("Change the oil, and write the day on the card."),
    RigItem.FILTER: say("Change the filter, and write the day on the card."),
}
_UNDATED = {
    RigItem.OIL: say("Write on the card when the oil was filled in, and how long it is in use."),
    RigItem.FILTER: say("Write on the card when the filter was changed."),
}
_OUT = {
    RigItem.BLANK: say(
        "Look for the leak with the plug in: pump valve, cone, unions, gauge. Mend it, and hold "
        "once more."
    ),
    RigItem.TEMPERATURE: say("Warm or cool the oil until it is within its limits, and stir it."),
    RigItem.ZERO: say(
        "Let the pressure off, tap the gauge and read it once more. If it stays so, have the gauge "
        "set and calibrated."
    ),
    RigItem.COMPLIANCE: say(
        "Bleed the line and let known volumes out once more. If it stays so, pipe, gauge or plug "
        "is another one: put the volume on the card right."
    ),
    RigItem.OPENING: AGAINST_ANOTHER_GAUGE,
    RigItem.DROP: say(
        "Stir the oil, take its temperature and time the fall once more. If it stays so, hold the "
        "nozzle against another sound one."
    ),
}
_CHANGING = {
    RigItem.BLANK: say("Look for the leak while it is small: pump valve, cone, unions, gauge."),
    RigItem.ZERO: _OUT[RigItem.ZERO],
    RigItem.OPENING: _OUT[RigItem.OPENING],
    RigItem.DROP: _OUT[RigItem.DROP],
}
"""Where a chart says that something changes."""
_NEAR = {
    RigItem.BLANK: say("Hold it longer: over more time a fall is told more exactly."),
    RigItem.TEMPERATURE: say("Warm or cool the oil a little, stir it, and take it once more."),
    RigItem.ZERO: _OUT[RigItem.ZERO],
    RigItem.COMPLIANCE: say("Let more and larger volumes out: then it is told more exactly."),
    RigItem.OPENING: say("Make some more slow strokes: then it is told more exactly."),
    RigItem.DROP: say("Time the fall some more times: then it is told more exactly."),
    RigItem.PROBE: say("State the oil temperature no surer than the probe can tell it."),
}
"""Where a value lies nearer to its limit than it is known."""


def to_do(verdict: RigVerdict) -> tuple[RigAct, ...]:
    """Return what to do about a rig, that which keeps it from being fit first; one for each item.

    Examples
    --------
    >>> to_do(RigVerdict(Fitness.UNCHECKED, (), ()))[0].do[:50]
    'Write on the card what the rig must keep: how far '
    """
    if not any(one.limit for one in verdict.items):
        return (RigAct(None, NO_LIMITS),)
    order = (Fitness.OUT, Fitness.UNCHECKED, Fitness.WATCH)
    wanted = [one for one in verdict.items if one.fitness in order and _asks(one)]
    wanted.sort(key=lambda one: order.index(one.fitness))
    acts = [(one.item, _act(one)) for one in wanted]
    return tuple(RigAct(item, do) for item, do in acts if do)


def _asks(one: ItemVerdict) -> bool:
    # A compliance is not measured on most days, and its limit asks for nothing then.
    return one.fitness is not Fitness.UNCHECKED or bool(one.limit)


def _act(one: ItemVerdict) -> str:
    if isinstance(one.measured, NotMeasured):
        remedy = one.measured.remedy
        return say("{remedy:capital}.", remedy=remedy) if remedy else ""
    if one.item in _DATED and (one.fitness is Fitness.OUT or _runs_out(one)):
        return _DATED[one.item]
    if one.fitness is Fitness.UNCHECKED:
        return _UNDATED.get(one.item, "")
    if one.fitness is Fitness.OUT:
        return _OUT.get(one.item, "")
    # Where the chart is what makes it to be watched, its words stand before the measured value.
    if one.item in _CHANGING and len(one.reasons) > 1:
        return _CHANGING[one.item]
    return _NEAR.get(one.item, "")


def _runs_out(one: ItemVerdict) -> bool:
    return one.fitness is Fitness.WATCH and one.due is not None and one.item is not RigItem.PROBE


def coming_due(verdict: RigVerdict) -> tuple[ComingDue, ...]:
    """Return the days after which something no longer holds, the nearest first.

    Dates of the card, and the days on which a clear drift may reach its limit.
    """
    dated = [ComingDue(one.item, one.due, False) for one in verdict.items if one.due is not None]
    drifting = [
        ComingDue(item, day, True)
        for item in CHARTED
        if (chart := verdict.charts.get(item)) is not None
        and drift_text(chart)
        and (day := chart.reaches_on) is not None
    ]
    return tuple(sorted([*dated, *drifting], key=lambda one: (one.on, one.item.value)))


def due_text(one: ComingDue, today: date) -> Said:
    """Return how long something still holds, as seen on a day.

    Examples
    --------
    >>> due_text(ComingDue(RigItem.GAUGE, date(2026, 3, 9), False), date(2026, 3, 4))
    '2026-03-09, in 5 days'
    """
    left = (one.on - today).days
    day = one.on.isoformat()
    if one.drifts and left >= 0:
        return say("perhaps from {day} on, as it drifts", day=day)
    if one.drifts:
        return say("perhaps since {day}, as it drifts", day=day)
    if left < 0:
        return say("{day}: run out", day=day)
    if left == 0:
        return say("{day}: the last day is today", day=day)
    return say("{day}, in {count} days", day=day, count=left)
