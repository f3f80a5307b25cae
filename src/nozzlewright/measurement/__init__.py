"""A quantity with unit, standard uncertainty, origin and shared causes; rounding and units."""

from nozzlewright.measurement.calibration import Calibration, fit_calibration
from nozzlewright.measurement.coverage import coverage_factor, effective_degrees_of_freedom
from nozzlewright.measurement.monte_carlo import draws_of, propagate_by_draws
from nozzlewright.measurement.quantity import (
    Cause,
    Caution,
    Measured,
    NotMeasured,
    Quantity,
    covariance,
    difference,
    exact,
    linear_combination,
    mean_of,
    propagate,
)
from nozzlewright.measurement.rounding import decimals_for, rounded_text
from nozzlewright.measurement.trade import (
    SOME_ATMOSPHERE,
    UNITS_OF,
    Kind,
    UnitInUse,
    family_of,
    kinds_of,
    named_unit,
    unit_in_use,
)
from nozzlewright.measurement.units import (
    PRESSURE_UNITS,
    TIME_UNITS,
    celsius,
    kelvin,
    pressure_from_pa,
    pressure_to_pa,
    pressure_unit,
)

__all__ = [
    "PRESSURE_UNITS",
    "SOME_ATMOSPHERE",
    "TIME_UNITS",
    "UNITS_OF",
    "Calibration",
    "Cause",
    "Caution",
    "Kind",
    "Measured",
    "NotMeasured",
    "Quantity",
    "UnitInUse",
    "celsius",
    "covariance",
    "coverage_factor",
    "decimals_for",
    "difference",
    "draws_of",
    "effective_degrees_of_freedom",
    "exact",
    "family_of",
    "fit_calibration",
    "kelvin",
    "kinds_of",
    "linear_combination",
    "mean_of",
    "named_unit",
    "pressure_from_pa",
    "pressure_to_pa",
    "pressure_unit",
    "propagate",
    "propagate_by_draws",
    "rounded_text",
    "unit_in_use",
]
