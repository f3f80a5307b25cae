"""A study of fitters in the record: planned, read blind, put right, told."""

from __future__ import annotations

from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from nozzlewright.analysis.agreement import GradeStudy
from nozzlewright.analysis.gauge_study import GaugeStudy
from nozzlewright.errors import IdTaken, InputFault, NotAllowed
from nozzlewright.measurement import NotMeasured
from nozzlewright.records import SHOP, EntryKind
from nozzlewright.workflow.studies import (
    GRADES_OF,
    Place,
    Studies,
    StudyOf,
    StudyPlan,
    checked_plan,
    plan_body,
    plan_from,
)

FITTER = "A. N. Other"
PLAN = StudyPlan(
    "invented", StudyOf.OPENING, ("1", "2", "3"), ("A", "B"), repeats=2, seed=7, tolerance=8e5
)


def read_all(shop, act, study, value=None):
    rng = np.random.default_rng(3)
    while (place := study.next) is not None:
        reading = 175e5 + 3e5 * place.part + 1e5 * place.fitter + rng.normal(0.0, 5e4)
        reading = reading if value is None else value(place)
        study = shop.studies.take(act(), FITTER, study.id, place, value=reading)
    return study


# -- the order by lot --------------------------------------------------------------------------


@given(st.integers(2, 12), st.integers(2, 5), st.integers(1, 4), st.integers(0, 2**32))
def test_every_place_comes_once_and_no_fitter_reads_an_injector_twice_running(
    parts, fitters, repeats, seed
):
    plan = StudyPlan(
        "",
        StudyOf.OPENING,
        tuple(map(str, range(parts))),
        tuple(map(str, range(fitters))),
        repeats,
        seed,
    )
    order = plan.order

    assert len(set(order)) == len(order) == plan.number
    assert [place.repeat for place in order] == sorted(place.repeat for place in order)
    assert all(one.part != other.part for one, other in pairwise(order))
    # A fitter reads all injectors in one go: who waits is not kept at the bench.
    turns = [place.fitter for place in order[::parts]]
    assert [place.fitter for place in order] == [fitter for fitter in turns for _ in range(parts)]


def test_the_lot_hangs_on_the_seed_alone_and_not_on_names():
    other = replace(PLAN, parts=("a", "b", "c"), title="another")

    assert other.order == PLAN.order
    assert any(replace(PLAN, seed=seed).order != PLAN.order for seed in range(8, 12))


def test_each_injector_is_first_about_equally_often():
    plan = StudyPlan("", StudyOf.OPENING, tuple("12345"), ("A", "B"), 2, 0)
    first = Counter(replace(plan, seed=seed).order[0].part for seed in range(500))

    # 100 expected each; four standard deviations are 36.
    assert all(64 <= first[part] <= 136 for part in range(5))


# -- in the record -----------------------------------------------------------------------------


def test_a_study_is_planned_read_and_told(shop, act):
    study = shop.studies.begin("plan", FITTER, PLAN)
    assert study.next == PLAN.order[0]
    half = shop.studies.result("plan")
    assert isinstance(half, NotMeasured)
    assert "12 of 12 readings are missing" in half.reason

    study = read_all(shop, act, study)

    assert study.done
    assert study.next is None
    result = shop.studies.result("plan")
    assert isinstance(result, GaugeStudy)
    assert (result.parts, result.fitters, result.repeats) == (("1", "2", "3"), ("A", "B"), 2)
    assert result.tolerance == 8e5
    assert result.unit == "Pa"
    assert shop.studies.result("plan") is result  # kept until something is added


def test_all_of_it_stands_in_the_record_and_can_be_told_from_it_anew(shop, act):
    read_all(shop, act, shop.studies.begin("plan", FITTER, PLAN))
    entries = shop.records.of_kind(EntryKind.STUDY, story=SHOP)
    anew = Studies(shop.records, shop.clock)

    assert len(entries) == 1 + 12
    assert entries[-1].body["plan"]["seed"] == 7
    assert entries[0].body["pressure_pa"] > 170e5
    assert {entry.draft.who for entry in entries} == {FITTER}
    assert anew.study("plan") == shop.studies.study("plan")
    assert anew.all() == shop.studies.all()


def test_what_another_program_wrote_meanwhile_is_seen(shop, act):
    other = Studies(shop.records, shop.clock)
    study = shop.studies.begin("plan", FITTER, PLAN)
    other.take("by another", FITTER, "plan", study.next, value=175e5)

    assert shop.studies.study("plan").next == PLAN.order[1]


def test_a_repeated_tap_is_one_reading(shop):
    study = shop.studies.begin("plan", FITTER, PLAN)
    place = study.next
    once = shop.studies.take("tap", FITTER, "plan", place, value=175e5)
    twice = shop.studies.take("tap", FITTER, "plan", place, value=175e5)

    assert twice == once
    assert len(shop.records.of_kind(EntryKind.STUDY)) == 2
    assert shop.studies.begin("plan", FITTER, PLAN).taken == once.taken


def test_a_reading_that_was_mistyped_is_put_right_and_both_stay_in_the_record(shop):
    study = shop.studies.begin("plan", FITTER, PLAN)
    place = study.next
    shop.studies.take("first", FITTER, "plan", place, value=75e5)

    study = shop.studies.take("second", FITTER, "plan", place, value=175e5, corrects="first")

    assert study.taken[place].value == 175e5
    assert study.taken[place].corrected == 1
    assert study.latest == (place, study.taken[place])
    assert [e.draft.corrects for e in shop.records.of_kind(EntryKind.STUDY)] == ["first", "", ""]


@pytest.mark.parametrize(
    ("corrects", "said"),
    [
        pytest.param("", "taken already", id="another for the same place"),
        pytest.param("first", "put right already", id="a correction that came too late"),
    ],
)
def test_two_hands_at_one_reading_do_not_overwrite_each_other(shop, corrects, said):
    place = shop.studies.begin("plan", FITTER, PLAN).next
    shop.studies.take("first", FITTER, "plan", place, value=175e5)
    shop.studies.take("second", FITTER, "plan", place, value=176e5, corrects="first")

    with pytest.raises(NotAllowed, match=said):
        shop.studies.take("third", FITTER, "plan", place, value=177e5, corrects=corrects)
    assert shop.studies.study("plan").taken[place].value == 176e5


def test_of_many_hands_at_one_reading_exactly_one_writes_it(shop):
    place = shop.studies.begin("plan", FITTER, PLAN).next

    def hand(number: int) -> bool:
        try:
            shop.studies.take(f"hand-{number}", FITTER, "plan", place, value=170e5 + number)
        except NotAllowed:
            return False
        return True

    with ThreadPoolExecutor(8) as hands:
        wrote = list(hands.map(hand, range(24)))

    assert sum(wrote) == 1
    assert shop.studies.study("plan").taken[place].value == 170e5 + wrote.index(True)
    assert len(shop.records.of_kind(EntryKind.STUDY)) == 2


def test_where_two_programs_wrote_one_reading_the_first_one_stands(shop):
    place = shop.studies.begin("plan", FITTER, PLAN).next
    shop.studies.take("first", FITTER, "plan", place, value=175e5)
    first = shop.records.entry("first").draft
    # As another program would have written it that had not seen the first one yet.
    late = replace(first, id="late", body={**first.body, "pressure_pa": 180e5})
    shop.records.take_in([late])

    for studies in (shop.studies, Studies(shop.records, shop.clock)):
        taken = studies.study("plan").taken
        assert (len(taken), taken[place].value, taken[place].entry) == (1, 175e5, "first")


def test_a_correction_of_nothing_is_refused(shop):
    place = shop.studies.begin("plan", FITTER, PLAN).next

    with pytest.raises(NotAllowed, match="no such reading"):
        shop.studies.take("act", FITTER, "plan", place, value=175e5, corrects="nothing")


@pytest.mark.parametrize("place", [Place(3, 0, 0), Place(0, 2, 0), Place(0, 0, 2), Place(-1, 0, 0)])
def test_a_reading_outside_the_plan_is_refused(shop, place):
    shop.studies.begin("plan", FITTER, PLAN)

    with pytest.raises(NotAllowed, match="not in the plan"):
        shop.studies.take("act", FITTER, "plan", place, value=175e5)


@pytest.mark.parametrize("value", [None, 0.0, -1.0, float("nan"), float("inf"), 2e9])
def test_what_is_no_reading_is_refused_and_nothing_is_written(shop, value):
    study = shop.studies.begin("plan", FITTER, PLAN)

    with pytest.raises(InputFault):
        shop.studies.take("act", FITTER, "plan", study.next, value=value)
    assert len(shop.records.of_kind(EntryKind.STUDY)) == 1


@pytest.mark.parametrize("of", list(GRADES_OF))
def test_grades_are_told_by_agreement(shop, act, of):
    grades = GRADES_OF[of]
    plan = replace(PLAN, of=of, tolerance=None)
    study = shop.studies.begin("plan", FITTER, plan)
    with pytest.raises(InputFault, match="nothing has been chosen"):
        shop.studies.take("wrong", FITTER, "plan", study.next, grade="moist")
    while (place := study.next) is not None:
        grade = grades[place.part % len(grades)]
        study = shop.studies.take(act(), FITTER, "plan", place, grade=grade)

    result = shop.studies.result("plan")
    assert isinstance(result, GradeStudy)
    assert result.all_alike == 1.0
    assert result.together.kappa.value == pytest.approx(1.0)


def test_an_id_of_something_else_is_no_reading_and_no_plan(shop):
    shop.add_person("person", FITTER, FITTER)
    study = shop.studies.begin("plan", FITTER, PLAN)

    with pytest.raises(IdTaken):
        shop.studies.begin("person", FITTER, PLAN)
    with pytest.raises(IdTaken):
        shop.studies.take("person", FITTER, "plan", study.next, value=175e5)
    with pytest.raises(KeyError):
        shop.studies.study("nothing")


def test_other_acts_of_the_shop_do_not_hide_a_study(shop, act):
    shop.studies.begin("plan", FITTER, PLAN)
    shop.add_person("person", FITTER, FITTER)
    second = shop.studies.begin("another", FITTER, replace(PLAN, title="another"))

    assert [study.id for study in shop.studies.all()] == ["another", "plan"]
    read_all(shop, act, second)
    assert not shop.studies.study("plan").taken


def test_the_newest_finished_study_says_what_a_reading_owes_to_the_fitter(shop, act):
    lacking = shop.studies.fitter_uncertainty(StudyOf.OPENING)
    assert isinstance(lacking, NotMeasured)
    read_all(shop, act, shop.studies.begin("first", FITTER, PLAN))
    read_all(
        shop,
        act,
        shop.studies.begin("second", FITTER, PLAN),
        lambda place: 175e5 + 4e5 * place.fitter + 1e4 * place.repeat,
    )
    shop.studies.begin("half done", FITTER, PLAN)

    cause, u = shop.studies.fitter_uncertainty(StudyOf.OPENING)
    _, known = shop.studies.fitter_uncertainty(StudyOf.OPENING, repeatability_known=True)

    assert cause.name == "fitter"
    # Two fitters 4 bar apart on every injector: a standard deviation of 4 / sqrt(2).
    assert known == pytest.approx(4e5 / 2**0.5, rel=1e-3)
    assert u > known
    assert isinstance(shop.studies.fitter_uncertainty(StudyOf.DROP), NotMeasured)
    assert isinstance(shop.studies.fitter_uncertainty(StudyOf.SEAT), NotMeasured)
    elsewhere = shop.studies.fitter_uncertainty(StudyOf.OPENING, rig="another rig")
    assert isinstance(elsewhere, NotMeasured)


# -- plans -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("change", "where"),
    [
        pytest.param({"parts": ("1",)}, "parts", id="one injector"),
        pytest.param({"parts": ("1", "1 ")}, "parts", id="the same injector twice"),
        pytest.param({"parts": tuple(map(str, range(31)))}, "parts", id="too many injectors"),
        pytest.param({"fitters": ("A",)}, "fitters", id="one fitter"),
        pytest.param({"fitters": ("A", "B" * 61)}, "fitters", id="a name too long"),
        pytest.param({"repeats": 1}, "repeats", id="read once"),
        pytest.param({"repeats": 11}, "repeats", id="read too often"),
        pytest.param({"tolerance": 0.0}, "tolerance", id="no tolerance"),
        pytest.param({"of": StudyOf.SEAT}, "tolerance", id="grades with a tolerance"),
        pytest.param(
            {"parts": tuple(map(str, range(30))), "fitters": tuple("ABCDEFGHIJKL")},
            "repeats",
            id="more than anybody reads",
        ),
    ],
)
def test_a_plan_that_could_tell_nothing_is_refused_with_the_field(shop, change, where):
    with pytest.raises(InputFault) as raised:
        shop.studies.begin("plan", FITTER, replace(PLAN, **change))

    assert where in {fault.where for fault in raised.value.faults}
    assert shop.studies.all() == []


def test_all_that_is_wrong_with_a_plan_is_said_at_once():
    with pytest.raises(InputFault) as raised:
        checked_plan(replace(PLAN, parts=(), fitters=("A", "A"), repeats=0))

    assert {fault.where for fault in raised.value.faults} == {"parts", "fitters", "repeats"}


def test_grades_may_be_given_once():
    assert checked_plan(replace(PLAN, of=StudyOf.SEAT, tolerance=None, repeats=1)).repeats == 1


@pytest.mark.parametrize("of", list(StudyOf))
def test_a_plan_comes_back_from_the_record_as_it_was(of):
    tolerance = None if of in GRADES_OF else 2.5
    plan = replace(PLAN, of=of, tolerance=tolerance, invented=True)

    assert plan_from(plan_body(plan)) == plan
