"""What it likely is: ranked causes on the page of an injector, corrected, settled, learned from."""

from __future__ import annotations

import re

import pytest

from nozzlewright.advice.causes import published
from nozzlewright.records import EntryKind


@pytest.fixture
def bench_shop(helper):
    return helper("edge/web/bench_shop.py")


@pytest.fixture
def bench(helper, bench_shop, tmp_path, web_settings, serve, browser):
    shop = helper("workflow/in_memory.py").workshop_in_memory(tmp_path)
    return bench_shop.at_the_bench(shop, web_settings, serve, browser)


def note(bench, state, cylinder=1):
    """Note an observation by the list on the page."""
    return bench.tap(bench.path(cylinder, "/causes"), "Note it", observed=state)


def names(html):
    return re.findall(r'<span class="cause-name">([^<]+)</span>', html)


def test_before_anything_is_seen_it_says_so_and_ranks_what_is_usual(bench):
    shown = bench.get(bench.path(more="/causes"))
    assert "What it likely is" in shown
    assert len(names(shown)) == 8


def test_the_page_is_reached_from_findings_step_set_and_history(bench):
    way = bench.path(more="/causes")
    for place in ("", "/findings", "/step/wash"):
        assert f'href="{way}"' in bench.get(bench.path(more=place)), place


def test_what_was_noted_changes_the_ranking_and_can_be_taken_out(bench):
    page = bench.path(more="/causes")
    before = names(bench.get(page))
    shown = bench.saved(note(bench, "seat=drop"))
    assert names(shown)[0] == "seat dirty or carboned"
    assert "Tip while held under its opening pressure: drop" in shown
    assert bench.last(EntryKind.CAUSE).body == {"observed": {"seat": "drop"}}
    form = bench.form(page, "Not so")
    assert form.fields["observed"] == ["seat="]
    shown = bench.saved(bench.send(form))
    assert names(shown) == before
    assert "Taken out by hand" in shown


def test_words_of_the_booking_are_said_back_with_what_was_not_understood(bench):
    bench.shop.put_booking_right(
        "7d5c8f0e-0000-4000-8000-000000000001",
        "A. N. Other",
        bench.job,
        {"symptoms": {"1": "qualmt weiß, kein Klopfen, Keilriemen quietscht"}},
    )
    shown = bench.get(bench.path(more="/causes"))
    assert "White smoke" in shown
    assert "“qualmt weiß”" in shown
    assert "Knock: no" in shown
    assert "Not understood: keilriemen quietscht" in shown


def test_with_a_complaint_it_is_asked_what_was_looked_at_before_the_injectors_came_out(bench):
    page, question = bench.path(more="/causes"), "Was the engine looked over before"
    assert question not in bench.get(page)
    shown = bench.saved(note(bench, "black_smoke=yes"))
    assert question in shown
    shown = bench.saved(bench.tap(page, "Nothing was looked at"))
    assert question not in shown
    assert names(shown)[0] == "too little air: filter or turbocharger"


def test_guide_face_and_rig_cannot_be_told_apart_and_the_page_says_what_decides(bench):
    for state in ("drop=fast", "seat=dry"):
        note(bench, state)
    shown = bench.get(bench.path(more="/causes"))
    words = shown[shown.index("cannot tell apart") :]
    assert "guide worn; pressure face leaks; the rig leaks" in words
    assert "hold with the blank plug (the rig leaks)" in words
    assert "oil outside while it is held (pressure face leaks)" in words
    shown = bench.saved(note(bench, "blank=falls"))
    assert names(shown)[0] == "the rig leaks"


def test_the_next_observation_is_large_with_its_minutes_and_can_be_noted(bench):
    shown = bench.get(bench.path(more="/causes"))
    card = shown[shown.index('class="sheet look-next"') :]
    assert re.search(r"about [\d.]+ min", card)
    assert 'href="' in card or 'name="observed"' in card


def test_a_cause_is_settled_with_the_ranking_as_it_stood(bench):
    note(bench, "spray=jet_missing")
    page = bench.path(more="/causes")
    form = bench.form(page, "Save the cause")
    shown = bench.saved(bench.send(form, cause="holes_choked", how="two holes full of carbon"))
    assert "settled" in shown
    assert "two holes full of carbon" in shown
    body = bench.last(EntryKind.CAUSE).body
    assert body["settled"] == ["holes_choked"]
    assert body["evidence"]["spray"] == [0.0, 0.0, 0.0, 0.0, 0.0, 1.0]
    assert body["version"] == 0
    assert body["model"] == published().digest
    assert body["ranking"][0][0] == "holes_choked"
    # Nothing is learned by itself.
    assert bench.shop.causes.model().digest == published().digest


def test_no_cause_named_is_a_fault_beside_the_field(bench):
    form = bench.form(bench.path(more="/causes"), "Save the cause")
    answer = bench.send(form)
    assert answer.status_code == 422
    assert "no cause is named" in answer.text
    assert not [e for e in bench.story.entries if e.kind is EntryKind.CAUSE]


def test_a_version_is_made_compared_and_put_in_use_by_a_person(bench):
    note(bench, "spray=jet_missing")
    bench.send(bench.form(bench.path(more="/causes"), "Save the cause"), cause="holes_choked")
    assert "There is no" not in bench.get("/causes")
    answer = bench.tap("/causes", "Make a version", note="first season")
    assert "not in use yet" in bench.saved(answer)
    assert bench.shop.causes.in_use().number == 0
    shown = bench.get("/causes?before=0&after=1")
    assert "Version 0 beside version 1" in shown
    assert "holes choked" in shown
    bench.saved(bench.tap("/causes", "Use version 1"))
    finder = bench.shop.causes
    assert finder.in_use().number == 1
    assert (
        finder.model().by_cause["holes_choked"].prior > published().by_cause["holes_choked"].prior
    )
    assert "version 1" in bench.get(bench.path(more="/causes"))
    bench.saved(bench.tap("/causes", "Use version 0"))
    assert finder.model().digest == published().digest


def test_the_table_names_a_source_or_says_that_there_is_none(bench):
    shown = bench.get("/causes")
    assert "TM 9-4310-397-14" in shown
    assert "common practice, no source" in shown
    for cause in published().causes:
        assert f'id="{cause.key}"' in shown


def test_any_input_is_answered(bench):
    page = bench.path(more="/causes")
    for typed in ({"observed": "no such=thing"}, {"observed": ""}, {"observed": "seat=wet"}):
        assert bench.send(bench.form(page, "Note it"), **typed).status_code == 422
    assert bench.browser.get("/causes?before=x&after=-1").status_code == 200
    assert bench.browser.get(f"/job/{bench.job}/injector/none/causes").status_code == 404


def test_many_findings_at_once_are_no_dead_end(bench):
    symptoms = [one.key for one in published().observations if one.states[-1][0] == "yes"]
    assert len(symptoms) > 16
    for key in symptoms:
        note(bench, f"{key}=yes")
    shown = bench.get(bench.path(more="/causes"))
    assert "What it rests on" in shown


def test_story_and_history_tell_what_was_noted_and_settled(bench):
    note(bench, "seat=drop")
    bench.send(bench.form(bench.path(more="/causes"), "Save the cause"), cause="seat_dirty")
    entry = bench.last(EntryKind.CAUSE)
    for path in (
        f"/job/{bench.job}/story",
        f"/job/{bench.job}/story/{entry.id}",
        f"/injector/{bench.one().injector}",
    ):
        shown = bench.get(path)
        assert "Cause of the trouble" in shown, path
        assert "seat dirty or carboned" in shown, path
    assert "seen: tip while held" in bench.get(f"/job/{bench.job}/story")
