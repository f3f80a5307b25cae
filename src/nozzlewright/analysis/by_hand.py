"""Readings by eye and stopwatch: evidence of their own standing.

A dial read by eye gives what a recording gives, only fewer numbers with wider limits. The same
conversions are used, so that judging need not know which it was.

What the fitter adds is known where a study of fitters stands for the day
(:mod:`nozzlewright.analysis.fitter_share`); elsewhere only the scatter is reckoned with, assumed
or found in few repeats.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from nozzlewright.analysis.fitter_share import DROP, FitterShares, shares_of
from nozzlewright.analysis.gauge import GaugeCorrection, gauge_correction
from nozzlewright.analysis.trace.clearance import guide_clearance, leak_path, watch_of
from nozzlewright.analysis.trace.hold import (
    LEAST_COVERED,
    leak_cautions,
    rig_leak_by_stopwatch,
    timed_fall,
)
from nozzlewright.analysis.trace.knowledge import RigLeak, Values, blank_plug_scope
from nozzlewright.analysis.trace.reference import Conversion
from nozzlewright.analysis.trace.seat import fall_in_hold
from nozzlewright.analysis.trace.set_value import SINGLE_OPENING_SHARE, student_factor
from nozzlewright.analysis.trace.stopwatch import time_uncertainty
from nozzlewright.bench import (
    BenchConditions,
    Chatter,
    DropWindow,
    GaugeFindings,
    Hold,
    ReadingStudies,
    SeatHold,
)
from nozzlewright.capture import HandReadings, TimedDrop, WatchedHold
from nozzlewright.measurement import (
    Cause,
    Caution,
    Measured,
    NotMeasured,
    Quantity,
    difference,
)
from nozzlewright.said import Said, figure, in_bar, pressure_figure, say

FloatArray = NDArray[np.float64]

READING = say("reading by eye")
WIDE_SCATTER_SHARE = 0.015
"""Standard deviation of the pops, as a share of their mean, from which a needle is called
unsteady; common practice, no source."""


@dataclass(frozen=True)
class _Kind:
    """What is said of one kind of pressure on a card."""

    short: Said
    one: Said
    several: Said
    repeatability: Said
    missing: Said
    remedy: Said


_OPENING = _Kind(
    say("opening"),
    say("opening pressure"),
    say("opening pressures"),
    say("repeatability of the opening"),
    say("no opening pressure is on the card"),
    say("read the opening pressure of several slow pops"),
)
_CLOSING = _Kind(
    say("closing"),
    say("closing pressure"),
    say("closing pressures"),
    say("repeatability of the closing"),
    say("no closing pressure is on the card"),
    say("read the closing pressure of several slow pops"),
)


def read_hand(
    readings: HandReadings,
    conditions: BenchConditions | None = None,
    rig_leak: RigLeak | NotMeasured | None = None,
) -> GaugeFindings:
    """Return what one card of hand readings shows.

    Parameters
    ----------
    readings : HandReadings
        Pressures read by eye, falls timed by stopwatch
    conditions : BenchConditions, optional
        What the card cannot know; each missing piece costs only the values that need it
    rig_leak : RigLeak or NotMeasured, optional
        The rig's own leak from a recorded blank-plug hold; otherwise the fall timed in the
        conditions is taken, where there is one
    """
    conditions = _with_count(conditions or BenchConditions(), readings)
    sitting = conditions.sitting or readings.source
    gauge = gauge_correction(conditions.gauge, sitting)
    scope = readings.source
    opening, behaves = _opening(readings, conditions.studies, conditions, gauge)
    # How much of a fitter's level at the pop he takes along to a pressure at rest nobody studied.
    as_read, _ = _opening(readings, conditions.studies.as_read, conditions, gauge)
    closing, _ = _mean_pressure(readings, readings.closing_pa, _CLOSING, gauge)
    if rig_leak is None and conditions.blank_plug and conditions.blank_plug.drop_time_s:
        plug_scope = blank_plug_scope(conditions)
        rig_leak = rig_leak_by_stopwatch(
            conditions, gauge, plug_scope, reading_pa=_reading(readings),
            reaction_s=readings.reaction_time_s,
        )  # fmt: skip
    hold = _hold(readings, conditions, gauge, rig_leak if isinstance(rig_leak, RigLeak) else None)
    seat = readings.seat_hold
    return GaugeFindings(
        source=readings.source,
        digest=readings.digest,
        by_hand=True,
        opening_pressure=opening,
        closing_pressure=closing,
        second_opening_pressure=NotMeasured(
            say("a dial read by eye does not show it"), say("record hard strokes with a fast gauge")
        ),
        hold=hold,
        seat_hold=(
            NotMeasured(
                say("no seat hold is on the card"), say("hold below the opening and watch the tip")
            )
            if seat is None
            else _seat_hold(seat, readings, conditions, gauge, as_read, scope)
        ),
        chatter=_chatter(readings),
        cautions=(*gauge.cautions, *behaves),
        history=(say("read by eye and stopwatch"),),
    )


def _opening(
    readings: HandReadings,
    studies: ReadingStudies,
    conditions: BenchConditions,
    gauge: GaugeCorrection,
) -> tuple[Measured, tuple[Caution, ...]]:
    share = shares_of(
        studies.opening,
        readings.opening_pa,
        fitter=readings.fitter,
        source=readings.source,
        rig=conditions.rig.identity,
        what=_OPENING.short,
    )
    return _mean_pressure(readings, readings.opening_pa, _OPENING, gauge, share)


def _reading(readings: HandReadings) -> float:
    """Return the standard uncertainty of one reading by eye, rectangular, [Pa]."""
    return readings.reading_resolution_pa / math.sqrt(3.0)


@dataclass(frozen=True)
class _Scatter:
    """What the scatter of repeated readings leaves of their mean."""

    repeat: dict[Cause, float]
    """Repeatability of the mean, [Pa]."""
    rounding: float
    """What is left in it of the reading by eye, [Pa]."""
    cautions: tuple[Caution, ...] = ()


def _mean_pressure(
    readings: HandReadings,
    shown: Sequence[float],
    what: _Kind,
    gauge: GaugeCorrection,
    share: FitterShares | None = None,
) -> tuple[Measured, tuple[Caution, ...]]:
    """Return the mean of repeated readings, and how they behave."""
    if not shown:
        return NotMeasured(what.missing, what.remedy), ()
    values = np.asarray(shown, dtype=np.float64)
    count, mean = values.size, float(values.mean())
    own = float(values.std(ddof=1)) if count > 1 else 0.0
    scatter = _scatter(readings, values, what, share)
    cautions = [*scatter.cautions]
    if own > WIDE_SCATTER_SHARE * mean:
        cautions.append(
            Caution(
                say("sticking needle"),
                say(
                    "the {what} differ by {by}: a sticking needle, air, or a gauge that swings",
                    what=what.several,
                    by=in_bar(float(np.ptp(values))),
                ),
            )
        )
    if (drift := _drift(values, _reading(readings))) is not None:
        cautions.append(
            Caution(
                say("drift"),
                say(
                    "the {what} moves by {by} from pop to pop",
                    what=what.one,
                    by=in_bar(drift, "+.1f"),
                ),
            )
        )
    parts = {
        **scatter.repeat,
        Cause(READING, say("{source}, {what}", source=readings.source, what=what.short)): (
            scatter.rounding
        ),
        **gauge.contributions(mean, falling=what is _CLOSING),
    }
    value, method = gauge.correct_one(mean), say("mean of {count} reading(s) by eye", count=count)
    if share is not None:
        parts |= share.parts
        value, method = value - share.level, share.taken_off(method)
    cautioned = (*gauge.cautions_at(mean), *cautions)
    return Quantity(value, "Pa", parts, method, cautioned), tuple(cautions)


def _scatter(
    readings: HandReadings, values: FloatArray, what: _Kind, share: FitterShares | None
) -> _Scatter:
    """Return what their scatter leaves of the mean of some readings, and on what that rests.

    The scatter that a study found stands in place of that of few, unless these scatter more than
    chance allows.
    """
    if share is None:
        single = Caution(say("single reading"), say("one pop says nothing of how they repeat"))
        found = _own_scatter(readings, values, what)
        return replace(found, cautions=(single,)) if values.size == 1 else found
    own = float(values.std(ddof=1)) if values.size > 1 else 0.0
    if not share.are_exceeded_by(own):
        # The study's repeats have the eye's rounding in them, as far as they scatter across it.
        eye = _reading(readings)
        left = math.sqrt(_rounding_left(share.one_reading, eye))
        return _Scatter(share.of_the_mean, eye * left)
    unsteady = Caution(
        say("unsteady readings"),
        say(
            "the {what} scatter by {own} (standard deviation), more than the study of "
            "fitters has it ({study}): their own scatter counts",
            what=what.several,
            own=in_bar(own, ".2f"),
            study=in_bar(share.one_reading, ".2f"),
        ),
    )
    return replace(_own_scatter(readings, values, what), cautions=(unsteady,))


def _own_scatter(readings: HandReadings, values: FloatArray, what: _Kind) -> _Scatter:
    """Return what readings leave of their mean by their own scatter; one by what is usual.

    Few readings know their own scatter badly: s/sqrt(n) is widened so that 1.96 times it covers
    95 % (Student's t; JCGM 100:2008, G.3.2). The eye's rounding averages out only as far as the
    readings scatter across it.
    """
    count, eye = values.size, _reading(readings)
    own, repeat = 0.0, SINGLE_OPENING_SHARE * float(values.mean())
    if count > 1:
        own = float(values.std(ddof=1))
        repeat = own / math.sqrt(count) * student_factor(count)
    rounding = eye * math.sqrt((1.0 + (count - 1) * _rounding_left(own, eye)) / count)
    return _Scatter({Cause(what.repeatability, readings.source): repeat}, rounding)


def _rounding_left(scatter: float, eye: float) -> float:
    """Return the share of the variance of rounding that scatter across it does not average out."""
    return max(0.0, 1.0 - (scatter / eye) ** 2) if eye > 0.0 else 0.0


def _drift(values: FloatArray, eye: float) -> float | None:
    """Return the change from pop to pop where it is plain, [Pa]."""
    if values.size < 4:
        return None
    away = np.arange(values.size) - (values.size - 1) / 2.0
    square = float(away @ away)
    slope = float(away @ values) / square
    left = values - values.mean() - slope * away
    spread = math.hypot(math.sqrt(float(left @ left) / (values.size - 2)), eye)
    return slope if abs(slope) > 4.0 * spread / math.sqrt(square) else None


def _hold(
    readings: HandReadings,
    conditions: BenchConditions,
    gauge: GaugeCorrection,
    rig_leak: RigLeak | None,
) -> Hold | NotMeasured:
    """Return what the timed falls say, those that answer the sheet's window best."""
    falls = [drop for drop in readings.drops if drop.from_pa > drop.to_pa > 0 and drop.seconds > 0]
    if not falls:
        return NotMeasured(
            say("no fall of pressure was timed"), say("time the fall between two pressures")
        )
    window = conditions.window
    alike = _best_falls(falls, window, readings.reading_resolution_pa)
    first = alike[0]
    seconds = np.array([drop.seconds for drop in alike])
    from_pa, to_pa = gauge.correct_one(first.from_pa), gauge.correct_one(first.to_pa)
    reading = _reading(readings)
    mean = float(seconds.mean())
    method = say("mean of {count} fall(s) timed by stopwatch", count=seconds.size)
    own = time_uncertainty(from_pa, to_pa, mean, reading, readings.reaction_time_s)
    doubt = own / math.sqrt(seconds.size)
    scatter = float(seconds.std(ddof=1)) if seconds.size > 1 else 0.0
    again = (
        scatter / math.sqrt(seconds.size) * student_factor(seconds.size) if scatter > 0.0 else 0.0
    )
    scope = say("{source}, hold", source=readings.source)
    cause = Cause(say("stopwatch and reading"), scope)
    share = shares_of(
        conditions.studies.drop,
        seconds.tolist(),
        fitter=readings.fitter,
        source=readings.source,
        rig=conditions.rig.identity,
        what=DROP,
    )
    time_parts: dict[Cause, float] = {}
    if share is None:
        doubt = max(doubt, again)
    else:
        mean, method = mean - share.level, share.taken_off(method)
        time_parts = dict(share.parts)
        if share.are_exceeded_by(scatter):
            doubt = again
        else:
            # What is left beside the study's shares is how the pressure falls between the two ends.
            doubt, cause = 0.0, Cause(say("shape of the fall"), scope)
            time_parts |= share.of_the_mean
    conversion = timed_fall(
        from_pa, to_pa, mean, conditions, gauge, rig_leak, cause, doubt, time_parts=time_parts
    )
    seen = (
        *gauge.cautions,
        Caution(
            say("compression heat"),
            say(
                "a stopwatch cannot tell the cooling of the oil after pumping up from a leak: wait "
                "some seconds before timing"
            ),
        ),
        *leak_cautions(conversion, conditions),
    )
    conductance = conversion.injector_conductance()
    flow = None
    if isinstance(conductance, Quantity):
        at = np.array([conversion.known.middle_pa])
        values = conversion.known.values
        flow = float(conversion.known.injector_flow(values, conversion.fit.values, at)[0])
    reach = _Reach(from_pa, to_pa, window)
    tip = watch_of(conditions)
    return Hold(
        start_s=0.0,
        end_s=mean,
        start_pa=from_pa,
        end_pa=to_pa,
        window_from_pa=window.from_pa if window else None,
        window_to_pa=window.to_pa if window else None,
        drop_time_as_shown=_as_shown(conversion, reach, method, seen),
        drop_time_at_reference=_at_reference(conversion, reach, seen),
        decay_rate=_decay_rate(from_pa, to_pa, mean, {cause: doubt, **time_parts}, gauge, seen),
        leakage_conductance=_cautioned(conductance, seen),
        rig_conductance=conversion.rig_conductance(),
        guide_clearance=_cautioned(guide_clearance(conversion, conditions, scope), seen),
        settling=NotMeasured(
            say("a stopwatch cannot tell cooling from leakage"), say("record the hold with a gauge")
        ),
        tip=tip,
        rig_leak_taken_off=rig_leak is not None,
        leak_path=leak_path(tip, None if rig_leak is None else conversion.rig_share(), flow),
        cautions=seen,
    )


def _best_falls(
    falls: list[TimedDrop], window: DropWindow | None, resolution_pa: float
) -> list[TimedDrop]:
    """Return the falls between the pressures that cover the window best, all alike."""

    def covered(drop: TimedDrop) -> float:
        if window is None:
            return math.log(drop.from_pa / drop.to_pa)
        return _Reach(drop.from_pa, drop.to_pa, window).covered

    best = max(falls, key=covered)
    near = max(resolution_pa, 1.0)
    return [
        drop
        for drop in falls
        if abs(drop.from_pa - best.from_pa) <= near and abs(drop.to_pa - best.to_pa) <= near
    ]


class _Reach:
    """How much of the sheet's window a timed fall has seen."""

    def __init__(self, from_pa: float, to_pa: float, window: DropWindow | None) -> None:
        self.from_pa, self.to_pa, self.window = from_pa, to_pa, window

    @property
    def covered(self) -> float:
        """Share of the window's ln ratio, [1]."""
        if self.window is None:
            return 0.0
        top, bottom = min(self.window.from_pa, self.from_pa), max(self.window.to_pa, self.to_pa)
        if top <= bottom:
            return 0.0
        return math.log(top / bottom) / math.log(self.window.from_pa / self.window.to_pa)

    @property
    def refusal(self) -> NotMeasured | None:
        """Why the fall cannot answer the window; None where it can."""
        if self.window is None:
            return NotMeasured(
                say("the sheet names no pressures between which to time the drop"),
                say("state the window in the sheet or the bench conditions"),
            )
        if self.covered >= LEAST_COVERED:
            return None
        return NotMeasured(
            say(
                "the fall was timed from {start} to {end}, too little of the window from {top} to "
                "{bottom}",
                start=pressure_figure(self.from_pa),
                end=in_bar(self.to_pa),
                top=pressure_figure(self.window.from_pa),
                bottom=in_bar(self.window.to_pa),
            ),
            say("time the fall between the sheet's two pressures"),
        )

    @property
    def cautions(self) -> tuple[Caution, ...]:
        if self.covered > 0.98:
            return ()
        text = say(
            "the fall covers {share} of the window; the rest is extrapolated",
            share=figure(self.covered, ".0%"),
        )
        return (Caution(say("hold cut short"), text),)


def _as_shown(
    conversion: Conversion, reach: _Reach, method: Said, cautions: tuple[Caution, ...]
) -> Measured:
    window, refusal = reach.window, reach.refusal
    if window is None or refusal is not None:
        return refusal or NotMeasured(say("no window is stated"))
    known = conversion.known

    def seconds(v: Values, fitted: FloatArray) -> float:
        return known.time_of_fall(v, fitted, window.from_pa, window.to_pa)

    same = max(abs(reach.from_pa - window.from_pa), abs(reach.to_pa - window.to_pa)) < 1e3
    if not same:
        method = say(
            "{method} from {start} to {end}, brought to the window by the law of a laminar leak",
            method=method,
            start=pressure_figure(reach.from_pa),
            end=in_bar(reach.to_pa),
        )
    time = conversion.propagated(seconds, unit="s", method=method)
    return time.with_cautions(*cautions, *reach.cautions)


def _at_reference(conversion: Conversion, reach: _Reach, cautions: tuple[Caution, ...]) -> Measured:
    window, refusal = reach.window, reach.refusal
    if window is None or refusal is not None:
        return refusal or NotMeasured(say("no window is stated"))
    return _cautioned(conversion.time_at_reference(window), (*cautions, *reach.cautions))


def _decay_rate(
    from_pa: float,
    to_pa: float,
    seconds: float,
    doubts_s: Mapping[Cause, float],
    gauge: GaugeCorrection,
    cautions: tuple[Caution, ...],
) -> Quantity:
    """Return the mean slope of ln p between the two readings, [1/s]."""
    ratio = math.log(from_pa / to_pa)
    rate = ratio / seconds
    # Time and readings matter to a slope of ln p; the law of the leak does not.
    # A time that is read too long makes it too small.
    parts = {cause: -rate * doubt_s / seconds for cause, doubt_s in doubts_s.items()}
    for shared, part in gauge.contributions(math.sqrt(from_pa * to_pa)).items():
        parts[shared] = part * (1.0 / from_pa - 1.0 / to_pa) / seconds
    return Quantity(rate, "1/s", parts, say("ln of the two readings over the time"), cautions)


def _cautioned(measured: Measured, cautions: tuple[Caution, ...]) -> Measured:
    return measured.with_cautions(*cautions) if isinstance(measured, Quantity) else measured


def _seat_hold(
    seat: WatchedHold,
    readings: HandReadings,
    conditions: BenchConditions,
    gauge: GaugeCorrection,
    opening: Measured,
    scope: str,
) -> SeatHold:
    """Return the seat hold as it was read at its ends; it is taken as pumped up to."""
    eye = _reading(readings)
    at_start = Cause(READING, say("{source}, seat hold start", source=scope))
    at_end = Cause(READING, say("{source}, seat hold end", source=scope))
    start = gauge.correct_one(seat.start_pa)

    def at_eye(
        value: float, own: dict[Cause, float], method: str, *, falling: bool = False
    ) -> Quantity:
        parts = {**own, **gauge.contributions(value, falling=falling)}
        return Quantity(value, "Pa", parts, method, gauge.cautions)

    watch = Cause(say("stopwatch"), say("{source}, seat hold", source=scope))
    started = at_eye(start, {at_start: eye}, say("read by eye"))
    mean: Measured
    fall: Measured
    if seat.end_pa is None:
        fall = NotMeasured(say("the pressure at the end of the hold was not read"), say("read it"))
        mean = fall
    else:
        end = gauge.correct_one(seat.end_pa)
        fall = fall_in_hold(
            start, end, {at_start: eye, at_end: -eye}, gauge,
            say("difference of two readings by eye"), scope=scope,
        )  # fmt: skip
        mean = at_eye(
            0.5 * (start + end), {at_start: 0.5 * eye, at_end: 0.5 * eye},
            say("mean of two readings by eye"), falling=True,
        )  # fmt: skip
    margin: Measured = NotMeasured(say("the opening pressure was not read"))
    if isinstance(opening, Quantity):
        margin = difference(opening, started, method=say("opening pressure less start of hold"))
    return SeatHold(
        start_s=0.0,
        end_s=seat.seconds,
        start_pressure=started,
        mean_pressure=mean,
        fall=fall,
        duration=Quantity(
            seat.seconds,
            "s",
            {watch: readings.reaction_time_s},
            say("stopwatch"),
        ),
        margin_below_opening=margin,
        watch=conditions.seat_watch,
    )  # fmt: skip


def _with_count(conditions: BenchConditions, readings: HandReadings) -> BenchConditions:
    """Return the conditions with the drops that the card counted, where they state none."""
    counted = readings.leak_off
    if counted is None or conditions.drop_watch.leak_off_drops is not None:
        return conditions
    drop_watch, seat_watch = (
        replace(watch, leak_off_drops=counted.drops, leak_off_seconds=counted.seconds)
        for watch in (conditions.drop_watch, conditions.seat_watch)
    )
    return replace(conditions, drop_watch=drop_watch, seat_watch=seat_watch)


def _chatter(readings: HandReadings) -> Chatter | NotMeasured:
    counts = np.asarray(readings.openings_per_stroke, dtype=np.float64)
    if counts.size == 0:
        return NotMeasured(
            say("nobody counted openings"), say("record a few quick strokes with a fast gauge")
        )
    spread = float(counts.std(ddof=1)) if counts.size > 1 else 1.0
    widened = student_factor(counts.size) if counts.size > 1 else 1.0
    unheard = NotMeasured(
        say("the ear does not time them"), say("record quick strokes with a fast gauge")
    )
    return Chatter(
        openings_per_stroke=Quantity(
            float(counts.mean()),
            "1",
            {
                Cause(say("counted by ear"), readings.source): max(
                    spread / math.sqrt(counts.size) * widened, 0.5 / math.sqrt(counts.size)
                )
            },
            say("counted in {count} stroke(s)", count=counts.size),
        ),
        rate=unheard,
        regularity=unheard,
    )
