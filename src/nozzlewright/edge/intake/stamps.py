"""Time stamps as text, to seconds."""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Sequence

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

_STAMP = re.compile(
    r"""^\s*(?:(?P<date>\d{4}[-/.]\d{1,2}[-/.]\d{1,2}|\d{1,2}[-/.]\d{1,2}[-/.]\d{2,4})[T\s]+)?
        (?P<h>\d{1,2}):(?P<m>\d{2}):(?P<s>\d{2})(?P<f>[.,]\d{1,12})?
        \s*(?P<half>[AaPp]\.?[Mm]\.?)?
        \s*(?P<zone>Z|z|UTC|[+-]\d{2}:?\d{2}|[+-]\d{2})?\s*$""",
    re.VERBOSE,
)
_MINUTES = re.compile(r"^\s*(?P<m>\d{1,4}):(?P<s>\d{2})(?P<f>[.,]\d{1,9})\s*$")
_DATE = re.compile(r"^\s*(\d{4}[-/.]\d{1,2}[-/.]\d{1,2}|\d{1,2}[-/.]\d{1,2}[-/.]\d{4})\s*$")
DAY_S = 86_400.0


def is_stamp(cell: str) -> bool:
    """Return whether a cell is a time stamp: ISO 8601, a clock time, or minutes and seconds."""
    return ":" in cell and bool(_STAMP.match(cell) or _MINUTES.match(cell))


def is_date(cell: str) -> bool:
    """Return whether a cell is a date alone."""
    return bool(_DATE.match(cell))


def seconds_of(cell: str) -> float:
    """Return a stamp in seconds: since 1970 where it carries a date, else since midnight.

    Dates that are not year-first are not read (day and month may be either way round): their
    clock time is, and a passing midnight is seen by :func:`unwrapped`.

    >>> seconds_of("00:01:02.5"), seconds_of("not a time")
    (62.5, nan)
    """
    match = _STAMP.match(cell)
    if match is None:
        minutes = _MINUTES.match(cell)
        if minutes is None or int(minutes["s"]) > 59:
            return math.nan
        return 60.0 * int(minutes["m"]) + int(minutes["s"]) + _fraction(minutes["f"])
    hour, minute, second = int(match["h"]), int(match["m"]), int(match["s"])
    if match["half"]:
        hour = hour % 12 + (12 if match["half"][0] in "pP" else 0)
    if hour > 24 or minute > 59 or second > 60:
        return math.nan
    value = 3600.0 * hour + 60.0 * minute + second
    date = match["date"]
    if date and re.match(r"\d{4}\D", date):
        try:
            day = dt.date(*(int(part) for part in re.split(r"\D", date)))
        except ValueError:
            return math.nan
        value += DAY_S * (day.toordinal() - _EPOCH)
    zone = match["zone"]
    if zone and zone[0] in "+-":
        away = 3600.0 * int(zone[1:3]) + (60.0 * int(zone[-2:]) if len(zone) > 3 else 0.0)
        value -= away if zone[0] == "+" else -away
    return value + _fraction(match["f"])


_EPOCH = dt.date(1970, 1, 1).toordinal()


def _fraction(text: str | None) -> float:
    return float("0." + text[1:]) if text else 0.0


def from_cells(cells: Sequence[str]) -> NDArray[np.float64]:
    """Return stamps in seconds, shape (N,); NaN where a cell is none."""
    return np.fromiter((seconds_of(cell) for cell in cells), np.float64, len(cells))


def from_arrow(column: pa.ChunkedArray) -> NDArray[np.float64] | None:
    """Return stamps in seconds since the first, shape (N,), or None where they are not ISO 8601.

    Whole nanoseconds are subtracted before they become floats, so that nothing is lost.
    """
    stamps = column
    if not pa.types.is_timestamp(column.type):
        for kind in (pa.timestamp("ns"), pa.timestamp("ns", "UTC")):
            try:
                stamps = pc.cast(column, kind)
                break
            except pa.ArrowInvalid:
                continue
        else:
            return None
    try:
        stamps = pc.cast(pc.cast(stamps, pa.timestamp("ns", stamps.type.tz)), pa.int64())
    except pa.ArrowInvalid:  # beyond the years that nanoseconds reach
        return None
    missing = pc.is_null(stamps).to_numpy() if stamps.null_count else None
    whole = pc.fill_null(stamps, 0).to_numpy()
    if whole.size == 0:
        return np.empty(0)
    first = whole[0] if missing is None else next(iter(whole[~missing]), np.int64(0))
    seconds = (whole - first) * 1e-9
    if missing is not None:
        seconds[missing] = np.nan
    return np.asarray(seconds, dtype=np.float64)


def unwrapped(seconds: NDArray[np.float64]) -> tuple[NDArray[np.float64], int]:
    """Return clock times carried over midnight, shape (N,), and how often it passed."""
    with np.errstate(invalid="ignore"):
        falls = np.flatnonzero(np.diff(seconds) < -0.5 * DAY_S)
    if falls.size == 0 or np.nanmax(seconds) > 1.01 * DAY_S:
        return seconds, 0
    days = np.zeros(seconds.size)
    days[falls + 1] = DAY_S
    return seconds + np.cumsum(days), int(falls.size)
