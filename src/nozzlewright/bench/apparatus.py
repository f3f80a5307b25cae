"""What stands on the bench: test fluid, gauge, rig."""

from __future__ import annotations

from dataclasses import dataclass, field

from nozzlewright.bench.rig_check import OilFilter, ReferenceNozzle, RigLimits, TemperatureProbe
from nozzlewright.measurement import Quantity


@dataclass(frozen=True)
class Fluid:
    """Test fluid, as known from its data sheet or a viscometer."""

    name: str
    viscosity_points: tuple[tuple[float, float], ...] = ()
    """(temperature [K], kinematic viscosity [m^2/s]); two or more for a conversion."""
    viscosity_relative_uncertainty: float = 0.02
    """Standard uncertainty of the viscosity *ratio* between two temperatures, [1]."""
    density_15c: Quantity | None = None
    """Density at 15 C, [kg/m^3]."""
    bulk_modulus_20c: Quantity | None = None
    """Isothermal bulk modulus at 20 C and 1 bar, [Pa]; None: typical of gas oil, less certain."""
    pressure_viscosity: Quantity | None = None
    """Barus coefficient, [1/Pa]; None: typical of gas oil, less certain."""
    density_points: tuple[tuple[float, float], ...] = ()
    """(temperature [K], density [kg/m^3]), where several are known."""
    batch: str = ""
    """Batch or delivery, in the supplier's own words."""
    filled_on: str = ""
    """Date on which it was filled in, ISO 8601."""
    hours_used: float | None = None
    """Use since then, [h]."""


@dataclass(frozen=True)
class CertificatePoint:
    """One line of a gauge's calibration certificate."""

    reference_pa: float
    indicated_pa: float
    standard_uncertainty_pa: float
    hysteresis_pa: float = 0.0
    """What it showed on the way down less what it showed on the way up; `indicated_pa` is then
    the mean of the two."""


@dataclass(frozen=True)
class Gauge:
    """Pressure gauge or transmitter."""

    identity: str = ""
    range_pa: float | None = None
    """Full scale, [Pa]."""
    accuracy_class: float | None = None
    """EN 837-1 class: permissible error in per cent of span."""
    certificate: tuple[CertificatePoint, ...] = ()
    """Calibration points; they replace the class where there are any."""
    resolution_pa: float | None = None
    """Smallest step shown, [Pa]; for a dial read by eye, the fraction of a division read."""
    time_constant_s: float | None = None
    """First-order lag, [s]."""
    calibrated_on: str = ""
    """Date of the last calibration, ISO 8601."""
    next_calibration_on: str = ""
    """Date on which that calibration runs out, ISO 8601."""
    certificate_number: str = ""
    certificate_temperature_k: float | None = None
    """Temperature at which it was calibrated, [K]."""
    drift_pa_per_year: float | None = None
    """How much its error moved in a year between the last two certificates, [Pa]."""
    used_on: str = ""
    """Day of the readings, ISO 8601, where a drift is stated: it grows from the calibration on."""


@dataclass(frozen=True)
class Rig:
    """Hand-lever test apparatus with its pipe and gauge: what is trapped behind the valve."""

    identity: str = ""
    volume_m3: Quantity | None = None
    """Oil trapped between shut-off and injector, injector included, [m^3]."""
    wall_compliance: Quantity | None = None
    """Volume that pipe and gauge give per pressure, the oil apart, [m^3/Pa]."""
    compliance: Quantity | None = None
    """Measured compliance of oil and walls together, injector fitted, [m^3/Pa]."""
    compliance_pressure_pa: float | None = None
    """Pressure at which that compliance was measured, [Pa]."""
    compliance_temperature_k: float | None = None
    """Temperature at which that compliance was measured, [K]."""
    filter: OilFilter | None = None
    probe: TemperatureProbe | None = None
    reference: ReferenceNozzle | None = None
    limits: RigLimits = field(default_factory=RigLimits)
    """What the workshop demands of it."""


@dataclass(frozen=True)
class BlankPlug:
    """The rig closed by a plug in the injector's place: what the rig itself leaks."""

    recording: str = ""
    """File with the recording of the hold, relative to the conditions file; or empty."""
    drop_time_s: float | None = None
    """Stopwatch time between the two pressures, [s]; instead of a recording."""
    drop_from_pa: float | None = None
    drop_to_pa: float | None = None
    compliance_ratio: Quantity | None = None
    """Compliance with the plug over compliance with the holder, [1]."""
    volume_m3: Quantity | None = None
    """Oil trapped with the plug, [m^3]; gives the ratio where it is not stated."""
    temperature_k: float | None = None
    """Oil temperature in that hold; None: as in the test."""
    fitter: str = ""
    """Who timed it; empty where nobody knows."""
