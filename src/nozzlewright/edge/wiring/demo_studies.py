"""Invented studies of fitters for the demo workshop: one finished, one half done."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from nozzlewright.workflow import Workshop
from nozzlewright.workflow.studies import GRADES_OF, StudyOf, StudyPlan

SEED = 5
"""Start of chance of the readings; the same ones in every demo workshop."""
STEP_PA = 0.5e5
"""Step to which the invented fitters read their gauge."""


def make_studies(
    workshop: Workshop,
    who: str,
    fitters: Sequence[str],
    new_id: Callable[[], str],
    later: Callable[[float], None],
) -> None:
    """Write both into the record.

    Parameters
    ----------
    workshop : Workshop
        The demo workshop
    who : str
        Who is at the screen
    fitters : sequence of str
        Who reads: three
    new_id : callable
        Returns an identity that nothing else has
    later : callable
        Moves the workshop's clock on by so many minutes
    """
    rng = np.random.default_rng(SEED)
    opening = StudyPlan(
        "Opening pressure before the season",
        StudyOf.OPENING,
        ("1", "2", "3", "4", "5", "6"),
        tuple(fitters),
        repeats=2,
        seed=SEED,
        tolerance=8e5,
        invented=True,
    )
    own = rng.normal(0.0, 3.5e5, len(opening.parts))
    level = (0.0, 1.2e5, -0.5e5)
    study = workshop.studies.begin(new_id(), who, opening)
    while (place := study.next) is not None:
        later(1.5)
        true = 175e5 + own[place.part] + level[place.fitter] + rng.normal(0.0, 0.7e5)
        read = round(true / STEP_PA) * STEP_PA
        study = workshop.studies.take(new_id(), who, study.id, place, value=read)

    tips = StudyPlan(
        "What is damp, what is a drop",
        StudyOf.SEAT,
        ("1", "2", "3", "4", "5"),
        tuple(fitters[:2]),
        repeats=2,
        seed=SEED,
        invented=True,
    )
    later(30.0)
    study = workshop.studies.begin(new_id(), who, tips)
    grades = GRADES_OF[StudyOf.SEAT]
    for place in tips.order[: tips.number // 2 + 1]:
        later(1.5)
        # The second of them calls a drop what the first calls damp.
        severe = place.part // 2 + (place.fitter == 1 and place.part == 3)
        study = workshop.studies.take(new_id(), who, study.id, place, grade=grades[severe])
