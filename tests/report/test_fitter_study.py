"""A study of fitters in words: nothing is claimed that the readings do not bear."""

from __future__ import annotations

import json
import re

import numpy as np
import pytest

from nozzlewright.analysis.agreement import GradeReading, grade_study
from nozzlewright.analysis.gauge_study import StudyReading, gauge_study
from nozzlewright.report.fitter_study import (
    grade_words,
    share_rows,
    spread_text,
    study_as_data,
    study_as_lines,
    study_words,
    wrapped,
)
from nozzlewright.said import Said, speak

SEAT = ("dry", "damp", "drop")


def study(parts=6, fitters=3, repeats=2, *, part=4e5, level=1e5, scatter=5e4, seed=1, **more):
    """A study in Pa, made with known shares."""
    rng = np.random.default_rng(seed)
    own, levels = rng.normal(0.0, part, parts), rng.normal(0.0, level, fitters)
    readings = [
        StudyReading(f"{i + 1}", "ABCDEF"[j], 175e5 + own[i] + levels[j] + rng.normal(0.0, scatter))
        for i in range(parts)
        for j in range(fitters)
        for _ in range(repeats)
    ]
    return gauge_study(readings, "Pa", **more)


def plain(words) -> str:
    return " | ".join(words).replace("\N{NO-BREAK SPACE}", " ")


def test_the_first_sentence_is_what_the_bench_wants_to_know():
    found = study()
    first = plain(study_words(found)[:1])

    limit = float(re.search(r"closer than ([\d.]+) bar", first)[1])
    assert first.startswith("Rig and fitters together cannot tell two injectors apart")
    assert limit == pytest.approx(2.77 * found.gauge.deviation.value / 1e5, rel=0.05)


@pytest.mark.parametrize(
    ("made", "said", "not_said"),
    [
        pytest.param(
            {"part": 2e6, "level": 1e4, "scatter": 2e4}, "good by the usual", "look at the rig",
            id="good: nothing to do",
        ),
        pytest.param(
            {"part": 1e3, "level": 1e5, "scatter": 1e5}, "too much by the usual", "good by",
            id="too much",
        ),
        pytest.param(
            {"part": 1e3, "scatter": 2e5}, "No two groups of these injectors", "groups of these i1",
            id="no groups",
        ),
        pytest.param(
            {"level": 5e5, "scatter": 5e4}, "agree how the reading is taken", "look at the rig",
            id="fitters differ",
        ),
        pytest.param(
            {"level": 1e3, "scatter": 3e5}, "look at the rig", "agree how the reading",
            id="one fitter scatters",
        ),
        pytest.param(
            {"level": 0.0, "scatter": 3e5}, "differ by no more than scatter explains",
            "reads highest", id="no difference of levels",
        ),
        pytest.param({"tolerance": 8e5}, "of the 8 bar that are allowed", "None", id="tolerance"),
        pytest.param({}, "Cross-check by averages", "that are allowed", id="no tolerance"),
    ],
)  # fmt: skip
def test_the_words_follow_what_the_readings_were_made_with(made, said, not_said):
    words = plain(study_words(study(**made)))

    assert said in words
    assert not_said not in words


def test_one_fitter_alone_is_not_told_about_fitters():
    found = study(fitters=1)
    words = plain(study_as_lines(found))

    assert "not measured, because one fitter alone took the readings" in words
    assert "reads highest" not in words
    assert "Where one fitter reads both" not in words
    assert "Cross-check" not in words


def test_one_injector_alone_is_not_told_about_groups():
    words = plain(study_as_lines(study(parts=1)))

    assert "Not told: one injector alone was read" in words
    assert "groups of these" not in words
    assert "of the whole" not in words


def test_a_gauge_that_does_not_scatter_is_not_praised():
    found = study(level=0.0, scatter=0.0)
    words = plain(study_words(found))

    assert "Not told: all readings of a part are alike" in words
    assert "cannot tell two injectors apart" not in words


def test_readings_all_alike_leave_no_share():
    readings = [StudyReading(p, f, 175e5) for p in "123" for f in "AB" for _ in range(2)]
    rows = share_rows(gauge_study(readings, "Pa"))

    assert all(row.of_variance == "" for row in rows)
    assert all(row.variance is None for row in rows)


def test_the_rows_that_make_up_the_whole_add_up():
    rows = {row.short or str(row.name): row for row in share_rows(study())}

    assert rows["GRR"].variance + rows["PV"].variance == pytest.approx(1.0)
    assert rows["EV"].variance + rows["AV"].variance == pytest.approx(rows["GRR"].variance)
    assert rows["TV"].variance == pytest.approx(1.0)


def test_in_another_unit_of_pressure_no_bar_is_left():
    for line in study_as_lines(study(tolerance=8e5)):
        assert isinstance(line, Said)
        spoken = speak(line, str, "psi", ",")
        assert not re.search(r"\bbar\b", spoken), spoken
        assert not re.search(r"\d\.\d", spoken), spoken


def test_a_spread_keeps_two_digits_however_lopsided_its_interval():
    found = study(fitters=2).reproducibility.deviation
    text = spread_text(found).replace("\N{NO-BREAK SPACE}", " ")

    value, low, high = (float(one) for one in re.findall(r"[\d.]+", text))
    assert value == pytest.approx(found.value / 1e5, rel=0.05)
    assert (low, high) == pytest.approx([end / 1e5 for end in found.coverage_interval], rel=0.06)


@pytest.mark.parametrize(
    "found",
    [
        pytest.param(study(), id="whole"),
        pytest.param(study(tolerance=8e5), id="with a tolerance"),
        pytest.param(study(fitters=1), id="one fitter"),
        pytest.param(study(parts=1), id="one injector"),
        pytest.param(study(level=0.0, scatter=0.0), id="no scatter"),
    ],
)
def test_the_data_are_strict_json_whatever_could_be_told(found):
    data = json.loads(json.dumps(study_as_data(found), allow_nan=False))

    assert data["unit"] == "bar"
    assert data["mean"] == pytest.approx(175.0, abs=20.0)
    assert data["injectors"] == list(found.parts)


def test_lines_for_a_terminal_are_folded_and_lose_nothing():
    lines = study_as_lines(study())
    text = wrapped(lines)

    assert max(map(len, text.splitlines())) <= 96
    assert text.split() == " ".join(lines).split()


# -- grades ------------------------------------------------------------------------------------


def graded(*by_fitter: str):
    names = {"d": "dry", "m": "damp", "x": "drop"}
    return grade_study(
        [
            GradeReading(str(place + 1), "ABC"[fitter], names[sign])
            for fitter, word in enumerate(by_fitter)
            for place, sign in enumerate(word)
        ],
        SEAT,
    )


def test_grades_all_alike_are_told_but_no_kappa_is_made_up():
    found = graded("ddd", "ddd")
    words = plain(grade_words(found))

    assert "On 100 % of the injectors all gave the same grade" in words
    assert "Not told: everything was given one and the same grade" in words
    assert "kappa" not in words
    assert "A and B agree in 100 % of the cases" in words
    data = json.loads(json.dumps(study_as_data(found), allow_nan=False))
    assert "one and the same grade" in data["kappa"]["not_measured"]
    assert "not_measured" in data["by_grade"]["drop"]
    assert "not_measured" in data["with_himself"]["A"]


def test_divided_injectors_are_named_and_the_convention_is_called_one():
    words = plain(grade_words(graded("dmxd", "dmxm", "dxxd")))

    assert "Divided on injector 2, 4" in words
    assert "Landis and Koch 1977, a convention" in words
    assert "Where one says dry, another does so in" in words
