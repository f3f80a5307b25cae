"""Findings: what a test showed, whether a recording or a person's eye brought it.

Judging sees these and never the evidence behind them, so a hand-read gauge and a recorded one
are judged alike.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

from nozzlewright.bench.conditions import TipGrade, TipWatch
from nozzlewright.bench.spring import MeasuredSpring
from nozzlewright.measurement import Caution, Measured, NotMeasured
from nozzlewright.said import say


class StrokeKind(StrEnum):
    """How a lever stroke was made, as far as the trace shows."""

    FILL = "fill"
    """Pressure did not reach an opening: filling, bleeding or pumping up to a hold."""
    SLOW = "slow"
    FAST = "fast"


@dataclass(frozen=True)
class Stroke:
    """One delivery stroke of the lever."""

    index: int
    """Counted from 0 in the order of time."""
    start_s: float
    end_s: float
    kind: StrokeKind
    rise_rate_pa_per_s: float
    """Rate of pressure rise while it delivers and the needle is shut, [Pa/s]."""
    openings: int


@dataclass(frozen=True)
class Opening:
    """One lift-off of the needle."""

    time_s: float
    lift_off_pa: float
    closing_pa: float
    """Lowest pressure of the fall, ringing of the line smoothed out."""
    rise_rate_pa_per_s: float
    """Rate of rise just before lift-off."""
    stroke: int
    """Index of the stroke in which it happened."""

    @property
    def fall_pa(self) -> float:
        """Size of the fall."""
        return self.lift_off_pa - self.closing_pa


_NO_CHATTER = NotMeasured(say("no fast strokes were found"), say("make a few quick, even strokes"))
_NO_HOLD = NotMeasured(
    say("no hold was found"), say("pump up, shut the pump off and let the pressure fall")
)


@dataclass(frozen=True)
class Hold:
    """A stretch with the pump shut off in which the pressure decays."""

    start_s: float
    end_s: float
    start_pa: float
    end_pa: float
    window_from_pa: float | None = None
    window_to_pa: float | None = None
    drop_time_as_shown: Measured = _NO_HOLD
    """Time from the window's upper to its lower pressure as the gauge showed it, [s]."""
    drop_time_at_reference: Measured = _NO_HOLD
    """The same for the injector alone, at the sheet's reference conditions, [s]."""
    decay_rate: Measured = _NO_HOLD
    """-d ln p/dt at the middle of the decay, fitted to all of it, [1/s]."""
    leakage_conductance: Measured = _NO_HOLD
    """Injector's leakage per pressure at the test's temperature, low pressure, [m^3/(s Pa)]."""
    rig_conductance: Measured = _NO_HOLD
    """The rig's own leakage per pressure, [m^3/(s Pa)]."""
    guide_clearance: Measured = _NO_HOLD
    """Effective hydraulic clearance, diametral, [m]; never a dimension."""
    settling: Measured = _NO_HOLD
    """Pressure lost to cooling in the first seconds, not to leakage, [Pa]."""
    tip: TipWatch = field(default_factory=TipWatch)
    """What was seen while the drop was timed."""
    rig_leak_taken_off: bool = False
    """Whether the rig's own leak was measured, and so is no part of the injector's values."""
    leak_path: str = ""
    """Which leak it is, as far as it can be told, in words."""
    fit_time_s: tuple[float, ...] = ()
    """Times of the fitted decay, for drawing, [s]."""
    fit_pressure_pa: tuple[float, ...] = ()
    """Fitted pressure at those times, [Pa]."""
    cautions: tuple[Caution, ...] = ()


@dataclass(frozen=True)
class SeatHold:
    """A hold a stated margin below the opening pressure, with the tip watched."""

    start_s: float
    end_s: float
    start_pressure: Measured
    mean_pressure: Measured
    fall: Measured
    duration: Measured
    margin_below_opening: Measured
    watch: TipWatch
    cautions: tuple[Caution, ...] = ()


@dataclass(frozen=True)
class Chatter:
    """Openings in quick strokes: evidence of a free needle and a sound seat."""

    openings_per_stroke: Measured
    """Mean over the fast strokes, [1]."""
    rate: Measured
    """Openings per second within a stroke, [Hz]."""
    regularity: Measured
    """Coefficient of variation of the time between openings, [1]; 0 is a clock."""


@dataclass(frozen=True)
class GaugeFindings:
    """All that one recording (or one card of hand readings) showed."""

    source: str
    """Name of the recording or card."""
    digest: str
    """SHA-256 of the raw file."""
    by_hand: bool
    opening_pressure: Measured
    """Set value from slow strokes, [Pa]."""
    closing_pressure: Measured
    second_opening_pressure: Measured
    """Two-spring holders: where hard strokes show it, [Pa]."""
    openings: tuple[Opening, ...] = ()
    strokes: tuple[Stroke, ...] = ()
    hold: Hold | NotMeasured = _NO_HOLD
    """The decay that answers the sheet's window best."""
    seat_hold: SeatHold | NotMeasured = _NO_HOLD
    chatter: Chatter | NotMeasured = _NO_CHATTER
    cautions: tuple[Caution, ...] = ()
    history: tuple[str, ...] = ()
    """What was done to the recording, step by step."""


class SprayGrade(StrEnum):
    """Spray as the fitter judged it."""

    GOOD = "good"
    POOR = "poor"


class ChatterGrade(StrEnum):
    """Chatter as the fitter heard it."""

    CLEAR = "clear"
    WEAK = "weak"
    NONE = "none"


class NoResult(StrEnum):
    """Why an injector may give no result on the rig; common practice."""

    SEIZED = "needle seized"
    NO_PRESSURE = "builds up no pressure"
    NOT_OPENING = "will not open"
    OUTSIDE = "leaks outside"
    DAMAGED = "damaged: not put on the rig"


class Severity(StrEnum):
    """What a finding of the inspection asks for."""

    NOTE = "note"
    REWORK = "rework"
    RENEW = "renew"


@dataclass(frozen=True)
class InspectionFinding:
    """One thing seen on a part."""

    part: str
    """The part in the trade's words: ``needle``, ``nozzle body``, ``pressure face`` ..."""
    seen: str
    severity: Severity


@dataclass(frozen=True)
class FitterObservations:
    """What the fitter saw and heard; None where a test was not done."""

    spray: SprayGrade | None = None
    spray_note: str = ""
    chatter: ChatterGrade | None = None
    seat: TipGrade | None = None
    seat_watch: TipWatch = field(default_factory=TipWatch)
    leak_off_pa: float | None = None
    """Pressure held while drops were counted at the leak-off, as read, [Pa]."""
    needle_slide: bool | None = None
    """Whether the wetted needle slid to its seat by its own weight at every angle."""
    inspection: tuple[InspectionFinding, ...] = ()
    note: str = ""
    no_result: NoResult | str = ""
    """Why the injector gives no result on the rig, in own words where no known reason fits; empty
    where it gives one."""

    @property
    def at_the_rig(self) -> bool:
        """Whether anything was seen or heard of it under pressure."""
        return any((self.spray, self.chatter, self.seat, self.seat_watch.grade, self.no_result))


@dataclass(frozen=True)
class TestSitting:
    """One injector tested once: as found, or as left."""

    __test__ = False  # not a test class for pytest

    gauge: GaugeFindings | None
    seen: FitterObservations
    shim_mm: float | None = None
    """Shim thickness under the spring in this test, where it was written down."""
    spring: MeasuredSpring | None = None
    """Its spring as it was measured, where it was."""
    rig_objections: tuple[str, ...] = ()
    """Why the rig on which the fall was tested bears no verdict on it; empty where it does."""
