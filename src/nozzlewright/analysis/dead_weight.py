"""A dead-weight tester as a reference: masses on a piston, and how well their pressure is known.

The formula is :func:`nozzlewright.physics.dead_weight_pressure`; here each of its inputs carries
its uncertainty. What belongs to the tester or to the day is one and the same error for all weights
(area, gravity, air), so that a certificate made with it has one uncertainty that does not average
out over its points.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from nozzlewright.measurement import Cause, Quantity
from nozzlewright.measurement.quantity import propagate
from nozzlewright.physics import dead_weight_pressure, normal_gravity
from nozzlewright.said import figure, say

GRAVITY_ANOMALY = 1e-4
"""Share by which gravity may lie off the normal field, greatest; rectangular (from memory)."""
AIR_KG_M3 = (1.2, 0.05)
"""Density of the air at a bench and its standard uncertainty, [kg/m^3]; common practice."""
STEEL_KG_M3 = (7900.0, 70.0)
"""Density of steel weights and its standard uncertainty, [kg/m^3]; common practice, no source."""
REFERENCE_K = 293.15
"""Temperature at which an area is certified, [K]."""


@dataclass(frozen=True)
class DeadWeightTester:
    """A piston, where it stands, and the day."""

    area: Quantity
    """Effective area at zero pressure and 20 °C, [m^2]."""
    gravity: Quantity
    """At the place, [m/s^2]."""
    weights_relative_u: float = 0.0
    """Standard uncertainty of the masses, common to all, [1]."""
    air_density: Quantity | None = None
    """[kg/m^3]; None: :data:`AIR_KG_M3`."""
    weights_density: Quantity | None = None
    """[kg/m^3]; None: :data:`STEEL_KG_M3`."""
    distortion: Quantity | None = None
    """Growth of the area with pressure, [1/Pa]; None: none is stated."""
    expansion_per_k: float = 0.0
    """Linear expansions of piston and cylinder added up, [1/K]."""
    temperature: Quantity | None = None
    """Of the piston, [K]; None: as certified."""
    head: Quantity | None = None
    """Height of the piston's foot above the gauge, [m]; None: level with it."""
    fluid_density: float = 0.0
    """Of the fluid in the line, [kg/m^3]."""
    identity: str = ""


def local_gravity(latitude_degrees: float, height_m: float = 0.0) -> Quantity:
    """Return gravity at a place that was not surveyed, [m/s^2].

    Parameters
    ----------
    latitude_degrees : float
        North or south, [degree]
    height_m : float
        Above sea level, [m]

    Raises
    ------
    ValueError
        If there is no such latitude.

    Notes
    -----
    Normal gravity of the Geodetic Reference System 1980 with the free-air gradient; what the ground
    adds is within :data:`GRAVITY_ANOMALY`.

    Examples
    --------
    >>> g = local_gravity(45.0)
    >>> f"{g.value:.6f} +- {g.standard_uncertainty:.6f}"
    '9.806199 +- 0.000566'
    """
    if not -90.0 <= latitude_degrees <= 90.0:
        raise ValueError(f"a latitude lies between -90 and 90 degrees, not at {latitude_degrees}")
    value = float(normal_gravity(math.radians(latitude_degrees), height_m))
    cause = Cause(say("local gravity"), say("the place"), rectangular=True)
    return Quantity(
        value,
        "m/s^2",
        {cause: GRAVITY_ANOMALY * value / math.sqrt(3.0)},
        say(
            "normal gravity at {latitude}°, {height} m",
            latitude=figure(latitude_degrees, "g"),
            height=figure(height_m, ".0f"),
        ),
    )


def reference_pressure(tester: DeadWeightTester, mass_kg: float) -> Quantity:
    """Return the pressure of a mass on the piston at the level of the gauge, [Pa].

    Parameters
    ----------
    tester : DeadWeightTester
        Piston, place and day
    mass_kg : float
        Weights and piston together, [kg]

    Raises
    ------
    ValueError
        If mass or area is not positive.

    Examples
    --------
    >>> from nozzlewright.measurement import exact
    >>> ideal = DeadWeightTester(
    ...     exact(1e-5, "m^2"), exact(9.80665, "m/s^2"), air_density=exact(0.0, "kg/m^3")
    ... )
    >>> round(reference_pressure(ideal, 20.0).value / 1e5, 4)
    196.133
    """
    scope = tester.identity or say("the tester")

    def usual(value: tuple[float, float], cause: str, within: str) -> Quantity:
        return Quantity(value[0], "kg/m^3", {Cause(cause, within): value[1]})

    none = Quantity(0.0, "1")
    mass = Quantity(
        mass_kg, "kg", {Cause(say("weights"), scope): mass_kg * tester.weights_relative_u}
    )
    air = tester.air_density or usual(AIR_KG_M3, say("density of the air"), say("the day"))
    steel = tester.weights_density or usual(STEEL_KG_M3, say("density of the weights"), scope)
    temperature = tester.temperature or Quantity(REFERENCE_K, "K")

    def model(
        m: float,
        area: float,
        g: float,
        air_d: float,
        mass_d: float,
        grows: float,
        t: float,
        h: float,
    ) -> float:
        return float(
            dead_weight_pressure(
                m,
                area,
                gravity_m_s2=g,
                air_density_kg_m3=max(air_d, 0.0),
                mass_density_kg_m3=mass_d,
                distortion_per_pa=max(grows, 0.0),
                expansion_per_k=tester.expansion_per_k,
                temperature_k=t,
                reference_temperature_k=REFERENCE_K,
                fluid_density_kg_m3=tester.fluid_density,
                head_m=h,
            )
        )

    return propagate(
        model,
        mass,
        tester.area,
        tester.gravity,
        air,
        steel,
        tester.distortion or none,
        temperature,
        tester.head or none,
        unit="Pa",
        method=say("{mass} kg on the piston", mass=figure(mass_kg, ".6g")),
    )
