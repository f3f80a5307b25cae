"""Messages that can be said again: in another language, another unit, another way with numbers.

A :class:`Said` is a string, the English text, which still knows its template and what was put
into it. All who only want the text use it as any string; a screen hands it to :func:`speak`.
What may be put into a message:

* another :class:`Said`, which is translated in turn;
* a member of an enumeration, whose value is a word of the catalogue;
* a :class:`Figure` or a :class:`Unit`, which follow the reader's unit of pressure;
* a whole number;
* a plain string: somebody's own words, such as a name or a limit as printed, never translated.

The catalogue's template may move the fields about; ``{what:capital}`` begins with a capital
letter wherever it stands.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Mapping
from enum import Enum
from functools import lru_cache
from types import MappingProxyType
from typing import Any, NoReturn

PRESSURE_UNITS_PA: Mapping[str, float] = MappingProxyType({
    "bar": 1e5,
    "MPa": 1e6,
    "kgf/cm2": 98_066.5,
    "psi": 0.45359237 * 9.80665 / 0.0254**2,
})  # fmt: skip
"""Units in which a reader may have pressures, [Pa] in one of each; exact by definition (NIST SP
811:2008, appendix B; the psi from the exact pound, inch and standard gravity)."""

_PRINTED = {"kgf/cm2": "kgf/cm²"}
_FIELD = re.compile(r"\{(?P<name>\w+)(?P<capital>:capital)?\}")
_EXACT_DIGITS = 5
"""Significant digits of a pressure that carries no uncertainty, in a unit that is not its own."""


class _Kept(str):
    """A string with attributes that do not change."""

    __slots__ = ()

    def __setattr__(self, name: str, value: object) -> NoReturn:
        raise AttributeError(f"{name} of a {type(self).__name__} cannot be changed")


class Unit(_Kept):
    """Name of a unit; where the bar is in it, the reader's unit of pressure can stand for it."""

    __slots__ = ()

    def to(self, pressure_unit: str) -> str:
        """Return the name with another unit of pressure in place of the bar.

        >>> Unit("bar/mm").to("kgf/cm2"), Unit("s").to("psi")
        ('kgf/cm²/mm', 's')
        """
        return self.replace("bar", _PRINTED.get(pressure_unit, pressure_unit))


class Figure(_Kept):
    """A number as it is written in bar and in English, without its unit.

    >>> Figure("174.94", 174.938, "bar").to("psi"), Figure("8", 8.0, "bar", exact=True).to("psi")
    ('2537.3', '116.03')
    """

    __slots__ = ("exact", "unit", "value")

    value: float
    """In `unit`."""
    unit: str
    """Trade unit; where it is a pressure or has one in it, it has the bar."""
    exact: bool
    """Whether it carries no uncertainty, such as a limit: it then keeps its meaning, not its
    decimals, in another unit."""

    def __new__(
        cls, text: str, value: float = math.nan, unit: str = "", *, exact: bool = False
    ) -> Figure:
        """Keep the text, and what it takes to write it anew."""
        figure = super().__new__(cls, text)
        object.__setattr__(figure, "value", float(value))
        object.__setattr__(figure, "unit", str(unit))
        object.__setattr__(figure, "exact", exact)
        return figure

    def __reduce__(self) -> tuple[Any, ...]:
        return _figure, (str(self), self.value, self.unit, self.exact)

    def to(self, pressure_unit: str, decimal: str = ".") -> str:
        """Return the number in another unit of pressure and with another decimal sign.

        Rounding goes along: the decimals move by the whole decades between the units, so that a
        figure is never less fine than it was, nor ten times finer.
        """
        return self._to(pressure_unit).replace(".", decimal)

    def _to(self, pressure_unit: str) -> str:
        factor = converted(1.0, self.unit, pressure_unit)
        if factor == 1.0 or not math.isfinite(self.value):
            return str(self)
        value = self.value * factor
        if self.exact:
            size = math.floor(math.log10(abs(value))) if value else 0
            text = _rounded(value, _EXACT_DIGITS - 1 - size)
            text = text.rstrip("0").rstrip(".") if "." in text else text
        else:
            decimals = len(self.partition(".")[2])
            text = _rounded(value, decimals - math.floor(math.log10(factor)))
        if self.startswith("+") and not text.startswith("-"):
            return f"+{text}"
        return text.replace("-", "−") if "−" in self else text


def _figure(text: str, value: float, unit: str, exact: bool) -> Figure:
    return Figure(text, value, unit, exact=exact)


def _rounded(value: float, decimals: int) -> str:
    """Return a number without a negative zero; negative decimals round to tens, hundreds ..."""
    return f"{round(value, decimals) + 0.0:.{max(decimals, 0)}f}"


class Said(_Kept):
    """A message: its English text, and the template with what was put into it."""

    __slots__ = ("arguments", "template")

    template: str
    """English, with a ``{name}`` for each argument: the key of the catalogue."""
    arguments: Mapping[str, str]
    """What stands in the fields: :class:`Said`, :class:`Figure`, :class:`Unit` or own words."""

    def __new__(cls, template: str, arguments: Mapping[str, str] | None = None) -> Said:
        """Put the message together."""
        kept = dict(arguments or {})
        said = super().__new__(cls, _filled(template, kept))
        object.__setattr__(said, "template", template if type(template) is str else str(template))
        object.__setattr__(said, "arguments", MappingProxyType(kept))
        return said

    def __reduce__(self) -> tuple[Any, ...]:
        return Said, (self.template, dict(self.arguments))


def say(template: str, /, **arguments: str | int | Enum) -> Said:
    """Return a message; the template must be a literal, so that the catalogue can be gathered.

    >>> say("held for {time}", time=say("{value} {unit}", value=figure(9.5, ".1f"), unit="s"))
    'held for 9.5 s'
    """
    return Said(template, {name: _argument(value) for name, value in arguments.items()})


def _argument(value: str | int | Enum) -> str:
    if isinstance(value, _Kept):  # as nearly all are
        return value
    if isinstance(value, Enum):
        return word(value)
    if isinstance(value, str):
        return value
    return Figure(str(value), value, exact=True)


def word(member: Enum) -> Said:
    """Return the value of a member of an enumeration as a message by itself."""
    return Said(str(member.value))


def joined(separator: str, parts: Iterable[str]) -> Said:
    """Return messages one after the other, as ``separator.join`` does with strings."""
    named = {f"part{number}": part for number, part in enumerate(parts)}
    template = separator.join(f"{{{name}}}" for name in named)
    return Said(template, {name: _argument(part) for name, part in named.items()})


def figure(value: float, spec: str = "", unit: str = "") -> Figure:
    """Return a number, formatted by the specification, for a message; thousands are written out.

    >>> figure(0.256, ".0%"), figure(12.34, ".1f", "bar").to("MPa", ","), figure(1174.0, ".3g")
    ('26%', '1,23', '1170')
    """
    text = format(value, spec)
    if "e+" in text:
        text = format(float(text), ".0f")
    return Figure(text, value, unit)


def pressure_figure(pressure_pa: float, spec: str = ".1f") -> Figure:
    """Return a pressure in bar without its unit, such as the first of two."""
    return figure(pressure_pa / 1e5, spec, "bar")


def in_bar(pressure_pa: float, spec: str = ".1f") -> Said:
    """Return a pressure in bar.

    >>> in_bar(12.34e5), speak(in_bar(12.34e5), str, "psi")
    ('12.3 bar', '179 psi')
    """
    return say("{value} {unit}", value=pressure_figure(pressure_pa, spec), unit=Unit("bar"))


def converted(value: float, unit: str, pressure_unit: str) -> float:
    """Return a value given in a trade unit in the same unit with another pressure for the bar.

    >>> round(converted(100.0, "bar/mm", "psi"), 1), round(converted(100.0, "mm³/bar", "MPa"), 1)
    (1450.4, 1000.0)
    """
    before, bar, _ = unit.partition("bar")
    if not bar or pressure_unit == "bar":
        return value
    factor = PRESSURE_UNITS_PA["bar"] / PRESSURE_UNITS_PA[pressure_unit]
    return value / factor if "/" in before else value * factor


def speak(
    text: str,
    translate: Callable[[str], str],
    pressure_unit: str = "bar",
    decimal: str = ".",
) -> str:
    """Return a message in the reader's language, unit of pressure and way with numbers.

    Parameters
    ----------
    text : str
        A message; a plain string is looked up in the catalogue as a whole
    translate : callable
        Template to template, such as ``gettext`` of a catalogue
    pressure_unit : str
        One of `PRESSURE_UNITS_PA`
    decimal : str
        Decimal sign

    Raises
    ------
    KeyError
        If the unit is not known, or the catalogue's template has a field that the message lacks.

    >>> german = {"{what} is low": "{what:capital} ist niedrig", "pressure": "Druck"}
    >>> speak(say("{what} is low", what=say("pressure")), lambda text: german.get(text, text))
    'Druck ist niedrig'
    """
    if isinstance(text, Figure):
        return text.to(pressure_unit, decimal)
    if isinstance(text, Unit):
        return text.to(pressure_unit)
    if not isinstance(text, Said):
        return translate(text) if text else ""
    if not text.template:
        return ""
    spoken = {
        name: speak(argument, translate, pressure_unit, decimal)
        if isinstance(argument, _Kept)
        else argument
        for name, argument in text.arguments.items()
    }
    return _filled(translate(text.template), spoken)


def _filled(template: str, arguments: Mapping[str, str]) -> str:
    if "{" not in template:
        return template
    before, fields = _fields(template)
    parts = [before]
    for name, capital, after in fields:
        text = arguments[name]
        parts += (text[:1].upper() + text[1:] if capital else text, after)
    return "".join(parts)


@lru_cache(maxsize=4096)  # some hundred templates, in every language that is spoken
def _fields(template: str) -> tuple[str, tuple[tuple[str, bool, str], ...]]:
    """Return what stands before the first field; and each field's name, capital, what follows."""
    # Not str.format: its fields reach into objects, and templates come back from data.
    before, *rest = _FIELD.split(template)
    return before, tuple(
        (name, bool(capital), after)
        for name, capital, after in zip(rest[::3], rest[1::3], rest[2::3], strict=True)
    )


def reworded(text: str, change: Callable[[str], str]) -> str:
    """Return a message with all own words in it changed; a plain string is changed as such."""
    if isinstance(text, Said):
        changed = {name: reworded(part, change) for name, part in text.arguments.items()}
        return Said(text.template, changed)
    return text if isinstance(text, _Kept) else change(text)


def as_data(text: str) -> Any:
    """Return a message as plain data for JSON."""
    if isinstance(text, Figure):
        value = text.value if math.isfinite(text.value) else None
        return {"figure": str(text), "value": value, "unit": text.unit, "exact": text.exact}
    if isinstance(text, Unit):
        return {"unit": str(text)}
    if isinstance(text, Said):
        parts = {name: as_data(part) for name, part in text.arguments.items()}
        return {"said": text.template, "with": parts}
    return str(text)


def from_data(data: Any) -> str:
    """Return the message that :func:`as_data` made plain.

    Raises
    ------
    ValueError
        If the data are not those of a message.
    """
    try:
        match data:
            case str():
                return data
            case {"figure": text, "value": value, "unit": unit, "exact": exact}:
                return Figure(text, math.nan if value is None else value, unit, exact=bool(exact))
            case {"said": template, "with": parts}:
                return Said(template, {name: from_data(part) for name, part in parts.items()})
            case {"unit": unit}:
                return Unit(unit)
    except (AttributeError, KeyError, TypeError, ValueError) as fault:
        raise ValueError(f"no message can be read from it ({fault})") from fault
    raise ValueError("no message can be read from it")
