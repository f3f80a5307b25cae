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
    return max(0, _last_place(standard_uncertainty, digits))


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
    place = _last_place(standard_uncertainty, 2)
    decimals = max(0, place)
    shown = round(value, place) + 0.0  # never "-0.0"
    return f"{shown:.{decimals}f} ± {round(standard_uncertainty, place):.{decimals}f}"


def _last_place(standard_uncertainty: float, digits: int) -> int:
    """Return the decimal place of the last digit shown; negative left of the point."""
    place = digits - 1 - math.floor(math.log10(standard_uncertainty))
    rounded = round(standard_uncertainty, place)  # 0.0996 becomes 0.10, one place less
    return digits - 1 - math.floor(math.log10(rounded))
