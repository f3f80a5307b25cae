"""What a change at the nozzle does on the engine: indications, never promises."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

from nozzlewright.bench.sums.form import Example, Input, Output, Sum, Taken, Values
from nozzlewright.bench.sums.groups import ENGINE
from nozzlewright.errors import Fault
from nozzlewright.measurement import Kind
from nozzlewright.physics import (
    GAS_OIL_DENSITY_15C,
    circle_area,
    compression_volume,
    crank_angle,
    elkotb_sauter_diameter,
    leak_per_stroke,
    sound_delay,
    start_shift,
)
from nozzlewright.said import say

_COMPANION = "Public companion to a textbook of internal combustion engines, ch. 9, problem 7"

_FUEL_PRESSED = Taken(
    1.65e9, "GPa", say("gas oil pressed fast, mean of 0 to 200 bar, from memory"), 0.12e9
)
_MODULUS = Input(
    "modulus", say("Bulk modulus of the fuel"), Kind.STRESS, 0.3e9, 5e9,
    say("One over its compressibility."), needed=False, unit="GPa", taken=_FUEL_PRESSED,
)  # fmt: skip
_VOLUME = Input(
    "volume", say("Trapped oil"), Kind.VOLUME, 0.1e-6, 1e-3,
    say("Barrel over the plunger, delivery valve, pipe and holder up to the nozzle."),
    unit="cm3",
)  # fmt: skip
_OLD = Input(
    "old", say("Opening pressure before"), Kind.PRESSURE, 0.0, 1500e5,
    say("As found on the rig."),
)  # fmt: skip
_NEW = Input(
    "new", say("Opening pressure after"), Kind.PRESSURE, 0.0, 1500e5,
    say("As left on the rig, or as it is wanted."),
)  # fmt: skip
_SPEED = Input(
    "speed", say("Engine speed"), Kind.TURNING, 1.0, 1500.0,
    say("Of the crankshaft."),
)  # fmt: skip
_NOT_A_PROMISE = say(
    "An indication, not a promise: waves in the pipe, the delivery valve and the seat's own "
    "throttling are left out. The engine decides."
)
_LEFT_OUT = say("The ± is of the values alone: what the sum leaves out comes on top of it.")


def _start(v: Values) -> Mapping[str, Any]:
    rate = circle_area(v["plunger"]) * v["cam"]
    change = v["new"] - v["old"]
    shift = start_shift(change, v["volume"], v["modulus"], rate)
    found = {
        "shift": shift,
        "time": shift / v["speed"],
        "pressed": compression_volume(change, v["volume"], v["modulus"]),
    }
    if "pipe" in v:
        found["wave"] = crank_angle(sound_delay(v["pipe"], v["sound"]), v["speed"])
    return found


def _start_remarks(_v: Values, results: Mapping[str, float]) -> Iterable[str]:
    if results["shift"] > 0.0:
        yield say("The injection starts later: the pump must press the oil further first.")
    elif results["shift"] < 0.0:
        yield say("The injection starts earlier: the oil has to be pressed less far.")
    if "wave" in results:
        yield say("The wave's delay is the same before and after: it does not shift the start.")
    if abs(results["shift"]) > math.radians(3.0):
        yield say("So large a shift asks for a look at the pump's timing after the change.")


START = Sum(
    key="start",
    group=ENGINE,
    title=say("Start of injection"),
    purpose=say("By how many degrees the injection shifts with the opening pressure."),
    inputs=(
        _OLD,
        _NEW,
        _VOLUME,
        Input("plunger", say("Plunger diameter"), Kind.LENGTH, 2e-3, 60e-3,
              say("As marked on the pump element.")),
        Input("cam", say("Plunger lift for each degree of the crank"), Kind.CAM, 1e-5, 1.0,
              say("Half of that for each degree of the camshaft, on a four-stroke engine; dial "
                  "gauge on the tappet about the start of delivery.")),
        _SPEED,
        Input("pipe", say("Length of the pipe"), Kind.LENGTH, 0.01, 10.0,
              say("Pump to nozzle: tells the delay of the wave."), needed=False),
        Input("sound", say("Speed of sound in the fuel"), Kind.SPEED, 500.0, 3000.0,
              say("For the delay of the wave."), needed=False,
              taken=Taken(1370.0, "m/s", say("gas oil at 20 °C, from memory"), 20.0,
                          beside="pipe")),
        _MODULUS,
    ),
    outputs=(
        Output("shift", say("Later by, at the crank"), Kind.ANGLE, unit="deg", digits=3),
        Output("time", say("Later by"), Kind.TIME, unit="ms", digits=3),
        Output("wave", say("Delay of the wave, before and after"), Kind.ANGLE, unit="deg",
               digits=3),
        Output("pressed", say("Oil pressed in"), Kind.VOLUME, unit="mm3", digits=3),
    ),
    formula=say("angle = V Δp / (B × A plunger × lift for each degree)"),
    compute=_start,
    source=say("Compressibility of the trapped oil, as textbooks compute the plunger's "
               "displacement before delivery."),
    validity=(
        _NOT_A_PROMISE,
        _LEFT_OUT,
        say("The plunger moves evenly about the start of delivery."),
    ),
    drawing="start",
    indication=True,
    remarks=_start_remarks,
    examples=(
        Example(f"{_COMPANION} (data and formula read, its formula worked by hand): 6 + 2.945 + "
                "2 cm³ pressed from 1 to 150 bar at 75e-6 per bar, plunger 7 mm",
                {"old": "1 bar", "new": "150 bar", "volume": "10.9452 cm3", "plunger": "7 mm",
                 "cam": "1 mm/deg", "speed": "1000 rev/min", "modulus": "1.333333 GPa"},
                {"pressed": "122.3 mm3", "shift": "3.18 deg"}),
        Example("Derived: 0.5 m at 1000 m/s is 0.5 ms, 6° at 2000 rev/min; integrated rise of "
                "pressure gives the same shift",
                {"old": "175 bar", "new": "200 bar", "volume": "2.4 cm3", "plunger": "8 mm",
                 "cam": "0.15 mm/deg", "speed": "2000 rev/min", "pipe": "0.5 m",
                 "sound": "1000 m/s", "modulus": "1.45 GPa"},
                {"shift": "0.549 deg", "wave": "6.00 deg"}, printed=False),
    ),
)  # fmt: skip


def _fuel(v: Values) -> Mapping[str, Any]:
    found: dict[str, Any] = {}
    if {"old", "new", "volume"} <= set(v):
        found["opening"] = -compression_volume(v["new"] - v["old"], v["volume"], v["modulus"])
    if {"leak_old", "leak_new", "leak_at", "injection", "lasts", "speed"} <= set(v):
        more = v["leak_new"] - v["leak_old"]
        time = v["lasts"] / v["speed"]
        found["leak"] = -leak_per_stroke(more, v["leak_at"], v["injection"], time)
    if found and "fuel" in v:
        found["share"] = sum(found.values()) / v["fuel"]
    return found


def _fuel_objections(v: Values) -> Iterable[Fault]:
    of_opening = ("old", "new", "volume")
    of_leak = ("leak_old", "leak_new", "leak_at", "injection", "lasts", "speed")
    there = [keys for keys in (of_opening, of_leak) if any(key in v for key in keys)]
    if not there:
        yield Fault(
            say("neither a pressure nor a leak is given"),
            "old",
            say("Give both opening pressures and the trapped oil; or the leak before and after "
                "with all that belongs to it"),
        )  # fmt: skip
    for keys in there:
        for key in keys:
            if key not in v:
                yield Fault(
                    say("this is needed too"), key, say("Give it, or leave out what goes with it")
                )


def _fuel_remarks(_v: Values, results: Mapping[str, float]) -> Iterable[str]:
    if "opening" in results:
        yield say(
            "What the opening pressure takes is at most this: the pressure that stays in the pipe "
            "rises with it and gives part of it back at the next stroke."
        )
    if "leak" in results:
        yield say(
            "Hot fuel on the engine is thinner than bench oil: the leak there is larger, by the "
            "ratio of the viscosities."
        )
    if abs(results.get("share", 0.0)) > 0.1:
        yield say("More than a tenth of the fuel: look at the sums' inputs, then at the parts.")


FUEL = Sum(
    key="fuel",
    group=ENGINE,
    title=say("Fuel for each stroke"),
    purpose=say("What a change of opening pressure or leak takes from each injection."),
    inputs=(
        Input("old", _OLD.name, Kind.PRESSURE, _OLD.low, _OLD.high, _OLD.hint, needed=False),
        Input("new", _NEW.name, Kind.PRESSURE, _NEW.low, _NEW.high, _NEW.hint, needed=False),
        Input("volume", _VOLUME.name, Kind.VOLUME, _VOLUME.low, _VOLUME.high, _VOLUME.hint,
              needed=False, unit="cm3"),
        Input("leak_old", say("Leak before"), Kind.FLOW, 0.0, 1e-4,
              say("From the sum of the drops, or from the pressure drop test."), needed=False),
        Input("leak_new", say("Leak after"), Kind.FLOW, 0.0, 1e-4,
              say("The same way, at the same pressure and temperature."), needed=False),
        Input("leak_at", say("Pressure of the leak test"), Kind.PRESSURE, 1e5, 1500e5,
              say("At which both leaks were seen."), needed=False),
        Input("injection", say("Mean injection pressure"), Kind.PRESSURE, 1e5, 3000e5,
              say("On the engine; about twice the opening pressure (common practice, no "
                  "source)."), needed=False),
        Input("lasts", say("Injection lasts"), Kind.ANGLE, 0.001, 3.2,
              say("Degrees of the crank for which the pressure stands."), needed=False),
        Input("speed", _SPEED.name, Kind.TURNING, _SPEED.low, _SPEED.high, _SPEED.hint,
              needed=False),
        Input("fuel", say("Fuel for each stroke"), Kind.VOLUME, 1e-9, 1e-4,
              say("At that load; tells the change in per cent."), needed=False),
        replace(_MODULUS, taken=replace(_FUEL_PRESSED, beside="old")),
    ),
    outputs=(
        Output("opening", say("By the opening pressure, at most"), Kind.VOLUME, unit="mm3",
               digits=3),
        Output("leak", say("By the leak"), Kind.VOLUME, unit="mm3", digits=3),
        Output("share", say("Of the fuel for each stroke"), Kind.SHARE, unit="%", digits=2),
    ),
    formula=say("by pressure: −V Δp / B; by leak: −(leak after − before) × p injection / p test × "
                "time"),
    compute=_fuel,
    source=say("Plunger's displacement less what compresses, as in textbooks; leak in proportion "
               "to pressure (derived)."),
    validity=(
        _NOT_A_PROMISE,
        _LEFT_OUT,
        say("A minus is less fuel. The pump delivers as before, and its own leak is left out."),
    ),
    drawing="fuel",
    indication=True,
    remarks=_fuel_remarks,
    objections=_fuel_objections,
    examples=(
        Example(f"{_COMPANION} (data and formula read, its formula worked by hand): what is "
                "pressed in is missing at the nozzle",
                {"old": "1 bar", "new": "150 bar", "volume": "10.9452 cm3",
                 "modulus": "1.333333 GPa"},
                {"opening": "-122.3 mm3"}),
        Example("Derived: 12 mm³/s more at 150 bar, twice the pressure for 10° at 1000 rev/min",
                {"leak_old": "3 mm3/s", "leak_new": "15 mm3/s", "leak_at": "150 bar",
                 "injection": "300 bar", "lasts": "10 deg", "speed": "1000 rev/min",
                 "fuel": "40 mm3"},
                {"leak": "-0.0400 mm3", "share": "-0.10 %"}, printed=False),
    ),
)  # fmt: skip


def _droplets(v: Values) -> Mapping[str, Any]:
    def sauter(pressure: Any) -> Any:
        return elkotb_sauter_diameter(
            pressure - v["cylinder"], v["viscosity"], v["tension"], v["density"], v["gas"]
        )

    before, after = sauter(v["old"]), sauter(v["new"])
    return {"change": after / before - 1.0, "before": before, "after": after}


def _droplets_objections(v: Values) -> Iterable[Fault]:
    for key in ("old", "new"):
        if v[key] <= v["cylinder"]:
            yield Fault(
                say("the pressure is no higher than that in the cylinder"),
                key,
                say("Nothing would be sprayed: look at the unit"),
            )


def _droplets_remarks(v: Values, results: Mapping[str, float]) -> Iterable[str]:
    if v["gas"] < 5.0:
        yield say("It was not fitted to gas so thin: take the change alone, and with care.")
    if results["change"] > 0.0:
        yield say("Coarser drops: more smoke and a longer delay, if all else stays.")
    elif results["change"] < 0.0:
        yield say("Finer drops, if all else stays.")


DROPLETS = Sum(
    key="droplets",
    group=ENGINE,
    title=say("Droplet size"),
    purpose=say("How the Sauter mean diameter changes with the pressure, after Elkotb."),
    inputs=(
        Input("old", say("Injection pressure before"), Kind.PRESSURE, 1e5, 3000e5,
              say("At the nozzle; for a change of opening pressure take both openings.")),
        Input("new", say("Injection pressure after"), Kind.PRESSURE, 1e5, 3000e5,
              say("The same way.")),
        Input("cylinder", say("Pressure in the cylinder"), Kind.PRESSURE, 0.0, 300e5,
              say("At the time of injection; 0 in the open."), needed=False,
              taken=Taken(45e5, "bar", say("a cylinder at the time of injection"), 5e5)),
        Input("viscosity", say("Viscosity of the fuel"), Kind.VISCOSITY, 0.2e-6, 200e-6,
              say("At its temperature at the nozzle."), needed=False,
              taken=Taken(3e-6, "mm2/s", say("gas oil at some 35 °C"), 0.5e-6)),
        Input("tension", say("Surface tension"), Kind.SURFACE_TENSION, 5e-3, 0.1,
              say("Of the fuel."), needed=False,
              taken=Taken(28e-3, "mN/m", say("gas oil, 26 to 30 mN/m, from memory"), 1e-3)),
        Input("density", say("Density"), Kind.DENSITY, 500.0, 1500.0,
              say("Of the fuel."), needed=False,
              taken=Taken(GAS_OIL_DENSITY_15C.value, "kg/m3",
                          say("ISO 4113 calibration fluid at 15 °C"),
                          GAS_OIL_DENSITY_15C.standard_uncertainty)),
        Input("gas", say("Density of the gas"), Kind.DENSITY, 0.5, 200.0,
              say("20 kg/m³ in a hot cylinder, 1.2 in the open."), needed=False,
              taken=Taken(20.0, "kg/m3", say("a cylinder at the time of injection"), 3.0)),
    ),
    outputs=(
        Output("change", say("Change of the mean diameter"), Kind.SHARE, unit="%", digits=3),
        Output("before", say("Sauter diameter before"), Kind.LENGTH, unit="um", digits=3),
        Output("after", say("Sauter diameter after"), Kind.LENGTH, unit="um", digits=3),
    ),
    formula=say("d = 3.08·10⁶ ν^0.385 σ^0.737 ρ^0.737 ρ gas^0.06 Δp^−0.54 µm"),
    compute=_droplets,
    source=say("M. M. Elkotb, Progress in Energy and Combustion Science 8 (1982) 61 (from "
               "memory)."),
    validity=(
        _NOT_A_PROMISE,
        _LEFT_OUT,
        say("Fitted to hole-type nozzles spraying into dense gas. The change is worth more than "
            "the sizes: published correlations differ by a factor of two among themselves."),
    ),
    drawing="droplets",
    indication=True,
    remarks=_droplets_remarks,
    objections=_droplets_objections,
    examples=(
        Example("Elkotb's exponent: twice the pressure, 2^−0.54 = 0.688 of the diameter (from "
                "memory)",
                {"old": "150 bar", "new": "300 bar", "cylinder": "0 bar"}, {"change": "-31.2 %"}),
    ),
)  # fmt: skip
