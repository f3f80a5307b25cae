"""Where the lever delivers, where the pressure is released, and where it is left alone."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from nozzlewright.analysis.trace.falls import LONGEST_FALL_S, Falls, runs
from nozzlewright.analysis.trace.noise import Noise, middle_of

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]

BLOCK_S = 0.008
"""Length of the blocks to which the trace is averaged for this purpose."""
RETURN_S = 0.06
"""Shortest return of the lever between two strokes."""
SLOW_BLOCK_S = 0.03
"""Samples farther apart than this cannot part strokes by the return of the lever alone."""
LEAST_RATE_PA_PER_S = 5e5
"""Slowest delivery that is taken for a stroke, [Pa/s]."""
LONG_REACHES_S = 0.1, 0.4
"""Reaches over which the rate of strokes is taken that are too slow to be seen over a short one."""
RISE_S = 0.1
"""Time before a fall within which an opening's rise must show; longer where there is noise."""
QUIET_PA = 1e4
"""Noise in which the slowest strokes rise visibly within that time, [Pa]."""
CLEAR_OF_NOISE = 3.0
"""A stroke this many times quicker than the noise allows to be seen never dips into it."""


@dataclass(frozen=True)
class Blocks:
    """The trace averaged over short blocks, the falls of openings taken out."""

    time_s: Floats
    """Middle of each block, shape (K,), [s]."""
    pressure_pa: Floats
    """Mean pressure in it, shape (K,), [Pa]."""
    delivered_pa: Floats
    """Mean pressure with all earlier falls added back: rises only while the pump delivers."""
    first: Indices
    """First sample of each block."""
    interval_s: float
    samples: int
    """Samples in a block."""


@dataclass(frozen=True)
class Stretch:
    """Part of the trace, as blocks [start, stop)."""

    start: int
    stop: int


def split_openings(
    falls: Falls, pressure: Floats, time_s: Floats, noise: Noise
) -> tuple[Falls, Falls]:
    """Return (openings, other falls).

    An opening comes at the end of a rise, is over soon, does not empty the line, and is of a
    size and at a level that fits the others. What is left are releases, the settling of a
    valve that is being shut, and the like.
    """
    if len(falls) == 0:
        return falls, falls
    interval = _interval(time_s)
    long = time_s[falls.bottom] - time_s[falls.top] > max(LONGEST_FALL_S, 3.0 * interval)
    # A release empties the line: it goes on to nearly nothing without a pause.
    later = np.minimum(falls.bottom + max(1, round(0.02 / interval)), pressure.size - 1)
    left = np.minimum(pressure[later], falls.bottom_pa)
    emptied = left < 0.15 * falls.top_pa
    reach_s = RISE_S * min(max(noise.sigma_pa / QUIET_PA, 1.0), 5.0)
    risen = _rise_before(falls, pressure, max(3, round(reach_s / interval)))
    likely = ~(long | emptied) & (risen > max(3.0 * noise.sigma_pa, noise.step_pa))
    if likely.any():
        # Valves and unions make small falls at any level; a needle opens near one level.
        level = float(np.quantile(falls.top_pa[likely], 0.8))
        usual = float(np.quantile(falls.size_pa[likely & (falls.top_pa > 0.75 * level)], 0.75))
        likely &= (falls.top_pa > 0.7 * level) & (falls.size_pa > 0.25 * usual)
    return falls.take(likely), falls.take(~likely)


def _rise_before(falls: Falls, pressure: Floats, reach: int) -> Floats:
    """Return how far the pressure rose to each top since the fall before it, [Pa]."""
    before = np.concatenate(([0], falls.bottom[:-1]))
    start = np.maximum(before, falls.top - reach)
    steps = np.linspace(0.0, 1.0, 9)[:-1]
    index = start[:, None] + ((falls.top - start)[:, None] * steps).astype(np.intp)
    return np.asarray(falls.top_pa - pressure[index].min(axis=1))


def _interval(time_s: Floats) -> float:
    return float(time_s[-1] - time_s[0]) / max(time_s.size - 1, 1) or 1.0


def blocks_of(time_s: Floats, pressure: Floats, openings: Falls, interval_s: float) -> Blocks:
    """Return the trace in blocks, the openings' falls added back.

    Within a fall the addition grows with the fall itself, so that the sum stays level there.
    """
    samples = max(1, min(round(BLOCK_S / interval_s), pressure.size // 4))
    count = pressure.size // samples
    size = count * samples
    plain = pressure[:size].reshape(count, samples).mean(axis=1)
    mean = plain.copy()
    first = np.arange(count, dtype=np.intp) * samples
    time = 0.5 * (time_s[first] + time_s[first + samples - 1])
    added = np.zeros(count)
    if len(openings):
        # What each fall adds to the mean of each block: all of it after the bottom, and inside
        # the fall just what the pressure has lost so far.
        fall = openings.size_pa
        home = np.minimum(openings.bottom // samples, count - 1)
        np.add.at(added, np.minimum(home + 1, count - 1), np.where(home + 1 < count, fall, 0.0))
        added = np.cumsum(added)
        after = (home + 1) * samples - 1 - openings.bottom
        np.add.at(mean, home, fall * np.clip(after, 0, samples) / samples)
        longest = int(np.max(openings.bottom - openings.top)) + 1
        index = openings.top[:, None] + np.arange(longest)
        inside = (index <= openings.bottom[:, None]) & (index < size)
        index = np.minimum(index, size - 1)
        lost = np.where(inside, openings.top_pa[:, None] - pressure[index], 0.0)
        np.add.at(mean, (index // samples).ravel(), lost.ravel() / samples)
    return Blocks(
        time_s=time,
        pressure_pa=plain,
        delivered_pa=mean + added,
        first=first,
        interval_s=samples * interval_s,
        samples=samples,
    )


def _rate(values: Floats, time_s: Floats, reach: int) -> Floats:
    """Return the slope over +/- reach blocks, shape (K,)."""
    count = values.size
    ahead = np.minimum(np.arange(count) + reach, count - 1)
    behind = np.maximum(np.arange(count) - reach, 0)
    span = np.maximum(time_s[ahead] - time_s[behind], 1e-12)
    return (values[ahead] - values[behind]) / span


def delivering(blocks: Blocks, noise: Noise) -> tuple[list[Stretch], Floats]:
    """Return the stretches in which the pump delivers, and the rate of delivery.

    Returns
    -------
    strokes : list of Stretch
    rate : ndarray of shape (K,)
        Rise of the delivered pressure, [Pa/s]

    Notes
    -----
    Several scales: a short one that parts quick strokes, and longer ones for strokes too slow to
    stand clear of the noise of a shorter one, which would find them in pieces. A long one puts
    the edges of a stroke where its rate is a quarter of the usual.
    """
    count = blocks.time_s.size
    if count < 4:
        return [], np.zeros(count)
    step = blocks.interval_s
    grain = noise.sigma_pa / np.sqrt(blocks.samples)
    short = max(1, round(0.012 / step))
    rate = _rate(blocks.delivered_pa, blocks.time_s, short)
    # The calm half of the trace shows what noise, hum and steps do to the rate.
    calm = np.abs(rate - np.median(rate))
    floor = 1.4826 * float(np.quantile(calm, 0.3)) / 0.3853
    expected = grain * np.sqrt(2.0) / (2.0 * short * step)
    limit = max(LEAST_RATE_PA_PER_S, 5.0 * min(max(expected, 1e-9), 10.0 * floor + expected))
    active = rate > limit
    seen_from = limit
    for reach_s in LONG_REACHES_S:
        long = round(reach_s / step)
        if long <= short:
            continue
        slow_rate = _rate(blocks.delivered_pa, blocks.time_s, long)
        slow_limit = max(LEAST_RATE_PA_PER_S, limit * short / long)
        for start, stop in zip(*runs(slow_rate > slow_limit), strict=True):
            usual = middle_of(slow_rate[start:stop])
            if usual < CLEAR_OF_NOISE * seen_from:
                # Holes much shorter than the reach are noise: no pause could show in them.
                active[start:stop] = False
                for one in _stretches(slow_rate[start:stop] > 0.25 * usual, long // 2, 1):
                    active[start + one.start : start + one.stop] = True
        seen_from = slow_limit
    gap = max(1, round(RETURN_S / step))
    if step > SLOW_BLOCK_S:
        # Openings that run together look like a rough plateau: do not part it at each dip.
        gap = 3
    return _stretches(active, gap, max(1, round(0.016 / step))), rate


def _stretches(active: NDArray[np.bool_], gap: int, least: int) -> list[Stretch]:
    """Return runs of True, joined over short gaps and freed of specks."""
    where = np.flatnonzero(active)
    if where.size == 0:
        return []
    breaks = np.flatnonzero(np.diff(where) > gap)
    starts = where[np.concatenate(([0], breaks + 1))]
    stops = where[np.concatenate((breaks, [where.size - 1]))] + 1
    return [Stretch(int(a), int(b)) for a, b in zip(starts, stops, strict=True) if b - a >= least]
