"""What a study of fitters tells of one reading by hand."""

from __future__ import annotations

from dataclasses import dataclass

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
