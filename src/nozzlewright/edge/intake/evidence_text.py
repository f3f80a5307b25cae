"""Evidence as the content of a file: what a logger or a fitter would have left behind.

The pretend bench hands its recordings and cards to the readers this way.
"""

from __future__ import annotations

import gzip
import io
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
import tomlkit
from numpy.typing import NDArray

from nozzlewright.capture import HandReadings
from nozzlewright.measurement import PRESSURE_UNITS
from nozzlewright.measurement.units import BAR

FloatArray = NDArray[np.float64]

_FINEST_PA = 50.0
"""Pressures are written to the decimal next below it: finer than any gauge of a bench shows."""


@dataclass(frozen=True)
class Dialect:
    """How a logger writes a text file."""

    pressure_unit: str = "bar"
    separator: str = ","
    decimal: str = "."
    time_heading: str = "time_s"
    pressure_heading: str = "pressure_bar"
    time_factor: float = 1.0
    """Written time over seconds"""
    time_decimals: int = 6
    remarks: tuple[str, ...] = ()
    """Comment lines on top"""
    packed: bool = False
    """Whether it is packed by gzip"""


def recording_text(
    time_s: FloatArray, pressure_pa: FloatArray, dialect: Dialect | None = None
) -> bytes:
    """Return a recording as the content of a text file.

    Parameters
    ----------
    time_s, pressure_pa : ndarray of shape (N,)
        The recording, [s] and [Pa]; a reading that is not a number is written ``NaN``
    dialect : Dialect
        How it is written; plain CSV in bar where none is given
    """
    how = dialect or Dialect()
    factor = PRESSURE_UNITS[how.pressure_unit]
    decimals = max(0, math.ceil(math.log10(factor / _FINEST_PA)))
    heading = how.separator.join((how.time_heading, how.pressure_heading))

    def rows() -> Iterator[str]:
        for remark in how.remarks:
            yield f"# {remark}"
        yield heading
        times = (time_s * how.time_factor).tolist()
        for time, pressure in zip(times, (pressure_pa / factor).tolist(), strict=True):
            shown = "NaN" if math.isnan(pressure) else f"{pressure:.{decimals}f}"
            row = f"{time:.{how.time_decimals}f}{how.separator}{shown}"
            yield row if how.decimal == "." else row.replace(".", how.decimal)
        yield ""

    content = "\n".join(rows()).encode()
    # The time of packing stays out, so that the same recording gives the same file.
    return gzip.compress(content, mtime=0) if how.packed else content


def recording_parquet(
    time_s: FloatArray, pressure_pa: FloatArray, remarks: Mapping[str, str] | None = None
) -> bytes:
    """Return a recording as the content of a Parquet file, with time in s and pressure in MPa.

    Parameters
    ----------
    time_s, pressure_pa : ndarray of shape (N,)
        The recording, [s] and [Pa]
    remarks : mapping of str to str, optional
        Entries of the file's metadata
    """
    import pyarrow as pa
    import pyarrow.parquet as pq

    schema = pa.schema(
        [
            pa.field("time", pa.float64(), metadata={"unit": "s"}),
            pa.field("pressure", pa.float64(), metadata={"unit": "MPa"}),
        ],
        metadata=dict(remarks or {}),
    )
    table = pa.table([np.round(time_s, 6), np.round(pressure_pa / 1e6, 5)], schema=schema)
    sink = io.BytesIO()
    pq.write_table(
        table,
        sink,
        compression="zstd",
        compression_level=19,
        use_dictionary=["pressure"],
        column_encoding={"time": "BYTE_STREAM_SPLIT"},
    )
    return sink.getvalue()


def hand_card_text(readings: HandReadings, division_pa: float, note: str = "") -> str:
    """Return the text of a hand card.

    Parameters
    ----------
    readings : HandReadings
        What was read
    division_pa : float
        Smallest division of the dial, [Pa]
    note : str
        Note on the card
    """
    card = tomlkit.document()
    if note:
        card.add("note", tomlkit.string(note))
    if readings.fitter:
        card.add("fitter", tomlkit.string(readings.fitter))
    card.add("smallest_division_bar", tomlkit.item(_bar(division_pa)))
    # What is read to the nearest step may lie half a step to either side.
    card.add("fraction_read", tomlkit.item(2.0 * readings.reading_resolution_pa / division_pa))
    card.add("reaction_time_s", tomlkit.item(readings.reaction_time_s))
    for key, pressures in (
        ("opening_bar", readings.opening_pa),
        ("closing_bar", readings.closing_pa),
    ):
        if pressures:
            card.add(key, tomlkit.item([_bar(pressure) for pressure in pressures]))
    if readings.openings_per_stroke:
        card.add("openings_per_stroke", tomlkit.item(list(readings.openings_per_stroke)))
    if readings.drops:
        drops = tomlkit.aot()
        for drop in readings.drops:
            drops.append(
                tomlkit.item(
                    {
                        "from_bar": _bar(drop.from_pa),
                        "to_bar": _bar(drop.to_pa),
                        "seconds": drop.seconds,
                    }
                )
            )
        card.add("drop", drops)
    if readings.seat_hold is not None:
        hold = {"start_bar": _bar(readings.seat_hold.start_pa)}
        if readings.seat_hold.end_pa is not None:
            hold["end_bar"] = _bar(readings.seat_hold.end_pa)
        card.add("seat_hold", tomlkit.item({**hold, "seconds": readings.seat_hold.seconds}))
    if readings.leak_off is not None:
        counted = {
            "pressure_bar": _bar(readings.leak_off.pressure_pa),
            "drops": readings.leak_off.drops,
            "seconds": readings.leak_off.seconds,
        }
        card.add("leak_off", tomlkit.item(counted))
    return tomlkit.dumps(card)


def _bar(pressure_pa: float) -> float:
    return round(pressure_pa / BAR, 6)
