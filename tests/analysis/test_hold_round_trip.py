"""Holds from the pretend bench, read back: limits that cover as often as they claim.

Everything that a bench does not know exactly is drawn from the limits that its conditions state,
so that the share of covered truths is a fair test of those limits.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from nozzlewright.analysis.gauge import gauge_correction
from nozzlewright.analysis.trace.hold import analyse_hold, rig_leak_from_blank
from nozzlewright.bench import (
    BenchConditions,
    BlankPlug,
    DropWindow,
    Fluid,
    Gauge,
    Hold,
    NozzleGeometry,
    Rig,
    TipGrade,
    TipWatch,
)
from nozzlewright.measurement import Cause, Quantity
from nozzlewright.physics import (
    GAS_OIL_EXPANSION,
    GAS_OIL_HEAT_CAPACITY,
    GAS_OIL_MODULUS_PRESSURE_SLOPE,
    GAS_OIL_MODULUS_TEMPERATURE_SLOPE,
    TypicalValue,
)
from nozzlewright.simulator import (
    BenchSetup,
    HoldAt,
    Idle,
    InjectorModel,
    OilModel,
    Release,
    RigModel,
    SensorModel,
    simulate,
)
from nozzlewright.simulator import truth as exact

BAR = 1e5
WINDOW = (150 * BAR, 100 * BAR)
REFERENCE_K = 313.15


@dataclass(frozen=True)
class Case:
    hold: Hold
    shown_s: float | None
    """True time of the fall in the hold; None where the hold was too short for it."""
    reference_s: float
    clearance_m: float
    conductance: float


def play(number: int, *, heat: bool, rate_hz: float = 1000.0, bits: int = 14) -> Case:
    rng = np.random.default_rng(number)

    def typical(one: TypicalValue) -> float:
        return float(rng.normal(one.value, one.standard_uncertainty))

    def stated(true: float, unit: str, relative: float, name: str) -> Quantity:
        doubt = relative * abs(true)
        return Quantity(float(rng.normal(true, doubt)), unit, {Cause(name, "bench"): doubt})

    kelvin = 273.15 + rng.uniform(8.0, 45.0)
    oil = OilModel(
        viscosity_points=((293.15, rng.uniform(3.7, 4.3) * 1e-6), (REFERENCE_K, 2.6e-6)),
        expansion=typical(GAS_OIL_EXPANSION),
        heat_capacity=typical(GAS_OIL_HEAT_CAPACITY),
        bulk_modulus_20c=rng.normal(1.30e9, 0.05e9),
        bulk_modulus_per_kelvin=typical(GAS_OIL_MODULUS_TEMPERATURE_SLOPE),
        bulk_modulus_per_pascal=typical(GAS_OIL_MODULUS_PRESSURE_SLOPE),
        pressure_viscosity=rng.normal(12e-9, 1e-9),
    )
    injector = InjectorModel(
        opening_pressure_pa=rng.uniform(175, 220) * BAR,
        guide_diameter_m=rng.uniform(5e-3, 7e-3),
        diametral_clearance_m=rng.uniform(2.0e-6, 5.0e-6),
        eccentricity=rng.uniform(0.0, 1.0),
        gap_growth=rng.uniform(0.5e-14, 3.5e-14),
        volume_m3=rng.uniform(2e-6, 6e-6),
    )
    rig = RigModel(
        volume_m3=rng.uniform(8e-6, 30e-6),
        plug_volume_m3=0.5e-6,
        leak_conductance=rng.uniform(0.0, 0.4) * injector.guide_conductance(0.0, oil, REFERENCE_K),
        compression_heat=heat,
        thermal_time_s=rng.uniform(2.0, 8.0),
    )
    volume = rig.volume_m3 + injector.volume_m3
    rig = RigModel(**{**vars(rig), "wall_compliance": rng.uniform(0.03, 0.2) * volume / 1.4e9})
    setup = BenchSetup(rig, oil, kelvin, REFERENCE_K)
    permissible = 0.25 / 100.0 * 400 * BAR
    sensor = SensorModel(
        rate_hz=rate_hz, bits=bits, noise_pa=rng.uniform(0.03, 0.2) * BAR,
        lag_s=2e-4 if rate_hz > 100 else 0.1, zero_error_pa=rng.uniform(-1, 1) * permissible,
    )  # fmt: skip
    expected = exact.drop_time(setup, injector, *WINDOW, kelvin, with_rig_leak=True)
    seconds = min(1.3 * expected + rng.uniform(2.0, 8.0), 150.0)
    top = rng.uniform(153, 168) * BAR
    session = simulate(
        setup, injector, sensor, (Idle(1.0), HoldAt(top, seconds), Release(0.5)), rng,
        windows_pa=(WINDOW,),
    )  # fmt: skip
    blank = simulate(
        setup, None, sensor, (Idle(1.0), HoldAt(155 * BAR, 60.0), Release(0.5)), rng
    )  # fmt: skip
    conditions = BenchConditions(
        sitting="one",
        fluid=Fluid(
            "oil",
            # An error of 1 % in the ratio of the two viscosities.
            (
                (293.15, oil.viscosity_points[0][1] * rng.normal(1.0, 0.01)),
                oil.viscosity_points[1],
            ),
            viscosity_relative_uncertainty=0.01,
            bulk_modulus_20c=Quantity(
                rng.normal(oil.bulk_modulus_20c, 0.03e9), "Pa", {Cause("modulus", "oil"): 0.03e9}
            ),
            pressure_viscosity=stated(oil.pressure_viscosity, "1/Pa", 0.1, "alpha"),
        ),
        oil_temperature=Quantity(rng.normal(kelvin, 0.5), "K", {Cause("temperature", "one"): 0.5}),
        gauge=Gauge(range_pa=400 * BAR, accuracy_class=0.25),
        rig=Rig(
            "rig",
            stated(volume, "m^3", 0.01, "volume"),
            stated(rig.wall_compliance, "m^3/Pa", 0.1, "walls"),
        ),
        blank_plug=BlankPlug(volume_m3=stated(rig.volume_m3 + 0.5e-6, "m^3", 0.01, "plug")),
        geometry=NozzleGeometry(guide_diameter_m=injector.guide_diameter_m, guide_length_m=20e-3),
        window=DropWindow(*WINDOW, REFERENCE_K),
        drop_watch=TipWatch(TipGrade.DRY),
    )
    gauge = gauge_correction(conditions.gauge, "one")
    step = sensor.range_pa / 2**bits
    common = {"noise_pa": sensor.noise_pa, "conditions": conditions, "gauge": gauge,
              "lag_s": sensor.lag_s, "step_pa": step}  # fmt: skip

    def part(recorded):
        held = recorded.truth["holds"][0]
        inside = (recorded.time_s >= held["start_s"]) & (recorded.time_s <= held["end_s"])
        return recorded.time_s[inside], recorded.pressure_pa[inside]

    rig_leak = rig_leak_from_blank(*part(blank), scope="blank", **common)
    hold = analyse_hold(*part(session), scope=f"injector {number}", rig_leak=rig_leak, **common)
    return Case(
        hold,
        session.truth["holds"][0]["as_dropped"][0]["drop_time_s"],
        session.truth["drop_times"][0]["at_reference_s"],
        injector.diametral_clearance_m,
        session.truth["guide_conductance_m3_per_s_pa"],
    )


def covered(pairs: list[tuple[Quantity, float]]) -> float:
    hits = 0
    for quantity, truth in pairs:
        low, high = quantity.coverage_interval
        hits += low <= truth <= high
    return hits / len(pairs)


def summary(cases: list[Case]) -> dict[str, list[tuple[Quantity, float]]]:
    return {
        "shown": [(c.hold.drop_time_as_shown, c.shown_s) for c in cases
                  if c.shown_s and c.hold.drop_time_as_shown],
        "reference": [(c.hold.drop_time_at_reference, c.reference_s) for c in cases
                      if c.hold.drop_time_at_reference],
        "conductance": [(c.hold.leakage_conductance, c.conductance) for c in cases
                        if c.hold.leakage_conductance],
        "clearance": [(c.hold.guide_clearance, c.clearance_m) for c in cases
                      if c.hold.guide_clearance],
    }  # fmt: skip


@pytest.mark.slow
def test_limits_cover_the_truth_in_92_to_98_of_100_holds():
    # Half of them with compression heat; 200 random rigs, leaks, temperatures and sensors.
    cases = [play(k, heat=k % 2 == 0) for k in range(200)]
    found = summary(cases)
    assert len(found["reference"]) >= 190
    off = np.array([q.value / truth - 1.0 for q, truth in found["reference"]])
    assert 0.92 <= covered(found["reference"]) <= 0.98
    # The gauge's error is drawn from its class, rectangular: ± 1.96 u then covers it always.
    assert covered(found["shown"]) >= 0.92
    assert 0.90 <= covered(found["conductance"]) <= 0.98
    # Over every eccentricity, the clearance's interval is meant to hold all but always.
    assert covered(found["clearance"]) >= 0.95
    assert np.quantile(np.abs(off), 0.95) < 0.05


@pytest.mark.slow
def test_a_10_hz_gauge_covers_the_truth_too_with_wider_limits():
    cases = [play(1000 + k, heat=True, rate_hz=10.0, bits=10) for k in range(40)]
    found = summary(cases)
    assert covered(found["reference"]) >= 0.90
    assert covered(found["shown"]) >= 0.90


def test_eight_holds_come_back_right():
    found = summary([play(5100 + k, heat=k % 2 == 0) for k in range(8)])
    assert len(found["reference"]) == 8
    assert max(abs(q.value / truth - 1.0) for q, truth in found["reference"]) < 0.06
    assert covered(found["reference"]) >= 7 / 8
