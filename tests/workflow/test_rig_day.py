"""Every test is judged by the check of its own rig, on its own day."""

from __future__ import annotations

import shutil
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest

from nozzlewright.edge.wiring import judge_folder
from nozzlewright.judging import BenchTest, Fitness, Outcome, RigItem
from nozzlewright.measurement import NotMeasured, Quantity
from nozzlewright.records import AS_FOUND, SHOP, Draft, EntryKind
from nozzlewright.workflow import NewTest, Workshop

DEMO = Path(__file__).parents[2] / "demo" / "six-in-line"
FITTER = "A. N. Other"
LIMITS = """
[reference]
id = "N-0"
opening_bar = 181.0
opening_u_bar = 0.2
opening_tolerance_bar = 3.0

[limits]
blank_fall_bar = {most}
blank_fall_s = 60.0
blank_fall_from_bar = 150.0

[check]
zero_bar = 0.3
opening_bar = [{opening}, {opening}, {opening}]
"""


def card(most=5.0, opening=181.0):
    return ((DEMO / "bench.toml").read_text() + LIMITS.format(most=most, opening=opening)).encode()


def check(shop, act, **more):
    blank = shop.evidence.keep((DEMO / "recordings" / "blank-plug.csv").read_bytes(), "csv")
    return shop.check_rig(act(), FITTER, card(**more), blank=blank)


def job_of(shop, act):
    sheet = shop.add_sheet(act(), FITTER, (DEMO / "sheet.toml").read_bytes())
    booked = {"title": "set", "engine": "engine", "cylinders": 2, "condition": "used"}
    job = shop.book_in(act(), FITTER, {**booked, "symptoms": {}, "sheet": sheet})
    for cylinder in (1, 2):
        shop.tag(act(), FITTER, job, cylinder, f"D-{cylinder}", shim_mm=1.3)
    return job


def put_to_test(shop, act, job, cylinder, name):
    one = shop.story(job).at_cylinder(cylinder)
    shop.note(act(), FITTER, job, EntryKind.TAKEN_IN_HAND, injector=one.injector)
    path = DEMO / "recordings" / name
    recording = shop.evidence.keep(path.read_bytes(), ".".join(path.name.split(".")[1:]))
    seen = {"seat": "dry", "drop_test": "dry", "spray": "good", "chatter": "clear"}
    shop.test(act(), FITTER, job, one.injector, NewTest("as-found", recording, seen=seen))
    shop.note(act(), FITTER, job, EntryKind.LAID_DOWN, injector=one.injector)


def leakage(shop, job, cylinder):
    verdicts = shop.judged(shop.story(job)).verdict.as_found
    return next(v for v in verdicts if v.injector.cylinder == cylinder).of(BenchTest.BACK_LEAKAGE)


def test_a_check_keeps_what_it_showed_and_what_it_came_to(shop, act):
    state = check(shop, act)
    kept = shop.rig_days.check(state)
    assert kept.blank_decay_rate.value > 0.0
    assert kept.zero.value == pytest.approx(0.3e5)
    assert isinstance(kept.reference_opening, Quantity)
    assert isinstance(kept.compliance, NotMeasured)
    assert state.body["state"] == Fitness.FIT.value
    verdict = shop.rig_days.verdict(state)
    assert verdict.of(RigItem.OPENING).fitness is Fitness.FIT
    # What is read from the record is what was measured: to the last bit, causes and all.
    again = shop.rig_verdict(state.id)
    assert again == verdict


def test_each_test_is_judged_by_the_rig_that_it_was_made_on(shop, act):
    out = check(shop, act, most=0.5)
    assert out.body["state"] == Fitness.OUT.value
    job = job_of(shop, act)
    put_to_test(shop, act, job, 1, "3-found.csv.gz")
    assert leakage(shop, job, 1).outcome is Outcome.WITHHELD
    assert isinstance(leakage(shop, job, 1).measured, Quantity)
    said = shop.story(job).at_cylinder(1).verdicts[AS_FOUND].body
    assert "withheld" in [one["outcome"] for one in said["tests"]]
    assert said["next"][0]["kind"] == "check the rig"

    check(shop, act)
    put_to_test(shop, act, job, 2, "3-found.csv.gz")
    assert leakage(shop, job, 2).outcome is Outcome.FAIL
    # The rig was put right since; what was tested before stays without a verdict.
    assert leakage(shop, job, 1).outcome is Outcome.WITHHELD
    report = shop.judged(shop.story(job)).report
    assert any(fact.label == "Rig check" and "Fit for use" in fact.text for fact in report.bench)


def test_the_chart_grows_from_check_to_check_and_an_old_entry_is_still_read(shop, act):
    conditions = shop.evidence.keep((DEMO / "bench.toml").read_bytes(), "toml")
    body = {"rig": "invented rig D-R1", "gauge": "", "conditions": conditions, "blank": "",
            "remarks": "", "temperature_c": 14.0}  # fmt: skip
    old = Draft(act(), SHOP, EntryKind.RIG_CHECK, FITTER, shop.clock(), body)
    shop.records.take_in([old])
    before = shop.rig()
    assert shop.rig_days.verdict(before).fitness is Fitness.UNCHECKED
    assert shop.rig_days.verdict(before).objections == ()
    true = (181.0, 180.8, 181.1, 180.9, 181.2)
    for opening in true:
        state = check(shop, act, opening=opening)
    chart = shop.rig_days.verdict(state).charts[RigItem.OPENING]
    values = [point.measured.value / 1e5 for point in chart.chart.points]
    # The gauge's certificate takes half a bar off, the same from all of them.
    shifts = [value - was for value, was in zip(values, true, strict=True)]
    assert len(values) == 5
    assert max(shifts) - min(shifts) < 0.01


def test_a_folder_whose_card_states_its_check_is_judged_by_it(tmp_path):
    for most, withheld in ((5.0, False), (0.5, True)):
        folder = tmp_path / str(most)
        shutil.copytree(DEMO, folder)
        (folder / "bench.toml").write_bytes(card(most))
        judged = judge_folder(folder, date(2026, 3, 4)).judged
        outcomes = {
            verdict.of(BenchTest.BACK_LEAKAGE).outcome
            for verdict in (*judged.verdict.injectors, *judged.verdict.as_found)
        }
        assert (Outcome.WITHHELD in outcomes) is withheld
        assert ({Outcome.PASS, Outcome.FAIL} & outcomes == set()) is withheld
        assert judged.rig.fitness is (Fitness.OUT if withheld else Fitness.FIT)


def test_two_checks_that_are_equal_in_every_value_are_two(shop, act):
    check(shop, act)
    check(shop, act)
    third = check(shop, act)

    assert len(shop.rig_days.verdict(third).charts[RigItem.OPENING].days) == 3


def test_the_same_act_sent_twice_is_one_check(shop):
    for _ in range(2):
        last = shop.check_rig("act", FITTER, card())

    assert len(shop.rig_checks()) == 1
    assert len(shop.rig_days.verdict(last).charts[RigItem.OPENING].days) == 1


def test_a_card_that_takes_the_readings_of_a_check_along_counts_once(shop, act):
    check(shop, act)
    second = check(shop, act)
    once = shop.check_rig(act(), FITTER, card(most=6.0), blank=second.blank, carries=second.id)
    again = shop.check_rig(act(), FITTER, card(most=7.0), blank=second.blank, carries=once.id)

    for state, points in ((second, 2), (once, 2), (again, 2)):
        assert len(shop.rig_days.verdict(state).charts[RigItem.OPENING].days) == points
    assert len(shop.rig_days.verdict(check(shop, act)).charts[RigItem.OPENING].days) == 3


def test_checks_of_before_count_as_they_did_then(shop, act):
    first = check(shop, act)
    for state in (first, check(shop, act)):
        entry = shop.records.entry(state.id)
        old = {key: value for key, value in entry.body.items() if key != "carries"}
        place = shop.records.entries.index(entry)
        draft = replace(entry.draft, body=old)
        shop.records.entries[place] = replace(entry, draft=draft)
    anew = Workshop(shop.records, shop.evidence, shop.readers, shop.clock, shop.new_id)

    # Equal readings that do not say whether they were taken along counted once.
    assert len(anew.rig_days.verdict(anew.rig()).charts[RigItem.OPENING].days) == 1
    assert len(anew.rig_days.verdict(check(anew, act)).charts[RigItem.OPENING].days) == 2


@pytest.mark.parametrize(
    ("limit", "days", "outcome"),
    [("", 40, None), ("check_days = 0", 1, Outcome.WITHHELD), ("check_days = 7", 7, None)],
)
def test_a_check_older_than_the_card_allows_withholds_the_leakage(shop, act, limit, days, outcome):
    job = job_of(shop, act)
    text = card().decode().replace("[limits]", f"[limits]\n{limit}")
    blank = shop.evidence.keep((DEMO / "recordings" / "blank-plug.csv").read_bytes(), "csv")
    shop.check_rig(act(), FITTER, text.encode(), blank=blank)
    now = shop.clock()
    shop.clock = lambda: now + timedelta(days=days)
    put_to_test(shop, act, job, 1, "3-found.csv.gz")

    found = leakage(shop, job, 1)
    assert (found.outcome is Outcome.WITHHELD) is (outcome is Outcome.WITHHELD)
    if outcome is not None:
        assert "days before the test" in found.reasons[0]
        assert isinstance(found.measured, Quantity)
