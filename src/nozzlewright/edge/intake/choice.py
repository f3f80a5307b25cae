"""Which columns of a text file are time and pressure, and in which units."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from nozzlewright.edge.intake.cells import style_of, to_numbers
from nozzlewright.edge.intake.headings import (
    About,
    CellKind,
    Heading,
    Unit,
    pressure_column,
    time_column,
)
from nozzlewright.edge.intake.hints import Hints, RawNotes, unit_of_pressure
from nozzlewright.edge.intake.layout import Layout
from nozzlewright.edge.intake.mending import TraceFault
from nozzlewright.edge.intake.remarks import Remarks, read_remarks
from nozzlewright.said import figure, joined, say

HIGHEST_PLAUSIBLE_BAR = 2500.0
"""No hand-lever rig reaches it; a bound for columns of which the unit is assumed."""


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


def choose(layout: Layout, hints: Hints, notes: RawNotes) -> Choice:
    """Return the columns to be read: as asked for, as headed, or as the numbers show.

    Raises
    ------
    ColumnFault, TraceFault
        If a column or a unit cannot be told.
    """
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
            said.append(
                say("column {number} is time, because it rises from row to row", number=time + 1)
            )
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
        notes.note(
            say("assumed columns"),
            say("the file has no heading: {said}", said=joined("; ", said)),
        )
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
        said.append(
            say(
                "column {number} is pressure, because it is the only other one",
                number=others[0] + 1,
            )
        )
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
            say(
                "column {number} is pressure, because it is {factor} times column {raw} to the "
                "last digit: a raw signal with the value made from it behind",
                number=scaled + 1,
                factor=figure(factor, ".4g"),
                raw=index + 1,
            )
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
        say(
            "column {number} is taken as bar, because {least} to {most} with decimals is plausible "
            "for that; nothing in the file says so",
            number=column + 1,
            least=figure(known.min(), "g"),
            most=figure(known.max(), "g"),
        )
    )
    return Unit("bar", About.PRESSURE)
