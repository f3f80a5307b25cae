"""Chatter: quick openings one after another while the lever is pushed down briskly."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from nozzlewright.analysis.trace.openings import LiftOffs
from nozzlewright.bench import Chatter, Stroke, StrokeKind
from nozzlewright.measurement import Cause, Caution, NotMeasured, Quantity
from nozzlewright.said import figure, say

LEAST_SAMPLES_PER_CYCLE = 4.5
"""Samples from one opening to the next that are needed to count them safely."""


def chatter_of(
    lifts: LiftOffs,
    stroke: NDArray[np.intp],
    strokes: tuple[Stroke, ...],
    *,
    interval_s: float,
    lag_s: float,
    slow_gauge: bool,
    scope: str,
) -> Chatter | NotMeasured:
    """Return chatter on the fast strokes, or why it cannot be judged.

    Parameters
    ----------
    lifts : LiftOffs
        All openings
    stroke : ndarray of shape (E,)
        Index of the stroke of each opening
    strokes : tuple of Stroke
        All strokes
    interval_s, lag_s : float
        Sampling interval and lag of the gauge, [s]
    slow_gauge : bool
        Whether the gauge is too slow to follow an opening
    """
    fast = [one for one in strokes if one.kind is StrokeKind.FAST]
    if slow_gauge:
        return NotMeasured(
            say("the gauge is too slow to follow single openings"),
            say("use a gauge that is sampled a thousand times a second or faster"),
        )
    if not fast:
        return NotMeasured(say("no fast strokes were found"), say("make a few quick, even strokes"))
    counts = np.array([one.openings for one in fast], dtype=np.float64)
    between: list[NDArray[np.float64]] = []
    for one in fast:
        times = lifts.time_s[stroke == one.index]
        if times.size > 1:
            between.append(np.diff(times))
    gaps = np.concatenate(between) if between else np.empty(0)
    cautions: list[Caution] = []
    if gaps.size:
        usual = float(np.median(gaps))
        # Where the quickest ones are hardly parted, others between them were not seen at all.
        quickest = float(np.quantile(gaps, 0.1))
        if quickest < LEAST_SAMPLES_PER_CYCLE * interval_s:
            return NotMeasured(
                say(
                    "sampling is too slow: {count} samples from one opening to the next",
                    count=figure(quickest / interval_s, ".1f"),
                ),
                say("sample at {rate} Hz or faster", rate=figure(10.0 / quickest, ".0f")),
            )
        if lag_s > 0.4 * usual:
            return NotMeasured(
                say(
                    "the gauge lags by {lag} ms, too slow for openings {apart} ms apart",
                    lag=figure(lag_s * 1e3, ".0f"),
                    apart=figure(usual * 1e3, ".0f"),
                ),
                say("use a faster gauge"),
            )
    fall = lifts.lift_off_pa - lifts.closing_pa
    ringing = lifts.ringing_pa > 0.25 * np.maximum(fall, 1.0)
    if ringing.size and float(np.mean(ringing)) > 0.5:
        cautions.append(
            Caution(
                say("line ringing"),
                say("the line rings after each opening; small ones may be hidden"),
            )
        )
    count = counts.size
    mean = float(counts.mean())
    spread = float(np.std(counts, ddof=1)) / np.sqrt(count) if count > 1 else np.sqrt(max(mean, 1))
    per_stroke = Quantity(
        mean,
        "1",
        {Cause(say("strokes differ"), scope): float(spread)},
        say("openings counted in {count} fast stroke(s)", count=count),
        tuple(cautions),
    )
    if gaps.size < 3:
        reason = NotMeasured(say("too few openings follow one another in a stroke"))
        return Chatter(per_stroke, reason, reason)
    # Only steady runs tell a rate: the first and last gap of a stroke see the lever start and stop.
    rate = 1.0 / usual
    scatter = float(np.std(gaps) / np.mean(gaps))
    timing = interval_s / np.sqrt(6.0) / usual
    return Chatter(
        per_stroke,
        Quantity(
            rate,
            "Hz",
            {
                Cause(say("openings differ"), scope): rate * scatter / np.sqrt(gaps.size) * 1.25,
                Cause(say("sampling interval"), scope): rate * timing / np.sqrt(gaps.size),
            },
            say("one over the median of {count} times from opening to opening", count=gaps.size),
            tuple(cautions),
        ),
        Quantity(
            scatter,
            "1",
            {Cause(say("number of openings"), scope): scatter / np.sqrt(2.0 * gaps.size)},
            say("coefficient of variation of the time from opening to opening"),
            tuple(cautions),
        ),
    )
