"""The seat hold: pressure a stated margin below the opening pressure, tip watched."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from nozzlewright.analysis.gauge import HYSTERESIS, TURN, GaugeCorrection
from nozzlewright.analysis.trace.noise import Noise
from nozzlewright.analysis.trace.rests import Rest
from nozzlewright.bench import SeatHold, TipWatch
from nozzlewright.measurement import Cause, Caution, Measured, NotMeasured, Quantity, difference
from nozzlewright.said import Said, in_bar, say

Floats = NDArray[np.float64]

END_S = 0.3
"""Time over which the pressure at either end of the hold is averaged."""
ONE_TAIL = 1.6448536269514722
"""Standard deviations that a normal error exceeds on one side once in twenty."""
BEFORE_S = 1.0
"""Time before a hold that tells whether the pressure had risen to it."""
QUICK_FALL_SHARE = 0.25
"""Share of the pressure that a hold may lose before its mean stops meaning much."""


def measure_seat_hold(
    time_s: Floats,
    pressure: Floats,
    rest: Rest,
    opening: Measured,
    gauge: GaugeCorrection,
    noise: Noise,
    interval_s: float,
    watch: TipWatch,
    *,
    scope: str,
) -> SeatHold:
    """Return start, mean, fall and duration of a seat hold.

    Parameters
    ----------
    time_s, pressure : ndarray of shape (N,)
        The recording, [s] and [Pa]
    rest : Rest
        The stretch of the hold
    opening : Measured
        Opening pressure, for the margin below it; the gauge's level cancels in the margin
    watch : TipWatch
        What the fitter saw at the tip
    """
    t = time_s[rest.start : rest.stop]
    p = pressure[rest.start : rest.stop]
    few = max(1, min(round(END_S / interval_s), t.size // 4))
    start = gauge.correct_one(float(p[:few].mean()))
    end = gauge.correct_one(float(p[-few:].mean()))
    mean = gauge.correct_one(float(p.mean()))
    grain = max(noise.sigma_pa / np.sqrt(few), noise.step_pa / np.sqrt(12.0))
    at_start, at_end = (
        Cause(say("noise at the start"), scope),
        Cause(say("noise at the end"), scope),
    )

    def pressure_of(
        value: float, own: dict[Cause, float], method: str, *, falling: bool
    ) -> Quantity:
        parts = {**own, **gauge.contributions(value, falling=falling)}
        return Quantity(value, "Pa", parts, method, gauge.cautions)

    start_pressure = pressure_of(
        start,
        {at_start: grain},
        say("mean of the hold's first moments"),
        falling=not _was_pumped_up(time_s, pressure, rest, float(p[:few].mean()), grain),
    )
    duration = float(t[-1] - t[0])
    fall = fall_in_hold(
        start, end, {at_start: grain, at_end: -grain}, gauge,
        say("pressure at the start of the hold less the one at its end"), scope=scope,
    )  # fmt: skip
    cautions = []
    if fall.value > QUICK_FALL_SHARE * start:
        cautions.append(
            Caution(
                say("quick fall"),
                say(
                    "the pressure falls by {fall} during the hold: the seat is tried at much less "
                    "than the stated margin for most of it",
                    fall=in_bar(fall.value, ".0f"),
                ),
            )
        )
    margin: Measured
    if isinstance(opening, Quantity):
        # Opening and start were pumped up to: the way of the gauge is common to them.
        margin = difference(
            opening, start_pressure, method=say("opening pressure less start of hold")
        )
    else:
        margin = NotMeasured(say("the opening pressure was not measured"))
    return SeatHold(
        start_s=rest.start_s,
        end_s=rest.end_s,
        start_pressure=start_pressure,
        mean_pressure=pressure_of(
            mean,
            {Cause(say("noise of the mean"), scope): grain},
            say("mean over the hold"),
            falling=True,
        ),
        fall=fall,
        duration=Quantity(
            duration,
            "s",
            {Cause(say("edges of the hold"), scope): 0.02 + interval_s},
            say("from the pump at rest to the end of the hold"),
        ),
        margin_below_opening=margin,
        watch=watch,
        cautions=tuple(cautions),
    )


def _was_pumped_up(
    time_s: Floats, pressure: Floats, rest: Rest, start_pa: float, grain_pa: float
) -> bool:
    """Return whether the pressure had risen to where a hold begins, and not come down to it."""
    low = int(np.searchsorted(time_s, rest.start_s - BEFORE_S))
    before = pressure[low : rest.start]
    return before.size == 0 or float(before.mean()) <= start_pa + 3.0 * grain_pa


def fall_in_hold(
    start_pa: float,
    end_pa: float,
    own: dict[Cause, float],
    gauge: GaugeCorrection,
    method: Said,
    *,
    scope: str,
) -> Quantity:
    """Return the fall of a pressure that was pumped up and then left to itself, [Pa].

    Parameters
    ----------
    start_pa, end_pa : float
        Gauge errors taken off, [Pa]
    own : dict
        What either reading has of its own, with its sign, [Pa]
    gauge : GaugeCorrection
        Its level is common to both, and goes out as far as it is the same at both pressures; its
        way is not, as the pressure turns in between
    method : Said
        How the fall came about, the turn apart
    scope : str
        Names the test
    """
    half = gauge.half_turn(start_pa)
    parts = dict(own)
    at_end = gauge.contributions(end_pa)
    for cause, part in gauge.contributions(start_pa).items():
        if cause.name != HYSTERESIS:
            parts[cause] = part - at_end.get(cause, 0.0)
    fall, interval = start_pa - end_pa + half, None
    if half != 0.0:
        # At either end of the bound one tail alone is left to the rest.
        reach = abs(half) + ONE_TAIL * math.hypot(*parts.values())
        interval = (fall - reach, fall + reach)
        parts[Cause(TURN, scope)] = half
        method = say(
            "{method}; half of the gauge's hysteresis ({half}) added, as it held some of the fall "
            "back when the pressure turned",
            method=method,
            half=in_bar(half, ".2f"),
        )
    return Quantity(fall, "Pa", parts, method, interval=interval)
