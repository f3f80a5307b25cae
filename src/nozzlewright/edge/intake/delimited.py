"""Delimited text: commas, tabs, semicolons, bars or blanks; points or commas; headed or not.

The layout is read off the first part of the file. Regular files are then parsed by pyarrow; as
soon as a file turns out to be odd (a comment between rows, a word among the numbers, grouped
digits, quoting that comes and goes), it is read line by line instead, so that a fault can name
its line.
"""

from __future__ import annotations

import codecs

import numpy as np

from nozzlewright.edge.intake import stamps
from nozzlewright.edge.intake.choice import Choice, choose
from nozzlewright.edge.intake.headings import CellKind
from nozzlewright.edge.intake.hints import Hints, RawNotes
from nozzlewright.edge.intake.layout import (
    Layout,
    decoded,
    no_rows,
    read_layout,
    wide_encoding,
)
from nozzlewright.edge.intake.mending import RawTrace, TraceFault
from nozzlewright.edge.intake.remarks import read_remarks
from nozzlewright.edge.intake.rows import Values, read_fast, read_slow
from nozzlewright.edge.intake.source import Source
from nozzlewright.edge.intake.times import compare_rate, to_seconds

_CONTROL = bytes(code for code in range(32) if code not in b"\t\n\r\f")


def is_delimited(head: bytes) -> bool:
    """Return whether bytes look like text rather than like something a machine alone reads."""
    if head.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)) or wide_encoding(head):
        return True
    if not head:
        return False
    control = len(head) - len(head.translate(None, _CONTROL))
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
    source, encoding = decoded(source)
    layout = read_layout(source, encoding)
    if layout.rows == 0:
        raise no_rows(source, layout)
    choice = choose(layout, hints, notes)
    values = read_fast(source, layout, choice) or read_slow(source, layout, choice)
    return notes.onto(_assemble(layout, choice, values, notes))


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
        compare_rate(time_s, choice.rate_hz, notes)
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
