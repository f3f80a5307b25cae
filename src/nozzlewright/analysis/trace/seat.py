"""The seat hold: pressure a stated margin below the opening pressure, tip watched."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from nozzlewright.analysis.gauge import GaugeCorrection
from nozzlewright.analysis.trace.noise import Noise
from nozzlewright.analysis.trace.rests import Rest
from nozzlewright.bench import SeatHold, TipWatch
from nozzlewright.measurement import Cause, Caution, Measured, NotMeasured, Quantity, difference
from nozzlewright.said import in_bar, say

Floats = NDArray[np.float64]

END_S = 0.3
"""Time over which the pressure at either end of the hold is averaged."""
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

    def pressure_of(value: float, own: dict[Cause, float], method: str) -> Quantity:
        parts = {**own, **gauge.contributions(value, falling=True)}
        return Quantity(value, "Pa", parts, method, gauge.cautions)

    start_pressure = pressure_of(start, {at_start: grain}, say("mean of the hold's first moments"))
    duration = float(t[-1] - t[0])
    fall = Quantity(
        start - end,
        "Pa",
        {at_start: grain, at_end: -grain},
        say("pressure at the start of the hold less the one at its end"),
    )
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
            mean, {Cause(say("noise of the mean"), scope): grain}, say("mean over the hold")
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
