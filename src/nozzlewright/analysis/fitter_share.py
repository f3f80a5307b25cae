r"""What a reading by hand owes to the one who took it, by a study of fitters, cause by cause.

A reading of fitter *i* at injector *j* is off by :math:`F_i + (PF)_{ij} + E`, of which a study
tells the variances. Each is a cause of its own, and its scope says what it is common to:

=====================  ==========================================================================
fitter                 all readings of this kind by this fitter at this rig: it cancels in their
                       differences, and not in those with another's
fitters of the study   all readings of this kind by those who took part in the study
fitter with injector   this test alone. It is the same in all pops of the test and does not average
                       out; after an adjustment the injector is, to the hand, another one
repeatability          this test alone, divided by the root of the number of repeats
=====================  ==========================================================================

Of a fitter who took part, the study knows how much more he reads than all of them in the mean. That
is a known systematic effect, and it is taken off (JCGM 100:2008, 3.2.4 and F.2.4.5). What is left
of :math:`F_i` is then how well his level is known, his own, and the mean level of the b fitters of
the study, :math:`\sigma_F / \sqrt b`, that all of them share: no mean of few is the truth. So it
cancels in the difference of two of them, which the study has seen, and counts against a stranger.

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
from nozzlewright.said import Said, figure, in_bar, say

FITTER = say("fitter")
OF_ALL = say("fitters of the study")
INTERACTION = say("fitter with injector")
REPEATABILITY = say("repeatability of a reading")
DROP = say("drop")
"""What falls timed by stopwatch are called in the scope of a fitter."""
LEVEL = "level of a fitter"
"""Names the estimate on which the levels of the fitters of a study rest."""
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
    fitter: str = ""
    """Who read, where the study tells his level."""
    level: float = 0.0
    """How much more he reads than those of the study in the mean: to be taken off, [unit]."""

    @property
    def one_reading(self) -> float:
        """Repeatability of a single reading, [unit]."""
        return self.growth * self.study.repeatability

    @property
    def of_the_mean(self) -> dict[Cause, float]:
        """Repeatability of the mean, [unit]."""
        return {self.repeatability: self.one_reading / math.sqrt(self.count)}

    def taken_off(self, method: Said) -> Said:
        """Return how a value came about, with the level of its fitter that was taken off."""
        if not self.level:
            return method
        size = abs(self.level)
        return say(
            "{method}; the study has it that {fitter} reads {size} {way} than its fitters in the "
            "mean: taken off",
            method=method,
            fitter=self.fitter,
            size=in_bar(size, ".2f")
            if self.study.unit == "Pa"
            else say("{time} s", time=figure(size, ".2f")),
            way=say("more") if self.level > 0.0 else say("less"),
        )

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

    A study in which a fitter is off by more than what is read now does not tell it either.

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
    his = _of(fitter, what, rig) if fitter else here
    growth = study.growth(mean)
    level = study.level_of(fitter)
    if level is not None and growth * level >= mean:
        return None

    def cause(name: Said, scope: Said, degrees: float, rests_on: str = "") -> Cause:
        known = degrees if math.isfinite(degrees) else None
        return Cause(name, scope, degrees=known, rests_on=rests_on)

    if level is None:
        of_fitter = {cause(FITTER, his, study.fitter_degrees): growth * study.fitter}
    else:
        # Another study would tell another level: what is left then is not the same error.
        of_all = _of(study.name, what, rig)
        as_studied = say("{fitter}, {study}", fitter=his, study=study.name)
        of_fitter = {
            cause(FITTER, as_studied, study.level_degrees, LEVEL): growth * study.level,
            cause(OF_ALL, of_all, study.fitter_degrees, FITTER): growth
            * study.fitter
            / math.sqrt(len(study.fitters)),
        }
    return FitterShares(
        study,
        growth,
        len(readings),
        cause(REPEATABILITY, here, study.repeatability_degrees),
        {
            **of_fitter,
            cause(INTERACTION, here, study.interaction_degrees): growth * study.interaction,
        },
        fitter if level is not None else "",
        growth * (level or 0.0),
    )


def _of(fitter: str, what: Said, rig: str) -> Said:
    if not rig:
        return say("{fitter}, {what}", fitter=fitter, what=what)
    return say("{fitter}, {what}, {rig}", fitter=fitter, what=what, rig=rig)
