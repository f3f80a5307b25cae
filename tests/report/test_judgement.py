from __future__ import annotations

import json
import math
from dataclasses import asdict, fields, replace

import pytest

from nozzlewright.report import SetReport, judgement_as_data, judgement_as_text


def _strict(data: object) -> object:
    def refuse(word: str) -> object:
        raise AssertionError(f"{word} is not JSON")

    return json.loads(json.dumps(data, allow_nan=False), parse_constant=refuse)


def _with_scale(report: SetReport, **ends: float) -> SetReport:
    page = report.injectors[0]
    row = page.tests[0]
    cell = replace(row.latest, scale=replace(row.latest.scale, **ends))
    row = replace(row, as_left=cell)
    page = replace(page, tests=(row, *page.tests[1:]))
    return replace(report, injectors=(page, *report.injectors[1:]))


def test_the_data_come_back_from_json_as_they_went_in(invented):
    data = judgement_as_data(invented.judged_report())

    assert _strict(data) == data


def test_the_data_name_their_version_and_hold_all_of_the_report(invented):
    data = judgement_as_data(invented.judged_report())

    assert data["schema"] == "nozzlewright/judgement/1"
    assert set(data) == {"schema"} | {field.name for field in fields(SetReport)}


def test_an_interval_without_an_end_has_null_there(invented):
    report = _with_scale(invented.judged_report(), low=-math.inf, high=math.inf)

    scale = _strict(judgement_as_data(report))["injectors"][0]["tests"][0]["as_left"]["scale"]

    assert scale["low"] is None
    assert scale["high"] is None
    assert scale["value"] == pytest.approx(report.injectors[0].tests[0].latest.scale.value)


def test_numbers_behind_a_verdict_are_not_rounded(invented):
    report = invented.judged_report()
    data = judgement_as_data(report)

    there = asdict(report.injectors[0].tests[0].latest.scale)
    assert data["injectors"][0]["tests"][0]["as_left"]["scale"] == there


def test_the_summary_says_outcome_and_first_action_of_each_injector(invented):
    report = invented.judged_report()
    text = " ".join(judgement_as_text(report).split())

    for page in report.injectors:
        assert f"Injector {page.cylinder} ({page.identity})" in text
        assert f": {str(page.outcome).upper()}" in text
        if page.actions:
            assert " ".join(page.actions[0].do.split()) in text


def test_the_summary_says_that_an_example_is_invented(invented):
    assert "(invented example)" in judgement_as_text(invented.judged_report()).splitlines()[0]


def test_each_caution_is_told_in_full_once_and_called_to_mind_after_that(invented):
    report = invented.judged_report()
    said = [action.caution for page in report.injectors for action in page.actions]
    text = " ".join(judgement_as_text(report).replace("\n", " ").split())

    cautions = {caution for caution in said if caution}
    assert len(cautions) < len([caution for caution in said if caution])
    for caution in cautions:
        assert text.count(f"! {' '.join(caution.split())}") == 1
    again = len([caution for caution in said if caution]) - len(cautions)
    assert text.count("! Mind the cautions given above.") == again


def test_no_line_of_the_summary_is_wider_than_a_terminal(invented):
    lines = judgement_as_text(invented.judged_report()).splitlines()

    assert max(len(line) for line in lines) <= 100
