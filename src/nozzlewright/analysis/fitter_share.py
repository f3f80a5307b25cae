r"""What a reading by hand owes to the one who took it, by a study of fitters, cause by cause.

A reading of fitter *i* at injector *j* is off by :math:`F_i + (PF)_{ij} + E`, of which a study
tells the variances. Each is a cause of its own, and its scope says what it is common to:

=====================  ==========================================================================
fitter                 all readings of this kind by this fitter at this rig: it cancels in their
                       differences, and not in those with another's
fitter with injector   this test alone. It is the same in all pops of the test and does not average
                       out; after an adjustment the injector is, to the hand, another one
repeatability          this test alone, divided by the root of the number of repeats
=====================  ==========================================================================

The repeatability of the study stands *in place of* the scatter that is assumed or found in few
repeats, and of the reading by eye as far as it scatters with it: the repeats of the study have all
of it in them. Where the repeats of a test scatter more than those of the study allow (F test, 5 %),
this injector is another case than those that were studied, and its own scatter stands.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from nozzlewright.bench import ReadingStudy
from nozzlewright.measurement import Cause
from nozzlewright.said import Said, say

FITTER = say("fitter")
INTERACTION = say("fitter with injector")
REPEATABILITY = say("repeatability of a reading")
MORE_THAN_CHANCE = 0.05
"""Probability of the F test with which a test's own scatter is taken for chance."""


@dataclass(frozen=True)
class FitterShares:
    """What the mean of some readings by one fitter owes to him."""

    study: ReadingStudy
    growth: float
    """How many times the shares of the study are taken."""
    count: int
    repeatability: Cause
    parts: dict[Cause, float]
    """Fitter, and fitter with injector, [unit]."""

    @property
    def one_reading(self) -> float:
        """Repeatability of a single reading, [unit]."""
        return self.growth * self.study.repeatability

    @property
    def of_the_mean(self) -> dict[Cause, float]:
        """Repeatability of the mean, [unit]."""
        return {self.repeatability: self.one_reading / math.sqrt(self.count)}

    def are_exceeded_by(self, scatter: float) -> bool:
        """Return whether repeats scatter more than the study's allow, by more than chance.

        Parameters
        ----------
        scatter : float
            Standard deviation of the `count` readings of the test, [unit]
        """
        if self.count < 2 or scatter <= self.one_reading:
            return False
        if self.one_reading == 0.0:
            return True
        from scipy.special import fdtrc

        ratio = (scatter / self.one_reading) ** 2
        chance = float(fdtrc(self.count - 1, self.study.repeatability_degrees, ratio))
        return chance < MORE_THAN_CHANCE


def shares_of(
    study: object, readings: Sequence[float], *, fitter: str, source: str, rig: str, what: Said
) -> FitterShares | None:
    """Return what readings owe to their fitter; None where no study tells it.

    Parameters
    ----------
    study : ReadingStudy or anything else
        That of the day for this kind of reading, or what stands in its place
    readings : sequence of float
        Of one injector, repeated, [unit of the study]
    fitter : str
        Who read; empty where nobody knows: then nothing of it is shared with another test
    source : str
        Names the test
    rig : str
        At which rig
    what : Said
        Kind of reading
    """
    if not isinstance(study, ReadingStudy) or not readings:
        return None
    mean = sum(readings) / len(readings)
    if study.does_not_reach(mean) is not None:
        return None
    here = say("{source}, {what}", source=source, what=what)
    his = here
    if fitter:
        his = say("{fitter}, {what}", fitter=fitter, what=what)
        if rig:
            his = say("{fitter}, {what}, {rig}", fitter=fitter, what=what, rig=rig)
    growth = study.growth(mean)

    def cause(name: Said, scope: Said, degrees: float) -> Cause:
        return Cause(name, scope, degrees=degrees if math.isfinite(degrees) else None)

    return FitterShares(
        study,
        growth,
        len(readings),
        cause(REPEATABILITY, here, study.repeatability_degrees),
        {
            cause(FITTER, his, study.fitter_degrees): growth * study.fitter,
            cause(INTERACTION, here, study.interaction_degrees): growth * study.interaction,
        },
    )
