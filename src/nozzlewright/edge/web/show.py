"""Values as this screen shows them, and as a person types them: trade units out and in."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from datetime import date, datetime, tzinfo
from functools import lru_cache
from types import MappingProxyType

from babel.dates import format_date, format_time
from markupsafe import Markup

from nozzlewright.edge.web.here import PRESSURE_UNITS
from nozzlewright.edge.web.texts import HERE, _, decimal_sign, gettext
from nozzlewright.errors import Fault, InputFault, UnitFault
from nozzlewright.measurement import NotMeasured, Quantity
from nozzlewright.measurement.units import (
    BAR,
    pressure_from_pa,
    pressure_to_pa,
    pressure_unit,
)
from nozzlewright.report.wording import number, value_text
from nozzlewright.said import speak

DECIMALS: Mapping[str, int] = MappingProxyType({"bar": 1, "MPa": 2, "kgf/cm2": 1, "psi": 0})
"""Decimals of a pressure without uncertainty: about 0.1 bar in each unit."""

HIGHEST_PA = 10_000 * BAR
"""No bench for mechanical injectors comes near it: more is a slip of the unit or the finger."""
LONGEST_S = 7 * 24 * 3600.0


def localised(text: str) -> str:
    """Return a text with numbers by the decimal sign of this screen's language."""
    return re.sub(r"(?<=\d)\.(?=\d)", decimal_sign(), text)


def pressure(
    value: float | Quantity | NotMeasured | None,
    unit: str | None = None,
    decimals: int | None = None,
) -> str:
    """Return a pressure with its unit.

    Parameters
    ----------
    value : float, Quantity, NotMeasured or None
        The pressure, [Pa]; a quantity is printed with its interval; None gives a dash
    unit : str, optional
        Unit to print; None: that of this screen
    decimals : int, optional
        Decimals of a plain number; None: about 0.1 bar in the unit

    >>> pressure(17_494_000.0).replace("\N{NO-BREAK SPACE}", " ")
    '174.9 bar'
    >>> pressure(17_494_000.0, "MPa").replace("\N{NO-BREAK SPACE}", " ")
    '17.49 MPa'
    """
    name = unit or HERE.get().pressure_unit
    if value is None or isinstance(value, Quantity | NotMeasured):
        return _measured(value, name)
    places = DECIMALS[name] if decimals is None else decimals
    return _plain(pressure_from_pa(value, name), places, PRESSURE_UNITS[name])


def pressure_number(pressure_pa: float, unit: str | None = None) -> str:
    """Return a pressure without its unit, as it stands in an input beside the unit."""
    name = unit or HERE.get().pressure_unit
    return localised(number(pressure_from_pa(pressure_pa, name), DECIMALS[name]))


def seconds(value: float | Quantity | NotMeasured | None, decimals: int = 1) -> str:
    """Return a time span with its unit.

    >>> seconds(6.25).replace("\N{NO-BREAK SPACE}", " ")
    '6.2 s'
    """
    if value is None or isinstance(value, Quantity | NotMeasured):
        return _measured(value, HERE.get().pressure_unit)
    return _plain(value, decimals, "s")


def _plain(value: float, decimals: int, unit: str) -> str:
    return f"{localised(number(value, decimals))}\N{NO-BREAK SPACE}{unit}"


def _measured(value: Quantity | NotMeasured | None, unit: str) -> str:
    if value is None:
        return "–"
    return speak(value_text(value).sentence, gettext, unit, decimal_sign())


LOCALES = {"en": "en_GB", "de": "de_DE"}
"""How a language of the screens writes days and times."""


def when(moment: datetime, zone: tzinfo | None = None, form: str = "full") -> Markup:
    """Return a moment in the shop's zone, as a ``time`` element.

    Parameters
    ----------
    moment : datetime
        With its zone (UTC in the record)
    zone : tzinfo, optional
        The shop's; None: that of this machine
    form : str
        ``full`` (day and time), ``day`` or ``time``
    """
    local = moment.astimezone(zone)
    locale = LOCALES[HERE.get().language]
    day, time = format_date(local, "medium", locale), format_time(local, "HH:mm", locale=locale)
    text = {"day": day, "time": time}.get(form, f"{day}, {time}")
    stamp = moment.isoformat(timespec="seconds")
    return Markup('<time datetime="{}">{}</time>').format(stamp, text)


def day_text(stated: str) -> str:
    """Return a day of a card as this screen writes days; as it stands where it is none.

    >>> day_text("2026-03-04"), day_text("spring 2026")
    ('4 Mar 2026', 'spring 2026')
    """
    return _day_in(HERE.get().language, stated)


@lru_cache(4096)
def _day_in(language: str, stated: str) -> str:
    try:
        day = date.fromisoformat(stated)
    except ValueError:
        return stated
    return str(format_date(day, "medium", LOCALES[language]))


_NUMBER = re.compile(r"([+\-−]?)\s*(\d+(?:[.,]\d*)?|[.,]\d+)")


def parse_number(text: str, where: str, *, lowest: float = 0.0, highest: float) -> float:
    """Return a number that a person typed; a decimal comma is as good as a point.

    Raises
    ------
    InputFault
        If there is no number, it has two decimal signs, or it is out of bounds.
    """
    found = _NUMBER.fullmatch(text.strip().replace("\N{NO-BREAK SPACE}", " "))
    if found is None:
        what = _("“%(text)s” is not a number") % {"text": text.strip()[:40]}
        if not text.strip():
            what = _("nothing has been entered")
        remedy = _("Type one number, with at most one decimal point or comma, such as 174.5")
        raise InputFault(Fault(what, where, remedy))
    value = float(found[2].replace(",", ".")) * (-1.0 if found[1] in ("-", "−") else 1.0)
    if not (math.isfinite(value) and lowest <= value <= highest):
        raise InputFault(
            Fault(
                _("%(text)s is out of bounds") % {"text": text.strip()[:40]},
                where,
                _("Type a number from %(lowest)s to %(highest)s")
                % {
                    "lowest": localised(f"{lowest:.6g}"),
                    "highest": localised(f"{highest:.6g}"),
                },
            )
        )
    return value


def parse_pressure(text: str, unit: str, where: str = "") -> float:
    """Return a pressure that a person typed, [Pa].

    Parameters
    ----------
    text : str
        Number, with a decimal point or comma; a unit typed after it goes before `unit`
    unit : str
        Unit that stands beside the input
    where : str
        Name of the input, for the fault

    Raises
    ------
    InputFault
        If it is no pressure from 0 to 10 000 bar.

    >>> parse_pressure("174,5", "bar")
    17450000.0
    >>> round(parse_pressure("17.2 MPa", "bar"))
    17200000
    """
    where = where or _("pressure")
    typed = re.fullmatch(r"\s*([+\-−\d.,\s]*?)\s*([^\W\d].*)?", text.strip(), re.DOTALL)
    figures, own = (typed[1], typed[2]) if typed else (text, None)
    if own:
        try:
            unit = pressure_unit(own)
        except UnitFault:
            raise InputFault(
                Fault(
                    _("“%(unit)s” is not a unit of pressure known here") % {"unit": own[:20]},
                    where,
                    _("Use one of: %(units)s") % {"units": ", ".join(PRESSURE_UNITS.values())},
                )
            ) from None
    highest = pressure_from_pa(HIGHEST_PA, unit)
    return pressure_to_pa(parse_number(figures, where, highest=highest), unit)


def parse_seconds(text: str, where: str = "") -> float:
    """Return a time span that a person typed, [s].

    Raises
    ------
    InputFault
        If it is no time from 0 s to a week.
    """
    figures = re.sub(r"\s*s$", "", text.strip())
    return parse_number(figures, where or _("time"), highest=LONGEST_S)
