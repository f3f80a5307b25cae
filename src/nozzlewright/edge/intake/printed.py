"""Values as documents print them: read with their units, and held against each other.

Printed specifications are full of conversion errors. Where a document gives one value in two
units, both are read here, and must agree within the rounding of the printed digits.

A digit string stands for its value ± half a unit of the last place. Whether zeros at the end of a
whole number are digits or only fill the place is not printed; they are taken as fill, up to
0.5 % of the value (common practice, no source).
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum

from nozzlewright.edge.intake.toml_schema import Objection, shown
from nozzlewright.measurement.units import (
    BAR,
    PRESSURE_UNITS,
    PSI,
    STANDARD_ATMOSPHERE,
    STANDARD_GRAVITY,
    TECHNICAL_ATMOSPHERE,
)

FILL_ZEROS = 0.005
"""Share of a value up to which its final zeros may be fill, [1]."""
LARGEST = 1e12
"""No printed number of this trade is larger, in any unit."""
POUND_FORCE = 0.45359237 * STANDARD_GRAVITY
"""One pound-force, [N]; exact (NIST SP 811:2008, appendix B)."""
INCH = 0.0254
"""One inch, [m]; exact."""


class Kind(StrEnum):
    """What sort of thing a printed value is."""

    PRESSURE = "pressure"
    TORQUE = "torque"
    LENGTH = "length"
    EFFECT = "effect of a shim"
    TURN = "effect of a turn"
    VISCOSITY = "viscosity"
    COMPLIANCE = "compliance"
    RATE = "spring rate"
    FORCE = "load"


@dataclass(frozen=True)
class Unit:
    """A unit as printed."""

    kind: Kind
    si: float
    """SI units in one of it."""
    name: str
    ask: bool = False
    """An atmosphere of which the name does not say which."""


SHOW_IN: Mapping[Kind, tuple[tuple[str, float], ...]] = {
    Kind.PRESSURE: (("bar", BAR), ("kgf/cm2", TECHNICAL_ATMOSPHERE), ("psi", PSI)),
    Kind.TORQUE: (("Nm", 1.0), ("lbf ft", POUND_FORCE * 0.3048), ("kgf m", STANDARD_GRAVITY)),
    Kind.LENGTH: (("mm", 1e-3), ("in", INCH)),
    Kind.EFFECT: (("bar/mm", BAR / 1e-3),),
    Kind.TURN: (("bar per turn", BAR),),
    Kind.VISCOSITY: (("mm2/s", 1e-6),),
    Kind.COMPLIANCE: (("mm3/bar", 1e-9 / BAR),),
    Kind.RATE: (("N/mm", 1e3),),
    Kind.FORCE: (("N", 1.0), ("kgf", STANDARD_GRAVITY), ("lbf", POUND_FORCE)),
}  # fmt: skip
"""Units in which a conversion is shown."""


def _units() -> dict[str, Unit]:
    """Return every spelling (lower case, no spaces, dots, hyphens) with its unit."""
    table: dict[str, Unit] = {}

    def add(kind: Kind, si: float, name: str, *spellings: str, ask: bool = False) -> None:
        for spelling in (name, *spellings):
            table[_plain(spelling)] = Unit(kind, si, name, ask)

    for name in ("Pa", "hPa", "kPa", "MPa", "mbar", "bar"):
        add(Kind.PRESSURE, PRESSURE_UNITS[name], name)
    add(Kind.PRESSURE, PSI, "psi", "psig", "lbf/in2", "lb/in2", "lb/sqin",
        "lbf/sqin", "psi(g)")  # fmt: skip
    add(Kind.PRESSURE, BAR, "bar", "bars", "barg", "bar(g)")
    add(Kind.PRESSURE, TECHNICAL_ATMOSPHERE, "kgf/cm2", "kg/cm2", "kp/cm2", "kgf/sqcm", "kg/sqcm")
    add(Kind.PRESSURE, TECHNICAL_ATMOSPHERE, "technical atm", "technical at",
        "technical atmosphere", "technical atmospheres")  # fmt: skip
    add(Kind.PRESSURE, STANDARD_ATMOSPHERE, "standard atm", "standard atmosphere",
        "standard atmospheres", "physical atm")  # fmt: skip
    for name in ("at", "atm", "atü", "atu", "ata", "atmosphere", "atmospheres"):
        add(Kind.PRESSURE, TECHNICAL_ATMOSPHERE, name, ask=True)
    add(Kind.TORQUE, 1.0, "Nm")
    add(Kind.TORQUE, POUND_FORCE * 0.3048, "lbf ft", "lb ft", "ft lb", "ft lbf", "ft lbs", "lbs ft")
    add(Kind.TORQUE, POUND_FORCE * INCH, "lbf in", "lb in", "in lb", "in lbf", "in lbs")
    add(Kind.TORQUE, STANDARD_GRAVITY, "kgf m", "kg m", "m kg", "kp m", "m kp", "m kgf")
    add(Kind.TORQUE, STANDARD_GRAVITY / 100.0, "kgf cm", "kg cm", "cm kg")
    add(Kind.LENGTH, 1e-3, "mm")
    add(Kind.LENGTH, 1e-6, "µm", "um", "micron", "microns", "micrometre", "micrometres")
    add(Kind.LENGTH, INCH, "in", "inch", "inches", '"')
    add(Kind.VISCOSITY, 1e-6, "mm2/s", "cSt")
    add(Kind.COMPLIANCE, 1e-9 / BAR, "mm3/bar")
    add(Kind.COMPLIANCE, 1e-6 / BAR, "cm3/bar", "ml/bar")
    add(Kind.RATE, 1e3, "N/mm")
    add(Kind.RATE, 1.0, "N/m")
    add(Kind.RATE, STANDARD_GRAVITY * 1e3, "kgf/mm", "kg/mm")
    add(Kind.RATE, POUND_FORCE / INCH, "lbf/in", "lb/in")
    add(Kind.FORCE, 1.0, "N", "newton", "newtons")
    add(Kind.FORCE, STANDARD_GRAVITY, "kgf", "kp")
    add(Kind.FORCE, POUND_FORCE, "lbf")
    return table


def _plain(spelling: str) -> str:
    text = spelling.strip().lower().replace("²", "2").replace("³", "3").replace("^", "")
    return re.sub(r"[\s.·*-]", "", text.replace("μ", "µ"))


UNITS = _units()
# Between the letters of a unit, what _plain() takes out may stand.
_SPELLINGS = sorted(UNITS, key=len, reverse=True)
_UNIT = "|".join(r"[\s.·*^-]?".join(re.escape(char) for char in one) for one in _SPELLINGS)
_UNIT = _UNIT.replace("2", "[2²]").replace("3", "[3³]").replace("µ", "[µμ]")
_NUMBER = r"\d+(?:[.,]\d+)*"
_BETWEEN = r"\s*(?:-|–|—|to|…|\.{2,3})\s*"
_PLUS_MINUS = r"\s*(?:±|\+\s*/\s*-|\+-)\s*"
# "at" and "in" before a number are words of a sentence, not units.

_VALUE = re.compile(
    rf"(?<![\w.,])(?P<first>{_NUMBER})"
    rf"(?:(?P<between>{_BETWEEN})(?P<second>{_NUMBER})|{_PLUS_MINUS}(?P<tolerance>{_NUMBER}))?"
    rf"\s*(?P<unit>{_UNIT})(?![a-zµμ²³])(?!(?<=at)\s*\d)(?!(?<=in)\s*\d)",
    re.IGNORECASE,
)
_PER = re.compile(
    rf"\s*(?:per|/|for|each)\s*(?P<length>{_NUMBER})?\s*(?P<unit>{_UNIT})(?![a-zµμ²³])",
    re.IGNORECASE,
)
_PER_TURN = re.compile(r"\s*(?:per|/|for\s+each|each)\s*(?:1\s*)?(?:turn|rev|revolution)s?\b", re.I)
_BESIDE = re.compile(r"^\s*(?:[(\[/=;,|]|or|equals)\s*\(?\s*$", re.IGNORECASE)
_TO = re.compile(rf"^{_BETWEEN}$", re.IGNORECASE)
_WITH_TOLERANCE = re.compile(rf"^{_PLUS_MINUS}$")


@dataclass(frozen=True)
class Digits:
    """A number as printed, in SI, with what the rounding of its digits leaves open."""

    value: float
    half: float
    """Half a unit of the last place."""

    def agrees_with(self, other: Digits) -> bool:
        """Return whether both may be the same value, rounded."""
        reach = self.half + other.half
        return abs(self.value - other.value) <= reach * (1.0 + 1e-9)


@dataclass(frozen=True)
class Printed:
    """One value, range or value with tolerance that stands in a text."""

    unit: Unit
    first: tuple[Digits, ...]
    """Readings of the number, more than one where a comma may be point or separator; SI."""
    second: tuple[Digits, ...] = ()
    """Upper end of a range, or the tolerance."""
    tolerance: bool = False
    start: int = 0
    end: int = 0
    text: str = ""
    beside: bool = False
    """Whether it repeats the value before it in another unit."""

    @property
    def numbers(self) -> tuple[tuple[Digits, ...], ...]:
        """Every number that it names: ends of a range, or nominal, tolerance and both ends."""
        if not self.second:
            return (self.first,)
        if not self.tolerance:
            return self.first, self.second
        ends = tuple(
            Digits(a.value + sign * b.value, a.half + b.half)
            for sign in (-1.0, 1.0)
            for a, b in zip(self.first[:1], self.second[:1], strict=True)
        )
        return self.first, self.second, (ends[0],), (ends[1],)

    @property
    def band(self) -> tuple[Digits, Digits]:
        """Lower and upper end, the same twice for a single value; SI."""
        if not self.second:
            return self.first[0], self.first[0]
        if self.tolerance:
            return self.numbers[2][0], self.numbers[3][0]
        return self.first[0], self.second[0]


def read_printed(text: str) -> list[Printed]:
    """Return every value with a unit that stands in a text, in order.

    >>> [one.text for one in read_printed("175-183 at (2489 to 2603 psi), hold 10 s")]
    ['175-183 at', '2489 to 2603 psi']
    """
    found: list[Printed] = []
    position = 0
    while match := _VALUE.search(text, position):
        unit = UNITS[_plain(match["unit"])]
        end = match.end()
        first = _digits(match["first"], unit.si)
        second_text = match["second"] or match["tolerance"]
        second = _digits(second_text, unit.si) if second_text else ()
        if unit.kind is Kind.PRESSURE:
            if turn := _PER_TURN.match(text, end):
                unit, end = Unit(Kind.TURN, unit.si, f"{unit.name} per turn", unit.ask), turn.end()
            elif per := _PER.match(text, end):
                length = UNITS[_plain(per["unit"])]
                if length.kind is Kind.LENGTH:
                    by = _digits(per["length"] or "1", length.si)[0]
                    if by.value > 0.0:
                        exact = Digits(by.value, by.half if per["length"] else 0.0)
                        first, second = _over(first, exact), _over(second, exact)
                        unit = Unit(Kind.EFFECT, 1.0, f"{unit.name} per {length.name}", unit.ask)
                        end = per.end()
        found.append(
            Printed(
                unit, first, second, bool(match["tolerance"]), match.start(), end,
                text[match.start() : end],
            )
        )  # fmt: skip
        position = end
    return _paired(_joined(found, text), text)


def _joined(found: list[Printed], text: str) -> list[Printed]:
    """Join ``175 bar to 183 bar`` and ``20.7 MPa ± 0.35 MPa`` into one."""
    joined: list[Printed] = []
    for one in found:
        last = joined[-1] if joined else None
        if last is not None and not last.second and not one.second and last.unit == one.unit:
            gap = text[last.end : one.start]
            tolerance = bool(_WITH_TOLERANCE.match(gap))
            if tolerance or _TO.match(gap):
                joined[-1] = Printed(
                    one.unit, last.first, one.first, tolerance, last.start, one.end,
                    text[last.start : one.end],
                )  # fmt: skip
                continue
        joined.append(one)
    return joined


def _paired(found: list[Printed], text: str) -> list[Printed]:
    paired: list[Printed] = []
    for one in found:
        last = paired[-1] if paired else None
        beside = (
            last is not None
            and last.unit.kind is one.unit.kind
            and last.unit.name != one.unit.name
            and bool(_BESIDE.match(text[last.end : one.start].lstrip(")]")))
        )
        paired.append(
            Printed(
                one.unit, one.first, one.second, one.tolerance, one.start, one.end, one.text, beside
            )
        )
    return paired


def _digits(text: str, si: float) -> tuple[Digits, ...]:
    """Return the readings of a digit string, in SI; the usual one first."""
    readings = []
    if re.fullmatch(r"[1-9]\d{0,2}(?:,\d{3})+", text):
        readings = [text.replace(",", "")]
        if text.count(",") == 1:
            readings.append(text.replace(",", "."))
    elif text.count(".") > 1:
        readings = [text.replace(".", "").replace(",", ".")]
    elif "," in text and "." in text:
        last = max(text.rfind(","), text.rfind("."))
        readings = [re.sub(r"[.,]", "", text[:last]) + "." + text[last + 1 :]]
    else:
        readings = [text.replace(",", ".")]
    digits = []
    for reading in readings:
        try:
            value = float(reading)
        except ValueError:
            raise Objection(
                f"{shown(text)} is not a number", "Use a decimal point and no separators"
            ) from None
        if not value < LARGEST:
            raise Objection(f"{shown(text)} is beyond any value of this trade", "Check it")
        whole, _, decimals = reading.partition(".")
        place = 0.5 * 10.0 ** -len(decimals)
        if not decimals:
            zeros = len(whole) - len(whole.rstrip("0"))
            place = max(place, min(0.5 * 10.0 ** min(zeros, 12), FILL_ZEROS * value))
        digits.append(Digits(value * si, place * si))
    return tuple(digits)


def _over(numbers: tuple[Digits, ...], by: Digits) -> tuple[Digits, ...]:
    return tuple(
        Digits(one.value / by.value, (one.half + one.value * by.half / by.value) / by.value)
        for one in numbers
    )


# --- atmospheres -------------------------------------------------------------------------------


class Unsettled(Objection):
    """A value in atmospheres of which it is not said which they are.

    Parameters
    ----------
    what, remedy : str
        As a file is mended
    printed : Printed
        The value
    """

    beside: str = ""
    """The value in another unit beside it, where that tells the two apart."""
    fits: str = ""
    """The atmosphere that agrees with it."""

    def __init__(self, what: str, remedy: str, printed: Printed) -> None:
        super().__init__(what, remedy)
        self.printed = printed


def settle_atmosphere(printed: Printed, atmosphere: str | None) -> Printed:
    """Return a printed value with its atmosphere settled by the sheet's statement.

    Raises
    ------
    Unsettled
        If it is in atmospheres and the sheet does not say which.
    """
    if not printed.unit.ask:
        return printed
    if atmosphere is None:
        value = printed.first[0].value
        if printed.unit.kind is Kind.PRESSURE:
            n = value / TECHNICAL_ATMOSPHERE
            both = (
                f"{n * TECHNICAL_ATMOSPHERE / BAR:.1f} bar as technical, "
                f"{n * STANDARD_ATMOSPHERE / BAR:.1f} bar as standard atmospheres"
            )
        else:
            both = "3.3 % apart as technical and as standard atmospheres"
        raise Unsettled(
            f"'{printed.text}' does not say which atmosphere it means: {both}",
            'Look up which one the document means, then state atmosphere = "technical" '
            '(1 at = 1 kgf/cm2 = 0.980665 bar) or "standard" (1 atm = 1.01325 bar) at the top of '
            "the sheet",
            printed,
        )
    ratio = 1.0 if atmosphere == "technical" else STANDARD_ATMOSPHERE / TECHNICAL_ATMOSPHERE

    def scaled(numbers: tuple[Digits, ...]) -> tuple[Digits, ...]:
        return tuple(Digits(one.value * ratio, one.half * ratio) for one in numbers)

    unit = Unit(printed.unit.kind, printed.unit.si * ratio, printed.unit.name)
    return Printed(
        unit, scaled(printed.first), scaled(printed.second), printed.tolerance,
        printed.start, printed.end, printed.text, printed.beside,
    )  # fmt: skip


# --- cross-checks ------------------------------------------------------------------------------


def cross_check(text: str, atmosphere: str | None) -> tuple[list[Printed], list[Objection]]:
    """Return the values of a text, and an objection for each pair of units that disagree."""
    try:
        written = read_printed(text)
    except Objection as objection:
        return [], [objection]
    found: list[Printed] = []
    objections: list[Objection] = []
    for one in written:
        try:
            found.append(settle_atmosphere(one, atmosphere))
        except Unsettled as objection:
            objections.append(_with_hint(objection, one, written))
    main: Printed | None = None
    for one in found:
        if one.beside and main is not None and main.unit.kind is one.unit.kind:
            if not agree(main, one):
                objections.append(_mismatch(main, one))
        else:
            main = one
    return found, objections


def agree(a: Printed, b: Printed) -> bool:
    """Return whether two printed values may be one and the same, rounded."""
    if bool(a.second) == bool(b.second) and a.tolerance == b.tolerance:
        pairs = [(a.first, b.first)] + ([(a.second, b.second)] if a.second else [])
        return all(_any_agree(x, y) for x, y in pairs)
    if a.second and b.second:
        pairs = list(zip([(one,) for one in a.band], [(one,) for one in b.band], strict=True))
        return all(_any_agree(x, y) for x, y in pairs)
    return any(_any_agree(x, y) for x in a.numbers for y in b.numbers)


def _any_agree(a: Iterable[Digits], b: Iterable[Digits]) -> bool:
    others = tuple(b)
    return any(one.agrees_with(other) for one in a for other in others)


def contains(found: Iterable[Printed], kind: Kind, value: Digits) -> bool:
    """Return whether a value stands among printed ones, or none of its kind is printed."""
    of_kind = [one for one in found if one.unit.kind is kind]
    return not of_kind or any(
        _any_agree(number, (value,)) for one in of_kind for number in one.numbers
    )


def converted(kind: Kind, value: float) -> str:
    """Return a value in every unit in which the trade prints its kind.

    >>> converted(Kind.PRESSURE, 125 * TECHNICAL_ATMOSPHERE)
    '122.6 bar = 125 kgf/cm2 = 1778 psi'
    """
    return " = ".join(f"{value / si:.4g} {name}" for name, si in SHOW_IN[kind])


def _mismatch(a: Printed, b: Printed) -> Objection:
    def words(one: Printed) -> str:
        low, high = one.band
        if low.value == high.value:
            return converted(one.unit.kind, low.value)
        if one.tolerance:
            return (
                f"{converted(one.unit.kind, one.first[0].value)} ± "
                f"{converted(one.unit.kind, one.second[0].value)}"
            )
        return f"{converted(one.unit.kind, low.value)} to {converted(one.unit.kind, high.value)}"

    return Objection(
        f"'{a.text}' and '{b.text}' beside it do not agree: the first is {words(a)}; the second "
        f"is {words(b)}",
        "One of the two is a misprint: find out which (another edition, the next page, the "
        "maker), and write the right value alone",
    )


def _with_hint(objection: Unsettled, one: Printed, found: list[Printed]) -> Unsettled:
    """Add which atmosphere fits the value in another unit that stands beside it."""
    index = found.index(one)
    beside = found[index + 1] if index + 1 < len(found) and found[index + 1].beside else None
    if beside is None or beside.unit.ask:
        return objection
    fits = [
        name for name in ("technical", "standard") if agree(settle_atmosphere(one, name), beside)
    ]
    if len(fits) != 1:
        return objection
    hint = f"'{beside.text}' beside it fits the {fits[0]} atmosphere. "
    hinted = Unsettled(objection.what, hint + objection.remedy, one)
    hinted.beside, hinted.fits = beside.text, fits[0]
    return hinted


# --- one value ---------------------------------------------------------------------------------

_EXAMPLES = {
    Kind.PRESSURE: '"175 bar", "14.7 MPa", "125 kgf/cm2 (1778 psi)"',
    Kind.TORQUE: '"45 Nm", "40 ± 5 Nm", "59 to 78 Nm"',
    Kind.LENGTH: '"0.05 mm", "6 mm (0.236 in)"',
    Kind.EFFECT: '"100 bar/mm", "10 bar per 0.1 mm"',
    Kind.TURN: '"87 bar per turn"',
    Kind.VISCOSITY: '"2.6 mm2/s"',
    Kind.COMPLIANCE: '"1.8 mm3/bar"',
    Kind.RATE: '"200 N/mm"',
    Kind.FORCE: '"280 N", "28.5 kgf"',
}


def one_value(text: str, kind: Kind, atmosphere: str | None, *, span: bool = False) -> Printed:
    """Return the value that a text states and nothing beside it but the same in other units.

    Parameters
    ----------
    text : str
        Text such as ``125 kgf/cm2 (1778 psi)``
    kind : Kind
        What it must be
    atmosphere : str or None
        What an atmosphere means on this sheet
    span : bool
        Whether a range or a tolerance is allowed

    Raises
    ------
    Objection
        If it is anything else, or its units disagree.
    """
    remedy = f"Write a number and its unit: {_EXAMPLES[kind]}"
    if re.fullmatch(rf"\s*[+-]?{_NUMBER}\s*", text):
        raise Objection(f"{shown(text)} has no unit", remedy)
    found, objections = cross_check(text, atmosphere)
    if objections:
        raise objections[0]
    if not found:
        weight = re.search(r"\d\s*(kg|kgf|kp|lbs?|pounds?)\s*$", text, re.IGNORECASE)
        if kind is Kind.PRESSURE and weight:
            raise Objection(
                f"{shown(text)} is a weight, not a pressure", "Write kgf/cm2 or psi in full"
            )
        raise Objection(f"{shown(text)} is not a {kind} with a unit known here", remedy)
    main, *others = found
    rest = text[: main.start] + text[others[-1].end if others else main.end :]
    if main.unit.kind is not kind:
        raise Objection(f"{shown(text)} is a {main.unit.kind}, not a {kind}", remedy)
    if not all(one.beside for one in others) or re.sub(r"[\s()\[\].]", "", rest):
        raise Objection(f"{shown(text)} says more than one value", remedy)
    if main.second and not span:
        raise Objection(f"{shown(text)} is a range where one value belongs", remedy)
    if len(main.first) > 1 or len(main.second) > 1:
        raise Objection(
            f"{shown(text)} has a comma that may be a decimal point or a separator",
            "Use a decimal point and no separators",
        )
    if not math.isfinite(main.first[0].value):
        raise Objection(f"{shown(text)} is beyond any {kind}", remedy)
    return main
