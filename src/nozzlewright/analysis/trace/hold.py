"""A hold with the pump shut off: how fast the pressure falls, and what that says of the injector.

How each number comes about, with sources, is told in ``docs/explain/leakage.md``.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from nozzlewright.analysis.fitter_share import DROP, shares_of
from nozzlewright.analysis.gauge import GaugeCorrection
from nozzlewright.analysis.trace.clearance import guide_clearance, leak_path, watch_of
from nozzlewright.analysis.trace.decay_fit import DecayFit, DecayLaw, binned, fit_decay
from nozzlewright.analysis.trace.knowledge import BenchKnowledge, RigLeak, Values, bench_knowledge
from nozzlewright.analysis.trace.reference import Conversion
from nozzlewright.analysis.trace.stopwatch import StopwatchDecay, time_uncertainty
from nozzlewright.bench import BenchConditions, DropWindow, Hold
from nozzlewright.measurement import (
    Cause,
    Caution,
    Measured,
    NotMeasured,
    Quantity,
    linear_combination,
)
from nozzlewright.said import Said, figure, in_bar, pressure_figure, say

FloatArray = NDArray[np.float64]

LEAST_COVERED = 0.3
"""Share of the window's ln ratio that a hold must have seen for the rest to be extrapolated."""
LOCAL_SHARE = 0.025
"""Half-width of the stretch that says where the pressure crosses an edge, as a share of it."""
SETTLED_LAGS = 5.0
"""Time constants of the gauge after which its lag has died away."""
SHORT_FALL_SHARE = 0.02
"""Fall, as a share of the starting pressure, below which a hold is called too short."""
MUCH_RIG_LEAK = 0.5
"""Share of the rig in the whole leak above which a reader is warned."""
SOME_AIR = 1.5
"""Free air that is worth a caution, [1e-3]."""
COARSE_SHARE = 0.01
"""Step of the gauge, as a share of the window, from which it is called coarse."""
FEW_IN_WINDOW = 20
"""Samples between the edges of the window below which a gauge is called slow."""
BLANK_GROWTH_PRIOR = 0.0, 1.0
"""Growth of the gap for the leaks of a rig (cones, valves), mean and standard deviation,
[1e-8/Pa]."""
RISING_RATE = 2e-5
"""Rise of the pressure with the blank plug from which a hold tells no leak, 0.2 bar in a minute at
150 bar, [1/s]; common practice, no source."""
MANY_SAMPLES = 4000
"""Samples beyond which a straight line is drawn through means of neighbours."""
PLOTTED = 160


def analyse_hold(
    time_s: FloatArray,
    pressure_pa: FloatArray,
    *,
    noise_pa: float,
    conditions: BenchConditions,
    gauge: GaugeCorrection,
    scope: str,
    rig_leak: RigLeak | None = None,
    lag_s: float = 0.0,
    step_pa: float = 0.0,
    cautions: tuple[Caution, ...] = (),
) -> Hold:
    """Return what one decay says of the injector.

    Parameters
    ----------
    time_s, pressure_pa : ndarray of shape (N,)
        From shut-off to the release or the next stroke, as shown, [s] and [Pa]; times may be
        irregular and have gaps
    noise_pa : float
        Standard deviation of one sample about the smooth pressure, [Pa]
    conditions : BenchConditions
        What was noted beside the recording; each missing piece costs only the values it bears
    gauge : GaugeCorrection
        What is known of the gauge's level
    scope : str
        Names this hold, for causes that are its own
    rig_leak : RigLeak or None
        The rig's own leak, from :func:`rig_leak_from_blank` or :func:`rig_leak_by_stopwatch`
    lag_s : float
        First-order lag of the gauge, [s]
    step_pa : float
        Smallest step of the recording, [Pa]; 0 where none shows
    cautions : tuple of Caution
        What was already noticed of the recording (clipping, mains hum ...)
    """
    corrected = gauge.correct(pressure_pa)
    start = _settled_from(time_s, lag_s)
    t, p = time_s[start:], corrected[start:]
    noise = math.hypot(noise_pa, step_pa / math.sqrt(12.0))
    window = conditions.window
    ends = _end_pressures(p)
    bare = Hold(
        start_s=float(time_s[0]),
        end_s=float(time_s[-1]),
        start_pa=ends[0],
        end_pa=ends[1],
        window_from_pa=window.from_pa if window else None,
        window_to_pa=window.to_pa if window else None,
        tip=watch_of(conditions),
        rig_leak_taken_off=rig_leak is not None,
    )
    known = _knowledge(conditions, rig_leak, gauge, scope, p)
    fit = fit_decay(
        t,
        p,
        noise_pa=noise,
        law_for=lambda middle: _law(known, middle),
        # Without a window and without the rig's volume no value rests on the leak.
        thorough=window is not None or not known.compliance_reason,
    )
    if fit is None:
        short = NotMeasured(
            say("the hold has too few samples"), say("hold for longer or sample faster")
        )
        return replace(
            bare,
            drop_time_as_shown=short,
            drop_time_at_reference=short,
            decay_rate=short,
            leakage_conductance=short,
            rig_conductance=short,
            guide_clearance=short,
            settling=short,
            leak_path=leak_path(bare.tip, None, None),
            cautions=(*cautions, *gauge.cautions),
        )
    known = known.at_middle(fit.law.middle_pa)
    conversion = Conversion(known, fit, Cause(say("decay fit"), scope))
    already = {one.name for one in cautions}
    found = (
        *gauge.cautions,
        *_trace_cautions(t, p, fit, window, noise, step_pa),
        *leak_cautions(conversion, conditions),
    )
    seen = (*cautions, *(one for one in found if one.name not in already))
    reading = _Reading(t, p, fit, conversion, gauge, noise, step_pa, scope)
    as_shown = reading.drop_time(window, seen)
    at_reference = _at_reference(conversion, window, reading, seen)
    conductance = _cautioned(conversion.injector_conductance(), seen)
    share = None if rig_leak is None else conversion.rig_share()
    flow = None
    if isinstance(conductance, Quantity):
        at = np.array([known.middle_pa])
        flow = float(known.injector_flow(known.values, fit.values, at)[0])
    thinned = np.linspace(0, fit.curve_s.size - 1, PLOTTED).astype(np.intp)
    curve = fit.curve_pa[thinned]
    return replace(
        bare,
        drop_time_as_shown=as_shown,
        drop_time_at_reference=at_reference,
        decay_rate=_decay_rate(time_s, corrected, noise, gauge, scope, seen),
        leakage_conductance=conductance,
        rig_conductance=conversion.rig_conductance(),
        guide_clearance=_cautioned(guide_clearance(conversion, conditions, scope), seen),
        settling=_settling(fit, scope),
        leak_path=leak_path(bare.tip, share, flow),
        fit_time_s=tuple(float(x) for x in fit.curve_s[thinned]),
        # On the gauge's own scale, as the trace is drawn.
        fit_pressure_pa=tuple((2.0 * curve - gauge.correct(curve)).tolist()),
        cautions=tuple(dict.fromkeys(seen)),
    )


def rig_leak_from_blank(
    time_s: FloatArray,
    pressure_pa: FloatArray,
    *,
    noise_pa: float,
    conditions: BenchConditions,
    gauge: GaugeCorrection,
    scope: str,
    lag_s: float = 0.0,
    step_pa: float = 0.0,
) -> RigLeak | NotMeasured:
    """Return what the rig itself leaks, from a hold with the blank plug.

    Parameters
    ----------
    time_s, pressure_pa : ndarray of shape (N,)
        The hold, as shown, [s] and [Pa]
    noise_pa, conditions, gauge, scope, lag_s, step_pa
        As in :func:`analyse_hold`; the scope names the blank-plug recording, which all injectors
        of a sitting share
    """
    start = _settled_from(time_s, lag_s)
    t, p = time_s[start:], gauge.correct(pressure_pa)[start:]
    noise = math.hypot(noise_pa, step_pa / math.sqrt(12.0))
    known = _knowledge(conditions, None, gauge, scope, p)
    fit = fit_decay(
        t, p, noise_pa=noise, law_for=lambda middle: _law(known, middle),
        growth_prior=BLANK_GROWTH_PRIOR,
    )  # fmt: skip
    if fit is None:
        return NotMeasured(
            say("the blank-plug hold has too few samples or no pressure"),
            say("repeat it, for longer"),
        )
    known = known.at_middle(fit.law.middle_pa)
    conversion = Conversion(known, fit, Cause(say("blank-plug hold"), scope))
    return _as_rig_leak(conversion, conditions, say("blank-plug hold fitted"))


def rig_leak_by_stopwatch(
    conditions: BenchConditions,
    gauge: GaugeCorrection,
    scope: str,
    *,
    reading_pa: float = 0.0,
    reaction_s: float = 0.2,
) -> RigLeak | NotMeasured:
    """Return what the rig itself leaks, from a timed fall with the blank plug.

    Parameters
    ----------
    conditions : BenchConditions
        Its ``blank_plug`` holds the two pressures and the time; its study of timed falls is
        reckoned with where it reaches that time
    gauge, scope
        As in :func:`rig_leak_from_blank`
    reading_pa : float
        Standard uncertainty of reading either pressure, [Pa]; the gauge's resolution is added
    reaction_s : float
        Standard uncertainty of the watch's start and stop together, [s]; common practice, no
        source
    """
    plug = conditions.blank_plug
    if plug is None or not (plug.drop_time_s and plug.drop_from_pa and plug.drop_to_pa):
        return NotMeasured(
            say("no fall with a blank plug was timed"),
            say("time or record a hold with a blank plug"),
        )
    from_pa, to_pa = (gauge.correct_one(x) for x in (plug.drop_from_pa, plug.drop_to_pa))
    if not from_pa > to_pa > 0.0:
        return NotMeasured(
            say("the fall timed with the blank plug does not fall"), say("check its two pressures")
        )
    reading = math.hypot(reading_pa, gauge.resolution_standard_uncertainty_pa)
    cause = Cause(say("blank-plug hold"), scope)
    doubt = time_uncertainty(from_pa, to_pa, plug.drop_time_s, reading, reaction_s)
    share = shares_of(
        conditions.studies.as_read.drop, [plug.drop_time_s],
        fitter=plug.fitter, source=scope, rig=conditions.rig.identity, what=DROP,
    )  # fmt: skip
    time_parts: dict[Cause, float] = {}
    if share is not None:
        # The study's repeats have the dial and the watch in them, but not a fall as slow as this.
        doubt = math.sqrt(max(doubt**2 - share.one_reading**2, 0.0))
        time_parts = {**share.of_the_mean, **share.parts}
    conversion = timed_fall(
        from_pa, to_pa, plug.drop_time_s, conditions, gauge, None, cause, doubt,
        growth_prior=BLANK_GROWTH_PRIOR, time_parts=time_parts,
    )  # fmt: skip
    return _as_rig_leak(conversion, conditions, say("fall with the blank plug timed by stopwatch"))


def timed_fall(
    from_pa: float,
    to_pa: float,
    seconds: float,
    conditions: BenchConditions,
    gauge: GaugeCorrection,
    rig_leak: RigLeak | None,
    cause: Cause,
    time_uncertainty_s: float,
    *,
    growth_prior: tuple[float, float] | None = None,
    time_parts: Mapping[Cause, float] | None = None,
) -> Conversion:
    """Return a timed fall of pressure, ready to be turned into values of the injector.

    Parameters
    ----------
    from_pa, to_pa, seconds : float
        The fall, gauge errors taken off, [Pa] and [s]
    conditions, gauge, rig_leak
        As in :func:`analyse_hold`
    cause : Cause
        Under which the uncertainty of time and reading is kept
    time_uncertainty_s : float
        That uncertainty, see :func:`nozzlewright.analysis.trace.stopwatch.time_uncertainty`, [s]
    growth_prior : (float, float) or None
        Mean and standard deviation of the growth of the gap, [1e-8/Pa]; None: that of a guide
    time_parts : mapping, optional
        Further causes of the time's doubt, each on its own, [s]
    """
    middle = math.sqrt(from_pa * to_pa)
    known = _knowledge(conditions, rig_leak, gauge, cause.scope, np.array([middle]))
    known = known.at_middle(middle)
    law = known.law(known.values)
    extra = {} if growth_prior is None else {"growth_prior": growth_prior}
    decay = StopwatchDecay(law, from_pa, to_pa, seconds, time_uncertainty_s, **extra)
    # A time that is read too long makes the rate too small.
    parts = {one: -part / seconds for one, part in (time_parts or {}).items()}
    return Conversion(known, decay, cause, parts)


def _as_rig_leak(
    conversion: Conversion, conditions: BenchConditions, method: Said
) -> RigLeak | NotMeasured:
    rate = conversion.propagated(lambda _v, fitted: float(fitted[0]), unit="1/s", method=method)
    if rate.value < -max(RISING_RATE, 2.0 * rate.standard_uncertainty):
        return NotMeasured(
            say(
                "the pressure rose in the hold with the blank plug, by {rise} in {time} s: no leak "
                "does that",
                rise=in_bar(-60.0 * rate.value * conversion.known.middle_pa),
                time=60,
            ),
            say(
                "let the oil come to the temperature of the room, look whether the pump lets oil "
                "in, and repeat it"
            ),
        )
    plug = conditions.blank_plug
    return RigLeak(
        rate, conversion.known.middle_pa, plug.temperature_k if plug is not None else None
    )


def _knowledge(
    conditions: BenchConditions,
    rig_leak: RigLeak | None,
    gauge: GaugeCorrection,
    scope: str,
    pressure: FloatArray,
) -> BenchKnowledge:
    middle = float(np.median(pressure[:: 1 + pressure.size // 500]))
    level = Quantity(0.0, "Pa", gauge.contributions(middle))
    return bench_knowledge(conditions, rig_leak=rig_leak, level=level, scope=scope)


def _law(known: BenchKnowledge, middle_pa: float) -> DecayLaw:
    there = known.at_middle(middle_pa)
    return there.law(there.values)


def _settled_from(time_s: FloatArray, lag_s: float) -> int:
    """Return the first sample at which the gauge's lag has died away."""
    wait = min(SETTLED_LAGS * lag_s, 0.1 * float(time_s[-1] - time_s[0]))
    return int(np.searchsorted(time_s, time_s[0] + wait))


def _end_pressures(pressure: FloatArray) -> tuple[float, float]:
    few = max(1, min(pressure.size // 50, 25))
    return float(np.median(pressure[:few])), float(np.median(pressure[-few:]))


class _Reading:
    """Where the recorded pressure crosses the edges of a window."""

    def __init__(
        self,
        time_s: FloatArray,
        pressure: FloatArray,
        fit: DecayFit,
        conversion: Conversion,
        gauge: GaugeCorrection,
        noise: float,
        step: float,
        scope: str,
    ) -> None:
        self.time, self.pressure, self.fit = time_s, pressure, fit
        self.conversion, self.gauge = conversion, gauge
        self.noise, self.step, self.scope = noise, step, scope
        self.fall_rate = -np.gradient(fit.curve_pa, fit.curve_s)

    def covered(self, window: DropWindow) -> float:
        """Return the share of the window's ln ratio that the hold has seen, [1]."""
        top = min(window.from_pa, self.fit.start_pa)
        bottom = max(window.to_pa, self.fit.end_pa)
        if top <= bottom:
            return 0.0
        return math.log(top / bottom) / math.log(window.from_pa / window.to_pa)

    def short_of(self, window: DropWindow) -> NotMeasured | None:
        """Return why the hold cannot answer the window; None where it can."""
        if self.covered(window) >= LEAST_COVERED:
            return None
        return NotMeasured(
            say(
                "the hold went from {start} to {end} and so saw too little of the window from "
                "{top} to {bottom}",
                start=pressure_figure(self.fit.start_pa),
                end=in_bar(self.fit.end_pa),
                top=pressure_figure(window.from_pa),
                bottom=in_bar(window.to_pa),
            ),
            say(
                "pump up above {top} and hold until below {bottom}",
                top=in_bar(window.from_pa, ".0f"),
                bottom=in_bar(window.to_pa, ".0f"),
            ),
        )

    def cut_short(self, window: DropWindow) -> tuple[Caution, ...]:
        covered = self.covered(window)
        if covered > 0.995:
            return ()
        text = say(
            "it saw {share} of the window; the rest is extrapolated by the fitted law",
            share=figure(covered, ".0%"),
        )
        return (Caution(say("hold cut short"), text),)

    def drop_time(self, window: DropWindow | None, cautions: tuple[Caution, ...]) -> Measured:
        """Return the time between the window's edges as the gauge showed it, [s]."""
        if window is None:
            return NotMeasured(
                say("the sheet names no pressures between which to time the drop"),
                say("state the window in the sheet or the bench conditions"),
            )
        if (short := self.short_of(window)) is not None:
            return short
        top, bottom = window.from_pa, window.to_pa
        above = max(self.fit.start_pa, bottom) < top
        below = min(self.fit.end_pa, top) > bottom
        first = self.fit.start_pa if above else top
        last = self.fit.end_pa if below else bottom
        t1, rate1, u1 = self._crossing(first)
        t2, rate2, u2 = self._crossing(last)
        if rate1 <= 0.0 or rate2 <= 0.0 or t2 <= t1:
            return NotMeasured(
                say("the pressure does not fall steadily in the hold"), say("repeat the hold")
            )
        noise = {Cause(say("noise and steps"), self.scope): math.hypot(u1 / rate1, u2 / rate2)}
        seen = Quantity(t2 - t1, "s", noise, say("read off the trace"))
        terms = [(1.0, seen)]
        if above:
            terms.append((1.0, self._before(top, first, rate1)))
        if below:
            terms.append((1.0, self._by_law(last, bottom)))
        method = say("edges found on the fitted curve, moved by the samples round each")
        if above or below:
            method = say(
                "{method}; part of the window extrapolated by the fitted law", method=method
            )
        time = linear_combination(terms, unit="s", method=method)
        level1, level2 = self.gauge.contributions(first), self.gauge.contributions(last)
        for cause in dict.fromkeys((*level1, *level2)):
            effect = level2.get(cause, 0.0) / rate2 - level1.get(cause, 0.0) / rate1
            time = time.with_contribution(cause, effect)
        return _cautioned(told_at_all(time), (*cautions, *self.cut_short(window)))

    def _crossing(self, pressure: float) -> tuple[float, float, float]:
        """Return time [s], rate of fall [Pa/s] and standard uncertainty [Pa] at a pressure."""
        curve_t, curve_p = self.fit.curve_s, self.fit.curve_pa
        when = float(np.interp(-pressure, -curve_p, curve_t))
        rate = float(np.interp(when, curve_t, self.fall_rate))
        if rate <= 0.0:
            return when, rate, self.fit.scatter_pa
        reach = max(LOCAL_SHARE * pressure / rate, 3.0 * (curve_t[1] - curve_t[0]))
        low, high = np.searchsorted(self.time, [when - reach, when + reach])
        if high - low < 2:
            return when, rate, self.fit.scatter_pa
        t, p = self.time[low:high], self.pressure[low:high]
        stray = p - np.interp(t, curve_t, curve_p)
        mean = float(np.median(stray)) if stray.size < 8 else _trimmed_mean(stray)
        spread = max(float(np.std(stray)), self.noise)
        steps_crossed = max(1.0, 2.0 * reach * rate / self.step) if self.step > 0.0 else 1.0
        by_steps = self.step / math.sqrt(12.0) / steps_crossed
        at = float(np.interp(-(pressure - mean), -curve_p, curve_t))
        return at, rate, math.hypot(spread / math.sqrt(stray.size), by_steps)

    def _before(self, high: float, low: float, rate: float) -> Quantity:
        """Return the time of a fall that ended where the hold begins, [s].

        Heat made the fall at the beginning faster than the law of the leak; how much faster it
        was before is not known, so the truth is put half-way up to all of it.
        """
        leaking = self._by_law(high, low)
        known, fitted = self.conversion.known, self.fit.values
        law = known.law(known.values)
        at = np.array([low])
        alone = fitted[0] * known.middle_pa * float(law.leakage(at, float(fitted[1]))[0])
        alone /= float(law.compliance(at, float(fitted[2]))[0])
        share = min(max(alone / rate, 0.1), 1.0)
        faster = linear_combination([(share, leaking)], unit="s", method=say("fitted law"))
        doubt = 0.5 * leaking.value * (1.0 - share)
        return faster.with_contribution(Cause(say("heat before the hold"), self.scope), doubt)

    def _by_law(self, high: float, low: float) -> Quantity:
        """Return the time of a fall outside the recording by the fitted law, [s]."""
        known = self.conversion.known

        def seconds(v: Values, fitted: FloatArray) -> float:
            least = 0.02 * abs(self.fit.rate)
            moved = np.array([max(float(fitted[0]), least), fitted[1], fitted[2]])
            return known.time_of_fall(v, moved, high, low)

        return self.conversion.propagated(seconds, unit="s", method=say("fitted law"))


def _trimmed_mean(values: FloatArray) -> float:
    from scipy.stats import trim_mean

    return float(trim_mean(values, 0.05))


def _at_reference(
    conversion: Conversion,
    window: DropWindow | None,
    reading: _Reading,
    cautions: tuple[Caution, ...],
) -> Measured:
    if window is None:
        return NotMeasured(
            say("the sheet names no pressures between which to time the drop"),
            say("state the window in the sheet or the bench conditions"),
        )
    if (short := reading.short_of(window)) is not None:
        return short
    time = told_at_all(conversion.time_at_reference(window))
    return _cautioned(time, (*cautions, *reading.cut_short(window)))


def told_at_all(time: Measured) -> Measured:
    """Return a time of a drop; not measured where its 95 % interval reaches down to no time."""
    if isinstance(time, NotMeasured) or time.coverage_interval[0] > 0.0:
        return time
    return NotMeasured(
        say("the hold saw so little of the drop that its time cannot be told"),
        say("pump up above the window, and hold until the pressure is below it"),
    )


def _cautioned(measured: Measured, cautions: tuple[Caution, ...]) -> Measured:
    return measured.with_cautions(*cautions) if isinstance(measured, Quantity) else measured


def _decay_rate(
    time_s: FloatArray,
    pressure: FloatArray,
    noise: float,
    gauge: GaugeCorrection,
    scope: str,
    cautions: tuple[Caution, ...],
) -> Measured:
    """Return the slope of a straight line through ln p over the whole stretch, [1/s].

    Its standard uncertainty stems from the samples' scatter about the line as it is, bends of the
    decay included, taken in blocks because neighbours stray together.
    """
    if pressure.size > MANY_SAMPLES:
        few = binned(time_s, pressure, noise, MANY_SAMPLES // 4)
        time_s, pressure = few.time_s, few.pressure_pa
        noise = float(np.median(few.sigma_pa))
    positive = pressure > 0.0
    if np.count_nonzero(positive) < 3:
        return NotMeasured(say("there is no pressure in the hold"), say("pump up before the hold"))
    t, log_p = time_s[positive], np.log(pressure[positive])
    centre = float(t.mean())
    away = t - centre
    square = float(away @ away)
    slope = float(away @ log_p) / square
    stray = log_p - log_p.mean() - slope * away
    blocks = np.array_split(away * stray, min(12, t.size))
    scatter = math.sqrt(sum(float(block.sum()) ** 2 for block in blocks)) / square
    own = noise / float(np.median(pressure[positive])) / math.sqrt(square)
    parts = {Cause(say("scatter about the line"), scope): math.hypot(scatter, own)}
    inverse = 1.0 / pressure[positive]
    per_pascal = -float(away @ inverse) / square
    for cause, part in gauge.contributions(float(np.median(pressure[positive]))).items():
        parts[cause] = per_pascal * part
    return Quantity(
        -slope, "1/s", parts, say("straight line through ln p over the whole stretch"), cautions
    )


def _settling(fit: DecayFit, scope: str) -> Measured:
    if fit.heat_probability < 0.05:
        return Quantity(
            0.0, "Pa", {Cause(say("decay fit"), scope): fit.settling_uncertainty_pa},
            say("the decay shows no cooling of the oil"),
        )  # fmt: skip
    return Quantity(
        fit.settling_pa, "Pa", {Cause(say("decay fit"), scope): fit.settling_uncertainty_pa},
        say("pressure still to be lost by cooling at the start of the hold, fitted with the leak"),
    )  # fmt: skip


def heat_is_seen(fit: DecayFit) -> bool:
    """Whether the first fall is plainly faster than the leak explains."""
    least = max(3.0 * fit.settling_uncertainty_pa, 0.002 * fit.start_pa)
    return fit.heat_probability > 0.9 and fit.settling_pa > least


def _trace_cautions(
    time_s: FloatArray,
    pressure: FloatArray,
    fit: DecayFit,
    window: DropWindow | None,
    noise: float,
    step: float,
) -> list[Caution]:
    found = []
    fall = fit.start_pa - fit.end_pa
    if heat_is_seen(fit):
        found.append(
            Caution(
                say("compression heat"),
                say(
                    "the first fall is faster than the leak explains: about {lost} went with the "
                    "heat of pumping up (time constant {time} s); it is taken off the leak, not "
                    "off the time as shown",
                    lost=in_bar(fit.settling_pa),
                    time=figure(fit.cooling_time_s, ".1f"),
                ),
            )
        )
    if fall < max(SHORT_FALL_SHARE * fit.start_pa, 5.0 * noise):
        found.append(
            Caution(
                say("too short"),
                say("the pressure fell by only {fall} in the hold", fall=in_bar(fall, ".2f")),
            )
        )
    if fit.air > SOME_AIR and fit.air > 3.0 * fit.air_uncertainty:
        found.append(
            Caution(
                say("trapped air"),
                say(
                    "the rig grows softer towards low pressure as {share} of free air would make "
                    "it: bleed it",
                    share=say("{value} %", value=figure(fit.air / 10, ".1f")),
                ),
            )
        )
    between = np.diff(time_s)
    usual = float(np.median(between))
    longest = float(between.max())
    duration = float(time_s[-1] - time_s[0])
    if longest > 8.0 * usual and longest > 0.02 * duration:
        text = say("the recording has a gap of {time} s in the hold", time=figure(longest, ".2f"))
        found.append(Caution(say("drop-out"), text))
    if window is not None:
        inside = np.count_nonzero((pressure < window.from_pa) & (pressure > window.to_pa))
        if 0 < inside < FEW_IN_WINDOW:
            found.append(
                Caution(
                    say("slow gauge"),
                    say(
                        "only {count} samples lie between the edges of the window",
                        count=int(inside),
                    ),
                )
            )
        coarse = step > 2.0 * noise_without(noise, step)
        if coarse and step > COARSE_SHARE * (window.from_pa - window.to_pa):
            found.append(
                Caution(
                    say("coarse steps"),
                    say("the pressure is shown in steps of {step}", step=in_bar(step, ".2f")),
                )
            )
    return found


def noise_without(noise: float, step: float) -> float:
    """Return the noise that is not the gauge's steps, [Pa]."""
    return math.sqrt(max(noise**2 - step**2 / 12.0, 0.0))


def leak_cautions(conversion: Conversion, conditions: BenchConditions) -> list[Caution]:
    """Return what must be known of the leaks that are not the injector's own."""
    found = []
    if conversion.known.rig_leak is None:
        found.append(
            Caution(
                say("rig leak not known"),
                say(
                    "there is no blank-plug hold: what the rig leaks is counted as the injector's, "
                    "which alone would take longer"
                ),
            )
        )
    else:
        share = conversion.rig_share()
        if share > MUCH_RIG_LEAK:
            found.append(
                Caution(
                    say("rig leak"),
                    say(
                        "the rig takes {share} of the whole leak",
                        share=figure(min(share, 1.0), ".0%"),
                    ),
                )
            )
    outside = watch_of(conditions).outside_leak
    if outside:
        text = say("oil also left at {outside}; the fall counts it in", outside=outside)
        found.append(Caution(say("outside leak"), text))
    return found


__all__ = [
    "analyse_hold",
    "heat_is_seen",
    "leak_cautions",
    "rig_leak_by_stopwatch",
    "rig_leak_from_blank",
    "timed_fall",
]
