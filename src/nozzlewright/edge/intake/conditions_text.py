"""Bench conditions as the text of a ``bench.toml``: what a pretend bench hands to the reader.

The inverse of :func:`nozzlewright.edge.intake.conditions.read_conditions`: what was read from a
file is read from the text again without the last bit of a number having moved, although the file
speaks in trade units and the conditions in SI. (An uncertainty that the reader itself assumes is
reckoned anew, and may.)
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any

import tomlkit

from nozzlewright.bench import (
    BenchConditions,
    BlankPlug,
    DropWindow,
    Fluid,
    Gauge,
    ReferenceNozzle,
    Rig,
    RigLimits,
    RigReadings,
)
from nozzlewright.edge.intake import conditions as read
from nozzlewright.measurement import Quantity, kelvin
from nozzlewright.measurement.units import BAR

_MOST_DIGITS = 17
"""Significant digits with which any double can be told from its neighbours (IEEE 754)."""


def conditions_text(conditions: BenchConditions, remark: str = "") -> str:
    """Return the text of a ``bench.toml`` that states the conditions.

    Parameters
    ----------
    conditions : BenchConditions
        What is known; what is not known is left out
    remark : str
        Comment on top, one or more lines

    Notes
    -----
    Conditions that no file can state are written as near as a file can: a number that no decimal
    of 17 digits reaches through its unit moves by its last bit, and a quantity whose causes are
    not those of :func:`~nozzlewright.edge.intake.conditions.read_conditions` comes back with the
    reader's.
    """
    document = tomlkit.document()
    for line in remark.splitlines():
        document.add(tomlkit.comment(line))
    if remark:
        document.add(tomlkit.nl())
    for name, part in _tables(conditions).items():
        if part is not None:
            document.add(name, _table(part))
    return tomlkit.dumps(document)


def check_table(readings: RigReadings) -> tomlkit.items.Table | None:
    """Return the table ``[check]`` that states readings; None where there are none."""
    part = _readings(readings) or {}
    table = _table(part)
    return table if len(table) else None


def _table(part: Mapping[str, Any]) -> tomlkit.items.Table:
    table = tomlkit.table()
    for key, value in part.items():
        if value is not None and value != "" and value != []:
            table.add(key, value)
    return table


def _tables(conditions: BenchConditions) -> dict[str, dict[str, Any] | None]:
    """Return the tables in the order of the documentation; None for one that is not needed."""
    nozzle, drop = conditions.geometry, conditions.drop_watch
    tables: dict[str, dict[str, Any] | None] = {
        "sitting": {"id": conditions.sitting, "date": conditions.gauge.used_on},
        "fluid": _fluid(conditions.fluid, conditions.oil_temperature),
        "gauge": _gauge(conditions.gauge),
        "rig": _rig(conditions.rig),
        "blank_plug": _blank(conditions.blank_plug),
        "window": _window(conditions.window),
        "nozzle": {
            "guide_diameter_mm": _in(nozzle.guide_diameter_m, read.MM),
            "guide_length_mm": _in(nozzle.guide_length_m, read.MM),
            "seat_diameter_mm": _in(nozzle.seat_diameter_m, read.MM),
            "body_diameter_mm": _in(nozzle.body_diameter_m, read.MM),
            "spring_rate_n_per_mm": _in(nozzle.spring_rate_n_per_m, 1e3),
            "two_spring": nozzle.two_spring or None,
        },
        "seat": {
            "opening_bar": _in(conditions.opening_target_pa, BAR),
            "margin_bar": _in(conditions.seat_margin_pa, BAR),
            "seconds": conditions.seat_hold_s,
        },
        "tip": {
            "seat": _grade(conditions.seat_watch.grade),
            "drop_test": _grade(drop.grade),
            "leak_off_drops": drop.leak_off_drops,
            "leak_off_seconds": drop.leak_off_seconds,
            "outside_leak": drop.outside_leak or conditions.seat_watch.outside_leak,
        },
        **_belongings(conditions.rig),
        "limits": _limits(conditions.rig.limits),
        "check": _readings(conditions.readings),
    }
    # A fluid or a plug that is there with nothing known of it is not the same as none.
    kept = {
        "fluid": conditions.fluid,
        "blank_plug": conditions.blank_plug,
        "filter": conditions.rig.filter,
        "probe": conditions.rig.probe,
        "reference": conditions.rig.reference,
        "check": conditions.readings,
    }
    return {
        name: part
        if part is not None
        and (kept.get(name) is not None or any(v not in (None, "", []) for v in part.values()))
        else None
        for name, part in tables.items()
    }


def _grade(grade: object) -> str | None:
    return None if grade is None else str(grade)


def _written(value: float, back: Callable[[float], float]) -> float:
    """Return the shortest number that the reader turns into a value; the nearest if none does."""
    # The steepness of the way back gives the first guess; it is a factor, or a shift of zero.
    zero, one = back(0.0), back(1.0)
    guess = (value - zero) / (one - zero)
    for digits in range(1, _MOST_DIGITS + 1):
        tried = float(f"{guess:.{digits}g}")
        if back(tried) == value:
            return tried
    for tried in (math.nextafter(guess, -math.inf), math.nextafter(guess, math.inf)):
        if back(tried) == value:
            return tried
    return guess


def _in(value: float | None, factor: float) -> float | None:
    """Return an SI value in a trade unit of so much SI."""
    return None if value is None else _written(value, lambda number: number * factor)


def _celsius(value: float | None) -> float | None:
    return None if value is None else _written(value, kelvin)


def _stated(
    key: str,
    uncertainty_key: str,
    quantity: Quantity | None,
    factor: float = 1.0,
    number: Callable[[float], float | None] | None = None,
) -> dict[str, float | None]:
    """Return value and standard uncertainty; the latter only where somebody stated it."""
    if quantity is None:
        return {}
    return {
        key: _in(quantity.value, factor) if number is None else number(quantity.value),
        uncertainty_key: (
            None if quantity.method == read.ASSUMED else _in(quantity.standard_uncertainty, factor)
        ),
    }


def _fluid(fluid: Fluid | None, temperature: Quantity | None) -> dict[str, Any] | None:
    if fluid is None and temperature is None:
        return None
    known = fluid or Fluid("")
    ratio_u = known.viscosity_relative_uncertainty
    return {
        "name": known.name,
        **_stated("temperature_c", "temperature_u_c", temperature, number=_celsius),
        "viscosity": [
            [_celsius(kelvins), _in(viscosity, read.MM2_PER_S)]
            for kelvins, viscosity in known.viscosity_points
        ],
        "viscosity_ratio_u_percent": (
            None
            if ratio_u == read.DEFAULT_VISCOSITY_RATIO_RELATIVE_U
            else _written(ratio_u, lambda percent: percent / 100.0)
        ),
        **_stated("density_15c_kg_m3", "density_15c_u_kg_m3", known.density_15c),
        **_stated("bulk_modulus_gpa", "bulk_modulus_u_gpa", known.bulk_modulus_20c, 1e9),
        **_stated(
            "pressure_viscosity_per_gpa",
            "pressure_viscosity_u_per_gpa",
            known.pressure_viscosity,
            1e-9,
        ),
        "density": [[_celsius(kelvins), density] for kelvins, density in known.density_points],
        "batch": known.batch,
        "filled_on": known.filled_on,
        "hours_used": known.hours_used,
    }


def _gauge(gauge: Gauge) -> dict[str, Any]:
    return {
        "id": gauge.identity,
        "range_bar": _in(gauge.range_pa, BAR),
        "class": gauge.accuracy_class,
        "certificate": [
            [
                _in(point.reference_pa, BAR),
                _in(point.indicated_pa, BAR),
                # Expanded with the coverage factor that is the reader's default.
                _written(point.standard_uncertainty_pa, lambda number: number * BAR / 2.0),
                *([_in(point.hysteresis_pa, BAR)] if point.hysteresis_pa else []),
            ]
            for point in gauge.certificate
        ],
        "resolution_bar": _in(gauge.resolution_pa, BAR),
        "time_constant_ms": _in(gauge.time_constant_s, 1e-3),
        "calibrated_on": gauge.calibrated_on,
        "drift_bar_per_year": _in(gauge.drift_pa_per_year, BAR),
        "next_calibration_on": gauge.next_calibration_on,
        "certificate_number": gauge.certificate_number,
        "certificate_c": _celsius(gauge.certificate_temperature_k),
    }


def _rig(rig: Rig) -> dict[str, Any]:
    return {
        "id": rig.identity,
        **_stated("volume_cm3", "volume_u_cm3", rig.volume_m3, read.CM3),
        **_stated(
            "wall_compliance_mm3_per_bar",
            "wall_compliance_u_mm3_per_bar",
            rig.wall_compliance,
            read.MM3_PER_BAR,
        ),
        **_stated(
            "compliance_mm3_per_bar",
            "compliance_u_mm3_per_bar",
            rig.compliance,
            read.MM3_PER_BAR,
        ),
        "at_bar": _in(rig.compliance_pressure_pa, BAR),
        "at_c": _celsius(rig.compliance_temperature_k),
    }


def _belongings(rig: Rig) -> dict[str, dict[str, Any] | None]:
    return {
        "filter": None
        if rig.filter is None
        else {"kind": rig.filter.kind, "changed_on": rig.filter.changed_on},
        "probe": None
        if rig.probe is None
        else {
            "id": rig.probe.identity,
            "u_c": rig.probe.standard_uncertainty_k,
            "calibrated_on": rig.probe.calibrated_on,
            "next_calibration_on": rig.probe.next_calibration_on,
        },
        "reference": None if rig.reference is None else _reference(rig.reference),
    }


def _reference(nozzle: ReferenceNozzle) -> dict[str, Any]:
    return {
        "id": nozzle.identity,
        "since": nozzle.since,
        **_stated("opening_bar", "opening_u_bar", nozzle.opening, BAR),
        "opening_tolerance_bar": _in(nozzle.opening_tolerance_pa, BAR),
        **_stated("drop_s", "drop_u_s", nozzle.drop_time),
        "drop_tolerance_s": nozzle.drop_tolerance_s,
        "from_bar": _in(nozzle.drop_from_pa, BAR),
        "to_bar": _in(nozzle.drop_to_pa, BAR),
        "at_c": _celsius(nozzle.reference_temperature_k),
    }


def _limits(limits: RigLimits) -> dict[str, Any]:
    return {
        "blank_fall_bar": _in(limits.blank_fall_pa, BAR),
        "blank_fall_s": limits.blank_fall_s,
        "blank_fall_from_bar": _in(limits.blank_fall_from_pa, BAR),
        "zero_bar": _in(limits.zero_pa, BAR),
        "compliance_percent": _in(limits.compliance_relative, read.PERCENT),
        "temperature_from_c": _celsius(limits.temperature_from_k),
        "temperature_to_c": _celsius(limits.temperature_to_k),
        "oil_days": limits.oil_days,
        "oil_hours": limits.oil_hours,
        "filter_days": limits.filter_days,
        "remind_days": limits.remind_days,
        "baseline": limits.baseline,
        "study_days": limits.study_days,
        "calibration_grace_days": limits.calibration_grace_days,
        "check_days": limits.check_days,
    }


def _readings(readings: RigReadings | None) -> dict[str, Any] | None:
    if readings is None:
        return None
    drop = tomlkit.inline_table()
    for key, value in (
        ("from_bar", _in(readings.drop_from_pa, BAR)),
        ("to_bar", _in(readings.drop_to_pa, BAR)),
        ("seconds", readings.drop_s),
    ):
        if value is not None:
            drop.append(key, value)
    strokes = readings.strokes
    pumped: dict[str, Any] = {}
    if strokes is not None:
        pumped = {
            "strokes_bar": [_in(pressure, BAR) for pressure in strokes.pressures_pa],
            "piston_area_mm2": _in(strokes.piston_area_m2, read.MM2),
            "piston_area_u_mm2": _in(strokes.piston_area_u_m2, read.MM2),
            "travel_mm": _in(strokes.travel_m, read.MM),
            "travel_u_mm": _in(strokes.travel_u_m, read.MM),
            "stroke_s": strokes.between_s,
        }
    return {
        "zero_bar": _in(readings.zero_pa, BAR),
        "zero_recording": readings.zero_recording,
        "opening_bar": [_in(pressure, BAR) for pressure in readings.opening_pa],
        "drop": drop or None,
        "recording": readings.recording,
        "bled": [
            [_in(one.from_pa, BAR), _in(one.to_pa, BAR), _in(one.volume_m3, read.CM3)]
            for one in readings.bled
        ],
        "graduation_cm3": _in(readings.graduation_m3, read.CM3),
        "cylinder_percent": _in(readings.cylinder_relative_error, read.PERCENT),
        **pumped,
    }


def _blank(blank: BlankPlug | None) -> dict[str, Any] | None:
    if blank is None:
        return None
    drop = tomlkit.inline_table()
    for key, value in (
        ("from_bar", _in(blank.drop_from_pa, BAR)),
        ("to_bar", _in(blank.drop_to_pa, BAR)),
        ("seconds", blank.drop_time_s),
    ):
        if value is not None:
            drop.append(key, value)
    return {
        "recording": blank.recording,
        "drop": drop or None,
        **_stated("compliance_ratio", "compliance_ratio_u", blank.compliance_ratio),
        **_stated("volume_cm3", "volume_u_cm3", blank.volume_m3, read.CM3),
        "temperature_c": _celsius(blank.temperature_k),
    }


def _window(window: DropWindow | None) -> dict[str, Any] | None:
    if window is None:
        return None
    reference = window.reference_compliance
    return {
        "from_bar": _in(window.from_pa, BAR),
        "to_bar": _in(window.to_pa, BAR),
        "reference_c": _celsius(window.reference_temperature_k),
        "reference_compliance_mm3_per_bar": (
            None if reference is None else _in(reference.value, read.MM3_PER_BAR)
        ),
    }
