"""What several tests ask of a sitting: the tip, leaks outside, cautions that bind a verdict."""

from __future__ import annotations

import re
from collections.abc import Iterable

from nozzlewright.bench import DecisionRule, SeatHold, TestSitting, TipGrade, TipWatch
from nozzlewright.judging.verdict import Outcome
from nozzlewright.measurement import Caution, Quantity
from nozzlewright.said import say

_WORSE = {TipGrade.DRY: 0, TipGrade.DAMP: 1, TipGrade.DROP: 2}


def watches(sitting: TestSitting) -> tuple[TipWatch, ...]:
    """Return all that was written down of the tip in a sitting."""
    kept = [sitting.seen.seat_watch]
    if sitting.gauge is not None and isinstance(sitting.gauge.seat_hold, SeatHold):
        kept.append(sitting.gauge.seat_hold.watch)
    return tuple(kept)


def tip_grades(sitting: TestSitting) -> tuple[TipGrade, ...]:
    """Return the different grades given to the tip, the worst first."""
    stated = [sitting.seen.seat, *(watch.grade for watch in watches(sitting))]
    grades = {grade for grade in stated if grade is not None}
    return tuple(sorted(grades, key=lambda grade: -_WORSE[grade]))


def outside_leak(sitting: TestSitting) -> str:
    """Return where else oil was seen, in the fitter's words; empty where nowhere."""
    return next((watch.outside_leak for watch in watches(sitting) if watch.outside_leak), "")


def mentions(cautions: Iterable[Caution], *words: str) -> Caution | None:
    """Return the first caution in whose name a word begins with one of these."""
    begins = re.compile(rf"\b(?:{'|'.join(words)})", re.IGNORECASE)
    return next((caution for caution in cautions if begins.search(caution.name)), None)


def hedged(outcome: Outcome, measured: Quantity, rule: DecisionRule) -> tuple[Outcome, str]:
    """Return what an outcome shrinks to where the stated uncertainty is known to lack a part.

    A guarded verdict leans on the uncertainty. Where the level of the gauge is not in it,
    neither a pass nor a fail is proved.
    """
    unknown = mentions(measured.cautions, "gauge unknown")
    if unknown is None or rule is not DecisionRule.GUARDED or outcome is Outcome.TOO_CLOSE:
        return outcome, ""
    return Outcome.TOO_CLOSE, say(
        "It would be a {outcome}, but nothing is proved: {unknown}. State the gauge's range and "
        "class, or its certificate.",
        outcome=outcome,
        unknown=unknown.text,
    )
