"""The demo workshop's studies: one finished, one half done, invented and marked so."""

from __future__ import annotations

from itertools import count

import pytest

from nozzlewright.analysis.gauge_study import GaugeStudy
from nozzlewright.edge.wiring.demo_studies import STEP_PA, make_studies
from nozzlewright.measurement import NotMeasured
from nozzlewright.workflow.studies import StudyOf


@pytest.fixture
def shop(tmp_path, helper):
    made = helper("workflow/in_memory.py").workshop_in_memory(tmp_path)
    numbers = count(1)
    make_studies(made, "A", ("A", "B", "C"), lambda: f"act-{next(numbers)}", lambda _minutes: None)
    return made


def test_one_is_finished_and_says_something_and_one_is_half_done(shop):
    half, whole = shop.studies.all()

    assert whole.done
    assert whole.plan.of is StudyOf.OPENING
    assert half.plan.of is StudyOf.SEAT
    assert 0 < len(half.taken) < half.plan.number
    assert half.plan.invented
    assert whole.plan.invented
    assert isinstance(shop.studies.result(half.id), NotMeasured)
    result = shop.studies.result(whole.id)
    assert isinstance(result, GaugeStudy)
    assert result.distinct_categories >= 2


def test_its_readings_are_such_as_a_fitter_reads_off_a_gauge(shop):
    values = [taken.value for taken in shop.studies.all()[1].taken.values()]

    assert all(150e5 < value < 200e5 for value in values)
    assert all(value / STEP_PA == round(value / STEP_PA) for value in values)
