"""The check of a rig: what belongs to it, what it is held against, what was read and measured."""

from __future__ import annotations

from dataclasses import dataclass

from nozzlewright.measurement import Measured, NotMeasured, Quantity
from nozzlewright.said import say


@dataclass(frozen=True)
class OilFilter:
    """Filter of the test fluid."""

    kind: str = ""
    changed_on: str = ""
    """Date of the last change, ISO 8601."""


@dataclass(frozen=True)
class TemperatureProbe:
    """What the oil's temperature is read from."""

    identity: str = ""
    standard_uncertainty_k: float | None = None
    calibrated_on: str = ""
    next_calibration_on: str = ""
    """Date on which the calibration runs out, ISO 8601."""


@dataclass(frozen=True)
class ReferenceNozzle:
    """A sound nozzle in its holder that is kept for checking the rig, and what it should show."""

    identity: str = ""
    since: str = ""
    """Date from which the values below hold, ISO 8601: with it a new chart begins."""
    opening: Quantity | None = None
    """Expected opening pressure, [Pa]."""
    opening_tolerance_pa: float | None = None
    """How far a rig that is fit may read from it, to either side; None: not stated."""
    drop_time: Quantity | None = None
    """Expected drop time of the nozzle alone between the two pressures, [s]."""
    drop_tolerance_s: float | None = None
    drop_from_pa: float | None = None
    drop_to_pa: float | None = None
    reference_temperature_k: float | None = None
    """Oil temperature for which the drop time is stated."""


@dataclass(frozen=True)
class RigLimits:
    """What a workshop demands of its rig; each None where it demands nothing."""

    blank_fall_pa: float | None = None
    """Greatest fall with the blank plug ..."""
    blank_fall_s: float | None = None
    """... in this time ..."""
    blank_fall_from_pa: float | None = None
    """... from this pressure."""
    zero_pa: float | None = None
    """Greatest reading of the gauge without pressure, to either side."""
    compliance_relative: float | None = None
    """Greatest change of the compliance from that on the card, to either side, [1]."""
    temperature_from_k: float | None = None
    temperature_to_k: float | None = None
    """Oil temperatures at which the rig may be used."""
    oil_days: float | None = None
    """Greatest age of the oil since it was filled in, [d]."""
    oil_hours: float | None = None
    """Greatest use of the oil, [h]."""
    filter_days: float | None = None
    """Greatest age of the filter, [d]."""
    remind_days: float | None = None
    """How long before a date or a limit is reached it is to be named, [d]."""
    baseline: int | None = None
    """Number of checks from which the limits of a control chart are found."""
    study_days: float | None = None
    """Greatest age of a study of fitters that stands for readings by hand, [d]."""
    calibration_grace_days: float | None = None
    """How long after its calibration has run out gauge or probe may still be used, [d]."""
    check_days: float | None = None
    """Greatest age of the check of the rig at a test of back-leakage, [d]."""


@dataclass(frozen=True)
class BledVolume:
    """Oil let out of the rig into a graduated cylinder."""

    from_pa: float
    to_pa: float
    volume_m3: float


@dataclass(frozen=True)
class LeverStrokes:
    """Strokes of known displacement into the closed rig, the pressure read after each."""

    pressures_pa: tuple[float, ...]
    """Shown before the first stroke, then after each, the lever at rest, [Pa]."""
    piston_area_m2: float
    travel_m: float
    """Of the plunger in one stroke."""
    piston_area_u_m2: float | None = None
    travel_u_m: float | None = None
    between_s: float | None = None
    """Time from one stroke to the next, [s]; None: not noted."""

    @property
    def displacement_m3(self) -> float:
        """Volume of one stroke."""
        return self.piston_area_m2 * self.travel_m


@dataclass(frozen=True)
class RigReadings:
    """What was read in one check of the rig, as it was read."""

    zero_pa: float | None = None
    """Shown without pressure."""
    zero_recording: str = ""
    """File with a recording at rest without pressure; or empty."""
    opening_pa: tuple[float, ...] = ()
    """Opening pressure of the reference nozzle, pop by pop."""
    drop_from_pa: float | None = None
    drop_to_pa: float | None = None
    drop_s: float | None = None
    """Stopwatch time of the reference nozzle's fall."""
    recording: str = ""
    """File with a recording of the reference nozzle; or empty."""
    bled: tuple[BledVolume, ...] = ()
    graduation_m3: float | None = None
    """Smallest division of the cylinder."""
    cylinder_relative_error: float | None = None
    """Permissible error of the cylinder, as a share of the volume, [1]."""
    strokes: LeverStrokes | None = None
    fitter: str = ""
    """Who read; empty where nobody knows."""


def _unmade(what: str, remedy: str) -> NotMeasured:
    return NotMeasured(what, remedy)


NO_ZERO = _unmade(
    say("the gauge was not read without pressure"), say("let the pressure off and read the gauge")
)
NO_BLANK = _unmade(
    say("there was no hold with the blank plug"),
    say("put the blank plug in the injector's place, pump up and watch the fall"),
)
NO_COMPLIANCE = _unmade(
    say("no known volume was let out or in"),
    say("bleed the rig into a graduated cylinder and note the pressures before and after"),
)
NO_REFERENCE = _unmade(
    say("the reference nozzle was not tested"),
    say("mount the reference nozzle and make three slow strokes and a drop test"),
)
NO_TEMPERATURE = _unmade(
    say("the oil temperature was not taken"), say("stir the oil and read its temperature")
)


@dataclass(frozen=True)
class RigCheck:
    """What a check of the rig showed."""

    made_on: str
    """Day of the check, ISO 8601."""
    oil_temperature: Measured = NO_TEMPERATURE
    """[K]."""
    zero: Measured = NO_ZERO
    """What the gauge shows without pressure, [Pa]."""
    blank_decay_rate: Measured = NO_BLANK
    """What the rig with its plug loses by itself, Q/(C p), [1/s]."""
    compliance: Measured = NO_COMPLIANCE
    """Oil and walls together, at `compliance_pressure_pa`, [m^3/Pa]."""
    compliance_pressure_pa: float | None = None
    reference_opening: Measured = NO_REFERENCE
    """[Pa]."""
    reference_drop: Measured = NO_REFERENCE
    """Of the reference nozzle alone, at the temperature for which its time is stated, [s]."""
