"""What a study of fitters tells of one reading by hand."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from nozzlewright.measurement import NotMeasured
from nozzlewright.said import Said, figure, in_bar, say

FAR = 2.0
"""How many times beyond the injectors that were studied a reading may lie; common practice, no
source."""


@dataclass(frozen=True)
class ReadingStudy:
    """Standard deviations of one reading, by what makes them, from a study of fitters.

    Each with the degrees of freedom (Satterthwaite) with which it is known; a share that came out
    as nothing, or below zero, is zero.
    """

    identity: str
    """Id of the study, or digest of its table."""
    name: str
    """Its title and day, in words."""
    unit: str
    """``Pa`` or ``s``."""
    repeatability: float
    """One fitter, one injector, again and again, [unit]."""
    repeatability_degrees: float
    interaction: float
    """What a fitter adds on one injector and not on the next, [unit]."""
    interaction_degrees: float
    fitter: float
    """Level of a fitter, the same on all injectors, [unit]."""
    fitter_degrees: float
    lowest: float
    """Mean of the injector that was read lowest in the study, [unit]."""
    highest: float
    fitters: tuple[str, ...] = ()
    """Who took part."""
    levels: tuple[float, ...] = ()
    """How much more each of them reads than all of them in the mean, in their order, [unit]; empty
    where the study cannot tell it."""
    level: float = 0.0
    """Standard deviation with which such a level is known, [unit]."""
    level_degrees: float = math.inf

    def level_of(self, fitter: str) -> float | None:
        """Return how much more a fitter reads than those of the study in the mean, [unit].

        None where he took no part, or the study cannot tell it.

        >>> both = ReadingStudy("s", "", "s", .2, 8, .1, 3, .4, 1, 20., 30., ("Ann", "Bob"),
        ...     (0.3, -0.3), 0.05, 3)
        >>> both.level_of("Bob"), both.level_of("Cyd")
        (-0.3, None)
        """
        return dict(zip(self.fitters, self.levels, strict=False)).get(fitter.strip())

    def growth(self, value: float) -> float:
        """Return how many times larger its shares are taken at a reading, 1 or more, [1].

        Scatter of a needle and error of a time grow with what is read: above the highest injector
        that was studied they are taken as proportional to it. Below, they stay.
        """
        return max(1.0, value / self.highest)

    def does_not_reach(self, value: float) -> NotMeasured | None:
        """Return why the study says nothing of a reading; None where it does."""
        if self.lowest / FAR <= value <= self.highest * FAR:
            return None
        return NotMeasured(
            say(
                "the study of fitters was made from {low} to {high}, too far from this reading",
                low=self._words(self.lowest),
                high=self._words(self.highest),
            ),
            say("let the fitters read some injectors like this one in a study"),
        )

    def _words(self, value: float) -> Said:
        if self.unit == "s":
            return say("{time} s", time=figure(value, ".1f"))
        return in_bar(value)


@dataclass(frozen=True)
class ReadingStudies:
    """Studies for the kinds of readings; why there is none; None where nobody asked."""

    opening: ReadingStudy | NotMeasured | None = None
    """For opening pressures read from a dial."""
    drop: ReadingStudy | NotMeasured | None = None
    """For drop times by stopwatch."""

    @property
    def as_read(self) -> ReadingStudies:
        """The same with no fitter's level taken off what he reads.

        So are the readings in the check of a rig: they are held against those of years before.
        """
        return ReadingStudies(_as_read(self.opening), _as_read(self.drop))


def _as_read(study: ReadingStudy | NotMeasured | None) -> ReadingStudy | NotMeasured | None:
    return replace(study, levels=()) if isinstance(study, ReadingStudy) else study
