"""A reading by hand rests on the study of its own day, and keeps to it."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest

from nozzlewright.bench import ReadingStudy
from nozzlewright.judging import BenchTest
from nozzlewright.measurement import NotMeasured, Quantity, difference
from nozzlewright.records import AS_FOUND, EntryKind, findings_from, findings_text
from nozzlewright.workflow import NewTest, Workshop
from nozzlewright.workflow.setting_record import opening_from
from nozzlewright.workflow.studies import StudyOf, StudyPlan

DEMO = Path(__file__).parents[2] / "demo" / "six-in-line"
FITTER, OTHER = "A. N. Other", "S. O. Else"
FITTERS = (FITTER, OTHER, "N. O. Body")
PLAN = StudyPlan("invented", StudyOf.OPENING, tuple("123456"), FITTERS, repeats=2, seed=7)
CARD = """
smallest_division_bar = 2.0
opening_bar = [175.0, 175.5, 174.5]
note = "{note}"
{fitter}
[[drop]]
from_bar = 150.0
to_bar = 100.0
seconds = 20.0
"""


@pytest.fixture
def job(shop, act):
    check(shop, act)
    sheet = shop.add_sheet(act(), FITTER, (DEMO / "sheet.toml").read_bytes())
    booked = {"title": "set", "engine": "engine", "cylinders": 2, "condition": "used"}
    job = shop.book_in(act(), FITTER, {**booked, "symptoms": {}, "sheet": sheet})
    for cylinder in (1, 2):
        shop.tag(act(), FITTER, job, cylinder, f"D-{cylinder}", shim_mm=1.3)
    return job


def check(shop, act, *changes):
    conditions = (DEMO / "bench.toml").read_text()
    for old, new in changes:
        assert old in conditions
        conditions = conditions.replace(old, new)
    blank = shop.evidence.keep((DEMO / "recordings" / "blank-plug.csv").read_bytes(), "csv")
    return shop.check_rig(act(), FITTER, conditions.encode(), blank=blank)


def made(shop, act, name="study", of=StudyOf.OPENING):
    rng = np.random.default_rng(3)
    study = shop.studies.begin(name, FITTER, replace(PLAN, of=of))
    while (place := study.next) is not None:
        bias = (0.0, 1.5e5, -1.0e5)[place.fitter]
        reading = 172e5 + 2e5 * place.part + bias + rng.normal(0.0, 5e4)
        if of is StudyOf.DROP:
            reading = 15.0 + place.part + 5e-6 * bias + rng.normal(0.0, 0.3)
        study = shop.studies.take(act(), FITTER, study.id, place, value=reading)
    return study


def put_to_test(shop, act, job, cylinder=1, who=FITTER, fitter=""):
    one = shop.story(job).at_cylinder(cylinder)
    shop.note(act(), who, job, EntryKind.TAKEN_IN_HAND, injector=one.injector)
    named = f'fitter = "{fitter}"' if fitter else ""
    name = act()
    card = shop.evidence.keep(CARD.format(note=name, fitter=named).encode(), "toml")
    entry = shop.test(name, who, job, one.injector, NewTest("as-found", card=card))
    shop.note(act(), who, job, EntryKind.LAID_DOWN, injector=one.injector)
    return entry


def opening(shop, entry):
    found = shop.findings(str(entry.body["findings"])).opening_pressure
    assert isinstance(found, Quantity)
    return found


def by_name(quantity):
    return {str(cause.name): part for cause, part in quantity.contributions.items()}


def test_a_reading_carries_the_study_of_its_day_and_its_entry_names_it(shop, act, job):
    made(shop, act)
    entry = put_to_test(shop, act, job)

    found = by_name(opening(shop, entry))
    assert found["fitter"] > 0.0
    assert "repeatability of the opening" not in found
    assert entry.body["studies"] == {"opening pressure": "study"}
    assert [test.id for test in shop.studies.used_by("study")] == [entry.id]


def test_a_study_that_is_made_later_changes_nothing_of_an_old_test(shop, act, job):
    entry = put_to_test(shop, act, job)
    before, value = shop.judged(shop.story(job)), opening(shop, entry)
    verdict = before.verdict.as_found[0].of(BenchTest.OPENING)
    made(shop, act)

    anew = Workshop(shop.records, shop.evidence, shop.readers, shop.clock, shop.new_id)
    again = anew.judged(anew.story(job)).verdict.as_found[0].of(BenchTest.OPENING)
    assert again == verdict
    assert opening(anew, entry) == value
    assert "fitter" not in by_name(value)
    assert "studies" not in entry.body
    assert shop.studies.used_by("study") == []


def test_putting_a_reading_of_the_study_right_leaves_old_tests_as_they_were(shop, act, job):
    study = made(shop, act)
    entry = put_to_test(shop, act, job)
    value = opening(shop, entry)
    place, taken = study.latest
    shop.studies.take(act(), FITTER, study.id, place, value=179e5, corrects=taken.entry)

    assert opening(shop, entry) == value
    assert by_name(opening(shop, put_to_test(shop, act, job, 2))) != by_name(value)


def test_the_card_says_who_read_else_the_one_at_the_screen(shop, act, job):
    made(shop, act)
    first, second = (
        opening(shop, put_to_test(shop, act, job)),
        opening(shop, put_to_test(shop, act, job, 2)),
    )
    elsewhere = opening(shop, put_to_test(shop, act, job, 1, fitter=OTHER))

    assert "fitter" not in {
        str(cause.name) for cause, part in difference(first, second).contributions.items() if part
    }
    assert "fitter" in by_name(difference(first, elsewhere))


def test_the_record_keeps_how_well_a_cause_is_known(shop, act, job):
    made(shop, act)
    entry = put_to_test(shop, act, job)
    findings = shop.findings(str(entry.body["findings"]))
    again = findings_from(findings_text(findings)).opening_pressure

    assert again.degrees_of_freedom == findings.opening_pressure.degrees_of_freedom < 1e6
    one = shop.story(job).at_cylinder(1)
    noted = opening_from(one.tests_of(AS_FOUND)[-1])
    assert noted.degrees_of_freedom == pytest.approx(again.degrees_of_freedom)


def test_a_drop_by_stopwatch_carries_the_study_of_drops(shop, act, job):
    made(shop, act, of=StudyOf.DROP)
    entry = put_to_test(shop, act, job)
    hold = shop.findings(str(entry.body["findings"])).hold

    assert by_name(hold.drop_time_as_shown)["fitter"] > 0.0
    assert entry.body["studies"] == {"drop time": "study"}
    assert "fitter" not in by_name(opening(shop, entry))


# -- which study stands ----------------------------------------------------------------------------


def standing(shop):
    return shop.studies_now().opening


def test_without_a_study_the_reason_and_what_to_do_are_told(shop, act):
    check(shop, act)
    shop.studies.begin("half done", FITTER, PLAN)

    assert "no study of fitters has been finished" in standing(shop).reason
    assert "in a study" in standing(shop).remedy


def test_the_newest_finished_study_stands(shop, act):
    check(shop, act)
    made(shop, act, "first")
    made(shop, act, "second")
    shop.studies.begin("half done", FITTER, PLAN)

    assert isinstance(standing(shop), ReadingStudy)
    assert standing(shop).identity == "second"
    assert set(standing(shop).fitters) == set(FITTERS)
    assert isinstance(shop.studies_now().drop, NotMeasured)


def test_another_gauge_and_another_rig_end_it_and_the_old_one_stands_there_again(shop, act):
    check(shop, act)
    made(shop, act)
    text = (DEMO / "bench.toml").read_text()
    lines = text.splitlines()
    gauge = next(x for x in lines[lines.index("[gauge]") :] if x.startswith("id = "))
    rig = next(x for x in lines[lines.index("[rig]") :] if x.startswith("id = "))
    check(shop, act, (gauge, 'id = "G-another"'))
    assert "gauge has been changed" in standing(shop).reason
    check(shop, act, (rig, 'id = "R-another"'))
    assert "at another rig" in standing(shop).reason
    check(shop, act)
    assert isinstance(standing(shop), ReadingStudy)


@pytest.mark.parametrize(("limits", "days"), [("", 365), ("[limits]\nstudy_days = 30\n", 30)])
def test_an_old_study_does_not_stand(shop, act, limits, days):
    check(shop, act, ("[gauge]", f"{limits}[gauge]"))
    made(shop, act)
    now = shop.clock()
    for clock_of in (shop, shop.studies):
        clock_of.clock = lambda: now + timedelta(days=days - 1)
    assert isinstance(standing(shop), ReadingStudy)
    for clock_of in (shop, shop.studies):
        clock_of.clock = lambda: now + timedelta(days=days + 1)
    assert f"more than {days} days ago" in standing(shop).reason


# -- the check of the rig --------------------------------------------------------------------------

TYPED = """
[check]
opening_bar = [172.0, 172.4, 171.8]
[gauge]"""


def test_a_check_typed_by_hand_carries_the_study_and_who_read(shop, act):
    check(shop, act)
    made(shop, act)
    first = check(shop, act, ("[gauge]", TYPED))
    own = shop.rig_days.check(first).reference_opening

    assert by_name(own)["fitter"] > 0.0
    assert any(FITTER in str(cause.scope) for cause in own.contributions if cause.name == "fitter")


def test_a_card_that_takes_readings_along_keeps_who_read_them(shop, act):
    check(shop, act)
    made(shop, act)
    first = check(shop, act, ("[gauge]", TYPED))
    card = (DEMO / "bench.toml").read_text().replace("[gauge]", TYPED)
    second = shop.check_rig(act(), OTHER, card.encode(), blank=first.blank, carries=first.id)
    third = shop.check_rig(act(), OTHER, card.encode(), blank=first.blank)

    def readers(state):
        value = shop.rig_days.check(state).reference_opening
        return [str(cause.scope) for cause in value.contributions if cause.name == "fitter"]

    assert readers(second) == readers(first)
    assert OTHER in readers(third)[0]
