"""The particulars on a rig's card: read one by one, and changed with all else left as it is."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import Array, Table

from nozzlewright.edge.intake.conditions import ConditionsTable
from nozzlewright.edge.intake.toml_schema import (
    is_pressure_key,
    spellings,
    toml_document,
    validated,
)
from nozzlewright.edge.wiring.rig_card import CARD, checked_card, parsed_card
from nozzlewright.errors import ConditionsFault, Fault
from nozzlewright.said import say

Rows = tuple[tuple[float, float], ...]
Value = float | int | str | Rows | None
"""A particular as the card states it, in the card's unit; None where it is not stated."""

PARTICULARS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "gauge": (
            "range_bar", "class", "resolution_bar", "calibrated_on", "next_calibration_on",
        ),
        "fluid": (
            "name", "viscosity", "density_15c_kg_m3", "density_15c_u_kg_m3", "filled_on", "batch",
            "hours_used",
        ),
        "filter": ("kind", "changed_on"),
        "probe": ("id", "u_c", "calibrated_on", "next_calibration_on"),
        "reference": (
            "id", "since", "opening_bar", "opening_u_bar", "opening_tolerance_bar", "from_bar",
            "to_bar", "drop_s", "drop_u_s", "drop_tolerance_s", "at_c",
        ),
        "limits": (
            "blank_fall_bar", "blank_fall_s", "blank_fall_from_bar", "zero_bar",
            "compliance_percent", "temperature_from_c", "temperature_to_c", "oil_days",
            "oil_hours", "filter_days", "remind_days", "baseline",
            "study_days", "calibration_grace_days", "check_days",
        ),
        "rig": (
            "volume_cm3", "volume_u_cm3", "wall_compliance_mm3_per_bar",
            "wall_compliance_u_mm3_per_bar",
        ),
    }
)  # fmt: skip
"""Keys of a card that a person may change, by their table."""
_ATTRIBUTES = {"class": "accuracy_class"}


def particulars(card: bytes) -> dict[str, Value]:
    """Return what a card states, by ``table.key``.

    Raises
    ------
    ConditionsFault
        If the card cannot be read.
    """
    document = toml_document(CARD, card, ConditionsFault)
    read = validated(ConditionsTable, document, ConditionsFault)
    found: dict[str, Value] = {}
    for name, keys in PARTICULARS.items():
        table = getattr(read, name)
        for key in keys:
            value = None if table is None else getattr(table, _ATTRIBUTES.get(key, key))
            if key == "viscosity":
                value = tuple((one.temperature_c, one.mm2_s) for one in value or ())
            found[f"{name}.{key}"] = None if value in ("", ()) else value
    return found


def card_with_particulars(card: bytes, changes: Mapping[str, Value]) -> bytes:
    """Return a card with some particulars changed; all else, comments too, stays as it is.

    Parameters
    ----------
    card : bytes
        The card as it was
    changes : mapping
        New values by ``table.key``, in the card's units; None takes one from the card

    Raises
    ------
    ConditionsFault
        If the card cannot be changed, or breaks its schema afterwards.
    """
    wanted = particulars(card) | dict(changes)
    document = parsed_card(card)
    try:
        for where, value in changes.items():
            name, key = where.split(".")
            if name not in document:
                if value is None:
                    continue
                document.add(name, tomlkit.table())
            _put(document[name], key, value)
            if _bare(document[name]):
                document.pop(name)
        changed = tomlkit.dumps(document).encode()
    except TOMLKitError as fault:
        raise _unchangeable(str(fault)) from None
    checked_card(changed, "card")
    if particulars(changed) != wanted:
        raise _unchangeable("its tables are written in several places")
    return changed


def _bare(table: Any) -> bool:
    """Tell whether a table says nothing any more, not even in a comment."""
    return (
        isinstance(table, Table)
        and not table
        and "#" not in table.as_string()
        and not table.trivia.comment
    )


def _unchangeable(why: str) -> ConditionsFault:
    return ConditionsFault(
        Fault(
            say("the card cannot be changed here ({why})", why=why),
            "card",
            say("Write each table once, with its keys below it"),
        )
    )


def _put(table: Any, key: str, value: Value) -> None:
    """Write one key; a remark behind it stays, whatever the unit in which it was written."""
    others = spellings(key) if is_pressure_key(key) else ()
    written = next((one for one in (key, *others) if one in table), key)
    if value is None:
        table.pop(written, None)
    elif isinstance(value, tuple):
        _put_rows(table, key, value)
    elif written == key:
        table[key] = value
    else:
        remark = table[written].trivia
        table.remove(written)
        item = tomlkit.item(value)
        item.trivia.comment_ws, item.trivia.comment = remark.comment_ws, remark.comment
        table[key] = item


def _put_rows(table: Any, key: str, rows: Rows) -> None:
    """Write the rows of a list; those that do not change keep the remarks beside them."""
    held = table.get(key)
    if not isinstance(held, Array):
        table.pop(key, None)
        table[key] = [list(row) for row in rows]
        return
    for at, row in enumerate(rows):
        if at >= len(held):
            held.append(list(row))
        elif _row(held[at]) != row:
            held[at] = list(row)
    while len(held) > len(rows):
        del held[len(held) - 1]


def _row(written: Any) -> tuple[float, ...]:
    parts = written.values() if isinstance(written, Mapping) else written
    return tuple(float(one) for one in parts)
