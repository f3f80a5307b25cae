"""The trade's units at the door; SI inside.

Factors are exact by definition (NIST SP 811:2008, appendix B; the psi from the exact pound,
inch and standard gravity). ``kg`` and a bare ``atm`` on old sheets are ambiguous: where it
matters, the caller must say which atmosphere is meant.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from nozzlewright.errors import UnitFault
from nozzlewright.said import PRESSURE_UNITS_PA

STANDARD_GRAVITY = 9.80665
"""Standard gravity, [m/s^2]; exact by definition."""
TECHNICAL_ATMOSPHERE = PRESSURE_UNITS_PA["kgf/cm2"]
"""One technical atmosphere = 1 kgf/cm2, [Pa]; exact."""
STANDARD_ATMOSPHERE = 101_325.0
"""One standard atmosphere, [Pa]; exact."""
BAR = PRESSURE_UNITS_PA["bar"]
"""One bar, [Pa]; exact."""
PSI = PRESSURE_UNITS_PA["psi"]
"""One pound-force per square inch, [Pa]; from exact definitions."""

PRESSURE_UNITS: Mapping[str, float] = MappingProxyType({
    "Pa": 1.0,
    "hPa": 100.0,
    "kPa": 1e3,
    "MPa": 1e6,
    "mbar": 100.0,
    "bar": BAR,
    "psi": PSI,
    "kgf/cm2": TECHNICAL_ATMOSPHERE,
    "at": TECHNICAL_ATMOSPHERE,
    "atm": STANDARD_ATMOSPHERE,
})  # fmt: skip
"""Pa for one of each unit of pressure."""

TIME_UNITS: Mapping[str, float] = MappingProxyType({
    "s": 1.0,
    "ms": 1e-3,
    "us": 1e-6,
    "min": 60.0,
    "h": 3600.0,
})  # fmt: skip
"""Seconds for one of each unit of time."""

_PRESSURE_SPELLINGS: Mapping[str, str] = MappingProxyType({
    "pascal": "Pa", "pa": "Pa", "hpa": "hPa", "kpa": "kPa", "mpa": "MPa",
    "mbar": "mbar", "bar": "bar", "bars": "bar", "barg": "bar", "bar(g)": "bar", "bar_g": "bar",
    "psi": "psi", "psig": "psi", "lbf/in2": "psi", "lb/in2": "psi", "lbf/in^2": "psi",
    "kgf/cm2": "kgf/cm2", "kg/cm2": "kgf/cm2", "kgf/cm^2": "kgf/cm2", "kg/cm^2": "kgf/cm2",
    "kp/cm2": "kgf/cm2", "kp/cm^2": "kgf/cm2",
    "at": "at", "atu": "at", "atm": "atm",
})  # fmt: skip


def pressure_unit(spelling: str) -> str:
    """Return the name used here for a unit of pressure as somebody wrote it.

    Raises
    ------
    UnitFault
        If the spelling is not known.

    >>> pressure_unit("kg/cm²")
    'kgf/cm2'
    """
    plain = spelling.strip()
    if plain in PRESSURE_UNITS:
        return plain
    key = plain.lower().replace("²", "2").replace(" ", "")
    if key in _PRESSURE_SPELLINGS:
        return _PRESSURE_SPELLINGS[key]
    known = ", ".join(PRESSURE_UNITS)
    raise UnitFault(f"'{spelling}' is not a unit of pressure known here; use one of: {known}")


def pressure_to_pa(value: float, unit: str) -> float:
    """Return a pressure in Pa; `unit` may be any known spelling.

    >>> pressure_to_pa(175, "at")
    17161637.5
    """
    return value * PRESSURE_UNITS[pressure_unit(unit)]


def pressure_from_pa(pressure_pa: float, unit: str = "bar") -> float:
    """Return a pressure given in Pa in another unit."""
    return pressure_pa / PRESSURE_UNITS[pressure_unit(unit)]


def kelvin(temperature_c: float) -> float:
    """Return an absolute temperature, [K], from degrees Celsius."""
    return temperature_c + 273.15


def celsius(temperature_k: float) -> float:
    """Return degrees Celsius from an absolute temperature, [K]."""
    return temperature_k - 273.15
