"""Which injectors of a set must move so that the set is even."""

from __future__ import annotations

from statistics import median

from nozzlewright.judging import Outcome, SetVerdict
from nozzlewright.judging.engine_set import opening_pressures


def to_be_matched(set_verdict: SetVerdict) -> dict[int, float]:
    """Return the injectors to be reset and the opening pressure to give them, [Pa].

    Where the spread fails, the one farthest from the median is taken out, then the next, until
    those that stay are within the limit; what was taken out is to be reset to their median. So few
    injectors are opened. Where the spread is not proved good, only the odd one out is.
    """
    limit = set_verdict.spread_limit_pa
    pressures = {
        cylinder: quantity.value
        for cylinder, quantity in opening_pressures(set_verdict.injectors).items()
    }
    if len(pressures) < 2:
        return {}
    matched: dict[int, float] = {}
    if set_verdict.spread_outcome is Outcome.FAIL and limit is not None:
        while len(pressures) > 1 and max(pressures.values()) - min(pressures.values()) > limit:
            centre = median(pressures.values())
            farthest = max(pressures, key=lambda one: abs(pressures[one] - centre))
            del pressures[farthest]
            matched[farthest] = 0.0
    elif set_verdict.odd_one_out is not None and set_verdict.spread_outcome is not Outcome.PASS:
        odd = set_verdict.odd_one_out.cylinder
        del pressures[odd]
        matched[odd] = 0.0
    centre = median(pressures.values())
    return dict.fromkeys(matched, centre)
