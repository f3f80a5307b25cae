"""How the rows of a text file are written, read off its first part."""

from __future__ import annotations

import codecs
import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from nozzlewright.edge.intake.cells import VALUES, cell_kind, split_row
from nozzlewright.edge.intake.headings import (
    About,
    CellKind,
    Heading,
    read_heading,
    unit_spelled,
)
from nozzlewright.edge.intake.source import Source
from nozzlewright.errors import RecordingFault
from nozzlewright.said import Said, say

ROWS_LOOKED_AT = 120
"""A hundred rows tell the layout as well as thousands."""

DAMAGED_SHARE = 0.01
"""More rows than this share that hold no numbers, and the file is refused."""
SEPARATORS = {
    ",": "commas", ";": "semicolons", "\t": "tabs", "|": "bars", "blank": "blanks", "": "none",
}  # fmt: skip
NEWLINE = re.compile(r"\r\n|\r|\n")
_COMMENTS = ("#", "%", "//", "!")
_SEMICOLON_COMMENT = re.compile(r"\s*;+\s*[^\W\d_]")
_JUNK = re.compile(r"\d[^\w\s.:+-]*[;\t|,]|[;\t|,][^\w\s.:+-]*\d|\d\s+[-+.\d]")


def wide_encoding(head: bytes) -> str:
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


def decoded(source: Source) -> tuple[Source, str]:
    """Return the source as UTF-8, or as the 8-bit text that it is, with the encoding."""
    head = source.head
    wide = (
        "utf-16" if head[:2] in (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE) else wide_encoding(head)
    )
    if wide:
        with source.open() as stream:
            text = stream.read().decode(wide, errors="replace")
        return source.with_content(text.lstrip("\ufeff").encode()), "UTF-16"
    try:
        codecs.getincrementaldecoder("utf-8-sig")().decode(head)
    except UnicodeDecodeError:
        return source, "cp1252"
    return source, "UTF-8"


def as_text(raw: bytes, encoding: str) -> str:
    """Return bytes as text; what cannot be decoded shows as a mark."""
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
    def delimiter_name(self) -> Said:
        """Delimiter in words."""
        return {
            ",": say("comma-separated text"), ";": say("semicolon-separated text"),
            "\t": say("tab-separated text"), "|": say("text separated by bars"),
            "blank": say("text separated by blanks"), "": say("a single column of text"),
        }[self.delimiter]  # fmt: skip


def is_comment(line: str) -> bool:
    """Return whether a line is a comment (``#``, ``%``, ``//``, ``!``, or ``;`` before a word)."""
    # A row that misses its first cell begins with a semicolon too; a word behind it tells.
    return line.lstrip().startswith(_COMMENTS) or bool(_SEMICOLON_COMMENT.match(line))


def read_layout(source: Source, encoding: str) -> Layout:
    """Return how the rows are written; ``rows`` is 0 where none were found.

    Raises
    ------
    RecordingFault
        If rows are separated in more than one way.
    """
    remarks: list[str] = []
    looked: list[tuple[int, str]] = []
    for number, line in enumerate(_head_lines(source, encoding), 1):
        if is_comment(line):
            remarks.append(line)
        elif line.strip():
            looked.append((number, line))
            if len(looked) == ROWS_LOOKED_AT:
                break
    delimiter, columns = _delimiter([line for _, line in looked])
    rows = [(number, line, split_row(line, delimiter)) for number, line in looked]
    kinds = _column_kinds([cells for *_, cells in rows if len(cells) == columns], columns)
    wanted = [index for index, kind in enumerate(kinds) if kind in VALUES]
    data = [
        (number, line, cells)
        for number, line, cells in rows
        if len(cells) == columns and wanted and _fits(cells, kinds, wanted)
    ]
    if not data:
        return Layout(encoding, delimiter, columns, 0, 0, 0, remarks=tuple(remarks))
    first_line = data[0][0]
    for mark in (",", ";", "\t"):
        strays = [
            number
            for number, line, cells in rows
            if number > first_line
            and len(cells) != columns
            and sum(cell_kind(cell) in VALUES for cell in split_row(line, mark)) >= 2
        ]
        if mark != delimiter and len(strays) > max(1, DAMAGED_SHARE * len(rows)):
            raise source.fault(
                f"{len(strays)} of the first {len(rows)} rows are separated in another way "
                f"({SEPARATORS[mark]}) than the rest ({SEPARATORS[delimiter]})",
                "Export the recording with one kind of separator",
                strays[0],
            )
    above = [row for row in rows if row[0] < first_line]
    heading_line, names, units, odd = _headings(above, remarks, columns, delimiter)
    if heading_line is not None:
        # A row under the heading that holds a number is a damaged reading, not preamble.
        first_line = min(
            [number for number, _, cells in above if number > heading_line and _has_value(cells)],
            default=first_line,
        )
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


def _head_lines(source: Source, encoding: str) -> Iterator[str]:
    """Yield the lines of the first part of a file, one that its end cuts left out."""
    text = as_text(source.head, encoding)
    start = 0
    for match in NEWLINE.finditer(text):
        yield text[start : match.start()]
        start = match.end()
    if source.size <= len(source.head) or start == 0:
        yield text[start:]


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
            by_width[len(cells)] += sum(kind in VALUES for kind in kinds)
            junk[len(cells)] += sum(
                kind is CellKind.TEXT and bool(_JUNK.search(cell))
                for kind, cell in zip(kinds, cells, strict=True)
            )
        for width, score in by_width.items():
            # At least two readings to a row on the whole, or a reading beside marks and words.
            if score - 3 * junk[width] > best_score:
                best, best_score = (delimiter, width), score - 3 * junk[width]
    alone = sum(cell_kind(line.strip().strip('"')) in VALUES for line in lines)
    return ("", 1) if alone > best_score else best


def _column_kinds(rows: Sequence[Sequence[str]], columns: int) -> tuple[CellKind, ...]:
    """Return what most cells of each column are, among rows that hold numbers at all."""
    counts = [Counter[CellKind]() for _ in range(columns)]
    for cells in rows:
        kinds = [cell_kind(cell) for cell in cells]
        if any(kind in VALUES for kind in kinds):
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


def _has_value(cells: Sequence[str]) -> bool:
    return any(cell_kind(cell) in VALUES for cell in cells)


def _fits(cells: Sequence[str], kinds: Sequence[CellKind], wanted: Sequence[int]) -> bool:
    found = [cell_kind(cells[index]) for index in wanted]
    passing = {CellKind.EMPTY, CellKind.MARK}
    return any(kind in VALUES for kind in found) and all(
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
        known = [row for row in fitting if knows_any(row[1])]
        if known:
            number, cells = known[-1]
        return number, cells, none, None
    for remark in reversed(remarks):
        line = remark.lstrip("#%/!; \t")
        for mark in (delimiter, ",", ";", "\t", "|"):
            for trial in _heading_splits(line, split_row(line, mark), columns, delimiter):
                if knows_any(trial) and (columns > 1 or ":" not in line):
                    return None, trial, none, None
    last = above[-1][2] if above else []
    return None, None, none, len(last) if len(last) > 1 and knows_any(last) else None


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


def knows_any(cells: Sequence[str]) -> bool:
    """Return whether any cell is a known name or unit."""
    headings = [read_heading(cell) for cell in cells if len(cell) <= 80]
    return any(heading.unit or heading.named is not About.UNKNOWN for heading in headings)


def _is_units_row(cells: Sequence[str]) -> bool:
    bare = [cell.strip("[](){}<> ") for cell in cells]
    return any(unit_spelled(cell) for cell in bare if cell) and not any(
        read_heading(cell).named is not About.UNKNOWN and unit_spelled(cell) is None
        for cell in bare
    )


def no_rows(source: Source, layout: Layout) -> RecordingFault:
    """Return the error for a text file in which no rows of numbers were found."""
    text = as_text(source.head, layout.encoding)
    lines = [line for line in NEWLINE.split(text) if line.strip()]
    if not lines:
        return source.fault("the file holds only blank lines", "Check that the logger wrote it")
    if len(lines) == 1 and source.size > len(source.head):
        return source.fault("the file has no line ends", "Export it with one reading to a line", 1)
    known = [line for line in lines[:50] if knows_any(re.split(r"[;,\t|]", line.lstrip("#%/ ")))]
    if known:
        return source.fault(
            "the file has a heading, but no readings under it",
            "Check that the logger was recording and that the file was closed",
            NEWLINE.split(text).index(known[-1]) + 1,
        )
    return source.fault(
        "no rows of numbers are in the file",
        "Hand in a table of time and pressure: CSV, tab or semicolon text, or Parquet",
        1,
    )
