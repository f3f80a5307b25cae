"""From raw columns to a recording: every repair is counted and stated, nothing is filled in.

What cannot be used is taken out, never guessed: a hole stays a hole, and the analysis sees it as
a step in time.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from nozzlewright.capture import Recording
from nozzlewright.edge.intake.headings import Unit
from nozzlewright.measurement import Caution
from nozzlewright.measurement.units import STANDARD_ATMOSPHERE
from nozzlewright.said import Said, figure, say

OVERFLOW_VALUES = frozenset({
    999.0, 999.9, 9999.0, 9999.9, 9999.99, 99999.0, 99999.9, 99999.99, 999999.0, 9999999.0,
    32767.0, 32768.0, 65535.0, 65536.0, 8388607.0, 16777215.0, 2147483647.0, 4294967295.0,
    -999.0, -999.9, -9999.0, -9999.9, -99999.0, -999999.0, -32768.0, -2147483648.0,
})  # fmt: skip
"""Numbers that loggers write where they have none: all nines, and the ends of integer types."""
BEYOND_ANY_PRESSURE = 1e15
"""No pressure in any unit here is larger; loggers write 1e30 or 1e38 for overflow."""
HIGHEST_PRESSURE_PA = 6e7
"""Beyond the gauges of hand-lever rigs (commonly 400 or 600 bar), [Pa]; common practice."""
LONGEST_USABLE_S = 1e7
"""Four months; what spans more is no session but a damaged time."""
HIGHEST_USABLE_PA = 1e9
"""Ten thousand bar; no gauge of any bench shows more."""
GAP_FACTOR = 3.0
"""A step in time that is this many times the usual one is a gap."""
JITTER_SHARE = 0.2
"""Steps that vary by more than this share of the usual one are called jitter."""
EPOCH_FROM_S = 1e8
"""Times beyond three years are clock readings, not times since the start of a recording."""


@dataclass
class RawTrace:
    """Two columns as they were read, with what was seen on the way."""

    time_s: NDArray[np.float64]
    """Shape (N,), [s]; NaN where a cell held no time."""
    pressure: NDArray[np.float64]
    """Shape (N,), [unit]; NaN where a cell held no pressure."""
    unit: Unit
    history: list[str] = field(default_factory=list)
    cautions: list[Caution] = field(default_factory=list)
    instrument: str = ""
    missing: str = ""
    """What stood where numbers were missing, in words: ``2 x 'OL', 3 empty``."""
    holes_s: NDArray[np.float64] = field(default_factory=lambda: np.empty(0))
    """Times of the last reading before each hole, [s]."""
    clock: bool = False
    """True where the times are readings of a clock, so that only differences count."""


class TraceFault(ValueError):
    """Why two columns make no recording, with what to do."""

    def __init__(self, what: str, remedy: str) -> None:
        super().__init__(what)
        self.what = what
        self.remedy = remedy


def mended(raw: RawTrace, *, source: str, digest: str) -> Recording:
    """Return a recording, with a line of history and a caution for each repair.

    Raises
    ------
    TraceFault
        If too little is left, time stands still, or two recordings are mixed up in one file.
    """
    raw = _without_overflow(raw)
    raw = _without_holes(raw)
    raw = _in_order(raw)
    if raw.time_s.size < 2:
        raise TraceFault(
            f"only {raw.time_s.size} usable reading is in it",
            "Check that the file was written to its end",
        )
    raw = _from_zero(raw)
    _look_at_steps(raw)
    time_s, pressure = raw.time_s, raw.pressure
    if raw.unit.factor != 1.0:
        pressure = pressure * raw.unit.factor
    if raw.unit.absolute:
        pressure = pressure - STANDARD_ATMOSPHERE
        _note(
            raw,
            say("absolute pressure"),
            say(
                "one standard atmosphere (1.01325 bar) was subtracted from an absolute pressure; "
                "the weather's share of it, some 0.03 bar, is not known"
            ),
        )
    if not (pressure.min() > -HIGHEST_USABLE_PA and pressure.max() < HIGHEST_USABLE_PA):
        raise TraceFault(
            "pressures beyond any gauge are in it", "Check the unit of the pressure column"
        )
    if time_s[-1] - time_s[0] > LONGEST_USABLE_S:
        raise TraceFault(
            f"the readings span {time_s[-1] - time_s[0]:.3g} s, longer than any bench session",
            "Check the unit of the time column, and its last rows for a damaged time",
        )
    raw.history.append(
        say(
            "{count} readings over {time} s",
            count=time_s.size,
            time=figure(time_s[-1] - time_s[0], ".6g"),
        )
    )
    return Recording(
        time_s=time_s,
        pressure_pa=pressure,
        source=source,
        digest=digest,
        instrument=raw.instrument,
        history=tuple(raw.history),
        cautions=tuple(dict.fromkeys(raw.cautions)),
    )


def _note(raw: RawTrace, name: Said, text: Said) -> None:
    raw.history.append(say("{text:capital}", text=text))
    raw.cautions.append(Caution(name, text))


def _places(number: int) -> Said:
    return say("1 place") if number == 1 else say("{count} places", count=number)


def _readings(number: int) -> Said:
    return say("1 reading") if number == 1 else say("{count} readings", count=number)


def _runs(mask: NDArray[np.bool_]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return first and one-past-last index of each run of true."""
    edges = np.diff(mask.astype(np.int8), prepend=0, append=0)
    return np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)


def _without_overflow(raw: RawTrace) -> RawTrace:
    """Turn overflow marks that are numbers into missing ones."""
    pressure = raw.pressure
    with np.errstate(invalid="ignore"):
        low, high = np.nanmin(pressure, initial=0.0), np.nanmax(pressure, initial=0.0)
    found: dict[float, int] = {}
    bad = np.zeros(0, dtype=bool)
    if not (low > -BEYOND_ANY_PRESSURE and high < BEYOND_ANY_PRESSURE):
        bad = np.isinf(pressure) | (np.abs(pressure) >= BEYOND_ANY_PRESSURE)
        values, counts = np.unique(pressure[bad], return_counts=True)
        found = dict(zip(values.tolist(), counts.tolist(), strict=True))
    for value in sorted(v for v in OVERFLOW_VALUES if low <= v <= high):
        same = pressure == value
        if not same.any():
            continue
        outlying = _stands_out(pressure, same, value, raw.unit)
        if outlying.any():
            found[value] = int(outlying.sum())
            bad = outlying if bad.size == 0 else bad | outlying
    if not found:
        return raw
    first = float(raw.time_s[int(np.argmax(bad))])
    listed = ", ".join(f"{count} x {value:g}" for value, count in list(found.items())[:5])
    starts, stops = _runs(bad)
    number = int(bad.sum())
    _note(
        raw,
        say("overflow"),
        say(
            "{marks} ({values}) in {places}, first at {time} s, at most {most} in a row; they were "
            "taken out",
            marks=say("1 overflow mark")
            if number == 1
            else say("{count} overflow marks", count=number),
            values=listed,
            places=_places(starts.size),
            time=figure(first, ".6g"),
            most=int((stops - starts).max()),
        ),
    )
    pressure = pressure.copy()
    pressure[bad] = np.nan
    return replace(raw, pressure=pressure)


def _stands_out(
    pressure: NDArray[np.float64], same: NDArray[np.bool_], value: float, unit: Unit
) -> NDArray[np.bool_]:
    """Return which runs of one value leap away from the readings on both of their sides.

    A value that a gauge may show (9999 kPa is 100 bar) has to leap on both; one beyond any
    hand pump, or below zero, may also stand at the beginning or the end.
    """
    out = np.zeros(pressure.size, dtype=bool)
    usable = np.flatnonzero(np.isfinite(pressure) & ~np.isin(pressure, list(OVERFLOW_VALUES)))
    if usable.size == 0:
        return out
    starts, stops = _runs(same)
    before = np.searchsorted(usable, starts) - 1
    after = np.searchsorted(usable, stops)
    sides = np.stack([
        np.where(before >= 0, pressure[usable[np.maximum(before, 0)]], np.nan),
        np.where(after < usable.size, pressure[usable[np.minimum(after, usable.size - 1)]], np.nan),
    ])  # fmt: skip
    share = sides / value
    known = np.isfinite(share)
    impossible = value < 0.0 or value * unit.factor > HIGHEST_PRESSURE_PA
    open_side = ~known if impossible else np.zeros_like(known)
    leaps = ((share < 0.67) | open_side).all(axis=0) | ((share > 1.5) | open_side).all(axis=0)
    for start, stop in zip(starts[leaps], stops[leaps], strict=True):
        out[start:stop] = True
    return out


def _without_holes(raw: RawTrace) -> RawTrace:
    """Take out readings that miss their time or their pressure."""
    good = np.isfinite(raw.time_s)
    np.logical_and(good, np.isfinite(raw.pressure), out=good)
    if good.all():
        return raw
    missing = int(good.size - np.count_nonzero(good))
    if missing == good.size:
        raise TraceFault(
            f"none of its {good.size} rows holds both a time and a pressure"
            + (f" ({raw.missing})" if raw.missing else ""),
            "Check that the right columns are named and that the sensor was connected",
        )
    starts, stops = _runs(~good)
    kept = np.flatnonzero(good)
    before = np.searchsorted(kept, starts) - 1
    after = np.searchsorted(kept, stops)
    inner = (before >= 0) & (after < kept.size)
    spans = raw.time_s[kept[after[inner]]] - raw.time_s[kept[before[inner]]]
    longest = float(np.abs(spans).max(initial=0.0))
    first = raw.time_s[kept[max(int(before[0]), 0)]]
    _note(
        raw,
        say("drop-out"),
        say(
            "{readings} in {places}, first near {time} s; the longest hole is {longest} s; holes "
            "were left open",
            readings=say(
                "{missing} of {all} readings without a number ({marks})",
                missing=missing,
                all=good.size,
                marks=raw.missing,
            )
            if raw.missing
            else say(
                "{missing} of {all} readings without a number", missing=missing, all=good.size
            ),
            places=_places(starts.size),
            time=figure(first, ".6g"),
            longest=figure(longest, ".3g"),
        ),
    )
    return replace(
        raw,
        time_s=raw.time_s[good],
        pressure=raw.pressure[good],
        holes_s=raw.time_s[kept[before[inner]]],
    )


def _in_order(raw: RawTrace) -> RawTrace:
    """Mend time stamps that stand still or go back."""
    time_s = raw.time_s
    if time_s.size < 2:
        return raw
    steps = np.diff(time_s)
    if steps.min() > 0.0:
        return raw
    if not (steps > 0.0).any():
        raise TraceFault(
            "the time runs backwards" if steps.any() else "the time does not advance",
            "Check that the right column is taken for the time",
        )
    still = int(np.count_nonzero(steps == 0.0))
    back = np.flatnonzero(steps < 0.0)
    del steps
    # Stamps coarser than the sampling: most readings share theirs with a neighbour.
    if still > 0.4 * time_s.size and back.size == 0:
        return _spread(raw)
    return _sorted(raw, back)


def _sorted(raw: RawTrace, back: NDArray[np.intp]) -> RawTrace:
    """Drop readings that stand twice, and put blocks that were swapped in the order of time."""
    order = np.argsort(raw.time_s, kind="stable")
    time_s, pressure = raw.time_s[order], raw.pressure[order]
    double = np.zeros(order.size, dtype=bool)
    np.equal(time_s[1:], time_s[:-1], out=double[1:])
    firsts = np.maximum.accumulate(np.where(double, 0, np.arange(order.size)))
    other = double & (pressure != pressure[firsts])
    repeated = double & ~other
    if np.count_nonzero(other) > max(3, 0.01 * order.size):
        raise TraceFault(
            f"{np.count_nonzero(other)} time stamps carry two different pressures",
            "Two recordings may stand in one file, or the wrong column is taken for the time: "
            "split the file, or name the columns",
        )
    pieces = np.searchsorted(back, order[~double])  # the unbroken piece each reading came from
    if np.count_nonzero(np.diff(pieces)) > 4 * (back.size + 1):
        raise TraceFault(
            f"the time goes back at reading {int(back[0]) + 2} to where readings already are",
            "Two recordings stand in one file, or a clock was set back: split the file there",
        )
    if repeated.any():
        dropped = np.zeros(order.size, dtype=bool)
        dropped[order[repeated]] = True
        blocks, twice = _runs(dropped)[0].size, int(repeated.sum())
        _note(
            raw,
            say("repeated block"),
            say(
                "{twice} in the file, in {blocks}, the first from {time} s; one of each was kept",
                twice=say("1 reading stands twice")
                if twice == 1
                else say("{count} readings stand twice", count=twice),
                blocks=say("1 block") if blocks == 1 else say("{count} blocks", count=blocks),
                time=figure(time_s[repeated].min(), ".6g"),
            ),
        )
    if other.any():
        _note(
            raw,
            say("repeated time stamp"),
            say(
                "{readings} with the time stamp of another but a different pressure, first at "
                "{time} s; the first of each was kept",
                readings=_readings(int(other.sum())),
                time=figure(time_s[other].min(), ".6g"),
            ),
        )
    kept = order[~double]
    swaps = np.flatnonzero(np.diff(raw.time_s[np.sort(kept)]) < 0.0)
    if swaps.size:
        first = np.sort(kept)[swaps[0]]
        _note(
            raw,
            say("swapped block"),
            say(
                "the time goes back in {places}, first after {time} s (reading {number}); blocks "
                "were put in the order of time",
                places=_places(swaps.size),
                time=figure(raw.time_s[first], ".6g"),
                number=int(first) + 1,
            ),
        )
    return replace(raw, time_s=time_s[~double], pressure=pressure[~double])


def _spread(raw: RawTrace) -> RawTrace:
    """Spread readings that share a coarse time stamp evenly up to the next stamp."""
    time_s = raw.time_s
    starts = np.flatnonzero(np.diff(time_s, prepend=-np.inf) > 0.0)
    counts = np.diff(starts, append=time_s.size)
    stamps = time_s[starts]
    if stamps.size < 3:
        raise TraceFault(
            f"{time_s.size} readings share {stamps.size} time stamps",
            "Record with a finer clock, or state the sample rate",
        )
    jumps = np.diff(stamps)
    resolution = float(np.median(jumps))
    usual = resolution / float(np.median(counts[1:-1]))
    spacing = np.empty(stamps.size)
    spacing[:-1] = jumps / counts[:-1]
    # After a gap and at the end there is no next stamp to lean on: the usual spacing stands in.
    spacing[:-1][jumps > 1.5 * resolution] = usual
    spacing[-1] = usual
    spacing = np.minimum(spacing, np.append(jumps / counts[:-1], usual))
    begin = stamps.copy()
    if counts[0] < np.median(counts[1:-1]):  # the first stamp was entered midway
        spacing[0] = min(usual, spacing[0])
        begin[0] = stamps[1] - counts[0] * spacing[0]
    place = np.arange(time_s.size) - np.repeat(starts, counts)
    spread = np.repeat(begin, counts) + place * np.repeat(spacing, counts)
    _note(
        raw,
        say("coarse time stamps"),
        say(
            "time stamps stand {apart} s apart with about {count} readings to each; the readings "
            "were spread evenly ({usual} s apart), so the time of each is known to about {apart} s "
            "only",
            apart=figure(resolution, ".3g"),
            count=figure(resolution / usual, ".3g"),
            usual=figure(usual, ".3g"),
        ),
    )
    return replace(raw, time_s=spread)


def _from_zero(raw: RawTrace) -> RawTrace:
    """Count clock readings from the first one."""
    start = float(raw.time_s[0])
    if not raw.clock and abs(start) < EPOCH_FROM_S:
        return raw
    if start != 0.0:
        raw.history.append(
            say("Time is counted from the first reading (clock at {clock})", clock=_clock(start))
        )
    return replace(raw, time_s=raw.time_s - start, holes_s=raw.holes_s - start)


def _clock(seconds: float) -> str:
    if 0.0 <= seconds < EPOCH_FROM_S:
        hours, rest = divmod(seconds, 3600.0)
        minutes, second = divmod(rest, 60.0)
        return f"{int(hours):02d}:{int(minutes):02d}:{second:06.3f}"
    if abs(seconds) < 2e11:
        return str(np.datetime64(round(seconds * 1000), "ms")) + " UTC"
    return f"{seconds:g} s"


def _look_at_steps(raw: RawTrace) -> None:
    """Name gaps and jitter; both are kept as they are."""
    steps = np.diff(raw.time_s)
    # A median of a sample of steps is the usual step, at a tenth of the cost.
    sample = steps[:: max(1, steps.size // 4000)]
    usual = float(np.median(sample))
    longest = float(steps.max())
    if longest > GAP_FACTOR * usual:
        gaps = np.flatnonzero(steps > GAP_FACTOR * usual)
        # A hole that was named already is not a gap of the clock's.
        gaps = gaps[~np.isin(raw.time_s[gaps], raw.holes_s)]
        if gaps.size:
            _note(
                raw,
                say("drop-out"),
                say(
                    "{gaps} in time, first after {time} s, the longest {longest} s where {usual} s "
                    "is usual; gaps were left open",
                    gaps=say("1 gap") if gaps.size == 1 else say("{count} gaps", count=gaps.size),
                    time=figure(raw.time_s[gaps[0]], ".6g"),
                    longest=figure(steps[gaps].max(), ".3g"),
                    usual=figure(usual, ".3g"),
                ),
            )
    if steps.size >= 10:
        low, high = np.quantile(sample, [0.05, 0.95])
        if high - low > JITTER_SHARE * usual:
            _note(
                raw,
                say("jitter"),
                say(
                    "readings stand {low} to {high} s apart (usually {usual} s); each keeps its "
                    "own time",
                    low=figure(low, ".3g"),
                    high=figure(high, ".3g"),
                    usual=figure(usual, ".3g"),
                ),
            )
