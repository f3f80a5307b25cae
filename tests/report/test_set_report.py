from __future__ import annotations

from dataclasses import fields, is_dataclass, replace

import pytest

from nozzlewright.advice.next_action import ActionKind, Advice, NextAction
from nozzlewright.judging.verdict import BenchTest, InjectorOutcome, Outcome
from nozzlewright.report.set_report import RULE_TEXT, SAFETY, _headline


def _texts(value):
    if isinstance(value, str):
        yield value
    elif isinstance(value, tuple):
        for inner in value:
            yield from _texts(inner)
    elif is_dataclass(value):
        for item in fields(value):
            yield from _texts(getattr(value, item.name))


def test_the_headline_counts_what_is_to_become_of_the_injectors(invented):
    assert invented.invented_report().headline == (
        "Of 6: 2 fit, 1 to adjust, 1 to rework, 1 to exchange, 1 unfinished."
    )


def test_as_found_stands_beside_as_left_where_both_exist(invented):
    page = invented.invented_report().injectors[0]

    opening = page.test(BenchTest.OPENING)
    assert opening.as_found.outcome is Outcome.FAIL
    assert opening.as_left.outcome is Outcome.PASS
    assert opening.as_found.value.value == "166.4"
    assert opening.as_left.value.value == "175.2"
    shim = next(row for row in page.seen if row.name == "Shim")
    assert [shim.as_found, shim.as_left] == ["1.05\N{NO-BREAK SPACE}mm", "1.15\N{NO-BREAK SPACE}mm"]


def test_an_injector_that_was_only_tested_as_found_has_no_as_left_column(invented):
    page = invented.invented_report().injectors[2]

    assert all(row.as_left is None for row in page.tests)
    assert page.sitting == "as found"


def test_each_injector_carries_its_outcome_its_reasons_and_what_to_do_next(invented):
    for page in invented.judged_report().injectors:
        assert page.reasons
        assert page.actions or page.next_test
        assert len(page.tests) == len(BenchTest)


def test_a_test_that_was_not_done_says_so_and_why(invented):
    page = invented.judged_report().injectors[4]

    leakage = page.test(BenchTest.BACK_LEAKAGE).latest
    assert leakage.outcome is Outcome.NOT_DONE
    assert "no hold was written down" in " ".join(leakage.reasons)
    drop = next(row for row in page.values if row.name == "Drop time")
    assert drop.as_found.sentence == "not measured, because no hold was written down"


def test_a_value_too_close_to_tell_carries_its_probability_and_its_place_on_the_scale(invented):
    cell = invented.judged_report().injectors[2].test(BenchTest.OPENING).latest

    assert cell.outcome is Outcome.TOO_CLOSE
    assert cell.probability.endswith("%")
    scale = cell.scale
    assert scale.lower_limit == pytest.approx(170.0)
    assert scale.upper_limit == pytest.approx(180.0)
    assert scale.low < scale.value < scale.high
    # Outside the acceptance zone and inside the guard band: that is what the words mean.
    assert not scale.accept_from <= scale.value <= scale.accept_to
    assert scale.value > scale.lower_limit - scale.guard


def test_every_pass_lies_within_the_zone_drawn_for_it_and_every_fail_outside_its_guard(invented):
    seen = set()
    for page in invented.judged_report().injectors:
        for row in page.tests:
            for cell in (row.as_found, row.as_left):
                if cell is None or cell.scale is None:
                    continue
                scale = cell.scale
                seen.add(cell.outcome)
                if cell.outcome is Outcome.PASS:
                    assert scale.can_pass
                    assert scale.accept_from is None or scale.value >= scale.accept_from
                    assert scale.accept_to is None or scale.value <= scale.accept_to
                if cell.outcome is Outcome.FAIL:
                    below = scale.lower_limit is not None and (
                        scale.value <= scale.lower_limit - scale.guard
                    )
                    above = scale.upper_limit is not None and (
                        scale.value >= scale.upper_limit + scale.guard
                    )
                    assert below or above
    assert {Outcome.PASS, Outcome.FAIL} <= seen


def test_rule_reading_rule_cautions_sheet_and_bench_are_all_said(invented):
    report = invented.invented_report()
    sheet = invented.invented_sheet()

    assert report.rule == RULE_TEXT[sheet.rule]
    assert "95 %" in report.reading_rule
    assert report.safety == SAFETY
    assert "surgical emergency even if it is painless" in report.safety[0]
    labels = {fact.label: fact.text for fact in report.sheet + report.bench}
    assert labels["Source"] == sheet.source
    assert "class 0.6" in labels["Gauge"]
    assert labels["Fluid"] == "calibration fluid, ISO 4113"
    assert "22.20" in labels["Oil temperature"]


def test_an_invented_sheet_makes_an_invented_report(invented):
    assert invented.invented_report(invented=False).invented is True


def test_a_missing_piece_of_the_bench_is_said_to_be_missing(invented):
    from nozzlewright.bench import BenchConditions
    from nozzlewright.report.set_report import bench_facts

    said = {fact.label: fact.text for fact in bench_facts(BenchConditions())}

    assert said["Fluid"] == "not stated"
    assert said["Oil temperature"] == "not stated"
    assert said["Gauge"] == "not named"


def test_only_injectors_judged_fit_may_be_fitted(invented):
    report = invented.invented_report()
    outcomes = {page.cylinder: page.outcome for page in report.injectors}

    for place in report.fitting.places:
        assert place.fit is (outcomes[place.cylinder] is InjectorOutcome.FIT)
        assert place.fit or place.said.startswith("do not fit")


def test_the_fitting_sheet_takes_torque_and_washer_from_the_sheet_alone(invented):
    from nozzlewright.report import fitting_sheet

    engine_set = invented.invented_engine_set()
    verdict = invented.invented_verdict(engine_set)
    bare = replace(invented.invented_sheet(), torques=(), washer="")

    told = fitting_sheet(engine_set, invented.invented_sheet(), verdict)
    silent = fitting_sheet(engine_set, bare, verdict)

    assert [t.torque.replace("\N{NO-BREAK SPACE}", " ") for t in told.torques] == [
        "60 to 80 N·m",
        "27 N·m",
    ]
    assert "engine maker's manual" in silent.torque_note
    assert "engine maker's manual" in silent.washer
    assert not any(sign.isdigit() for step in silent.steps for sign in step.text)


def test_one_that_is_still_to_be_matched_is_not_to_be_fitted_yet(invented):
    from nozzlewright.report import fitting_sheet

    engine_set = invented.invented_engine_set()
    verdict = invented.invented_verdict(engine_set)
    fit = next(one for one in verdict.injectors if one.outcome is InjectorOutcome.FIT)
    cylinder = fit.injector.cylinder
    shim = NextAction(cylinder, ActionKind.CHANGE_SHIM, "Fit another shim.", "It stands apart.")

    def place(advice):
        sheet = fitting_sheet(engine_set, invented.invented_sheet(), verdict, advice)
        return next(one for one in sheet.places if one.cylinder == cylinder)

    assert place(()).fit
    matched = place((Advice(cylinder, (shim,), ""),))
    assert not matched.fit
    assert matched.said == "do not fit: match it first"


def test_the_headline_says_that_the_openings_lie_too_far_apart(invented):
    engine_set = invented.invented_engine_set()
    verdict = replace(invented.invented_verdict(engine_set), spread_outcome=Outcome.FAIL)
    all_fit = replace(
        verdict,
        injectors=tuple(replace(one, outcome=InjectorOutcome.FIT) for one in verdict.injectors),
    )

    assert _headline(verdict).endswith("1 unfinished; the opening pressures lie too far apart.")
    assert _headline(all_fit) == (
        "All 6 are fit for use, but their opening pressures lie too far apart."
    )


def test_no_control_sign_gets_into_the_report(invented):
    report = invented.invented_report(title="a\x00b\u202ec", customer="x\x1b[31m\ny")

    assert not any(ord(sign) < 32 for text in _texts(report) for sign in text)
    assert "\u202e" not in "".join(_texts(report))
    assert report.title == "abc"


def test_a_set_without_a_title_still_has_one(invented):
    assert invented.invented_report(title="").title == "Set without a title"
