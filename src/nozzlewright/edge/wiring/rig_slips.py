"""Readings and days that no rig can have given: slips of the pen, told before they are kept."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from nozzlewright.bench import BenchConditions
from nozzlewright.errors import Fault
from nozzlewright.said import in_bar, say

AGREE_WITHIN = 2.0
"""Ratio beyond which two openings of one nozzle are a slip, not scatter (common practice, no
source)."""
_ROUNDING = 1.0 + 1e-6


def reading_slips(conditions: BenchConditions) -> Iterator[Fault]:
    """Yield what this gauge cannot have shown, or one nozzle cannot have done.

    Parameters
    ----------
    conditions : BenchConditions
        A card with its readings

    Yields
    ------
    Fault
        Its ``where`` is the sort of reading: ``blank``, ``bled``, ``drop``, ``opening``,
        ``strokes`` or ``zero``.

    Examples
    --------
    >>> from nozzlewright.bench import Gauge, RigReadings
    >>> openings = RigReadings(opening_pa=(180e5, 9e5))
    >>> [fault.where for fault in reading_slips(BenchConditions(readings=openings))]
    ['opening']
    """
    shown = _shown(conditions)
    opening = shown["opening"]
    if opening and max(opening) > AGREE_WITHIN * min(opening):
        yield Fault(
            say(
                "{low} and {high} are no two openings of one nozzle",
                low=in_bar(min(opening)),
                high=in_bar(max(opening)),
            ),
            "opening",
            say("Look for a decimal sign that is missing, or that parts one number in two"),
        )
    highest = conditions.gauge.range_pa
    if highest is None:
        return
    for where, pressures in shown.items():
        if pressures and max(pressures) > highest * _ROUNDING:
            yield Fault(
                say(
                    "{value} is beyond the gauge, which goes to {highest}",
                    value=in_bar(max(pressures)),
                    highest=in_bar(highest),
                ),
                where,
                say("Look at the number and its unit, or put the gauge's range on the card right"),
            )


def _shown(conditions: BenchConditions) -> dict[str, tuple[float, ...]]:
    """Return what was read off the gauge, [Pa], by the sort of reading."""
    readings, plug = conditions.readings, conditions.blank_plug
    shown: dict[str, tuple[float, ...]] = {"opening": ()}
    if readings is not None:
        shown["zero"] = (readings.zero_pa,) if readings.zero_pa is not None else ()
        shown["opening"] = readings.opening_pa
        shown["drop"] = (readings.drop_from_pa,) if readings.drop_from_pa else ()
        shown["bled"] = tuple(one.from_pa for one in readings.bled)
        shown["strokes"] = readings.strokes.pressures_pa if readings.strokes else ()
    if plug is not None and plug.drop_from_pa and not plug.recording:
        shown["blank"] = (plug.drop_from_pa,)
    return shown


def date_slips(conditions: BenchConditions, today: date) -> Iterator[Fault]:
    """Yield what a card says to have happened after today.

    A slip of the year there hides that a calibration has run out, or that the oil is old.

    Parameters
    ----------
    conditions : BenchConditions
        A card
    today : datetime.date
        The shop's calendar day

    Yields
    ------
    Fault
        Its ``where`` is the card's ``table.key``.
    """
    gauge, rig, fluid = conditions.gauge, conditions.rig, conditions.fluid
    happened = {
        "gauge.calibrated_on": gauge.calibrated_on,
        "probe.calibrated_on": rig.probe.calibrated_on if rig.probe is not None else "",
        "fluid.filled_on": fluid.filled_on if fluid is not None else "",
        "filter.changed_on": rig.filter.changed_on if rig.filter is not None else "",
    }
    for key, text in happened.items():
        fault = not_yet(text, key, today)
        if fault is not None:
            yield fault


def not_yet(text: str, where: str, today: date) -> Fault | None:
    """Return what is wrong with a day that something is said to have happened on.

    >>> not_yet("2026-03-04", "fluid.filled_on", date(2026, 3, 4)) is None
    True
    >>> print(not_yet("2062-03-04", "fluid.filled_on", date(2026, 3, 4)).what)
    2062-03-04 has not come yet
    """
    try:
        day = date.fromisoformat(text)
    except ValueError:
        return None
    if day <= today:
        return None
    return Fault(
        say("{day} has not come yet", day=text), where, say("Look at the day and its year")
    )
