"""Measured values in words: one rule for unit, rounding and interval, on screen and paper alike."""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType

from nozzlewright.measurement import Caution, Measured, NotMeasured, decimals_for
from nozzlewright.said import Figure, Said, Unit, reworded, say

READING_RULE = say(
    "A value is given as value ± U, where U is half of its 95 % interval (1.65 to 2 times the "
    "standard uncertainty u), to two significant digits of U (JCGM 100:2008, 7.2.6). Where the "
    "interval is lopsided, its two ends are given instead."
)
"""How a printed value is to be read; stated once in everything that is handed over."""


@dataclass(frozen=True)
class TradeUnit:
    """A unit as the trade writes it, with its way from SI."""

    plain: str
    """Spelling in plain letters, for data."""
    printed: str
    """Spelling for people."""
    factor: float
    """Trade units in one SI unit."""
    offset: float = 0.0
    """Added after the factor (degrees Celsius)."""

    def __post_init__(self) -> None:
        if not isinstance(self.printed, Said):
            object.__setattr__(self, "printed", Unit(self.printed))

    def value(self, value_si: float) -> float:
        """Return a value in this unit."""
        return value_si * self.factor + self.offset

    def width(self, width_si: float) -> float:
        """Return a difference or an uncertainty in this unit."""
        return width_si * self.factor


BAR = TradeUnit("bar", "bar", 1e-5)
MICROMETRE = TradeUnit("um", "µm", 1e6)
MILLIMETRE = TradeUnit("mm", "mm", 1e3)
PER_STROKE = TradeUnit("1", say("per stroke"), 1.0)
PER_CENT = TradeUnit("%", "%", 100.0)

TRADE_UNITS: Mapping[str, TradeUnit] = MappingProxyType({
    "Pa": BAR,
    "Pa/s": TradeUnit("bar/s", "bar/s", 1e-5),
    "s": TradeUnit("s", "s", 1.0),
    "m": MICROMETRE,
    "m^3": TradeUnit("cm3", "cm³", 1e6),
    "m^3/Pa": TradeUnit("mm3/bar", "mm³/bar", 1e14),
    "m^3/(s Pa)": TradeUnit("mm3/(s bar)", "mm³/(s·bar)", 1e14),
    "m^2/s": TradeUnit("mm2/s", "mm²/s", 1e6),
    "Pa/m": TradeUnit("bar/mm", "bar/mm", 1e-8),
    "kg/m^3": TradeUnit("kg/m3", "kg/m³", 1.0),
    "K": TradeUnit("degC", "°C", 1.0, -273.15),
    "1/s": TradeUnit("1/s", "1/s", 1.0),
    "Hz": TradeUnit("Hz", "Hz", 1.0),
    "1": TradeUnit("1", "", 1.0),
})  # fmt: skip
"""Trade unit for each SI unit that a quantity carries."""


def trade_unit(unit_si: str) -> TradeUnit:
    """Return the trade's unit for an SI unit; one that is not known is printed as it stands."""
    spelling = unit_si.replace("³", "^3").replace("²", "^2").replace("m3", "m^3")
    spelling = spelling.replace("m2", "m^2").replace("*", " ").replace("·", " ")
    return TRADE_UNITS.get(spelling, TradeUnit(unit_si, unit_si, 1.0))


@dataclass(frozen=True)
class ValueText:
    """A measured value as it is printed, or the reason why there is none."""

    text: str
    """Value, interval and unit: ``174.94 ± 0.46 bar``; or ``not measured``."""
    measured: bool
    value: str = ""
    """The value alone, for columns that line up: ``174.94``."""
    plus_minus: str = ""
    """Half of the interval: ``± 0.46``; or its two ends: ``169.1 to 176.0``."""
    unit: str = ""
    standard_uncertainty: str = ""
    """``0.23 bar``; empty for a value taken as known."""
    method: str = ""
    reason: str = ""
    """Why it was not measured."""
    remedy: str = ""
    cautions: tuple[str, ...] = ()
    budget: tuple[tuple[str, str], ...] = ()
    """Causes with the size of their part of u, largest first: (``gauge level``, ``0.20 bar``)."""
    shares: tuple[float, ...] = ()
    """Share of each of them in the variance, [1]."""

    @property
    def sentence(self) -> str:
        """The value; or that it was not measured, and why."""
        if self.measured:
            return self.text
        return say("not measured, because {reason}", reason=self.reason)


def number(value: float, decimals: int, unit: str = "") -> Figure:
    """Return a number with a true minus sign and without a negative zero.

    Negative decimals round to tens, hundreds ...

    >>> number(-0.04, 1), number(-2.5, 1), number(12346.0, -1)
    ('0.0', '−2.5', '12350')
    """
    text = f"{round(value, decimals):.{max(decimals, 0)}f}"
    if text.startswith("-"):
        text = text[1:] if float(text) == 0.0 else f"−{text[1:]}"
    return Figure(text, value, unit)


def plain_number(value: float, unit: str = "") -> Figure:
    """Return a number that carries no uncertainty, such as a limit: no trailing zeros.

    >>> plain_number(50.0), plain_number(0.05), plain_number(154.98499)
    ('50', '0.05', '154.985')
    """
    text = f"{value:.6g}"
    if text.startswith("-"):
        text = text.replace("-", "−", 1)
    return Figure(text, value, unit, exact=True)


def with_unit(value: str, unit: str) -> str:
    """Return a number with its unit, held together by a no-break space."""
    if not unit:
        return value
    name = unit if isinstance(unit, Said) else Unit(unit)
    return say("{value}\N{NO-BREAK SPACE}{unit}", value=value, unit=name)


def value_text(measured: Measured, unit: TradeUnit | None = None) -> ValueText:
    """Return a measured value in words.

    Parameters
    ----------
    measured : Quantity or NotMeasured
        What was measured
    unit : TradeUnit, optional
        Unit to print; None: the trade's unit for the SI unit that the quantity carries

    Examples
    --------
    >>> from nozzlewright.measurement import Cause, Quantity
    >>> opening = Quantity(174.938e5, "Pa", {Cause("gauge level"): 0.2341e5})
    >>> value_text(opening).text.replace("\N{NO-BREAK SPACE}", " ")
    '174.94 ± 0.46 bar'
    """
    if isinstance(measured, NotMeasured):
        return ValueText(
            say("not measured"), measured=False, reason=measured.reason, remedy=measured.remedy
        )
    unit = unit or trade_unit(measured.unit)
    value = unit.value(measured.value)
    low, high = (unit.value(bound) for bound in measured.coverage_interval)
    half_width = (high - low) / 2.0
    measured_width = unit.width(measured.standard_uncertainty)
    if not half_width > 0.0:
        plain = plain_number(value, unit.printed)
        return ValueText(
            with_unit(plain, unit.printed),
            measured=True,
            value=plain,
            unit=unit.printed,
            method=measured.method,
            cautions=caution_texts(measured.cautions),
        )
    places = _last_place(half_width if math.isfinite(half_width) else measured_width)
    shown = number(value, places, unit.printed)
    if _is_lopsided(value, low, high):
        plus_minus = say(
            "{low}\N{NO-BREAK SPACE}to\N{NO-BREAK SPACE}{high}",
            low=_bound(low, places, unit),
            high=_bound(high, places, unit),
        )
        text: str = say(
            "{value} ({interval})",
            value=with_unit(shown, unit.printed),
            interval=with_unit(plus_minus, unit.printed),
        )
    else:
        half = number(half_width, places, unit.printed)
        plus_minus = say("±\N{NO-BREAK SPACE}{half}", half=half)
        both = say("{value}\N{NO-BREAK SPACE}{half}", value=shown, half=plus_minus)
        text = with_unit(both, unit.printed)
    spread = unit.width(measured.standard_uncertainty)
    return ValueText(
        text,
        measured=True,
        value=shown,
        plus_minus=plus_minus,
        unit=unit.printed,
        standard_uncertainty=width_text(spread, unit),
        method=measured.method,
        cautions=caution_texts(measured.cautions),
        budget=tuple(
            (cause.words, width_text(unit.width(part), unit)) for cause, part in measured.budget
        ),
        shares=tuple((part / measured.standard_uncertainty) ** 2 for _, part in measured.budget),
    )


@lru_cache(maxsize=2048)  # a report says a value in several places, its budget each time
def width_text(width: float, unit: TradeUnit) -> str:
    """Return an uncertainty in its trade unit, to two significant digits."""
    if width <= 0.0:
        return ""
    name = "K" if unit.printed == "°C" else unit.printed
    return with_unit(number(width, _last_place(width), name), name)


def _last_place(width: float) -> int:
    """Return the decimal place of the second significant digit; negative left of the point."""
    if width < 100.0:
        return decimals_for(width)
    return 1 - math.floor(math.log10(width))


def pressure_text(pressure_pa: float, decimals: int = 1) -> str:
    """Return a pressure in bar, for a place where no uncertainty belongs (an axis, a window)."""
    return with_unit(number(BAR.value(pressure_pa), decimals, "bar"), "bar")


def limit_text(lower: float | None, upper: float | None, unit_si: str) -> str:
    """Return limits in the trade's unit: ``171 to 180 bar``, ``at least 6 s``.

    >>> limit_text(171e5, 180e5, "Pa").replace("\N{NO-BREAK SPACE}", " ")
    '171 to 180 bar'
    """
    unit = trade_unit(unit_si)
    least, most = (
        None if limit is None else plain_number(unit.value(limit), unit.printed)
        for limit in (lower, upper)
    )
    if least is not None and most is not None:
        return with_unit(say("{lower} to {upper}", lower=least, upper=most), unit.printed)
    if least is not None:
        return say("at least {value}", value=with_unit(least, unit.printed))
    if most is not None:
        return say("at most {value}", value=with_unit(most, unit.printed))
    return ""


def caution_texts(cautions: tuple[Caution, ...]) -> tuple[str, ...]:
    """Return cautions as sentences, each once."""
    return tuple(dict.fromkeys(caution.sentence for caution in cautions))


def printable(text: str) -> str:
    r"""Return text that came from outside without signs that no paper can show.

    Control characters, private and unassigned signs and those that turn the direction of the
    text round go; runs of white space become one space, no-break spaces stay.

    >>> printable("a\x1b[31mb\tc")
    'a[31mb c'
    """
    if isinstance(text, Said):
        return text if _shown(text) == text else reworded(text, _shown)
    return _shown(text).strip(" ")


def _shown(text: str) -> str:
    if text.isascii() and text.isprintable() and "  " not in text:
        return text  # as nearly all are
    kept = "".join(
        sign
        for sign in re.sub(r"[^\S\u00a0]", " ", text)
        if unicodedata.category(sign) not in _UNPRINTABLE and sign not in _TURNING
    )
    return re.sub(" +", " ", kept)


_UNPRINTABLE = frozenset({"Cc", "Cs", "Co", "Cn"})
"""Unicode categories of control characters, half surrogates, private and unassigned signs."""
_TURNING = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\ufeff")
"""Signs that override the direction of the text after them, and the byte order mark."""


def _is_lopsided(value: float, low: float, high: float) -> bool:
    if not (math.isfinite(low) and math.isfinite(high)):
        return True
    return abs((high - value) - (value - low)) > 0.1 * (high - low)


def _bound(bound: float, places: int, unit: TradeUnit) -> str:
    if math.isfinite(bound):
        return number(bound, places, unit.printed)
    return say("any\N{NO-BREAK SPACE}more") if bound > 0 else say("any\N{NO-BREAK SPACE}less")
