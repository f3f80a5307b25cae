"""From rows of text to numbers: regular files by pyarrow, odd ones line by line."""

from __future__ import annotations

import io
import re
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv
from numpy.typing import NDArray

from nozzlewright.edge.intake import stamps
from nozzlewright.edge.intake.cells import (
    MARK,
    MARKS,
    NUMBER,
    VALUES,
    cell_kind,
    split_row,
    style_of,
    to_numbers,
)
from nozzlewright.edge.intake.choice import Choice
from nozzlewright.edge.intake.headings import CellKind
from nozzlewright.edge.intake.layout import (
    DAMAGED_SHARE,
    NEWLINE,
    Layout,
    as_text,
    is_comment,
)
from nozzlewright.edge.intake.source import Source
from nozzlewright.said import say

_CHUNK = 65_536
_TAIL_BYTES = 2048
_MOST_CLOSING_LINES = 30
_LARGE_BYTES = 32_000_000
"""From here on it is worth the time to give the memory of the parse back."""


@dataclass
class Values:
    """The two columns in their own units, with what was met on the way."""

    time: NDArray[np.float64] | None
    """Numbers, or seconds where the column holds stamps; None without a time column."""
    pressure: NDArray[np.float64]
    styles: dict[int, str]
    missing: Counter[str] = field(default_factory=Counter)
    """What stood where a number was missing."""
    remarks: list[tuple[str, str]] = field(default_factory=list)
    """(caution, text) for what was left out."""


def read_fast(source: Source, layout: Layout, choice: Choice) -> Values | None:
    """Read a regular file by pyarrow, or return None where it is not regular."""
    delimiter = layout.blank if layout.delimiter == "blank" else layout.delimiter
    wanted = [choice.pressure] if choice.time is None else [choice.time, choice.pressure]
    numeric = [index for index in wanted if layout.kinds[index] is not CellKind.STAMP]
    decimal = {
        choice.styles[index]
        for index in numeric
        if any("." in row[index] or "," in row[index] for row in layout.sample)
    } or {"point"}
    if len(decimal) > 1 or not decimal <= {"point", "comma"} or not delimiter:
        return None
    cut = _last_line_is_cut(source, layout, wanted)
    stop = _end_of_whole_lines(source) if cut else None

    def parse(columns: Sequence[int], texts: Sequence[int], marks: Sequence[str]) -> pa.Table:
        with source.open_arrow(layout.offset, stop) as stream:
            return pa.csv.read_csv(
                stream,
                read_options=pa.csv.ReadOptions(
                    column_names=[str(index) for index in range(layout.columns)]
                ),
                parse_options=pa.csv.ParseOptions(
                    delimiter=delimiter,
                    quote_char='"' if layout.quoted else False,
                ),
                convert_options=pa.csv.ConvertOptions(
                    column_types={
                        str(index): pa.string() if index in texts else pa.float64()
                        for index in columns
                    },
                    include_columns=[str(index) for index in columns],
                    null_values=marks,
                    strings_can_be_null=True,
                    decimal_point="," if decimal == {"comma"} else ".",
                ),
            )

    stamped = [index for index in wanted if index not in numeric]
    try:
        table = parse(wanted, stamped, ["", *MARKS])
        missing = _missing_in(table, lambda: parse(wanted, wanted, []))
    except (pa.ArrowInvalid, pa.ArrowNotImplementedError, pa.ArrowKeyError):
        return None
    arrays = []
    for index in wanted:
        column = table.column(str(index))
        table = table.drop_columns([str(index)])
        if index in stamped:
            array = stamps.from_arrow(column)
            if array is None or np.count_nonzero(np.isnan(array)) > column.null_count:
                return None
        else:
            array = column.to_numpy()
        arrays.append(array)
        del column
    if arrays[0].nbytes > _LARGE_BYTES:
        pa.default_memory_pool().release_unused()
    pressure = arrays.pop()
    values = Values(arrays[0] if arrays else None, pressure, dict(choice.styles), missing)
    if cut:
        values.remarks.append(_CUT)
    return values


_CUT = (
    say("truncated file"),
    say("the last line is cut off and was left out: the file was not closed"),
)


def _missing_in(table: pa.Table, as_text: Callable[[], pa.Table]) -> Counter[str]:
    """Return what stood in cells that hold no number."""
    found: Counter[str] = Counter()
    if not any(column.null_count for column in table.columns):
        return found
    texts = as_text()
    for name in table.column_names:
        if table.column(name).null_count:
            cells = texts.column(name).filter(pc.is_null(table.column(name)))
            for pair in pc.value_counts(cells.combine_chunks()).to_pylist():
                found[(pair["values"] or "").strip()] += pair["counts"]
    return found


def _last_line_is_cut(source: Source, layout: Layout, wanted: Sequence[int]) -> bool:
    """Return whether the last line was cut in writing.

    A line without its end is cut if it has fewer cells than the others, or if its last number
    has fewer decimals where all those before it have the same number of them.
    """
    lines = NEWLINE.split(as_text(source.tail(_TAIL_BYTES), layout.encoding))
    last = lines[-1]
    if not last.strip() or is_comment(last):
        return False
    rows = [split_row(line, layout.delimiter) for line in lines[1:-1] if line.strip()]
    rows = [cells for cells in rows if len(cells) == layout.columns][-20:]
    cells = split_row(last, layout.delimiter)
    if len(cells) != layout.columns:
        return len(cells) < layout.columns and bool(rows)
    if layout.columns - 1 not in wanted or len(rows) < 5:
        return False
    decimals = {_decimals(row[-1]) for row in rows}
    return len(decimals) == 1 and _decimals(cells[-1]) < decimals.pop()


def _end_of_whole_lines(source: Source) -> int:
    """Return the byte at which a last line without an end begins."""
    tail = source.tail(_TAIL_BYTES)
    return source.size - len(tail) + max(tail.rfind(b"\n"), tail.rfind(b"\r")) + 1


def _decimals(cell: str) -> int:
    match = re.fullmatch(r"[+-]?\d*(?:[.,](\d*))?", cell)
    return len(match[1] or "") if match else 0


class _Restyle(Exception):
    """The digits of a column turn out to be written in another way."""

    def __init__(self, column: int, style: str) -> None:
        super().__init__(column, style)
        self.column = column
        self.style = style


def read_slow(source: Source, layout: Layout, choice: Choice) -> Values:
    """Read line by line.

    Raises
    ------
    RecordingFault
        If too many rows hold no numbers; it names the first.
    """
    styles = dict(choice.styles)
    settled: set[int] = set()
    while True:
        try:
            return _LineReader(source, layout, choice, styles, settled).read()
        except _Restyle as new:
            styles[new.column] = new.style
            settled.add(new.column)


class _LineReader:
    """One pass over the lines of an odd file."""

    def __init__(
        self,
        source: Source,
        layout: Layout,
        choice: Choice,
        styles: dict[int, str],
        settled: set[int],
    ) -> None:
        self.source = source
        self.layout = layout
        self.choice = choice
        self.styles = styles
        self.settled = settled
        self.lines: list[int] = []
        self.cells: dict[int, list[str]] = {choice.pressure: []}
        if choice.time is not None:
            self.cells[choice.time] = []
        self.parts: dict[int, list[NDArray[np.float64]]] = {index: [] for index in self.cells}
        self.missing: Counter[str] = Counter()
        self.damaged = 0
        self.first_damaged: tuple[int, str] | None = None
        self.rows = 0
        self.pending: list[tuple[int, str]] = []
        """Rows without any number: remarks at the end of the file, unless readings follow."""

    def read(self) -> Values:
        layout = self.layout
        cut = _last_line_is_cut(self.source, layout, list(self.cells))
        comments = repeated = 0
        last = None
        for number, line in _numbered_lines(self.source, layout):
            if last is not None:
                self.take(*last)
                last = None
            if not line.strip():
                continue
            if is_comment(line):
                comments += 1
                continue
            cells = split_row(line, layout.delimiter)
            if layout.heading_cells and tuple(cells) == layout.heading_cells:
                repeated += 1
                continue
            last = (number, line, cells)
        if last is not None and not cut:
            self.take(*last)
        if len(self.pending) > _MOST_CLOSING_LINES:
            self.take_pending()
        self.convert()
        remarks: list[tuple[str, str]] = []
        if comments:
            text = say(
                "{count} comment lines between the readings were passed over", count=comments
            )
            remarks.append(("", text))
        if self.pending:
            number, line = self.pending[0]
            shown = " ".join(line.split())[:40]
            text = say(
                "closing lines without numbers, from line {line} ('{shown}'), passed over",
                line=number,
                shown=shown,
            )
            remarks.append(("", text))
        if repeated:
            text = say(
                "the heading stands {count} more time(s) among the readings: the logger was "
                "started again, or files were joined",
                count=repeated,
            )
            remarks.append((say("repeated heading"), text))
        if self.first_damaged is not None:
            self._judge_damage(remarks)
        if cut:
            remarks.append(_CUT)
        arrays = {
            index: np.concatenate(parts) if parts else np.empty(0)
            for index, parts in self.parts.items()
        }
        time = self.choice.time
        return Values(
            None if time is None else arrays[time],
            arrays[self.choice.pressure],
            self.styles,
            self.missing,
            remarks,
        )

    def take(self, number: int, line: str, cells: list[str]) -> None:
        """Take one row."""
        columns = self.layout.columns
        # Cells that are empty at the end of a row are often not written at all.
        fits = len(cells) == columns or max(self.cells) < len(cells) < columns
        fits = fits or (len(cells) > columns and not any(cells[columns:]))
        if not fits and not any(cell_kind(cell) in VALUES for cell in cells):
            self.pending.append((number, line))
            return
        self.take_pending()
        if fits:
            self.append(number, cells)
        else:
            self.note_damage(number, line)
            self.append(number, None)

    def take_pending(self) -> None:
        """Count rows without numbers as damaged: readings follow them."""
        for number, line in self.pending:
            self.note_damage(number, line)
            self.append(number, None)
        self.pending.clear()

    def append(self, number: int, cells: list[str] | None) -> None:
        """Add a row; None holds the place of a damaged one."""
        self.rows += 1
        self.lines.append(number)
        for index, column in self.cells.items():
            cell = "" if cells is None else cells[index]
            column.append(cell)
            if cells is not None and (not cell or MARK.fullmatch(cell)):
                self.missing[cell] += 1
        if len(self.lines) >= _CHUNK:
            self.convert()

    def note_damage(self, number: int, text: str) -> None:
        """Count a row that holds no numbers."""
        self.damaged += 1
        if self.first_damaged is None or number < self.first_damaged[0]:
            self.first_damaged = (number, text)

    def convert(self) -> None:
        """Turn the cells taken so far into numbers."""
        chunk: dict[int, NDArray[np.float64]] = {}
        failed_rows: dict[int, str] = {}
        for index, column in self.cells.items():
            if self.layout.kinds[index] is CellKind.STAMP:
                values = stamps.from_cells(column)
                failed = [
                    row
                    for row in np.flatnonzero(np.isnan(values)).tolist()
                    if column[row] and not MARK.fullmatch(column[row])
                ]
            else:
                values, failed = to_numbers(column, self.styles[index])
                if failed and index not in self.settled:
                    self._restyle(index, [column[row] for row in failed])
            chunk[index] = values
            failed_rows.update({row: column[row] for row in failed})
        for row, text in sorted(failed_rows.items()):
            self.note_damage(self.lines[row], text)
            for values in chunk.values():
                values[row] = np.nan
        for index, values in chunk.items():
            self.parts[index].append(values)
            self.cells[index].clear()
        self.lines.clear()

    def _restyle(self, index: int, cells: Sequence[str]) -> None:
        numbers = [cell for cell in cells if NUMBER.fullmatch(cell)]
        if not numbers:
            return
        style = style_of(numbers)
        if style != self.styles[index] and (style != "comma" or self.layout.delimiter != ","):
            raise _Restyle(index, style)

    def _judge_damage(self, remarks: list[tuple[str, str]]) -> None:
        assert self.first_damaged is not None  # noqa: S101 - the caller saw it
        line, row = self.first_damaged
        shown = " ".join(row.split())[:40]
        if self.damaged > max(1, DAMAGED_SHARE * self.rows):
            others = [
                mark
                for mark in (",", ";", "\t")
                if mark != self.layout.delimiter
                and len(split_row(row, mark)) == self.layout.columns > 1
            ]
            raise self.source.fault(
                f"{self.damaged} of {self.rows} rows do not hold numbers where time and pressure "
                f"belong; the first is '{shown}'"
                + ("; it seems to be separated in another way than the rest" if others else ""),
                "Export the recording again with one kind of separator and of decimal mark; if "
                "the logger wrote words among the readings, take them out",
                line,
            )
        text = say(
            "{count} of {rows} rows hold no numbers and were left out, the first on line {line} "
            "('{shown}')",
            count=self.damaged,
            rows=self.rows,
            line=line,
            shown=shown,
        )
        remarks.append((say("damaged rows"), text))


def _numbered_lines(source: Source, layout: Layout) -> Iterator[tuple[int, str]]:
    encoding = "cp1252" if layout.encoding == "cp1252" else "utf-8"
    with (
        source.open() as raw,
        io.TextIOWrapper(raw, encoding, errors="replace", newline=None) as text,
    ):
        for number, line in enumerate(text, 1):
            if number >= layout.first_line:
                yield number, line.rstrip("\n").lstrip("\ufeff")
