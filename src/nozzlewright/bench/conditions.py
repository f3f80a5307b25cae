"""What a gauge recording cannot know: the conditions of the bench on the day."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

from nozzlewright.bench.apparatus import BlankPlug, Fluid, Gauge, Rig
from nozzlewright.bench.reading_study import ReadingStudies
from nozzlewright.bench.rig_check import RigReadings
from nozzlewright.measurement import Quantity


class TipGrade(StrEnum):
    """What the fitter saw at the nozzle tip while the pressure was held."""

    DRY = "dry"
    DAMP = "damp"
    DROP = "drop"


@dataclass(frozen=True)
class TipWatch:
    """What the fitter saw during a hold."""

    grade: TipGrade | None = None
    leak_off_drops: int | None = None
    """Drops counted at the leak-off."""
    leak_off_seconds: float | None = None
    """Time over which they were counted, [s]."""
    outside_leak: str = ""
    """Where else oil was seen (nut, union, cap), in words."""


@dataclass(frozen=True)
class NozzleGeometry:
    """Dimensions that are known of the nozzle, each None where it is not."""

    guide_diameter_m: float | None = None
    seat_diameter_m: float | None = None
    guide_length_m: float | None = None
    body_diameter_m: float | None = None
    """Outer diameter of the nozzle body round the guide; for the elastic growth of the gap."""
    spring_rate_n_per_m: float | None = None
    two_spring: bool = False


@dataclass(frozen=True)
class DropWindow:
    """The two pressures between which the drop is timed, with the reference of the limit."""

    from_pa: float
    to_pa: float
    reference_temperature_k: float | None = None
    """Temperature at which the limit holds; None where the sheet names none."""
    reference_compliance: Quantity | None = None
    """Rig compliance to which the limit refers, [m^3/Pa]; None where the sheet names none."""


@dataclass(frozen=True)
class BenchConditions:
    """All that was known beside the recording; every piece may be missing.

    A missing piece costs only the values that need it.
    """

    sitting: str = ""
    """Names one sitting at one rig: errors of gauge level and temperature are common to it."""
    fluid: Fluid | None = None
    oil_temperature: Quantity | None = None
    """Temperature of the oil in the test, [K]."""
    gauge: Gauge = field(default_factory=Gauge)
    rig: Rig = field(default_factory=Rig)
    blank_plug: BlankPlug | None = None
    geometry: NozzleGeometry = field(default_factory=NozzleGeometry)
    window: DropWindow | None = None
    opening_target_pa: float | None = None
    """Opening pressure that the sheet asks for; helps to tell a seat hold from others."""
    seat_margin_pa: float | None = None
    """How far below the opening pressure the seat is tested."""
    seat_hold_s: float | None = None
    seat_watch: TipWatch = field(default_factory=TipWatch)
    """What the fitter saw during the seat hold."""
    drop_watch: TipWatch = field(default_factory=TipWatch)
    """What the fitter saw while the drop was timed."""
    readings: RigReadings | None = None
    """What was read in the check of the rig, the blank plug apart."""
    studies: ReadingStudies = field(default_factory=ReadingStudies)
    """Studies of fitters that stand for readings by hand on the day of the test."""
