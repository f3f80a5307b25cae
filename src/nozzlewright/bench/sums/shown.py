"""Numbers of a sum as they are told: rounded by their uncertainty."""

from __future__ import annotations

import math

from nozzlewright.bench.sums.form import Result, Taken
from nozzlewright.measurement import Kind, Quantity, UnitInUse, decimals_for, named_unit


def number_in(value: float, digits: int = 4) -> str:
    """Return a number to some digits that count, without an exponent.

    >>> number_in(66.6666), number_in(0.000123456), number_in(175000.0), number_in(0.0)
    ('66.67', '0.0001235', '175000', '0')
    """
    if value == 0.0 or not math.isfinite(value):
        return "0" if value == 0.0 else str(value)
    place = digits - 1 - math.floor(math.log10(abs(value)))
    text = f"{round(value, place) + 0.0:.{max(place, 0)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def told(quantity: Quantity, unit: UnitInUse, digits: int = 4) -> tuple[str, str]:
    """Return a value in a unit and what stands after it: half of its 95 % interval, or its ends.

    >>> from nozzlewright.measurement import Cause, UNITS_OF
    >>> torque = Quantity(66.666, "Nm", {Cause("wrench"): 1.0})
    >>> told(torque, UNITS_OF[Kind.TORQUE][0])
    ('66.7', '± 2.0')
    """
    low, high = (unit.of_si(end) for end in quantity.coverage_interval)
    value = unit.of_si(quantity.value)
    half = (high - low) / 2.0
    if half <= 0.0 or not quantity.contributions:
        return number_in(value, digits), ""
    lopsided = abs((high + low) / 2.0 - value) > 0.1 * half
    place = _place(half)
    shown = [f"{round(each, place) + 0.0:.{max(place, 0)}f}" for each in (value, half, low, high)]
    if lopsided:
        return shown[0], f"({shown[2]} … {shown[3]})"
    return shown[0], f"± {shown[1]}"


def _place(half: float) -> int:
    if half >= 10.0:
        return 1 - math.floor(math.log10(half))
    return decimals_for(half)


def result_told(result: Result, unit: UnitInUse | None = None) -> tuple[str, str, str]:
    """Return value, what stands after it, and unit of a result."""
    unit = unit or result.unit
    value, after = told(result.quantity, unit, result.output.digits)
    return value, after, unit.printed


def taken_told(taken: Taken, kind: Kind) -> str:
    """Return what was taken for want of a value, with its unit.

    >>> taken_told(Taken(79.5e9, "GPa", "steel"), Kind.STRESS)
    '79.5 GPa'
    """
    unit = named_unit(taken.unit, kind)
    assert unit is not None, taken.unit  # noqa: S101  (a slip in the list of sums)
    return f"{number_in(unit.of_si(taken.value))} {unit.printed}".strip()
