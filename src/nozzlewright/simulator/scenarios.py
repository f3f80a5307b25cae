"""Sessions drawn at random, with what the fitter knows about the bench, and a demo set."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from nozzlewright.bench import (
    BenchConditions,
    BlankPlug,
    DropWindow,
    Fluid,
    Gauge,
    Rig,
    TipGrade,
    TipWatch,
)
from nozzlewright.errors import Fault, InputFault
from nozzlewright.measurement import Cause, Quantity
from nozzlewright.simulator import truth as exact
from nozzlewright.simulator.models import (
    BenchSetup,
    InjectorModel,
    OilModel,
    RigModel,
    SensorModel,
)
from nozzlewright.simulator.script import (
    BleedStrokes,
    FastStrokes,
    HardStrokes,
    HoldAt,
    Idle,
    Release,
    Script,
    SeatHold,
    SlowStrokes,
)
from nozzlewright.simulator.session import SimulatedSession, simulate

KINDS = (
    "sound",
    "worn guide",
    "leaking seat",
    "sticking needle",
    "weeping",
    "drifting opening",
    "leaking rig",
    "trapped air",
    "empty line",
    "fast pump-up",
    "hold cut short",
    "two-spring",
    "line ringing",
    "clipped",
    "mains hum",
    "slow gauge",
    "drop-outs",
    "jitter",
    "coarse steps",
)
"""Kinds of session that :func:`random_session` can draw."""

BLANK_PLUG_FILE = "blank-plug.csv"


@dataclass(frozen=True)
class DrawnSession:
    """A session drawn at random, with all that a reader of the recording may be told."""

    kind: str
    setup: BenchSetup
    injector: InjectorModel
    sensor: SensorModel
    script: Script
    session: SimulatedSession
    conditions: BenchConditions
    """As the fitter knows them, with honest errors: the values differ from the true ones by
    draws from their stated uncertainty"""
    blank: SimulatedSession | None
    """Recording with the blank plug, where there is one; the conditions name it
    :data:`BLANK_PLUG_FILE`"""


def _known(
    rng: np.random.Generator, true: float, standard_uncertainty: float, unit: str, cause: Cause
) -> Quantity:
    """Return a value as the fitter knows it: true value plus a draw from its uncertainty."""
    value = true + standard_uncertainty * float(rng.standard_normal())
    return Quantity(value, unit, {cause: standard_uncertainty}, method="stated")


def _data_sheet(
    rng: np.random.Generator, oil: OilModel, temperature_k: float, relative_uncertainty: float
) -> tuple[tuple[float, float], ...]:
    """Viscosities at 20 and 40 C with an error in the ratio between bench and 40 C."""
    (_, _), (warm_k, warm) = oil.viscosity_points
    if abs(temperature_k - warm_k) < 5.0:
        return oil.viscosity_points
    error = relative_uncertainty * float(np.clip(rng.standard_normal(), -2.0, 2.0))
    at_bench = oil.kinematic_viscosity(temperature_k) * (1.0 + error)
    printed = replace(oil, viscosity_points=((temperature_k, at_bench), (warm_k, warm)))
    return ((293.15, printed.kinematic_viscosity(293.15)), (warm_k, warm))


def draw_oil(rng: np.random.Generator) -> OilModel:
    """Draw a calibration fluid or gas oil: 2.3 to 3.6 mm2/s at 40 C."""
    at_40 = float(rng.uniform(2.3, 3.6))
    # Slope of the D341 line of light oils, about 3.9.
    slope = float(rng.uniform(3.7, 4.0))
    w = math.log10(math.log10(at_40 + 0.7)) + slope * math.log10(313.15 / 293.15)
    at_20 = 10.0 ** (10.0**w) - 0.7
    return OilModel(
        viscosity_points=((293.15, at_20 * 1e-6), (313.15, at_40 * 1e-6)),
        density_15c=float(rng.uniform(815.0, 840.0)),
        bulk_modulus_20c=float(rng.normal(1.30e9, 0.04e9)),
        pressure_viscosity=float(rng.normal(12.0e-9, 1.0e-9)),
    )


def draw_injector(rng: np.random.Generator) -> InjectorModel:
    """Draw a sound nozzle and holder."""
    guide = float(rng.uniform(4.0e-3, 8.0e-3))
    opening = float(rng.uniform(110e5, 300e5))
    holes = int(rng.integers(4, 9))
    hole = float(rng.uniform(0.2e-3, 0.35e-3))
    return InjectorModel(
        guide_diameter_m=guide,
        seat_diameter_m=guide * float(rng.uniform(0.38, 0.52)),
        guide_length_m=float(rng.uniform(15e-3, 25e-3)),
        opening_pressure_pa=opening,
        spring_rate=float(rng.uniform(100e3, 300e3)),
        moving_mass_kg=float(rng.uniform(8e-3, 22e-3)),
        lift_m=float(rng.uniform(0.18e-3, 0.35e-3)),
        friction_n=float(rng.uniform(0.0, 6.0)),
        friction_scatter=float(rng.uniform(0.0, 0.1)),
        opening_scatter_pa=float(rng.uniform(0.0, 0.2e5)),
        holes_area_m2=holes * math.pi / 4 * hole**2,
        seat_width_m=float(rng.uniform(0.2e-3, 0.35e-3)),
        diametral_clearance_m=float(rng.uniform(1.5e-6, 4.0e-6)),
        eccentricity=float(rng.uniform(0.0, 0.9)),
        gap_growth=3.5e-14 * guide / 6e-3,
        volume_m3=float(rng.uniform(2e-6, 8e-6)),
    )


def draw_rig(rng: np.random.Generator) -> RigModel:
    """Draw a tight, bled rig of 6 to 52 cm3."""
    volume = math.exp(float(rng.uniform(math.log(6e-6), math.log(52e-6))))
    return RigModel(
        volume_m3=volume,
        wall_compliance=volume / 1.3e9 * float(rng.uniform(0.02, 0.25)),
        plug_volume_m3=float(rng.uniform(0.3e-6, 1.0e-6)),
        chamber_volume_m3=float(rng.uniform(0.5e-6, 2.0e-6)),
        thermal_time_s=float(rng.uniform(1.0, 4.0)),
        air_share=float(rng.uniform(0.0, 0.002)),
        leak_conductance=0.0,
    )


def _stroke_flows(
    rng: np.random.Generator, setup: BenchSetup, injector: InjectorModel
) -> tuple[float, float, float]:
    """Flow of slow and of fast strokes [m^3/s], and volume that an opening takes [m^3].

    So that a fitter hears some 2 to 8 and 10 to 60 openings a second, as far as a hand can.
    """
    opening = injector.opening_pressure_pa
    c = exact.compliance(setup, injector, 0.9 * opening, setup.temperature_k)
    fall = opening * injector.seat_area / injector.guide_area
    slow = float(np.clip(rng.uniform(2.0, 8.0) * c * fall, 0.06e-6, 0.8e-6))
    fast = float(np.clip(rng.uniform(10.0, 60.0) * c * fall, 3.0 * slow, 5.0e-6))
    return slow, fast, c * fall


def _drawn_window(opening_pa: float) -> tuple[float, float]:
    upper = min(150e5, math.floor(0.8 * opening_pa / 10e5) * 10e5)
    return upper, round(upper * 2.0 / 3.0 / 5e5) * 5e5


def random_session(
    rng: np.random.Generator, kind: str | None = None, *, gauge_errors: bool = True
) -> DrawnSession:
    """Draw a bench, an injector, a sensor and a script, and play them.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of all chance
    kind : str or None
        One of :data:`KINDS`; None draws one, ``sound`` as often as all others together
    gauge_errors : bool
        False: the gauge is true in level, as after a perfect calibration

    Raises
    ------
    InputFault
        If the kind is not known.
    """
    if kind is None:
        kind = "sound" if rng.uniform() < 0.5 else str(rng.choice(KINDS[1:]))
    if kind not in KINDS:
        raise InputFault(
            Fault(f"unknown kind {kind!r}", "random session", f"Give one of {', '.join(KINDS)}.")
        )
    oil, injector, rig = draw_oil(rng), draw_injector(rng), draw_rig(rng)
    temperature = 273.15 + float(rng.uniform(8.0, 45.0))
    setup = BenchSetup(rig, oil, temperature)
    if rng.uniform() < 0.4:
        setup = replace(setup, reference_compliance=float(rng.uniform(1.0e-14, 3.0e-14)))
    sensor = SensorModel(
        rate_hz=1000.0,
        range_pa=400e5,
        bits=14,
        lag_s=float(rng.uniform(1e-4, 1e-3)),
        noise_pa=float(rng.uniform(0.02e5, 0.2e5)),
        jitter_s=0.0,
    )
    accuracy_class = float(rng.choice([0.1, 0.25, 0.6, 1.0]))
    if gauge_errors:
        permitted = accuracy_class / 100.0 * sensor.range_pa
        error = permitted * float(rng.uniform(-1.0, 1.0))
        share = float(rng.uniform(0.0, 1.0))
        # At the opening pressure zero and gain error together make the drawn error.
        sensor = replace(
            sensor,
            zero_error_pa=error * share,
            gain_error=error * (1.0 - share) / injector.opening_pressure_pa,
        )

    upper, lower = _drawn_window(injector.opening_pressure_pa)
    wanted = math.exp(float(rng.uniform(math.log(6.0), math.log(70.0))))
    if kind == "worn guide":
        wanted = float(rng.uniform(2.0, 6.0))
    injector = _with_drop_time(setup, injector, upper, lower, wanted)
    at_upper = exact.injector_conductance(setup, injector, upper, temperature)
    rig = replace(rig, leak_conductance=at_upper * float(rng.uniform(0.0, 0.05)))
    setup = replace(setup, rig=rig)
    setup, injector, sensor, hold_share, second_spring = _with_fault(
        rng, kind, setup, injector, sensor, at_upper
    )

    slow, fast, per_opening = _stroke_flows(rng, setup, injector)
    falls = exact.drop_time(setup, injector, upper, lower, temperature, with_rig_leak=True)
    # High enough that the window's upper pressure is still to come when the valve is shut.
    lost_before = 0.5 * upper / falls
    above = float(rng.uniform(1.03, 1.07)) * upper + 0.4 * lost_before
    above = min(above, 0.95 * injector.opening_pressure_pa)
    hold = HoldAt(
        above,
        duration_s=min(hold_share * falls + 4.0, 150.0),
        strokes_per_min=90.0 if kind == "fast pump-up" else 40.0,
        volume_m3=0.9e-6,
        push_share=0.6,
    )
    margin = float(rng.choice([10e5, 20e5, 28e5]))
    script = _drawn_script(rng, kind, (slow, fast, per_opening), hold, margin)
    window = ((upper, lower),)
    session = simulate(setup, injector, sensor, script, rng, windows_pa=window)

    blank: SimulatedSession | None = None
    if kind == "leaking rig" or rng.uniform() < 0.7:
        pumped = replace(hold, duration_s=60.0)
        blank_script: Script = (Idle(1.0), pumped, Release(1.5))
        blank = simulate(setup, None, sensor, blank_script, rng, windows_pa=window)
    conditions = _as_known(
        rng, setup, injector, sensor, accuracy_class, upper, lower, margin, session, blank
    )
    conditions = replace(
        conditions, geometry=replace(conditions.geometry, two_spring=second_spring)
    )
    return DrawnSession(kind, setup, injector, sensor, script, session, conditions, blank)


def _with_drop_time(
    setup: BenchSetup, injector: InjectorModel, upper: float, lower: float, wanted_s: float
) -> InjectorModel:
    """Give the guide the clearance, within 1.5 to 8 um, that comes nearest to a drop time."""
    low, high = 1.5e-6, 8.0e-6
    for _ in range(40):
        middle = 0.5 * (low + high)
        trial = replace(injector, diametral_clearance_m=middle)
        if exact.drop_time(setup, trial, upper, lower, setup.temperature_k) > wanted_s:
            low = middle
        else:
            high = middle
    return replace(injector, diametral_clearance_m=0.5 * (low + high))


def _with_fault(
    rng: np.random.Generator,
    kind: str,
    setup: BenchSetup,
    injector: InjectorModel,
    sensor: SensorModel,
    conductance: float,
) -> tuple[BenchSetup, InjectorModel, SensorModel, float, bool]:
    """Put the fault of a kind into the bench; also the hold's length over the drop time."""
    rig = setup.rig
    hold_share, second_spring = float(rng.uniform(1.3, 1.7)), False
    opening = injector.opening_pressure_pa
    if kind == "leaking seat":
        # So much that a drop, some 15 mm3, hangs at the tip after 2 to 10 s.
        flow = 15e-9 / float(rng.uniform(2.0, 10.0))
        at_reference = flow / opening / exact.viscosity_ratio(setup, setup.temperature_k)
        injector = replace(injector, seat_leak_conductance=at_reference)
    elif kind == "sticking needle":
        injector = replace(
            injector,
            friction_n=float(rng.uniform(15.0, 40.0)),
            friction_scatter=float(rng.uniform(0.25, 0.5)),
        )
    elif kind == "weeping":
        # A worn seat lets the pressure into its face before lift-off and passes a little.
        slow, _, _ = _stroke_flows(rng, setup, injector)
        speed = math.sqrt(2.0 * opening / setup.oil.density(setup.temperature_k))
        injector = replace(
            injector,
            seat_width_m=0.0,
            weep_area_m2=float(rng.uniform(2.5, 5.0)) * max(slow, 0.3e-6) / speed,
            weep_margin_pa=float(rng.uniform(2e5, 6e5)),
        )
    elif kind == "drifting opening":
        # 5 to 20 bar over the 150 openings or so of a session.
        drift = float(rng.choice([-1.0, 1.0])) * float(rng.uniform(5e5, 20e5)) / 150.0
        injector = replace(injector, opening_drift_pa=drift)
    elif kind == "leaking rig":
        share = float(rng.uniform(0.3, 1.0))
        ratio = exact.viscosity_ratio(setup, setup.temperature_k)
        rig = replace(rig, leak_conductance=conductance * share / ratio)
    elif kind == "trapped air":
        air = float(rng.uniform(0.005, 0.02))
        rig = replace(rig, air_share=air, air_residual=0.8 * air)
    elif kind == "empty line":
        rig = replace(rig, empty_volume_m3=float(rng.uniform(1.5e-6, 4.0e-6)), air_share=0.02)
    elif kind == "fast pump-up":
        rig = replace(rig, thermal_time_s=float(rng.uniform(3.0, 8.0)))
    elif kind == "hold cut short":
        hold_share = float(rng.uniform(0.4, 0.7))
    elif kind == "two-spring":
        second_spring = True
        injector = replace(
            injector,
            second_opening_lift_m=float(rng.uniform(0.03e-3, 0.06e-3)),
            second_preload_n=float(rng.uniform(0.2, 0.5)) * injector.preload_n,
            second_spring_rate=float(rng.uniform(100e3, 200e3)),
        )
    elif kind == "line ringing":
        # 0.5 to 0.8 m of line with 1.6 to 2 mm bore.
        bore, length = float(rng.uniform(1.6e-3, 2.0e-3)), float(rng.uniform(0.5, 0.8))
        rig = replace(
            rig,
            line_inertance=830.0 * length / (math.pi / 4 * bore**2),
            line_damping=float(rng.uniform(0.02, 0.08)),
            nozzle_end_share=0.1,
        )
        sensor = replace(sensor, rate_hz=5000.0, lag_s=5e-5)
    elif kind == "clipped":
        sensor = replace(sensor, range_pa=math.floor(0.97 * opening / 5e5) * 5e5)
    elif kind == "mains hum":
        sensor = replace(
            sensor,
            hum_pa=float(rng.uniform(0.4e5, 1.5e5)),
            hum_hz=float(rng.choice([50.0, 60.0])),
        )
    elif kind == "slow gauge":
        sensor = replace(sensor, rate_hz=10.0, lag_s=float(rng.uniform(0.02, 0.1)), bits=None)
    elif kind == "drop-outs":
        sensor = replace(
            sensor,
            dropout_share=float(rng.uniform(0.005, 0.03)),
            dropout_holds_last=bool(rng.uniform() < 0.5),
        )
    elif kind == "jitter":
        sensor = replace(sensor, jitter_s=float(rng.uniform(0.05, 0.25)) / sensor.rate_hz)
    elif kind == "coarse steps":
        sensor = replace(sensor, bits=int(rng.integers(9, 11)), noise_pa=0.02e5)
    return replace(setup, rig=rig), injector, sensor, hold_share, second_spring


def _drawn_script(
    rng: np.random.Generator,
    kind: str,
    flows: tuple[float, float, float],
    hold: HoldAt,
    margin: float,
) -> Script:
    slow, fast, per_opening = flows
    openings = float(rng.uniform(1.3, 10.0))
    slow_volume = float(np.clip(openings * per_opening, 0.15e-6, 1.2e-6))
    push = slow_volume / slow
    slow_rate = float(np.clip(60.0 * 0.7 / push, 4.0, 40.0))
    fast_rate = float(rng.uniform(60.0, 100.0))
    fast_volume = float(np.clip(fast * 60.0 / fast_rate * 0.6, 0.3e-6, 3.0e-6))
    n_slow, n_fast = int(rng.integers(3, 7)), int(rng.integers(4, 9))
    seat = SeatHold(margin, duration_s=10.0, strokes_per_min=40.0, volume_m3=0.9e-6)
    acts: list[Any] = [
        Idle(float(rng.uniform(0.5, 2.0))),
        BleedStrokes(
            int(rng.integers(3, 7)),
            volume_m3=float(np.clip(0.45 * fast, 0.3e-6, 1.2e-6)),
            union_slack=bool(rng.uniform() < 0.3),
        ),
        Idle(float(rng.uniform(0.5, 1.5))),
        SlowStrokes(n_slow, slow_rate, volume_m3=slow_volume, push_share=0.7),
        Idle(float(rng.uniform(0.5, 1.5))),
        FastStrokes(n_fast, fast_rate, volume_m3=fast_volume),
        Idle(float(rng.uniform(0.5, 1.5))),
    ]
    if kind == "two-spring":
        acts += [HardStrokes(3, volume_m3=3.0e-6), Idle(1.0)]
    holds: list[Any] = [seat, hold] if rng.uniform() < 0.7 else [hold, seat]
    if kind == "fast pump-up" or rng.uniform() < 0.5:
        holds.insert(holds.index(hold), Release(float(rng.uniform(1.0, 2.0))))
    return (*acts, *holds, Release(float(rng.uniform(1.0, 2.0))))


def tip_grade(leaked_m3: float) -> TipGrade:
    """Return what a fitter would see of so much oil; a drop that hangs is some 10 mm3."""
    if leaked_m3 < 0.5e-9:
        return TipGrade.DRY
    return TipGrade.DAMP if leaked_m3 < 8e-9 else TipGrade.DROP


def _as_known(
    rng: np.random.Generator,
    setup: BenchSetup,
    injector: InjectorModel,
    sensor: SensorModel,
    accuracy_class: float,
    upper: float,
    lower: float,
    margin: float,
    session: SimulatedSession,
    blank: SimulatedSession | None,
) -> BenchConditions:
    oil, rig = setup.oil, setup.rig
    volume = rig.volume_m3 + injector.volume_m3
    plug_volume = rig.volume_m3 + rig.plug_volume_m3
    watches: dict[str, TipWatch] = {}
    for hold in session.truth["holds"]:
        mean = 0.5 * (hold["start_pa"] + hold["end_pa"])
        leaked = session.truth["seat_leak_conductance_m3_per_s_pa"] * mean
        leaked *= hold["end_s"] - hold["start_s"]
        watches[hold["kind"]] = TipWatch(grade=tip_grade(leaked))
    reference = setup.reference_compliance
    sitting = f"pretend-{int(rng.integers(1_000_000)):06d}"
    fluid_name, rig_name = f"oil of {sitting}", f"rig of {sitting}"
    return BenchConditions(
        sitting=sitting,
        fluid=Fluid(
            name=fluid_name,
            viscosity_points=_data_sheet(rng, oil, setup.temperature_k, 0.01),
            viscosity_relative_uncertainty=0.01,
            density_15c=Quantity(oil.density_15c, "kg/m^3", method="stated"),
            bulk_modulus_20c=_known(
                rng, oil.bulk_modulus_20c, 0.03e9, "Pa", Cause("fluid stiffness", fluid_name)
            ),
            pressure_viscosity=_known(
                rng,
                oil.pressure_viscosity,
                1.0e-9,
                "1/Pa",
                Cause("fluid pressure-viscosity", fluid_name),
            ),
        ),
        oil_temperature=_known(rng, setup.temperature_k, 0.3, "K", Cause("temperature", sitting)),
        gauge=Gauge(
            identity=f"gauge of {sitting}",
            range_pa=sensor.range_pa,
            accuracy_class=accuracy_class,
            resolution_pa=sensor.range_pa / 2**sensor.bits if sensor.bits else None,
            time_constant_s=sensor.lag_s,
        ),
        rig=Rig(
            identity=rig_name,
            volume_m3=_known(rng, volume, 0.01 * volume, "m^3", Cause("rig volume", rig_name)),
            wall_compliance=_known(
                rng,
                rig.wall_compliance,
                0.1 * rig.wall_compliance,
                "m^3/Pa",
                Cause("wall compliance", rig_name),
            ),
        ),
        blank_plug=None
        if blank is None
        else BlankPlug(
            recording=BLANK_PLUG_FILE,
            volume_m3=_known(
                rng,
                plug_volume,
                0.01 * plug_volume,
                "m^3",
                Cause("blank-plug volume", rig_name),
            ),
            temperature_k=setup.temperature_k,
        ),
        geometry=injector.geometry,
        window=DropWindow(
            from_pa=upper,
            to_pa=lower,
            reference_temperature_k=setup.reference_temperature_k,
            reference_compliance=None
            if reference is None
            else Quantity(reference, "m^3/Pa", method="stated"),
        ),
        opening_target_pa=round(injector.opening_pressure_pa / 1e5) * 1e5,
        seat_margin_pa=margin,
        seat_hold_s=10.0,
        seat_watch=watches.get("seat", TipWatch()),
        drop_watch=watches.get("drop", TipWatch()),
    )
