"""What the pretend sensor makes of the pressure: errors, noise, steps, clipping, drop-outs."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from nozzlewright.simulator.models import Array, SensorModel


def sampling_instants(
    sensor: SensorModel, duration_s: float, rng: np.random.Generator, *, first: int = 0
) -> tuple[Array, Array]:
    """Return true and nominal sampling instants, rising, shape (N,) each, [s].

    They begin with the sample of a number, counted from 0 at time zero.
    """
    period = 1.0 / sensor.rate_hz
    count = math.ceil(duration_s * sensor.rate_hz)
    nominal: Array = np.arange(first, first + count, dtype=np.float64) * period
    if sensor.jitter_s <= 0.0:
        return nominal, nominal
    shift = np.clip(sensor.jitter_s * rng.standard_normal(len(nominal)), -0.45 * period, None)
    shift = np.minimum(shift, 0.45 * period)
    return np.maximum(nominal + shift, 0.0), nominal


def hum_phase(rng: np.random.Generator) -> float:
    """Draw the phase of the mains, [rad]."""
    return float(rng.uniform(0.0, 2.0 * math.pi))


def as_shown(
    sensor: SensorModel,
    instants: Array,
    lagged_pa: Array,
    phase: float,
    rng: np.random.Generator,
) -> tuple[Array, int]:
    """Pressure as the sensor shows it, shape (N,), [Pa], and how many samples clip."""
    value = lagged_pa * (1.0 + sensor.gain_error) + sensor.zero_error_pa
    value = value + sensor.hum_pa * np.sin(2.0 * math.pi * sensor.hum_hz * instants + phase)
    value = value + sensor.noise_pa * rng.standard_normal(len(lagged_pa))
    # A transmitter shows a little below zero, and a little above its range, before it clips.
    low, high = -0.02 * sensor.range_pa, 1.0 * sensor.range_pa
    clipped = int(np.count_nonzero(value > high))
    value = np.clip(value, low, high)
    if sensor.bits is not None:
        step = sensor.range_pa / 2**sensor.bits
        value = np.round(value / step) * step
    return value, clipped


def as_sensed(
    sensor: SensorModel, instants: Array, lagged_pa: Array, rng: np.random.Generator
) -> tuple[Array, dict[str, Any]]:
    """Pressure as logged, shape (N,), [Pa], and what was done to it."""
    n = len(lagged_pa)
    value, clipped = as_shown(sensor, instants, lagged_pa, hum_phase(rng), rng)
    lost = np.zeros(n, dtype=bool)
    if sensor.dropout_share > 0.0 and n:
        length = max(1, round(sensor.dropout_length_s * sensor.rate_hz))
        for start in rng.integers(0, n, size=max(1, round(sensor.dropout_share * n / length))):
            lost[start : start + length] = True
        lost[0] = False
        if sensor.dropout_holds_last:
            kept = np.where(lost, 0, np.arange(n))
            value = value[np.maximum.accumulate(kept)]
        else:
            value[lost] = np.nan
    return value, {
        "clipped_samples": clipped,
        "lost_samples": int(np.count_nonzero(lost)),
        "zero_error_pa": sensor.zero_error_pa,
        "gain_error": sensor.gain_error,
        "noise_pa": sensor.noise_pa,
        "hum_pa": sensor.hum_pa,
    }
