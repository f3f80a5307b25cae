"""Stretches in which the pump is shut off and the pressure is left to itself."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from nozzlewright.analysis.trace.falls import Falls
from nozzlewright.analysis.trace.noise import Noise, middle_of
from nozzlewright.analysis.trace.strokes import Blocks, Stretch

Floats = NDArray[np.float64]

LEAST_HOLD_S = 2.5
"""Shortest rest that is taken for a hold and not for the pause between two strokes."""
LEAST_SAMPLES = 8
"""Fewest samples that tell a decay from a release."""
QUICKEST_DROP_PER_S = 0.7
"""Share of its pressure that a leaking injector loses in a second at most; what falls faster is an
opening or a release. A drop by a third then takes 0.6 s. With a leak as large, a slow stroke of the
lever hardly gains on it; common practice, no source."""
FELL_MUCH = 0.2
"""Fall of ln p beyond what the heat of pumping up can take, [1]; common practice, no source."""
OPENED_RATIO = 4.0
"""How many times quicker than in another hold a fall through the same pressures is not the
injector's alone: its leak is the same in both; common practice, no source."""
RELEASE_RATIO = 4.0
"""How many times its usual rate a pressure falls when a valve is opened; common practice, no
source."""
RELEASE_KEEPS = 0.5
"""Share of the pressure that a release leaves at most; common practice, no source."""
STANDS_PER_S = 0.002
"""Rate of fall of ln p below which a pressure stands, [1/s]; common practice, no source."""
AFTER_STROKE_S = 0.05
"""Time after the last stroke in which valve and line come to rest."""
WHOLE = 0.999
"""Share of a window from which it counts as covered."""
_POINTS = 400


@dataclass(frozen=True)
class Rest:
    """Samples [start, stop) of a decay, with the pressures at its ends."""

    start: int
    stop: int
    start_s: float
    end_s: float
    start_pa: float
    end_pa: float

    @property
    def duration_s(self) -> float:
        """Length, [s]."""
        return self.end_s - self.start_s


def find_rests(
    time_s: Floats,
    pressure: Floats,
    blocks: Blocks,
    strokes: list[Stretch],
    openings: Falls,
    others: Falls,
    noise: Noise,
) -> list[Rest]:
    """Return every stretch without delivery in which pressure stands or decays.

    Parameters
    ----------
    time_s, pressure : ndarray of shape (N,)
        The recording, [s] and [Pa]
    """
    count = blocks.time_s.size
    if count < 4:
        return []
    high = float(np.max(blocks.pressure_pa))
    # What stands lower than this is an empty line, not a held pressure.
    least = max(0.05 * high, 3e5, 6.0 * noise.sigma_pa)
    edges = [0, *(edge for stroke in strokes for edge in (stroke.start, stroke.stop)), count]
    cuts = list(zip(others.top.tolist(), others.bottom.tolist(), strict=True))
    found = []
    for begin, end in zip(edges[::2], edges[1::2], strict=True):
        first = int(blocks.first[min(begin, count - 1)])
        last = int(blocks.first[end]) if end < count else int(pressure.size)
        if begin > 0:
            late = openings.bottom[(openings.bottom >= first - 2) & (openings.top < last)]
            settled = time_s[max(first, int(late.max()) if late.size else first)] + AFTER_STROKE_S
            first = int(np.searchsorted(time_s, settled))
        # A valve that settles while it is being shut makes a fall early in the rest; it is over
        # soon, and the decay goes on below it.
        for piece_start, piece_stop in _pieces(first, last, cuts):
            if _is_pause(time_s, pressure, piece_start, piece_stop):
                continue
            if float(pressure[piece_start : piece_start + 64].max()) < least:
                continue
            rest = _trimmed(time_s, pressure, piece_start, piece_stop, least, noise)
            if rest is not None and _rate(rest) < QUICKEST_DROP_PER_S:
                found.append(rest)
    return found


def without_let_offs(rests: list[Rest]) -> list[Rest]:
    """Return the rests without those in which a valve stood a crack open.

    An injector leaks as much in one hold as in another through the same pressures. Where one
    falls several times quicker there than another, something else was open in it. Heat, which also
    makes a fall quicker, takes but a small share of the pressure; and what does not fall at all
    may be a gauge that was shut off, and says nothing of the leak.
    """
    return [
        rest
        for rest in rests
        if not any(
            _share_pressures(rest, other) and _rate(rest) > OPENED_RATIO * _rate(other)
            for other in rests
            if _rate(other) > STANDS_PER_S and other.duration_s >= LEAST_HOLD_S
        )
        or _fallen(rest) < FELL_MUCH
    ]


def _share_pressures(one: Rest, other: Rest) -> bool:
    top, bottom = min(one.start_pa, other.start_pa), max(one.end_pa, other.end_pa)
    return top - bottom > 0.5 * (other.start_pa - other.end_pa)


def _fallen(rest: Rest) -> float:
    """Return the fall of ln p, [1]."""
    return float(np.log(max(rest.start_pa, 1.0) / max(rest.end_pa, 1.0)))


def _rate(rest: Rest) -> float:
    """Return the mean rate of fall of ln p, [1/s]."""
    return _fallen(rest) / max(rest.duration_s, 1e-3)


def _pieces(first: int, last: int, cuts: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """Return the stretches that other falls, as (top, bottom), leave of [first, last)."""
    pieces = []
    start = first
    for top, bottom in cuts:
        if first < top < last:
            pieces.append((start, top))
            start = bottom + 1
    pieces.append((start, last))
    return [(a, b) for a, b in pieces if b - a >= 4]


def _is_pause(time_s: Floats, pressure: Floats, start: int, stop: int) -> bool:
    """Return whether a stretch is just the pause between two strokes: short, and hardly falling."""
    short = time_s[stop - 1] - time_s[start] < LEAST_HOLD_S
    return bool(short and pressure[stop - 1] > 0.85 * pressure[start])


def _trimmed(
    time_s: Floats, pressure: Floats, start: int, stop: int, least_pa: float, noise: Noise
) -> Rest | None:
    """Return the stretch without its release and its empty end; None if nothing is left."""
    size = max(1, (stop - start) // _POINTS)
    count = (stop - start) // size
    edge = start + size * np.arange(count)
    p = pressure[start : start + count * size].reshape(count, size).mean(axis=1)
    t = time_s[edge]
    keep = count
    low = np.flatnonzero(p < max(least_pa if p[0] < 2.0 * least_pa else 0.0, 0.02 * p[0], 1e5))
    if low.size:
        keep = int(low[0])
    grain = noise.sigma_pa / np.sqrt(size)
    keep = min(keep, _release(t, p, grain))
    keep = _before_the_end(t[:keep], p[:keep], grain)
    if keep < 4 or p[0] < least_pa:
        return None
    end = start + keep * size if keep < count else stop
    few = max(1, min(keep // 8, 3))
    return Rest(
        start,
        end,
        float(time_s[start]),
        float(time_s[end - 1]),
        float(p[:few].mean()),
        float(p[keep - few : keep].mean()),
    )


def _release(t: Floats, p: Floats, grain: float) -> int:
    """Return where a release begins: pressure goes faster than leakage can explain.

    A leak slows down as the pressure falls; a valve that is being opened does the opposite.
    """
    count = p.size
    if count < LEAST_SAMPLES:
        return count
    if p[-1] > RELEASE_KEEPS * p[0]:
        return count
    rate = -np.diff(p) / np.diff(t)
    peak = 4 + int(np.argmax(rate[4:]))  # the first moments may still settle
    limit = RELEASE_RATIO * max(middle_of(rate[:peak]), 0.0)
    limit += 3.0 * grain * np.sqrt(2.0) / middle_of(np.diff(t))
    if rate[peak] <= limit or p[-1] > RELEASE_KEEPS * p[peak]:
        return count
    calm = np.flatnonzero(rate[:peak] <= limit)
    return int(calm[-1]) if calm.size else 0


def _before_the_end(t: Floats, p: Floats, grain: float) -> int:
    """Return where a valve that is opened slowly first shows at the end of a decay.

    The last tenth is looked at from behind, for as long as the pressure falls by half as fast
    again as in the tenth before it, where a leak would have fallen more slowly.
    """
    count = p.size
    tenth = count // 10
    if tenth < 3:
        return count
    rate = -np.diff(p) / np.diff(t)
    usual = middle_of(rate[-2 * tenth : -tenth])
    limit = 1.5 * max(usual, 0.0) + 4.0 * grain * np.sqrt(2.0) / middle_of(np.diff(t))
    touched = np.flatnonzero(rate[-tenth:] > limit)
    if touched.size < 2 or touched[-1] < tenth - 2:
        return count  # nothing, or a speck that is over before the end
    return count - tenth + int(touched[0]) - 1


def covered_share(rest: Rest, window: tuple[float, float]) -> float:
    """Return the share of a window's ln ratio that a rest falls through, [1]."""
    upper, lower = window
    top, bottom = min(rest.start_pa, upper), max(rest.end_pa, lower)
    return float(np.log(top / bottom) / np.log(upper / lower)) if top > bottom > 0 else 0.0


def drop_rest(
    rests: list[Rest], window: tuple[float, float] | None, exclude: Rest | None
) -> Rest | None:
    """Return the rest that answers a window best: covers most of it; else the deepest decay.

    Parameters
    ----------
    rests : list of Rest
        All rests of the recording
    window : (float, float) or None
        Upper and lower pressure between which the drop is timed, [Pa]
    exclude : Rest or None
        The seat hold: taken only if nothing else answers
    """
    long = [rest for rest in rests if rest.duration_s >= LEAST_HOLD_S]
    if window is not None:
        whole = [
            rest
            for rest in rests
            if covered_share(rest, window) > WHOLE and rest.stop - rest.start >= LEAST_SAMPLES
        ]
        if whole:
            return max(whole, key=lambda rest: (rest is not exclude, rest.duration_s))
    pool = [rest for rest in long if rest is not exclude] or long
    if window is None:
        return max(pool, key=_depth, default=None)
    best = max(pool, key=lambda rest: (covered_share(rest, window), _depth(rest)), default=None)
    if exclude is not None and best is not None and covered_share(best, window) == 0.0:
        return max(long, key=lambda rest: (covered_share(rest, window), _depth(rest)))
    return best


def _depth(rest: Rest) -> float:
    return max(_fallen(rest), 0.0) + 1e-4 * rest.duration_s


def seat_rest(
    rests: list[Rest],
    opening_pa: float | None,
    margin_pa: float | None,
    window: tuple[float, float] | None,
) -> Rest | None:
    """Return the rest in which the seat was tested: held a margin below the opening pressure.

    Where several would do, the one that answers the drop's window is left to the drop.
    """
    if opening_pa is None:
        return None
    near = [
        rest
        for rest in rests
        if rest.duration_s >= LEAST_HOLD_S and 0.6 * opening_pa < rest.start_pa < opening_pa
    ]
    if margin_pa is None:
        # Without a stated margin, only a pair of holds tells the seat's (which falls less, from
        # higher up) from the drop's.
        near = [rest for rest in near if rest.start_pa > 0.8 * opening_pa]
        others = sum(rest.duration_s >= LEAST_HOLD_S for rest in rests)
        return min(near, key=_depth, default=None) if others > 1 else None
    target = opening_pa - margin_pa
    reach = max(1.5 * margin_pa, 0.08 * opening_pa)
    near = [rest for rest in near if abs(rest.start_pa - target) <= reach]
    if len(near) > 1 and window is not None:
        drop = max(near, key=lambda rest: (covered_share(rest, window), rest.duration_s))
        if covered_share(drop, window) > 0.5:
            near.remove(drop)
    return min(near, key=lambda rest: abs(rest.start_pa - target), default=None)
