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
from nozzlewright.edge.intake.times import (
    column_named,
    compare_rate,
    counted_at,
    from_stamps,
    time_and_pressure,
    to_seconds,
)
from nozzlewright.said import Said, joined, say

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
    notes.history.insert(0, _read_as(layout, values.styles[choice.pressure]))
    clock = False
    if choice.time is None:
        assert choice.rate_hz is not None  # noqa: S101 - the choice was refused otherwise
        time_s = np.arange(values.pressure.size) / choice.rate_hz
        said = counted_at(choice.rate_hz)
    else:
        assert values.time is not None  # noqa: S101 - read because it was chosen
        name = _column_name(layout, choice.time)
        if layout.kinds[choice.time] is CellKind.STAMP:
            time_s, midnights = stamps.unwrapped(values.time)
            clock = True
            said = from_stamps(name, layout.sample[0][choice.time])
            if midnights:
                notes.history.append(
                    say("The clock passed midnight {count} time(s)", count=midnights)
                )
        else:
            time_s, unit, clock = to_seconds(
                values.time, values.styles[choice.time], choice.time_unit, name, notes
            )
            said = say("from {column} in {unit}", column=name, unit=unit)
        compare_rate(time_s, choice.rate_hz, notes)
    notes.history.append(
        time_and_pressure(said, _column_name(layout, choice.pressure), choice.pressure_unit)
    )
    for remark, text in values.remarks:
        if remark:
            notes.note(remark, text)
        else:
            notes.history.append(say("{text:capital}", text=text))
    return RawTrace(
        time_s=time_s,
        pressure=values.pressure,
        unit=choice.pressure_unit,
        instrument=read_remarks(layout.remarks).instrument,
        missing=joined(
            ", ",
            [
                say("{count} x '{text}'", count=count, text=text)
                if text
                else say("{count} empty", count=count)
                for text, count in values.missing.most_common(5)
            ],
        ),
        clock=clock,
    )


def _read_as(layout: Layout, style: str) -> Said:
    encoding = joined("", [layout.encoding])
    if style in {"comma", "comma."}:
        encoding = say("{encoding}, decimal comma", encoding=layout.encoding)
    if not layout.heading_line:
        return say(
            "Read as {format} ({encoding}), readings from line {first}",
            format=layout.delimiter_name,
            encoding=encoding,
            first=layout.first_line,
        )
    return say(
        "Read as {format} ({encoding}), heading on line {heading}, readings from line {first}",
        format=layout.delimiter_name,
        encoding=encoding,
        heading=layout.heading_line,
        first=layout.first_line,
    )


def _column_name(layout: Layout, column: int) -> Said:
    if layout.headings is None or not layout.headings[column].text:
        return say("column {number}", number=column + 1)
    return column_named(layout.headings[column].text)
