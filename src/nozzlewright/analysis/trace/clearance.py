"""Which way the oil goes, and how wide the guide would have to be for it."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from nozzlewright.analysis.trace.knowledge import Values
from nozzlewright.analysis.trace.reference import Conversion
from nozzlewright.bench import BenchConditions, NozzleGeometry, TipGrade, TipWatch
from nozzlewright.measurement import Cause, Caution, NotMeasured, Quantity
from nozzlewright.physics import clearance_from_leakage, gap_growth_per_pa
from nozzlewright.said import Said, figure, joined, say

FloatArray = NDArray[np.float64]

GROWTH_SHARES = 0.6, 1.0
"""Share of the free cylinder's growth that a gap shows: nut and neighbouring metal hold it, and
the pressure falls along it (common practice, no source)."""
THINNEST_BODY = 1.5
"""Outer over guide diameter of the thinnest nozzle body where its diameter is not known."""
DROP_VOLUMES_M3 = 10e-9, 50e-9
"""A drop of test oil from a leak-off, [m^3] (common practice, no source)."""


def watch_of(conditions: BenchConditions) -> TipWatch:
    """Return what was seen while the drop was timed, filled up from the seat hold."""
    drop, seat = conditions.drop_watch, conditions.seat_watch
    return TipWatch(
        grade=drop.grade if drop.grade is not None else seat.grade,
        leak_off_drops=drop.leak_off_drops,
        leak_off_seconds=drop.leak_off_seconds,
        outside_leak=drop.outside_leak or seat.outside_leak,
    )


def leak_path(watch: TipWatch, rig_share: float | None, flow_m3_s: float | None) -> Said:
    """Say which leak it is, as far as it can be told.

    Parameters
    ----------
    watch : TipWatch
        What was seen during the hold
    rig_share : float or None
        Share of the rig in the whole leak, [1]; None: no blank-plug hold
    flow_m3_s : float or None
        The injector's leak in the middle of the hold, [m^3/s]; None where it is not known
    """
    words = []
    if watch.outside_leak:
        words.append(
            say(
                "Oil was seen at {outside}: at least part of the fall is an outside leak (pressure "
                "face, nut or joint); cure it before blaming the guide.",
                outside=watch.outside_leak,
            )
        )
    if watch.grade is TipGrade.DROP:
        words.append(
            say(
                "The tip dripped: the seat leaks, at least in part, and the trace cannot say how "
                "much of the fall is the guide."
            )
        )
    elif watch.grade is TipGrade.DAMP:
        words.append(
            say("The tip grew damp: a little of the fall is the seat, the rest the guide.")
        )
    elif watch.grade is TipGrade.DRY and not watch.outside_leak:
        words.append(
            say(
                "The tip stayed dry and {drops} drop(s) came from the leak-off: the oil passes the "
                "guide.",
                drops=watch.leak_off_drops or 0,
            )
            if watch.leak_off_drops
            else say("The tip stayed dry: the oil passes the guide.")
        )
    elif watch.grade is None:
        words.append(
            say(
                "Nobody noted the tip: the trace alone cannot tell a leak past the guide from one "
                "past the seat."
            )
        )
    if watch.leak_off_drops is not None and watch.leak_off_seconds and flow_m3_s:
        words += _drops_against_fall(watch.leak_off_drops, watch.leak_off_seconds, flow_m3_s)
    if rig_share is None:
        words.append(say("What the rig itself leaks is not known."))
    elif rig_share >= 0.02:
        share = figure(min(rig_share, 1.0), ".0%")
        words.append(say("The rig itself takes {share} of the whole leak.", share=share))
    else:
        words.append(say("The rig itself is tight."))
    return joined(" ", words)


def _drops_against_fall(drops: int, seconds: float, flow_m3_s: float) -> list[Said]:
    small, large = DROP_VOLUMES_M3
    leaked = flow_m3_s * seconds
    if drops * small > 2.0 * leaked:
        return [say("More drops came from the leak-off than the fall explains: count again.")]
    if (drops + 1) * large < 0.5 * leaked:
        return [
            say(
                "The leak-off gave far less ({drops} drop(s) in {time} s) than the fall explains: "
                "look for another path (seat, pressure face, rig).",
                drops=drops,
                time=figure(seconds, "g"),
            )
        ]
    return []


def guide_clearance(
    conversion: Conversion, conditions: BenchConditions, scope: str
) -> Quantity | NotMeasured:
    """Return the effective hydraulic clearance of the guide, diametral, [m].

    The interval runs from a needle that touches and a gap that grows as a free cylinder would,
    to a central needle and little growth; the value is its middle.

    Parameters
    ----------
    conversion : Conversion
        The fitted decay with what is known of the bench
    conditions : BenchConditions
        For the guide's dimensions and what was seen at the tip
    scope : str
        Names the injector, for causes that are its own
    """
    geometry, known = conditions.geometry, conversion.known
    watch = watch_of(conditions)
    refused = _refused(geometry, watch, conversion)
    if refused is not None:
        return refused
    diameter, length = geometry.guide_diameter_m or 0.0, geometry.guide_length_m or 0.0
    least_growth, most_growth = _growth_range(geometry)

    def gap(v: Values, fitted: FloatArray, eccentricity: float, growth: float) -> float:
        flow = float(known.injector_flow(v, fitted, np.array([known.middle_pa]))[0])
        return float(
            clearance_from_leakage(
                max(flow, 0.0), known.middle_pa, diameter, length,
                known.viscosity(v, v["temperature"]), eccentricity=eccentricity,
                growth_m_per_pa=growth, alpha_per_pa=v["pressure viscosity"],
            )
        )  # fmt: skip

    def middle(v: Values, fitted: FloatArray) -> float:
        return 0.5 * (gap(v, fitted, 1.0, most_growth) + gap(v, fitted, 0.0, least_growth))

    values, fitted = known.values, conversion.fit.values
    low, high = gap(values, fitted, 1.0, most_growth), gap(values, fitted, 0.0, least_growth)
    if high <= 0.0:
        return conversion.too_leaky()
    central, touching = gap(values, fitted, 0.0, most_growth), low
    measured = conversion.propagated(
        middle,
        unit="m",
        method=say(
            "effective hydraulic clearance, diametral, from the leak in the middle of the hold "
            "(laminar thin gap); not a dimension"
        ),
        cautions=(*known.cautions, *known.wall_cautions, *_path_cautions(watch)),
    )
    reach = 1.959963984540054 * measured.standard_uncertainty / measured.value
    eccentric, grown = (central - touching), (high - central)
    return Quantity(
        measured.value,
        "m",
        {
            **measured.contributions,
            Cause(say("eccentricity"), scope): eccentric / math.sqrt(12.0),
            Cause(say("growth of the gap"), scope): grown / math.sqrt(12.0),
        },
        measured.method,
        measured.cautions,
        interval=(max(low * (1.0 - reach), 0.0), high * (1.0 + reach)),
    )


def _refused(
    geometry: NozzleGeometry, watch: TipWatch, conversion: Conversion
) -> NotMeasured | None:
    known = conversion.known
    if geometry.guide_diameter_m is None or geometry.guide_length_m is None:
        return NotMeasured(
            say("diameter or length of the guide is not known"),
            say("state guide diameter and length with the injector"),
        )
    if watch.grade is TipGrade.DROP:
        return NotMeasured(
            say("the tip dripped, and the trace cannot tell guide leakage from seat leakage"),
            say("cure the seat, then repeat the hold"),
        )
    if watch.outside_leak:
        return NotMeasured(
            say("oil also left at {outside}", outside=watch.outside_leak),
            say("cure the outside leak, then repeat the hold"),
        )
    if not known.volume_known:
        return NotMeasured(known.compliance_reason, say("measure the rig's volume or compliance"))
    if known.viscosity_reason:
        return NotMeasured(
            known.viscosity_reason,
            say("take two viscosities from the fluid's data sheet"),
        )
    if not known.temperature_known:
        return NotMeasured(
            say("the oil temperature was not noted"), say("note the oil temperature with each test")
        )
    return None


def _growth_range(geometry: NozzleGeometry) -> tuple[float, float]:
    """Return the least and the most growth of the radial gap, [m/Pa]."""
    guide, body = geometry.guide_diameter_m or 0.0, geometry.body_diameter_m
    if body is None or body <= guide:
        return 0.0, gap_growth_per_pa(guide, THINNEST_BODY * guide)
    free = gap_growth_per_pa(guide, body)
    return GROWTH_SHARES[0] * free, GROWTH_SHARES[1] * free


def _path_cautions(watch: TipWatch) -> tuple[Caution, ...]:
    if watch.grade is TipGrade.DRY:
        return ()
    seen = say("nobody noted the tip") if watch.grade is None else say("the tip grew damp")
    text = say("{seen}: what leaks past the seat makes the guide look wider", seen=seen)
    return (Caution(say("upper bound"), text),)
