"""Tables for a match: the shim drawer, springs with their lengths, tested spares.

Text with commas, semicolons or tabs; the first line names the columns. With semicolons or tabs a
decimal comma is understood. A drawer may be TOML as well: ``[shims]``, then ``"1.30" = 2``.
"""

from __future__ import annotations

import csv
import io
import math
import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path

from nozzlewright.advice import Spare, Springs
from nozzlewright.bench import ShimDrawer
from nozzlewright.errors import Fault, InputFault
from nozzlewright.measurement import Cause, Quantity
from nozzlewright.said import say

MOST_BYTES = 1024 * 1024
MOST_ROWS = 500
MOST_PIECES = 10_000
ENDLESS = frozenset({"any", "endless", "*"})
"""Words for as many as are asked for."""
THINNEST_MM, THICKEST_MM = 0.005, 20.0
SHORTEST_MM, LONGEST_MM = 1.0, 500.0


def read_drawer(path: Path) -> ShimDrawer:
    """Read which shims there are: columns ``shim_mm`` and ``count``, or TOML.

    Raises
    ------
    InputFault
        If it cannot be used; all that is wrong with it together.
    """
    faults: list[Fault] = []
    counts: dict[int, int | None] = {}
    rows = _toml(path) if path.suffix.lower() == ".toml" else _table(path, ("shim_mm", "count"))
    for where, row in rows:
        size = _length(row.get("shim_mm", ""), where, THINNEST_MM, THICKEST_MM, faults)
        count = _count(row.get("count", ""), where, faults)
        if size is None:
            continue
        if size in counts:
            what = say("the thickness {size} mm stands there twice", size=row["shim_mm"])
            faults.append(Fault(what, where, say("Give each thickness once")))
        counts[size] = count
    _check(faults)
    return ShimDrawer(counts)


def read_springs(path: Path) -> Springs:
    """Read springs: ``length_mm`` under one and the same load, ``count``, ``cylinder``.

    A line with a cylinder is the spring fitted there; one without is on the shelf.

    Raises
    ------
    InputFault
        If it cannot be used; all that is wrong with it together.
    """
    faults: list[Fault] = []
    fitted: dict[int, int] = {}
    counts: dict[int, int | None] = {}
    for where, row in _table(path, ("length_mm", "count", "cylinder")):
        length = _length(row.get("length_mm", ""), where, SHORTEST_MM, LONGEST_MM, faults)
        cylinder = row.get("cylinder", "")
        if cylinder:
            number = _whole(cylinder)
            if number is None or not 1 <= number <= 64:
                what = say("'{text}' is no cylinder", text=cylinder)
                faults.append(Fault(what, where, say("Give a whole number, from 1")))
            elif number in fitted:
                what = say("cylinder {number} stands there twice", number=number)
                faults.append(Fault(what, where, say("Give each cylinder once")))
            elif length is not None:
                fitted[number] = length
            continue
        count = _count(row.get("count", ""), where, faults)
        if length is not None:
            counts[length] = count
    _check(faults)
    return Springs(fitted, counts)


def read_spares(path: Path) -> tuple[Spare, ...]:
    """Read tested spares: ``id``, ``opening_bar``, ``doubt_bar`` (half of 95 %), ``shim_mm``.

    Raises
    ------
    InputFault
        If it cannot be used; all that is wrong with it together.
    """
    faults: list[Fault] = []
    spares: dict[str, Spare] = {}
    for where, row in _table(path, ("id", "opening_bar", "doubt_bar", "shim_mm")):
        name = row.get("id", "")
        opening = _number(row.get("opening_bar", ""))
        doubt = _number(row.get("doubt_bar", "") or "0")
        shim = row.get("shim_mm", "")
        size = _length(shim, where, THINNEST_MM, THICKEST_MM, faults) if shim else None
        if not name or name in spares:
            faults.append(
                Fault(say("the spare has no id of its own"), where, say("Give each another id"))
            )
        if opening is None or not 0.0 < opening < 2000.0:
            what = say("'{text}' is no opening pressure", text=row.get("opening_bar", ""))
            faults.append(Fault(what, where, say("Give it in bar, such as 201.5")))
        if doubt is None or not 0.0 <= doubt < 200.0:
            what = say("'{text}' is no uncertainty", text=row.get("doubt_bar", ""))
            faults.append(
                Fault(what, where, say("Give half of its {share} interval in bar", share="95 %"))
            )
        if name and opening is not None and doubt is not None:
            u = {Cause(say("reading of the spare"), name): doubt * 1e5 / 1.959963984540054}
            pressure = Quantity(opening * 1e5, "Pa", u, method=say("stated"))
            spares[name] = Spare(name, pressure, None if size is None else (size,))
    _check(faults)
    return tuple(spares.values())


def _check(faults: list[Fault]) -> None:
    if faults:
        raise InputFault(faults[:20])


def _text(path: Path) -> str:
    try:
        if path.stat().st_size > MOST_BYTES:
            raise InputFault(Fault(say("the file is too large"), path.name, say("Name a table")))
        return path.read_text(encoding="utf-8-sig")
    except OSError as fault:
        what = say("the file cannot be read ({reason})", reason=fault.strerror or "")
        raise InputFault(Fault(what, path.name, say("Name a file that exists"))) from fault
    except UnicodeDecodeError as fault:
        raise InputFault(
            Fault(say("the file is no UTF-8 text"), path.name, say("Save it as UTF-8"))
        ) from fault


def _toml(path: Path) -> Iterator[tuple[str, Mapping[str, str]]]:
    remedy = say('Write a table [shims] with lines such as "1.30" = 2 or "1.30" = "any"')
    try:
        shims = tomllib.loads(_text(path)).get("shims")
    except tomllib.TOMLDecodeError as fault:
        what = say("the file is no TOML ({reason})", reason=str(fault))
        raise InputFault(Fault(what, path.name, remedy)) from fault
    if not isinstance(shims, dict) or not shims:
        raise InputFault(Fault(say("there is no table [shims]"), path.name, remedy))
    for size, count in list(shims.items())[:MOST_ROWS]:
        yield f"{path.name}, {size}", {"shim_mm": str(size), "count": str(count)}


def _table(path: Path, columns: tuple[str, ...]) -> Iterator[tuple[str, Mapping[str, str]]]:
    """Yield place and cells of each line, by the name of the column."""
    text = _text(path)
    first = next((line for line in text.splitlines() if line.strip()), "")
    sign = max(",;\t", key=first.count)
    try:
        rows = [
            (number, row)
            for number, row in enumerate(csv.reader(io.StringIO(text), delimiter=sign), 1)
            if any(cell.strip() for cell in row)
        ]
    except csv.Error as fault:
        what = say("the file is no table ({reason})", reason=str(fault))
        raise InputFault(Fault(what, path.name, say("Save it as CSV"))) from fault
    head = [cell.strip().lower() for cell in rows[0][1]] if rows else []
    if columns[0] not in head:
        raise InputFault(
            Fault(
                say("there is no column '{name}'", name=columns[0]),
                path.name,
                say("Begin with a line such as {line}", line=",".join(columns)),
            )
        )
    if len(rows) > MOST_ROWS + 1:
        what = say("the table has {count} lines", count=len(rows))
        raise InputFault(Fault(what, path.name, say("Name a table with fewer")))
    for number, row in rows[1:]:
        cells = [cell.strip() if sign == "," else cell.strip().replace(",", ".") for cell in row]
        yield f"{path.name}, line {number}", dict(zip(head, cells, strict=False))


def _number(text: str) -> float | None:
    try:
        value = float(text)
    except ValueError:
        return None
    return value if math.isfinite(value) else None


def _whole(text: str) -> int | None:
    return int(text) if text.isascii() and text.isdigit() and len(text) < 7 else None


def _length(
    text: str, where: str, lowest: float, highest: float, faults: list[Fault]
) -> int | None:
    """Return a length, [um]."""
    value = _number(text)
    if value is None or not lowest <= value <= highest:
        faults.append(
            Fault(
                say("'{text}' is no length in mm", text=text),
                where,
                say("Give a number from {low} to {high}", low=f"{lowest:g}", high=f"{highest:g}"),
            )
        )
        return None
    return round(value * 1e3)


def _count(text: str, where: str, faults: list[Fault]) -> int | None:
    """Return a number of pieces; None for endless."""
    if text.lower() in ENDLESS:
        return None
    count = _whole(text) if text else 1
    if count is None or count > MOST_PIECES:
        faults.append(
            Fault(
                say("'{text}' is no number of pieces", text=text),
                where,
                say("Give a whole number, or any for as many as are asked for"),
            )
        )
        return 0
    return count
