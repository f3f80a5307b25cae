"""What stands on the pretend bench: oil, rig, injector, sensor; all in SI units."""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from nozzlewright.bench import NozzleGeometry
from nozzlewright.errors import Fault, InputFault

Array = NDArray[np.float64]


@functools.cache
def gauss_legendre(points: int) -> tuple[Array, Array]:
    """Return nodes and weights on -1 to 1, shape (points,) each."""
    nodes, weights = np.polynomial.legendre.leggauss(points)
    nodes.flags.writeable = weights.flags.writeable = False
    return nodes, weights


def _demand(faults: list[Fault], holds: bool, what: str, where: str, remedy: str) -> None:
    if not holds:
        faults.append(Fault(what, where, remedy))


@dataclass(frozen=True)
class OilModel:
    r"""Test oil of the pretend bench.

    Kinematic viscosity by ASTM D341 through two points, in the form that holds above 2 mm2/s,
    :math:`\lg \lg (\nu + 0.7) = A - B \lg T`; dynamic viscosity rises with pressure by Barus,
    :math:`\mu = \mu_0 e^{\alpha p}`; isothermal stiffness
    :math:`B_T = B_{20} + B'_T (T - 20\,^\circ\text{C}) + B'_p p`.
    """

    viscosity_points: tuple[tuple[float, float], tuple[float, float]] = (
        (293.15, 4.0e-6),
        (313.15, 2.6e-6),
    )
    """(temperature [K], kinematic viscosity [m^2/s]), twice."""
    density_15c: float = 825.0
    """[kg/m^3]"""
    expansion: float = 8.3e-4
    """Thermal expansion, [1/K]"""
    heat_capacity: float = 2000.0
    """At constant pressure, [J/(kg K)]"""
    bulk_modulus_20c: float = 1.30e9
    """Isothermal, at 20 C and zero gauge pressure, [Pa]"""
    bulk_modulus_per_kelvin: float = -6.8e6
    """[Pa/K]"""
    bulk_modulus_per_pascal: float = 10.8
    """[1]"""
    pressure_viscosity: float = 12.0e-9
    """Barus coefficient, [1/Pa]"""

    def density(self, temperature_k: float) -> float:
        """Density at zero gauge pressure, [kg/m^3]."""
        return self.density_15c * math.exp(-self.expansion * (temperature_k - 288.15))

    def kinematic_viscosity(self, temperature_k: float) -> float:
        """Kinematic viscosity at zero gauge pressure, [m^2/s]."""
        (t1, nu1), (t2, nu2) = self.viscosity_points
        w1, w2 = (math.log10(math.log10(nu * 1e6 + 0.7)) for nu in (nu1, nu2))
        slope = (w1 - w2) / math.log10(t2 / t1)
        w = w1 - slope * math.log10(temperature_k / t1)
        return float(10.0 ** (10.0**w) - 0.7) * 1e-6

    def dynamic_viscosity(self, temperature_k: float) -> float:
        """Dynamic viscosity at zero gauge pressure, [Pa s]."""
        return self.kinematic_viscosity(temperature_k) * self.density(temperature_k)

    def bulk_modulus(self, pressure_pa: float, temperature_k: float) -> float:
        """Isothermal bulk modulus, [Pa]."""
        at_zero = self.bulk_modulus_20c + self.bulk_modulus_per_kelvin * (temperature_k - 293.15)
        return at_zero + self.bulk_modulus_per_pascal * pressure_pa

    def compression_heating(self, temperature_k: float) -> float:
        """Temperature rise per pressure of an adiabatic compression, [K/Pa]."""
        return temperature_k * self.expansion / (self.density(temperature_k) * self.heat_capacity)


@dataclass(frozen=True)
class RigModel:
    """Hand test pump with its gauge and line, up to the injector's inlet."""

    volume_m3: float = 14.0e-6
    """Oil trapped in pump, gauge and line when the valve is shut, [m^3]"""
    wall_compliance: float = 6.0e-16
    """Give of walls, line and gauge, [m^3/Pa]"""
    plug_volume_m3: float = 0.5e-6
    """Oil in the blank plug that can take the injector's place, [m^3]"""
    leak_conductance: float = 0.0
    """Leak of fittings and gauge, at low pressure and at the reference viscosity, [m^3/(s Pa)]"""
    check_leak_conductance: float = 0.0
    """Leak back past the check valve while the pump valve is open, likewise, [m^3/(s Pa)]"""
    chamber_volume_m3: float = 1.0e-6
    """Oil in the plunger chamber, [m^3]"""
    line_inertance: float = 0.0
    """Density x length / bore area of the line, [kg/m^4]; zero: no ringing"""
    line_damping: float = 0.04
    """Damping ratio of the line's ringing, [1]"""
    nozzle_end_share: float = 0.3
    """Share of the rig's volume that lies at the nozzle end of the line, [1]"""
    thermal_time_s: float = 4.0
    """Time constant in which the oil takes the metal's temperature, [s]; infinite: insulated"""
    compression_heat: bool = True
    """False: the oil keeps the metal's temperature at all times"""
    air_share: float = 0.0
    """Free air at the start, as volume share at zero gauge pressure, [1]"""
    air_residual: float = 0.0
    """Free air that strokes do not flush out, [1]"""
    empty_volume_m3: float = 0.0
    """Part of the line that is empty at the start, [m^3]"""
    release_area_m2: float = 2.0e-8
    """Effective area of the opened release valve, [m^2]"""
    union_area_m2: float = 4.0e-7
    """Effective area of the slackened union, [m^2]"""

    def __post_init__(self) -> None:
        faults: list[Fault] = []
        where = "rig of the pretend bench"
        _demand(
            faults,
            1e-6 <= self.volume_m3 <= 1e-3,
            f"volume {self.volume_m3} m3 is not that of a hand test pump",
            where,
            "Give 1 to 1000 cm3.",
        )
        _demand(
            faults,
            0.0 <= self.air_residual <= max(self.air_share, self.air_residual) < 0.5,
            f"air share {self.air_share} with residual {self.air_residual}",
            where,
            "Give shares from 0 to 0.5.",
        )
        _demand(
            faults,
            self.thermal_time_s > 0.0,
            f"thermal time {self.thermal_time_s} s",
            where,
            "Give a time above zero.",
        )
        if faults:
            raise InputFault(faults)


@dataclass(frozen=True)
class BenchSetup:
    """Rig, oil and temperature of a sitting."""

    rig: RigModel = field(default_factory=RigModel)
    oil: OilModel = field(default_factory=OilModel)
    temperature_k: float = 293.15
    """Of oil and metal, [K]"""
    reference_temperature_k: float = 313.15
    """At which the true drop time at reference is stated, [K]"""
    reference_compliance: float | None = None
    """Rig compliance that the sheet refers to, [m^3/Pa]; None: the rig's own"""

    def __post_init__(self) -> None:
        if not 263.15 <= self.temperature_k <= 353.15:
            raise InputFault(
                Fault(
                    f"temperature {self.temperature_k} K",
                    "pretend bench",
                    "Give 263 to 353 K (-10 to 80 C).",
                )
            )


@dataclass(frozen=True)
class InjectorModel:
    """Nozzle and holder of the pretend bench."""

    guide_diameter_m: float = 6.0e-3
    seat_diameter_m: float = 2.6e-3
    guide_length_m: float = 20.0e-3
    opening_pressure_pa: float = 175.0e5
    """Static opening pressure without friction, [Pa]: sets the spring's preload"""
    spring_rate: float = 200.0e3
    """[N/m]"""
    moving_mass_kg: float = 0.015
    lift_m: float = 0.25e-3
    friction_n: float = 0.0
    """Coulomb friction of needle and spindle, [N]"""
    friction_scatter: float = 0.0
    """Relative standard deviation of friction from opening to opening, [1]"""
    opening_drift_pa: float = 0.0
    """Change of the opening pressure at each of the first 400 openings, [Pa]"""
    opening_scatter_pa: float = 0.0
    """Standard deviation of the opening pressure from opening to opening, [Pa]"""
    needle_damping: float = 2.0
    """Viscous resistance, [N s/m]"""
    seat_angle_rad: float = math.radians(60.0)
    """Full cone angle of the seat"""
    seat_discharge: float = 0.7
    seat_width_m: float = 0.25e-3
    """Width of the seat's contact face, [m]; pressure enters it at lift-off and snaps the needle
    open; a seat that lets pressure in before lift-off has none left to snap with"""
    seat_snap_lift_m: float = 3.0e-6
    """Lift at which the pressure has entered half of the face, [m]"""
    holes_area_m2: float = 4 * math.pi / 4 * 0.28e-3**2
    holes_discharge: float = 0.7
    diametral_clearance_m: float = 3.0e-6
    """Guide clearance at zero pressure, diametral, [m]"""
    eccentricity: float = 0.0
    """Offset of the needle over radial clearance, [1]"""
    gap_growth: float = 3.5e-14
    """Elastic growth of the radial clearance per pressure, [m/Pa]"""
    seat_leak_conductance: float = 0.0
    """Seat leak at low pressure and at the reference viscosity, [m^3/(s Pa)]"""
    weep_area_m2: float = 0.0
    """Effective area that a worn seat passes just before lift-off, [m^2]"""
    weep_margin_pa: float = 5.0e5
    """Pressure below the opening at which it starts to pass, [Pa]"""
    volume_m3: float = 4.0e-6
    """Oil in the holder, [m^3]"""
    second_opening_lift_m: float | None = None
    """Pre-lift of a two-spring holder, [m]; None: one spring"""
    second_preload_n: float = 0.0
    second_spring_rate: float = 0.0
    """[N/m]"""

    def __post_init__(self) -> None:
        faults: list[Fault] = []
        where = "injector of the pretend bench"
        _demand(
            faults,
            0.0 < self.seat_diameter_m < self.guide_diameter_m,
            f"seat diameter {self.seat_diameter_m} m in a guide of {self.guide_diameter_m} m",
            where,
            "The seat must be smaller than the guide.",
        )
        for name in ("opening_pressure_pa", "spring_rate", "moving_mass_kg", "lift_m"):
            value = getattr(self, name)
            _demand(faults, value > 0.0, f"{name} is {value}", where, "Give more than zero.")
        _demand(
            faults,
            0.0 <= self.eccentricity <= 1.0,
            f"eccentricity {self.eccentricity}",
            where,
            "Give 0 (central) to 1 (touching).",
        )
        if faults:
            raise InputFault(faults)

    @property
    def geometry(self) -> NozzleGeometry:
        """What a sheet or a card of the bench says of it."""
        return NozzleGeometry(
            guide_diameter_m=self.guide_diameter_m,
            seat_diameter_m=self.seat_diameter_m,
            guide_length_m=self.guide_length_m,
            spring_rate_n_per_m=self.spring_rate,
        )

    @property
    def guide_area(self) -> float:
        """Cross-section of the guide, [m^2]."""
        return math.pi / 4 * self.guide_diameter_m**2

    @property
    def seat_area(self) -> float:
        """Area within the seat line, [m^2]."""
        return math.pi / 4 * self.seat_diameter_m**2

    @property
    def snap_area(self) -> float:
        """Area of the contact face as pressure falls evenly across it, [m^2]."""
        return 0.5 * math.pi * self.seat_diameter_m * self.seat_width_m

    @property
    def preload_n(self) -> float:
        """Spring preload, [N]: opening pressure x area that lifts the closed needle."""
        return self.opening_pressure_pa * (self.guide_area - self.seat_area)

    @property
    def second_opening_pressure_pa(self) -> float | None:
        """Static pressure that takes the needle past its pre-lift, [Pa]; sac pressure as line."""
        if self.second_opening_lift_m is None:
            return None
        load = (
            self.preload_n + self.spring_rate * self.second_opening_lift_m + self.second_preload_n
        )
        return load / self.guide_area

    def guide_conductance(
        self, pressure_pa: float, oil: OilModel, temperature_k: float, points: int = 24
    ) -> float:
        r"""Guide leak over pressure, [m^3/(s Pa)].

        .. math:: Q = \frac{\pi d (1 + 1.5 e^2)}{12 L}
                  \int_0^p \frac{(h + k s)^3}{\mu_0 e^{\alpha s}} ds

        Thin-gap flow with the gap growing and the oil thickening along the guide, by
        Gauss-Legendre quadrature.
        """
        nodes, weights = gauss_legendre(points)
        s = 0.5 * pressure_pa * (nodes + 1.0)
        gap = 0.5 * self.diametral_clearance_m + self.gap_growth * s
        mean = 0.5 * float(np.sum(weights * gap**3 * np.exp(-oil.pressure_viscosity * s)))
        factor = math.pi * self.guide_diameter_m * (1.0 + 1.5 * self.eccentricity**2)
        return factor * mean / (12.0 * self.guide_length_m * oil.dynamic_viscosity(temperature_k))


def barus_factor(pressure_pa: float, pressure_viscosity: float) -> float:
    r"""Leak of a rigid gap over that at low pressure, :math:`(1 - e^{-\alpha p})/(\alpha p)`."""
    y = pressure_viscosity * pressure_pa
    return 1.0 if abs(y) < 1e-12 else -math.expm1(-y) / y


@dataclass(frozen=True)
class SensorModel:
    """Gauge or transmitter with its logger."""

    rate_hz: float = 1000.0
    """Samples per second"""
    range_pa: float = 400.0e5
    """Full scale, [Pa]; above it the sensor clips"""
    bits: int | None = 14
    """Resolution over the range; None: not quantised"""
    lag_s: float = 2.0e-4
    """First-order lag, [s]"""
    noise_pa: float = 0.1e5
    """Standard deviation of white noise, [Pa]"""
    zero_error_pa: float = 0.0
    gain_error: float = 0.0
    """Relative"""
    hum_pa: float = 0.0
    """Amplitude of mains hum, [Pa]"""
    hum_hz: float = 50.0
    jitter_s: float = 0.0
    """Standard deviation of the sampling instants, [s]"""
    stamps_show_jitter: bool = True
    """Whether the time stamps are the true instants or the nominal ones"""
    dropout_share: float = 0.0
    """Share of samples lost in drop-outs, [1]"""
    dropout_length_s: float = 0.02
    dropout_holds_last: bool = False
    """True: the logger repeats the last value; False: it writes NaN"""

    def __post_init__(self) -> None:
        faults: list[Fault] = []
        for name in ("rate_hz", "range_pa"):
            value = getattr(self, name)
            _demand(
                faults,
                value > 0.0,
                f"{name} is {value}",
                "sensor of the pretend bench",
                "Give more than zero.",
            )
        if faults:
            raise InputFault(faults)
