"""Parquet: units stand in the column's name, in its metadata, or in that of the file."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from numpy.typing import NDArray

from nozzlewright.edge.intake import stamps
from nozzlewright.edge.intake.headings import (
    About,
    CellKind,
    Heading,
    pressure_column,
    read_heading,
    time_column,
)
from nozzlewright.edge.intake.hints import Hints, RawNotes, unit_of_pressure
from nozzlewright.edge.intake.mending import RawTrace, TraceFault
from nozzlewright.edge.intake.remarks import read_remarks
from nozzlewright.edge.intake.source import Source
from nozzlewright.edge.intake.times import (
    column_named,
    counted_at,
    from_stamps,
    time_and_pressure,
    to_seconds,
)
from nozzlewright.said import say

MOST_ROWS = 200_000_000
"""Eleven hours at 5 kHz; a small file can claim any number of rows."""


_BYTES_OF_A_NUMBER = 8
_BATCH_ROWS = 1 << 18


def is_parquet(head: bytes) -> bool:
    """Return whether the bytes begin a Parquet file."""
    return head.startswith(b"PAR1")


def read_parquet(source: Source, hints: Hints) -> RawTrace:
    """Read Parquet.

    Raises
    ------
    RecordingFault
        If the file is damaged, or holds no readings.
    TraceFault
        If its columns or units cannot be told.
    """
    notes = RawNotes()
    try:
        with source.open_arrow() as stream:
            file = pq.ParquetFile(stream)
            schema = file.schema_arrow
            rows = file.metadata.num_rows
            if rows == 0:
                raise source.fault(
                    "the file has columns, but no readings", "Check that the logger was recording"
                )
            most = min(MOST_ROWS, source.largest // _BYTES_OF_A_NUMBER)
            if rows > most:
                raise source.fault(
                    f"the file holds {rows} rows, more than the {most} that are read",
                    "Cut it into sessions, one injector each",
                )
            read = notes.onto(_read(file, schema, hints, notes))
            # What the columns took on the way is given back before anything is made of them.
            pa.default_memory_pool().release_unused()
            return read
    except (pa.ArrowException, OSError, EOFError) as error:
        reason = str(error).split("\n")[0][:120]
        raise source.fault(
            f"the Parquet file is damaged ({reason})", "Copy it again from where it was written"
        ) from None


def _read(file: pq.ParquetFile, schema: pa.Schema, hints: Hints, notes: RawNotes) -> RawTrace:
    fields = [schema.field(index) for index in range(len(schema))]
    headings = [read_heading(field.name, _unit_in(field.metadata)) for field in fields]
    kinds = [_kind(field.type) for field in fields]
    remarks = read_remarks([f"{key}: {value}" for key, value in _texts(schema.metadata).items()])
    rate = hints.sample_rate_hz or remarks.rate_hz
    pressure = pressure_column(headings, kinds, hints.pressure_column)
    if kinds[pressure] is not CellKind.NUMBER:
        raise TraceFault(
            f"the pressure column {headings[pressure].shown} holds {fields[pressure].type}, not "
            "numbers",
            "Write it as floating-point numbers",
        )
    unit = unit_of_pressure(headings[pressure], hints, remarks.pressure_unit, notes)
    others = [
        heading if index != pressure else Heading("", About.PRESSURE, None, aside=True)
        for index, heading in enumerate(headings)
    ]
    time = time_column(others, kinds, hints.time_column)
    if time == pressure:
        raise TraceFault(
            "one column cannot hold both time and pressure", "Name two columns that differ"
        )
    notes.history.append(say("Read as Parquet"))
    values = _numbers(file, fields[pressure].name)
    clock = False
    if time is None:
        if rate is None:
            listed = ", ".join(heading.shown for heading in headings[:20])
            raise TraceFault(
                f"no column is known to hold time (columns: {listed}), and no sample rate is "
                "stated",
                "Name the time column with its unit, or state the sample rate",
            )
        if not 1e-3 <= rate <= 1e7:
            raise TraceFault(f"a sample rate of {rate:g} Hz is not plausible", "State it in Hz")
        time_s = np.arange(values.size) / rate
        said = counted_at(rate)
    elif kinds[time] is CellKind.STAMP:
        column = _column(file, fields[time].name)
        stamped = stamps.from_arrow(column)
        if stamped is None:
            raise TraceFault(
                f"the time stamps of column '{fields[time].name}' cannot be read",
                "Write them as time stamps, or as seconds",
            )
        time_s, clock = stamped, True
        said = from_stamps(column_named(fields[time].name), str(column[0]))
    elif kinds[time] is CellKind.NUMBER:
        own = headings[time].unit
        time_unit = hints.stated_time_unit() or (
            own if own is not None and own.about is About.TIME else remarks.time_unit
        )
        name = column_named(fields[time].name)
        raw = _numbers(file, fields[time].name)
        time_s, unit_text, clock = to_seconds(raw, "point", time_unit, name, notes)
        said = say("from {column} in {unit}", column=name, unit=unit_text)
    else:
        raise TraceFault(
            f"the time column {headings[time].shown} holds {fields[time].type}",
            "Write it as numbers or time stamps",
        )
    notes.history.append(time_and_pressure(said, column_named(fields[pressure].name), unit))
    return RawTrace(time_s, values, unit, instrument=remarks.instrument, clock=clock)


def _column(file: pq.ParquetFile, name: str) -> pa.ChunkedArray:
    return file.read(columns=[name]).column(0)


def _numbers(file: pq.ParquetFile, name: str) -> NDArray[np.float64]:
    """Return a column as numbers, NaN where it has none, shape (N,); read piece by piece."""
    values = np.empty(file.metadata.num_rows)
    filled = 0
    for batch in file.iter_batches(_BATCH_ROWS, columns=[name]):
        piece = batch.column(0).cast(pa.float64(), safe=False)
        values[filled : filled + len(piece)] = piece.to_numpy(zero_copy_only=False)
        filled += len(piece)
    return values[:filled]


def _kind(kind: pa.DataType) -> CellKind:
    if pa.types.is_floating(kind) or pa.types.is_integer(kind) or pa.types.is_decimal(kind):
        return CellKind.NUMBER
    if pa.types.is_timestamp(kind):
        return CellKind.STAMP
    return CellKind.TEXT


def _texts(metadata: Mapping[bytes, bytes] | None) -> dict[str, str]:
    """Return the short entries of a metadata table as text; the long ones are other programs'."""
    return {
        key.decode(errors="replace"): value.decode(errors="replace")
        for key, value in (metadata or {}).items()
        if len(value) <= 200 and not key.startswith((b"ARROW", b"pandas", b"PARQUET"))
    }


def _unit_in(metadata: Mapping[bytes, bytes] | None) -> str:
    for key, value in _texts(metadata).items():
        if key.lower() in {"unit", "units", "einheit"}:
            return value
    return ""
