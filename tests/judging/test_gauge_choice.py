from __future__ import annotations

import json
import math
from pathlib import Path

import pytest

from nozzlewright.bench import DecisionRule
from nozzlewright.judging import Outcome, decide
from nozzlewright.judging.gauge_choice import (
    classes_that_suffice,
    gauge_that_would_do,
    sensible_span,
)
from nozzlewright.measurement import Cause, Quantity
from nozzlewright.physics import en837_permissible_error

PUBLISHED = json.loads(
    (Path(__file__).parents[1] / "reference" / "conformity.json").read_text(encoding="utf-8")
)
BAR = 1e5


def reading(level_bar, rest_bar):
    return Quantity(
        179 * BAR,
        "Pa",
        {Cause("gauge level", "s"): level_bar * BAR, Cause("repeatability", "i"): rest_bar * BAR},
    )


@pytest.mark.parametrize("row", PUBLISHED["en837"], ids=lambda row: row["id"])
def test_a_class_is_an_error_in_per_cent_of_span(row):
    error = en837_permissible_error(row["class"], row["span_bar"] * BAR)

    assert error / BAR == pytest.approx(row["error_bar"])


def test_a_gauge_is_used_up_to_three_quarters_of_its_span():
    assert sensible_span(180 * BAR) == 250 * BAR
    assert sensible_span(188 * BAR) == 400 * BAR


def test_the_classes_that_suffice_are_named_with_their_span():
    text = gauge_that_would_do(reading(4.0 / math.sqrt(3.0), 0.3), 175 * BAR, 183 * BAR)

    assert "0 to 250 bar" in text
    assert "0.1, 0.25, 0.6 or 1 would do" in text
    assert "certificate" in text


def test_the_class_named_would_indeed_pass_mid_band():
    needed = 0.5 * 8.0 / 1.959964
    enough = classes_that_suffice(250 * BAR, needed * BAR)

    assert enough == (0.1, 0.25, 0.6, 1.0)
    assert 0.016 * 250 / math.sqrt(3.0) > needed > 0.01 * 250 / math.sqrt(3.0)


def test_no_gauge_helps_where_the_readings_scatter_too_much():
    text = gauge_that_would_do(reading(0.5, 4.0), 175 * BAR, 183 * BAR)

    assert "No gauge alone would help" in text
    assert "repeatability" in text


def test_nothing_is_said_where_the_gauge_can_judge():
    assert gauge_that_would_do(reading(1.0, 0.3), 175 * BAR, 183 * BAR) == ""


@pytest.mark.parametrize("size_bar", [0.9, 1.0, 1.1, 1.3])
def test_no_gauge_is_asked_for_where_a_reading_in_the_middle_would_pass(size_bar):
    """Two shares, each known with 2 degrees: together 4 (Welch and Satterthwaite), factor 1.42."""
    middle = Quantity(
        179 * BAR,
        "Pa",
        {Cause(name, "i", degrees=2.0): size_bar * BAR for name in ("fitter", "repeatability")},
    )
    passes = decide(middle, 175 * BAR, 183 * BAR, DecisionRule.GUARDED).outcome is Outcome.PASS

    assert middle.student_factor == pytest.approx(2.7764 / 1.9600, rel=1e-4)
    assert bool(gauge_that_would_do(middle, 175 * BAR, 183 * BAR)) is not passes
