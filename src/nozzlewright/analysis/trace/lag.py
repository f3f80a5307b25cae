"""The lag of a gauge: how large it is, and the trace as a gauge without it would show it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from nozzlewright.analysis.trace.falls import Falls

Floats = NDArray[np.float64]

STATED_SHARE = 0.1
"""Standard uncertainty of a stated time constant, as a share of it; common practice, no source."""
MOST_FALLS = 24
"""Falls that are looked at; more would not tell more."""
LEAST_LAG_S = 0.002
"""Lag below which a trace is taken as it is."""
COARSE_INTERVAL_S = 0.003
"""Sampling interval beyond which the falls are over between two samples, lag or not."""
STEEP = 0.6
"""Share of its steepest slope from which a fall is still driven by the open needle."""
RESOLVED_SAMPLES = 2.5
"""Lag in samples from which it can be undone."""


def gauge_lag(
    time_constant_s: float | None,
    time_s: Floats,
    pressure: Floats,
    falls: Falls,
    tail_s: Floats,
    interval_s: float,
) -> tuple[float, float]:
    """Return the gauge's first-order lag and its standard uncertainty, [s].

    Parameters
    ----------
    time_constant_s : float or None
        As stated for the gauge; then nothing is read off the trace
    time_s, pressure : ndarray of shape (N,)
        The recording, [s] and [Pa]
    falls : Falls
        The openings
    tail_s : ndarray of shape (E,)
        How long each fall takes to end after it was steepest, [s]
    interval_s : float
        Sampling interval, [s]

    Notes
    -----
    A lagging gauge shows p with p + T dp/dt equal to the pressure. After the needle has seated,
    the pressure is a straight line for a while, so that p = a + R t - T dp/dt holds there, and T
    follows by least squares over all falls, each with an a and R of its own. Falls that end
    within a sample or two bound the lag instead: from six tenths of its steepest slope to the
    slope of the next rise, a fall takes about 3 T (from ln(0.6 / 0.03)).
    """
    if time_constant_s is not None:
        return time_constant_s, STATED_SHARE * time_constant_s
    if tail_s.size == 0:
        return 0.0, 0.0
    tail = float(np.median(tail_s))
    if tail <= 4.0 * interval_s:
        high = (tail + interval_s) / 3.0
        if interval_s > COARSE_INTERVAL_S:
            # So seldom sampled, the end of a fall tells nothing of a lag of one or two intervals.
            high = 2.0 * interval_s
        return 0.5 * high, high / np.sqrt(12.0)
    fitted = _fitted(time_s, pressure, falls)
    if fitted is None:
        return tail / 3.0, tail / 3.0 / np.sqrt(12.0)
    return fitted, 0.15 * fitted


def _fitted(time_s: Floats, pressure: Floats, falls: Falls) -> float | None:
    """Return the lag that makes a straight line of the pressure after each fall."""
    chosen = np.unique(np.linspace(0, len(falls) - 1, MOST_FALLS).astype(np.intp))
    top_over = np.concatenate((falls.top[1:], [pressure.size - 1]))
    product = square = 0.0
    for i in chosen.tolist():
        first, low = int(falls.top[i]), int(falls.bottom[i])
        step = -np.diff(pressure[first : low + 1])
        if step.size < 4:
            continue
        # A fall that the needle ends while it is steep says nothing of the gauge up to there.
        start = first + int(np.flatnonzero(step >= STEEP * np.max(step))[-1]) + 2
        stop = min(low + 2 * (low - start) + 4, int(top_over[i]) - 1, pressure.size - 2)
        if stop - start < 6:
            continue
        part = np.arange(start, stop)
        slope = (pressure[part + 1] - pressure[part - 1]) / (time_s[part + 1] - time_s[part - 1])
        t = time_s[part] - time_s[start]
        # Take line and constant out of both sides; what is left of them gives -T.
        t -= t.mean()
        shown = _off_line(t, pressure[part])
        slope = _off_line(t, slope)
        product += float(shown @ slope)
        square += float(slope @ slope)
    if square <= 0.0 or product >= 0.0:
        return None
    return -product / square


def _off_line(t: Floats, values: Floats) -> Floats:
    """Return values without their mean and their slope against centred times."""
    values = values - values.mean()
    return np.asarray(values - t * (t @ values) / (t @ t))


def without_lag(time_s: Floats, pressure: Floats, lag_s: float, interval_s: float) -> Floats:
    """Return p + T dp/dt, the slope taken over the last quarter of the lag, shape (N,), [Pa].

    A slope that looked ahead would show a fall before it comes.
    """
    reach = max(1, round(lag_s / 4.0 / interval_s))
    behind = np.maximum(np.arange(pressure.size) - reach, 0)
    span = np.maximum(time_s - time_s[behind], 1e-12)
    return np.asarray(pressure + lag_s * (pressure - pressure[behind]) / span)
