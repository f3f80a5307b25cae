"""A fall of pressure known by its two ends and its time alone."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from nozzlewright.analysis.trace.decay_fit import AIR_PRIOR, GROWTH_PRIOR, DecayLaw

FloatArray = NDArray[np.float64]

_PLACES = 65


@dataclass(frozen=True)
class StopwatchDecay:
    """A timed fall in the shape that a fitted decay has.

    Two readings tell a rate and no more: the growth of the gap and free air stay as open as they
    were before, and the rate moves with them, because the time is what it is.
    """

    law: DecayLaw
    from_pa: float
    to_pa: float
    seconds: float
    time_uncertainty_s: float
    """Standard uncertainty of the time, reading of the pressures included."""
    growth_prior: tuple[float, float] = GROWTH_PRIOR

    @property
    def values(self) -> FloatArray:
        """(rate [1/s], growth [1e-8/Pa], air [1e-3]), shape (3,)."""
        growth = self.growth_prior[0]
        return np.array([self._rate(self.law, growth, 0.0, 0.0), growth, 0.0])

    @property
    def covariance(self) -> FloatArray:
        """Covariance of the values, shape (3, 3)."""
        rate, growth, _ = self.values
        spread = self.growth_prior[1]
        by_growth = (
            self._rate(self.law, growth + spread, 0.0, 0.0)
            - self._rate(self.law, growth - spread, 0.0, 0.0)
        ) / 2.0
        by_air = self._rate(self.law, growth, AIR_PRIOR, 0.0) - rate
        # One column for each independent cause: time, growth, air.
        causes = np.array(
            [
                [rate * self.time_uncertainty_s / self.seconds, by_growth, by_air],
                [0.0, spread, 0.0],
                [0.0, 0.0, AIR_PRIOR],
            ]
        )
        return np.asarray(causes @ causes.T)

    def shift(self, law: DecayLaw, offset_pa: float = 0.0) -> FloatArray:
        """Return how the values move for another law or another level of the gauge."""
        rate, growth, _ = self.values
        return np.array([self._rate(law, growth, 0.0, offset_pa) - rate, 0.0, 0.0])

    def _rate(self, law: DecayLaw, growth: float, air: float, offset_pa: float) -> float:
        ends = np.log([self.to_pa + offset_pa, self.from_pa + offset_pa])
        log_p = np.linspace(ends[0], ends[1], _PLACES)
        p = np.exp(log_p)
        pace = p * law.compliance(p, air) / law.leakage(p, growth) / law.middle_pa
        return float(np.trapezoid(pace, log_p)) / self.seconds


def time_uncertainty(
    from_pa: float, to_pa: float, seconds: float, reading_pa: float, reaction_s: float
) -> float:
    """Return the standard uncertainty of a timed fall, [s].

    Parameters
    ----------
    from_pa, to_pa, seconds : float
        The fall, [Pa] and [s]
    reading_pa : float
        Standard uncertainty of telling either pressure on the dial, [Pa]; independent at the two
    reaction_s : float
        Standard uncertainty of starting and stopping the watch together, [s]
    """
    tau = seconds / math.log(from_pa / to_pa)
    return math.hypot(reaction_s, tau * reading_pa / from_pa, tau * reading_pa / to_pa)
