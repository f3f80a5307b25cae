"""What is known of fluid, rig and gauge for one hold, and how sure it is.

Each input carries its causes; where nothing was noted, a value typical of gas oil or of rigs in
general stands in with an uncertainty to match, so that a missing piece costs no more than the
values that hang on it.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from nozzlewright.analysis.trace.decay_fit import DecayLaw
from nozzlewright.bench import BenchConditions, Fluid
from nozzlewright.measurement import Cause, Caution, Quantity
from nozzlewright.physics import (
    GAS_OIL_D341_SLOPE,
    GAS_OIL_DENSITY_15C,
    GAS_OIL_EXPANSION,
    GAS_OIL_HEAT_CAPACITY,
    GAS_OIL_MODULUS,
    GAS_OIL_MODULUS_PRESSURE_SLOPE,
    GAS_OIL_MODULUS_TEMPERATURE_SLOPE,
    GAS_OIL_PRESSURE_VISCOSITY,
    GAS_OIL_REFERENCE_TEMPERATURE_K,
    TypicalValue,
    adiabatic_ratio,
    d341_constants_from_slope,
    d341_viscosity,
    density_at,
    fit_d341,
    isothermal_bulk_modulus,
    rig_compliance,
    time_between,
)
from nozzlewright.said import Said, figure, say

FloatArray = NDArray[np.float64]
Values = Mapping[str, float]

WALL_SHARE = TypicalValue(
    0.12, 0.07, "1",
    "share of pipe and gauge in a rig's compliance: a pipe 2 %, a Bourdon tube up to tens of per "
    "cent (common practice, no source)",
)  # fmt: skip
PLUG_RATIO = TypicalValue(
    0.8, 0.12, "1",
    "compliance with a blank plug over that with a holder (common practice, no source)",
)  # fmt: skip
TYPICAL_TEMPERATURE_K = 293.15, 6.0
"""Temperature of the oil and its standard uncertainty where none was noted; it then serves for
the stiffness alone, never for a value at reference."""
FULL_VISCOSITY_DOUBT_K = 20.0
"""Temperature difference at which the doubt of the viscosity ratio counts in full; it fades to
nothing where the two temperatures are one."""
SIGNED_INPUTS = {"gauge", "bulk modulus and temperature", "rig decay rate"}
SHARES = {"wall share"}
LEAST_SHARE, GREATEST_SHARE = 0.02, 0.9
"""How near to nothing or to all an input is moved when its doubt is as large as itself."""
SOFTEST = 0.7
"""Share of the bulk modulus at 20 C that warmth may take."""
STIFFEST_PA = 3e9
"""Bulk modulus up to which the heat of compression is reckoned; no oil is stiffer on a bench."""
USUAL_PRESSURE_PA = 125e5
"""Pressure at which a compliance is taken to have been measured where none is stated, [Pa]."""


@dataclass(frozen=True)
class RigLeak:
    """What the rig itself loses with a blank plug in the injector's place."""

    decay_rate: Quantity
    """Q/(C p) with the plug at the pressure below, [1/s]."""
    pressure_pa: float
    temperature_k: float | None
    """Oil temperature in that hold; None: as in the test."""
    cautions: tuple[Caution, ...] = ()


@dataclass(frozen=True)
class BenchKnowledge:
    """Inputs of the conversion, each with its causes."""

    inputs: Mapping[str, Quantity]
    fluid: Fluid | None
    volume_known: bool
    """Whether the compliance is known in m^3/Pa and not only in its ratios."""
    temperature_known: bool
    viscosity_reason: str
    """Why no viscosity is known, in words that stand after "because"; empty where one is."""
    compliance_reason: str
    """Why it is not, in words that stand after "because"."""
    cautions: tuple[Caution, ...]
    """On every value that needs these inputs."""
    wall_cautions: tuple[Caution, ...]
    """On values in volume alone."""
    rig_leak: RigLeak | None
    compliance_at: tuple[float, float] | None
    """Pressure [Pa] and temperature [K] of a measured compliance."""
    scope: str
    """Names the hold, for causes that are its own."""
    middle_pa: float = 100e5
    """Pressure in the middle of the decay, [Pa]."""

    @property
    def values(self) -> dict[str, float]:
        """Best estimate of each input."""
        return {name: quantity.value for name, quantity in self.inputs.items()}

    def moved(self, name: str, by: float) -> dict[str, float]:
        """Return the values with one input moved, kept to what it can be."""
        values = self.values
        there = values[name] + by
        if name not in SIGNED_INPUTS:
            there = max(there, LEAST_SHARE * values[name])
        if name in SHARES:
            there = min(there, GREATEST_SHARE)
        values[name] = there
        return values

    def at_middle(self, middle_pa: float) -> BenchKnowledge:
        """Return the same, referred to another pressure in the middle of a decay."""
        return replace(self, middle_pa=middle_pa)

    def modulus(self, v: Values, pressure: FloatArray | float, temperature_k: float) -> FloatArray:
        """Return the isothermal bulk modulus of the oil, [Pa]."""
        slope = v["bulk modulus and temperature"]
        # A straight line in temperature must not run to nothing.
        warmest = GAS_OIL_REFERENCE_TEMPERATURE_K + SOFTEST * v["bulk modulus"] / abs(slope)
        return np.asarray(
            isothermal_bulk_modulus(
                np.asarray(pressure, dtype=np.float64),
                min(temperature_k, warmest),
                v["bulk modulus"],
                GAS_OIL_REFERENCE_TEMPERATURE_K,
                v["bulk modulus slope"],
                slope,
            )
        )

    def trapped(self, v: Values) -> tuple[float, float]:
        """Return oil volume [m^3] and wall compliance [m^3/Pa]; relative where not known."""
        if "compliance" in v and self.compliance_at is not None:
            pressure, temperature = self.compliance_at
            soft = 1.0 / float(self.modulus(v, pressure, temperature))
            if "volume" in v:
                return v["volume"], max(v["compliance"] - v["volume"] * soft, 0.0)
            walls = v["wall share"] * v["compliance"]
            return (v["compliance"] - walls) / soft, walls
        soft = 1.0 / float(self.modulus(v, self.middle_pa, v["temperature"]))
        if "volume" in v:
            if "wall compliance" in v:
                return v["volume"], v["wall compliance"]
            share = v["wall share"]
            return v["volume"], v["volume"] * soft * share / (1.0 - share)
        return (1.0 - v["wall share"]) / soft, v["wall share"]

    def compliance(
        self, v: Values, pressure: FloatArray | float, temperature_k: float
    ) -> FloatArray:
        """Return the compliance with the injector fitted, no air, [m^3/Pa] or relative."""
        volume, walls = self.trapped(v)
        modulus = self.modulus(v, pressure, temperature_k)
        return np.asarray(rig_compliance(volume, modulus, walls))

    def plug_compliance(self, v: Values, pressure_pa: float, temperature_k: float) -> float:
        """Return the compliance with the blank plug, [m^3/Pa] or relative."""
        if "plug volume" in v:
            modulus = float(self.modulus(v, pressure_pa, temperature_k))
            return rig_compliance(v["plug volume"], modulus, self.trapped(v)[1])
        return v["plug ratio"] * float(self.compliance(v, pressure_pa, temperature_k))

    def viscosity(self, v: Values, temperature_k: float) -> float:
        """Return the dynamic viscosity of the fluid at zero gauge pressure, [Pa s]."""
        points = sorted(self.fluid.viscosity_points) if self.fluid is not None else []
        if not points:
            raise ValueError("no viscosity of the test fluid is stated")
        if len(points) == 1:
            A, B = d341_constants_from_slope(*points[0], v["viscosity slope"])
        else:
            A, B = _d341_line(tuple(points))
        density = density_at(temperature_k, v["density"], v["expansion"])
        return d341_viscosity(temperature_k, A, B) * density

    def viscosity_ratio(self, v: Values, from_k: float, to_k: float) -> float:
        """Return viscosity at one temperature over that at another, doubt included, [1]."""
        if from_k == to_k:
            return 1.0
        plain = self.viscosity(v, from_k) / self.viscosity(v, to_k)
        weight = min(abs(from_k - to_k) / FULL_VISCOSITY_DOUBT_K, 1.0)
        return float(plain * (1.0 + (v["viscosity ratio"] - 1.0) * weight))

    def law(self, v: Values) -> DecayLaw:
        """Return how leakage and compliance go with pressure, referred to the middle pressure."""
        temperature = v["temperature"]
        at_zero = float(self.modulus(v, 0.0, temperature))
        here = float(self.modulus(v, self.middle_pa, temperature))
        volume, walls = self.trapped(v)
        wall_share = walls / (volume / here + walls)
        ratio = adiabatic_ratio(
            temperature,
            v["expansion"],
            min(here, STIFFEST_PA),
            density_at(temperature, v["density"], v["expansion"]),
            GAS_OIL_HEAT_CAPACITY.value,
        )
        heat = (1.0 - 1.0 / float(ratio)) * (1.0 - wall_share)
        return DecayLaw(
            self.middle_pa, v["pressure viscosity"], at_zero, v["bulk modulus slope"],
            wall_share, heat,
        )  # fmt: skip

    def rig_flow(self, v: Values, law: DecayLaw, pressure: FloatArray) -> FloatArray:
        """Return the rig's own leak at the test's temperature, [m^3/s] or relative."""
        if self.rig_leak is None:
            return np.zeros_like(pressure)
        at = self.rig_leak.pressure_pa
        then = self.rig_leak.temperature_k
        temperature = v["temperature"]
        plug_temperature = temperature if then is None else then
        flow = v["rig decay rate"] * at * self.plug_compliance(v, at, plug_temperature)
        if not self.viscosity_reason:
            flow *= self.viscosity_ratio(v, plug_temperature, temperature)
        shape = law.leakage(pressure, 0.0) / law.leakage(np.array([at]), 0.0)
        return np.asarray(flow * shape)

    def whole_flow(
        self, v: Values, law: DecayLaw, fitted: FloatArray, pressure: FloatArray
    ) -> FloatArray:
        """Return the leak of injector and rig at the test's temperature, [m^3/s] or relative."""
        middle = float(self.compliance(v, self.middle_pa, v["temperature"]))
        flow = fitted[0] * self.middle_pa * middle
        return np.asarray(flow * law.leakage(pressure, float(fitted[1])))

    def injector_flow(self, v: Values, fitted: FloatArray, pressure: FloatArray) -> FloatArray:
        """Return the injector's own leak at the test's temperature, [m^3/s] or relative."""
        law = self.law(v)
        return self.whole_flow(v, law, fitted, pressure) - self.rig_flow(v, law, pressure)

    def time_of_fall(self, v: Values, fitted: FloatArray, high_pa: float, low_pa: float) -> float:
        """Return the time of a fall on this rig as it is, heat apart, [s]."""
        law = self.law(v)
        scale = float(fitted[0]) * self.middle_pa
        return float(
            time_between(
                high_pa,
                low_pa,
                lambda p: scale * law.leakage(p.ravel(), float(fitted[1])).reshape(p.shape),
                lambda p: law.compliance(p, float(fitted[2])),
            )
        )


@functools.lru_cache(maxsize=64)
def _d341_line(points: tuple[tuple[float, float], ...]) -> tuple[float, float]:
    """Return the constants of the D341 line, kept: a budget asks for them hundreds of times."""
    A, B, _ = fit_d341([t for t, _ in points], [nu for _, nu in points])
    return A, B


def blank_plug_scope(conditions: BenchConditions) -> Said:
    """Return within what the errors of a blank-plug hold are one and the same."""
    if not conditions.sitting:
        return say("blank plug")
    return say("blank plug, {sitting}", sitting=conditions.sitting)


def _typical(name: str, typical: TypicalValue, scope: str) -> Quantity:
    return Quantity(
        typical.value, typical.unit, {Cause(name, scope): typical.standard_uncertainty},
        say("typical of gas oil: {source}", source=typical.source),
    )  # fmt: skip


def bench_knowledge(
    conditions: BenchConditions,
    *,
    rig_leak: RigLeak | None,
    level: Quantity,
    scope: str,
) -> BenchKnowledge:
    """Gather what is known of fluid, rig and gauge for one hold.

    Parameters
    ----------
    conditions : BenchConditions
        What was noted beside the recording
    rig_leak : RigLeak or None
        The rig's own leak, where a blank-plug hold told it
    level : Quantity
        Error of the gauge's level that is still in the pressures, zero with its causes, [Pa]
    scope : str
        Names this hold, for causes that are its own
    """
    fluid, rig = conditions.fluid, conditions.rig
    fluid_scope = fluid.name if fluid else ""
    inputs: dict[str, Quantity] = {"gauge": level}
    cautions: list[Caution] = []
    wall_cautions: list[Caution] = []

    temperature = conditions.oil_temperature
    if temperature is None:
        value, doubt = TYPICAL_TEMPERATURE_K
        inputs["temperature"] = Quantity(
            value, "K", {Cause(say("temperature"), conditions.sitting): doubt}, say("not noted")
        )
    else:
        inputs["temperature"] = temperature

    def of_fluid(name: str, stated: Quantity | None, typical: TypicalValue) -> None:
        inputs[str(name)] = stated if stated is not None else _typical(name, typical, fluid_scope)

    of_fluid(say("bulk modulus"), fluid.bulk_modulus_20c if fluid else None, GAS_OIL_MODULUS)
    of_fluid(say("bulk modulus slope"), None, GAS_OIL_MODULUS_PRESSURE_SLOPE)
    of_fluid(say("bulk modulus and temperature"), None, GAS_OIL_MODULUS_TEMPERATURE_SLOPE)
    of_fluid(
        say("pressure viscosity"), fluid.pressure_viscosity if fluid else None,
        GAS_OIL_PRESSURE_VISCOSITY,
    )  # fmt: skip
    of_fluid(say("density"), fluid.density_15c if fluid else None, GAS_OIL_DENSITY_15C)
    of_fluid(say("expansion"), None, GAS_OIL_EXPANSION)
    if fluid is not None and fluid.viscosity_points:
        doubt = fluid.viscosity_relative_uncertainty
        if len(fluid.viscosity_points) == 1:
            inputs["viscosity slope"] = _typical(
                say("viscosity slope"), GAS_OIL_D341_SLOPE, fluid_scope
            )
            cautions.append(
                Caution(
                    say("one viscosity"),
                    say(
                        "only one viscosity of the fluid is known: its fall with temperature is "
                        "taken from gas oils in general"
                    ),
                )
            )
        elif len(fluid.viscosity_points) > 2:
            points = fluid.viscosity_points
            misfit = fit_d341([t for t, _ in points], [nu for _, nu in points]).relative_misfit
            doubt = math.hypot(doubt, misfit)
        inputs["viscosity ratio"] = Quantity(
            1.0, "1", {Cause(say("viscosity ratio"), fluid_scope): doubt}
        )

    reason: str = ""
    compliance_at: tuple[float, float] | None = None
    if rig.compliance is not None:
        inputs["compliance"] = rig.compliance
        compliance_at = (
            rig.compliance_pressure_pa or USUAL_PRESSURE_PA,
            rig.compliance_temperature_k or inputs["temperature"].value,
        )
        if rig.volume_m3 is not None:
            inputs["volume"] = rig.volume_m3
    elif rig.volume_m3 is not None:
        inputs["volume"] = rig.volume_m3
        if rig.wall_compliance is not None:
            inputs["wall compliance"] = rig.wall_compliance
        else:
            wall_cautions.append(
                Caution(
                    say("walls not known"),
                    say(
                        "the give of pipe and gauge is not known: {share} of the whole is taken, "
                        "within wide limits",
                        share=figure(WALL_SHARE.value, ".0%"),
                    ),
                )
            )
    else:
        reason = say("neither volume nor compliance of the rig is known")
    walls_follow = "compliance" in inputs and "volume" in inputs
    if not (walls_follow or "wall compliance" in inputs):
        inputs["wall share"] = _typical(say("walls of the rig"), WALL_SHARE, rig.identity)

    plug = conditions.blank_plug
    if rig_leak is not None:
        cautions += rig_leak.cautions
        inputs["rig decay rate"] = rig_leak.decay_rate
        if plug is not None and plug.compliance_ratio is not None:
            inputs["plug ratio"] = plug.compliance_ratio
        elif plug is not None and plug.volume_m3 is not None and "volume" in inputs:
            inputs["plug volume"] = plug.volume_m3
        else:
            inputs["plug ratio"] = _typical(say("plug ratio"), PLUG_RATIO, rig.identity)
            cautions.append(
                Caution(
                    say("plug ratio not known"),
                    say(
                        "the compliance with the blank plug is not known: {ratio} of that with the "
                        "holder is taken, within wide limits",
                        ratio=figure(PLUG_RATIO.value, "g"),
                    ),
                )
            )
    window = conditions.window
    if window is not None and window.reference_compliance is not None:
        inputs["reference compliance"] = window.reference_compliance
    known = BenchKnowledge(
        inputs=inputs,
        fluid=fluid,
        volume_known=not reason,
        temperature_known=temperature is not None,
        viscosity_reason="",
        compliance_reason=reason,
        cautions=tuple(cautions),
        wall_cautions=tuple(wall_cautions),
        rig_leak=rig_leak,
        compliance_at=compliance_at,
        scope=scope,
    )
    return replace(known, viscosity_reason=_viscosity_fault(known, conditions))


def _viscosity_fault(known: BenchKnowledge, conditions: BenchConditions) -> str:
    """Return why the viscosity is not known at every temperature that is needed; or nothing."""
    if known.fluid is None or not known.fluid.viscosity_points:
        return say("the viscosity of the test fluid is not known")
    window, plug = conditions.window, conditions.blank_plug
    test = known.inputs["temperature"]
    needed = [
        test.value - test.standard_uncertainty,
        test.value + test.standard_uncertainty,
        window.reference_temperature_k if window is not None else None,
        plug.temperature_k if plug is not None else None,
    ]
    try:
        for temperature_k in needed:
            if temperature_k is not None:
                known.viscosity(known.values, temperature_k)
    except ValueError as fault:
        return say(
            "the fluid's viscosity points cannot be carried to {temperature} K: {fault}",
            temperature=figure(temperature_k or 0.0, ".0f"),
            fault=str(fault),
        )
    return ""
