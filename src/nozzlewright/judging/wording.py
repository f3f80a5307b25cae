"""Values in the words of a verdict: always with unit and 95 % interval."""

from __future__ import annotations

import math

from nozzlewright.measurement import NotMeasured, Quantity, decimals_for

TRADE_FACTOR = {"Pa": (1e-5, "bar"), "s": (1.0, "s"), "m": (1e3, "mm"), "1": (1.0, "")}
"""Trade unit for each SI unit that a verdict speaks of: factor and name."""


def stated(quantity: Quantity, at_most_places: int | None = None) -> str:
    """Return value and half of the 95 % interval, or its ends where it is lopsided.

    Where fewer decimals are asked for than the interval bears, it is widened to the last one.

    >>> from nozzlewright.measurement import Cause
    >>> stated(Quantity(174.94e5, "Pa", {Cause("gauge level"): 0.23e5}))
    '174.94 ± 0.45 bar'
    >>> stated(Quantity(20.0, "s", interval=(17.0, 25.0)))
    '20.0 s (17.0 to 25.0 s)'
    >>> stated(Quantity(11.821, "s", {Cause("edges"): 0.021}), at_most_places=1)
    '11.8 ± 0.1 s'
    """
    factor, unit = TRADE_FACTOR.get(quantity.unit, (1.0, quantity.unit))
    value = quantity.value * factor
    low, high = (bound * factor for bound in quantity.coverage_interval)
    half = 0.5 * (high - low)
    if half <= 0.0:
        return with_unit(plain(value), unit)
    lopsided = abs((high - value) - (value - low)) > 0.2 * half
    places = decimals_for(half)
    if at_most_places is not None and at_most_places < places:
        places, step = at_most_places, 10.0**-at_most_places
        half = math.ceil(half / step) * step
        low, high = math.floor(low / step) * step, math.ceil(high / step) * step
    if lopsided:
        return (
            f"{with_unit(f'{value:.{places}f}', unit)} "
            f"({low:.{places}f} to {with_unit(f'{high:.{places}f}', unit)})"
        )
    return with_unit(f"{value:.{places}f} ± {half:.{places}f}", unit)


def bar(pressure_pa: float) -> str:
    """Return a pressure that carries no uncertainty, such as a limit.

    >>> bar(171.616375e5), bar(8e5)
    ('171.62 bar', '8 bar')
    """
    return f"{plain(pressure_pa / 1e5)} bar"


def about(pressure_pa: float) -> str:
    """Return a difference or an uncertainty of pressures, to three digits.

    >>> about(3.5243e5), about(0.0451e5), about(12.34e5)
    ('3.52 bar', '0.0451 bar', '12.3 bar')
    """
    return f"{pressure_pa / 1e5:.3g} bar"


def seconds(time_s: float) -> str:
    """Return a time that carries no uncertainty."""
    return f"{plain(time_s)} s"


def plain(value: float) -> str:
    """Return a number to five significant digits, at most two decimals from 10 on.

    >>> plain(0.05), plain(175.0), plain(179.14012), plain(1.0 / 3.0)
    ('0.05', '175', '179.14', '0.33333')
    """
    if value == 0.0 or not math.isfinite(value):
        return "0" if value == 0.0 else str(value)
    places = 2 if abs(value) >= 10.0 else max(0, 4 - math.floor(math.log10(abs(value))))
    text = f"{value:.{places}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def percent(probability: float) -> str:
    """Return a probability as per cent that never claims certainty.

    >>> percent(0.778), percent(0.99996), percent(1e-7)
    ('78 %', 'over 99.9 %', 'under 0.1 %')
    """
    if probability > 0.999:
        return "over 99.9 %"
    if probability < 0.001:
        return "under 0.1 %"
    if 0.1 <= probability <= 0.9:
        return f"{100.0 * probability:.0f} %"
    return f"{100.0 * probability:.1f} %"


def not_measured(name: str, missing: NotMeasured) -> tuple[str, ...]:
    """Return the sentences that say why a value is missing and how to have it.

    >>> not_measured("The drop time", NotMeasured("no hold was found", "hold it"))
    ('The drop time was not measured, because no hold was found.', 'Hold it.')
    """
    return (f"{name} was not measured, because {missing.reason}.", *remedy(missing))


def remedy(missing: NotMeasured) -> tuple[str, ...]:
    """Return the sentence that says how to have a missing value; none where nothing is known."""
    if not missing.remedy:
        return ()
    return (missing.remedy[:1].upper() + missing.remedy[1:].rstrip(".") + ".",)


def with_unit(text: str, unit: str) -> str:
    """Return a number with its unit, if it has one."""
    return f"{text} {unit}" if unit else text


def listed(words: tuple[str, ...] | list[str]) -> str:
    """Return words as a list in a sentence.

    >>> listed(["a", "b", "c"])
    'a, b and c'
    """
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} and {words[-1]}"
