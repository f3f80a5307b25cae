"""A set goes through the workshop on the demo set's own recordings, the rules of the trade kept."""

from __future__ import annotations

from pathlib import Path

import pytest

from nozzlewright.errors import IdTaken, InputFault, NotAllowed
from nozzlewright.judging import BenchTest, InjectorOutcome
from nozzlewright.measurement import NotMeasured, Quantity
from nozzlewright.records import AS_FOUND, AS_LEFT, EntryKind, findings_from, findings_text
from nozzlewright.said import Said, as_data, from_data
from nozzlewright.workflow import NewTest

DEMO = Path(__file__).parents[2] / "demo" / "six-in-line"
BOOKED = {
    "title": "invented set",
    "engine": "invented engine",
    "customer": "invented customer",
    "cylinders": 2,
    "condition": "used",
    "symptoms": {"2": "knocks"},
}
FITTER, OTHER = "A. N. Other", "S. O. Else"


@pytest.fixture
def job(shop, act):
    """Two injectors tagged, sheet chosen, rig checked."""
    keep = shop.evidence.keep
    blank = keep((DEMO / "recordings" / "blank-plug.csv").read_bytes(), "csv")
    conditions = (
        (DEMO / "bench.toml")
        .read_text()
        .replace('recording = "recordings/blank-plug.csv"\n', 'recording = "blank.csv"\n')
    )
    shop.check_rig(act(), FITTER, conditions.encode(), blank=blank)
    sheet = shop.add_sheet(act(), FITTER, (DEMO / "sheet.toml").read_bytes())
    job = shop.book_in(act(), OTHER, {**BOOKED, "sheet": sheet})
    shop.tag(act(), OTHER, job, 1, "D-101", shim_mm=1.30)
    shop.tag(act(), OTHER, job, 2, "D-102", shim_mm=1.25)
    return job


def at(shop, job, cylinder):
    return shop.story(job).at_cylinder(cylinder)


def gauge(shop, name):
    path = DEMO / "recordings" / name
    ending = ".".join(path.name.split(".")[1:])
    return shop.evidence.keep(path.read_bytes(), ending)


def taken(shop, act, job, cylinder):
    one = at(shop, job, cylinder)
    shop.note(act(), FITTER, job, EntryKind.TAKEN_IN_HAND, injector=one.injector)
    return one


def found_and_stripped(shop, act, job, cylinder, recording):
    one = taken(shop, act, job, cylinder)
    new = NewTest("as-found", gauge(shop, recording), seen={"seat": "dry", "spray": "good"})
    shop.test(act(), FITTER, job, one.injector, new, done="as-found")
    shop.note(act(), FITTER, job, EntryKind.STRIPPED, {"pair": one.pair}, injector=one.injector)
    return at(shop, job, cylinder)


def test_a_set_is_judged_as_the_folder_of_the_same_recordings_is(shop, act, job):
    from datetime import date

    from nozzlewright.edge import wiring

    one = taken(shop, act, job, 2)
    seen = {"spray": "good", "chatter": "clear", "seat": "dry", "drop_test": "dry"}
    new = NewTest("as-found", gauge(shop, "2-found.parquet"), seen=seen)
    shop.test(act(), FITTER, job, one.injector, new, done="as-found")
    by_folder = wiring.judge_folder(DEMO, date(2026, 1, 20)).judged.verdict.as_found[1]
    verdict = at(shop, job, 2).verdicts[AS_FOUND].body
    assert [test["outcome"] for test in verdict["tests"]] == [
        one.outcome.value for one in by_folder.verdicts
    ]
    assert verdict["outcome"] == by_folder.outcome.value == InjectorOutcome.ADJUST.value
    assert verdict["next"][0]["shim_change_mm"] > 0


def test_after_a_new_shim_the_opening_pressure_must_be_read_again(shop, act, job):
    one = found_and_stripped(shop, act, job, 2, "2-found.parquet")
    note = lambda kind, **body: shop.note(  # noqa: E731
        act(), FITTER, job, kind, body, injector=one.injector
    )
    note(EntryKind.ASSEMBLED, pair=one.pair)
    shop.test(act(), FITTER, job, one.injector, NewTest("re-read", gauge(shop, "2-found.parquet")))
    note(EntryKind.SETTING_CHANGED, shim_from_mm=1.25, shim_to_mm=1.40)
    sitting = shop.sitting(at(shop, job, 2), AS_LEFT)
    assert isinstance(sitting.gauge.opening_pressure, NotMeasured)
    assert "setting was changed" in sitting.gauge.opening_pressure.reason
    shop.test(act(), FITTER, job, one.injector, NewTest("re-read", gauge(shop, "2-left.parquet")))
    sitting = shop.sitting(at(shop, job, 2), AS_LEFT)
    assert isinstance(sitting.gauge.opening_pressure, Quantity)
    assert sitting.shim_mm == 1.40


def test_a_second_injector_is_not_opened_before_the_first_is_closed(shop, act, job):
    taken(shop, act, job, 1)
    with pytest.raises(NotAllowed, match=r"injector 1 is open on the bench.*one injector open"):
        taken(shop, act, job, 2)


def test_parts_of_two_injectors_never_lie_open(shop, act, job):
    one = found_and_stripped(shop, act, job, 1, "1-found.csv.gz")
    with pytest.raises(NotAllowed, match="lies apart"):
        shop.note(act(), FITTER, job, EntryKind.LAID_DOWN, injector=one.injector)
    shop.note(act(), FITTER, job, EntryKind.LAID_DOWN, {"tray": "1"}, injector=one.injector)
    with pytest.raises(NotAllowed, match="parts of two must never lie open"):
        found_and_stripped(shop, act, job, 2, "2-found.parquet")


def test_mixing_pairs_is_refused(shop, act, job):
    other = at(shop, job, 2)
    one = found_and_stripped(shop, act, job, 1, "1-found.csv.gz")
    for pair, why in ((other.pair, "belongs to injector 2"), ("somebody's", "not that of")):
        with pytest.raises(NotAllowed, match=why):
            shop.note(
                act(), FITTER, job, EntryKind.ASSEMBLED, {"pair": pair}, injector=one.injector
            )
    body = {"pair": "new-1", "new_pair": True}
    shop.note(act(), FITTER, job, EntryKind.ASSEMBLED, body, injector=one.injector)
    assert at(shop, job, 1).pair == "new-1"


def test_a_pair_that_another_job_knows_is_refused(shop, act, job):
    pair = at(shop, job, 1).pair
    second = shop.book_in(act(), OTHER, BOOKED)
    with pytest.raises(NotAllowed, match=r"belongs to injector D-101"):
        shop.tag(act(), OTHER, second, 1, "D-201", pair=pair)


def test_as_found_readings_lock_when_the_injector_is_opened(shop, act, job):
    one = found_and_stripped(shop, act, job, 1, "1-found.csv.gz")
    reading = one.tests[0].id
    with pytest.raises(NotAllowed, match="locked"):
        shop.withdraw(act(), FITTER, job, reading, "did not like it")
    new = NewTest("as-found", gauge(shop, "1-found.csv.gz"))
    with pytest.raises(NotAllowed, match="lies apart"):
        shop.test(act(), FITTER, job, one.injector, new)
    assert [test.id for test in at(shop, job, 1).tests] == [reading]


def test_an_injector_is_not_stripped_before_it_was_tested_as_found(shop, act, job):
    one = taken(shop, act, job, 1)
    strip = lambda: shop.note(  # noqa: E731
        act(), FITTER, job, EntryKind.STRIPPED, {}, injector=one.injector
    )
    with pytest.raises(NotAllowed, match="not tested as found"):
        strip()
    shop.see(act(), FITTER, job, one.injector, {"no_result": "needle seized"}, done="as-found")
    strip()
    assert at(shop, job, 1).apart


def test_a_correction_counts_and_what_it_corrects_stays_in_the_record(shop, act, job):
    one = taken(shop, act, job, 1)
    first = shop.see(act(), FITTER, job, one.injector, {"spray": "poor"})
    shop.see(act(), FITTER, job, one.injector, {"spray": "good"}, corrects=first.id)
    assert shop.sitting(at(shop, job, 1), AS_FOUND).seen.spray.value == "good"
    back = shop.withdraw(act(), FITTER, job, first.id, "wrong injector")
    assert shop.sitting(at(shop, job, 1), AS_FOUND) is None
    assert shop.story(job).withdrawn == {first.id: back.id}
    kept = [e.body.get("spray") for e in shop.story(job).entries if e.kind is EntryKind.SEEN]
    assert kept == ["poor", "good"]


def test_a_repeated_tap_is_one_entry(shop, act, job):
    one = taken(shop, act, job, 1)
    new = NewTest("as-found", gauge(shop, "1-found.csv.gz"))
    before = len(shop.story(job).entries)
    first, again = (
        shop.test("tap", FITTER, job, one.injector, new, done="as-found") for _ in range(2)
    )
    assert first == again
    assert len(shop.story(job).entries) == before + 3  # test, step, verdict
    with pytest.raises(IdTaken):
        shop.note("tap", FITTER, job, EntryKind.LAID_DOWN, injector=one.injector)


def test_handing_over_waits_for_verdicts_and_a_second_person(shop, act, job):
    hand_over = lambda: shop.note(act(), OTHER, job, EntryKind.HANDED_OVER)  # noqa: E731
    with pytest.raises(NotAllowed, match="without a verdict: injector 1, 2"):
        hand_over()
    for cylinder, name in ((1, "1-found.csv.gz"), (2, "2-found.parquet")):
        one = taken(shop, act, job, cylinder)
        shop.test(act(), FITTER, job, one.injector, NewTest("as-found", gauge(shop, name)))
        shop.note(act(), FITTER, job, EntryKind.LAID_DOWN, injector=one.injector)
    with pytest.raises(NotAllowed, match="no second person"):
        hand_over()
    with pytest.raises(NotAllowed, match="Let another person check it"):
        shop.note(act(), FITTER, job, EntryKind.SECOND_PERSON, injector=one.injector)
    shop.note(act(), OTHER, job, EntryKind.SECOND_PERSON, injector=one.injector)
    hand_over()
    with pytest.raises(NotAllowed, match="was handed over"):
        taken(shop, act, job, 1)
    shop.note(act(), OTHER, job, EntryKind.RUNNING_CHECK, {"well": True})
    assert [row.state for row in shop.records.jobs()] == ["handed over"]


def test_a_spare_keeps_its_history_when_it_moves_to_another_engine(shop, act, job):
    one = at(shop, job, 1)
    second = shop.book_in(act(), OTHER, BOOKED)
    with pytest.raises(NotAllowed, match=f"is in job {job}"):
        shop.tag(act(), OTHER, second, 1, "", injector=one.injector)
    shop.note(act(), OTHER, job, EntryKind.SHELVED, {"where": "drawer"}, injector=one.injector)
    shop.tag(act(), OTHER, second, 1, "", injector=one.injector)
    moved = at(shop, second, 1)
    assert (moved.serial, moved.pair) == ("D-101", one.pair)
    assert {e.draft.story for e in shop.records.of_injector(one.injector)} == {job, second}
    assert shop.story(job).untagged() == [1]


def test_a_booking_without_engine_or_cylinders_is_refused_with_all_its_faults(shop, act):
    with pytest.raises(InputFault) as refused:
        shop.book_in(act(), OTHER, {"condition": "old"})
    assert len(refused.value.faults) == 3


def test_findings_come_back_from_their_text_as_they_were(shop, act, job):
    one = taken(shop, act, job, 2)
    new = NewTest("as-found", gauge(shop, "2-found.parquet"))
    entry = shop.test(act(), FITTER, job, one.injector, new)
    read = shop.read(shop.story(job), new, AS_FOUND)
    assert findings_from(shop.evidence.read(entry.body["findings"])) == read
    again = findings_from(findings_text(read))
    assert again == read
    assert repr(again) == repr(read)  # grades and kinds are words of their own, not any strings
    said, kept = read.opening_pressure.method, again.opening_pressure.method
    assert isinstance(kept, Said)  # so that another screen can say it in its own language
    assert as_data(kept) == as_data(said)
    with pytest.raises(ValueError, match="its format is"):
        findings_from(b'{"format": "something else"}')


def test_a_step_is_taken_back_with_the_act_that_did_it(shop, act, job):
    one = taken(shop, act, job, 1)
    seen = shop.see(act(), FITTER, job, one.injector, {"no_result": "seized"}, done="as-found")
    assert "as-found" in at(shop, job, 1).done
    shop.withdraw(act(), FITTER, job, seen.id, "it came free")
    assert "as-found" not in at(shop, job, 1).done


def test_a_finding_changes_the_verdict_at_once(shop, act, job):
    one = found_and_stripped(shop, act, job, 1, "1-found.csv.gz")
    assert one.verdicts[AS_FOUND].body["outcome"] == "fit"
    body = {"part": "needle", "seen": "blued", "severity": "renew", "renew_pair": True}
    shop.note(act(), FITTER, job, EntryKind.FINDING, body, injector=one.injector)
    assert at(shop, job, 1).verdicts[AS_FOUND].body["outcome"] == "exchange"


def test_the_slide_test_before_assembly_counts_as_left(shop, act, job):
    one = found_and_stripped(shop, act, job, 1, "1-found.csv.gz")
    shop.see(act(), FITTER, job, one.injector, {"needle_slide": True}, done="slide")
    assert AS_LEFT not in at(shop, job, 1).verdicts, "nothing was tested as left yet"
    shop.note(act(), FITTER, job, EntryKind.ASSEMBLED, {"pair": one.pair}, injector=one.injector)
    assert shop.sitting(at(shop, job, 1), AS_LEFT).seen.needle_slide is True


def test_a_second_person_who_disagrees_does_not_let_the_set_go(shop, act, job):
    for cylinder, name in ((1, "1-found.csv.gz"), (2, "2-found.parquet")):
        one = taken(shop, act, job, cylinder)
        shop.test(act(), FITTER, job, one.injector, NewTest("as-found", gauge(shop, name)))
        shop.note(act(), FITTER, job, EntryKind.LAID_DOWN, injector=one.injector)
    check = lambda agrees: shop.note(  # noqa: E731
        act(), OTHER, job, EntryKind.SECOND_PERSON, {"agrees": agrees}, injector=one.injector
    )
    check(agrees=False)
    assert "second" not in at(shop, job, 2).done
    with pytest.raises(NotAllowed, match="no second person"):
        shop.note(act(), OTHER, job, EntryKind.HANDED_OVER)
    check(agrees=True)
    shop.note(act(), OTHER, job, EntryKind.HANDED_OVER)


def test_the_second_person_may_test_the_injector_to_check_it(shop, act, job):
    one = taken(shop, act, job, 1)
    shop.test(act(), FITTER, job, one.injector, NewTest("as-found", gauge(shop, "1-found.csv.gz")))
    shop.test(act(), OTHER, job, one.injector, NewTest("second", gauge(shop, "1-found.csv.gz")))
    shop.note(act(), OTHER, job, EntryKind.SECOND_PERSON, injector=one.injector)
    assert at(shop, job, 1).agreed()


# --- a booking put right --------------------------------------------------------------------------


def test_a_booking_is_put_right_and_its_photos_and_sheet_stay(shop, act, job):
    before = shop.story(job)
    sheet, evidence = before.sheet, before.entries[0].draft.evidence
    shop.put_booking_right(act(), OTHER, job, {"customer": "invented other", "sheet": ""}, "typed")
    story = shop.story(job)
    assert story.booked["customer"] == "invented other"
    assert story.booked["engine"] == before.booked["engine"]
    assert story.booked["why"] == "typed"
    assert story.sheet == sheet
    first, *_, last = story.entries
    assert (last.draft.corrects, last.draft.evidence) == (first.id, evidence)
    assert first.body["customer"] == BOOKED["customer"]
    assert shop.records.jobs()[0].customer == "invented other"


def test_a_booking_put_right_twice_says_what_it_was_told_last(shop, act, job):
    for customer in ("one", "two"):
        shop.put_booking_right(act(), OTHER, job, {"customer": customer})
    assert shop.story(job).booked["customer"] == "two"


def test_a_repeated_tap_puts_a_booking_right_once(shop, act, job):
    tap = act()
    first = shop.put_booking_right(tap, OTHER, job, {"customer": "one"})
    assert shop.put_booking_right(tap, OTHER, job, {"customer": "one"}).number == first.number


def test_the_next_job_gets_the_next_number_whatever_was_put_right_since(shop, act, job):
    second = shop.book_in(act(), OTHER, BOOKED)
    for _ in range(3):
        shop.put_booking_right(act(), OTHER, job, {"note": "once more"})
    third = shop.book_in(act(), OTHER, BOOKED)
    assert int(third.partition("-")[2]) == int(second.partition("-")[2]) + 1


def test_a_tagged_injector_does_not_lose_its_cylinder(shop, act, job):
    with pytest.raises(NotAllowed, match="no cylinder"):
        shop.put_booking_right(act(), OTHER, job, {"cylinders": 1})
    with pytest.raises(InputFault, match="engine"):
        shop.put_booking_right(act(), OTHER, job, {"engine": " "})


def test_parts_that_count_as_new_after_all_are_judged_by_the_other_band(shop, act, job):
    one = found_and_stripped(shop, act, job, 1, "1-found.csv.gz")
    shop.note(act(), FITTER, job, EntryKind.ASSEMBLED, {"pair": one.pair}, injector=one.injector)
    again = NewTest("re-read", gauge(shop, "1-found.csv.gz"), seen={"seat": "dry"})
    shop.test(act(), FITTER, job, one.injector, again)
    opening = lambda: at(shop, job, 1).verdicts[AS_LEFT].body["tests"][0]  # noqa: E731
    assert opening()["outcome"] == "pass"
    shop.put_booking_right(act(), OTHER, job, {"condition": "new"})
    assert opening()["outcome"] == "fail"


def test_after_the_set_was_handed_over_only_what_nothing_hangs_on_is_put_right(shop, act, job):
    for cylinder, name in ((1, "1-found.csv.gz"), (2, "2-found.parquet")):
        one = taken(shop, act, job, cylinder)
        shop.test(act(), FITTER, job, one.injector, NewTest("as-found", gauge(shop, name)))
        shop.note(act(), FITTER, job, EntryKind.LAID_DOWN, injector=one.injector)
    shop.note(act(), OTHER, job, EntryKind.SECOND_PERSON, injector=one.injector)
    shop.note(act(), OTHER, job, EntryKind.HANDED_OVER)
    with pytest.raises(NotAllowed, match="judged by"):
        shop.put_booking_right(act(), OTHER, job, {"condition": "new"})
    shop.put_booking_right(act(), OTHER, job, {"customer": "invented other"})
    assert shop.story(job).booked["customer"] == "invented other"


def test_a_report_states_the_rig_of_its_own_tests_not_that_of_a_later_day(shop, act, job):
    one = taken(shop, act, job, 1)
    shop.test(act(), FITTER, job, one.injector, NewTest("as-found", gauge(shop, "1-found.csv.gz")))
    bench = lambda: [fact.text for fact in shop.judged(shop.story(job)).report.bench]  # noqa: E731
    then = bench()
    later = (DEMO / "bench.toml").read_text().replace('"invented rig D-R1"', '"another rig"')
    shop.check_rig(
        act(), FITTER, later.replace("temperature_c = 14.0", "temperature_c = 31.0").encode()
    )
    shop.note(act(), FITTER, job, EntryKind.LAID_DOWN, injector=one.injector)
    assert bench() == then
    assert any("14" in text for text in then)


def test_an_injector_that_gives_no_result_says_so_in_verdict_and_report(shop, act, job):
    one = taken(shop, act, job, 1)
    reason = {"no_result": "needle seized"}
    shop.see(act(), FITTER, job, one.injector, reason, done="as-found")
    tests = {t["test"]: t for t in at(shop, job, 1).verdicts[AS_FOUND].body["tests"]}
    opening = tests["nozzle opening pressure"]
    assert opening["outcome"] == "not done"
    assert from_data(opening["reasons"][0]) == "No result: needle seized."
    report = shop.judged(shop.story(job)).report.injectors[0]
    assert report.test(BenchTest.OPENING).as_found.said.endswith("no result: needle seized")
    assert ("No result, because", "needle seized") in [(r.name, r.as_found) for r in report.seen]
    assert "soak and free the needle" in report.actions[0].do


def test_a_test_that_gives_a_result_ends_that_there_was_none(shop, act, job):
    one = taken(shop, act, job, 1)
    shop.see(act(), FITTER, job, one.injector, {"no_result": "needle seized", "spray": "good"})
    shop.test(act(), FITTER, job, one.injector, NewTest("as-found", gauge(shop, "1-found.csv.gz")))
    seen = shop.sitting(at(shop, job, 1), AS_FOUND).seen
    assert not seen.no_result
    assert seen.spray == "good"
    shop.see(act(), FITTER, job, one.injector, {"no_result": "needle seized"})
    assert shop.sitting(at(shop, job, 1), AS_FOUND).seen.no_result == "needle seized"


def test_what_was_put_together_is_not_tested_as_left_until_it_was_on_the_rig(shop, act, job):
    one = found_and_stripped(shop, act, job, 1, "1-found.csv.gz")
    shop.see(act(), FITTER, job, one.injector, {"needle_slide": False})
    shop.note(act(), FITTER, job, EntryKind.ASSEMBLED, {"pair": one.pair}, injector=one.injector)
    body = {"part": "nut", "seen": "thread pulled", "severity": "rework"}
    shop.note(act(), FITTER, job, EntryKind.FINDING, body, injector=one.injector)
    assert at(shop, job, 1).waits_as_left
    assert AS_LEFT not in at(shop, job, 1).verdicts
    judged = shop.judged(shop.story(job)).verdict.injectors[0]
    assert judged.as_left
    assert judged.outcome is InjectorOutcome.UNFINISHED
    assert judged.reasons == ("As left it is not tested yet.",)

    new = NewTest("re-read", gauge(shop, "1-found.csv.gz"), seen={"seat": "dry"})
    shop.test(act(), FITTER, job, one.injector, new)
    assert not at(shop, job, 1).waits_as_left
    assert at(shop, job, 1).verdicts[AS_LEFT].body["outcome"] == "rework"
