"""An invented engine's six injectors, each with a story, played at the pretend bench.

Nothing here belongs to any engine. The oil is cold, as in a workshop in winter, so that every fall
of pressure looks better than the guide is.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
from scipy.optimize import brentq

from nozzlewright.bench import (
    BenchConditions,
    BlankPlug,
    CertificatePoint,
    DropWindow,
    Fluid,
    Gauge,
    Rig,
)
from nozzlewright.capture import HandReadings, TimedDrop, WatchedHold
from nozzlewright.measurement import Cause, Quantity
from nozzlewright.simulator import truth as exact
from nozzlewright.simulator.models import (
    Array,
    BenchSetup,
    InjectorModel,
    OilModel,
    RigModel,
    SensorModel,
)
from nozzlewright.simulator.script import (
    Act,
    BleedStrokes,
    FastStrokes,
    HoldAt,
    Idle,
    Release,
    Script,
    SeatHold,
    SlowStrokes,
)
from nozzlewright.simulator.session import SimulatedSession, simulate

CM3 = MM2_PER_S = 1e-6
WINDOW_PA = (150e5, 100e5)
"""Window of the demo's setting sheet."""
BLANK_FILE = "recordings/blank-plug.csv"
DETAILS = ("acts", "strokes", "openings")
REFERENCE_COMPLIANCE = 2.2e-14
"""Rig compliance to which that sheet refers, [m^3/Pa]."""
REFERENCE_K = 313.15
"""Temperature to which it refers, [K]."""
LEAST_OPENING_PA = 10e5
"""Opening pressure of the demo's injectors with hardly any shim."""
MORNING_K, LATER_K = 273.15 + 13.8, 273.15 + 17.1
"""True temperature of the oil while the injectors were tested as found, and as left."""

OIL = OilModel(viscosity_points=((293.15, 4.05e-6), (313.15, 2.60e-6)), bulk_modulus_20c=1.30e9)
RIG = RigModel(
    volume_m3=24.0e-6,
    wall_compliance=1.5e-15,
    leak_conductance=6.0e-18,
    air_share=0.001,
    thermal_time_s=2.5,
)
SENSOR = SensorModel(
    rate_hz=1000.0,
    range_pa=400e5,
    bits=14,
    lag_s=3e-4,
    noise_pa=0.06e5,
    zero_error_pa=0.3e5,
    gain_error=1.2e-3,
)
SOUND = InjectorModel(
    guide_diameter_m=6.0e-3,
    seat_diameter_m=2.6e-3,
    guide_length_m=20e-3,
    spring_rate=230e3,
    opening_pressure_pa=200e5,
    friction_n=1.0,
    friction_scatter=0.1,
    opening_scatter_pa=0.1e5,
    eccentricity=0.5,
    volume_m3=4.0e-6,
)


@dataclass(frozen=True)
class Eye:
    """A dial read by eye, and a stopwatch."""

    division_pa: float = 2e5
    """Smallest division, of which the eye tells half, [Pa]"""
    dial_error_pa: float = 0.7e5
    """Shown less true, [Pa]"""
    reaction_s: float = 0.2
    """Standard deviation of start and stop together, [s]"""

    @property
    def step_pa(self) -> float:
        """Smallest step that is written down, [Pa]."""
        return self.division_pa / 2.0

    def reads(self, true_pa: float) -> float:
        """Return what is written down of a true pressure, [Pa]."""
        return round((true_pa + self.dial_error_pa) / self.step_pa) * self.step_pa


@dataclass(frozen=True)
class DemoTest:
    """One test of one injector."""

    cylinder: int
    as_left: bool
    setup: BenchSetup
    injector: InjectorModel
    session: SimulatedSession
    card: HandReadings | None = None
    """What was read by eye, where no recorder ran; then nobody is shown the recording."""
    eye: Eye | None = None
    """Whose eye, on which dial"""

    @property
    def name(self) -> str:
        """Cylinder and sitting, for the file: ``2-left``."""
        return f"{self.cylinder}-{'left' if self.as_left else 'found'}"


@dataclass(frozen=True)
class DemoSet:
    """Evidence of the invented set; whoever writes files makes a folder of it."""

    conditions: BenchConditions
    """What the invented workshop knows of its bench"""
    tests: tuple[DemoTest, ...]
    blank: SimulatedSession
    """Hold with the blank plug; the conditions name its file :data:`BLANK_FILE`"""

    def truth(self) -> dict[str, Any]:
        """Return what is true of each test, fit for JSON; stroke by stroke is left out."""
        sessions = {test.name: test.session for test in self.tests} | {"blank plug": self.blank}
        return {
            name: {key: value for key, value in session.truth.items() if key not in DETAILS}
            for name, session in sessions.items()
        }


@dataclass(frozen=True)
class _Story:
    cylinder: int
    opening_pa: float
    reference_s: float
    """What the drop of a sound seat takes at reference conditions"""
    as_left: bool = False
    friction_n: float = 1.0
    friction_scatter: float = 0.1
    drop_forms_in_s: float | None = None
    """Time in which a drop gathers at the seat; None: the seat is tight"""
    pumped_up_fast: bool = False
    by_eye: Eye | None = None
    temperature_k: float = MORNING_K


STORIES = (
    # Nothing is wrong with it.
    _Story(1, 200.6e5, 16.0),
    # The spring has settled; three steps of shim bring it back.
    _Story(2, 186.8e5, 18.0),
    _Story(2, 203.0e5, 18.0, as_left=True, temperature_k=LATER_K),
    # The guide is worn: in cold oil the drop as shown is within the limit, at 40 C it is not.
    _Story(3, 199.2e5, 6.0),
    # The seat drips; cleaned, it is tight.
    _Story(4, 200.2e5, 15.0, drop_forms_in_s=5.0),
    _Story(4, 200.3e5, 15.0, as_left=True, by_eye=Eye(), temperature_k=LATER_K),
    # Lacquer: the needle sticks.
    _Story(5, 193.0e5, 20.0, friction_n=18.0, friction_scatter=0.4),
    # Pumped up in a hurry: the warm oil cools, the drop looks like that of a worn guide. It opens
    # within its band, but lower than its sisters.
    _Story(6, 195.35e5, 12.0, pumped_up_fast=True),
)


def demo_set(rng: np.random.Generator, tell: Callable[[str], None] = lambda _: None) -> DemoSet:
    """Play the invented set.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of all chance: the same one gives the same set
    tell : callable
        Is told what is being played
    """
    tests = []
    for story in STORIES:
        tell(f"playing injector {story.cylinder}")
        tests.append(_played(story, rng))
    tell("playing the blank plug")
    held: Script = (Idle(1.0), HoldAt(170e5, 90.0, 40.0, 0.7e-6), Release(1.5))
    blank = simulate(_setup(MORNING_K), None, replace(SENSOR, rate_hz=100.0), held, rng)
    return DemoSet(demo_conditions(), tuple(tests), blank)


def demo_conditions() -> BenchConditions:
    """Return what the invented workshop knows of its bench: each a little off the truth."""
    fluid, rig, sitting = "invented test oil", "invented rig D-R1", "invented sitting 1"

    def known(value: float, u: float, unit: str, cause: str, scope: str) -> Quantity:
        parts = {Cause(cause, scope): u}
        return Quantity(value, unit, parts, "stated with its uncertainty")

    return BenchConditions(
        sitting=sitting,
        fluid=Fluid(
            name=fluid,
            viscosity_points=((293.15, 4.06 * MM2_PER_S), (313.15, 2.60 * MM2_PER_S)),
            viscosity_relative_uncertainty=0.01,
            density_15c=known(825.0, 2.0, "kg/m^3", "fluid density", fluid),
            bulk_modulus_20c=known(1.31e9, 0.03e9, "Pa", "fluid stiffness", fluid),
        ),
        oil_temperature=known(273.15 + 14.0, 0.5, "K", "temperature", sitting),
        gauge=Gauge(
            identity="invented gauge D-G1",
            range_pa=SENSOR.range_pa,
            accuracy_class=0.5,
            certificate=tuple(
                CertificatePoint(true * 1e5, shown * 1e5, 0.5 * expanded * 1e5)
                for true, shown, expanded in (
                    (0.0, 0.3, 0.2),
                    (100.0, 100.5, 0.3),
                    (200.0, 200.6, 0.3),
                    (300.0, 300.7, 0.4),
                )
            ),
            resolution_pa=0.025e5,
            time_constant_s=SENSOR.lag_s,
            calibrated_on="2026-01-05",
        ),
        rig=Rig(
            identity=rig,
            volume_m3=known(28.2 * CM3, 0.4 * CM3, "m^3", "rig volume", rig),
            wall_compliance=known(1.4e-15, 0.2e-15, "m^3/Pa", "wall compliance", rig),
        ),
        blank_plug=BlankPlug(
            recording=BLANK_FILE,
            volume_m3=known(24.7 * CM3, 0.4 * CM3, "m^3", "blank-plug volume", rig),
            temperature_k=273.15 + 14.0,
        ),
        geometry=SOUND.geometry,
        # As the sheet has them, so that a recording can be read without it.
        window=DropWindow(
            *WINDOW_PA,
            reference_temperature_k=REFERENCE_K,
            reference_compliance=Quantity(REFERENCE_COMPLIANCE, "m^3/Pa", method="reference"),
        ),
        opening_target_pa=200e5,
        seat_margin_pa=20e5,
        seat_hold_s=10.0,
    )


def _setup(temperature_k: float) -> BenchSetup:
    return BenchSetup(RIG, OIL, temperature_k, REFERENCE_K, REFERENCE_COMPLIANCE)


def demo_bench() -> tuple[BenchSetup, InjectorModel, SensorModel]:
    """Return the bench of the demo set with its first injector, to be worked by hand."""
    setup = _setup(MORNING_K)
    return setup, _injector(STORIES[0], setup), SENSOR


@lru_cache(maxsize=64)
def demo_injector(
    cylinder: int, *, cleaned: bool = False, new_pair: bool = False, raised_m: float = 0.0
) -> InjectorModel:
    """Return an injector of the demo set, to be worked by hand: as it was found, or as it was left.

    Parameters
    ----------
    cylinder : int
        Its story as found; an injector beyond the set's is like the first one
    cleaned : bool
        Whether lacquer and dirt are gone: the needle is free and the seat tight
    new_pair : bool
        Whether needle and body were renewed: the guide is that of a sound one
    raised_m : float
        How much thicker the shim is than as found, [m]
    """
    story = next((one for one in STORIES if one.cylinder == cylinder), STORIES[0])
    if cleaned or new_pair:
        story = replace(story, friction_n=1.0, friction_scatter=0.1, drop_forms_in_s=None)
    if new_pair:
        story = replace(story, reference_s=STORIES[0].reference_s)
    injector = _injector(story, _setup(MORNING_K))
    area = injector.guide_area - injector.seat_area
    opening = story.opening_pa + injector.spring_rate * raised_m / area
    return replace(injector, opening_pressure_pa=max(opening, LEAST_OPENING_PA))


def _played(story: _Story, rng: np.random.Generator) -> DemoTest:
    setup = _setup(story.temperature_k)
    injector = _injector(story, setup)
    script = _script(story, setup, injector)
    session = simulate(setup, injector, SENSOR, script, rng, windows_pa=(WINDOW_PA,))
    card = None if story.by_eye is None else _read_by_eye(session, story.by_eye, rng)
    return DemoTest(story.cylinder, story.as_left, setup, injector, session, card, story.by_eye)


def _injector(story: _Story, setup: BenchSetup) -> InjectorModel:
    """Return an injector that opens, leaks and sticks as its story has it."""
    injector = replace(
        SOUND,
        opening_pressure_pa=story.opening_pa,
        friction_n=story.friction_n,
        friction_scatter=story.friction_scatter,
    )

    def too_slow_by(clearance_m: float) -> float:
        trial = replace(injector, diametral_clearance_m=clearance_m)
        taken = exact.drop_time(
            setup,
            trial,
            *WINDOW_PA,
            setup.reference_temperature_k,
            reference_compliance=setup.reference_compliance,
        )
        return taken - story.reference_s

    clearance = float(brentq(too_slow_by, 1e-6, 12e-6))
    seat = 0.0
    if story.drop_forms_in_s is not None:
        # A drop that falls is some 15 mm3; the leak is stated at the reference viscosity.
        flow = 15e-9 / story.drop_forms_in_s / story.opening_pa
        seat = flow / exact.viscosity_ratio(setup, setup.temperature_k)
    return replace(injector, diametral_clearance_m=clearance, seat_leak_conductance=seat)


def _script(story: _Story, setup: BenchSetup, injector: InjectorModel) -> Script:
    high = min(185e5, 0.93 * injector.opening_pressure_pa)
    start = 157e5 if story.pumped_up_fast else high
    falls = exact.drop_time(
        setup, injector, start, WINDOW_PA[1], setup.temperature_k, with_rig_leak=True
    )
    # The fitter reckons from the opening that the gauge shows, with what friction adds to it.
    margin = 17e5 - injector.friction_n / (injector.guide_area - injector.seat_area)
    hold: tuple[Act, ...] = (HoldAt(start, falls + 3.0, strokes_per_min=30.0, volume_m3=0.5e-6),)
    if story.pumped_up_fast:
        fast = HoldAt(start, falls + 3.0, strokes_per_min=100.0, volume_m3=0.7e-6)
        hold = (Release(1.5), Idle(4.0), fast)
    return (
        Idle(1.0),
        BleedStrokes(3, 70.0, volume_m3=0.9e-6),
        Idle(0.8),
        SlowStrokes(5, 20.0, volume_m3=0.35e-6, push_share=0.7),
        Idle(0.8),
        FastStrokes(5, 80.0, volume_m3=0.7e-6),
        Idle(0.8),
        SeatHold(margin, 11.0, strokes_per_min=40.0, volume_m3=0.5e-6),
        Idle(0.5),
        *hold,
        Release(1.5),
    )


def _read_by_eye(session: SimulatedSession, eye: Eye, rng: np.random.Generator) -> HandReadings:
    """Return what a person writes down who watches a dial while the session is played."""
    truth = session.truth
    kinds = {stroke["index"]: stroke["kind"] for stroke in truth["strokes"]}
    slow = [o for o in truth["openings"] if kinds.get(o["stroke"]) == "slow"]
    first = {o["stroke"]: o for o in reversed(slow)}.values()
    fast = [stroke["openings"] for stroke in truth["strokes"] if stroke["kind"] == "fast"]
    seat = next(hold for hold in truth["holds"] if hold["kind"] == "seat")
    drop = next(hold for hold in truth["holds"] if hold["kind"] == "drop")
    inside = (session.true_time_s >= drop["start_s"]) & (session.true_time_s <= drop["end_s"])
    taken = _fall(
        session.true_time_s[inside],
        session.true_pressure_pa[inside],
        *(pressure - eye.dial_error_pa for pressure in WINDOW_PA),
    )
    seconds = round(taken + eye.reaction_s * float(rng.standard_normal()), 1)
    readings = HandReadings(
        source="card",
        digest="",
        opening_pa=tuple(eye.reads(o["peak_pa"]) for o in reversed(first)),
        closing_pa=tuple(eye.reads(o["minimum_pa"]) for o in reversed(first)),
        drops=(TimedDrop(*WINDOW_PA, seconds),),
        seat_hold=WatchedHold(eye.reads(seat["start_pa"]), eye.reads(seat["end_pa"]), 10.0),
        openings_per_stroke=tuple(fast),
        reading_resolution_pa=0.5 * eye.step_pa,
        reaction_time_s=eye.reaction_s,
    )
    return replace(readings, digest=hashlib.sha256(repr(readings).encode()).hexdigest())


def _fall(time_s: Array, pressure_pa: Array, from_pa: float, to_pa: float) -> float:
    """Return the time between two pressures of a falling curve, [s]."""
    order = np.argsort(pressure_pa, kind="stable")
    start, end = np.interp((from_pa, to_pa), pressure_pa[order], time_s[order])
    return float(end - start)
