"""The one door for gauge recordings: each format is told apart by its own probe."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from nozzlewright.capture import Recording
from nozzlewright.edge.intake.delimited import is_delimited, read_delimited
from nozzlewright.edge.intake.headings import ColumnFault
from nozzlewright.edge.intake.hints import Hints
from nozzlewright.edge.intake.mending import RawTrace, TraceFault, mended
from nozzlewright.edge.intake.parquet import is_parquet, read_parquet
from nozzlewright.edge.intake.source import (
    LARGEST_RECORDING_BYTES,
    Source,
    digest_of,
    open_source,
)
from nozzlewright.errors import NozzlewrightError
from nozzlewright.said import say

FORMATS: tuple[tuple[Callable[[bytes], bool], Callable[[Source, Hints], RawTrace]], ...] = (
    (is_parquet, read_parquet),
    (is_delimited, read_delimited),
)
"""Probe and reader of each format, in the order in which they are asked."""


def read_recording(
    path: Path,
    *,
    pressure_column: str | int | None = None,
    time_column: str | int | None = None,
    pressure_unit: str | None = None,
    time_unit: str | None = None,
    sample_rate_hz: float | None = None,
    largest_bytes: int = LARGEST_RECORDING_BYTES,
) -> Recording:
    """Read a gauge recording in any format that is understood.

    Nothing has to be said where the file says it itself; what is said here wins.

    Parameters
    ----------
    path : Path
        Delimited text, plain or packed by gzip, or Parquet
    pressure_column, time_column : str or int, optional
        Heading as written, or number of the column counted from 1
    pressure_unit, time_unit : str, optional
        Unit of that column
    sample_rate_hz : float, optional
        Readings per second, for a file without times, [Hz]
    largest_bytes : int
        What its content may come to, unpacked

    Returns
    -------
    Recording
        With a line of history for each step and a caution for each repair and assumption

    Raises
    ------
    RecordingFault
        If the file cannot be used, with what, where and remedy.
    """
    hints = Hints(pressure_column, time_column, pressure_unit, time_unit, sample_rate_hz)
    source = open_source(path, largest_bytes)
    try:
        raw = _read(source, hints)
        if source.packed:
            raw.history.insert(0, say("{packed:capital}", packed=source.packed))
        return mended(raw, source=source.name, digest=digest_of(path))
    except (TraceFault, ColumnFault) as fault:
        raise source.fault(fault.what, fault.remedy) from None
    except MemoryError:
        raise source.fault(
            "the recording does not fit into this computer's memory",
            "Cut it into sessions, one injector each",
        ) from None
    except NozzlewrightError:
        raise
    except Exception as error:  # a person at the bench is never shown a traceback
        raise source.fault(
            f"the file cannot be read ({type(error).__name__}: {str(error)[:120]})",
            "Export it again as CSV with a heading such as time_s,pressure_bar; this fault was "
            "not foreseen, please report it with the file",
        ) from error


def _read(source: Source, hints: Hints) -> RawTrace:
    for probe, read in FORMATS:
        if probe(source.head):
            return read(source, hints)
    raise source.fault(
        "this is neither text nor Parquet",
        "Export the recording as CSV with a heading, or as Parquet",
    )
