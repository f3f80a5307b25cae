"""One rule for printing a value with its uncertainty.

JCGM 100:2008, 7.2.6: an uncertainty is given to at most two significant digits, and the value
is rounded to the same place. Here: two digits, so that a printed uncertainty is off by 5 % at
most.
"""

from __future__ import annotations

import math


def decimals_for(standard_uncertainty: float, *, digits: int = 2) -> int:
    """Return how many decimals show `digits` significant digits of the uncertainty.

    >>> decimals_for(0.234), decimals_for(2.517), decimals_for(31.7), decimals_for(0.0996)
    (2, 1, 0, 2)
    """
    if not math.isfinite(standard_uncertainty) or standard_uncertainty <= 0.0:
        return digits
    place = digits - 1 - math.floor(math.log10(standard_uncertainty))
    rounded = round(standard_uncertainty, place)
    return max(0, digits - 1 - math.floor(math.log10(rounded)))


def rounded_text(value: float, standard_uncertainty: float) -> str:
    """Return ``value ± u`` rounded by the rule above, without a unit.

    >>> rounded_text(174.938, 0.2341)
    '174.94 ± 0.23'
    >>> rounded_text(1234567.0, 31700.0)
    '1235000 ± 32000'
    >>> rounded_text(50.0, 0.0)
    '50'
    """
    if standard_uncertainty <= 0.0:
        return f"{value:g}"
    places = decimals_for(standard_uncertainty)
    if standard_uncertainty >= 100.0:  # no decimals left to drop: round to tens, hundreds ...
        place = 1 - math.floor(math.log10(standard_uncertainty))
        value, standard_uncertainty = round(value, place), round(standard_uncertainty, place)
    shown = round(value, places) + 0.0  # never "-0.0"
    return f"{shown:.{places}f} ± {standard_uncertainty:.{places}f}"
