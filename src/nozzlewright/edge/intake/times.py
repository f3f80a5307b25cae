"""From a column of numbers to seconds."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from nozzlewright.edge.intake.headings import Unit
from nozzlewright.edge.intake.hints import FASTEST_S, SLOWEST_S, RawNotes, epoch_unit
from nozzlewright.edge.intake.mending import TraceFault
from nozzlewright.said import Said, figure, say


def counted_at(rate_hz: float) -> Said:
    """Return in words that the times were counted, not read."""
    return say("counted at the stated {rate} readings per second", rate=figure(rate_hz, "g"))


def from_stamps(column: Said, first: str) -> Said:
    """Return in words that the times are stamps of a clock."""
    return say("from time stamps in {column}, the first {first}", column=column, first=first)


def column_named(heading: str) -> Said:
    """Return a column by its heading, in words."""
    return say("column '{heading}'", heading=heading)


def time_and_pressure(time: Said, column: Said, unit: Unit) -> Said:
    """Return in words where time and pressure of a recording come from."""
    return say(
        "Time {time}; pressure from {column} in {unit}", time=time, column=column, unit=str(unit)
    )


def _usual_step(values: NDArray[np.float64]) -> float:
    """Return the median of the steps forward in the first part of a column."""
    steps = np.diff(values[:5000])
    steps = steps[steps > 0.0]
    return float(np.median(steps)) if steps.size else float("nan")


def to_seconds(
    values: NDArray[np.float64], style: str, unit: Unit | None, name: Said, notes: RawNotes
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
    finite = values[:5000]
    finite = finite[np.isfinite(finite)]
    first = float(finite[0]) if finite.size else 0.0
    if unit is None:
        unit = epoch_unit(first)
        if unit is not None and step * unit.factor > SLOWEST_S:
            unit = None
        if unit is not None:
            notes.history.append(
                say(
                    "The numbers of {column} are counts of {unit} since 1970",
                    column=name,
                    unit=str(unit),
                )
            )
    if unit is None:
        whole = bool(np.array_equal(finite, np.round(finite)))
        if whole or not FASTEST_S <= step <= SLOWEST_S:
            raise TraceFault(
                f"nothing says in which unit the times of {name} are"
                + (", and whole numbers may be a count of readings" if whole else ""),
                "Head the column with its unit, or state it with time_unit or as a sample rate; "
                "take it from the papers of the logger",
            )
        notes.note(
            say("assumed unit"),
            say(
                "the times of {column} are taken as seconds, because readings {step} s apart are "
                "plausible; nothing in the file says so",
                column=name,
                step=figure(step, ".3g"),
            ),
        )
        return values, "s", False
    clock = epoch_unit(first) is not None
    if clock:  # whole numbers this large lose their decimals when they are scaled first
        notes.history.append(
            say(
                "The clock of the first reading is {first} {unit}",
                first=figure(first, ".15g"),
                unit=str(unit),
            )
        )
        # A float holds such a count to a quarter of a microsecond.
        return np.round((values - first) * unit.factor, 6), str(unit), True
    return (values if unit.factor == 1.0 else values * unit.factor), str(unit), False


def _grouped_to_seconds(
    values: NDArray[np.float64], step: float, unit: Unit | None, name: Said, notes: RawNotes
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
    other, other_factor = next(one for one in trials.items() if one[0] != text)
    notes.note(
        say("assumed time stamps"),
        say(
            "{column} holds whole numbers with marks between thousands (1.003.000 stands for "
            "1003000); they are taken as {unit}, because readings are then {step} s apart, against "
            "{other_step} s as {other}",
            column=name,
            unit=text,
            step=figure(step * factor, ".3g"),
            other_step=figure(step * other_factor, ".3g"),
            other=other,
        ),
    )
    return values * factor, text, False


def compare_rate(time_s: NDArray[np.float64], rate_hz: float | None, notes: RawNotes) -> None:
    """Note where the stated sample rate and the times of the file disagree."""
    if rate_hz is None or time_s.size < 3:
        return
    sample = time_s[np.isfinite(time_s)]
    if sample.size < 3 or sample[-1] <= sample[0]:
        return
    seen = (sample.size - 1) / (sample[-1] - sample[0])
    if not 0.95 < seen / rate_hz < 1.05:
        notes.note(
            say("sample rate"),
            say(
                "the file states {stated} readings per second, its times show {seen}; the times "
                "were used",
                stated=figure(rate_hz, "g"),
                seen=figure(seen, ".4g"),
            ),
        )
