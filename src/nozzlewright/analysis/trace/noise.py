"""What the signal carries beside pressure: noise, steps, mains hum, clipping."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

MOST_HUM_SWING = 0.08
"""Swing in a tenth of a second, as a share of the highest pressure, above which it is no hum."""
MOST_HUM_INTERVAL_S = 0.004
"""Sampling interval up to which hum of 60 Hz shows as what it is."""
LEAST_CALM_S = 0.5
"""Shortest calm stretch that can tell hum from noise."""
_CHUNK = 256
_CHUNKS = 32
_MAD_TO_SD = 1.4826
"""Standard deviation over median absolute deviation of normal noise."""


@dataclass(frozen=True)
class Noise:
    """Disturbances of one recording."""

    sigma_pa: float
    """Standard deviation of one sample about the smooth pressure, [Pa]."""
    step_pa: float
    """Smallest step between neighbouring values, [Pa]; 0 where none shows."""
    clip_pa: float | None
    """Value at which the top is cut off, [Pa]; None where it is not."""

    @property
    def threshold_pa(self) -> float:
        """Smallest change from one sample to another that noise does not explain, [Pa]."""
        return max(7.0 * self.sigma_pa, 2.5 * self.step_pa)


def middle_of(values: NDArray[np.float64]) -> float:
    """Return the median of a few values; :func:`numpy.median` takes longer to start than this."""
    ordered = np.sort(values)
    return float(ordered[(ordered.size - 1) // 2] + ordered[ordered.size // 2]) / 2.0


def _chunks(pressure: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return evenly spaced stretches of the recording, shape (chunks, samples)."""
    size = pressure.size
    if size <= _CHUNK * _CHUNKS:
        length = min(_CHUNK, size)
        count = size // length
        return pressure[: count * length].reshape(count, length)
    starts = np.linspace(0, size - _CHUNK, _CHUNKS).astype(np.intp)
    return np.stack([pressure[start : start + _CHUNK] for start in starts])


def noise_of(pressure: NDArray[np.float64]) -> Noise:
    """Return what disturbs a recording.

    Parameters
    ----------
    pressure : ndarray of shape (N,)
        Pressure as shown, [Pa]

    Notes
    -----
    The noise is read off second differences, in which a steady ramp cancels (for white noise
    their standard deviation is sqrt(6) of one sample's); the median over many stretches keeps
    openings out of it. Quantisation puts step / sqrt(12) under it (JCGM 100:2008, F.2.2.1).
    """
    if pressure.size < 8:
        return Noise(0.0, 0.0, None)
    parts = _chunks(pressure)
    first = np.diff(parts, axis=1)
    sizes = np.abs(first)
    scale = float(np.max(np.abs(parts))) or 1.0
    moves = sizes[sizes > 1e-7 * scale]
    step = float(np.min(moves)) if moves.size else 0.0
    # Values that are not on a grid have no step: their smallest move is an accident.
    if step > 0.0 and moves.size > 50:
        near = moves[moves < 20.0 * step] / step
        if near.size < 20 or float(np.mean(np.abs(near - np.round(near)) < 0.15)) < 0.8:
            step = 0.0
    second = np.abs(np.diff(first, axis=1))
    spreads = _MAD_TO_SD * np.median(second, axis=1) / np.sqrt(6.0)
    lively = spreads[spreads > 0.0]
    sigma = float(np.median(lively)) if lively.size else 0.0
    sigma = max(sigma, step / np.sqrt(12.0))
    return Noise(sigma, step, _clip_level(pressure, sigma, step))


def _clip_level(pressure: NDArray[np.float64], sigma: float, step: float) -> float | None:
    """Return the level at which the top of the recording is cut off, if it is.

    A clipped top repeats the greatest value exactly, run after run; a held pressure does so only
    where there is neither noise nor decay, and then the approach to it is not a steep ramp.
    """
    top = float(np.max(pressure))
    where = np.flatnonzero(pressure >= top - 1e-9 * abs(top))
    if where.size < 4 or top <= 0.0:
        return None
    breaks = np.flatnonzero(np.diff(where) > 1)
    starts = where[np.concatenate(([0], breaks + 1))]
    ends = where[np.concatenate((breaks, [where.size - 1]))]
    lengths = ends - starts + 1
    # A ramp that goes on after it has met the top would have climbed on by several steps.
    back = np.minimum(lengths, starts)
    slope = (top - pressure[starts - back]) / np.maximum(back, 1)
    missed = (lengths >= 4) & (slope * lengths > 4.0 * max(3.0 * sigma, step))
    # Noise that vanishes exactly at the top for many samples is cut off, ramp or not.
    silent = (sigma > 1.2 * step) & (lengths >= 12)
    return top if bool((missed | silent).any()) else None


@dataclass(frozen=True)
class Hum:
    """A sine that the mains put on the signal."""

    frequency_hz: float
    amplitude_pa: float
    phase_rad: float

    def at(self, time_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the hum at the given times, shape (N,), [Pa]."""
        angle = 2.0 * np.pi * self.frequency_hz * time_s + self.phase_rad
        return self.amplitude_pa * np.cos(angle)


def mains_hum(
    time_s: NDArray[np.float64], pressure: NDArray[np.float64], sigma_pa: float, interval_s: float
) -> Hum | None:
    """Return the mains hum of a recording, read off its longest calm stretch.

    Parameters
    ----------
    time_s, pressure : ndarray of shape (N,)
        The recording, [s] and [Pa]
    sigma_pa : float
        Noise of one sample, [Pa]
    interval_s : float
        Sampling interval, [s]

    Notes
    -----
    The amplitude must stand out of the noise floor of the stretch's own spectrum and lie within
    0.6 Hz of 50 or 60 Hz.
    """
    if interval_s > MOST_HUM_INTERVAL_S:
        return None  # hum would fold over; nothing can be told
    start, stop = _calm(pressure, interval_s)
    count = stop - start
    if count * interval_s < LEAST_CALM_S:
        return None
    if not _hum_shows(pressure[start:stop], interval_s):
        return None
    t = time_s[start:stop]
    centred = np.linspace(-1.0, 1.0, count)
    basis = np.polynomial.legendre.legvander(centred, 3)
    residual = pressure[start:stop] - basis @ np.linalg.lstsq(basis, pressure[start:stop])[0]
    power = np.abs(np.fft.rfft(residual * np.hanning(count))) ** 2
    frequency = np.fft.rfftfreq(count, interval_s)
    floor = float(np.median(power[(frequency > 10.0) & (frequency < 200.0)]))
    best: Hum | None = None
    for mains in (50.0, 60.0):
        near = np.flatnonzero(np.abs(frequency - mains) < max(0.6, 1.5 / (count * interval_s)))
        peak = int(near[np.argmax(power[near])])
        if power[peak] < 24.0 * max(floor, 1e-30):
            continue
        hum = _fit_sine(t, residual, float(frequency[peak]), 1.0 / (count * interval_s))
        if hum.amplitude_pa > 0.6 * sigma_pa and (
            best is None or hum.amplitude_pa > best.amplitude_pa
        ):
            best = hum
    return best


def _hum_shows(calm: NDArray[np.float64], interval_s: float) -> bool:
    """Return whether a line at 50 or 60 Hz may stand out: a quick look at a few seconds.

    Means over about a millisecond keep the look short; first differences take the decay out.
    """
    samples = max(1, round(0.001 / interval_s))
    count = min(calm.size // samples, 4096)
    mean = calm[: count * samples].reshape(count, samples).mean(axis=1)
    power = np.abs(np.fft.rfft(np.diff(mean) * np.hanning(count - 1))) ** 2
    step = 1.0 / ((count - 1) * samples * interval_s)
    wide = max(1, round(0.6 / step))
    for mains in (50.0, 60.0):
        place = round(mains / step)
        line = float(np.max(power[max(place - wide, 0) : place + wide + 1], initial=0.0))
        around = power[round(0.7 * place) : round(1.3 * place)]
        if around.size and line > 8.0 * float(np.median(around)):
            return True
    return False


def _calm(pressure: NDArray[np.float64], interval_s: float) -> tuple[int, int]:
    """Return the longest stretch [start, stop) in which nothing happens, eight seconds at most.

    Means over a tenth of a second hold whole cycles of 50 and of 60 Hz, so hum cancels in them.
    """
    samples = max(1, round(0.1 / interval_s))
    count = pressure.size // samples
    if count < 4:
        return 0, 0
    mean = pressure[: count * samples].reshape(count, samples).mean(axis=1)
    still = np.abs(np.diff(mean)) < max(0.005 * float(np.max(mean)), 1e3)
    edges = np.flatnonzero(np.diff(np.concatenate(([False], still, [False])).astype(np.int8)))
    if edges.size == 0:
        return 0, 0
    longest = int(np.argmax(edges[1::2] - edges[::2]))
    first, last = int(edges[2 * longest]), int(edges[2 * longest + 1]) + 1
    # The ends of a rest may still hold the stroke before it or the release after it.
    first, last = first + 1, last - 1
    last = max(min(last, first + 80), first)
    # Steady chatter keeps its mean as well as a rest does, but swings as no hum could.
    calm = pressure[first * samples : last * samples].reshape(-1, samples)
    if calm.size and float(np.median(np.ptp(calm, axis=1))) > MOST_HUM_SWING * float(np.max(mean)):
        return 0, 0
    return first * samples, last * samples


def _fit_sine(
    time_s: NDArray[np.float64], residual: NDArray[np.float64], start_hz: float, width_hz: float
) -> Hum:
    """Return the least-squares sine near a frequency, by golden search over the frequency."""

    def fit(frequency: float) -> tuple[float, float, float]:
        angle = 2.0 * np.pi * frequency * time_s
        basis = np.column_stack((np.cos(angle), np.sin(angle)))
        (a, b), *_ = np.linalg.lstsq(basis, residual, rcond=None)
        rest = residual - basis @ np.array([a, b])
        return float(rest @ rest), float(a), float(b)

    grid = np.linspace(start_hz - width_hz, start_hz + width_hz, 21)
    for _ in range(3):
        costs = [fit(float(value))[0] for value in grid]
        centre = float(grid[int(np.argmin(costs))])
        half = float(grid[1] - grid[0])
        grid = np.linspace(centre - half, centre + half, 9)
    frequency = float(grid[4])
    _, a, b = fit(frequency)
    return Hum(frequency, float(np.hypot(a, b)), float(np.arctan2(-b, a)))
