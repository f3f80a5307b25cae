"""Each opening in numbers: lift-off and closing pressure between the samples."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from nozzlewright.analysis.trace.falls import Falls
from nozzlewright.analysis.trace.noise import Noise

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]

RAMP_S = 0.03
"""Time before lift-off over which the rise is taken as a straight line."""
AFTER_S = 0.012
"""Time after closing over which the next rise is taken as a straight line."""
SETTLE_S = 0.002
"""Time after a fall that its own end may still bend the line."""
BENT = 1.5
"""Scatter about a rise, over the noise, from which it is no straight line."""
FALL_SHOWS_S = 3e-4
FALL_SHOWS_DOUBT_S = 2e-4
"""Time from lift-off until the fall shows, with its standard uncertainty: a needle of 10-20 g
takes some tenths of a millisecond to clear its seat, and a sensor as long to follow (common
practice, no source)."""
MOST_SAMPLES = 96
"""Samples in a line at the most; more would only cost time."""


@dataclass(frozen=True)
class LiftOffs:
    """Openings in numbers, all arrays of shape (E,)."""

    time_s: Floats
    lift_off_pa: Floats
    """Pressure at lift-off as the gauge would have shown it at that instant, [Pa]."""
    closing_pa: Floats
    rate_pa_per_s: Floats
    """Rate of rise before lift-off, [Pa/s]."""
    standard_uncertainty_pa: Floats
    """Of the lift-off, from noise and from the gap between samples, [Pa]."""
    tail_s: Floats
    """Time from where the fall was steepest to its end, [s]; what a lagging gauge draws out."""
    ringing_pa: Floats
    """Swing of the line about the rise after closing, root mean square, [Pa]."""


def measure_openings(
    time_s: Floats, pressure: Floats, falls: Falls, noise: Noise, interval_s: float
) -> LiftOffs:
    """Return lift-off and closing of each opening.

    The top of a fall is a maximum of noisy samples (too high) that are a sampling interval apart
    (too low). Both biases go when the rise before it is fitted by a line and the line is read
    at lift-off: half an interval after the last sample on it, less the time that a fall takes
    to show. The closing pressure is read off
    the line of the next rise in the same way, which also smooths the ringing of the line.

    Parameters
    ----------
    time_s, pressure : ndarray of shape (N,)
        The recording, [s] and [Pa]
    falls : Falls
        The openings among its falls
    noise : Noise
        Its disturbances
    interval_s : float
        Median time between samples, [s]
    """
    count = len(falls)
    if count == 0:
        empty = np.empty(0)
        return LiftOffs(empty, empty, empty, empty, empty, empty, empty)
    fall = falls.size_pa
    edge = _last_on_top(pressure, falls, np.full(count, 4.0 * noise.sigma_pa))
    previous = np.concatenate(([0], falls.bottom[:-1]))
    settle = round(SETTLE_S / interval_s)
    ramp = _ramp_samples(pressure, edge, noise, interval_s)
    start = np.maximum(np.maximum(previous + settle, edge - ramp), 0)
    start = np.where(edge - start < 2, np.maximum(np.minimum(previous + 1, edge - 1), 0), start)
    slope, level, scatter, used = _lines(time_s, pressure, start, edge - 1, edge)
    bent = (scatter > BENT * noise.sigma_pa) & (used >= 8)
    if bent.any():
        # A stroke that has only just begun: what came before it is not its rise.
        start = np.where(bent, edge - np.maximum(used // 4, 5), start)
        slope, level, scatter, used = _lines(time_s, pressure, start, edge - 1, edge)
    # Is the edge itself still on the line, or has the fall begun before it?
    resid = pressure[edge] - level
    tolerance = 3.0 * np.maximum(noise.sigma_pa, np.minimum(scatter, 0.02 * fall)) + 0.5 * (
        np.abs(slope) * interval_s
    )
    on_line = resid > -tolerance
    lift_time = time_s[edge] + np.where(on_line, 0.5, -0.5) * interval_s - FALL_SHOWS_S
    slope = np.where(used >= 3, np.maximum(slope, 0.0), 0.0)
    lift = level + slope * (lift_time - time_s[edge])
    bare = used < 3
    lift = np.where(bare, falls.top_pa, lift)
    # Never above what was seen by more than noise and the gap between two samples allow.
    lift = np.minimum(lift, falls.top_pa + slope * interval_s + 2.0 * noise.sigma_pa)
    gap = np.where(
        bare,
        np.abs(falls.top_pa - pressure[np.maximum(falls.top - 1, 0)]),
        slope * interval_s,
    )
    uncertainty = np.hypot(noise.sigma_pa * 2.0 / np.sqrt(np.maximum(used, 1)), gap / np.sqrt(12.0))
    closing, ringing = _closings(time_s, pressure, falls, noise, interval_s)
    return LiftOffs(
        time_s=lift_time,
        lift_off_pa=lift,
        closing_pa=closing,
        rate_pa_per_s=slope,
        standard_uncertainty_pa=uncertainty,
        tail_s=_tails(pressure, falls) * interval_s,
        ringing_pa=ringing,
    )


def _last_on_top(pressure: Floats, falls: Falls, tolerance: Floats) -> Indices:
    """Return the last sample before each fall that still lies within tolerance of the top."""
    width = int(np.max(falls.bottom - falls.top)) + 1
    index = np.minimum(falls.top[:, None] + np.arange(width), falls.bottom[:, None])
    near = pressure[index] >= (falls.top_pa - tolerance)[:, None]
    # Only the unbroken run from the top counts: ringing may come back up later.
    unbroken = np.logical_and.accumulate(near, axis=1)
    length = np.minimum(unbroken.sum(axis=1), falls.bottom - falls.top + 1)
    return np.asarray(falls.top + length - 1, dtype=np.intp)


def _ramp_samples(pressure: Floats, edge: Indices, noise: Noise, interval_s: float) -> Indices:
    """Return how many samples before each lift-off its line is to span.

    A quick rise bends and rises by more than the noise from sample to sample: a few samples say
    all. A slow one is straight and lies in the noise: more samples are better. The number makes
    the error from noise, 2 sigma / sqrt(n), about as large as the one from the gap between
    samples, rate x interval / sqrt(12).
    """
    most = int(np.clip(round(RAMP_S / interval_s), 5, MOST_SAMPLES))
    back = np.maximum(edge - 4, 0)
    rise = (pressure[edge] - pressure[back]) / np.maximum(edge - back, 1)
    wanted = (7.0 * noise.sigma_pa / np.maximum(rise, 1e-6 + 0.05 * noise.sigma_pa)) ** 2
    return np.clip(np.ceil(wanted), 5, most).astype(np.intp)


def _lines(
    time_s: Floats, pressure: Floats, start: Indices, stop: Indices, at: Indices
) -> tuple[Floats, Floats, Floats, Indices]:
    """Return least-squares lines over [start, stop], read at sample `at`.

    Returns
    -------
    slope, level, scatter : ndarray of shape (E,)
        Slope [Pa/s], value at `at` [Pa], residual standard deviation [Pa]
    used : ndarray of shape (E,)
        Samples in the line
    """
    width = max(int(np.max(stop - start)) + 1, 1)
    index = start[:, None] + np.arange(width)
    inside = index <= stop[:, None]
    index = np.clip(index, 0, pressure.size - 1)
    weight = inside.astype(np.float64)
    t = (time_s[index] - time_s[at][:, None]) * weight
    p = pressure[index]
    used = inside.sum(axis=1)
    n = np.maximum(used, 1)
    t_mean = t.sum(axis=1) / n
    p_mean = (p * weight).sum(axis=1) / n
    dt = (t - t_mean[:, None]) * weight
    dp = (p - p_mean[:, None]) * weight
    square = (dt * dt).sum(axis=1)
    slope = np.where(square > 0.0, (dt * dp).sum(axis=1) / np.where(square > 0.0, square, 1.0), 0.0)
    level = p_mean - slope * t_mean
    residual = (dp - slope[:, None] * dt) * weight
    scatter = np.sqrt((residual * residual).sum(axis=1) / np.maximum(used - 2, 1))
    return slope, level, scatter, used


def _tails(pressure: Floats, falls: Falls) -> Floats:
    """Return how many samples each fall goes on after it was last near its steepest."""
    width = max(int(np.max(falls.bottom - falls.top)), 1)
    index = np.minimum(falls.top[:, None] + np.arange(width + 1), falls.bottom[:, None])
    step = -np.diff(pressure[index], axis=1)
    steep = step >= 0.6 * np.max(step, axis=1, keepdims=True)
    last = width - np.argmax(steep[:, ::-1], axis=1)
    return np.asarray(falls.bottom - falls.top - last, dtype=np.float64).clip(0.0)


def _closings(
    time_s: Floats, pressure: Floats, falls: Falls, noise: Noise, interval_s: float
) -> tuple[Floats, Floats]:
    """Return closing pressure and ringing of each opening."""
    following = np.concatenate((falls.top[1:], [pressure.size - 1]))
    length = int(np.clip(round(AFTER_S / interval_s), 3, MOST_SAMPLES))
    start = np.minimum(falls.bottom + 1, pressure.size - 1)
    stop = np.minimum(start + length, following - 1)
    slope, level, scatter, used = _lines(time_s, pressure, start, stop, falls.bottom)
    # The needle seats between two samples: half an interval before the lowest on the average.
    level = level - 0.5 * interval_s * np.clip(slope, 0.0, None)
    ringing = np.where(used >= 6, scatter, 0.0)
    rings = ringing > np.maximum(3.0 * noise.sigma_pa, 0.03 * falls.size_pa)
    # A line through ringing finds the middle; without ringing the bottom itself is the better
    # witness, freed of noise by the line but never above what was seen.
    calm = np.minimum(level, falls.bottom_pa + 1.2 * noise.sigma_pa)
    closing = np.where(rings, np.maximum(level, falls.bottom_pa), calm)
    closing = np.where(used >= 3, closing, falls.bottom_pa)
    return closing, ringing
