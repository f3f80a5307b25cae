"""Sudden falls of pressure: the mark that an opening needle leaves on a trace."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from nozzlewright.analysis.trace.noise import Noise

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]

FALL_WINDOW_S = 0.004
"""Time within which an opening's fall shows: a nozzle empties the line's spring in 1-5 ms."""
QUICKEST_LEAK_PER_S = 0.15
"""Share of its pressure that a badly leaking line loses in a second; slow sampling must not take
that for a fall."""
LONGEST_FALL_S = 0.08
"""A fall that goes on for longer is a release, not an opening."""
LEAST_FALL_SHARE = 0.012
"""Smallest fall, as a share of the pressure, that counts as an opening."""
RINGING_S = 0.1
"""Time after a fall within which a long line may still ring."""
BEFORE_S = 0.01
"""Time before a fall over which the pump's rise is taken."""
LEAST_RAMP_PA_PER_S = 3e7
"""Rise that a pump may come to within an opening or two, [Pa/s]."""
HALF_SWING_S = 0.006
"""Longest rise of a line that rings."""
QUICKER = 6.0
"""How many times quicker than the pump's rise no pump becomes in a tenth of a second."""
SWING = 1.45
"""Time of a rise over that of the fall after it, below which both are one swing of the line."""


@dataclass(frozen=True)
class Falls:
    """Falls in the order of time; all arrays of shape (E,)."""

    top: Indices
    """Sample at which the pressure is highest before the fall."""
    bottom: Indices
    """Sample at which it is lowest after it."""
    top_pa: Floats
    bottom_pa: Floats

    def __len__(self) -> int:
        return int(self.top.size)

    @property
    def size_pa(self) -> Floats:
        """Size of each fall, [Pa]."""
        return self.top_pa - self.bottom_pa

    def take(self, keep: NDArray[np.bool_] | Indices) -> Falls:
        """Return some of the falls."""
        return Falls(self.top[keep], self.bottom[keep], self.top_pa[keep], self.bottom_pa[keep])


def window_samples(interval_s: float) -> int:
    """Return how many samples span the window in which a fall shows; at least one."""
    return max(1, round(FALL_WINDOW_S / interval_s))


def find_falls(time_s: Floats, pressure: Floats, noise: Noise, interval_s: float) -> Falls:
    """Return every sudden fall, openings and releases alike, ringing merged into its fall.

    Parameters
    ----------
    time_s, pressure : ndarray of shape (N,)
        The recording, [s] and [Pa]
    noise : Noise
        Its disturbances
    interval_s : float
        Median time between samples, [s]
    """
    span = window_samples(interval_s)
    if pressure.size <= 2 * span:
        return _none()
    drop = pressure[:-span] - pressure[span:]
    high = float(np.max(pressure))
    leak = QUICKEST_LEAK_PER_S * span * interval_s
    threshold = max(noise.threshold_pa, (0.004 + leak) * high)
    falling = drop > threshold
    starts, stops = runs(falling)
    if starts.size == 0:
        return _none()
    # A hole in the recording is not a fall: what happened in it is not known.
    hole = time_s[np.minimum(stops + span - 1, time_s.size - 1)] - time_s[starts]
    samples = stops - starts + span - 1
    sound = hole < 3.0 * interval_s * np.maximum(samples, 1) + 2.0 * interval_s
    starts, stops = starts[sound], stops[sound]
    if starts.size == 0:
        return _none()
    top = _argbest(pressure, starts, starts + span, lowest=False)
    ceiling = np.concatenate((starts[1:], [pressure.size - 1]))
    bottom_end = np.maximum(np.minimum(stops - 1 + 2 * span, ceiling), stops)
    bottom = _argbest(pressure, stops - 1, bottom_end, lowest=True)
    falls = Falls(top, bottom, pressure[top], pressure[bottom])
    big = falls.size_pa > np.maximum(threshold, LEAST_FALL_SHARE * falls.top_pa)
    return _merged(falls.take(big), time_s, pressure, interval_s)


def _none() -> Falls:
    empty = np.empty(0, dtype=np.intp)
    return Falls(empty, empty, np.empty(0), np.empty(0))


def runs(mask: NDArray[np.bool_]) -> tuple[Indices, Indices]:
    """Return first index and one past the last index of each run of True."""
    padded = np.flatnonzero(mask[1:] != mask[:-1]) + 1
    edges = np.concatenate(([0], padded, [mask.size]))
    first = 0 if mask[0] else 1
    return edges[first:-1:2], edges[first + 1 :: 2]


def _argbest(values: Floats, start: Indices, stop: Indices, *, lowest: bool) -> Indices:
    """Return the sample of the greatest or least value in each [start, stop], both included."""
    start = np.maximum(start, 0)
    stop = np.minimum(stop, values.size - 1)
    width = int(np.max(stop - start)) + 1
    index = np.minimum(start[:, None] + np.arange(width), stop[:, None])
    block = values[index]
    # The last of equal tops, the first of equal bottoms: next to the fall itself.
    if lowest:
        return np.asarray(index[np.arange(start.size), np.argmin(block, axis=1)])
    best = width - 1 - np.argmax(block[:, ::-1], axis=1)
    return np.asarray(index[np.arange(start.size), best])


def _merged(falls: Falls, time_s: Floats, pressure: Floats, interval_s: float) -> Falls:
    """Join what one opening left behind: the ringing of the line after it.

    Ringing swings about the closing pressure and dies away, a new lift-off happens where the last
    one did. So what soon follows a fall and stays well under its top is ringing; what stays but a
    little under it is ringing if it rises as no pump could: many times quicker than the pressure
    did before the fall, or no slower than it then falls.
    """
    if len(falls) < 2:
        return falls
    ramp = _ramps(falls, time_s, pressure, interval_s).tolist()
    tops, bottoms = time_s[falls.top].tolist(), time_s[falls.bottom].tolist()
    top_pa, bottom_pa = falls.top_pa.tolist(), falls.bottom_pa.tolist()
    first: list[int] = [0]
    lowest: list[int] = [0]
    for i in range(1, len(tops)):
        fall = top_pa[first[-1]] - bottom_pa[lowest[-1]]
        soon = tops[i] - bottoms[lowest[-1]] < RINGING_S
        short_of = (top_pa[first[-1]] - top_pa[i]) / fall
        size = (top_pa[i] - bottom_pa[i]) / fall
        rise_s = max(tops[i] - bottoms[i - 1], 1e-9)
        too_quick = 5.0 * interval_s < rise_s < HALF_SWING_S and (
            top_pa[i] - bottom_pa[i - 1] > QUICKER * ramp[first[-1]] * rise_s
        )
        swings = rise_s < SWING * (bottoms[i] - tops[i])
        rings = soon and (
            short_of > 0.45
            or (short_of > 0.15 and size < 0.65 and swings)
            or (short_of > 0.04 and size < 0.95 and too_quick)
        )
        # A swing just before a lift-off finds the top of the lift-off itself.
        same = tops[i] == tops[first[-1]]
        if not (rings or same):
            first.append(i)
            lowest.append(i)
        elif bottom_pa[i] < bottom_pa[lowest[-1]]:
            lowest[-1] = i
    keep, low = np.array(first), np.array(lowest)
    return Falls(falls.top[keep], falls.bottom[low], falls.top_pa[keep], falls.bottom_pa[low])


def _ramps(falls: Falls, time_s: Floats, pressure: Floats, interval_s: float) -> Floats:
    """Return how fast the pressure rose before each fall, at the least the slowest stroke."""
    before = np.concatenate(([0], falls.bottom[:-1]))
    start = np.maximum(before, falls.top - max(2, round(BEFORE_S / interval_s)))
    span = np.maximum(time_s[falls.top] - time_s[start], interval_s)
    return np.maximum((falls.top_pa - pressure[start]) / span, LEAST_RAMP_PA_PER_S)
