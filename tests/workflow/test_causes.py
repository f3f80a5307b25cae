"""Causes from the record: gathered from all that was noted, settled, learned by a person's act."""

from __future__ import annotations

import uuid
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from nozzlewright.advice.causes import Standing, known, published
from nozzlewright.errors import InputFault, NotAllowed
from nozzlewright.records import SHOP, EntryKind
from nozzlewright.workflow import NewTest
from nozzlewright.workflow.cause_evidence import Origin
from nozzlewright.workflow.causes import CauseFinder

DEMO = Path(__file__).parents[2] / "demo" / "six-in-line"
FITTER = "A. N. Other"


def act():
    return str(uuid.uuid4())


@pytest.fixture
def shop(helper, tmp_path):
    return helper("workflow/in_memory.py").workshop_in_memory(tmp_path)


@pytest.fixture
def job(shop):
    """Three injectors; the booking says what is the matter with two."""
    blank = shop.evidence.keep((DEMO / "recordings" / "blank-plug.csv").read_bytes(), "csv")
    conditions = (DEMO / "bench.toml").read_bytes()
    conditions = conditions.replace(
        b'recording = "recordings/blank-plug.csv"', b'recording = "blank.csv"'
    )
    shop.check_rig(act(), FITTER, conditions, blank=blank)
    sheet = shop.add_sheet(act(), FITTER, (DEMO / "sheet.toml").read_bytes())
    booked = {
        "title": "invented set",
        "engine": "invented engine",
        "customer": "invented customer",
        "cylinders": 3,
        "condition": "used",
        "symptoms": {"1": "knocks, no smoke", "2": "hard to start when hot; fan belt squeals"},
        "sheet": sheet,
        "invented": True,
    }
    job = shop.book_in(act(), FITTER, booked)
    for cylinder in (1, 2, 3):
        shop.tag(act(), FITTER, job, cylinder, f"D-{cylinder}", shim_mm=1.3)
    return job


def one(shop, job, cylinder):
    return shop.story(job).at_cylinder(cylinder)


def note(shop, job, cylinder, kind, **body):
    return shop.note(act(), FITTER, job, kind, body, injector=one(shop, job, cylinder).injector)


def found(shop, job, cylinder=1):
    return shop.causes.find(shop.story(job), one(shop, job, cylinder).injector)


def pieces(shop, job, cylinder=1):
    return {p.observation: p for p in found(shop, job, cylinder).gathered.pieces}


def on_the_gauge(shop, job, cylinder, recording, **seen):
    path = DEMO / "recordings" / recording
    digest = shop.evidence.keep(path.read_bytes(), path.name.partition(".")[2])
    injector = one(shop, job, cylinder).injector
    shop.test(act(), FITTER, job, injector, NewTest("as-found", digest, seen=seen))


def test_the_bookings_words_are_evidence_with_the_words_they_were_taken_from(shop, job):
    seen = pieces(shop, job, 1)
    assert seen["knock"].weights == (0.0, 1.0)
    assert seen["knock"].words == "knocks"
    assert seen["black_smoke"].weights == (1.0, 0.0)
    assert seen["scope"].weights == (1.0, 0.0)
    text = found(shop, job, 2).gathered.texts[0]
    assert text.left == ("fan belt squeals",)
    silent = found(shop, job, 1).gathered.silent
    assert "white_smoke" in silent
    assert "knock" not in silent
    assert found(shop, job, 3).gathered.silent == ()


def test_a_worn_guide_on_the_bench_is_found_with_reasons(shop, job):
    note(shop, job, 2, EntryKind.TAKEN_IN_HAND)
    on_the_gauge(shop, job, 2, "3-found.csv.gz", seat="dry", spray="good", chatter="clear")
    seen = pieces(shop, job, 2)
    assert seen["drop"].origin is Origin.TEST
    assert seen["drop"].weights[2] > 0.99
    assert seen["opening"].weights[0] > 0.9
    ranking = found(shop, job, 2).ranking
    assert ranking.causes[0].cause.key == "guide_worn"
    assert {r.observation for r in ranking.causes[0].speaks_for} >= {"drop", "hard_start_hot"}
    # Held and watched: oil outside would have been noted.
    assert "outside_leak" in found(shop, job, 2).gathered.silent
    assert "outside_leak" not in found(shop, job, 1).gathered.silent


def test_what_is_too_close_or_not_done_is_no_state(shop, job):
    seen = pieces(shop, job, 3)
    assert seen == {}
    ranking = found(shop, job, 3).ranking
    for cause in ranking.causes:
        assert cause.probability == pytest.approx(cause.before)


def test_findings_on_the_parts_are_evidence(shop, job):
    note(shop, job, 1, EntryKind.TAKEN_IN_HAND)
    injector = one(shop, job, 1)
    shop.see(act(), FITTER, job, injector.injector, {"no_result": "needle seized"})
    note(shop, job, 1, EntryKind.STRIPPED, pair=injector.pair)
    for part, seen, severity in (
        ("needle", "lacquer", "rework"),
        ("nozzle body", "sound", "note"),
        ("spring", "cracked", "renew"),
        ("distance piece", "stop worn: lift too large", "renew"),
        ("holder body", "pressure face dented", "rework"),
        ("nozzle body", "hole blocked", "rework"),
        ("seat washer", "two were fitted", "renew"),
        ("seals", "always new", "renew"),
    ):
        note(shop, job, 1, EntryKind.FINDING, part=part, seen=seen, severity=severity)
    model, seen = published(), pieces(shop, job, 1)
    for key, state in {
        "f_needle": "lacquer", "f_seat": "sound", "f_guide": "sound", "f_spring": "bad",
        "f_lift": "bad", "f_face": "bad", "f_holes": "blocked", "f_washer": "bad",
        "flow": "none",
    }.items():  # fmt: skip
        assert seen[key].weights == known(model, key, state), key
    assert found(shop, job, 1).gathered.standing is Standing.APART


def test_a_slide_after_cleaning_is_weaker_evidence_than_one_before(shop, job):
    note(shop, job, 1, EntryKind.TAKEN_IN_HAND)
    injector = one(shop, job, 1)
    shop.see(act(), FITTER, job, injector.injector, {"needle_slide": True})
    assert pieces(shop, job, 1)["slide"].weights == (1.0, 0.0)
    note(shop, job, 1, EntryKind.STRIPPED, pair=injector.pair)
    note(shop, job, 1, EntryKind.STEP_DONE, step="clean")
    assert pieces(shop, job, 1)["slide"].weights == (1.0, 0.5)
    assert "may have hung before" in pieces(shop, job, 1)["slide"].words
    shop.see(act(), FITTER, job, injector.injector, {"needle_slide": False})
    assert pieces(shop, job, 1)["slide"].weights == (0.0, 1.0)


def test_a_correction_by_hand_outdoes_all_else_and_can_take_out(shop, job):
    injector = one(shop, job, 1).injector
    shop.causes.observe(act(), FITTER, job, injector, "knock", "", "it was the gearbox")
    assert "knock" not in pieces(shop, job, 1)
    assert found(shop, job, 1).gathered.taken_out == ("knock",)
    assert "knock" not in found(shop, job, 1).gathered.silent
    shop.causes.observe(act(), FITTER, job, injector, "knock", "yes")
    assert pieces(shop, job, 1)["knock"].origin is Origin.NOTED
    with pytest.raises(InputFault, match="no such observation"):
        shop.causes.observe(act(), FITTER, job, injector, "knock", "perhaps")


def test_a_cause_can_be_settled_after_the_hand_over_and_taken_back(shop, job):
    injector = one(shop, job, 1).injector
    with pytest.raises(InputFault, match="no cause is named"):
        shop.causes.settle(act(), FITTER, job, injector, [])
    entry = shop.causes.settle(act(), FITTER, job, injector, ["pump_element"], "pump shop said so")
    (closed,) = shop.causes.closed()
    assert closed.case.causes == {"pump_element"}
    assert closed.case.evidence["knock"] == (0.0, 1.0)
    assert "white_smoke" in closed.case.silent
    shop.withdraw(act(), FITTER, job, entry.id, "wrong engine")
    assert shop.causes.closed() == []


def test_settled_twice_it_counts_once_as_it_was_settled_last(shop, job):
    injector = one(shop, job, 1).injector
    shop.causes.settle(act(), FITTER, job, injector, ["seat_dirty"])
    shop.causes.settle(act(), FITTER, job, injector, ["seat_worn"])
    shop.causes.settle(act(), FITTER, job, injector, ["timing"], engine=True)
    assert [sorted(one.case.causes) for one in shop.causes.closed()] == [["timing"], ["seat_worn"]]
    assert [one.cylinder for one in shop.causes.closed()] == [None, 1]


def test_nothing_is_learned_or_used_before_a_person_says_so(shop, job):
    with pytest.raises(NotAllowed, match="no job's cause has been settled"):
        shop.causes.learn(act(), FITTER)
    injector = one(shop, job, 1).injector
    for _ in range(2):
        shop.causes.settle(act(), FITTER, job, injector, ["timing"])
    assert shop.causes.model().digest == published().digest
    first = shop.causes.learn(act(), FITTER, "first season")
    assert first.draft.story == SHOP
    assert first.body["version"] == 1
    assert first.body["parent"] == 0
    assert len(first.body["cases"]) == 1
    assert shop.causes.in_use().number == 0
    shop.causes.use(act(), FITTER, 1)
    model = shop.causes.model()
    assert model.version == 1
    assert model.digest == first.body["model"]
    assert model.by_cause["timing"].prior > published().by_cause["timing"].prior
    assert found(shop, job, 1).ranking.version == 1
    second = shop.causes.learn(act(), FITTER)
    assert (second.body["version"], second.body["parent"]) == (2, 1)
    (change,) = shop.causes.compared(0, 1)
    assert change.score_after < change.score_before
    shop.causes.use(act(), FITTER, 0)
    assert shop.causes.model().digest == published().digest
    with pytest.raises(InputFault, match="no version 7"):
        shop.causes.use(act(), FITTER, 7)


def test_a_repeated_tap_is_the_same_act(shop, job):
    injector = one(shop, job, 1).injector
    name = act()
    shop.causes.settle(name, FITTER, job, injector, ["timing"])
    shop.causes.settle(name, FITTER, job, injector, ["timing"])
    learned = act()
    assert shop.causes.learn(learned, FITTER).id == shop.causes.learn(learned, FITTER).id
    assert [version.number for version in shop.causes.versions()] == [1, 0]


def test_an_engine_no_better_with_its_tested_set_points_outside(shop, job):
    injector = one(shop, job, 3).injector
    before = found(shop, job, 3).ranking
    shop.causes.observe(act(), FITTER, job, injector, "still_bad", "yes")
    after = found(shop, job, 3).ranking

    def outside(ranking):
        return sum(c.probability for c in ranking.causes if c.cause.place == "engine")

    assert outside(after) > 2 * outside(before)


def test_it_is_reckoned_once_for_a_state_of_the_record(shop, job):
    assert found(shop, job, 1) is found(shop, job, 1)
    first = found(shop, job, 1)
    note(shop, job, 1, EntryKind.TAKEN_IN_HAND)
    assert found(shop, job, 1) is not first


def closed_by_the_whole_stories(shop):
    """Return what is closed, told from whole stories and nothing kept: newest first."""
    cases = {}
    for job in {e.draft.story for e in shop.records.entries if e.kind is EntryKind.CAUSE}:
        story = shop.story(job)
        for standing in story.causes:
            if standing.body.get("settled"):
                one = story.injectors.get(standing.injector)
                row = (
                    standing.entry.number,
                    sorted(standing.body["settled"]),
                    one.cylinder if one else None,
                )
                key = (job, standing.injector)
                cases[key] = max(row, cases.get(key, row))
    return [row[1:] for row in sorted(cases.values(), reverse=True)]


def closed_now(shop):
    return [(sorted(one.case.causes), one.cylinder) for one in shop.causes.closed()]


def test_a_closed_case_that_is_put_right_is_seen_at_once(shop, job):
    injector = one(shop, job, 1).injector
    entry = shop.causes.settle(act(), FITTER, job, injector, ["seat_dirty"])
    assert closed_now(shop) == [(["seat_dirty"], 1)]
    body = {**entry.body, "settled": ["seat_worn", "guide_worn"]}
    right = shop.note(
        act(), FITTER, job, EntryKind.CAUSE, body, injector=injector, corrects=entry.id
    )
    assert closed_now(shop) == [(["guide_worn", "seat_worn"], 1)]
    assert shop.causes.closed()[0].case.name == entry.id
    shop.withdraw(act(), FITTER, job, right.id, "it was neither")
    assert closed_now(shop) == closed_by_the_whole_stories(shop) == []


@settings(
    max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.lists(st.tuples(st.integers(0, 4), st.integers(1, 3), st.integers(0, 5)), max_size=8))
def test_what_is_kept_of_closed_cases_is_what_whole_stories_tell(shop, job, acts):
    causes = ["seat_dirty", "seat_worn", "guide_worn", "timing", "washer", "air_in_fuel"]
    for what, cylinder, number in acts:
        at = one(shop, job, cylinder)
        standing = shop.story(job).causes
        if what <= 1 and at is not None:
            shop.causes.settle(act(), FITTER, job, at.injector, [causes[number]], engine=what == 1)
        elif what == 2 and standing:
            body = {**standing[number % len(standing)].body, "settled": [causes[number]]}
            aim = standing[number % len(standing)]
            shop.note(
                act(), FITTER, job, EntryKind.CAUSE, body, injector=aim.injector,
                corrects=aim.corrected_by or aim.id,
            )  # fmt: skip
        elif what == 3 and standing:
            aim = standing[number % len(standing)]
            shop.withdraw(act(), FITTER, job, aim.corrected_by or aim.id, "no")
        elif what == 4 and at is not None and number == 0:
            shop.note(act(), FITTER, job, EntryKind.SHELVED, injector=at.injector)
        if number % 2:
            assert closed_now(shop) == closed_by_the_whole_stories(shop)
    assert closed_now(shop) == closed_by_the_whole_stories(shop)
    again = CauseFinder(shop)
    assert [one.case for one in again.closed()] == [one.case for one in shop.causes.closed()]
