"""One injector, one step at a time."""

from __future__ import annotations

import pytest

from nozzlewright.bench import StepKind
from nozzlewright.bench.steps import TRADE_ORDER, Step
from nozzlewright.edge.web import steps_shown
from nozzlewright.edge.web.page import STATIC
from nozzlewright.records import AS_FOUND, AS_LEFT, EntryKind


@pytest.fixture
def bench_shop(helper):
    return helper("edge/web/bench_shop.py")


@pytest.fixture
def bench(helper, bench_shop, tmp_path, web_settings, serve, browser):
    shop = helper("workflow/in_memory.py").workshop_in_memory(tmp_path)
    return bench_shop.at_the_bench(shop, web_settings, serve, browser)


# -- words ---------------------------------------------------------------------------------------


def test_every_step_of_the_trade_has_its_words_and_its_drawing():
    assert list(steps_shown.STEPS_SHOWN) == [step.key for step in TRADE_ORDER]
    for step in TRADE_ORDER:
        shown = steps_shown.STEPS_SHOWN[step.key]
        assert shown.title == step.title
        assert shown.do
        assert shown.good or shown.good_by_type
        for name in (shown.drawing, *(look.name for look in shown.looks)):
            assert (STATIC / "drawings" / f"{name}.svg").is_file(), name


def test_where_a_jet_or_a_spring_can_hurt_the_step_says_so():
    for step in TRADE_ORDER:
        told = " ".join(words for words, _jet in steps_shown.cautions(step))
        assert ("through skin" in told) == step.under_pressure, step.key
        assert ("spring is free" in told) == step.opens, step.key
        if told:
            assert "come first" in told


def test_a_step_that_the_sheet_added_speaks_in_the_sheets_words():
    soak = Step("soak", "Soak overnight", StepKind.DO, text="In the covered tank.")
    assert steps_shown.title(soak) == "Soak overnight"
    assert steps_shown.shown(soak).do == ("In the covered tank.",)


def test_every_step_can_be_opened_and_names_itself(bench):
    bench.take()
    for step in TRADE_ORDER:
        shown = bench.get(bench.step(step.key))
        assert f"<h1>{step.title}</h1>" in shown
        assert ("Take care" in shown) == bool(steps_shown.cautions(step))
    assert bench.browser.get(bench.step("no-such-step")).status_code == 404


def test_what_good_looks_like_follows_the_kind_of_nozzle(bench):
    bench.take()
    shown = bench.get(bench.step("spray"))
    assert "As many jets as holes" in shown  # the demo sheet is of a multi-hole nozzle
    assert "fine cone along the axis" not in shown


# -- do and take back ----------------------------------------------------------------------------


def test_a_step_that_is_done_leads_to_the_next(bench):
    bench.take()
    bench.shop.see(
        "s", "A. N. Other", bench.job, bench.one().injector, {"no_result": "x"}, done="as-found"
    )
    shown = bench.saved(bench.tap(bench.path(), "Done: go on", note="very dirty"))
    assert "Saved: Wash outside; “very dirty”" in shown
    assert "<h1>Strip from the top</h1>" in shown


def test_a_repeated_tap_at_a_step_is_one_entry(bench):
    bench.take()
    form = bench.form(bench.step("wash"), "Done: go on")
    before = len(bench.story.entries)
    for _ in range(3):
        assert bench.send(form).status_code == 303
    assert len(bench.story.entries) == before + 1


def test_what_was_saved_just_now_is_taken_back_with_the_step_that_it_finished(bench):
    bench.take()
    answer = bench.tap(bench.step("spray"), "Save and go on", spray="good")
    assert "spray" in bench.one().done
    assert "Saved: spray good" in bench.saved(answer)
    answer = bench.tap(answer.headers["location"], "Take back")
    assert "Taken back: spray good" in bench.saved(answer)
    assert "spray" not in bench.one().done
    assert bench.one().seen == []
    assert [e.kind for e in bench.story.entries].count(EntryKind.WITHDRAWN) == 2


def test_a_step_left_out_stands_in_the_record_with_its_reason(bench):
    bench.take()
    assert bench.tap(bench.step("flush"), "Leave it out", why="").status_code == 422
    shown = bench.saved(bench.tap(bench.step("flush"), "Leave it out", why="test only"))
    assert "Flush: left out, because test only" in shown
    assert "flush" in bench.one().done


def test_an_injector_that_is_not_in_hand_is_only_looked_at(bench):
    shown = bench.get(bench.step("wash"))
    assert "Injector 1 is not in hand" in shown
    assert "Done: go on" not in shown
    bench.take(2)
    assert "Close 2 and open 1" in bench.get(bench.step("wash"))


# -- as found ------------------------------------------------------------------------------------


def test_an_as_found_test_leads_to_the_gauge_and_takes_what_eye_and_ear_noticed(bench):
    bench.take()
    shown = bench.get(bench.path())
    assert f'href="{bench.path()}/gauge?step=as-found"' in shown
    answer = bench.tap(bench.path(), "Save", seat="drop", chatter="weak")
    assert answer.status_code == 303, answer.text
    assert bench.one().seen[0].body == {"sitting": AS_FOUND, "seat": "drop", "chatter": "weak"}
    assert "as-found" not in bench.one().done
    bench.tap(bench.step("as-found"), "As-found test is complete")
    assert "as-found" in bench.one().done


def test_a_seized_injector_gives_no_result_and_can_be_stripped_then(bench):
    bench.take()
    refused = bench.tap(bench.step("strip"), "Stripped: go on")
    assert refused.status_code == 409
    assert "was not tested as found" in refused.text
    answer = bench.tap(bench.path(), "Save: no result", no_result="needle seized")
    assert "no result: needle seized" in bench.saved(answer)
    answer = bench.tap(bench.step("strip"), "Stripped: go on", shim_mm="1,35")
    assert "Stripped: shim 1.35 mm" in bench.saved(answer)
    assert bench.one().apart
    assert bench.one().shim_mm == 1.35
    assert "The as-found readings are locked" in bench.get(bench.step("as-found"))


def test_another_reason_for_no_result_needs_words(bench):
    bench.take()
    assert bench.tap(bench.path(), "Save: no result", no_result="other").status_code == 422
    answer = bench.tap(
        bench.path(), "Save: no result", no_result="other", no_result_other="holder bent"
    )
    assert answer.status_code == 303
    assert bench.one().seen[0].body["no_result"] == "holder bent"


# -- assemble ------------------------------------------------------------------------------------


def test_the_pair_of_another_injector_is_refused_and_the_right_one_named(bench):
    bench.stripped()
    for typed in ({"pair": bench.one(2).pair}, {"pair_tag": bench.one(2).pair}):
        refused = bench.tap(bench.step("assemble"), "Assembled: go on", **typed)
        assert refused.status_code == 409
        assert f"the pair {bench.one(2).pair} belongs to injector 2" in refused.text
        assert bench.one().pair in refused.text
    assert bench.one().apart


def test_a_pair_is_named_by_its_tag_typed_tapped_or_by_the_code_on_the_label(bench):
    label = f"http://bench.local:8642/injector/{bench.one().injector}"
    for typed in ({"pair": bench.one().pair}, {"pair_tag": bench.one().pair}, {"pair_tag": label}):
        bench.stripped()
        answer = bench.tap(bench.step("assemble"), "Assembled: go on", **typed)
        assert answer.status_code == 303, answer.text
        assert bench.last(EntryKind.ASSEMBLED).body["pair"] == bench.one().pair


def test_a_pair_must_be_named(bench):
    bench.stripped()
    refused = bench.tap(bench.step("assemble"), "Assembled: go on")
    assert refused.status_code == 422
    assert "the pair is not named" in refused.text


def test_a_new_pair_takes_the_place_of_a_condemned_one(bench):
    bench.stripped()
    bench.note(
        EntryKind.FINDING,
        {"part": "needle", "seen": "scuffed", "severity": "renew", "renew_pair": True},
    )
    shown = bench.get(bench.step("assemble"))
    assert "is to be renewed" in shown
    answer = bench.tap(
        bench.step("assemble"), "Assembled: go on", pair="new", pair_tag="N-77", renewed=["needle"]
    )
    shown = bench.saved(answer)
    assert "new pair N-77" in shown
    assert "not renewed: seals, seat washer" in shown
    assert (bench.one().pair, bench.one().pair_condemned) == ("N-77", False)


# -- slide, torque, set --------------------------------------------------------------------------


def test_a_needle_that_sticks_keeps_the_step_open(bench):
    bench.stripped()
    answer = bench.tap(bench.step("slide"), "Save and go on", slides="no", angle="a quarter turn")
    shown = bench.saved(answer)
    assert "needle sticks; where: a quarter turn" in shown
    assert "Clean the pair and test it again" in shown
    assert "slide" not in bench.one().done
    bench.tap(bench.step("slide"), "Save and go on", slides="yes")
    assert "slide" in bench.one().done


def test_a_torque_inside_the_sheets_band_is_done(bench):
    bench.assembled()
    answer = bench.tap(bench.step("torque"), "Tightened: go on", torque_nm="65", wrench="W-3")
    assert "nozzle nut 65 Nm; wrench W-3" in bench.saved(answer)
    assert "torque" in bench.one().done
    assert 'value="W-3"' in bench.get(bench.step("torque"))


@pytest.mark.parametrize(("value", "side"), [("80", "above"), ("40", "below")])
def test_a_torque_outside_the_sheets_band_is_said_and_left_open(bench, value, side):
    bench.assembled()
    shown = bench.saved(bench.tap(bench.step("torque"), "Tightened: go on", torque_nm=value))
    assert f"That lies {side} the sheet's band of 60 to 70 Nm" in shown.replace("&#39;", "'")
    assert "torque" not in bench.one().done
    bench.tap(bench.step("torque"), "Go on with it as it is", outside_note="by the maker")
    assert "torque" in bench.one().done


def test_a_new_shim_is_offered_as_advised_and_leads_to_reading_it_again(
    helper, bench_shop, tmp_path, web_settings, serve, browser
):
    shop = helper("workflow/in_memory.py").workshop_in_memory(tmp_path)
    bench = bench_shop.at_the_bench(shop, web_settings, serve, browser, rig=True)
    bench.take()
    bench.tested(seat="dry", spray="good", chatter="clear", drop_test="dry")
    advised = bench.one().verdict.body["next"][0]["shim_change_mm"]
    assert advised > 0
    form = bench.form(bench.step("set"), "Changed: read it again")
    assert form.fields["shim_from_mm"] == ["1.3"]
    assert float(form.fields["shim_to_mm"][0]) == pytest.approx(1.3 + advised, abs=1e-3)
    shown = bench.get(bench.step("set"))
    assert "Best prospect" in shown
    assert "Advised" not in shown  # it is the same as the proposal
    assert "to adjust" in shown
    page = bench.saved(bench.send(form))
    assert "shim from 1.30 mm to" in page
    assert bench.last(EntryKind.SETTING_CHANGED).body["shim_from_mm"] == 1.3
    assert "set" in bench.one().done
    assert "re-read" not in bench.one().done
    # The advice is spent: what was read before the change says nothing about the next shim.
    spent = bench.get(bench.step("set"))
    assert "Best prospect" not in spent
    assert "No change can be proposed: the setting was changed after it was read last" in spent


def test_a_change_of_setting_needs_a_number_or_the_word_that_none_is_needed(bench):
    bench.assembled()
    refused = bench.tap(bench.step("set"), "Changed: read it again")
    assert refused.status_code == 422
    assert "no change has been entered" in refused.text
    bench.tap(bench.step("set"), "No change needed")
    assert "set" in bench.one().done
    assert bench.one().settings == []


# -- verdict, second person ----------------------------------------------------------------------


def test_after_a_test_the_verdict_stands_beside_with_its_reason_and_the_next_action(
    helper, bench_shop, tmp_path, web_settings, serve, browser
):
    shop = helper("workflow/in_memory.py").workshop_in_memory(tmp_path)
    bench = bench_shop.at_the_bench(shop, web_settings, serve, browser, rig=True)
    bench.take()
    bench.tested(seat="dry", spray="good", chatter="clear", drop_test="dry")
    shown = bench.get(bench.path())
    opening, deviation = bench.one().tests[0].body["summary"]["opening_pa"]
    assert deviation > 0
    assert f"{opening / 1e5:.1f}"[:5] in shown
    assert "as shown" in shown
    assert "corrected" in shown
    assert f'href="{bench.step("set")}"' in shown
    assert "To the step: Set the opening pressure" in shown


def test_a_grade_is_judged_at_once(bench):
    bench.assembled()
    bench.tap(bench.step("spray"), "Save and go on", spray="poor", note="one jet solid")
    seen = bench.one().seen_of(AS_LEFT)
    assert [one.body["spray_note"] for one in seen] == ["one jet solid"]
    assert bench.one().verdict.body["outcome"] == "rework"
    assert "to rework" in bench.get(bench.path())


def test_the_second_person_is_somebody_else(bench, bench_shop):
    bench.assembled()
    bench.tested(step="re-read")
    shown = bench.get(bench.step("second"))
    assert f'value="{bench_shop.OTHER}"' in shown
    assert f'name="checker" value="{bench_shop.FITTER}"' not in shown
    refused = bench.tap(
        bench.step("second"), "Save and go on", agrees="yes", other_name=bench_shop.FITTER
    )
    assert refused.status_code == 409
    assert "Let another person check it" in refused.text
    answer = bench.tap(
        bench.step("second"), "Save and go on", agrees="yes", checker=bench_shop.OTHER
    )
    assert answer.status_code == 303, answer.text
    assert bench.last(EntryKind.SECOND_PERSON).draft.who == bench_shop.OTHER
    assert "second" in bench.one().done


def test_a_second_person_who_does_not_agree_is_heard(bench, bench_shop):
    bench.assembled()
    bench.tested(step="re-read")
    bench.note(EntryKind.LAID_DOWN)  # who checks need not open it
    bench.tap(
        bench.step("second"), "Save and go on", agrees="no", checker=bench_shop.OTHER, note="drips"
    )
    assert bench.one().second[0].body == {"agrees": False, "note": "drips"}
    assert f"{bench_shop.OTHER} does not agree" in bench.get(bench.step("second"))


def test_when_all_is_done_the_page_leads_on_to_the_set(bench):
    bench.take()
    for step in TRADE_ORDER:
        bench.note(EntryKind.STEP_DONE, {"step": step.key})
    shown = bench.get(bench.path())
    assert "Every step of injector 1 is done" in shown
    assert f'href="/job/{bench.job}"' in shown


def test_before_the_first_test_as_left_every_page_says_so(bench):
    bench.take(1)
    bench.tested(1, seat="dry", spray="good")
    bench.note(EntryKind.STRIPPED, {"pair": bench.one(1).pair})
    bench.note(EntryKind.SEEN, {"sitting": AS_LEFT, "needle_slide": False})
    bench.note(EntryKind.ASSEMBLED, {"pair": bench.one(1).pair})
    step = " ".join(bench.get(bench.path()).split())
    assert "Verdict as left: not tested yet" in step
    assert "to rework" not in step
    bench.note(EntryKind.LAID_DOWN)
    assert "as left: not tested yet" in bench.get(f"/job/{bench.job}")
    assert "as left: not tested yet" in bench.get(f"/job/{bench.job}/set")
