"""The units in which the trade gives its values, by kind; and how they are spelt.

Factors follow from exact definitions: the pound 0.45359237 kg, the inch 25.4 mm, standard gravity
9.80665 m/s2, the technical atmosphere 1 kgf/cm2, the standard atmosphere 101 325 Pa (NIST SP
811:2008, appendix B). ``atm`` and ``ata`` alone do not say which atmosphere is meant.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType

from nozzlewright.measurement.units import (
    BAR,
    PSI,
    STANDARD_ATMOSPHERE,
    STANDARD_GRAVITY,
    TECHNICAL_ATMOSPHERE,
)

POUND_FORCE = 0.45359237 * STANDARD_GRAVITY
"""One pound-force, [N]; exact."""
INCH = 0.0254
"""One inch, [m]; exact."""


class Kind(StrEnum):
    """What sort of thing a value is."""

    PRESSURE = "pressure"
    TORQUE = "torque"
    LENGTH = "length"
    FORCE = "force"
    SPRING_RATE = "spring rate"
    SHIM_EFFECT = "effect of a shim"
    STRESS = "stress"
    AREA = "area"
    VOLUME = "volume"
    FLOW = "flow"
    DROP_RATE = "drops in a time"
    TIME = "time"
    TEMPERATURE = "temperature"
    VISCOSITY = "viscosity"
    DENSITY = "density"
    SURFACE_TENSION = "surface tension"
    ANGLE = "angle"
    TURNING = "speed of the engine"
    CAM = "plunger lift by angle"
    SPEED = "speed"
    NUMBER = "number"
    SHARE = "share"


@dataclass(frozen=True)
class UnitInUse:
    """A unit as people in the trade write it."""

    name: str
    """Spelling in plain letters: what is typed and what stands in data."""
    printed: str
    """Spelling for people."""
    kind: Kind
    si: float
    """SI units in one of it."""
    zero: float = 0.0
    """SI value at its zero (degrees Celsius and Fahrenheit)."""
    ask: bool = False
    """Whether the name leaves open which of two atmospheres is meant."""

    def to_si(self, value: float) -> float:
        """Return a value in SI."""
        return value * self.si + self.zero

    def of_si(self, value_si: float) -> float:
        """Return an SI value in this unit."""
        return (value_si - self.zero) / self.si


def _of(kind: Kind, *rows: tuple[str, str, float]) -> tuple[UnitInUse, ...]:
    return tuple(UnitInUse(name, printed, kind, si) for name, printed, si in rows)


_FAHRENHEIT = 5.0 / 9.0

UNITS_OF: Mapping[Kind, tuple[UnitInUse, ...]] = MappingProxyType({
    Kind.PRESSURE: _of(
        Kind.PRESSURE,
        ("bar", "bar", BAR), ("MPa", "MPa", 1e6), ("kgf/cm2", "kgf/cm²", TECHNICAL_ATMOSPHERE),
        ("psi", "psi", PSI), ("kPa", "kPa", 1e3),
        ("at", "at (technical)", TECHNICAL_ATMOSPHERE),
        ("atm", "atm (standard)", STANDARD_ATMOSPHERE),
    ),
    Kind.TORQUE: _of(
        Kind.TORQUE,
        ("Nm", "Nm", 1.0), ("kgf m", "kgf m", STANDARD_GRAVITY),
        ("lbf ft", "lbf ft", POUND_FORCE * 0.3048), ("lbf in", "lbf in", POUND_FORCE * INCH),
        ("kgf cm", "kgf cm", STANDARD_GRAVITY / 100.0),
    ),
    Kind.LENGTH: _of(
        Kind.LENGTH,
        ("mm", "mm", 1e-3), ("um", "µm", 1e-6), ("in", "in", INCH), ("thou", "thou", INCH / 1e3),
        ("uin", "µin", INCH / 1e6), ("cm", "cm", 1e-2), ("m", "m", 1.0),
    ),
    Kind.FORCE: _of(
        Kind.FORCE,
        ("N", "N", 1.0), ("kgf", "kgf", STANDARD_GRAVITY), ("lbf", "lbf", POUND_FORCE),
        ("kN", "kN", 1e3),
    ),
    Kind.SPRING_RATE: _of(
        Kind.SPRING_RATE,
        ("N/mm", "N/mm", 1e3), ("kgf/mm", "kgf/mm", STANDARD_GRAVITY * 1e3),
        ("lbf/in", "lbf/in", POUND_FORCE / INCH),
    ),
    Kind.SHIM_EFFECT: _of(
        Kind.SHIM_EFFECT,
        ("bar/mm", "bar/mm", BAR / 1e-3), ("MPa/mm", "MPa/mm", 1e9),
        ("kgf/cm2/mm", "kgf/cm²/mm", TECHNICAL_ATMOSPHERE / 1e-3),
        ("psi/thou", "psi/thou", PSI / (INCH / 1e3)),
    ),
    Kind.STRESS: _of(
        Kind.STRESS,
        ("N/mm2", "N/mm²", 1e6), ("GPa", "GPa", 1e9),
        ("kgf/mm2", "kgf/mm²", STANDARD_GRAVITY * 1e6),
        ("ksi", "ksi", PSI * 1e3), ("Mpsi", "Mpsi", PSI * 1e6),
    ),
    Kind.AREA: _of(Kind.AREA, ("mm2", "mm²", 1e-6), ("in2", "in²", INCH**2)),
    Kind.VOLUME: _of(
        Kind.VOLUME, ("mm3", "mm³", 1e-9), ("cm3", "cm³", 1e-6), ("in3", "in³", INCH**3)
    ),
    Kind.FLOW: _of(
        Kind.FLOW,
        ("mm3/s", "mm³/s", 1e-9), ("cm3/min", "cm³/min", 1e-6 / 60.0),
        ("mm3/min", "mm³/min", 1e-9 / 60.0), ("l/h", "l/h", 1e-3 / 3600.0),
    ),
    Kind.DROP_RATE: _of(
        Kind.DROP_RATE, ("drops/min", "drops/min", 1.0 / 60.0), ("drops/s", "drops/s", 1.0)
    ),
    Kind.TIME: _of(Kind.TIME, ("s", "s", 1.0), ("min", "min", 60.0), ("ms", "ms", 1e-3)),
    Kind.TEMPERATURE: (
        UnitInUse("degC", "°C", Kind.TEMPERATURE, 1.0, 273.15),
        UnitInUse("degF", "°F", Kind.TEMPERATURE, _FAHRENHEIT, 273.15 - 32.0 * _FAHRENHEIT),
    ),
    Kind.VISCOSITY: _of(Kind.VISCOSITY, ("mm2/s", "mm²/s", 1e-6), ("cSt", "cSt", 1e-6)),
    Kind.DENSITY: _of(
        Kind.DENSITY,
        ("kg/m3", "kg/m³", 1.0), ("g/cm3", "g/cm³", 1e3),
        ("lb/ft3", "lb/ft³", 0.45359237 / 0.3048**3),
    ),
    Kind.SURFACE_TENSION: _of(
        Kind.SURFACE_TENSION, ("mN/m", "mN/m", 1e-3), ("dyn/cm", "dyn/cm", 1e-3)
    ),
    Kind.ANGLE: _of(Kind.ANGLE, ("deg", "°", math.pi / 180.0), ("rad", "rad", 1.0)),
    Kind.TURNING: _of(Kind.TURNING, ("rev/min", "rev/min", 2.0 * math.pi / 60.0)),
    Kind.CAM: _of(
        Kind.CAM,
        ("mm/deg", "mm/°", 1e-3 * 180.0 / math.pi), ("in/deg", "in/°", INCH * 180.0 / math.pi),
    ),
    Kind.SPEED: _of(Kind.SPEED, ("m/s", "m/s", 1.0), ("ft/s", "ft/s", 0.3048)),
    Kind.NUMBER: _of(Kind.NUMBER, ("", "", 1.0)),
    Kind.SHARE: _of(Kind.SHARE, ("%", "%", 0.01)),
})  # fmt: skip
"""Units of each kind, the usual one first."""

SOME_ATMOSPHERE = UnitInUse("atm?", "atm", Kind.PRESSURE, TECHNICAL_ATMOSPHERE, ask=True)
"""An atmosphere of which nobody says which; taken as technical until it is asked."""

_MORE: Mapping[str, tuple[str, ...]] = {
    "bar": ("bars", "barg", "bar(g)"),
    "kgf/cm2": ("kg/cm2", "kp/cm2", "kgf/sqcm", "kg/sqcm"),
    "psi": ("psig", "psi(g)", "lbf/in2", "lb/in2", "lbf/sqin", "lb/sqin"),
    "at": ("technicalat", "technicalatm", "technicalatmosphere", "technicalatmospheres",
           "at(technical)"),
    "atm": ("standardatm", "standardatmosphere", "standardatmospheres", "physicalatm",
            "atm(standard)"),
    "kgf m": ("kgm", "mkg", "kpm", "mkp", "mkgf"),
    "lbf ft": ("lbft", "ftlb", "ftlbf", "ftlbs", "lbsft", "lbfft"),
    "lbf in": ("lbin", "inlb", "inlbf", "inlbs"),
    "kgf cm": ("kgcm", "cmkg", "cmkgf"),
    "um": ("µm", "micron", "microns"),
    "uin": ("µin", "microinch", "microinches"),
    "in": ("inch", "inches", '"', "″"),
    "thou": ("mil", "mils"),
    "kgf": ("kp", "kg"),
    "lbf": ("lb", "lbs"),
    "kgf/mm": ("kg/mm", "kp/mm"),
    "lbf/in": ("lb/in",),
    "kgf/cm2/mm": ("kg/cm2/mm",),
    "N/mm2": ("mpa",),
    "cm3": ("ml", "cc"),
    "cm3/min": ("ml/min", "cc/min"),
    "drops/min": ("drop/min",),
    "degC": ("°c", "c", "celsius"),
    "degF": ("°f", "f", "fahrenheit"),
    "deg": ("°", "degree", "degrees"),
    "rev/min": ("rpm", "1/min", "r/min", "min-1"),
    "mm/deg": ("mm/°",),
    "in/deg": ("in/°",),
    "%": ("percent",),
}  # fmt: skip
_EITHER = ("atm", "ata", "atü", "atu", "atmosphere", "atmospheres")


def plain_spelling(text: str) -> str:
    """Return a spelling without what people write differently.

    >>> plain_spelling("kgf/cm²"), plain_spelling("N·m"), plain_spelling("lbf-ft")
    ('kgf/cm2', 'nm', 'lbfft')
    """
    text = text.strip().lower().replace("²", "2").replace("³", "3").replace("^", "")
    return re.sub(r"[\s.·*_-]", "", text.replace("μ", "µ"))


def _spellings(kind: Kind) -> dict[str, UnitInUse]:
    table: dict[str, UnitInUse] = {}
    for unit in UNITS_OF[kind]:
        for spelling in (unit.name, unit.printed, *_MORE.get(unit.name, ())):
            table.setdefault(plain_spelling(spelling), unit)
    return table


_SPELT: Mapping[Kind, dict[str, UnitInUse]] = {kind: _spellings(kind) for kind in Kind}


def unit_in_use(spelling: str, kind: Kind) -> UnitInUse | None:
    """Return the unit of a kind that a spelling means; None where it means none.

    >>> unit_in_use("ft lb", Kind.TORQUE).name, unit_in_use("psi", Kind.TORQUE)
    ('lbf ft', None)
    >>> unit_in_use("atm", Kind.PRESSURE).ask, unit_in_use("standard atm", Kind.PRESSURE).si
    (True, 101325.0)
    """
    plain = plain_spelling(spelling)
    if kind is Kind.PRESSURE and plain in _EITHER:
        return SOME_ATMOSPHERE
    return _SPELT[kind].get(plain)


def named_unit(name: str, kind: Kind) -> UnitInUse | None:
    """Return the unit of a kind by the very name that it has here."""
    return next((unit for unit in UNITS_OF[kind] if unit.name == name), None)


def family_of(unit: UnitInUse) -> str:
    """Return the family of a unit: inches and pounds, kilograms-force, or neither.

    >>> [family_of(UNITS_OF[Kind.TORQUE][i]) for i in (0, 1, 2)]
    ['', 'kgf', 'inch']
    """
    if "kgf" in unit.name:
        return "kgf"
    return "inch" if re.search(r"lb|\bu?in|psi|ksi|thou|ft|degF", unit.name) else ""


def kinds_of(spelling: str) -> tuple[Kind, ...]:
    """Return the kinds that have a unit of that spelling.

    >>> [kind.value for kind in kinds_of("lbf")], kinds_of("furlong")
    (['force'], ())
    """
    return tuple(kind for kind in Kind if unit_in_use(spelling, kind) is not None)
