"""What a person says about a file because the file does not say it."""

from __future__ import annotations

from dataclasses import dataclass

from nozzlewright.edge.intake.headings import (
    About,
    Heading,
    Unit,
    pressure_unit_spelled,
    time_unit_spelled,
)
from nozzlewright.edge.intake.mending import RawTrace, TraceFault
from nozzlewright.measurement import Caution
from nozzlewright.said import figure, say

FASTEST_S = 2e-5
"""Shortest step between readings that is plausible where a file does not name its unit of time."""
SLOWEST_S = 2.0
"""Longest such step: a hand-pump test sampled more slowly shows nothing."""


@dataclass(frozen=True)
class Hints:
    """Columns and units as stated by the person; None where the file is to say it."""

    pressure_column: str | int | None = None
    time_column: str | int | None = None
    pressure_unit: str | None = None
    time_unit: str | None = None
    sample_rate_hz: float | None = None

    def stated_pressure_unit(self) -> Unit | None:
        """Return the stated unit of pressure.

        Raises
        ------
        TraceFault
            If it is not known.
        """
        if self.pressure_unit is None:
            return None
        unit = pressure_unit_spelled(self.pressure_unit)
        if unit is None:
            raise TraceFault(
                f"'{self.pressure_unit}' is not a unit of pressure known here",
                "State bar, mbar, kPa, MPa, Pa, psi, kgf/cm2, at or atm",
            )
        return unit

    def stated_time_unit(self) -> Unit | None:
        """Return the stated unit of time.

        Raises
        ------
        TraceFault
            If it is not known.
        """
        if self.time_unit is None:
            return None
        unit = time_unit_spelled(self.time_unit)
        if unit is None:
            raise TraceFault(
                f"'{self.time_unit}' is not a unit of time known here",
                "State s, ms, us, ns, min or h",
            )
        return unit


class RawNotes:
    """History and cautions gathered while a file is read."""

    def __init__(self) -> None:
        self.history: list[str] = []
        self.cautions: list[Caution] = []

    def note(self, name: str, text: str) -> None:
        """Add a line of history and a caution."""
        self.history.append(say("{text:capital}", text=text))
        self.cautions.append(Caution(name, text))

    def onto(self, raw: RawTrace) -> RawTrace:
        """Put what was gathered before what the trace already says."""
        raw.history[:0] = self.history
        raw.cautions[:0] = self.cautions
        return raw


def unit_of_pressure(heading: Heading, hints: Hints, stated: Unit | None, notes: RawNotes) -> Unit:
    """Return the unit of the pressure column: as stated by the person, its heading, the file.

    Raises
    ------
    TraceFault
        If nobody says it: a unit of pressure is never guessed from a headed column.
    """
    unit = hints.stated_pressure_unit()
    if unit is None and heading.unit is not None and heading.unit.about is About.PRESSURE:
        unit = heading.unit
    if unit is None:
        unit = stated
    if unit is None:
        raise TraceFault(
            f"nothing says in which unit the pressure column {heading.shown} is",
            "Head the column with its unit, or state it with pressure_unit; take it from the "
            "papers of the logger or sensor. Raw counts need the sensor's calibration first",
        )
    if unit.name == "atm" and hints.pressure_unit is None:
        notes.note(
            say("assumed unit"),
            say(
                "'atm' is taken as the standard atmosphere (1.01325 bar); were it the technical "
                "one (at, 0.980665 bar), every pressure would be {share} lower",
                share=say("{value} %", value=figure(3.2)),
            ),
        )
    return unit


def epoch_unit(value: float) -> Unit | None:
    """Return the unit in which a number is a present-day count since 1970, or None.

    >>> str(epoch_unit(1.77e12)), epoch_unit(12.5)
    ('ms', None)
    """
    for name, scale in (("s", 1.0), ("ms", 1e3), ("us", 1e6), ("ns", 1e9)):
        if 6e8 * scale <= abs(value) < 6e9 * scale:  # 1989 to 2160
            return Unit(name, About.TIME)
    return None
