"""A table of a fitter study: columns ``part``, ``fitter`` and ``reading`` or ``grade``."""

from __future__ import annotations

import csv
import io
import math
import re
from dataclasses import dataclass
from pathlib import Path

from nozzlewright.analysis.agreement import GradeReading
from nozzlewright.analysis.gauge_study import StudyReading
from nozzlewright.bench import TipGrade
from nozzlewright.bench.findings import ChatterGrade, SprayGrade
from nozzlewright.errors import Fault, InputFault, UnitFault
from nozzlewright.measurement import pressure_to_pa, pressure_unit
from nozzlewright.said import joined, say

MOST_BYTES = 4 * 1024 * 1024
MOST_FAULTS = 20
PLAIN = "1"
"""Unit of numbers without one."""
SECONDS = "s"
KNOWN_GRADES: tuple[tuple[str, ...], ...] = (
    tuple(grade.value for grade in TipGrade),
    tuple(grade.value for grade in SprayGrade),
    tuple(grade.value for grade in ChatterGrade),
)
"""Grades of the trade in their order, the best first."""
_PARTS, _FITTERS = ("part", "injector"), ("fitter", "appraiser", "operator")
_READING = re.compile(r"(reading|opening|drop)(?:[_ ]?[\(\[]?([a-z0-9/²]+)[\)\]]?)?", re.IGNORECASE)
_SAY_COLUMNS = say(
    "Give it a first line such as part,fitter,reading_bar or part,fitter,grade, and one line for "
    "each reading"
)


@dataclass(frozen=True)
class StudyFile:
    """What such a table holds: readings or grades."""

    readings: tuple[StudyReading, ...]
    grades: tuple[GradeReading, ...]
    order: tuple[str, ...]
    """Grades, the best first; empty for readings."""
    unit: str
    """SI unit of the readings: ``Pa``, ``s``, or ``1`` where the file names none."""
    spelled: str
    """Unit as the file has it; or empty."""

    def in_si(self, value: float) -> float:
        """Return a width in the file's unit in SI."""
        return _in_si(value, self.unit, self.spelled)


def read_study(path: Path, grades: tuple[str, ...] = (), unit: str = "") -> StudyFile:
    """Read a table of a study.

    Parameters
    ----------
    path : Path
        Text with commas, semicolons or tabs; with the latter two a decimal comma is understood
    grades : tuple of str
        Grades in their order, the best first; empty: those of the trade, told by the words
    unit : str
        Unit of the readings where the heading names none: a unit of pressure, or ``s``

    Raises
    ------
    InputFault
        If it cannot be used; all that is wrong with it together.
    """
    name = path.name
    rows = _rows(path)
    if not rows:
        raise InputFault(Fault(say("the file is empty"), name, _SAY_COLUMNS))
    (_, head), body = rows[0], rows[1:]
    columns = _columns(name, head)
    if not body:
        raise InputFault(Fault(say("there is no reading under the heading"), name, _SAY_COLUMNS))
    faults: list[Fault] = []
    found: list[tuple[int, str, str, str]] = []
    for number, row in body:
        texts = {key: row[at].strip() if at < len(row) else "" for key, at in columns.items()}
        faults += [
            Fault(
                say("the column {column} is empty", column=head[columns[key]].strip()),
                _line(name, number),
                say("Fill it in, or take the line out"),
            )
            for key, text in texts.items()
            if not text
        ]
        found.append((number, texts["part"], texts["fitter"], texts.get("reading", "")
                      or texts.get("grade", "")))  # fmt: skip
    if "grade" in columns:
        return _graded(name, found, grades, faults)
    heading = head[columns["reading"]]
    return _read(name, found, _unit(name, heading, unit), faults)


def _rows(path: Path) -> list[tuple[int, list[str]]]:
    """Return lines with their number, cut into cells; empty ones and remarks are left out."""
    try:
        if path.stat().st_size > MOST_BYTES:
            raise InputFault(
                Fault(
                    say("the file is larger than a study can be"),
                    path.name,
                    say("Name the table of the study, not a recording"),
                )
            )
        raw = path.read_bytes()
    except OSError as fault:
        raise InputFault(
            Fault(
                say("the file cannot be read ({reason})", reason=fault.strerror or "?"),
                str(path),
                say("Check its name and place"),
            )
        ) from fault
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = raw.decode("cp1252", errors="replace")
    if "\0" in text:
        raise InputFault(Fault(say("the file is not text"), path.name, _SAY_COLUMNS))
    first = next((line for line in text.splitlines() if _is_row(line)), "")
    sign = max((";", "\t", ","), key=first.count) if first else ","
    try:
        reader = csv.reader(io.StringIO(text, newline=""), delimiter=sign)
        return [(reader.line_num, row) for row in reader if _is_row("".join(row))]
    except csv.Error as fault:
        raise InputFault(
            Fault(
                say("the table cannot be cut into columns ({reason})", reason=str(fault)),
                path.name,
                _SAY_COLUMNS,
            )
        ) from fault


def _is_row(line: str) -> bool:
    return bool(line.strip()) and not line.lstrip().startswith("#")


def _columns(name: str, head: list[str]) -> dict[str, int]:
    """Return where the columns stand."""
    wanted: dict[str, list[int]] = {"part": [], "fitter": [], "reading": [], "grade": []}
    for place, text in enumerate(head):
        word = text.strip().lower()
        if word in _PARTS:
            wanted["part"].append(place)
        elif word in _FITTERS:
            wanted["fitter"].append(place)
        elif word == "grade":
            wanted["grade"].append(place)
        elif _READING.fullmatch(word):
            wanted["reading"].append(place)
    faults = []
    for key, what in (("part", "part"), ("fitter", "fitter")):
        if len(wanted[key]) != 1:
            faults.append(
                Fault(say("there is no single column {column}", column=what), name, _SAY_COLUMNS)
            )
    if len(wanted["reading"]) + len(wanted["grade"]) != 1:
        faults.append(Fault(say("there is no single column reading, or grade"), name, _SAY_COLUMNS))
    if faults:
        raise InputFault(faults)
    return {key: places[0] for key, places in wanted.items() if places}


def _unit(name: str, heading: str, unit: str) -> tuple[str, str]:
    """Return SI unit and spelling of the readings."""
    match = _READING.fullmatch(heading.strip())
    headed = match[2] if match else ""
    if not headed and not unit:
        return PLAIN, ""
    found = [_known_unit(name, one) for one in (headed, unit) if one]
    if found[0] != found[-1]:
        raise InputFault(
            Fault(
                say("the heading says {one}, --unit says {other}", one=headed, other=unit[:20]),
                name,
                say("Leave --unit out, or put the heading right"),
            )
        )
    return found[0]


def _known_unit(name: str, spelled: str) -> tuple[str, str]:
    if spelled.lower() in {"s", "sec", "seconds"}:
        return SECONDS, "s"
    try:
        return "Pa", pressure_unit(spelled)
    except UnitFault as fault:
        raise InputFault(
            Fault(
                say("'{unit}' is no unit of pressure or time known here", unit=spelled[:20]),
                name,
                say("Name it in the heading or with --unit: bar, MPa, kgf/cm2, psi or s"),
            )
        ) from fault


def _in_si(value: float, unit: str, spelled: str) -> float:
    return pressure_to_pa(value, spelled) if unit == "Pa" else value


def _read(
    name: str,
    rows: list[tuple[int, str, str, str]],
    unit: tuple[str, str],
    faults: list[Fault],
) -> StudyFile:
    readings = []
    for number, part, fitter, text in rows:
        value = _number(text)
        if value is None:
            if text:
                faults.append(
                    Fault(
                        say("'{text}' is not a number", text=text[:30]),
                        _line(name, number),
                        say("Write one number; with commas between columns a decimal point"),
                    )
                )
        else:
            readings.append(StudyReading(part, fitter, _in_si(value, *unit)))
    _check(faults, name)
    return StudyFile(tuple(readings), (), (), *unit)


def _number(text: str) -> float | None:
    try:
        value = float(text.replace(",", ".").replace("−", "-"))
    except ValueError:
        return None
    return value if math.isfinite(value) and abs(value) < 1e12 else None


def _graded(
    name: str,
    rows: list[tuple[int, str, str, str]],
    grades: tuple[str, ...],
    faults: list[Fault],
) -> StudyFile:
    given = {text.lower() for *_, text in rows if text}
    order = tuple(grade.lower() for grade in grades) or _order_of(given)
    if not order:
        words = joined(", ", sorted(given)[:10])
        faults.append(
            Fault(
                say("the order of the grades is not known: {grades}", grades=words),
                name,
                say("Name them with --grades, the best first, such as --grades dry,damp,drop"),
            )
        )
    else:
        faults += [
            Fault(
                say("'{grade}' is none of the grades {grades}", grade=text[:30],
                    grades=joined(", ", order)),
                _line(name, number),
                say("Write one of these, or name all grades with --grades"),
            )
            for number, _, _, text in rows
            if text and text.lower() not in order
        ]  # fmt: skip
    _check(faults, name)
    return StudyFile(
        (), tuple(GradeReading(p, f, text.lower()) for _, p, f, text in rows), order, PLAIN, ""
    )


def _order_of(given: set[str]) -> tuple[str, ...]:
    return next((known for known in KNOWN_GRADES if given and given <= set(known)), ())


def _line(name: str, number: int) -> str:
    return say("{file}, line {number}", file=name, number=number)


def _check(faults: list[Fault], name: str) -> None:
    if len(faults) > MOST_FAULTS:
        more = len(faults) - MOST_FAULTS
        faults = faults[:MOST_FAULTS]
        faults.append(
            Fault(say("and {number} more faults", number=more), name, say("Mend these first"))
        )
    if faults:
        raise InputFault(faults)
