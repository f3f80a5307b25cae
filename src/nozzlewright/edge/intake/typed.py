"""A value as a person types it: number, ± how sure, unit. ``60 ± 1 Nm``, ``0,05mm``, ``175 atm``.

What stands after ± is half of a 95 % interval (two standard uncertainties, near enough), as
calibration papers give it: so what goes in and what comes out are read alike. ``± 2 %`` is of the
value.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass

from nozzlewright.bench.sums import SPREAD, Given, Input, Sum, number_in
from nozzlewright.errors import Fault, InputFault
from nozzlewright.measurement import (
    UNITS_OF,
    Cause,
    Kind,
    Quantity,
    UnitInUse,
    kinds_of,
    named_unit,
    unit_in_use,
)
from nozzlewright.said import say

LONGEST = 60
"""Signs that a typed value may have."""
FILL_ZEROS = 0.005
"""Share of a value up to which final zeros of a whole number may be fill, [1]."""

_SIGN = r"[+\-−–]?"
_FIGURES = r"(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d{1,2})?"
_TYPED = re.compile(
    rf"\s*(?P<number>{_SIGN}\s*{_FIGURES})\s*(?P<own>[^\d±+\s][^±+]*?)?\s*"
    rf"(?:(?:±|\+\s*/?\s*[-−])\s*(?P<sure>{_FIGURES})\s*(?P<unit>[^\d\s].*)?)?\s*",
    re.DOTALL,
)


@dataclass(frozen=True)
class _Parts:
    number: float
    text: str
    decimals: int
    sure: float
    percent: bool
    unit: str


def read_value(text: str, one: Input, *, unit: str = "", sure: str = "") -> Given:
    """Return a value that was typed for an input.

    Parameters
    ----------
    text : str
        What was typed; a unit in it goes before `unit`
    one : Input
        For which input
    unit : str, optional
        Unit that stands beside the field; empty: one must be typed, save for plain numbers
    sure : str, optional
        What stands in a field of its own for ±

    Raises
    ------
    InputFault
        If it is no number with a unit that belongs there; it names the units that do.
    """
    parts = _parts(text, one, sure)
    chosen = None if parts.unit else named_unit(unit, one.kind)
    known = chosen or _unit(parts.unit or unit, one)
    value = known.to_si(parts.number)
    half = abs(parts.sure * (parts.number / 100.0 if parts.percent else 1.0) * known.si)
    if not (math.isfinite(value) and math.isfinite(half)):
        raise InputFault(
            Fault(say("“{text}” is beyond any value", text=text[:LONGEST]), one.key, one.hint)
        )
    spread = {Cause(one.name): half / SPREAD} if half else {}
    place = 0.5 * 10.0**-parts.decimals
    if parts.decimals == 0 and parts.number:
        zeros = len(parts.text) - len(parts.text.rstrip("0"))
        place = max(place, min(0.5 * 10.0**zeros, FILL_ZEROS * abs(parts.number)))
    quantity = Quantity(value, known.kind.value, spread, say("typed"))
    return Given(quantity, known, place * known.si, parts.text)


def _parts(text: str, one: Input, sure: str) -> _Parts:
    plain = text.strip().replace("\N{NO-BREAK SPACE}", " ")
    found = _TYPED.fullmatch(plain) if len(plain) <= LONGEST else None
    if found is None or not plain.isprintable():
        what = say("“{text}” is not a number with a unit", text=plain[:LONGEST])
        if not plain:
            what = say("nothing has been entered")
        raise InputFault(Fault(what, one.key, _remedy(one)))
    number = re.sub(r"\s", "", found["number"]).replace("−", "-").replace("–", "-")
    if re.fullmatch(r"[+-]?[1-9]\d{0,2}(?:,\d{3})", number):
        raise InputFault(
            Fault(
                say(
                    "the comma in “{text}” may be a decimal sign or part the thousands", text=plain
                ),
                one.key,
                say("Write a decimal point, and thousands without a sign between them"),
            )
        )
    number = number.replace(",", ".")
    percent = False
    own, after = (found["own"] or "").strip(), (found["unit"] or "").strip()
    give = found["sure"]
    if sure.strip():
        apart = re.fullmatch(rf"\s*±?\s*({_FIGURES})\s*(%)?\s*", sure.strip()[:LONGEST])
        if apart is None:
            raise InputFault(
                Fault(
                    say("“{text}” is not how sure a value is", text=sure.strip()[:LONGEST]),
                    f"{one.key}_pm",
                    say("Type one number in the unit beside it, or a percentage such as 2 %"),
                )
            )
        give, percent = apart[1], bool(apart[2])
    elif after == "%" and own:
        percent, after = True, ""
    elif after.startswith("%"):
        percent, after = one.kind is not Kind.SHARE, after[1:].strip() or own
        after = after if percent else "%"
    if own and after and _unit(own, one) != _unit(after, one):
        raise InputFault(
            Fault(
                say("“{text}” has two units", text=plain),
                one.key,
                say("Give value and ± in one unit"),
            )
        )
    mantissa, _, power = number.lstrip("+-").lower().partition("e")
    decimals = len(mantissa.partition(".")[2]) - int(power or "0")
    return _Parts(
        float(number),
        number_in(float(number), 12) if power else number.lstrip("+"),
        decimals,
        float(give.replace(",", ".")) if give else 0.0,
        percent,
        own or after,
    )


def _unit(spelling: str, one: Input) -> UnitInUse:
    """Return the unit that was meant."""
    kinds = kinds_of(spelling) if one.free else (one.kind,)
    known = [unit for kind in kinds for unit in [unit_in_use(spelling, kind)] if unit is not None]
    if known and (spelling or one.kind is Kind.NUMBER):
        unit = known[0]
        if unit.ask and not one.free:
            raise InputFault(
                Fault(
                    say("“{unit}” does not say which atmosphere it means", unit=spelling[:20]),
                    one.key,
                    say(
                        "Write kgf/cm2 for the technical atmosphere (likely on an old sheet), or "
                        "standard atm"
                    ),
                )
            )
        return unit
    if not spelling:
        what = say("the value has no unit")
    else:
        what = say("“{unit}” is not a unit that belongs here", unit=spelling[:20])
    raise InputFault(Fault(what, one.key, _remedy(one)))


def _remedy(one: Input) -> str:
    if one.free:
        return say("Type a number and its unit, such as 175 bar, 45 Nm or 0.05 mm")
    units = ", ".join(unit.name for unit in UNITS_OF[one.kind] if unit.name)
    if not units:
        return say("Type one number, with at most one decimal point or comma, such as 9.5")
    return say("Type a number and one of these units: {units}", units=units)


def read_sum(
    one: Sum, typed: Iterable[tuple[str, str, str, str]]
) -> tuple[dict[str, Given | str], list[Fault]]:
    """Return what was typed for a sum, and all that cannot be read of it.

    Parameters
    ----------
    one : Sum
        Which one
    typed : iterable of tuple
        Key of an input, text, unit beside it, ± beside it; an empty text is left out
    """
    given: dict[str, Given | str] = {}
    faults: list[Fault] = []
    for key, text, unit, sure in typed:
        asked = one.input(key)
        if asked is None:
            known = ", ".join(each.key for each in one.inputs)
            faults.append(
                Fault(
                    say("“{key}” is not an input of this sum", key=key[:LONGEST]),
                    key[:LONGEST],
                    say("It takes {known}", known=known),
                )
            )
        elif text.strip() and asked.choices is not None:
            given[key] = text.strip()
        elif text.strip():
            try:
                given[key] = read_value(text, asked, unit=unit, sure=sure)
            except InputFault as fault:
                faults.extend(fault.faults)
    return given, faults
