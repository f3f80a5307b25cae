"""A file that cannot be used is refused with what, where and remedy, never with a traceback."""

from __future__ import annotations

import gzip
import os
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from nozzlewright.edge.intake import read_recording, recording
from nozzlewright.errors import Fault, RecordingFault

HEADING = "time_s,pressure_bar"
ROWS = [f"{i / 1000:.3f},{150 + i % 7:.2f}" for i in range(200)]

MIXED = [row.replace(",", ";") if i % 2 else row for i, row in enumerate(ROWS)]
WORDS = [row if i % 9 else row.replace("15", "IS") for i, row in enumerate(ROWS)]
NOISE = bytes(np.random.default_rng(3).integers(0, 256, 4000, dtype=np.uint8))
"""A machine's bytes."""


def text(*lines: str) -> bytes:
    return ("\n".join(lines) + "\n").encode()


def rows(form: str, count: int = 50) -> list[str]:
    """Rows in which i stands for the number of the row, s for i milliseconds in seconds."""
    return [form.format(i=i, s=i / 1000, odd=150 + i / 3) for i in range(count)]


def fault_of(path: Path, raw: bytes | None = None, **limits: int) -> Fault:
    if raw is not None:
        path.write_bytes(raw)
    with pytest.raises(RecordingFault) as caught:
        read_recording(path, **limits)
    (fault,) = caught.value.faults
    assert fault.where.startswith(path.name)
    assert fault.remedy
    assert "not foreseen" not in fault.remedy
    return fault


@pytest.mark.parametrize(
    ("raw", "where", "what"),
    [
        (b"", "", "the file is empty"),
        (b"\n\n \n", "", "only blank lines"),
        (text(HEADING), "line 1", "a heading, but no readings"),
        (text("# log", HEADING, "", ""), "line 2", "a heading, but no readings"),
        (text("hello", "world"), "line 1", "no rows of numbers"),
        (text(HEADING, "0.1,150.2"), "", "only 1 usable reading"),
        (text("pressure_bar", *rows("{i}.5")), "", "one column only, and no sample rate"),
        (text(*rows("{i}.5")), "", "one column only, and no sample rate"),
        (text("time_s,temp_c", *ROWS), "", "no column is known to hold pressure"),
        (text("x,pressure_bar", *ROWS), "", "no column is known to hold time"),
        (text("time_s,pressure", *ROWS), "", "nothing says in which unit the pressure column"),
        (text("time,pressure_bar", *rows("{i},150.5")), "", "whole numbers may be"),
        (text(*rows("{s},1{i:03d}")), "", "raw counts"),
        (text(*rows("{s},9{odd:.3f}")), "", "not plausible for a pressure"),
        (text(*rows("{i}0.5,{odd:.3f}")), "", "in which unit the times"),
        (
            text("time_s,p1_bar,p2_bar", *rows("{s},{odd:.2f},3.5")),
            "",
            "'p1_bar' (column 2), 'p2_bar' (column 3)",
        ),
        (text("time_s,t_ms,pressure_bar", *rows("{s},{i},150.5")), "", "2 columns may hold time"),
        (text(HEADING, *[r.replace(".", ",") for r in ROWS]), "", "commas may stand both"),
        (text(HEADING, *MIXED), "line 3", "separated in another way"),
        (text(HEADING, *WORDS), "line 2", "rows do not hold numbers"),
        (text(HEADING, *["1.000,150.2"] * 50), "", "time does not advance"),
        (text(HEADING, *reversed(ROWS)), "", "time runs backwards"),
        (text(HEADING, *ROWS, *rows("{s:.3f},99.{i}", 200)), "", "two different pressures"),
        (text(HEADING, *rows("{s:.3f},OL")), "", "none of its 50 rows"),
        (text("time;press;x;y", *rows("{s};1.5;2.5;3")), "", "in which unit"),
        (b"PAR1 and then nothing", "", "the Parquet file is damaged"),
        (b"PK\x03\x04" + bytes(200), "", "a ZIP archive or a spreadsheet"),
        (b"\x89HDF\r\n\x1a\n" + bytes(200), "", "an HDF5 file"),
        (NOISE, "", "neither text nor Parquet"),
        (bytes(5000), "", "neither text nor Parquet"),
        (gzip.compress(text(HEADING, *ROWS))[:-30], "", "the gzip file is damaged"),
        (b"\x1f\x8b" + bytes(100), "", "the gzip file is damaged"),
        (gzip.compress(b"", mtime=0), "", "the gzip file holds nothing"),
        (gzip.compress(gzip.compress(text(HEADING, *ROWS))), "", "neither text nor Parquet"),
    ],
)
def test_a_file_that_cannot_be_used_is_refused(
    tmp_path: Path, raw: bytes, where: str, what: str
) -> None:
    fault = fault_of(tmp_path / "session.csv", raw)
    assert what in fault.what
    if where:
        assert fault.where == f"session.csv, {where}"


def test_a_file_that_is_not_there_or_no_file_is_refused(tmp_path: Path) -> None:
    assert "no such file" in fault_of(tmp_path / "gone.csv").what
    assert "a folder" in fault_of(tmp_path).what
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "pipe")
        assert "not a plain file" in fault_of(tmp_path / "pipe").what
    with pytest.raises(RecordingFault):
        read_recording(Path("bad\0name"))


def test_a_file_that_is_too_large_is_refused_with_the_limit(tmp_path: Path) -> None:
    plain = fault_of(tmp_path / "a.csv", text(HEADING, *ROWS), largest_bytes=1000)
    assert "more than the 1e-06 GB" in plain.what
    packed = gzip.compress(text(HEADING, *["0.001,150.00"] * 500))
    assert len(packed) < 1000
    bomb = fault_of(tmp_path / "b.csv", packed, largest_bytes=1000)
    assert "unpacks to more than" in bomb.what


def test_parquet_that_claims_more_rows_than_are_read_is_refused_unread(tmp_path: Path) -> None:
    """Alike values pack to next to nothing, whatever their number (Apache Parquet, RLE)."""
    path = tmp_path / "bomb.parquet"
    count = 3_000_000
    columns = {"time_s": np.zeros(count), "pressure_bar": np.zeros(count)}
    pq.write_table(pa.table(columns), path, compression="zstd")
    assert path.stat().st_size < 8 * count / 100
    told = fault_of(path, largest_bytes=8_000_000)
    assert "the file holds 3000000 rows, more than the 1000000" in told.what


def test_parquet_that_is_damaged_empty_or_not_numbers_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "session.parquet"
    pq.write_table(pa.table({"time_s": [0.0, 0.1], "pressure_bar": [1.0, 2.0]}), path)
    raw = path.read_bytes()
    assert "damaged" in fault_of(path, raw[:-9]).what
    assert "damaged" in fault_of(path, raw[:8] + bytes(40) + raw[48:]).what
    pq.write_table(
        pa.table(
            {"time_s": pa.array([], pa.float64()), "pressure_bar": pa.array([], pa.float64())}
        ),
        path,
    )
    assert "no readings" in fault_of(path).what
    pq.write_table(pa.table({"time_s": [0.0, 0.1], "pressure_bar": ["1", "2"]}), path)
    assert "no column is known to hold pressure" in fault_of(path).what
    pq.write_table(pa.table({"pressure_bar": [1.0, 2.0]}), path)
    assert "no column is known to hold time" in fault_of(path).what


@pytest.mark.parametrize(
    ("stated", "what"),
    [
        ({"pressure_unit": "furlong"}, "'furlong' is not a unit of pressure"),
        ({"time_unit": "fortnight"}, "'fortnight' is not a unit of time"),
        ({"pressure_column": 7}, "asks for '7', which is not there"),
        ({"pressure_column": "no"}, "asks for 'no', which is not there"),
        ({"pressure_column": 1, "pressure_unit": "bar", "time_column": 1}, "cannot hold both"),
        ({"sample_rate_hz": -5.0}, "not plausible"),
    ],
)
def test_what_is_stated_wrongly_is_refused(tmp_path: Path, stated: dict, what: str) -> None:
    path = tmp_path / "session.csv"
    path.write_bytes(text(HEADING, *ROWS))
    with pytest.raises(RecordingFault, match=what):
        read_recording(path, **stated)


def test_a_fault_that_nobody_foresaw_is_still_no_traceback(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def break_down(*_: object) -> None:
        raise ZeroDivisionError("made up")

    monkeypatch.setattr(recording, "FORMATS", ((bool, break_down),))
    path = tmp_path / "session.csv"
    path.write_bytes(text(HEADING, *ROWS))
    with pytest.raises(RecordingFault, match="ZeroDivisionError: made up") as caught:
        read_recording(path)
    assert "report it" in caught.value.faults[0].remedy
