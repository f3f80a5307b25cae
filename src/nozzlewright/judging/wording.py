"""Values in the words of a verdict: always with unit and 95 % interval."""

from __future__ import annotations

import math
from collections.abc import Sequence

from nozzlewright.measurement import NotMeasured, Quantity, decimals_for
from nozzlewright.said import Figure, Said, Unit, figure, in_bar, joined, say

TRADE_FACTOR = {"Pa": (1e-5, "bar"), "s": (1.0, "s"), "m": (1e3, "mm"), "1": (1.0, "")}
"""Trade unit for each SI unit that a verdict speaks of: factor and name."""

MOST_PLACES = 5
"""Decimals beyond which no value is told, however near to its limit."""
_SAME = 1e-9
"""Share by which two numbers of one limit may differ for the change of units alone."""


def stated(
    quantity: Quantity,
    at_most_places: int | None = None,
    *,
    lower: float | None = None,
    upper: float | None = None,
) -> Said:
    """Return value and half of the 95 % interval, or its ends where it is lopsided.

    Where fewer decimals are asked for than the interval bears, it is widened to the last one.
    Where rounding would carry the value across a limit that it is held against, it is given to
    more decimals, so that the number agrees with its verdict.

    >>> from nozzlewright.measurement import Cause
    >>> stated(Quantity(174.94e5, "Pa", {Cause("gauge level"): 0.23e5}))
    '174.94 ± 0.45 bar'
    >>> stated(Quantity(20.0, "s", interval=(17.0, 25.0)))
    '20.0 s (17.0 to 25.0 s)'
    >>> stated(Quantity(11.821, "s", {Cause("edges"): 0.021}), at_most_places=1)
    '11.8 ± 0.1 s'
    >>> stated(Quantity(5.98, "s", {Cause("watch"): 0.26}), lower=6.0)
    '5.98 ± 0.51 s'
    """
    factor, unit = TRADE_FACTOR.get(quantity.unit, (1.0, quantity.unit))
    value = quantity.value * factor
    low, high = (bound * factor for bound in quantity.coverage_interval)
    half = 0.5 * (high - low)
    if half <= 0.0:
        return with_unit(plain(value, unit), unit)
    lopsided = abs((high - value) - (value - low)) > 0.2 * half
    places = decimals_for(half)
    if at_most_places is not None and at_most_places < places:
        places, step = at_most_places, 10.0**-at_most_places
        half = math.ceil(half / step) * step
        low, high = math.floor(low / step) * step, math.ceil(high / step) * step
    while places < MOST_PLACES and _crosses(value, round(value, places), lower, upper, factor):
        places += 1
    shown, half_shown, low_shown, high_shown = (
        figure(number, f".{places}f", unit) for number in (value, half, low, high)
    )
    if lopsided:
        return say(
            "{value} ({low} to {high})",
            value=with_unit(shown, unit),
            low=low_shown,
            high=with_unit(high_shown, unit),
        )
    return with_unit(say("{value} ± {half}", value=shown, half=half_shown), unit)


def _crosses(
    value: float, shown: float, lower: float | None, upper: float | None, factor: float
) -> bool:
    """Return whether a rounded value lies on the other side of a limit than the value itself."""
    low = -math.inf if lower is None else lower * factor * (1.0 - math.copysign(_SAME, lower))
    high = math.inf if upper is None else upper * factor * (1.0 + math.copysign(_SAME, upper))
    return (value < low) != (shown < low) or (value > high) != (shown > high)


def bar(pressure_pa: float) -> Said:
    """Return a pressure that carries no uncertainty, such as a limit.

    >>> bar(171.616375e5), bar(8e5)
    ('171.62 bar', '8 bar')
    """
    return with_unit(plain(pressure_pa / 1e5, "bar"), "bar")


def about(pressure_pa: float) -> Said:
    """Return a difference or an uncertainty of pressures, to three digits.

    >>> about(3.5243e5), about(0.0451e5), about(12.34e5)
    ('3.52 bar', '0.0451 bar', '12.3 bar')
    """
    return in_bar(pressure_pa, ".3g")


def seconds(time_s: float) -> Said:
    """Return a time that carries no uncertainty."""
    return with_unit(plain(time_s), "s")


def plain(value: float, unit: str = "") -> Figure:
    """Return a number to five significant digits, at most two decimals from 10 on.

    >>> plain(0.05), plain(175.0), plain(179.14012), plain(1.0 / 3.0)
    ('0.05', '175', '179.14', '0.33333')
    """
    if value == 0.0 or not math.isfinite(value):
        return Figure("0" if value == 0.0 else str(value), value, unit, exact=True)
    places = 2 if abs(value) >= 10.0 else max(0, 4 - math.floor(math.log10(abs(value))))
    text = f"{value:.{places}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return Figure(text, value, unit, exact=True)


def percent(probability: float) -> Said:
    """Return a probability as per cent that never claims certainty.

    >>> percent(0.778), percent(0.99996), percent(1e-7)
    ('78 %', 'over 99.9 %', 'under 0.1 %')
    """
    if probability > 0.999:
        return say("over {chance} %", chance=figure(99.9))
    if probability < 0.001:
        return say("under {chance} %", chance=figure(0.1))
    places = 0 if 0.1 <= probability <= 0.9 else 1
    return say("{chance} %", chance=figure(100.0 * probability, f".{places}f"))


def not_measured(name: Said, missing: NotMeasured) -> tuple[Said, ...]:
    """Return the sentences that say why a value is missing and how to have it.

    >>> not_measured(say("The drop time"), NotMeasured(say("no hold was found"), say("hold it")))
    ('The drop time was not measured, because no hold was found.', 'Hold it.')
    """
    why = say("{what} was not measured, because {reason}.", what=name, reason=missing.reason)
    return (why, *remedy(missing))


def remedy(missing: NotMeasured) -> tuple[Said, ...]:
    """Return the sentence that says how to have a missing value; none where nothing is known."""
    if not missing.remedy:
        return ()
    return (say("{remedy:capital}.", remedy=missing.remedy),)


def with_unit(value: str, unit: str) -> Said:
    """Return a number with its unit, if it has one."""
    return say("{value} {unit}", value=value, unit=Unit(unit)) if unit else joined("", [value])


def listed(words: Sequence[str]) -> Said:
    """Return words as a list in a sentence.

    >>> listed(["a", "b", "c"])
    'a, b and c'
    """
    if len(words) < 2:
        return joined("", words)
    return say("{first} and {last}", first=joined(", ", words[:-1]), last=words[-1])


def one_of(words: Sequence[str]) -> Said:
    """Return words of which any one will do.

    >>> one_of(["a", "b", "c"])
    'a, b or c'
    """
    if len(words) < 2:
        return joined("", words)
    *others, last = words
    return say("{first} or {last}", first=joined(", ", others), last=last)
