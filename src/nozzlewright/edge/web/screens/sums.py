"""Bench sums: a card for each, and a page that works one out.

What was typed stands in the address, so that a sum can be bookmarked, printed and sent. The same
page answers a script while somebody types; without the script it answers the button.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from starlette.exceptions import HTTPException
from starlette.responses import Response

from nozzlewright.bench.sums import (
    GROUPS,
    SUMS,
    Example,
    Given,
    Input,
    Result,
    Sum,
    Worked,
    number_in,
    result_told,
    taken_told,
    told,
    work_out,
)
from nozzlewright.edge.intake.printed import read_printed
from nozzlewright.edge.intake.toml_schema import Objection
from nozzlewright.edge.intake.typed import LONGEST, read_sum
from nozzlewright.edge.web import page
from nozzlewright.edge.web.sum_pictures import picture
from nozzlewright.edge.web.texts import _
from nozzlewright.errors import InputFault
from nozzlewright.measurement import UNITS_OF, Kind, named_unit

router = APIRouter()

ON_TOP = 4
"""First inputs of a sum that stand open on its page, needed or not."""
LEAST, MOST = 1e-3, 1e4
"""Size of a number that is still read easily, in a further unit."""
LEAST_SHARE = 0.005
"""Share of the variance below which a cause is not named."""
MOST_OTHERS = 4
"""Further units in which a result is told."""


@dataclass(frozen=True)
class Asked:
    """An input as its field shows it."""

    input: Input
    text: str
    unit: str
    sure: str
    units: tuple[tuple[str, str], ...]
    """Names and spellings to choose from; empty where none is chosen."""


@router.get("/sums")
def show_all(request: Request) -> Response:
    """Show a card for each sum."""
    groups = [
        (group, [(one, picture(one)) for one in SUMS.values() if one.group == group])
        for group in GROUPS
    ]
    return page.render(request, "sums.html", groups=groups)


@router.get("/sums/{key}")
def show(request: Request, key: str) -> Response:
    """Show one sum, worked out with what stands in the address."""
    one = SUMS.get(key)
    if one is None:
        raise HTTPException(404)
    query = {name: value.replace("\0", "")[: 4 * LONGEST] for name, value in
             request.query_params.items()}  # fmt: skip
    query = _from_sheet(one, query)
    pressure_unit = page.here(request).pressure_unit
    prefer = {Kind.PRESSURE: pressure_unit}
    typed = [
        (each.key, query.get(each.key, ""), query.get(f"{each.key}_unit", ""),
         query.get(f"{each.key}_pm", ""))
        for each in one.inputs
    ]  # fmt: skip
    begun = any(request.query_params.get(key, "").strip() for key, *_rest in typed)
    given, faults = read_sum(one, typed)
    worked: Worked | None = None
    if begun and not faults:
        try:
            worked = work_out(one, given, prefer=prefer)
        except InputFault as fault:
            faults = list(fault.faults)
    if faults:
        kept = {name: (value,) for name, value in query.items()}
        request.state.kept = page.Kept(kept, tuple(faults), _("Something needs mending"))
    asked = [_asked(each, query, given.get(each.key), pressure_unit) for each in one.inputs]
    asked.sort(key=lambda each: not _on_top(one, each.input))
    first = sum(_on_top(one, each.input) for each in asked)
    return page.render(
        request,
        "sum.html",
        status=422 if faults else 200,
        one=one,
        first=asked[:first],
        more=asked[first:],
        more_open=any(each.text for each in asked[first:]),
        sure_open=any(each.sure for each in asked),
        asked=asked,
        worked=worked,
        outcome=_outcome(worked) if worked else None,
        drawn=picture(one, worked),
        missing=faults if begun else (),
        from_sheet=query.get("printed", "") if query.get(one.inputs[0].key) else "",
        examples=[
            (each.source, _address(one, each.typed), _expected(one, each)) for each in one.examples
        ],
    )


def _from_sheet(one: Sum, query: dict[str, str]) -> dict[str, str]:
    """Fill the first input from a value as a sheet prints it; a range gives its middle and ±."""
    text, first = query.get("printed", ""), one.inputs[0]
    if not text or query.get(first.key):
        return query
    try:
        printed = read_printed(text)[:1]
    except Objection:
        return query
    for value in printed:
        known = named_unit(value.unit.name, first.kind)
        if known is not None and not value.unit.ask:
            low, high = (each.value / known.si for each in value.band)
            query = query | {
                first.key: number_in((low + high) / 2.0, 6),
                f"{first.key}_unit": known.name,
            }
            if high > low:
                query[f"{first.key}_pm"] = number_in((high - low) / 2.0, 3)
    return query


def _on_top(one: Sum, each: Input) -> bool:
    """Tell whether an input stands open on the page: it is needed, or a first one of its sum."""
    return each.needed or one.inputs.index(each) < ON_TOP


def _asked(
    each: Input, query: Mapping[str, str], given: Given | str | None, pressure_unit: str
) -> Asked:
    units: tuple[tuple[str, str], ...] = ()
    if not each.free and each.choices is None:
        units = tuple((one.name, one.printed) for one in UNITS_OF[each.kind] if one.name)
    usual = each.unit or (pressure_unit if each.kind is Kind.PRESSURE else "")
    chosen = query.get(f"{each.key}_unit", "")
    text, sure = query.get(each.key, ""), query.get(f"{each.key}_pm", "")
    if isinstance(given, Given) and not each.free:
        chosen = given.unit.name
        half = given.quantity.standard_uncertainty * 1.959963984540054 / given.unit.si
        text, sure = given.text, sure or (number_in(half, 3) if half else "")
    if units and chosen not in dict(units):
        chosen = usual if usual in dict(units) else units[0][0]
    return Asked(each, text, chosen, sure, units)


@dataclass(frozen=True)
class Told:
    """One result in words."""

    name: str
    value: str
    after: str
    unit: str
    others: tuple[str, ...]


def _told(result: Result) -> Told:
    value, after, unit = result_told(result)
    others = []
    for other in result.others:
        amount = other.of_si(result.quantity.value)
        if LEAST <= abs(amount) < MOST:
            others.append(f"{number_in(amount)}\N{NO-BREAK SPACE}{other.printed}".strip())
    return Told(result.output.name, value, after, unit, tuple(others[:MOST_OTHERS]))


def _outcome(worked: Worked) -> dict[str, Any]:
    results = [_told(result) for result in worked.results]
    budget = worked.results[0].quantity.budget if worked.results else ()
    whole = sum(part**2 for _cause, part in budget)
    shares = [(cause, part**2 / whole) for cause, part in budget if whole > 0.0]
    return {
        "main": results[0],
        "more": results[1:],
        "remarks": worked.remarks,
        "taken": [
            (each.name, taken_told(assumed, each.kind), assumed.why)
            for each, assumed in worked.taken
        ],
        "given": [_as_given(each, worked.given[each.key]) for each in worked.sum.inputs
                  if each.key in worked.given],
        "budget": [(cause.name, share) for cause, share in shares if share >= LEAST_SHARE],
    }  # fmt: skip


def _as_given(each: Input, given: Given | str) -> tuple[str, str]:
    if isinstance(given, str):
        return each.name, str(each.choices[given]) if each.choices else given
    value, after = told(given.quantity, given.unit, 8)
    return each.name, " ".join(part for part in (value, after, given.unit.printed) if part)


def _expected(one: Sum, example: Example) -> str:
    """Return what an example must give, its units as they are printed elsewhere on the page."""
    kinds = {each.key: each.kind for each in one.outputs}
    told = []
    for key, text in example.expected.items():
        number, _space, name = text.rpartition(" ")
        unit = named_unit(name, kinds[key])
        told.append(f"{number}\N{NO-BREAK SPACE}{unit.printed}" if unit and number else text)
    return ", ".join(told)


def _address(one: Sum, typed: Mapping[str, str]) -> str:
    return f"/sums/{one.key}?{urlencode(typed)}"
