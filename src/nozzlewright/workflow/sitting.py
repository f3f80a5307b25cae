"""Several tests of one injector taken together: one sitting, as judging sees it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from nozzlewright.bench import (
    BenchConditions,
    Chatter,
    ChatterGrade,
    FitterObservations,
    GaugeFindings,
    Hold,
    InspectionFinding,
    NoResult,
    SeatHold,
    Severity,
    SprayGrade,
    TipGrade,
    TipWatch,
)
from nozzlewright.measurement import Caution, NotMeasured, Quantity
from nozzlewright.said import say

SETTING_CHANGED = NotMeasured(
    say("the setting was changed after it was read last"),
    say("make three slow strokes and read it again"),
)


@dataclass(frozen=True)
class TestPart:
    """What one test of the sitting showed."""

    __test__ = False  # not a test class for pytest

    findings: GaugeFindings
    opening_is_stale: bool = False
    """Whether the setting was changed since."""


def together(parts: Sequence[TestPart]) -> GaugeFindings | None:
    """Return what all tests of a sitting showed; the last test that has a value gives it.

    Parameters
    ----------
    parts : sequence of TestPart
        In the order in which they were made

    Returns
    -------
    GaugeFindings or None
        None where there are none
    """
    if not parts:
        return None
    all_found = [part.findings for part in parts]
    last = all_found[-1]
    if len(parts) == 1 and not parts[0].opening_is_stale:
        return last
    opening = next(
        (
            part.findings
            for part in reversed(parts)
            if not part.opening_is_stale and isinstance(part.findings.opening_pressure, Quantity)
        ),
        None,
    )
    pressure = last.opening_pressure
    if opening is None and any(
        part.opening_is_stale and isinstance(part.findings.opening_pressure, Quantity)
        for part in parts
    ):
        pressure = SETTING_CHANGED
    shown = opening or last
    return GaugeFindings(
        source=", ".join(dict.fromkeys(found.source for found in all_found)),
        digest=shown.digest,
        by_hand=all(found.by_hand for found in all_found),
        opening_pressure=opening.opening_pressure if opening else pressure,
        closing_pressure=shown.closing_pressure,
        second_opening_pressure=shown.second_opening_pressure,
        openings=shown.openings,
        strokes=shown.strokes,
        hold=next(
            (
                found.hold
                for found in reversed(all_found)
                if isinstance(found.hold, Hold)
                and isinstance(found.hold.drop_time_as_shown, Quantity)
            ),
            next((f.hold for f in reversed(all_found) if isinstance(f.hold, Hold)), last.hold),
        ),
        # A hold for the fall alone tells nothing of the seat; one that is known to stand below
        # the opening pressure goes before it.
        seat_hold=next(
            (
                found.seat_hold
                for found in reversed(all_found)
                if isinstance(found.seat_hold, SeatHold)
                and isinstance(found.seat_hold.margin_below_opening, Quantity)
            ),
            next(
                (f.seat_hold for f in reversed(all_found) if isinstance(f.seat_hold, SeatHold)),
                last.seat_hold,
            ),
        ),
        chatter=next(
            (f.chatter for f in reversed(all_found) if isinstance(f.chatter, Chatter)),
            last.chatter,
        ),
        cautions=_once(caution for found in all_found for caution in found.cautions),
        history=tuple(step for found in all_found for step in found.history),
    )


def _once(cautions: Iterable[Caution]) -> tuple[Caution, ...]:
    return tuple(dict.fromkeys(cautions))


def observed(
    seen: Iterable[Mapping[str, Any]], findings: Iterable[Mapping[str, Any]]
) -> FitterObservations:
    """Return what eye and ear noticed in a sitting; what was noted later counts.

    Parameters
    ----------
    seen : iterable of mapping
        Bodies of the entries, in order: ``spray``, ``spray_note``, ``chatter``, ``seat``,
        ``outside_leak``, ``leak_off_drops``, ``leak_off_seconds``, ``leak_off_pa``,
        ``needle_slide``, ``no_result``, ``note``
    findings : iterable of mapping
        Bodies of the inspection's findings: ``part``, ``seen``, ``severity``
    """
    noted: dict[str, Any] = {}
    for body in seen:
        noted |= {key: value for key, value in body.items() if value not in (None, "")}
    seat = TipGrade(noted["seat"]) if "seat" in noted else None
    return FitterObservations(
        spray=SprayGrade(noted["spray"]) if "spray" in noted else None,
        spray_note=str(noted.get("spray_note", "")),
        chatter=ChatterGrade(noted["chatter"]) if "chatter" in noted else None,
        seat=seat,
        seat_watch=TipWatch(
            grade=seat,
            leak_off_drops=noted.get("leak_off_drops"),
            leak_off_seconds=noted.get("leak_off_seconds"),
            outside_leak=str(noted.get("outside_leak", "")),
        ),
        leak_off_pa=noted.get("leak_off_pa"),
        needle_slide=noted.get("needle_slide"),
        inspection=tuple(
            InspectionFinding(one["part"], one["seen"], Severity(one["severity"]))
            for one in findings
        ),
        note=str(noted.get("note", "")),
        no_result=_why(str(noted.get("no_result", ""))),
    )


def _why(words: str) -> NoResult | str:
    """Return a known reason for no result as such, and own words as they are."""
    return NoResult(words) if words in set(NoResult) else words


def watched(conditions: BenchConditions, seen: Mapping[str, Any]) -> BenchConditions:
    """Return the bench conditions with what was seen at the tip during the holds."""
    outside = str(seen.get("outside_leak") or "")
    return replace(
        conditions,
        seat_watch=TipWatch(
            grade=TipGrade(seen["seat"]) if seen.get("seat") else None, outside_leak=outside
        ),
        drop_watch=TipWatch(
            grade=TipGrade(seen["drop_test"]) if seen.get("drop_test") else None,
            leak_off_drops=seen.get("leak_off_drops"),
            leak_off_seconds=seen.get("leak_off_seconds"),
            outside_leak=outside,
        ),
    )
