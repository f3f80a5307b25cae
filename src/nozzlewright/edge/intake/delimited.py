"""Delimited text: commas, tabs, semicolons, bars or blanks; points or commas; headed or not.

The layout is read off the first part of the file. Regular files are then parsed by pyarrow; as
soon as a file turns out to be odd (a comment between rows, a word among the numbers, grouped
digits, quoting that comes and goes), it is read line by line instead, so that a fault can name
its line.
"""

from __future__ import annotations

import codecs
import csv
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
from nozzlewright.edge.intake.headings import (
    About,
    CellKind,
    Heading,
    Unit,
    pressure_column,
    read_heading,
    time_column,
    time_unit_spelled,
    unit_spelled,
)
from nozzlewright.edge.intake.hints import (
    FASTEST_S,
    SLOWEST_S,
    Hints,
    RawNotes,
    epoch_unit,
    unit_of_pressure,
)
from nozzlewright.edge.intake.mending import RawTrace, TraceFault
from nozzlewright.edge.intake.source import Source

DAMAGED_SHARE = 0.01
"""More rows than this share that hold no numbers, and the file is refused."""
HIGHEST_PLAUSIBLE_BAR = 2500.0
"""No hand-lever rig reaches it; a bound for columns of which the unit is assumed."""
MARKS = (
    "NaN", "nan", "NAN", "-nan", "N/A", "n/a", "NA", "#N/A", "null", "NULL", "None", "OL", "ol",
    "O.L", "O.L.", "0L", "OVL", "OVER", "Over", "over", "OVERFLOW", "Overflow", "overflow",
    "OVERRANGE", "overrange", "OVERLOAD", "overload", "OVF", "OVR", "ovf", "ovr", "ERR", "Err",
    "ERROR", "Error", "error", "-", "--", "---", "----", "-----", "------", "--.--", "---.-",
    "*", "***", "****", "*****", "###", "####", "#####", "bad", "BAD",
)  # fmt: skip
"""What loggers write where they have no number."""

_MARK = re.compile(
    r"[+-]?nan|[+-]?inf(?:inity)?|n/?a|#n/?a|null|none|o\.?l\.?|0l|ovl|over(?:flow|range|load)?|"
    r"ov[fr]|err(?:or)?|bad|-[-.]*|\*+|#+",
    re.IGNORECASE,
)
_NUMBER = re.compile(r"[+-]?(?:\d[\d.,]*|[.,]\d+)(?:[eE][+-]?\d{1,3})?")
_GROUPED = re.compile(r"[+-]?\d{1,3}(?:\.\d{3})+|[+-]?\d{1,3}(?:,\d{3})+")
_NEWLINE = re.compile(r"\r\n|\r|\n")
_COMMENTS = ("#", "%", "//", "!")
_SEMICOLON_COMMENT = re.compile(r"\s*;+\s*[^\W\d_]")
_JUNK = re.compile(r"\d[^\w\s.:+-]*[;\t|,]|[;\t|,][^\w\s.:+-]*\d|\d\s+[-+.\d]")


def is_delimited(head: bytes) -> bool:
    """Return whether bytes look like text rather than like something a machine alone reads."""
    if head.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)) or _wide(head):
        return True
    if not head:
        return False
    control = sum(head.count(bytes([code])) for code in range(32) if code not in b"\t\n\r\f")
    foreign = len(head) - len(head.translate(None, bytes(range(128, 256))))
    return b"\x00" not in head and control <= 0.005 * len(head) and foreign <= 0.3 * len(head)


def read_delimited(source: Source, hints: Hints) -> RawTrace:
    """Read delimited text.

    Raises
    ------
    RecordingFault
        With the line, where one is to blame.
    TraceFault
        Where the file as a whole is.
    """
    notes = RawNotes()
    source, encoding = _decoded(source)
    layout = _layout(source, encoding)
    if layout.rows == 0:
        raise _no_rows(source, layout)
    choice = _choose(layout, hints, notes)
    values = _fast(source, layout, choice) or _slow(source, layout, choice)
    return notes.onto(_assemble(layout, choice, values, notes))


# --- text and its layout -----------------------------------------------------------------------


def _wide(head: bytes) -> str:
    """Return the name of UTF-16 without a byte-order mark, or nothing."""
    sample = head[:2000]
    if len(sample) < 8:
        return ""
    even, odd = sample[0::2], sample[1::2]
    if odd.count(0) > 0.7 * len(odd) and even.count(0) < 0.05 * len(even):
        return "utf-16-le"
    if even.count(0) > 0.7 * len(even) and odd.count(0) < 0.05 * len(odd):
        return "utf-16-be"
    return ""


def _decoded(source: Source) -> tuple[Source, str]:
    """Return the source as UTF-8, or as the 8-bit text that it is, with the encoding."""
    head = source.head
    wide = "utf-16" if head[:2] in (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE) else _wide(head)
    if wide:
        with source.open() as stream:
            text = stream.read().decode(wide, errors="replace")
        return source.with_content(text.lstrip("\ufeff").encode()), "UTF-16"
    try:
        codecs.getincrementaldecoder("utf-8-sig")().decode(head)
    except UnicodeDecodeError:
        return source, "cp1252"
    return source, "UTF-8"


def _text(raw: bytes, encoding: str) -> str:
    if encoding == "cp1252":
        return raw.decode("cp1252", errors="replace")
    return raw.decode("utf-8", errors="replace").lstrip("\ufeff")


@dataclass(frozen=True)
class Layout:
    """How the rows are written, as read off the first part of the file."""

    encoding: str
    delimiter: str
    """One character; ``blank`` for runs of blanks; empty for a single column."""
    columns: int
    rows: int
    """Rows of numbers in the part that was looked at."""
    first_line: int
    """Line of the first of them, from 1."""
    offset: int
    """Byte at which that line begins."""
    kinds: tuple[CellKind, ...] = ()
    sample: tuple[tuple[str, ...], ...] = ()
    """Cells of the first rows of numbers."""
    headings: tuple[Heading, ...] | None = None
    heading_line: int | None = None
    heading_cells: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()
    """Comment and preamble lines."""
    quoted: bool = False
    blank: str = ""
    """The one character that stands between two cells, where the delimiter is blank."""
    odd_heading: int | None = None
    """Number of columns of a heading that does not fit the rows."""

    @property
    def delimiter_name(self) -> str:
        """Delimiter in words."""
        return {
            ",": "comma-separated text", ";": "semicolon-separated text",
            "\t": "tab-separated text", "|": "text separated by bars",
            "blank": "text separated by blanks", "": "a single column of text",
        }[self.delimiter]  # fmt: skip


def split_row(line: str, delimiter: str) -> list[str]:
    """Return the cells of a line, stripped of blanks and quotes."""
    if delimiter == "blank":
        return [cell.strip('"') for cell in line.split()]
    if delimiter == "":
        return [line.strip().strip('"').strip()]
    if '"' in line:
        try:
            cells = next(csv.reader([line], delimiter=delimiter, skipinitialspace=True), [])
        except csv.Error:
            cells = line.split(delimiter)
        return [cell.strip().strip('"').strip() for cell in cells]
    return [cell.strip() for cell in line.split(delimiter)]


def cell_kind(cell: str) -> CellKind:
    """Return what a cell looks like."""
    if not cell:
        return CellKind.EMPTY
    if _NUMBER.fullmatch(cell):
        return CellKind.NUMBER
    if _MARK.fullmatch(cell):
        return CellKind.MARK
    if stamps.is_stamp(cell):
        return CellKind.STAMP
    if stamps.is_date(cell):
        return CellKind.DATE
    return CellKind.TEXT


_VALUES = frozenset({CellKind.NUMBER, CellKind.STAMP})


def _is_comment(line: str) -> bool:
    # A row that misses its first cell begins with a semicolon too; a word behind it tells.
    return line.lstrip().startswith(_COMMENTS) or bool(_SEMICOLON_COMMENT.match(line))


def _layout(source: Source, encoding: str) -> Layout:
    whole = source.size <= len(source.head)
    text = _text(source.head, encoding)
    lines = _NEWLINE.split(text)
    if not whole and len(lines) > 1:
        lines.pop()  # cut by the end of what was looked at
    # A few hundred rows tell the layout as well as thousands.
    numbered = [(number, line) for number, line in enumerate(lines, 1) if line.strip()]
    remarks = [line for _, line in numbered[:400] if _is_comment(line)]
    bare = [(number, line) for number, line in numbered if not _is_comment(line)]
    looked = bare[:400] if len(bare) > 400 else bare
    delimiter, columns = _delimiter([line for _, line in looked])
    rows = [(number, line, split_row(line, delimiter)) for number, line in looked]
    kinds = _column_kinds([cells for *_, cells in rows if len(cells) == columns], columns)
    wanted = [index for index, kind in enumerate(kinds) if kind in _VALUES]
    data = [
        (number, line, cells)
        for number, line, cells in rows
        if len(cells) == columns and wanted and _fits(cells, kinds, wanted)
    ]
    if not data:
        return Layout(encoding, delimiter, columns, 0, 0, 0, remarks=tuple(remarks))
    first_line = data[0][0]
    above = [row for row in rows if row[0] < first_line]
    heading_line, names, units, odd = _headings(above, remarks, columns, delimiter)
    preamble = [line for number, line, _ in above if number != heading_line]
    return Layout(
        encoding=encoding,
        delimiter=delimiter,
        columns=columns,
        rows=len(data),
        first_line=first_line,
        offset=_offset_of(source.head, first_line),
        kinds=kinds,
        sample=tuple(tuple(cells) for *_, cells in data),
        headings=(
            None
            if names is None
            else tuple(read_heading(name, unit) for name, unit in zip(names, units, strict=True))
        ),
        heading_line=heading_line,
        heading_cells=tuple(names or ()),
        remarks=tuple(remarks + preamble),
        quoted=any('"' in line for _, line, _ in data),
        blank=_one_blank([line for _, line, _ in data], columns) if delimiter == "blank" else "",
        odd_heading=odd,
    )


def _one_blank(lines: Sequence[str], columns: int) -> str:
    for blank in (" ", "\t"):
        if all(len(line.split(blank)) == columns and line == line.strip() for line in lines):
            return blank
    return ""


def _offset_of(head: bytes, line: int) -> int:
    """Return the byte at which a line begins, for any of the three line ends."""
    offset = 3 if head.startswith(codecs.BOM_UTF8) else 0
    if line == 1:
        return offset
    for number, match in enumerate(re.finditer(rb"\r\n|\r|\n", head), start=2):
        if number == line:
            return match.end()
    return offset


def _delimiter(lines: Sequence[str]) -> tuple[str, int]:
    """Return the delimiter under which most cells become numbers, and the number of columns."""
    best = ("", 1)
    best_score = 0
    for delimiter in ("\t", ";", "|", ",", "blank"):
        by_width: Counter[int] = Counter()
        junk: Counter[int] = Counter()
        for line in lines:
            if delimiter != "blank" and delimiter not in line:
                continue
            cells = split_row(line, delimiter)
            if len(cells) < 2:
                continue
            kinds = [cell_kind(cell) for cell in cells]
            by_width[len(cells)] += sum(kind in _VALUES for kind in kinds)
            junk[len(cells)] += sum(
                kind is CellKind.TEXT and bool(_JUNK.search(cell))
                for kind, cell in zip(kinds, cells, strict=True)
            )
        for width, score in by_width.items():
            # At least two readings to a row on the whole, or a reading beside marks and words.
            if score - 3 * junk[width] > best_score:
                best, best_score = (delimiter, width), score - 3 * junk[width]
    alone = sum(cell_kind(line.strip().strip('"')) in _VALUES for line in lines)
    return ("", 1) if alone > best_score else best


def _column_kinds(rows: Sequence[Sequence[str]], columns: int) -> tuple[CellKind, ...]:
    """Return what most cells of each column are, among rows that hold numbers at all."""
    counts = [Counter[CellKind]() for _ in range(columns)]
    for cells in rows:
        kinds = [cell_kind(cell) for cell in cells]
        if any(kind in _VALUES for kind in kinds):
            for count, kind in zip(counts, kinds, strict=True):
                count[kind] += 1
    result = []
    for count in counts:
        # A column that is mostly marks is still one of numbers if it holds any.
        solid = Counter(
            {k: n for k, n in count.items() if k not in {CellKind.EMPTY, CellKind.MARK}}
        )
        most = (solid or count).most_common(1)
        result.append(most[0][0] if most else CellKind.EMPTY)
    return tuple(result)


def _fits(cells: Sequence[str], kinds: Sequence[CellKind], wanted: Sequence[int]) -> bool:
    found = [cell_kind(cells[index]) for index in wanted]
    passing = {CellKind.EMPTY, CellKind.MARK}
    return any(kind in _VALUES for kind in found) and all(
        kind is kinds[index] or kind in passing for kind, index in zip(found, wanted, strict=True)
    )


def _headings(
    above: Sequence[tuple[int, str, list[str]]],
    remarks: Sequence[str],
    columns: int,
    delimiter: str,
) -> tuple[int | None, list[str] | None, list[str], int | None]:
    """Return line, names and units of the heading, and the width of one that does not fit."""
    fitting = []
    for number, line, cells in above:
        for trial in _heading_splits(line, cells, columns, delimiter):
            fitting.append((number, trial))
            break
    none = [""] * columns
    if fitting:
        number, cells = fitting[-1]
        if len(fitting) > 1 and fitting[-2][0] == number - 1 and _is_units_row(cells):
            return fitting[-2][0], fitting[-2][1], cells, None
        known = [row for row in fitting if _knows(row[1])]
        if known:
            number, cells = known[-1]
        return number, cells, none, None
    for remark in reversed(remarks):
        line = remark.lstrip("#%/!; \t")
        for mark in (delimiter, ",", ";", "\t", "|"):
            for trial in _heading_splits(line, split_row(line, mark), columns, delimiter):
                if _knows(trial) and (columns > 1 or ":" not in line):
                    return None, trial, none, None
    last = above[-1][2] if above else []
    return None, None, none, len(last) if len(last) > 1 and _knows(last) else None


def _heading_splits(
    line: str, cells: list[str], columns: int, delimiter: str
) -> Iterator[list[str]]:
    if len(cells) == columns:
        yield cells
    elif len(cells) == columns - 1 and delimiter not in {"blank", ""}:
        yield [*cells, ""]  # rows that end with a delimiter under a heading that does not
    if delimiter == "blank":
        for pattern in (r"\s{2,}|\t", r"\s+(?![\[({]|[^\[({]*[\])}])"):
            parts = [part for part in re.split(pattern, line.strip()) if part]
            if len(parts) == columns:
                yield parts


def _knows(cells: Sequence[str]) -> bool:
    """Return whether any cell is a known name or unit."""
    headings = [read_heading(cell) for cell in cells if len(cell) <= 80]
    return any(heading.unit or heading.named is not About.UNKNOWN for heading in headings)


def _is_units_row(cells: Sequence[str]) -> bool:
    bare = [cell.strip("[](){}<> ") for cell in cells]
    return any(unit_spelled(cell) for cell in bare if cell) and not any(
        read_heading(cell).named is not About.UNKNOWN and unit_spelled(cell) is None
        for cell in bare
    )


def _no_rows(source: Source, layout: Layout) -> TraceFault | Exception:
    text = _text(source.head, layout.encoding)
    lines = [line for line in _NEWLINE.split(text) if line.strip()]
    if not lines:
        return source.fault("the file holds only blank lines", "Check that the logger wrote it")
    if len(lines) == 1 and source.size > len(source.head):
        return source.fault("the file has no line ends", "Export it with one reading to a line", 1)
    known = [line for line in lines[:50] if _knows(re.split(r"[;,\t|]", line.lstrip("#%/ ")))]
    if known:
        return source.fault(
            "the file has a heading, but no readings under it",
            "Check that the logger was recording and that the file was closed",
            len(_NEWLINE.split(text)) if len(lines) < 3 else None,
        )
    return source.fault(
        "no rows of numbers are in the file",
        "Hand in a table of time and pressure: CSV, tab or semicolon text, or Parquet",
        1,
    )


# --- which columns, in which units -------------------------------------------------------------


@dataclass(frozen=True)
class Choice:
    """The columns to be read."""

    time: int | None
    pressure: int
    pressure_unit: Unit
    time_unit: Unit | None
    """None: time stamps, no time column, or a unit still to be seen from the numbers."""
    assumed: bool = False
    """True where the file has no heading and columns were told by their numbers."""
    rate_hz: float | None = None
    styles: dict[int, str] = field(default_factory=dict)
    """How the digits of each column are written."""


@dataclass
class Remarks:
    """What comment and preamble lines say."""

    rate_hz: float | None = None
    pressure_unit: Unit | None = None
    time_unit: Unit | None = None
    instrument: str = ""


_RATE = re.compile(
    r"(?:sampl|rate|freq|abtast|\bfs\b|logging|acquisition)[^\d]{0,40}?(\d+(?:[.,]\d+)?)\s*"
    r"(khz|hz|/s|1/s|s/s|sps|samples?\s*(?:/|per)\s*s)",
    re.IGNORECASE,
)
_RATE_IN_KEY = re.compile(
    r"(?:rate|freq\w*|\bfs)[\s_(\[]*(k?hz)[\s)\]]*[:=;,\t]\s*(\d+(?:[.,]\d+)?)\s*$", re.IGNORECASE
)
_INTERVAL = re.compile(
    r"(?:sampl\w*|time|logging|abtast\w*)?[\s_-]*(?:interval|period|step|intervall|\bdt\b)"
    r"[^\d]{0,20}?(\d+(?:[.,]\d+)?)\s*(ms|msec|us|µs|s|sec|seconds|milliseconds)\b",
    re.IGNORECASE,
)
_INSTRUMENT = re.compile(
    r"(?:instrument|gauge|sensor|logger|device|transducer|transmitter)(?: (?:id|name|no\.?))?"
)
_PAIR = re.compile(r"^\W*([A-Za-zÀ-ɏ][^:=;,\t]{0,50}?)\s*[:=;,\t]\s*(\S.*?)\s*$")


def read_remarks(lines: Sequence[str]) -> Remarks:
    """Return what comment and preamble lines say of sample rate, units and instrument."""
    found = Remarks()
    for line in lines[:200]:
        text = line[:300]
        if found.rate_hz is None:
            if match := _RATE.search(text):
                scale = 1e3 if match[2].lower() == "khz" else 1.0
                found.rate_hz = scale * float(match[1].replace(",", "."))
            elif match := _RATE_IN_KEY.search(text):
                scale = 1e3 if match[1].lower() == "khz" else 1.0
                found.rate_hz = scale * float(match[2].replace(",", "."))
            elif match := _INTERVAL.search(text):
                unit = time_unit_spelled(match[2])
                interval = float(match[1].replace(",", ".")) * (unit.factor if unit else 1.0)
                found.rate_hz = 1.0 / interval if interval > 0.0 else None
        pair = _PAIR.match(text)
        if pair is None:
            continue
        key, value = pair[1].lower().replace("_", " "), pair[2].strip('"')
        if "unit" in key or "einheit" in key:
            units = [unit_spelled(part) for part in (value, *re.split(r"[;,\s]+", value))]
            for unit in units:
                if unit is None:
                    continue
                if unit.about is About.PRESSURE and "time" not in key:
                    found.pressure_unit = found.pressure_unit or unit
                elif unit.about is About.TIME and "press" not in key:
                    found.time_unit = found.time_unit or unit
        elif not found.instrument and _INSTRUMENT.fullmatch(key):
            found.instrument = value[:80]
    if found.rate_hz is not None and not 1e-3 <= found.rate_hz <= 1e7:
        found.rate_hz = None
    return found


def _choose(layout: Layout, hints: Hints, notes: RawNotes) -> Choice:
    remarks = read_remarks(layout.remarks)
    rate = hints.sample_rate_hz or remarks.rate_hz
    if hints.sample_rate_hz is not None and not 1e-3 <= hints.sample_rate_hz <= 1e7:
        raise TraceFault(
            f"a sample rate of {hints.sample_rate_hz:g} Hz is not plausible",
            "State readings per second",
        )
    styles = {
        index: style_of([row[index] for row in layout.sample]) for index in range(layout.columns)
    }
    if layout.headings is None:
        return _choose_by_numbers(layout, hints, notes, remarks, rate, styles)
    headings, kinds = layout.headings, layout.kinds
    pressure = pressure_column(headings, kinds, hints.pressure_column)
    unit = unit_of_pressure(headings[pressure], hints, remarks.pressure_unit, notes)
    time = time_column(
        [h if i != pressure else Heading("", About.PRESSURE, None, aside=True)
         for i, h in enumerate(headings)],
        kinds,
        hints.time_column,
    )  # fmt: skip
    if time == pressure:
        raise TraceFault(
            "one column cannot hold both time and pressure", "Name two columns that differ"
        )
    if time is None and rate is None:
        if layout.columns == 1:
            raise TraceFault(
                "the file has one column only, and no sample rate",
                "Export time beside pressure, or state the sample rate",
            )
        listed = ", ".join(heading.shown for heading in headings[:20])
        raise TraceFault(
            f"no column is known to hold time (columns: {listed}), and no sample rate is stated",
            "Head the time column with its name and unit, or state the sample rate",
        )
    time_unit = None
    if time is not None and kinds[time] is CellKind.NUMBER:
        own = headings[time].unit
        time_unit = (
            hints.stated_time_unit()
            or (own if own is not None and own.about is About.TIME else None)
            or remarks.time_unit
        )
        if rate is not None and time_unit is None:
            time = None if _counts_up(layout, time, styles[time]) else time
    return Choice(time, pressure, unit, time_unit, rate_hz=rate, styles=styles)


def _counts_up(layout: Layout, column: int, style: str) -> bool:
    """Return whether a column only numbers the readings."""
    values = to_numbers([row[column] for row in layout.sample], style)[0]
    return bool(values.size > 1 and np.all(np.diff(values) == 1.0))


def _choose_by_numbers(
    layout: Layout,
    hints: Hints,
    notes: RawNotes,
    remarks: Remarks,
    rate: float | None,
    styles: dict[int, str],
) -> Choice:
    """Choose columns of a file without a heading; every step is stated as an assumption."""
    blank = tuple(Heading("", About.UNKNOWN, None, aside=False) for _ in range(layout.columns))
    columns = {
        index: to_numbers([row[index] for row in layout.sample], styles[index])[0]
        for index, kind in enumerate(layout.kinds)
        if kind is CellKind.NUMBER
    }
    if layout.odd_heading is not None:
        raise TraceFault(
            f"the heading has {layout.odd_heading} columns, the rows have {layout.columns}"
            + (
                "; commas may stand both between columns and inside numbers"
                if layout.delimiter == "," and layout.columns > layout.odd_heading
                else ""
            ),
            "Export with decimal points, or with semicolons between the columns",
        )
    said: list[str] = []
    time: int | None = None
    if hints.time_column is not None:
        time = time_column(blank, layout.kinds, hints.time_column)
    elif CellKind.STAMP in layout.kinds:
        time = layout.kinds.index(CellKind.STAMP)
        said.append(f"column {time + 1} is time, because it holds time stamps")
    elif layout.columns > 1:
        rising = [index for index, values in columns.items() if _rises(values)]
        if len(rising) == 1 or (rising and rising[0] == 0 and layout.columns == 2):
            time = rising[0]
            said.append(f"column {time + 1} is time, because it rises from row to row")
        elif rate is None:
            raise TraceFault(
                "the file has no heading, and "
                + ("several columns rise" if rising else "no column rises")
                + " steadily like a time",
                "Head the columns with name and unit, or name them with time_column and "
                "pressure_column",
            )
    if time is None and rate is None:
        raise TraceFault(
            "the file has one column only, and no sample rate",
            "Export time beside pressure, or state the sample rate",
        )
    if hints.pressure_column is not None:
        pressure = pressure_column(blank, layout.kinds, hints.pressure_column)
    else:
        pressure = _pressure_by_numbers(columns, time, said)
    if pressure == time:
        raise TraceFault(
            "one column cannot hold both time and pressure", "Name two columns that differ"
        )
    unit = hints.stated_pressure_unit() or remarks.pressure_unit
    if unit is None:
        unit = _assumed_bar(columns.get(pressure), pressure, said)
    time_unit = hints.stated_time_unit() or remarks.time_unit
    if said:
        notes.note("assumed columns", "the file has no heading: " + "; ".join(said))
    return Choice(time, pressure, unit, time_unit, assumed=True, rate_hz=rate, styles=styles)


def _rises(values: NDArray[np.float64]) -> bool:
    values = values[np.isfinite(values)]
    if values.size < 2:
        return False
    steps = np.diff(values)
    return bool(np.count_nonzero(steps >= 0.0) >= 0.98 * steps.size and steps.max() > 0.0) and bool(
        np.count_nonzero(steps > 0.0) >= 0.05 * steps.size and values[-1] > values[0]
    )


def _pressure_by_numbers(
    columns: dict[int, NDArray[np.float64]], time: int | None, said: list[str]
) -> int:
    others = [index for index in columns if index != time]
    if not others:
        raise TraceFault(
            "no column is left to hold pressure", "Export time and pressure side by side"
        )
    if len(others) == 1:
        said.append(f"column {others[0] + 1} is pressure, because it is the only other one")
        return others[0]
    scaled = others[-1]
    for index in others[:-1]:
        factor = _scale_between(columns[index], columns[scaled])
        if factor is None:
            raise TraceFault(
                f"the file has no heading, and any of columns "
                f"{', '.join(str(i + 1) for i in others)} may hold pressure",
                "Head the columns with name and unit, or name the one with pressure_column",
            )
        said.append(
            f"column {scaled + 1} is pressure, because it is {factor:.4g} times column "
            f"{index + 1} to the last digit: a raw signal with the value made from it behind"
        )
    return scaled


def _scale_between(raw: NDArray[np.float64], scaled: NDArray[np.float64]) -> float | None:
    """Return the factor if one column is a multiple of the other but for rounding."""
    good = np.isfinite(raw) & np.isfinite(scaled)
    if good.sum() < 5 or not np.any(raw[good]):
        return None
    x, y = raw[good], scaled[good]
    factor = float(x @ y / (x @ x))
    tolerance = 0.51 * (_last_digit(y) + abs(factor) * _last_digit(x))
    if factor in {0.0, 1.0} or np.ptp(y) == 0.0 or np.abs(y - factor * x).max() > tolerance:
        return None
    return factor


def _last_digit(values: NDArray[np.float64]) -> float:
    for places in range(9):
        if np.allclose(np.round(values, places), values, rtol=0.0, atol=1e-10):
            return float(10.0**-places)
    return 1e-9


def _assumed_bar(values: NDArray[np.float64] | None, column: int, said: list[str]) -> Unit:
    remedy = (
        "Head the columns with name and unit, or state it with pressure_unit; take it from the "
        "papers of the logger or sensor. Raw counts need the sensor's calibration first"
    )
    known = np.empty(0) if values is None else values[np.isfinite(values)]
    if known.size == 0:
        raise TraceFault(f"column {column + 1} holds no pressures", remedy)
    if np.array_equal(known, np.round(known)):
        raise TraceFault(
            f"nothing says in which unit column {column + 1} is, and whole numbers may be raw "
            "counts",
            remedy,
        )
    if known.min() < -1.5 or known.max() > HIGHEST_PLAUSIBLE_BAR:
        raise TraceFault(
            f"nothing says in which unit column {column + 1} is, and {known.min():g} to "
            f"{known.max():g} is not plausible for a pressure in bar",
            remedy,
        )
    said.append(
        f"column {column + 1} is taken as bar, because {known.min():g} to {known.max():g} with "
        "decimals is plausible for that; nothing in the file says so"
    )
    return Unit("bar", About.PRESSURE)


# --- digits ------------------------------------------------------------------------------------


def style_of(cells: Sequence[str]) -> str:
    """Return how numbers are written.

    ``point``, ``comma``, ``point,`` (commas between thousands), ``comma.`` (points between
    thousands), or ``grouped`` (whole numbers with marks between thousands).
    """
    for cell in cells:
        if "." in cell and "," in cell and _NUMBER.fullmatch(cell):
            return "point," if cell.rfind(".") > cell.rfind(",") else "comma."
    if any((cell.count(".") > 1 or cell.count(",") > 1) and is_grouped(cell) for cell in cells):
        return "grouped"
    return "comma" if any("," in cell for cell in cells) else "point"


def is_grouped(cell: str) -> bool:
    """Return whether a cell is a whole number in groups of three digits.

    >>> is_grouped("1.003.000"), is_grouped("10.03.2026")
    (True, False)
    """
    return bool(_GROUPED.fullmatch(cell))


def _plain(cell: str, style: str) -> str:
    """Return a number as Python writes it, or nothing where it is not of that style."""
    if style == "comma":
        return "" if "." in cell else cell.replace(",", ".")
    if style == "point,":
        return cell.replace(",", "")
    if style == "comma.":
        return cell.replace(".", "").replace(",", ".")
    if style == "grouped":
        return re.sub("[.,]", "", cell) if is_grouped(cell) or cell.lstrip("+-").isdigit() else ""
    return cell


def to_numbers(cells: Sequence[str], style: str) -> tuple[NDArray[np.float64], list[int]]:
    """Return numbers, shape (N,), NaN where there is none, and the indices of cells that failed."""
    if style == "point":
        try:
            values = np.fromiter(map(float, cells), np.float64, len(cells))
        except ValueError:
            pass
        else:
            if np.isfinite(values).all() and "_" not in "".join(cells):
                return values, []
    values = np.full(len(cells), np.nan)
    failed = []
    for index, cell in enumerate(cells):
        if _NUMBER.fullmatch(cell):
            try:
                values[index] = float(_plain(cell, style))
            except ValueError:
                failed.append(index)
        elif cell and not _MARK.fullmatch(cell):
            failed.append(index)
        elif "inf" in cell.lower():
            values[index] = -np.inf if cell.startswith("-") else np.inf
    return values, failed


# --- values ------------------------------------------------------------------------------------

_CHUNK = 65_536


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


def _fast(source: Source, layout: Layout, choice: Choice) -> Values | None:
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
    invalid: list[str] = []

    def on_invalid(row: pa.csv.InvalidRow) -> str:
        invalid.append(row.text)
        return "skip" if len(invalid) == 1 else "error"

    def parse(columns: Sequence[int], texts: Sequence[int], marks: Sequence[str]) -> pa.Table:
        with source.open(layout.offset) as stream:
            return pa.csv.read_csv(
                stream,
                read_options=pa.csv.ReadOptions(
                    column_names=[str(index) for index in range(layout.columns)]
                ),
                parse_options=pa.csv.ParseOptions(
                    delimiter=delimiter,
                    quote_char='"' if layout.quoted else False,
                    invalid_row_handler=on_invalid,
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
        if invalid and not (cut == "short" and len(invalid) == 1):
            return None
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
        arrays.append(array[:-1] if cut == "full" else array)
        del column
    pressure = arrays.pop()
    values = Values(arrays[0] if arrays else None, pressure, dict(choice.styles), missing)
    if cut:
        values.remarks.append(_CUT)
    return values


_CUT = ("truncated file", "the last line is cut off and was left out: the file was not closed")


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


def _last_line_is_cut(source: Source, layout: Layout, wanted: Sequence[int]) -> str:
    """Return ``short`` or ``full`` where the last line was cut in writing, else nothing.

    A line without its end is cut if it has fewer cells than the others, or if its last number
    has fewer decimals where all those before it have the same number of them.
    """
    tail = _text(source.tail(8192), layout.encoding)
    lines = _NEWLINE.split(tail)
    last = lines[-1]
    if not last.strip() or _is_comment(last):
        return ""
    rows = [split_row(line, layout.delimiter) for line in lines[1:-1] if line.strip()]
    rows = [cells for cells in rows if len(cells) == layout.columns][-20:]
    cells = split_row(last, layout.delimiter)
    if len(cells) < layout.columns and rows:
        return "short"
    if len(cells) != layout.columns or layout.columns - 1 not in wanted or len(rows) < 5:
        return ""
    decimals = {_decimals(row[-1]) for row in rows}
    if len(decimals) == 1 and _decimals(cells[-1]) < decimals.pop():
        return "full"
    return ""


def _decimals(cell: str) -> int:
    match = re.fullmatch(r"[+-]?\d*(?:[.,](\d*))?", cell)
    return len(match[1] or "") if match else 0


class _Restyle(Exception):
    """The digits of a column turn out to be written in another way."""

    def __init__(self, column: int, style: str) -> None:
        super().__init__(column, style)
        self.column = column
        self.style = style


def _slow(source: Source, layout: Layout, choice: Choice) -> Values:
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
            if _is_comment(line):
                comments += 1
                continue
            cells = split_row(line, layout.delimiter)
            if layout.heading_cells and tuple(cells) == layout.heading_cells:
                repeated += 1
                continue
            last = (number, line, cells)
        if last is not None and not cut:
            self.take(*last)
        self.convert()
        remarks: list[tuple[str, str]] = []
        if comments:
            remarks.append(("", f"{comments} comment lines between the readings were passed over"))
        if repeated:
            text = f"the heading stands {repeated} more time(s) among the readings: the logger "
            text += "was started again, or files were joined"
            remarks.append(("repeated heading", text))
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
        self.rows += 1
        columns = self.layout.columns
        # Cells that are empty at the end of a row are often not written at all.
        fits = len(cells) == columns or max(self.cells) < len(cells) < columns
        fits = fits or (len(cells) > columns and not any(cells[columns:]))
        if not fits:
            self.note_damage(number, line)
            cells = [""] * columns
        self.lines.append(number)
        for index, column in self.cells.items():
            cell = cells[index]
            column.append(cell)
            if fits and (not cell or _MARK.fullmatch(cell)):
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
                    if column[row] and not _MARK.fullmatch(column[row])
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
        numbers = [cell for cell in cells if _NUMBER.fullmatch(cell)]
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
        text = f"{self.damaged} of {self.rows} rows hold no numbers and were left out, "
        text += f"the first on line {line} ('{shown}')"
        remarks.append(("damaged rows", text))


def _numbered_lines(source: Source, layout: Layout) -> Iterator[tuple[int, str]]:
    encoding = "cp1252" if layout.encoding == "cp1252" else "utf-8"
    with (
        source.open() as raw,
        io.TextIOWrapper(raw, encoding, errors="replace", newline=None) as text,
    ):
        for number, line in enumerate(text, 1):
            if number >= layout.first_line:
                yield number, line.rstrip("\n").lstrip("\ufeff")


# --- from columns to a trace -------------------------------------------------------------------


def _assemble(layout: Layout, choice: Choice, values: Values, notes: RawNotes) -> RawTrace:
    if values.pressure.size == 0:
        raise TraceFault("no readings are in the file", "Check that the logger was recording")
    decimal = {"comma": ", decimal comma", "comma.": ", decimal comma"}.get(
        values.styles[choice.pressure], ""
    )
    notes.history.insert(
        0,
        f"Read as {layout.delimiter_name} ({layout.encoding}{decimal}), "
        + (f"heading on line {layout.heading_line}, " if layout.heading_line else "")
        + f"readings from line {layout.first_line}",
    )
    clock = False
    if choice.time is None:
        assert choice.rate_hz is not None  # noqa: S101 - the choice was refused otherwise
        time_s = np.arange(values.pressure.size) / choice.rate_hz
        said = f"counted at the stated {choice.rate_hz:g} readings per second"
    else:
        assert values.time is not None  # noqa: S101 - read because it was chosen
        name = _column_name(layout, choice.time)
        if layout.kinds[choice.time] is CellKind.STAMP:
            time_s, midnights = stamps.unwrapped(values.time)
            clock = True
            said = f"from time stamps in {name}, the first {layout.sample[0][choice.time]}"
            if midnights:
                notes.history.append(f"The clock passed midnight {midnights} time(s)")
        else:
            time_s, unit, clock = to_seconds(
                values.time, values.styles[choice.time], choice.time_unit, name, notes
            )
            said = f"from {name} in {unit}"
        _compare_rate(time_s, choice.rate_hz, notes)
    notes.history.append(
        f"Time {said}; pressure from {_column_name(layout, choice.pressure)} in "
        f"{choice.pressure_unit}"
    )
    for name, text in values.remarks:
        if name:
            notes.note(name, text)
        else:
            notes.history.append(text[:1].upper() + text[1:])
    return RawTrace(
        time_s=time_s,
        pressure=values.pressure,
        unit=choice.pressure_unit,
        instrument=read_remarks(layout.remarks).instrument,
        missing=", ".join(
            f"{count} x '{text}'" if text else f"{count} empty"
            for text, count in values.missing.most_common(5)
        ),
        clock=clock,
    )


def _column_name(layout: Layout, column: int) -> str:
    if layout.headings is None or not layout.headings[column].text:
        return f"column {column + 1}"
    return f"column '{layout.headings[column].text}'"


def _usual_step(values: NDArray[np.float64]) -> float:
    """Return the median of the steps forward in the first part of a column."""
    steps = np.diff(values[:20_000])
    steps = steps[steps > 0.0]
    return float(np.median(steps)) if steps.size else float("nan")


def to_seconds(
    values: NDArray[np.float64], style: str, unit: Unit | None, name: str, notes: RawNotes
) -> tuple[NDArray[np.float64], str, bool]:
    """Return times in seconds, the unit in words, and whether they are readings of a clock.

    Raises
    ------
    TraceFault
        If the unit is not stated and cannot be told from the numbers.
    """
    step = _usual_step(values)
    if style == "grouped":
        return _grouped_to_seconds(values, step, unit, name, notes)
    finite = values[np.isfinite(values)]
    first = float(finite[0]) if finite.size else 0.0
    if unit is None:
        unit = epoch_unit(first)
        if unit is not None and step * unit.factor > SLOWEST_S:
            unit = None
        if unit is not None:
            notes.history.append(f"The numbers of {name} are counts of {unit} since 1970")
    if unit is None:
        whole = bool(np.array_equal(finite[:20_000], np.round(finite[:20_000])))
        if whole or not FASTEST_S <= step <= SLOWEST_S:
            raise TraceFault(
                f"nothing says in which unit the times of {name} are"
                + (", and whole numbers may be a count of readings" if whole else ""),
                "Head the column with its unit, or state it with time_unit or as a sample rate; "
                "take it from the papers of the logger",
            )
        notes.note(
            "assumed unit",
            f"the times of {name} are taken as seconds, because readings {step:.3g} s apart are "
            "plausible; nothing in the file says so",
        )
        return values, "s", False
    clock = epoch_unit(first) is not None
    if clock:  # whole numbers this large lose their decimals when they are scaled first
        notes.history.append(f"The clock of the first reading is {first:.15g} {unit}")
        return (values - first) * unit.factor, str(unit), True
    return (values if unit.factor == 1.0 else values * unit.factor), str(unit), False


def _grouped_to_seconds(
    values: NDArray[np.float64], step: float, unit: Unit | None, name: str, notes: RawNotes
) -> tuple[NDArray[np.float64], str, bool]:
    """Read whole numbers with marks between groups of three digits.

    Loggers write so what they once had in microseconds, or in seconds with three decimals; the
    step between readings tells which.
    """
    if unit is None:
        trials = {"us": 1e-6, "ms": 1e-3}
    else:
        trials = {unit.name: unit.factor, f"{unit.name} with three decimals": unit.factor / 1e3}
    fitting = [
        (text, factor) for text, factor in trials.items() if FASTEST_S <= step * factor <= SLOWEST_S
    ]
    if len(fitting) != 1:
        raise TraceFault(
            f"the grouped digits of {name} (such as 1.003.000) may be read in more than one way",
            "State the unit of one whole count with time_unit: us where 1.003.000 is 1.003 s",
        )
    text, factor = fitting[0]
    others = " and ".join(
        f"{step * other:.3g} s as {label}" for label, other in trials.items() if label != text
    )
    notes.note(
        "assumed time stamps",
        f"{name} holds whole numbers with marks between thousands (1.003.000 stands for 1003000); "
        f"they are taken as {text}, because readings are then {step * factor:.3g} s apart, against "
        f"{others}",
    )
    return values * factor, text, False


def _compare_rate(time_s: NDArray[np.float64], rate_hz: float | None, notes: RawNotes) -> None:
    if rate_hz is None or time_s.size < 3:
        return
    sample = time_s[np.isfinite(time_s)]
    if sample.size < 3 or sample[-1] <= sample[0]:
        return
    seen = (sample.size - 1) / (sample[-1] - sample[0])
    if not 0.95 < seen / rate_hz < 1.05:
        notes.note(
            "sample rate",
            f"the file states {rate_hz:g} readings per second, its times show {seen:.4g}; the "
            "times were used",
        )
