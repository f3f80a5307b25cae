"""Bench conditions as the nested table of a ``bench.toml``, in the units that it is written in."""

from __future__ import annotations

from typing import Any

from nozzlewright.bench import BenchConditions, BlankPlug, DropWindow, Fluid, Gauge, Rig
from nozzlewright.measurement import Quantity

BAR = 1e5
MM3_PER_BAR = 1e-9 / BAR
ZERO_CELSIUS_K = 273.15


def bench_table(conditions: BenchConditions) -> dict[str, Any]:
    """Return the table of a ``bench.toml`` that states the conditions; what is unknown is left out.

    Numbers keep nine significant digits.
    """
    nozzle = conditions.geometry
    fluid = {} if conditions.fluid is None else _fluid(conditions.fluid)
    temperature = conditions.oil_temperature
    if temperature is not None:
        fluid["temperature_c"] = temperature.value - ZERO_CELSIUS_K
        fluid["temperature_u_c"] = temperature.standard_uncertainty
    table: dict[str, Any] = {
        "sitting": {"id": conditions.sitting or None},
        "fluid": fluid,
        "gauge": _gauge(conditions.gauge),
        "rig": _rig(conditions.rig),
        "blank_plug": _blank(conditions.blank_plug),
        "window": _window(conditions.window),
        "nozzle": {
            "guide_diameter_mm": _over(nozzle.guide_diameter_m, 1e-3),
            "guide_length_mm": _over(nozzle.guide_length_m, 1e-3),
            "seat_diameter_mm": _over(nozzle.seat_diameter_m, 1e-3),
            "body_diameter_mm": _over(nozzle.body_diameter_m, 1e-3),
            "spring_rate_n_per_mm": _over(nozzle.spring_rate_n_per_m, 1e3),
            "two_spring": nozzle.two_spring or None,
        },
        "seat": {
            "opening_bar": _over(conditions.opening_target_pa, BAR),
            "margin_bar": _over(conditions.seat_margin_pa, BAR),
            "seconds": conditions.seat_hold_s,
        },
        "tip": {
            "seat": None if conditions.seat_watch.grade is None else conditions.seat_watch.grade,
            "drop_test": conditions.drop_watch.grade,
            "leak_off_drops": conditions.drop_watch.leak_off_drops,
            "leak_off_seconds": conditions.drop_watch.leak_off_seconds,
            "outside_leak": conditions.drop_watch.outside_leak or None,
        },
    }
    return {name: kept for name, part in table.items() if (kept := _known(part))}


def _known(part: dict[str, Any]) -> dict[str, Any]:
    return {key: _plain(value) for key, value in part.items() if value is not None}


def _plain(value: Any) -> Any:
    if isinstance(value, bool | int):
        return value
    if isinstance(value, float):
        return float(f"{value:.9g}")
    if isinstance(value, list):
        return [_plain(item) for item in value]
    return str(value)


def _over(value: float | None, unit: float) -> float | None:
    return None if value is None else value / unit


def _stated(
    key: str, uncertainty_key: str, quantity: Quantity | None, unit: float
) -> dict[str, float]:
    if quantity is None:
        return {}
    return {
        key: quantity.value / unit,
        uncertainty_key: quantity.standard_uncertainty / unit,
    }


def _fluid(fluid: Fluid) -> dict[str, Any]:
    points = [[t - ZERO_CELSIUS_K, nu / 1e-6] for t, nu in fluid.viscosity_points]
    return {
        "name": fluid.name,
        "viscosity": points or None,
        "viscosity_ratio_u_percent": 100.0 * fluid.viscosity_relative_uncertainty,
        **_stated("density_15c_kg_m3", "density_15c_u_kg_m3", fluid.density_15c, 1.0),
        **_stated("bulk_modulus_gpa", "bulk_modulus_u_gpa", fluid.bulk_modulus_20c, 1e9),
        **_stated(
            "pressure_viscosity_per_gpa",
            "pressure_viscosity_u_per_gpa",
            fluid.pressure_viscosity,
            1e-9,
        ),
    }


def _gauge(gauge: Gauge) -> dict[str, Any]:
    lines = [
        [p.reference_pa / BAR, p.indicated_pa / BAR, 2.0 * p.standard_uncertainty_pa / BAR]
        for p in gauge.certificate
    ]
    return {
        "id": gauge.identity or None,
        "range_bar": _over(gauge.range_pa, BAR),
        "class": gauge.accuracy_class,
        "certificate": lines or None,
        "resolution_bar": _over(gauge.resolution_pa, BAR),
        "time_constant_ms": _over(gauge.time_constant_s, 1e-3),
        "calibrated_on": gauge.calibrated_on or None,
    }


def _rig(rig: Rig) -> dict[str, Any]:
    return {
        "id": rig.identity or None,
        **_stated("volume_cm3", "volume_u_cm3", rig.volume_m3, 1e-6),
        **_stated(
            "wall_compliance_mm3_per_bar",
            "wall_compliance_u_mm3_per_bar",
            rig.wall_compliance,
            MM3_PER_BAR,
        ),
        **_stated(
            "compliance_mm3_per_bar", "compliance_u_mm3_per_bar", rig.compliance, MM3_PER_BAR
        ),
        "at_bar": _over(rig.compliance_pressure_pa, BAR),
        "at_c": None
        if rig.compliance_temperature_k is None
        else rig.compliance_temperature_k - ZERO_CELSIUS_K,
    }


def _blank(blank: BlankPlug | None) -> dict[str, Any]:
    if blank is None:
        return {}
    return {
        "recording": blank.recording or None,
        **_stated("compliance_ratio", "compliance_ratio_u", blank.compliance_ratio, 1.0),
        **_stated("volume_cm3", "volume_u_cm3", blank.volume_m3, 1e-6),
        "temperature_c": None
        if blank.temperature_k is None
        else blank.temperature_k - ZERO_CELSIUS_K,
    }


def _window(window: DropWindow | None) -> dict[str, Any]:
    if window is None:
        return {}
    reference = window.reference_compliance
    return {
        "from_bar": window.from_pa / BAR,
        "to_bar": window.to_pa / BAR,
        "reference_c": None
        if window.reference_temperature_k is None
        else window.reference_temperature_k - ZERO_CELSIUS_K,
        "reference_compliance_mm3_per_bar": None
        if reference is None
        else reference.value / MM3_PER_BAR,
    }
