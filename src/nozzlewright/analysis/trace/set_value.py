"""The opening pressure to which an injector is set, from all its openings."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from nozzlewright.analysis.gauge import RESOLUTION, GaugeCorrection
from nozzlewright.analysis.trace.openings import FALL_SHOWS_DOUBT_S, LiftOffs
from nozzlewright.measurement import Cause, Caution, Quantity
from nozzlewright.said import figure, in_bar, pressure_figure, say

Floats = NDArray[np.float64]

SINGLE_OPENING_SHARE = 0.005
"""Standard uncertainty of a single pop as a share of its pressure; common practice, no source."""


def student_factor(count: int) -> float:
    """Return what widens s / sqrt(n) so that 1.96 times it covers 95 % (JCGM 100:2008, G.3.2).

    >>> round(student_factor(4), 3)
    1.624
    """
    from scipy.special import stdtrit

    return float(stdtrit(count - 1, 0.975)) / 1.959963984540054


def set_value(
    lifts: LiftOffs,
    members: NDArray[np.bool_],
    stroke: NDArray[np.intp],
    gauge: GaugeCorrection,
    lag: tuple[float, float],
    step_pa: float,
    *,
    scope: str,
) -> Quantity:
    """Return the opening pressure from the chosen openings.

    Parameters
    ----------
    lifts : LiftOffs
        All openings
    members : ndarray of shape (E,)
        Which of them to use (those of slow strokes)
    stroke : ndarray of shape (E,)
        Stroke of each opening
    gauge : GaugeCorrection
        Certificate or class
    lag : (float, float)
        The gauge's lag and its standard uncertainty, [s]
    step_pa : float
        Step of the recording, [Pa]
    scope : str
        Names the injector's test: causes that belong to it alone

    Notes
    -----
    Openings in one stroke are alike, so that three strokes or more count as one observation
    each; with fewer, each opening is one. The mean's repeatability is widened by Student's
    factor. It cannot be less than noise and sampling gap make of it.
    """
    shown = lifts.lift_off_pa[members]
    rate = lifts.rate_pa_per_s[members]
    true = shown + rate * lag[0]
    values = _by_stroke(true, stroke[members])
    count = values.size
    mean = float(values.mean())
    own = float(np.sqrt(np.mean(lifts.standard_uncertainty_pa[members] ** 2) / shown.size))
    if count > 1:
        scatter = float(np.std(values, ddof=1)) / np.sqrt(count) * student_factor(count)
        repeat = max(scatter, own)
    else:
        repeat = float(np.hypot(SINGLE_OPENING_SHARE * mean, own))
    lag_part = float(np.mean(rate)) * lag[1]
    steps = max(step_pa / np.sqrt(12.0), gauge.resolution_standard_uncertainty_pa)
    parts = {
        Cause(say("repeatability of the opening"), scope): repeat,
        Cause(say("lag of the gauge"), scope): lag_part,
        Cause(say("start of the fall"), scope): float(np.mean(rate)) * FALL_SHOWS_DOUBT_S,
        Cause(RESOLUTION, scope): steps / np.sqrt(count),
        **gauge.contributions(mean),
    }
    strokes = np.unique(stroke[members]).size
    return Quantity(
        value=gauge.correct_one(mean),
        unit="Pa",
        contributions=parts,
        method=(
            say(
                "mean of {count} lift-off(s) in {strokes} stroke(s), each read off a line through "
                "the rise before it; lag of the gauge taken out",
                count=shown.size,
                strokes=strokes,
            )
        ),
        cautions=gauge.cautions_at(mean),
    )


RUN_TOGETHER_SAMPLES = 8
"""Samples from one opening to the next below which a slow gauge cannot part them."""


def plateau_value(
    tops_pa: Floats, low_pa: float, gauge: GaugeCorrection, *, follows: bool, scope: str
) -> Quantity:
    """Return the opening pressure from a rough plateau in which openings run together.

    Parameters
    ----------
    tops_pa : ndarray of shape (S,)
        Highest pressure of each stroke, [Pa]
    low_pa : float
        What the plateau falls to, [Pa]
    gauge : GaugeCorrection
        Certificate or class
    follows : bool
        Whether the gauge is stated to follow within a fraction of the sampling interval
    scope : str
        Names the injector's test

    Notes
    -----
    A gauge that is sampled seldom but follows at once shows nearly the lift-off pressure now and
    then; one that lags shows something between closing and lift-off, with half the swing or
    less. The lift-off then lies from a tenth of the swing below the highest reading to three
    tenths above it (a gauge that follows) or seven (one of which that is not known); within that
    nothing is known (rectangular).
    """
    top = float(np.mean(tops_pa))
    swing = max(top - low_pa, 0.0)
    count = tops_pa.size
    scatter = float(np.std(tops_pa, ddof=1)) / np.sqrt(count) if count > 1 else 0.25 * swing
    low, high = (-0.1, 0.3) if follows else (-0.1, 0.7)
    value = top + 0.5 * (low + high) * swing
    return Quantity(
        value=gauge.correct_one(value),
        unit="Pa",
        contributions={
            Cause(say("slow gauge"), scope, rectangular=True): (high - low) * swing / np.sqrt(12.0),
            Cause(say("repeatability of the opening"), scope): scatter,
            **gauge.contributions(value),
        },
        method=(
            say(
                "highest readings of {count} stroke(s), raised by a share of the swing of {swing}, "
                "because openings run together on a slow gauge",
                count=count,
                swing=in_bar(swing),
            )
        ),
        cautions=gauge.cautions_at(value),
    )


def _by_stroke(values: Floats, stroke: NDArray[np.intp]) -> Floats:
    """Return stroke means where there are three strokes or more, else the values themselves."""
    distinct, index = np.unique(stroke, return_inverse=True)
    if distinct.size < 3:
        return values
    return np.asarray(np.bincount(index, values) / np.bincount(index))


def closing_value(
    lifts: LiftOffs, members: NDArray[np.bool_], gauge: GaugeCorrection, *, scope: str
) -> Quantity:
    """Return the mean closing pressure of the chosen openings.

    It depends on the rig's volume and on how fast the needle falls, and lies under the static
    value; the fastest part of the fall lies between samples.
    """
    closing = lifts.closing_pa[members]
    count = closing.size
    mean = float(closing.mean())
    fall = float(np.mean(lifts.lift_off_pa[members] - closing))
    scatter = float(np.std(closing, ddof=1)) / np.sqrt(count) if count > 1 else 0.1 * fall
    return Quantity(
        value=gauge.correct_one(mean),
        unit="Pa",
        contributions={
            Cause(say("repeatability of the closing"), scope): scatter
            * (student_factor(count) if count > 1 else 1.0),
            Cause(say("sampling of the fall"), scope): 0.02 * fall,
            **gauge.contributions(mean, falling=True),
        },
        method=say("mean of {count} closing pressure(s); depends on the rig's volume", count=count),
        cautions=gauge.cautions_at(mean),
    )


def behaviour(lifts: LiftOffs, members: NDArray[np.bool_]) -> tuple[Caution, ...]:
    """Return what the openings tell of the needle: drift from pop to pop, sticking."""
    lift = lifts.lift_off_pa[members]
    count = lift.size
    if count < 4:
        return ()
    cautions = []
    order = np.arange(count) - 0.5 * (count - 1)
    level = float(lift.mean())
    slope = float(order @ (lift - level) / (order @ order))
    rest = lift - level - slope * order
    scatter = float(np.sqrt(rest @ rest / (count - 2)))
    change = slope * (count - 1)
    significance = abs(slope) * np.sqrt(order @ order) / max(scatter, 1e-9)
    limit = student_factor(count) * 1.96 * 1.6
    if significance > limit and abs(change) > max(0.006 * level, 0.8e5):
        by = in_bar(abs(change))
        drift = (
            say(
                "the opening pressure rises steadily, by {by} over {count} openings",
                by=by,
                count=count,
            )
            if change > 0
            else say(
                "the opening pressure falls steadily, by {by} over {count} openings",
                by=by,
                count=count,
            )
        )
        cautions.append(Caution(say("drift"), drift))
    noise = float(np.sqrt(np.mean(lifts.standard_uncertainty_pa[members] ** 2)))
    ratio = lifts.closing_pa[members] / lift
    if scatter > max(0.012 * level, 4.0 * noise):
        cautions.append(
            Caution(
                say("sticking needle"),
                say(
                    "lift-off scatters by {scatter} from pop to pop (highest {highest}, lowest "
                    "{lowest})",
                    scatter=in_bar(scatter),
                    highest=pressure_figure(lift.max()),
                    lowest=in_bar(lift.min()),
                ),
            )
        )
    elif float(np.std(ratio)) > 0.06 or float(np.median(ratio)) < 0.45:
        cautions.append(
            Caution(
                say("sticking needle"),
                say(
                    "the needle closes late or unevenly: from {least} to {most} of the lift-off "
                    "pressure",
                    least=figure(ratio.min(), ".0%"),
                    most=figure(ratio.max(), ".0%"),
                ),
            )
        )
    return tuple(cautions)
