r"""What a check of the rig shows: zero, own leak, compliance, the reference nozzle.

Compliance from known volumes. What is let out is caught at no pressure, where the oil fills more
room than it did under pressure, and under pressure it grows stiffer. With :math:`r(p) =
\rho(p)/\rho(0)` and the compliance C(p) of oil and walls,

.. math:: V = \int_{p_2}^{p_1} r(p)\,C(p)\,dp = C(p_m) \int_{p_2}^{p_1} r(p)
          \frac{V_0/B(p) + C_w}{V_0/B(p_m) + C_w}\,dp ,

so the volume is in proportion to an *effective* drop, the last integral, and the slope is the
compliance at :math:`p_m` (derived: conservation of mass). What is forced in by strokes of the
lever comes from no pressure too, and obeys the same law.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from nozzlewright.analysis.by_hand import read_hand
from nozzlewright.analysis.gauge import FloatArray, GaugeCorrection, gauge_correction
from nozzlewright.analysis.trace import RigLeak, read_trace, rig_leak
from nozzlewright.bench import (
    BenchConditions,
    BledVolume,
    DropWindow,
    Fluid,
    GaugeFindings,
    Hold,
    LeverStrokes,
    NozzleGeometry,
    ReferenceNozzle,
    RigCheck,
    RigReadings,
    TipWatch,
)
from nozzlewright.bench.rig_check import (
    NO_BLANK,
    NO_COMPLIANCE,
    NO_REFERENCE,
    NO_TEMPERATURE,
    NO_ZERO,
)
from nozzlewright.capture import HandReadings, Recording, TimedDrop
from nozzlewright.measurement import (
    Cause,
    Caution,
    Measured,
    NotMeasured,
    Quantity,
    coverage_factor,
)
from nozzlewright.physics.fluid import (
    GAS_OIL_MODULUS,
    GAS_OIL_MODULUS_PRESSURE_SLOPE,
    GAS_OIL_MODULUS_TEMPERATURE_SLOPE,
    GAS_OIL_REFERENCE_TEMPERATURE_K,
)
from nozzlewright.said import figure, in_bar, say

BLOCKS = 8
"""Stretches into which a recording at rest is cut: their means tell how well its mean is known."""
REST_SPAN_PA = 5e5
"""A recording that moves by more than this is not at rest (common practice, no source)."""
LOWEST_PA = 20e5
"""Below it free air bends the compliance (common practice, no source)."""
TRAVEL_HALF_WIDTH_M = 0.5e-3
"""What a steel rule tells of the plunger's travel, to either side (common practice, no source)."""
AREA_RELATIVE = 0.01
"""Plunger area from a diameter taken with a calliper (common practice, no source)."""
FEWEST_FOR_DEAD_ROOM = 5
FILLING = 0.10
"""A first stroke that raises the pressure by so much less than the later ones only fills."""
EYE_SHARE = 0.25
"""Half-width of what an eye tells between two marks, as a share of their distance."""
CLEARLY = 2.0
"""Standard uncertainties by which an effect must differ from nothing to be believed."""
TYPICAL_TEMPERATURE_K = 293.15
_STEPS = 33


def check_rig(
    conditions: BenchConditions,
    made_on: str,
    blank: Recording | None = None,
    reference: Recording | None = None,
    zero: Recording | None = None,
    leak: RigLeak | NotMeasured | None = None,
) -> RigCheck:
    """Return what the readings and recordings of a check show.

    Parameters
    ----------
    conditions : BenchConditions
        The rig's card with the readings of the day
    made_on : str
        Day, ISO 8601
    blank : Recording, optional
        Hold with the blank plug, where it was recorded
    reference : Recording, optional
        Test of the reference nozzle, where it was recorded
    zero : Recording, optional
        Gauge at rest without pressure, where it was recorded
    leak : RigLeak or NotMeasured, optional
        The rig's own leak, where it was fitted already
    """
    readings = conditions.readings or RigReadings()
    found = leak if leak is not None else rig_leak(blank, conditions)
    compliance, at_pa = NO_COMPLIANCE, None
    measured: Measured = compliance
    if readings.bled:
        measured, at_pa = compliance_from_bled(readings, conditions)
    elif readings.strokes is not None:
        measured, at_pa = compliance_from_strokes(readings.strokes, conditions, found)
    opening, drop = reference_values(readings, conditions, reference, found)
    return RigCheck(
        made_on=made_on,
        oil_temperature=conditions.oil_temperature or NO_TEMPERATURE,
        zero=zero_of_gauge(readings, conditions, zero),
        blank_decay_rate=_decay_rate(found),
        compliance=measured,
        compliance_pressure_pa=at_pa,
        reference_opening=opening,
        reference_drop=drop,
    )


def _decay_rate(leak: RigLeak | NotMeasured | None) -> Measured:
    if leak is None:
        return NO_BLANK
    if isinstance(leak, NotMeasured):
        return leak
    return leak.decay_rate.with_cautions(*leak.cautions)


# --- zero -----------------------------------------------------------------------------------------


def zero_of_gauge(
    readings: RigReadings, conditions: BenchConditions, recording: Recording | None = None
) -> Measured:
    """Return what the gauge shows without pressure, read or recorded at rest, [Pa]."""
    step = conditions.gauge.resolution_pa or 0.0
    scope = conditions.sitting
    resolution = Cause(say("gauge resolution"), scope)
    if recording is not None:
        return _recorded_zero(recording, resolution, step)
    if readings.zero_pa is None:
        return NO_ZERO
    parts = {resolution: step / math.sqrt(12.0)}
    zero = Quantity(readings.zero_pa, "Pa", parts, say("read without pressure"))
    if not step:
        return zero.with_cautions(
            Caution(
                say("resolution unknown"),
                say("the card does not say what step the gauge shows: the zero has no uncertainty"),
            )
        )
    return zero


def _recorded_zero(recording: Recording, resolution: Cause, step: float) -> Measured:
    p = recording.pressure_pa
    if p.size < BLOCKS:
        return NotMeasured(say("the recording at rest is too short"), say("record some seconds"))
    means = np.array([float(part.mean()) for part in np.array_split(p, BLOCKS)])
    if float(np.ptp(means)) > REST_SPAN_PA:
        return NotMeasured(
            say("the recording is not at rest"),
            say("let the pressure off, wait, and record the gauge without touching the lever"),
        )
    scatter = float(means.std(ddof=1)) / math.sqrt(BLOCKS)
    parts = {
        Cause(say("wander of the zero"), resolution.scope, degrees=BLOCKS - 1.0): scatter,
        resolution: step / math.sqrt(12.0),
    }
    return Quantity(float(p.mean()), "Pa", parts, say("mean of a recording without pressure"))


# --- the oil under pressure -----------------------------------------------------------------------


@dataclass(frozen=True)
class _Oil:
    """How trapped oil and walls give, up to a factor."""

    modulus: float
    """At no pressure and the test's temperature, [Pa]."""
    slope: float
    walls: float
    """Give of the walls over volume of the oil, [1/Pa]."""

    def density_ratio(self, p: FloatArray | float) -> FloatArray:
        return np.asarray((1.0 + self.slope * np.asarray(p) / self.modulus) ** (1.0 / self.slope))

    def give(self, p: FloatArray | float) -> FloatArray:
        return np.asarray(1.0 / (self.modulus + self.slope * np.asarray(p)) + self.walls)

    def effective_drop(self, high_pa: float, low_pa: float, at_pa: float) -> float:
        """Return the integral that makes the volume out of the compliance at a pressure, [Pa]."""
        p = np.linspace(low_pa, high_pa, _STEPS)
        inside = self.density_ratio(p) * self.give(p) / float(self.give(at_pa))
        return float(np.trapezoid(inside, p))


def _oils(conditions: BenchConditions) -> tuple[_Oil, list[tuple[Cause, _Oil]]]:
    """Return the oil, and the same with each of its uncertain properties moved by its u."""
    fluid = conditions.fluid or Fluid("")
    known = fluid.bulk_modulus_20c
    b20 = GAS_OIL_MODULUS.value if known is None else known.value
    b20_u = GAS_OIL_MODULUS.standard_uncertainty if known is None else known.standard_uncertainty
    warm = conditions.oil_temperature
    kelvins = TYPICAL_TEMPERATURE_K if warm is None else warm.value
    slope = GAS_OIL_MODULUS_PRESSURE_SLOPE
    at = GAS_OIL_MODULUS_TEMPERATURE_SLOPE.value * (kelvins - GAS_OIL_REFERENCE_TEMPERATURE_K)
    rig = conditions.rig
    walls = walls_u = 0.0
    if rig.volume_m3 is not None and rig.wall_compliance is not None:
        walls = rig.wall_compliance.value / rig.volume_m3.value
        walls_u = rig.wall_compliance.standard_uncertainty / rig.volume_m3.value
    middle = _Oil(b20 + at, slope.value, walls)
    scope = fluid.name
    moved = [
        (Cause(say("fluid stiffness"), scope), replace(middle, modulus=middle.modulus + b20_u)),
        (
            Cause(say("fluid stiffening"), scope),
            replace(middle, slope=slope.value + slope.standard_uncertainty),
        ),
        (Cause(say("wall compliance"), rig.identity), replace(middle, walls=walls + walls_u)),
    ]
    return middle, moved


# --- compliance -----------------------------------------------------------------------------------


def compliance_from_bled(
    readings: RigReadings, conditions: BenchConditions
) -> tuple[Measured, float | None]:
    """Return the compliance from volumes let out of the rig, and the pressure at which it holds.

    Parameters
    ----------
    readings : RigReadings
        Volumes with the pressures before and after, division and error of the cylinder
    conditions : BenchConditions
        Gauge, fluid, temperature

    Returns
    -------
    compliance : Quantity or NotMeasured
        [m^3/Pa]
    pressure_pa : float or None
        Mean pressure of what was let out

    Notes
    -----
    Weighted line through the origin of volume against effective drop; where three volumes or more
    show clearly that each lost the same little amount (a drop left hanging), the line has a height
    of its own. The level of the gauge cancels in each drop as far as it is the same at both ends;
    reading cylinder and gauge is each volume's own; the cylinder's permissible error (rectangular)
    is common to all. Weighted least squares: JCGM 100:2008, H.3 in its linear form.
    """
    bled = readings.bled
    gauge = gauge_correction(conditions.gauge, conditions.sitting)
    ends = [(gauge.correct_one(one.from_pa), gauge.correct_one(one.to_pa)) for one in bled]
    if any(high <= low for high, low in ends):
        return NotMeasured(say("no pressure was lost"), say("check the two pressures")), None
    volume = np.array([one.volume_m3 for one in bled])
    division = readings.graduation_m3
    if division is None and len(bled) < 3:
        return (
            NotMeasured(
                say(
                    "the cylinder's division is not stated, and fewer than three volumes were let "
                    "out"
                ),
                say("state the division, or let out three volumes or more"),
            ),
            None,
        )
    at_pa = float(np.average([0.5 * (high + low) for high, low in ends], weights=volume))
    oil, moved = _oils(conditions)
    x = np.array([oil.effective_drop(high, low, at_pa) for high, low in ends])
    first = float(volume.sum() / x.sum())
    # A volume is the difference of two levels, each told within a quarter of a division.
    read = 0.0 if division is None else 2.0 * EYE_SHARE * division / math.sqrt(6.0)
    shown = math.sqrt(2.0) * first * gauge.resolution_standard_uncertainty_pa
    own = np.full(len(bled), math.hypot(read, shown))
    known = bool(own[0] > 0.0)
    weights = 1.0 / (own**2 if known else np.ones(len(bled)))
    line = _through_origin(x, volume, weights, scatter_only=not known)
    slope = line.slope
    cautions = [*gauge.cautions]
    share = weights * x / float(np.sum(weights * x * x))
    if line.height is not None:
        centred = x - float(np.average(x, weights=weights))
        share = weights * centred / float(np.sum(weights * centred**2))
        cautions.append(
            Caution(
                say("hanging oil"),
                say(
                    "each volume is about {lost} mm³ short of the others or over them: oil that "
                    "hangs at the outlet. It is no part of the compliance",
                    lost=figure(line.height * 1e9, ".2g"),
                ),
            )
        )
    if min(low for _, low in ends) < LOWEST_PA:
        cautions.append(_low(min(low for _, low in ends)))
    parts: dict[Cause, float] = {
        Cause(
            say("reading cylinder and gauge"), conditions.sitting, degrees=line.degrees
        ): line.slope_u,
        Cause(say("cylinder"), conditions.rig.identity, rectangular=True): slope
        * (readings.cylinder_relative_error or 0.0)
        / math.sqrt(3.0),
    }
    for cause, value in _of_the_gauge(gauge, bled, slope, share).items():
        parts[cause] = parts.get(cause, 0.0) + value
    for cause, other in moved:
        changed = np.array([other.effective_drop(high, low, at_pa) for high, low in ends])
        parts[cause] = -slope * float(np.sum(share * (changed - x)))
    return (
        Quantity(
            slope,
            "m^3/Pa",
            parts,
            say("{count} volumes let out of the rig", count=len(bled)),
            tuple(cautions),
        ),
        at_pa,
    )


def _low(pressure_pa: float) -> Caution:
    return Caution(
        say("low pressure"),
        say(
            "it goes down to {level}, where free air gives more than oil does: stay above {lowest}",
            level=in_bar(pressure_pa, ".0f"),
            lowest=in_bar(LOWEST_PA, ".0f"),
        ),
    )


@dataclass(frozen=True)
class _Line:
    """A line through volumes."""

    slope: float
    slope_u: float
    degrees: float | None
    """Of `slope_u`, where it was enlarged by a scatter that the readings do not explain."""
    height: float | None = None
    """At no drop, where it is clear; else the line goes through the origin."""


def _through_origin(
    x: FloatArray, y: FloatArray, weights: FloatArray, *, scatter_only: bool
) -> _Line:
    """Return the line through the origin, or one with a height where that is clear.

    Where volumes scatter more than they can be read, the slope is known with the few degrees of
    freedom of that scatter (Birge ratio with Student's law: O. Bodnar, C. Elster, Metrologia 51
    (2014) 516).
    """

    def fitted(slope: float, u: float, left: float, freedom: int, height: float | None) -> _Line:
        few = not scatter_only and freedom > 0 and left > freedom
        enlarged = _enlarged(u, left, freedom, scatter_only=scatter_only)
        return _Line(slope, enlarged, float(freedom) if few else None, height)

    square = float(np.sum(weights * x * x))
    slope = float(np.sum(weights * x * y)) / square
    left = float(np.sum(weights * (y - slope * x) ** 2))
    plain = fitted(slope, 1.0 / math.sqrt(square), left, x.size - 1, None)
    if x.size < 3 or float(np.ptp(x)) < 0.2 * float(x.max()):
        return plain
    centre = float(np.average(x, weights=weights))
    spread = float(np.sum(weights * (x - centre) ** 2))
    tilt = float(np.sum(weights * (x - centre) * y)) / spread
    height = float(np.average(y, weights=weights)) - tilt * centre
    rest = float(np.sum(weights * (y - height - tilt * x) ** 2))
    height_u = math.sqrt(1.0 / float(weights.sum()) + centre**2 / spread)
    height_u = _enlarged(height_u, rest, x.size - 2, scatter_only=scatter_only)
    if abs(height) <= max(CLEARLY, _t(x.size - 2)) * height_u:
        return plain
    return fitted(tilt, 1.0 / math.sqrt(spread), rest, x.size - 2, height)


def _t(freedom: int) -> float:
    return coverage_factor(max(freedom, 1), 0.95)


def _widened(scatter: float, freedom: int) -> float:
    """Return a scatter such that 1.96 of it are 95 %, few as its degrees of freedom are."""
    return scatter * _t(freedom) / 1.96


def _enlarged(u: float, squares: float, freedom: int, *, scatter_only: bool) -> float:
    """Return a standard uncertainty with the Birge ratio where the scatter asks for it."""
    if freedom < 1:
        return u
    ratio = math.sqrt(squares / freedom)
    return u * (_widened(ratio, freedom) if scatter_only else max(ratio, 1.0))


def _of_the_gauge(
    gauge: GaugeCorrection, bled: Sequence[BledVolume], slope: float, share: FloatArray
) -> dict[Cause, float]:
    """Return what the gauge's own errors do to the slope; a level that is common goes out."""
    parts: dict[Cause, float] = {}
    for one, weight in zip(bled, share, strict=True):
        before = gauge.contributions(one.from_pa)
        after = gauge.contributions(one.to_pa, falling=True)
        for cause in {*before, *after}:
            error = before.get(cause, 0.0) - after.get(cause, 0.0)
            parts[cause] = parts.get(cause, 0.0) - slope * float(weight) * error
    return parts


def compliance_from_strokes(
    strokes: LeverStrokes,
    conditions: BenchConditions,
    leak: RigLeak | NotMeasured | None = None,
) -> tuple[Measured, float | None]:
    r"""Return the compliance from strokes of known displacement, and where it holds.

    Parameters
    ----------
    strokes : LeverStrokes
        Pressures at rest before the first stroke and after each; plunger area and travel
    conditions : BenchConditions
        Gauge, fluid, temperature
    leak : RigLeak or NotMeasured, optional
        The rig's own leak, to be taken off what is lost between strokes

    Returns
    -------
    compliance : Quantity or NotMeasured
        [m^3/Pa]
    pressure_pa : float or None
        Mean pressure of the strokes that counted

    Notes
    -----
    First strokes that raise the pressure clearly less than the later ones only fill the line or
    press air together, and are left out. What the plunger's own room holds back grows with the
    pressure, :math:`v(p) = A s - V_d (r(p) - 1)`: with five strokes or more the effective rise is
    followed back to no pressure by a straight line, so that the dead room need not be known.
    Successive rises share a reading, which makes their scatter a careful measure.
    """
    gauge = gauge_correction(conditions.gauge, conditions.sitting)
    p = np.array([gauge.correct_one(pressure) for pressure in strokes.pressures_pa])
    p = np.maximum(p, 0.0)
    oil, moved = _oils(conditions)
    step = gauge.resolution_standard_uncertainty_pa
    at_pa = float(p.mean())

    def rises(of: _Oil) -> FloatArray:
        return _raised(of, p, at_pa) + _leaked(of, p, at_pa, leak, strokes.between_s)

    x = rises(oil)
    skipped = _fillers(x, step)
    kept = x.size - skipped
    if kept < 2 or float(np.median(x[skipped:])) <= 0.0:
        return (
            NotMeasured(
                say("fewer than two strokes raised the pressure evenly"),
                say("bleed the line, and make five even strokes, the lever at rest between"),
            ),
            None,
        )
    at_pa = float(p[skipped:].mean())
    x = rises(oil)
    held = np.asarray(oil.density_ratio(p[1:]))[skipped:] - 1.0
    rise, rise_u, dead = _even_rise(x[skipped:], held, step)
    volume = strokes.displacement_m3
    area_u = strokes.piston_area_u_m2
    area_u = AREA_RELATIVE * strokes.piston_area_m2 if area_u is None else area_u
    travel_u = strokes.travel_u_m
    travel_u = TRAVEL_HALF_WIDTH_M / math.sqrt(3.0) if travel_u is None else travel_u
    c = volume / rise
    scope = conditions.rig.identity
    parts = {
        Cause(say("plunger area"), scope): c * area_u / strokes.piston_area_m2,
        Cause(say("travel of the plunger"), scope): c * travel_u / strokes.travel_m,
        Cause(say("evenness of the strokes"), conditions.sitting): c * rise_u / rise,
    }
    ends = gauge.contributions(float(p[skipped])), gauge.contributions(float(p[-1]))
    for cause in {*ends[0], *ends[1]}:
        error = ends[1].get(cause, 0.0) - ends[0].get(cause, 0.0)
        parts[cause] = parts.get(cause, 0.0) - c * error / float(p[-1] - p[skipped])
    for cause, other in moved:
        other_rise, _, _ = _even_rise(rises(other)[skipped:], held, step)
        parts[cause] = parts.get(cause, 0.0) + volume / other_rise - c
    cautions = [*gauge.cautions, *_stroke_cautions(skipped, dead, leak, strokes.between_s, c)]
    if strokes.between_s is not None and isinstance(leak, RigLeak):
        lost = _leaked(oil, p, at_pa, leak, strokes.between_s)[skipped:]
        share = float(lost.sum() / x[skipped:].sum())
        relative = leak.decay_rate.standard_uncertainty / max(leak.decay_rate.value, 1e-12)
        parts[Cause(say("blank-plug hold"), conditions.sitting)] = c * share * min(relative, 1.0)
    method = say("{count} strokes of {volume} mm³", count=kept, volume=figure(volume * 1e9, ".4g"))
    return Quantity(c, "m^3/Pa", parts, method, tuple(cautions)), at_pa


def _raised(oil: _Oil, p: FloatArray, at_pa: float) -> FloatArray:
    """Return the effective rise of each stroke as the gauge has it, [Pa]."""
    return np.array([oil.effective_drop(high, low, at_pa) for low, high in pairwise(p.tolist())])


def _leaked(
    oil: _Oil,
    p: FloatArray,
    at_pa: float,
    leak: RigLeak | NotMeasured | None,
    between: float | None,
) -> FloatArray:
    """Return the effective rise that was lost to the rig's leak during each stroke, [Pa]."""
    if not isinstance(leak, RigLeak) or between is None:
        return np.zeros(p.size - 1)
    mean = 0.5 * (p[:-1] + p[1:])
    share = oil.density_ratio(mean) * oil.give(mean) / float(oil.give(at_pa))
    return np.asarray(max(leak.decay_rate.value, 0.0) * between * mean * share)


def _fillers(x: FloatArray, step: float) -> int:
    """Return how many strokes at the beginning only filled the line."""
    later = float(np.median(x[x.size // 2 :]))
    noise = 3.0 * math.sqrt(2.0) * step
    skipped = 0
    for rise in x:
        if rise >= (1.0 - FILLING) * later - noise:
            break
        skipped += 1
    return skipped


def _even_rise(x: FloatArray, held: FloatArray, step: float) -> tuple[float, float, float | None]:
    """Return the effective rise of a whole stroke, its u, and how the plunger's room lowers it.

    The latter is None where there are too few strokes to tell, and 0 where none is clear.
    """
    mean = float(x.mean())
    reading = math.sqrt(2.0) * step
    if x.size < FEWEST_FOR_DEAD_ROOM or float(np.ptp(held)) == 0.0:
        scatter = max(_widened(float(x.std(ddof=1)), x.size - 1), reading / math.sqrt(x.size))
        return mean, scatter / math.sqrt(x.size), None
    off = held - held.mean()
    spread = float(np.sum(off**2))
    tilt = float(np.sum(off * x)) / spread
    left = float(np.sum((x - mean - tilt * off) ** 2)) / (x.size - 2)
    clear = tilt < -_t(x.size - 2) * math.sqrt(left / spread)
    scatter = max(_widened(math.sqrt(left), x.size - 2), reading / math.sqrt(x.size))
    height_u = scatter * math.sqrt(1.0 / x.size + float(held.mean()) ** 2 / spread)
    return mean - tilt * float(held.mean()), height_u, tilt if clear else 0.0


def _stroke_cautions(
    skipped: int,
    dead: float | None,
    leak: RigLeak | NotMeasured | None,
    between: float | None,
    compliance: float,
) -> list[Caution]:
    cautions = []
    if skipped:
        cautions.append(
            Caution(
                say("filling strokes"),
                say("the first {count} only filled the line and are left out", count=skipped),
            )
        )
    if dead is None:
        cautions.append(
            Caution(
                say("dead room"),
                say(
                    "with fewer than {count} even strokes nobody can tell how much oil the "
                    "plunger holds back: the compliance may be less than it seems",
                    count=FEWEST_FOR_DEAD_ROOM,
                ),
            )
        )
    elif dead < 0.0:
        cautions.append(
            Caution(
                say("dead room"),
                say(
                    "strokes deliver less the higher the pressure, as about {room} mm³ of oil "
                    "stay at the plunger and are pressed together: taken off",
                    room=figure(-dead * compliance * 1e9, ".2g"),
                ),
            )
        )
    if not isinstance(leak, RigLeak) or between is None:
        cautions.append(
            Caution(
                say("leak in pumping"),
                say(
                    "what the rig lost between the strokes is not taken off: note the time between "
                    "strokes, and make a hold with the blank plug"
                ),
            )
        )
    return cautions


# --- the reference nozzle -------------------------------------------------------------------------


def reference_values(
    readings: RigReadings,
    conditions: BenchConditions,
    recording: Recording | None = None,
    leak: RigLeak | NotMeasured | None = None,
) -> tuple[Measured, Measured]:
    """Return opening pressure and drop time of the reference nozzle.

    The drop time is that of the nozzle alone at the temperature for which its time is stated; as
    shown where none is stated. Read by eye and stopwatch, they carry what a study of fitters found,
    where the conditions have one that reaches them.

    Parameters
    ----------
    readings : RigReadings
        Read by eye and stopwatch
    conditions : BenchConditions
        The rig's card
    recording : Recording, optional
        Instead of readings
    leak : RigLeak or NotMeasured, optional
        The rig's own leak
    """
    nozzle = conditions.rig.reference or ReferenceNozzle()
    as_tested = reference_conditions(
        replace(conditions, readings=readings, studies=conditions.studies.as_read)
    )
    if recording is not None:
        findings = read_trace(recording, as_tested, leak)
    elif readings.opening_pa or readings.drop_s is not None:
        findings = read_hand(_card(readings, conditions), as_tested, leak)
    else:
        return NO_REFERENCE, NO_REFERENCE
    return findings.opening_pressure, _drop(findings, nozzle)


def reference_conditions(conditions: BenchConditions) -> BenchConditions:
    """Return the conditions under which the reference nozzle is tested: its own window."""
    nozzle = conditions.rig.reference or ReferenceNozzle()
    readings = conditions.readings or RigReadings()
    high = nozzle.drop_from_pa or readings.drop_from_pa
    low = nozzle.drop_to_pa or readings.drop_to_pa
    window = None
    if high is not None and low is not None:
        window = DropWindow(high, low, nozzle.reference_temperature_k)
    return replace(
        conditions,
        geometry=NozzleGeometry(),
        window=window,
        opening_target_pa=None if nozzle.opening is None else nozzle.opening.value,
        seat_margin_pa=None,
        seat_hold_s=None,
        seat_watch=TipWatch(),
        drop_watch=TipWatch(),
    )


def _card(readings: RigReadings, conditions: BenchConditions) -> HandReadings:
    drops: tuple[TimedDrop, ...] = ()
    if readings.drop_s and readings.drop_from_pa and readings.drop_to_pa:
        drops = (TimedDrop(readings.drop_from_pa, readings.drop_to_pa, readings.drop_s),)
    return HandReadings(
        source=str(say("reference nozzle")),
        digest="",
        opening_pa=readings.opening_pa,
        drops=drops,
        reading_resolution_pa=0.5 * (conditions.gauge.resolution_pa or 0.0),
        fitter=readings.fitter,
    )


def _drop(findings: GaugeFindings, nozzle: ReferenceNozzle) -> Measured:
    hold = findings.hold
    if not isinstance(hold, Hold):
        return hold
    if nozzle.reference_temperature_k is None:
        return hold.drop_time_as_shown
    return hold.drop_time_at_reference
