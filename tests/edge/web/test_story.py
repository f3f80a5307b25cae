"""The story of a job: every entry in order, corrections beside what they put right."""

from __future__ import annotations

import re

import pytest

from nozzlewright.edge.web import entry_words
from nozzlewright.edge.web.screens import story as story_screen
from nozzlewright.records import EntryKind


@pytest.fixture
def bench_shop(helper):
    return helper("edge/web/bench_shop.py")


@pytest.fixture
def bench(helper, bench_shop, tmp_path, web_settings, serve, browser):
    shop = helper("workflow/in_memory.py").workshop_in_memory(tmp_path)
    return bench_shop.at_the_bench(shop, web_settings, serve, browser)


def put_right(bench, entry, **typed):
    return bench.tap(f"/job/{bench.job}/story/{entry}", "Put it right", **typed)


def test_every_kind_of_entry_has_a_head():
    assert set(entry_words.KINDS) == set(EntryKind)


def test_every_entry_is_shown_in_order_with_who_and_its_seal(bench):
    bench.assembled()
    shown = bench.get(f"/job/{bench.job}/story")
    ids = re.findall(r'id="entry-([^"]+)"', shown)
    assert ids == [entry.id for entry in bench.story.entries]
    for entry in bench.story.entries:
        assert entry.digest[:8] in shown
    assert shown.count("A. N. Other") >= 4
    assert "S. O. Else" in shown


def test_what_was_put_right_is_struck_through_beside_what_stands_now(bench):
    bench.assembled()
    entry = bench.note(EntryKind.TORQUED, {"part": "nozzle nut", "torque_nm": 56.0}, done="torque")
    answer = put_right(bench, entry.id, torque_nm="65", why="misread")
    shown = bench.saved(answer)
    assert "<del>nozzle nut 56 Nm</del>" in shown
    assert "Put right by A. N. Other: <ins>nozzle nut 65 Nm</ins>" in shown
    assert "because: misread" in shown
    assert bench.one().torques[0].body["torque_nm"] == 65.0


def test_an_entry_is_put_right_twice_and_the_last_word_counts(bench):
    bench.take()
    entry = bench.shop.see("s", "A. N. Other", bench.job, bench.one().injector, {"spray": "poor"})
    put_right(bench, entry.id, spray="good", why="first")
    put_right(bench, entry.id, spray="poor", why="second thoughts")
    assert bench.one().seen[0].body["spray"] == "poor"
    assert len([e for e in bench.story.entries if e.kind is EntryKind.SEEN]) == 3
    assert bench.one().verdict.body["outcome"] == "rework"


def test_a_correction_needs_its_reason(bench):
    bench.take()
    entry = bench.note(EntryKind.STEP_DONE, {"step": "wash"})
    assert put_right(bench, entry.id, note="twice", why="").status_code == 422
    page = f"/job/{bench.job}/story/{entry.id}"
    assert bench.tap(page, "Take it back", why_back="").status_code == 422
    assert "wash" in bench.one().done


def test_a_repeated_tap_is_one_correction(bench):
    bench.take()
    entry = bench.note(EntryKind.STEP_DONE, {"step": "wash"})
    form = bench.form(f"/job/{bench.job}/story/{entry.id}", "Put it right")
    form.fields["why"] = ["a word more"]
    before = len(bench.story.entries)
    for _ in range(2):
        assert bench.send(form, note="with brush").status_code == 303
    assert len(bench.story.entries) == before + 1


def test_what_was_taken_back_stays_struck_through_with_its_reason(bench):
    bench.take()
    entry = bench.note(EntryKind.STEP_DONE, {"step": "wash"})
    page = f"/job/{bench.job}/story/{entry.id}"
    shown = bench.saved(bench.tap(page, "Take it back", why_back="wrong injector"))
    assert "<del>Wash outside</del>" in shown
    assert "Taken back by A. N. Other: wrong injector" in shown
    assert "wash" not in bench.one().done
    assert "It was taken back" in bench.get(page)


def test_locked_as_found_readings_are_not_put_right(bench):
    bench.stripped()
    seen = bench.one().seen[0]
    refused = put_right(bench, seen.id, no_result="other", why="did not like it")
    assert refused.status_code == 409
    assert "locked" in refused.text


def test_a_wrong_tag_is_put_right_and_a_taken_cylinder_refused(bench):
    tag = next(e for e in bench.story.entries if e.kind is EntryKind.TAGGED)
    assert put_right(bench, tag.id, cylinder="2", why="x").status_code == 409
    assert put_right(bench, tag.id, cylinder="3", why="misread").status_code == 303
    assert bench.one(3).serial == "D-101"


def test_a_long_story_comes_in_pages_and_whole_for_the_printer(bench, monkeypatch):
    monkeypatch.setattr(story_screen, "ON_A_PAGE", 5)
    bench.assembled()
    count = len(bench.story.entries)
    seen = []
    for part in range(1, -(-count // 5) + 1):
        shown = bench.get(f"/job/{bench.job}/story?part={part}")
        seen += re.findall(r'id="entry-([^"]+)"', shown)
        assert "Page" in shown
    assert seen == [entry.id for entry in bench.story.entries]
    whole = bench.get(f"/job/{bench.job}/story?whole=1")
    assert len(re.findall(r'id="entry-', whole)) == count
    assert "print-header" in whole
    assert bench.get(f"/job/{bench.job}/story?part=999")


def test_nothing_is_put_right_after_the_hand_over_but_the_hand_over_itself(bench, bench_shop):
    for cylinder in (1, 2):
        bench.take(cylinder)
        injector = bench.one(cylinder).injector
        bench.shop.see(f"s{cylinder}", "A. N. Other", bench.job, injector, {"spray": "good"})
        bench.note(EntryKind.LAID_DOWN, cylinder=cylinder)
    bench.shop.note(
        "2nd",
        bench_shop.OTHER,
        bench.job,
        EntryKind.SECOND_PERSON,
        {"agrees": True},
        injector=bench.one().injector,
    )
    over = bench.shop.note("over", bench_shop.OTHER, bench.job, EntryKind.HANDED_OVER)
    shown = bench.get(f"/job/{bench.job}/story")
    assert re.findall(r'href="/job/[\w-]+/story/([\w-]+)"', shown) == [over.id]
    assert "nothing more can be noted here" in bench.get(bench.path())
