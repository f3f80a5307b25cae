"""The signal made fit to be read: drop-outs and spikes cut out, hum taken off, each said."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from nozzlewright.analysis.trace.noise import Noise
from nozzlewright.capture import Recording
from nozzlewright.measurement import Caution
from nozzlewright.said import figure, in_bar, joined, say

Floats = NDArray[np.float64]

LONGEST_DROP_OUT_S = 0.3
"""Longest loss of signal that is taken for one; what lasts longer is a fact about the line."""
FROZEN_SAMPLES = 16
"""Equal samples in a row from which a noisy signal is taken for frozen."""
FROZEN_GRID = 4
SLOW_INTERVAL_S = 0.02
"""Sampling slower than this does not resolve the fall of an opening."""


def mend(recording: Recording, noise: Noise) -> Recording:
    """Return the recording without drop-outs to zero, frozen stretches and spikes.

    Nothing is filled in: the samples go, and a line of history and a caution say which.
    """
    pressure, time_s = recording.pressure_pa, recording.time_s
    bad = np.zeros(pressure.size, dtype=np.bool_)
    notes: list[Caution] = []
    spikes = _spikes(pressure, noise)
    if spikes.size:
        bad[spikes] = True
        text = say("{count} lone sample(s) far off their neighbours left out", count=spikes.size)
        notes.append(Caution(say("spikes"), text))
    losses = _losses(time_s, pressure, noise)
    for start, stop in losses:
        bad[start:stop] = True
    if losses:
        longest = max(time_s[min(b, time_s.size - 1)] - time_s[a] for a, b in losses)
        notes.append(
            Caution(
                say("drop-out"),
                say(
                    "the signal is lost {count} time(s), first at {start} s, for {longest} ms at "
                    "the longest; nothing is filled in",
                    count=len(losses),
                    start=figure(time_s[losses[0][0]], ".3f"),
                    longest=figure(longest * 1e3, ".0f"),
                ),
            )
        )
    if not notes:
        return recording
    keep = ~bad
    return recording.with_step(
        joined("; ", [note.text for note in notes]),
        time_s=time_s[keep],
        pressure_pa=pressure[keep],
        cautions=tuple(notes),
    )


def _spikes(pressure: Floats, noise: Noise) -> NDArray[np.intp]:
    """Return samples that jump away from both neighbours and are back at once."""
    if pressure.size < 3:
        return np.empty(0, dtype=np.intp)
    limit = max(40.0 * noise.sigma_pa, 0.08 * float(np.max(pressure)))
    step = np.diff(pressure)
    jumps = np.flatnonzero(np.abs(step) > limit)
    if jumps.size == 0:
        return jumps
    inner = jumps[(jumps >= 1) & (jumps + 2 < step.size)]
    # Up and down again (or down and up) by nearly the same amount, with calm on both sides; the
    # ringing of a line is not calm.
    back = step[inner] * step[inner + 1] < 0.0
    size = np.abs(step[inner])
    alike = np.abs(step[inner] + step[inner + 1]) < 0.15 * size
    calm = np.maximum(np.abs(step[inner - 1]), np.abs(step[inner + 2])) < 0.1 * size
    found = inner[back & alike & calm] + 1
    return found[pressure[found] > 0.02 * float(np.max(pressure))]


def _losses(time_s: Floats, pressure: Floats, noise: Noise) -> list[tuple[int, int]]:
    """Return stretches [start, stop) in which the signal falls to nothing or stands frozen."""
    high = float(np.max(pressure))
    found: list[tuple[int, int]] = []
    # A lost signal is gone from one sample to the next; no valve is that quick.
    gone = np.flatnonzero((pressure[1:] < 0.02 * high) & (pressure[:-1] > 0.2 * high)) + 1
    for start in gone.tolist():
        last = int(np.searchsorted(time_s, time_s[start - 1] + LONGEST_DROP_OUT_S))
        back = np.flatnonzero(pressure[start:last] >= 0.02 * high)
        # A line cannot lose its pressure and have it back within a blink.
        if back.size and pressure[start + back[0]] > 0.6 * pressure[start - 1]:
            found.append((start, start + int(back[0])))
    if noise.sigma_pa > 1.2 * noise.step_pa and noise.clip_pa is None:
        found += _frozen(pressure, 0.05 * high)
    return sorted(found)


def _frozen(pressure: Floats, least_pa: float) -> list[tuple[int, int]]:
    """Return stretches in which a noisy signal repeats one value, the first of each left in."""
    # Sixteen equal samples hold four that are on a grid of four; by chance, four seldom agree.
    grid = pressure[::FROZEN_GRID]
    same = grid[1:] == grid[:-1]
    alike = np.flatnonzero(same[2:] & same[1:-1] & same[:-2] & (grid[:-3] > least_pa))
    alike = alike * FROZEN_GRID
    found: list[tuple[int, int]] = []
    for place in alike.tolist():
        if found and place < found[-1][1]:
            continue
        value = pressure[place]
        first = max(place - FROZEN_GRID, 0)
        before = np.flatnonzero(pressure[first:place] != value)
        start = first + int(before[-1]) + 1 if before.size else first
        stop = place + 1
        while stop < pressure.size and pressure[stop] == value:
            stop += 1
        if stop - start >= FROZEN_SAMPLES:
            found.append((start + 1, stop))
    return found


def sampling_cautions(recording: Recording, noise: Noise, interval_s: float) -> list[Caution]:
    """Return what the sampling itself makes of the values read from it."""
    cautions = []
    if interval_s > SLOW_INTERVAL_S:
        cautions.append(
            Caution(
                say("slow gauge"),
                say(
                    "one sample every {interval} ms cannot follow an opening: falls are seen too "
                    "small and openings in quick succession run together",
                    interval=figure(interval_s * 1e3, ".0f"),
                ),
            )
        )
    high = float(np.max(recording.pressure_pa))
    if noise.step_pa > max(0.003 * high, 4e4):
        cautions.append(
            Caution(
                say("coarse steps"),
                say("the pressure moves in steps of {step}", step=in_bar(noise.step_pa, ".2f")),
            )
        )
    sample = np.diff(recording.time_s[:8192])
    usual = float(np.median(sample)) if sample.size else 0.0
    near = sample[sample < 3.0 * usual]
    if near.size > 16 and float(np.std(near)) > 0.05 * usual:
        cautions.append(
            Caution(
                say("jitter"),
                say(
                    "time between samples varies by {share} of {interval} ms; the time stamps are "
                    "used as they are",
                    share=figure(float(np.std(near)) / usual, ".0%"),
                    interval=figure(usual * 1e3, ".2f"),
                ),
            )
        )
    step = np.diff(recording.time_s)
    longest = float(np.max(step))
    limit = 5.0 * interval_s + 1e-9
    if longest > limit and not any(one.name == "drop-out" for one in recording.cautions):
        count = int(np.count_nonzero(step > limit))
        cautions.append(
            Caution(
                say("drop-out"),
                say(
                    "{count} gap(s) in the recording, the longest {longest} s",
                    count=count,
                    longest=figure(longest, ".3f"),
                ),
            )
        )
    if noise.clip_pa is not None:
        cautions.append(
            Caution(
                say("clipping"),
                say(
                    "the recording is cut off at {top}; what is above it is not known",
                    top=in_bar(noise.clip_pa),
                ),
            )
        )
    return cautions
