"""An invented engine set for the demonstration: six injectors, each with a story.

Everything in it is made up; the parts match the example setting sheet for a four-hole nozzle set
by shims (opening 195 to 205 bar used, drop from 150 to 100 bar in 8 to 60 s at 40 C).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from nozzlewright.bench import (
    BenchConditions,
    BlankPlug,
    DropWindow,
    Fluid,
    Gauge,
    NozzleGeometry,
    Rig,
)
from nozzlewright.measurement import Cause, Quantity
from nozzlewright.simulator import truth as exact
from nozzlewright.simulator.models import BenchSetup, InjectorModel, RigModel, SensorModel
from nozzlewright.simulator.script import (
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
from nozzlewright.simulator.tables import bench_table

WINDOW_PA = (150e5, 100e5)
BLANK_FILE = "recordings/blank-plug.csv"

SETUP = BenchSetup(
    RigModel(
        volume_m3=24.0e-6,
        wall_compliance=1.5e-15,
        leak_conductance=6.0e-18,
        air_share=0.001,
        thermal_time_s=1.5,
    ),
    temperature_k=273.15 + 22.0,
)
SENSOR = SensorModel(rate_hz=1000.0, range_pa=400e5, bits=14, lag_s=3e-4, noise_pa=0.06e5,
                     zero_error_pa=0.2e5, gain_error=1.0e-3)  # fmt: skip
SOUND = InjectorModel(
    guide_diameter_m=6.0e-3,
    seat_diameter_m=2.6e-3,
    guide_length_m=20e-3,
    spring_rate=230e3,
    opening_pressure_pa=200e5,
    friction_n=1.0,
    friction_scatter=0.1,
    opening_scatter_pa=0.1e5,
    diametral_clearance_m=4.2e-6,
    eccentricity=0.5,
    volume_m3=4.0e-6,
)


@dataclass(frozen=True)
class DemoSet:
    """The set as data; whoever writes files makes a folder of it."""

    set_table: dict[str, Any]
    """Table of the ``set.toml``"""
    conditions: BenchConditions
    recordings: dict[str, SimulatedSession]
    """Session for each file name that the tables give"""

    def bench_table(self) -> dict[str, Any]:
        """Return the conditions as the table of a ``bench.toml``."""
        return bench_table(self.conditions)


def _leaking_seat(seconds_to_a_drop: float) -> float:
    """Conductance of a seat from which 15 mm3, a drop, gather in a time at 180 bar."""
    at_bench = 15e-9 / seconds_to_a_drop / 180e5
    return at_bench / exact.viscosity_ratio(SETUP, SETUP.temperature_k)


def _stories() -> list[tuple[int, str, str, InjectorModel, float, dict[str, Any]]]:
    """Cylinder, tag, stage, injector, shim [mm], and what the fitter saw."""
    good = {"spray": "good", "chatter": "clear", "seat": "dry", "drop_test": "dry"}
    return [
        (1, "D-101", "as_found", replace(SOUND, opening_pressure_pa=200.6e5), 1.30,
         good | {"needle_slide": True}),
        (2, "D-102", "as_found", replace(SOUND, opening_pressure_pa=186.8e5,
                                         diametral_clearance_m=4.0e-6), 1.25,
         good | {"note": "spring looks settled"}),
        (2, "D-102", "as_left", replace(SOUND, opening_pressure_pa=201.3e5,
                                        diametral_clearance_m=4.0e-6), 1.40,
         good | {"needle_slide": True}),
        (3, "D-103", "as_found", replace(SOUND, opening_pressure_pa=199.2e5,
                                         diametral_clearance_m=6.9e-6, eccentricity=0.8), 1.30,
         good | {"chatter": "weak", "leak_off_drops": 9, "leak_off_seconds": 10}),
        (4, "D-104", "as_found",
         replace(SOUND, opening_pressure_pa=198.1e5, seat_leak_conductance=_leaking_seat(5.0)),
         1.30,
         {"spray": "poor", "spray_note": "one jet hangs over and drips", "chatter": "weak",
          "seat": "drop", "drop_test": "damp"}),
        (4, "D-104", "as_left",
         replace(SOUND, opening_pressure_pa=199.9e5, seat_leak_conductance=_leaking_seat(400.0)),
         1.30,
         good | {"note": "seat cleaned with hardwood and oil", "needle_slide": True}),
        (5, "D-105", "as_found",
         replace(SOUND, opening_pressure_pa=199.0e5, friction_n=22.0, friction_scatter=0.45),
         1.35,
         {"spray": "poor", "spray_note": "hoarse, ends late", "chatter": "none", "seat": "dry",
          "drop_test": "dry", "needle_slide": False,
          "inspection": [{"part": "needle", "seen": "lacquered at the guide",
                          "severity": "rework"}]}),
        (6, "D-106", "as_found", replace(SOUND, opening_pressure_pa=195.1e5,
                                         diametral_clearance_m=3.8e-6), 1.30,
         good | {"needle_slide": True}),
    ]  # fmt: skip


def _script(injector: InjectorModel) -> Script:
    falls = exact.drop_time(SETUP, injector, *WINDOW_PA, SETUP.temperature_k, with_rig_leak=True)
    return (
        Idle(1.0),
        BleedStrokes(3, 70.0, volume_m3=0.9e-6),
        Idle(0.8),
        SlowStrokes(5, 20.0, volume_m3=0.35e-6, push_share=0.7),
        Idle(0.8),
        FastStrokes(5, 80.0, volume_m3=0.7e-6),
        Idle(0.8),
        SeatHold(20e5, 10.0, strokes_per_min=40.0, volume_m3=0.7e-6),
        Idle(0.5),
        HoldAt(
            WINDOW_PA[0] * 1.05 + 5e5 * min(1.0, 10.0 / falls),
            min(1.15 * falls + 3.0, 60.0),
            strokes_per_min=40.0,
            volume_m3=0.7e-6,
        ),
        Release(1.5),
    )


def demo_conditions() -> BenchConditions:
    """Return what the invented workshop knows about its bench."""
    oil, rig = SETUP.oil, SETUP.rig
    fluid_name, rig_name, sitting = "invented calibration fluid", "D-RIG", "demo-sitting-1"
    volume = rig.volume_m3 + SOUND.volume_m3
    plug_volume = rig.volume_m3 + rig.plug_volume_m3

    def stated(value: float, u: float, unit: str, cause: Cause) -> Quantity:
        return Quantity(value, unit, {cause: u}, method="stated with its uncertainty")

    # Each is a little off the truth, as knowledge is.
    return BenchConditions(
        sitting=sitting,
        fluid=Fluid(
            name=fluid_name,
            viscosity_points=oil.viscosity_points,
            density_15c=stated(825.0, 2.0, "kg/m^3", Cause("fluid density", fluid_name)),
            bulk_modulus_20c=stated(1.31e9, 0.03e9, "Pa", Cause("fluid stiffness", fluid_name)),
        ),
        oil_temperature=stated(273.15 + 22.2, 0.5, "K", Cause("temperature", sitting)),
        gauge=Gauge(
            identity="D-G1",
            range_pa=SENSOR.range_pa,
            accuracy_class=0.25,
            resolution_pa=SENSOR.range_pa / 2**14,
            time_constant_s=SENSOR.lag_s,
            calibrated_on="2026-01-05",
        ),
        rig=Rig(
            identity=rig_name,
            volume_m3=stated(
                round(volume * 1.008, 8), 0.4e-6, "m^3", Cause("rig volume", rig_name)
            ),
            wall_compliance=stated(1.4e-15, 0.2e-15, "m^3/Pa", Cause("wall compliance", rig_name)),
        ),
        blank_plug=BlankPlug(
            recording=BLANK_FILE,
            volume_m3=stated(
                round(plug_volume * 1.008, 8), 0.4e-6, "m^3", Cause("blank-plug volume", rig_name)
            ),
            temperature_k=273.15 + 22.2,
        ),
        geometry=NozzleGeometry(
            guide_diameter_m=SOUND.guide_diameter_m,
            seat_diameter_m=SOUND.seat_diameter_m,
            guide_length_m=SOUND.guide_length_m,
            spring_rate_n_per_m=SOUND.spring_rate,
        ),
        window=DropWindow(*WINDOW_PA, reference_temperature_k=313.15),
        opening_target_pa=200e5,
        seat_margin_pa=20e5,
        seat_hold_s=10.0,
    )


def demo_set(rng: np.random.Generator) -> DemoSet:
    """Play the invented set.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of all chance: the same one gives the same set
    """
    recordings: dict[str, SimulatedSession] = {}
    injectors: dict[int, dict[str, Any]] = {}
    for cylinder, tag, stage, injector, shim_mm, seen in _stories():
        name = f"recordings/{cylinder}-{stage.removeprefix('as_')}.csv"
        recordings[name] = simulate(
            SETUP, injector, SENSOR, _script(injector), rng, windows_pa=(WINDOW_PA,)
        )
        entry = injectors.setdefault(cylinder, {"cylinder": cylinder, "id": tag})
        entry[stage] = {"recording": name, "shim_mm": shim_mm, "seen": seen}
    blank_script: Script = (Idle(1.0), HoldAt(158e5, 40.0, 40.0, 0.7e-6), Release(1.5))
    recordings[BLANK_FILE] = simulate(SETUP, None, SENSOR, blank_script, rng)
    return DemoSet(
        set_table={
            "title": "Six injectors of an invented engine",
            "engine": "invented six-cylinder engine, generating set",
            "customer": "invented customer",
            "workshop": "invented workshop",
            "fitter": "A. N. Other",
            "date": "2026-03-02",
            "condition": "used",
            "invented": True,
            "symptoms": "smoke at idle, one cylinder knocks when cold",
            "injector": [injectors[cylinder] for cylinder in sorted(injectors)],
        },
        conditions=demo_conditions(),
        recordings=recordings,
    )
