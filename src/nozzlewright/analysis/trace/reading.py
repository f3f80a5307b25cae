"""One recording of a bench session, read without being told where anything is."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from nozzlewright.analysis.gauge import GaugeCorrection, gauge_correction
from nozzlewright.analysis.trace.chatter import chatter_of
from nozzlewright.analysis.trace.falls import Falls, find_falls
from nozzlewright.analysis.trace.hold import (
    analyse_hold,
    rig_leak_by_stopwatch,
    rig_leak_from_blank,
)
from nozzlewright.analysis.trace.knowledge import RigLeak, blank_plug_scope
from nozzlewright.analysis.trace.lag import LEAST_LAG_S, RESOLVED_SAMPLES, gauge_lag, without_lag
from nozzlewright.analysis.trace.noise import Hum, Noise, mains_hum, noise_of
from nozzlewright.analysis.trace.openings import AFTER_S, LiftOffs, measure_openings
from nozzlewright.analysis.trace.rests import (
    Rest,
    drop_rest,
    find_rests,
    seat_rest,
    without_let_offs,
)
from nozzlewright.analysis.trace.seat import measure_seat_hold
from nozzlewright.analysis.trace.set_value import (
    RUN_TOGETHER_SAMPLES,
    behaviour,
    closing_value,
    plateau_value,
    set_value,
)
from nozzlewright.analysis.trace.signal import SLOW_INTERVAL_S, mend, sampling_cautions
from nozzlewright.analysis.trace.strokes import (
    Blocks,
    Stretch,
    blocks_of,
    delivering,
    split_openings,
)
from nozzlewright.bench import (
    BenchConditions,
    GaugeFindings,
    Hold,
    Opening,
    SeatHold,
    Stroke,
    StrokeKind,
)
from nozzlewright.capture import Recording
from nozzlewright.measurement import (
    Caution,
    Measured,
    NotMeasured,
    Quantity,
)
from nozzlewright.said import figure, in_bar, pressure_figure, say

Floats = NDArray[np.float64]

SLOW_AND_FAST_DIFFER = 2.2
"""Ratio between the usual quick and the usual slow stroke, if there are both."""
KINDS_APART = 1.5
"""Ratio between the slowest quick stroke and the quickest slow one."""
FAST_RISE_PER_S = 2.0
"""Rise per second, in opening pressures, from which a stroke on its own is called fast."""
LEAST_PAUSE_S = 0.18
"""Shortest pause between two strokes of the lever."""
LEAST_STROKE_S = 0.12
"""Shortest stroke of a lever that is not a remainder of one."""
RIPPLE_SHARE = 0.08
"""Fall, as a share of the pressure, below which a slow gauge has not seen the whole of it."""
SOFT_START = 0.65
"""Time from 5 to 20 bar over that from 20 to 80 bar from which free air softens the line; without
air a quarter, or half where the stroke begins gently."""
FIRST_OPENING_RATIO = 1.04
"""Openings within this of the middle of the slow ones are a two-spring holder's first."""
SECOND_OPENING_RATIO = 1.06
"""A two-spring holder's second opening lies at least this far above its first."""


_TOUCH_HOLDS = ("drop-out", "mains hum", "spikes")
"""Cautions of the reader that bear on a hold."""


class _Scene:
    """Everything found in one recording, before it is put into findings."""

    recording: Recording
    noise: Noise
    rests: list[Rest]

    def __init__(self, recording: Recording) -> None:
        noise = noise_of(recording.pressure_pa)
        recording = mend(recording, noise)
        self.interval_s = _interval(recording)
        hum = mains_hum(recording.time_s, recording.pressure_pa, noise.sigma_pa, self.interval_s)
        if hum is not None:
            recording = _without(hum, recording)
            noise = noise_of(recording.pressure_pa)
        self.hum = hum
        self._find(recording, noise)

    def undo_lag(self, lag_s: float) -> None:
        """Find the openings anew in the trace that a gauge without lag would show.

        Holds stay as they are: they are slow, and undoing a lag only adds noise to them.
        """
        rests, recording, noise = self.rests, self.recording, self.noise
        sharp = recording.with_step(
            say("lag of {lag} ms undone for the openings", lag=figure(lag_s * 1e3, ".1f")),
            pressure_pa=without_lag(
                recording.time_s, recording.pressure_pa, lag_s, self.interval_s
            ),
        )
        self._find(sharp, noise_of(sharp.pressure_pa))
        self.rests, self.noise = rests, noise
        self.recording = replace(sharp, pressure_pa=recording.pressure_pa)

    def _find(self, recording: Recording, noise: Noise) -> None:
        time_s, pressure = recording.time_s, recording.pressure_pa
        self.recording, self.noise = recording, noise
        falls = find_falls(time_s, pressure, noise, self.interval_s)
        openings, others = split_openings(falls, pressure, time_s, noise)
        self.blocks: Blocks = blocks_of(time_s, pressure, openings, self.interval_s)
        stretches, self.rate = delivering(self.blocks, noise)
        self.stretches = _worth_counting(stretches, self.blocks, openings, noise)
        keep, home = _home(openings, self.stretches, self.blocks, time_s)
        self.openings: Falls = openings.take(keep)
        self.home = home[keep]
        self.others = others
        self.lifts: LiftOffs = measure_openings(
            time_s, pressure, self.openings, noise, self.interval_s
        )
        # A touch of the lever is no stroke, but it ends a hold all the same.
        self.rests = find_rests(
            time_s, pressure, self.blocks, stretches, self.openings, others, noise
        )


def read_trace(
    recording: Recording,
    conditions: BenchConditions | None = None,
    blank: Recording | RigLeak | NotMeasured | None = None,
) -> GaugeFindings:
    """Return all that one recording shows: openings, holds, chatter, and what is wrong with it.

    Parameters
    ----------
    recording : Recording
        Pressure against time; idle, bleed strokes, slow and fast strokes, holds and releases in
        any order, any of them missing
    conditions : BenchConditions, optional
        What the recording cannot know; each missing piece costs only the values that need it
    blank : Recording, RigLeak or NotMeasured, optional
        Hold with the blank plug in the injector's place, or what :func:`rig_leak` made of it

    Notes
    -----
    The recording is only read. What was repaired is in the findings' history and cautions.
    """
    conditions = conditions or BenchConditions()
    scope = recording.source
    sitting = conditions.sitting or recording.source
    gauge = gauge_correction(conditions.gauge, sitting)
    if len(recording) < 8 or float(np.ptp(recording.pressure_pa)) == 0.0:
        return _nothing(recording, say("the recording shows no change of pressure"))
    scene = _Scene(recording)
    cautions = sampling_cautions(scene.recording, scene.noise, scene.interval_s)
    strokes = _strokes(scene)
    lag = _lag(scene, strokes, conditions)
    if lag[0] > max(LEAST_LAG_S, RESOLVED_SAMPLES * scene.interval_s):
        scene.undo_lag(lag[0])
        cautions.append(
            Caution(
                say("slow gauge"),
                say(
                    "the gauge lags by {lag} ms; this is undone for the openings, at the price of "
                    "a larger uncertainty",
                    lag=figure(lag[0] * 1e3, ".0f"),
                ),
            )
        )
        left = 0.0, lag[1]
        strokes = _strokes(scene)
    else:
        left = lag
    slow_gauge = scene.interval_s > SLOW_INTERVAL_S
    opening, closing, second, behaves = _opening_pressure(
        scene, strokes, gauge, left, conditions, scope, cautions
    )
    chatter = chatter_of(
        scene.lifts,
        scene.home,
        strokes,
        interval_s=scene.interval_s,
        lag_s=lag[0],
        slow_gauge=slow_gauge,
        scope=scope,
    )
    air = _trapped_air(scene)
    leak = blank if isinstance(blank, RigLeak | NotMeasured) else rig_leak(blank, conditions)
    hold, seat_hold = _holds(scene, conditions, gauge, opening, leak, cautions, scope)
    cautions += _line_ringing(scene)
    own = (*scene.recording.cautions, *cautions, *behaves, *air)
    return GaugeFindings(
        source=recording.source,
        digest=recording.digest,
        by_hand=False,
        opening_pressure=opening,
        closing_pressure=closing,
        second_opening_pressure=second,
        openings=_openings(scene),
        strokes=strokes,
        hold=hold,
        seat_hold=seat_hold,
        chatter=chatter,
        cautions=tuple(dict.fromkeys(own)),
        history=scene.recording.history,
    )


def _line_ringing(scene: _Scene) -> list[Caution]:
    """Return a caution where the line swings after openings that leave it time to."""
    lifts = scene.lifts
    alone = np.append(np.diff(lifts.time_s) > AFTER_S, True)[: lifts.time_s.size]
    fall = lifts.lift_off_pa - lifts.closing_pa
    swings = lifts.ringing_pa > np.maximum(4.0 * scene.noise.sigma_pa, 0.05 * fall)
    if not alone.any() or float(np.mean(swings[alone])) < 0.4:
        return []
    size = float(np.median(lifts.ringing_pa[alone & swings]))
    return [
        Caution(
            say("line ringing"),
            say(
                "the line swings by {size} (r.m.s.) after an opening; closing pressures are read "
                "through it, and openings that it hides are not counted",
                size=in_bar(size),
            ),
        )
    ]


def _interval(recording: Recording) -> float:
    """Return the median sampling interval, from a part of the recording if it is long."""
    head = recording.time_s[:4096]
    return float(np.median(np.diff(head)))


def _nothing(recording: Recording, reason: str) -> GaugeFindings:
    missing = NotMeasured(reason, say("check the gauge's lead and record again"))
    return GaugeFindings(
        source=recording.source,
        digest=recording.digest,
        by_hand=False,
        opening_pressure=missing,
        closing_pressure=missing,
        second_opening_pressure=missing,
        hold=missing,
        seat_hold=missing,
        chatter=missing,
        cautions=recording.cautions,
        history=recording.history,
    )


def _without(hum: Hum, recording: Recording) -> Recording:
    size = say(
        "{swing} at {frequency} Hz",
        swing=in_bar(hum.amplitude_pa, ".2f"),
        frequency=figure(hum.frequency_hz, ".1f"),
    )
    return recording.with_step(
        say("mains hum of {size} taken off", size=size),
        pressure_pa=recording.pressure_pa - hum.at(recording.time_s),
        cautions=(
            Caution(
                say("mains hum"),
                say(
                    "a sine of {size} lies over the pressure; it is taken off, earth the gauge's "
                    "screen",
                    size=size,
                ),
            ),
        ),
    )


def _worth_counting(
    stretches: list[Stretch], blocks: Blocks, openings: Falls, noise: Noise
) -> list[Stretch]:
    """Return the stretches that open the needle or raise the pressure by more than a twitch."""
    least = max(0.01 * float(np.max(blocks.pressure_pa)), 6.0 * noise.sigma_pa)
    top_block = openings.top // blocks.samples
    return [
        one
        for one in stretches
        if blocks.delivered_pa[one.stop - 1] - blocks.delivered_pa[one.start] > least
        or bool(np.any((top_block >= one.start) & (top_block <= one.stop)))
    ]


def _home(
    openings: Falls, stretches: list[Stretch], blocks: Blocks, time_s: Floats
) -> tuple[NDArray[np.bool_], NDArray[np.intp]]:
    """Return which openings lie in a stroke, and in which."""
    if len(openings) == 0 or not stretches:
        return np.zeros(len(openings), dtype=np.bool_), np.zeros(len(openings), dtype=np.intp)
    half = 0.5 * blocks.interval_s
    start = np.array([blocks.time_s[one.start] - half for one in stretches])
    stop = np.array([blocks.time_s[one.stop - 1] + half for one in stretches])
    at = time_s[openings.top]
    slack = max(0.05, 2.0 * blocks.interval_s)
    after = np.clip(np.searchsorted(start, at, side="right") - 1, 0, start.size - 1)
    following = np.minimum(after + 1, start.size - 1)
    late = at - stop[after]
    early = start[following] - at
    home = np.where((late > slack) & (early >= 0.0) & (early < late), following, after)
    inside = (at >= start[home] - slack) & (at <= stop[home] + slack)
    return inside, home


def _strokes(scene: _Scene) -> tuple[Stroke, ...]:
    """Return the strokes with their kind."""
    blocks, half = scene.blocks, 0.5 * scene.blocks.interval_s
    count = len(scene.stretches)
    openings = np.bincount(scene.home, minlength=count) if count else np.empty(0, dtype=np.intp)
    rates = np.array([_stroke_rate(scene, one) for one in scene.stretches])
    working = openings > 0
    fast = np.zeros(count, dtype=np.bool_)
    if working.any():
        level = float(np.median(scene.openings.top_pa))
        fast[working] = _fast(rates[working], level)
    return tuple(
        Stroke(
            index=index,
            start_s=float(blocks.time_s[one.start] - half),
            end_s=float(blocks.time_s[one.stop - 1] + half),
            kind=(
                StrokeKind.FILL
                if not working[index]
                else StrokeKind.FAST
                if fast[index]
                else StrokeKind.SLOW
            ),
            rise_rate_pa_per_s=float(rates[index]),
            openings=int(openings[index]),
        )
        for index, one in enumerate(scene.stretches)
    )


def _stroke_rate(scene: _Scene, one: Stretch) -> float:
    """Return how fast a stroke delivers: an upper quantile, since an open needle holds it back."""
    values = np.sort(scene.rate[one.start : one.stop])
    below = int(np.searchsorted(values, 0.0, side="right"))
    return float(values[below + int(0.8 * (values.size - below))]) if below < values.size else 0.0


def _fast(rates: Floats, level_pa: float) -> NDArray[np.bool_]:
    """Return which strokes are fast: parted by a gap between rates, else by the rate alone."""
    order = np.sort(np.log(np.maximum(rates, 1.0)))
    alone = np.asarray(rates > FAST_RISE_PER_S * level_pa)
    gaps = np.diff(order)
    # The lowest gap that leaves more than a stray stroke below it: above it, brisk and hard
    # strokes may differ among themselves.
    wide = np.flatnonzero(gaps > np.log(KINDS_APART))
    several = wide[wide + 1 >= max(2, 0.15 * order.size)]
    for place in (*several, *wide):
        edge = float(np.exp(0.5 * (order[place] + order[place + 1])))
        apart = np.median(order[place + 1 :]) - np.median(order[: place + 1])
        if apart > np.log(SLOW_AND_FAST_DIFFER) and edge > 0.25 * level_pa:
            return np.asarray(rates > edge)
    # One kind only, of mixed speeds: do not part what a hand made alike.
    return np.full(rates.size, float(np.median(rates)) > FAST_RISE_PER_S * level_pa) | (
        alone & (rates > SLOW_AND_FAST_DIFFER * np.median(rates))
    )


def _lag(
    scene: _Scene, strokes: tuple[Stroke, ...], conditions: BenchConditions
) -> tuple[float, float]:
    """Return the gauge's lag with its standard uncertainty, read off slow strokes if it must."""
    slow = _in_kind(scene, strokes, StrokeKind.SLOW)
    which = slow if slow.any() else np.ones(slow.size, dtype=np.bool_)
    return gauge_lag(
        conditions.gauge.time_constant_s,
        scene.recording.time_s,
        scene.recording.pressure_pa,
        scene.openings.take(which),
        scene.lifts.tail_s[which],
        scene.interval_s,
    )


def _in_kind(scene: _Scene, strokes: tuple[Stroke, ...], kind: StrokeKind) -> NDArray[np.bool_]:
    of_kind = np.array([one.kind is kind for one in strokes], dtype=np.bool_)
    return of_kind[scene.home] if of_kind.size else np.zeros(scene.home.size, dtype=np.bool_)


def _openings(scene: _Scene) -> tuple[Opening, ...]:
    lifts = scene.lifts
    return tuple(
        Opening(time_s, lift, closing, rate, stroke)
        for time_s, lift, closing, rate, stroke in zip(
            lifts.time_s.tolist(),
            lifts.lift_off_pa.tolist(),
            lifts.closing_pa.tolist(),
            lifts.rate_pa_per_s.tolist(),
            scene.home.tolist(),
            strict=True,
        )
    )


def _opening_pressure(
    scene: _Scene,
    strokes: tuple[Stroke, ...],
    gauge: GaugeCorrection,
    lag: tuple[float, float],
    conditions: BenchConditions,
    scope: str,
    sampling: list[Caution],
) -> tuple[Measured, Measured, Measured, tuple[Caution, ...]]:
    """Return opening, closing and second opening pressure, and how the needle behaves."""
    weeps = _weeping(scene, strokes, conditions)
    if len(scene.openings) == 0:
        top = float(np.max(scene.blocks.pressure_pa))
        if weeps is not None:
            reason = say("the needle weeps without a distinct pop: {weeps}", weeps=weeps.text)
            remedy = say("stroke more briskly; if it still weeps, clean the nozzle and test again")
        elif scene.noise.clip_pa is not None:
            reason = say("the recording is cut off at {top}", top=in_bar(scene.noise.clip_pa))
            remedy = say("use a gauge with a larger range")
        else:
            reason = say("no opening was found; the highest pressure was {top}", top=in_bar(top))
            remedy = say("record until the needle has opened several times")
        missing = NotMeasured(reason, remedy)
        found = (weeps,) if weeps is not None else ()
        return missing, missing, missing, found
    slow = _in_kind(scene, strokes, StrokeKind.SLOW)
    cautions: list[Caution] = [one for one in sampling if one.name != "jitter"]
    members = slow
    if not slow.any():
        members = np.ones(slow.size, dtype=np.bool_)
        cautions.append(
            Caution(
                say("quick strokes only"),
                say("no slow stroke opened the needle; the lag of the gauge weighs more"),
            )
        )
    clip = scene.noise.clip_pa
    if clip is not None:
        cut = scene.openings.top_pa >= clip - max(scene.noise.threshold_pa, 1e-3 * clip)
        if bool(np.any(cut[members])):
            missing = NotMeasured(
                say("the recording is cut off at {top}, where the needle opens", top=in_bar(clip)),
                say("use a gauge with a larger range"),
            )
            return missing, missing, missing, ()
    if conditions.geometry.two_spring:
        members = _first_stage(scene, members)
    behaves = behaviour(scene.lifts, members)
    if weeps is not None:
        behaves = (*behaves, weeps)
    if scene.hum is not None:
        cautions += [one for one in scene.recording.cautions if one.name == "mains hum"]
    scene_lost = [one for one in scene.recording.cautions if one.name == "spikes"]
    if int(members.sum()) == 1:
        cautions.append(
            Caution(
                say("single opening"), say("one pop says nothing of how well the next would repeat")
            )
        )
    plateau = _rough_plateau(scene, members)
    opening: Quantity
    if plateau is not None:
        constant = conditions.gauge.time_constant_s
        tops, low = plateau
        ripple = float(np.mean(tops)) - low < RIPPLE_SHARE * float(np.mean(tops))
        if ripple if constant is None else constant > 0.2 * scene.interval_s:
            missing = NotMeasured(
                say(
                    "openings run together on a gauge that lags: it showed up to {top}, the needle "
                    "opens above that",
                    top=in_bar(float(np.max(tops))),
                ),
                say("use a faster gauge, or strokes so slow that each opening shows by itself"),
            )
            return missing, missing, missing, ()
        behaves = tuple(one for one in behaves if one.name == "drift")
        opening = plateau_value(tops, low, gauge, follows=constant is not None, scope=scope)
    else:
        opening = set_value(
            scene.lifts, members, scene.home, gauge, lag, scene.noise.step_pa, scope=scope
        )
    opening = opening.with_cautions(*cautions, *scene_lost, *behaves)
    closing = closing_value(scene.lifts, members, gauge, scope=scope).with_cautions(
        *cautions, *behaves
    )
    second = _second_opening(scene, strokes, opening, gauge, lag, conditions, scope)
    return opening, closing, second, behaves


def _rough_plateau(scene: _Scene, members: NDArray[np.bool_]) -> tuple[Floats, float] | None:
    """Return tops of the strokes and the plateau's low, where openings run together."""
    if scene.interval_s <= SLOW_INTERVAL_S:
        return None
    seen = scene.openings.take(members)
    home = scene.home[members]
    same = np.diff(home) == 0
    close = same.any() and float(np.median(np.diff(seen.top)[same])) < RUN_TOGETHER_SAMPLES
    # Or they come so fast that only a ripple is left of them.
    if not close and float(np.median(seen.size_pa / seen.top_pa)) > RIPPLE_SHARE:
        return None
    pressure = scene.recording.pressure_pa
    tops, plateau = [], []
    for one in np.unique(home):
        own = seen.take(home == one)
        part = pressure[own.top[0] : own.bottom[-1] + 1]
        tops.append(float(part.max()))
        plateau.append(part)
    return np.array(tops), float(np.quantile(np.concatenate(plateau), 0.05))


def _first_stage(scene: _Scene, members: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return the members that opened at the first stage, where some reached the second."""
    lift = scene.lifts.lift_off_pa
    usual = float(np.median(lift[members]))
    first = members & (lift < FIRST_OPENING_RATIO * usual)
    return first if first.any() else members


def _second_opening(
    scene: _Scene,
    strokes: tuple[Stroke, ...],
    first: Quantity,
    gauge: GaugeCorrection,
    lag: tuple[float, float],
    conditions: BenchConditions,
    scope: str,
) -> Measured:
    """Return the second opening pressure, where hard strokes show it."""
    if not conditions.geometry.two_spring:
        return NotMeasured(say("the holder is not stated to have two springs"))
    fast = _in_kind(scene, strokes, StrokeKind.FAST)
    high = scene.lifts.lift_off_pa > SECOND_OPENING_RATIO * first.value
    members = fast & high
    if int(members.sum()) < 2:
        return NotMeasured(
            say("no hard stroke showed a second opening above the first"),
            say("stroke as hard as the lever allows, or measure the pre-lift"),
        )
    return replace(
        set_value(scene.lifts, members, scene.home, gauge, lag, scene.noise.step_pa, scope=scope),
        method=say("mean of {count} higher lift-offs in hard strokes", count=int(members.sum())),
    ).with_cautions(
        Caution(say("two springs"), say("the second opening depends on how hard the stroke was"))
    )


def _weeping(
    scene: _Scene, strokes: tuple[Stroke, ...], conditions: BenchConditions
) -> Caution | None:
    """Return the caution for a needle that opens without a pop: strokes that end at one level."""
    tops = []
    high = float(np.max(scene.blocks.pressure_pa))
    ended = -np.inf
    for one, stroke in zip(scene.stretches, strokes, strict=True):
        # What follows at once is the rest of a stroke that an open needle held back.
        same = stroke.start_s - ended < LEAST_PAUSE_S
        twitch = stroke.end_s - stroke.start_s < LEAST_STROKE_S
        ended = stroke.end_s
        if stroke.openings or same or twitch:
            continue
        stop = min(one.stop + max(1, round(0.3 / scene.blocks.interval_s)), scene.rate.size)
        part = scene.blocks.pressure_pa[one.start : stop]
        if part.size == 0:
            continue
        top = float(np.max(part))
        rise = top - float(part[0])
        level = part > top - max(0.012 * top, 4.0 * scene.noise.sigma_pa)
        flat_s = float(np.count_nonzero(level)) * scene.blocks.interval_s
        if top > 0.85 * high and rise > 0.03 * top and flat_s > 0.08:
            tops.append(top)
    if len(tops) < 3:
        return None
    # Strokes that do not reach an opening stop anywhere; a weeping needle holds them at a level.
    values = np.sort(np.array(tops))
    middle = float(np.median(values))
    alike = values[np.abs(values - middle) < max(0.012 * middle, 6.0 * scene.noise.sigma_pa)]
    if alike.size < 3 or alike.size < 0.6 * values.size:
        return None
    target = conditions.opening_target_pa
    if target is not None and not 0.7 * target < middle < 1.4 * target:
        return None
    return Caution(
        say("weeping needle"),
        say(
            "{count} strokes stop rising at about {level} with no fall: oil passes the needle "
            "without a pop",
            count=alike.size,
            level=in_bar(middle, ".0f"),
        ),
    )


def _trapped_air(scene: _Scene) -> tuple[Caution, ...]:
    """Return a caution where the line is soft at low pressure, as free air makes it.

    Oil alone takes about as long from 5 to 20 bar as the lever needs for that share of its
    stroke; free air, whose compliance goes with 1/p^2, makes the low pressures last.
    """
    blocks = scene.blocks
    shares = []
    for one in scene.stretches:
        part = blocks.delivered_pa[one.start : one.stop] - (
            blocks.delivered_pa[one.start] - blocks.pressure_pa[one.start]
        )
        if part.size < 8 or part[0] > 5e5 or part[-1] < 80e5:
            continue
        rising = np.maximum.accumulate(part)
        t5, t20, t80 = np.interp([5e5, 20e5, 80e5], rising, blocks.time_s[one.start : one.stop])
        if t80 > t20:
            shares.append((t20 - t5) / (t80 - t20))
    if shares and float(np.median(shares)) > SOFT_START:
        return (
            Caution(
                say("trapped air"),
                say(
                    "the pressure rises much more slowly from {low} to {high} than above: bleed "
                    "the line and record again",
                    low=pressure_figure(5e5, ".0f"),
                    high=in_bar(20e5, ".0f"),
                ),
            ),
        )
    return ()


def rig_leak(blank: Recording | None, conditions: BenchConditions) -> RigLeak | NotMeasured | None:
    """Return the rig's own leak from the blank-plug hold, recorded or timed; None without one.

    Nothing of the injector bears on it, so all tests at one rig in one sitting can share it.
    """
    gauge = gauge_correction(conditions.gauge, conditions.sitting or say("blank plug"))
    scope = blank_plug_scope(conditions)
    if blank is None:
        if conditions.blank_plug is None or conditions.blank_plug.drop_time_s is None:
            return None
        return rig_leak_by_stopwatch(conditions, gauge, scope)
    if len(blank) < 8 or float(np.ptp(blank.pressure_pa)) == 0.0:
        return NotMeasured(say("the blank-plug recording shows no change of pressure"))
    scene = _Scene(blank)
    rest = drop_rest(without_let_offs(scene.rests), None, None)
    if rest is None:
        return NotMeasured(
            say("the blank-plug recording shows no hold"),
            say("pump up, shut off, and leave it to fall"),
        )
    part = slice(rest.start, rest.stop)
    return rig_leak_from_blank(
        scene.recording.time_s[part],
        scene.recording.pressure_pa[part],
        noise_pa=scene.noise.sigma_pa,
        conditions=conditions,
        gauge=gauge,
        scope=scope,
        lag_s=conditions.gauge.time_constant_s or 0.0,
        step_pa=scene.noise.step_pa,
    )


def _holds(
    scene: _Scene,
    conditions: BenchConditions,
    gauge: GaugeCorrection,
    opening: Measured,
    leak: RigLeak | NotMeasured | None,
    cautions: list[Caution],
    scope: str,
) -> tuple[Hold | NotMeasured, SeatHold | NotMeasured]:
    """Return the hold that answers the sheet's window, and the seat hold."""
    window = conditions.window
    pressures = (window.from_pa, window.to_pa) if window is not None else None
    at = opening.value if isinstance(opening, Quantity) else conditions.opening_target_pa
    seat = seat_rest(scene.rests, at, conditions.seat_margin_pa, pressures)
    drop = drop_rest(without_let_offs(scene.rests), pressures, seat)
    known_leak = leak if isinstance(leak, RigLeak) else None
    noticed = [*cautions]
    if isinstance(leak, NotMeasured):
        noticed.append(Caution(say("rig leak not known"), leak.reason))
    noticed += [one for one in scene.recording.cautions if one.name in _TOUCH_HOLDS]

    def measured(rest: Rest) -> Hold:
        part = slice(rest.start, rest.stop)
        return analyse_hold(
            scene.recording.time_s[part],
            scene.recording.pressure_pa[part],
            noise_pa=scene.noise.sigma_pa,
            conditions=conditions,
            gauge=gauge,
            scope=say("{source}, hold at {time} s", source=scope, time=figure(rest.start_s, ".1f")),
            rig_leak=known_leak,
            lag_s=conditions.gauge.time_constant_s or 0.0,
            step_pa=scene.noise.step_pa,
            cautions=tuple(noticed),
        )

    none = NotMeasured(
        say("no hold was found"), say("pump up, shut the pump off and let the pressure fall")
    )
    hold = measured(drop) if drop is not None else none
    seat_hold: SeatHold | NotMeasured
    if seat is not None:
        seat_hold = measure_seat_hold(
            scene.recording.time_s,
            scene.recording.pressure_pa,
            seat,
            opening,
            gauge,
            scene.noise,
            scene.interval_s,
            conditions.seat_watch,
            scope=scope,
        )
    elif at is None:
        seat_hold = NotMeasured(
            say("the opening pressure is not known, so no hold can be told to be the seat's"),
            say("record an opening in the same recording, or state the opening pressure"),
        )
    else:
        seat_hold = NotMeasured(
            say("no hold was found at the seat's margin below the opening pressure"),
            say("hold the pressure there for the stated time and watch the tip"),
        )
    return hold, seat_hold
