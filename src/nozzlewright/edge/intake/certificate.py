"""A gauge's calibration certificate as a table: read from CSV, or from rows that were typed.

The columns are told by their headings, in any order; the unit of pressure stands in a heading
(``reference [MPa]``), in a column of its own, or in a remark (``# unit: bar``). A series that was
written down as it was read (up, then down, one column of indications) is folded into pairs. All
faults are told together, each with its line.

:func:`certificate_text` writes what :func:`read_certificate` reads.
"""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from itertools import pairwise

from nozzlewright.analysis.certificate import slip_of_unit
from nozzlewright.bench import Certificate, CertificateRow, Gauge
from nozzlewright.edge.intake.headings import Unit, pressure_unit_spelled, read_heading
from nozzlewright.edge.intake.layout import as_text
from nozzlewright.errors import Fault, UploadFault
from nozzlewright.measurement import PRESSURE_UNITS
from nozzlewright.measurement.units import BAR
from nozzlewright.said import Said, figure, in_bar, say

LARGEST_BYTES = 200_000
"""A certificate of a thousand rows is a fifth of it."""
MOST_ROWS = 400
USUAL_K = 2.0
"""Coverage factor where the table is silent (JCGM 100:2008, 6.3.3)."""
HIGHEST_PA = 10_000 * BAR
LARGEST_K = 5.0

REFERENCE, UP, DOWN, SHOWN, DOUBT, FACTOR, UNIT = (
    "reference", "up", "down", "shown", "uncertainty", "k", "unit",
)  # fmt: skip

_WORDS: Mapping[str, frozenset[str]] = {
    UNIT: frozenset({"unit", "einheit"}),
    FACTOR: frozenset({"k", "factor", "faktor"}),
    DOUBT: frozenset({"u", "uncertainty", "unsicherheit", "messunsicherheit"}),
    DOWN: frozenset({"down", "falling", "decreasing", "descending", "ab", "fallend", "abwärts"}),
    UP: frozenset({"up", "rising", "increasing", "ascending", "auf", "steigend", "aufwärts"}),
    REFERENCE: frozenset({
        "reference", "ref", "standard", "true", "applied", "soll", "bezug", "bezugswert",
        "referenz", "normal", "sollwert"
    }),
    SHOWN: frozenset({
        "indicated", "indication", "reading", "shown", "gauge", "mean", "ist", "istwert",
        "anzeige", "mittel"
    }),
}  # fmt: skip
"""Words by which a column is known; the first kind that fits counts."""

_ASIDE = frozenset({"error", "deviation", "correction", "hysteresis", "abweichung", "fehler",
                    "korrektur", "hysterese", "remark", "no", "nr", "point"})  # fmt: skip
"""Columns that follow from the others, or say nothing of the pressures."""

_REMARK = re.compile(r"\s*#\s*([^:=]{1,40})[:=]\s*(.*)")
_NUMBER = re.compile(r"[+\-−]?\s*(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?")
_K_IN_HEADING = re.compile(r"\bk\s*=\s*(\d+(?:[.,]\d+)?)", re.IGNORECASE)
_FACTS = {"number": "number", "certificate": "number", "gauge": "gauge", "laboratory": "laboratory",
          "calibrated on": "calibrated_on", "calibrated": "calibrated_on", "date": "calibrated_on",
          "unit": UNIT, "k": FACTOR}  # fmt: skip


def read_certificate(content: bytes, name: str = "certificate.csv") -> Certificate:
    r"""Read a table of calibration points.

    Parameters
    ----------
    content : bytes
        The file
    name : str
        Its name, for the faults

    Raises
    ------
    UploadFault
        With every fault found, each with its line.

    Examples
    --------
    >>> table = b"reference [MPa];up;down;U (k=2)\n0;0,0;0,01;0,02\n10;10,02;10,05;0,02\n"
    >>> [round(row.hysteresis_pa) for row in read_certificate(table).rows]
    [10000, 30000]
    """
    reader = _Reader(name)
    lines = list(reader.lines(content))
    reader.raise_faults()
    rows = reader.rows(lines)
    reader.raise_faults()
    checked, remarks = checked_rows(rows, reader.faults)
    reader.raise_faults()
    facts = {key: reader.facts.get(key, "") for key in ("number", "gauge", "laboratory")}
    return Certificate(
        checked,
        calibrated_on=reader.day(),
        remarks=(*reader.remarks, *remarks),
        **facts,
    )


@dataclass(frozen=True)
class PlacedRow:
    """A row with the place to which its faults belong: a line of a file, a field of a form."""

    row: CertificateRow
    where: str
    words: str = ""
    """The place as a person calls it, where that is another."""


def checked_rows(
    rows: Sequence[PlacedRow], faults: list[Fault]
) -> tuple[tuple[CertificateRow, ...], tuple[Said, ...]]:
    """Return the rows in the order of their pressure, and what was done to them.

    What is wrong with the table as a whole is added to the faults.
    """
    remarks: list[Said] = []
    seen: dict[float, str] = {}
    for placed in rows:
        key = round(placed.row.reference_pa, 3)
        if key in seen:
            faults.append(
                Fault(
                    say(
                        "the reference {pressure} stands there already ({where})",
                        pressure=in_bar(placed.row.reference_pa, ".6g"),
                        where=seen[key],
                    ),
                    placed.where,
                    say("Keep one row for each pressure, with what was shown up and down"),
                )
            )
        seen.setdefault(key, placed.words or placed.where)
    if len(rows) < 2:
        faults.append(
            Fault(
                say("there is only {count} row; between one point nothing can be said", count=1)
                if rows
                else say("there is no row"),
                rows[0].where if rows else say("the table"),
                say("Give at least two points, better five or more, from zero up to full scale"),
            )
        )
    slip = slip_of_unit([placed.row.point for placed in rows])
    if slip is not None:
        faults.append(
            Fault(
                slip,
                rows[0].where,
                say("Write reference and indication in the same unit, and name that unit"),
            )
        )
    ordered = tuple(sorted((placed.row for placed in rows), key=lambda row: row.reference_pa))
    if ordered != tuple(placed.row for placed in rows):
        remarks.append(say("the rows were put in the order of the reference"))
    return ordered, tuple(remarks)


@dataclass
class _Line:
    number: int
    cells: list[str]


@dataclass
class _Reader:
    """Reads one table; faults and remarks gather."""

    name: str
    faults: list[Fault] = field(default_factory=list)
    remarks: list[Said] = field(default_factory=list)
    facts: dict[str, str] = field(default_factory=dict)
    columns: dict[str, int] = field(default_factory=dict)
    units: dict[str, Unit] = field(default_factory=dict)
    heading_k: float | None = None

    def at(self, line: int) -> str:
        return say("{name}, line {line}", name=self.name, line=line)

    def fault(self, what: str, where: str, remedy: str) -> None:
        self.faults.append(Fault(what, where, remedy))

    def raise_faults(self) -> None:
        if self.faults:
            raise UploadFault(self.faults)

    # -- lines -------------------------------------------------------------------------------------

    def lines(self, content: bytes) -> Iterator[_Line]:
        """Yield the lines with cells; remarks are taken up on the way."""
        if len(content) > LARGEST_BYTES:
            self.fault(
                say("the file is too large for a certificate"),
                self.name,
                say("Send the table of the calibration points alone"),
            )
            return
        if b"\x00" in content[:4000] and not content.startswith((b"\xff\xfe", b"\xfe\xff")):
            self.fault(
                say("it is not a table in plain text"),
                self.name,
                say("Save the sheet as CSV and send that"),
            )
            return
        text = _decoded(content)
        separator = _separator(text)
        for number, line in enumerate(text.splitlines(), start=1):
            if not line.strip(f"{separator} \t"):
                continue
            if line.lstrip().startswith("#"):
                self._take_remark(line)
                continue
            cells = next(csv.reader(io.StringIO(line), delimiter=separator), [])
            yield _Line(number, [cell.strip() for cell in cells])

    def _take_remark(self, line: str) -> None:
        found = _REMARK.fullmatch(line)
        if found is None:
            return
        said = found[1].strip().lower().replace("_", " ")
        if said == "remark":
            self.remarks.append(say("{text}", text=found[2].strip()[:200]))
        key = _FACTS.get(said)
        if key is not None and found[2].strip():
            self.facts.setdefault(key, found[2].strip()[:120])

    def day(self) -> str:
        """Return the date of calibration, ISO 8601; empty where there is none that can be read."""
        text = self.facts.get("calibrated_on", "")
        try:
            return date.fromisoformat(text).isoformat() if text else ""
        except ValueError:
            self.remarks.append(
                say("the date '{text}' was not understood: write it as 2026-01-05", text=text[:40])
            )
            return ""

    # -- columns -----------------------------------------------------------------------------------

    def rows(self, lines: Sequence[_Line]) -> list[PlacedRow]:
        """Return the rows under the headings."""
        if not lines:
            self.fault(say("the file is empty"), self.name, _HEADINGS_WANTED)
            return []
        self._read_headings(lines[0])
        if self.faults:
            return []
        if len(lines) - 1 > MOST_ROWS:
            self.fault(
                say("there are {count} rows", count=len(lines) - 1),
                self.name,
                say("A certificate has some ten; send the means, not every reading"),
            )
            return []
        factor_pa = self._factor()
        numbers = [self._numbers(line, factor_pa) for line in lines[1:]]
        kept = [(line, cells) for line, cells in zip(lines[1:], numbers, strict=True) if cells]
        if self.faults:
            return []
        if SHOWN in self.columns and not {UP, DOWN} & self.columns.keys():
            return self._folded(kept)
        return [
            PlacedRow(
                CertificateRow(
                    cells[REFERENCE], cells[DOUBT] / cells[FACTOR], cells.get(UP), cells.get(DOWN)
                ),
                self.at(line.number),
            )
            for line, cells in kept
        ]

    def _read_headings(self, line: _Line) -> None:
        where = self.at(line.number)
        for at, text in enumerate(line.cells):
            kind, unit = _kind_of(text)
            if unit is not None and unit.absolute:
                self.fault(
                    say("the column '{name}' is in absolute pressure", name=text[:40]),
                    where,
                    say("Give pressures above that of the air, as the gauge shows them"),
                )
            if kind is None:
                continue
            if kind in self.columns:
                self.fault(
                    say(
                        "two columns say the same: '{one}' and '{other}'",
                        one=line.cells[self.columns[kind]][:40],
                        other=text[:40],
                    ),
                    where,
                    say("Keep one of them, or name them up and down"),
                )
                continue
            self.columns[kind] = at
            if unit is not None:
                self.units[kind] = unit
            found = _K_IN_HEADING.search(text) if kind == DOUBT else None
            if found is not None:
                self.heading_k = float(found[1].replace(",", "."))
        self._demand_columns(line, where)

    def _demand_columns(self, line: _Line, where: str) -> None:
        shown = self.columns.keys() & {UP, DOWN, SHOWN}
        missing = [
            words
            for kind, words in (
                (REFERENCE, say("reference")),
                (DOUBT, say("expanded uncertainty (U)")),
            )
            if kind not in self.columns
        ]
        if not shown:
            missing.append(say("what the gauge showed (up, down)"))
        for words in missing:
            self.fault(
                say(
                    "there is no column for {column} among: {names}",
                    column=words,
                    names=", ".join(cell[:30] for cell in line.cells)[:200] or "–",
                ),
                where,
                _HEADINGS_WANTED,
            )

    def _factor(self) -> float | None:
        """Return Pa in one of the table's unit; None where each row has its own."""
        stated = {unit.name for unit in self.units.values()}
        if UNIT in self.columns:
            return None
        if "unit" in self.facts and not stated:
            unit = pressure_unit_spelled(self.facts["unit"])
            if unit is None or unit.absolute:
                self._unknown_unit(self.facts["unit"], self.name)
                return 1.0
            stated = {unit.name}
        if len(stated) > 1:
            self.fault(
                say("the headings name several units: {units}", units=", ".join(sorted(stated))),
                self.name,
                say("Write all pressures of a certificate in one unit"),
            )
            return 1.0
        if not stated:
            self.fault(
                say("no unit of pressure is stated"),
                self.name,
                say(
                    "Head the columns with it, as in 'reference [bar]', or add a line '# unit: bar'"
                ),
            )
            return 1.0
        return PRESSURE_UNITS[stated.pop()]

    def _unknown_unit(self, text: str, where: str) -> None:
        self.fault(
            say("'{unit}' is not a unit of pressure known here", unit=text[:20]),
            where,
            say("Use one of: {units}", units=", ".join(PRESSURE_UNITS)),
        )

    # -- rows --------------------------------------------------------------------------------------

    def _numbers(self, line: _Line, factor_pa: float | None) -> dict[str, float]:
        where, found = self.at(line.number), len(self.faults)
        if factor_pa is None:
            text = self._cell(line, UNIT)
            unit = pressure_unit_spelled(text)
            if unit is None or unit.absolute:
                self._unknown_unit(text, where)
                return {}
            factor_pa = PRESSURE_UNITS[unit.name]
        cells: dict[str, float] = {}
        for kind in (REFERENCE, UP, DOWN, SHOWN, DOUBT):
            if kind not in self.columns:
                continue
            text = self._cell(line, kind)
            if text in {"", "-", "–"} and kind in {UP, DOWN}:
                continue
            value = self._number(text, line, kind)
            if value is not None:
                cells[kind] = value * factor_pa
        cells[FACTOR] = self._k_of(line)
        if len(self.faults) == found:
            self._check(cells, where)
        return cells if len(self.faults) == found else {}

    def _k_of(self, line: _Line) -> float:
        if FACTOR in self.columns:
            value = self._number(self._cell(line, FACTOR), line, FACTOR)
            return USUAL_K if value is None else value
        if self.heading_k is not None:
            return self.heading_k
        stated = _NUMBER.fullmatch(self.facts.get(FACTOR, ""))
        if stated is not None:
            return float(stated[0].replace(",", "."))
        words = say("no coverage factor is stated: k = {k} is taken", k=figure(USUAL_K, "g"))
        if words not in self.remarks:
            self.remarks.append(words)
        return USUAL_K

    def _check(self, cells: Mapping[str, float], where: str) -> None:
        if not 1.0 <= cells[FACTOR] <= LARGEST_K:
            self.fault(
                say("a coverage factor of {k} is none", k=figure(cells[FACTOR], ".3g")),
                where,
                say("It is 2 as a rule; write 1 for a standard uncertainty"),
            )
        if not cells[DOUBT] > 0.0:
            self.fault(
                say("the uncertainty is zero or less"),
                where,
                say("Write the expanded uncertainty that the certificate states"),
            )
        if not cells.keys() & {UP, DOWN, SHOWN}:
            self.fault(
                say("nothing says what the gauge showed"), where, say("Write it under up or down")
            )
        pressures = [value for kind, value in cells.items() if kind != FACTOR]
        if cells[REFERENCE] < 0.0:
            self.fault(
                say("the reference is below zero"),
                where,
                say("Give pressures above that of the air, as the gauge shows them"),
            )
        if not all(math.isfinite(value) and abs(value) <= HIGHEST_PA for value in pressures):
            self.fault(
                say("a pressure is over {highest}", highest=in_bar(HIGHEST_PA, ".0f")),
                where,
                say("Check the number and the unit"),
            )

    def _cell(self, line: _Line, kind: str) -> str:
        at = self.columns[kind]
        return line.cells[at] if at < len(line.cells) else ""

    def _number(self, text: str, line: _Line, kind: str) -> float | None:
        plain = text.replace("\N{NO-BREAK SPACE}", " ").strip()
        if _NUMBER.fullmatch(plain):
            digits = re.sub(r"\s", "", plain).replace("−", "-").replace(",", ".")
            return float(digits)
        column = _COLUMN_WORDS[kind]
        self.fault(
            say("'{text}' is not a number ({column})", text=plain[:30], column=column)
            if plain
            else say("there is nothing under {column}", column=column),
            self.at(line.number),
            say("Write one number, with at most one decimal point or comma"),
        )
        return None

    def _folded(self, rows: Sequence[tuple[_Line, Mapping[str, float]]]) -> list[PlacedRow]:
        """Return one row for each pressure; a series up and down again is folded into pairs."""
        references = [cells[REFERENCE] for _, cells in rows]
        top = max(range(len(rows)), key=lambda at: references[at], default=0)
        last = top
        while last + 1 < len(rows) and references[last + 1] == references[top]:
            last += 1
        rises = all(a < b for a, b in pairwise(references[: top + 1]))
        falls = all(a > b for a, b in pairwise(references[last:]))
        folds = rises and falls and last + 1 - top <= 2 and len(set(references)) < len(references)
        if not folds:
            return [
                PlacedRow(
                    CertificateRow(cells[REFERENCE], cells[DOUBT] / cells[FACTOR], cells[SHOWN]),
                    self.at(line.number),
                )
                for line, cells in rows
            ]
        self.remarks.append(say("a series up and down was folded into pairs"))
        down_from = top + 1
        falling = {cells[REFERENCE]: (line, cells) for line, cells in rows[down_from:]}
        placed = []
        for line, cells in rows[:down_from]:
            _, below = falling.pop(cells[REFERENCE], (line, None))
            doubt = cells[DOUBT] / cells[FACTOR]
            if below is not None:
                doubt = max(doubt, below[DOUBT] / below[FACTOR])
            row = CertificateRow(
                cells[REFERENCE], doubt, cells[SHOWN], below[SHOWN] if below else None
            )
            placed.append(PlacedRow(row, self.at(line.number)))
        placed += [
            PlacedRow(
                CertificateRow(cells[REFERENCE], cells[DOUBT] / cells[FACTOR], None, cells[SHOWN]),
                self.at(line.number),
            )
            for line, cells in falling.values()
        ]
        return placed


_HEADINGS_WANTED = say(
    "Head the columns with: reference [bar]; up; down; U (k=2). Where the gauge was read once at "
    "each pressure, one column 'indicated' will do"
)
_COLUMN_WORDS: Mapping[str, Said] = {
    REFERENCE: say("reference"),
    UP: say("up"),
    DOWN: say("down"),
    SHOWN: say("indicated"),
    DOUBT: say("uncertainty"),
    FACTOR: say("k"),
}


def _decoded(content: bytes) -> str:
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        return content.decode("utf-16", errors="replace")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return as_text(content, "cp1252")


def _separator(text: str) -> str:
    lines = [line for line in text.splitlines() if line.strip() and not line.startswith("#")][:20]
    for separator in ("\t", ";", ",", "|"):
        if lines and sum(separator in line for line in lines) >= 0.8 * len(lines):
            return separator
    return ";" if any(";" in line for line in lines) else ","


def _kind_of(text: str) -> tuple[str | None, Unit | None]:
    """Return what a column holds, and the unit in its heading."""
    bare = _K_IN_HEADING.sub(" ", text)
    heading = read_heading(bare)
    words = {word for word in re.split(r"[^\w]+|_", bare.lower()) if word}
    if words & _ASIDE:
        return None, None
    unit = (
        heading.unit if heading.unit is not None and heading.unit.name in PRESSURE_UNITS else None
    )
    for kind, known in _WORDS.items():
        if words & known:
            return kind, unit
    return None, None


# -- written ---------------------------------------------------------------------------------------


def certificate_text(certificate: Certificate, unit: str = "bar") -> str:
    """Return a certificate as CSV, with k = 2; :func:`read_certificate` gives it back.

    Parameters
    ----------
    certificate : Certificate
        What to write
    unit : str
        Unit of pressure, one of :data:`nozzlewright.measurement.PRESSURE_UNITS`
    """
    factor = PRESSURE_UNITS[unit]
    lines = ["# gauge certificate"]
    for key, value in (
        ("number", certificate.number),
        ("gauge", certificate.gauge),
        ("laboratory", certificate.laboratory),
        ("calibrated on", certificate.calibrated_on),
    ):
        if value:
            lines.append(f"# {key}: {' '.join(value.split())}")
    lines += [f"# remark: {' '.join(text.split())}" for text in certificate.remarks]
    lines.append(f"reference [{unit}],up,down,U (k=2)")
    for row in certificate.rows:
        cells = (row.reference_pa, row.up_pa, row.down_pa, 2.0 * row.standard_uncertainty_pa)
        lines.append(",".join("" if one is None else _plain(one / factor) for one in cells))
    return "\n".join(lines) + "\n"


def _plain(value: float) -> str:
    """Return a number with all digits that a certificate can have, and no more."""
    return f"{value:.10g}"


def certificate_of_gauge(gauge: Gauge) -> Certificate:
    """Return the certificate that a rig's card holds of its gauge; rows empty where it has none."""
    rows = tuple(
        CertificateRow(
            point.reference_pa,
            point.standard_uncertainty_pa,
            point.indicated_pa - point.hysteresis_pa / 2.0,
            point.indicated_pa + point.hysteresis_pa / 2.0 if point.hysteresis_pa else None,
        )
        for point in gauge.certificate
    )
    return Certificate(
        rows,
        number=gauge.certificate_number,
        gauge=gauge.identity,
        calibrated_on=gauge.calibrated_on,
    )
