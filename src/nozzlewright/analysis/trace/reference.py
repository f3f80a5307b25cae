r"""From a decay's rate to the injector alone, at reference conditions.

The rate :math:`r` found at the pressure :math:`p_m` is the leak of injector and rig,
:math:`Q(p_m) = r\,p_m\,C(p_m, T)`. What the rig leaks by itself comes from a blank-plug hold
with its own compliance :math:`C_0` and temperature :math:`T_0`:

.. math:: Q_{rig}(p, T) = r_0\,p_0\,C_0(p_0, T_0)\,\frac{\mu(T_0)}{\mu(T)}\,
          \frac{L(p)}{L(p_0)}

with :math:`L` the pressure law of the leak. The injector's own leak at the reference temperature
follows by viscosity, and the time of the drop by the compliance at that temperature:

.. math:: t_{ref} = \int_{p_2}^{p_1}
          \frac{C(p, T_{ref})}{[Q(p, T) - Q_{rig}(p, T)]\,\mu(T)/\mu(T_{ref})}\,dp

The trapped oil enters only by ratios of compliance where the rig itself is the reference, so that
its volume need not be known for a drop time; for a leakage in volume it must.

Every input carries its uncertainty under a named cause and is moved in turn, with the fit of the
decay moving along (JCGM 100:2008, 5.1.3).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from types import MappingProxyType
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from nozzlewright.analysis.trace.decay_fit import DecayLaw
from nozzlewright.analysis.trace.knowledge import BenchKnowledge, Values
from nozzlewright.bench import DropWindow
from nozzlewright.measurement import Cause, Caution, NotMeasured, Quantity
from nozzlewright.physics import time_between
from nozzlewright.said import Said, figure, say

FloatArray = NDArray[np.float64]
Model = Callable[[Values, FloatArray], float]

HOPELESS_DOUBT = 0.35
"""Relative standard uncertainty above which a drop time or a leak is not given."""
SKEWED_DOUBT = 0.08
"""Relative standard uncertainty above which the interval of a time is taken from that of its
reciprocal, the leak."""
LOW_PRESSURE_SHARE = 1e-3
"""Where "low pressure" is, as a share of the pressure in the middle of the decay."""


class FittedDecay(Protocol):
    """What the conversion needs of a decay, be it a fitted trace or a stopwatch."""

    @property
    def law(self) -> DecayLaw:
        """The law that was fitted."""

    @property
    def values(self) -> FloatArray:
        """(rate, growth, air), shape (3,)."""

    @property
    def covariance(self) -> FloatArray:
        """Their covariance, shape (3, 3)."""

    def shift(self, law: DecayLaw, offset_pa: float = 0.0) -> FloatArray:
        """Return how they move for another law or another level of the gauge."""


@dataclass(frozen=True)
class Moved:
    """One input moved by its standard uncertainty, up and down."""

    quantity: Quantity
    up: Values
    fitted_up: FloatArray
    """(rate, growth, air) as they would have come out then."""
    down: Values
    fitted_down: FloatArray


class Conversion:
    """A fitted decay, turned into values of the injector with their uncertainties."""

    def __init__(
        self,
        known: BenchKnowledge,
        fit: FittedDecay,
        fit_cause: Cause,
        rate_parts: Mapping[Cause, float] = MappingProxyType({}),
    ) -> None:
        """Take what is known, the fit with its cause, and further causes of the rate's doubt [1].

        These are shares of the rate, signed.
        """
        self.known, self.fit, self.fit_cause = known, fit, fit_cause
        self.rate_parts = rate_parts

    @cached_property
    def moves(self) -> tuple[Moved, ...]:
        """How the fit goes along with each input; reckoned only if a value asks for it."""
        return tuple(self._moved())

    def _moved(self) -> list[Moved]:
        values, fitted = self.known.values, self.fit.values
        moves = []
        for name, quantity in self.known.inputs.items():
            doubt = quantity.standard_uncertainty
            if doubt == 0.0:
                continue
            up, down = self.known.moved(name, doubt), self.known.moved(name, -doubt)
            law = self.known.law(up)
            offset = up["gauge"] - values["gauge"]
            along = np.zeros(3)
            if offset != 0.0 or law != self.fit.law:
                along = self.fit.shift(law, offset)
            moves.append(Moved(quantity, up, fitted + along, down, fitted - along))
        return moves

    def propagated(
        self, model: Model, *, unit: str, method: str, cautions: tuple[Caution, ...] = ()
    ) -> Quantity:
        """Return model(inputs, fitted) with its uncertainty by cause.

        Parameters
        ----------
        model : callable
            Takes the inputs' values and (rate, growth, air)
        unit, method : str
            SI unit of the result, and how it came about
        cautions : tuple of Caution
            What a reader must know
        """
        values, fitted = self.known.values, self.fit.values
        covariance = self.fit.covariance
        spread = np.sqrt(np.maximum(np.diag(covariance), 0.0))
        slope = np.zeros(3)
        for k in np.flatnonzero(spread):
            step = np.zeros(3)
            # Small against the spread where that is wide: the slope is wanted, not the bend.
            step[k] = 0.2 * spread[k]
            above, below = model(values, fitted + step), model(values, fitted - step)
            slope[k] = (above - below) / (2.0 * step[k])
        variance = float(slope @ covariance @ slope)
        parts = {self.fit_cause: math.sqrt(max(variance, 0.0))}
        for cause, share in self.rate_parts.items():
            step = np.array([fitted[0] * share, 0.0, 0.0])
            effect = 0.5 * (model(values, fitted + step) - model(values, fitted - step))
            parts[cause] = parts.get(cause, 0.0) + effect
        for move in self.moves:
            effect = 0.5 * (model(move.up, move.fitted_up) - model(move.down, move.fitted_down))
            doubt = move.quantity.standard_uncertainty
            for cause, part in move.quantity.contributions.items():
                parts[cause] = parts.get(cause, 0.0) + effect / doubt * part
        return Quantity(model(values, fitted), unit, parts, method, cautions)

    def time_at_reference(self, window: DropWindow) -> Quantity | NotMeasured:
        """Return the time of the sheet's drop for the injector alone at reference, [s]."""
        known = self.known
        if (missing := _missing_for_reference(known, window)) is not None:
            return missing
        reference_k = window.reference_temperature_k or 0.0
        ends = np.array([window.from_pa, window.to_pa])
        if float(np.min(known.injector_flow(known.values, self.fit.values, ends))) <= 0.0:
            return self.too_leaky()

        def seconds(v: Values, fitted: FloatArray) -> float:
            law = known.law(v)
            thinner = known.viscosity_ratio(v, v["temperature"], reference_k)

            def leak(pressure: FloatArray) -> FloatArray:
                p = pressure.ravel()
                whole = known.whole_flow(v, law, fitted, p)
                own = whole - known.rig_flow(v, law, p)
                # Kept above nothing, so that an input moved far still gives a (long) time.
                return np.maximum(own, 0.01 * np.abs(whole) + 1e-300).reshape(pressure.shape) * (
                    thinner
                )

            def compliance(pressure: FloatArray) -> FloatArray:
                if "reference compliance" in v:
                    return np.full_like(pressure, v["reference compliance"])
                return known.compliance(v, pressure, reference_k)

            return float(time_between(window.from_pa, window.to_pa, leak, compliance))

        decay = self._without_rig(say("whole decay fitted"))
        method = say(
            "{decay}, brought to {temperature} °C by viscosity (ASTM D341) and stiffness of the "
            "fluid",
            decay=decay,
            temperature=figure(reference_k - 273.15, "g"),
        )
        time = self.propagated(seconds, unit="s", method=method, cautions=known.cautions)
        return _with_honest_interval(time) or self.too_leaky()

    def _without_rig(self, method: Said) -> Said:
        if self.known.rig_leak is None:
            return method
        return say("{method}, the rig's own leak taken off", method=method)

    def too_leaky(self) -> NotMeasured:
        """Return why the injector's leak cannot be told."""
        if self.known.rig_leak is None:
            return NotMeasured(
                say("the pressure falls too little to tell a leak from none"),
                say("hold for longer"),
            )
        return NotMeasured(
            say("what the injector leaks cannot be told from what the rig leaks"),
            say(
                "mend the rig's leak (pump valve, cone, gauge), then repeat both holds, for longer"
            ),
        )

    def rig_share(self) -> float:
        """Return the rig's share in the whole leak in the middle of the decay, [1]."""
        known, fitted = self.known, self.fit.values
        values, law, at = known.values, known.law(known.values), np.array([known.middle_pa])
        whole = float(known.whole_flow(values, law, fitted, at)[0])
        rig = float(known.rig_flow(values, law, at)[0])
        return rig / whole if whole > 0.0 else math.inf

    def injector_conductance(self) -> Quantity | NotMeasured:
        """Return the injector's leakage per pressure at low pressure, test's temperature."""
        known = self.known
        if not known.volume_known:
            return NotMeasured(
                known.compliance_reason, say("measure the rig's volume or compliance")
            )

        def per_pressure(v: Values, fitted: FloatArray) -> float:
            low = np.array([LOW_PRESSURE_SHARE * known.middle_pa])
            return float((known.injector_flow(v, fitted, low) / low)[0])

        quantity = self.propagated(
            per_pressure,
            unit="m^3/(s Pa)",
            method=self._without_rig(say("rate of the whole decay times compliance")),
            cautions=(*known.cautions, *known.wall_cautions),
        )
        doubtful = quantity.standard_uncertainty > 2.0 * HOPELESS_DOUBT * abs(quantity.value)
        return self.too_leaky() if quantity.value <= 0.0 or doubtful else quantity

    def rig_conductance(self) -> Quantity | NotMeasured:
        """Return the rig's own leakage per pressure at low pressure, test's temperature."""
        known = self.known
        if known.rig_leak is None:
            return NotMeasured(
                say("there is no hold with a blank plug"), say("record a hold with a blank plug")
            )
        if not known.volume_known:
            return NotMeasured(
                known.compliance_reason, say("measure the rig's volume or compliance")
            )

        def per_pressure(v: Values, _fitted: FloatArray) -> float:
            low = np.array([LOW_PRESSURE_SHARE * known.middle_pa])
            return float((known.rig_flow(v, known.law(v), low) / low)[0])

        return self.propagated(
            per_pressure,
            unit="m^3/(s Pa)",
            method=say("rate of the blank-plug hold times its compliance"),
            cautions=(*known.rig_leak.cautions, *known.wall_cautions),
        )


def _missing_for_reference(known: BenchKnowledge, window: DropWindow) -> NotMeasured | None:
    if window.reference_temperature_k is None:
        return NotMeasured(
            say("the sheet names no temperature for its limit"),
            say("state the reference temperature of the limit in the sheet"),
        )
    if not known.temperature_known:
        return NotMeasured(
            say("the oil temperature was not noted"), say("note the oil temperature with each test")
        )
    if known.viscosity_reason:
        return NotMeasured(
            known.viscosity_reason,
            say("take two viscosities from the fluid's data sheet"),
        )
    if window.reference_compliance is not None and not known.volume_known:
        return NotMeasured(
            say(
                "the sheet's limit refers to a rig compliance, but {reason}",
                reason=known.compliance_reason,
            ),
            say("measure the rig's compliance by letting in a known volume"),
        )
    return None


def _with_honest_interval(time: Quantity) -> Quantity | None:
    """Return a time with an interval that follows its leak; None where the doubt is hopeless."""
    doubt = time.standard_uncertainty / time.value if time.value > 0.0 else math.inf
    if doubt > HOPELESS_DOUBT:
        return None
    if doubt < SKEWED_DOUBT:
        return time
    reach = 1.959963984540054 * time.student_factor * doubt
    if reach >= 1.0:
        return None
    return replace(time, interval=(time.value / (1.0 + reach), time.value / (1.0 - reach)))
