"""Published gauge studies: squares, shares, intervals, averages and ranges.

AIAG: Measurement Systems Analysis, 4th edition (2010), its worked example: 10 parts, 3 appraisers,
3 trials. The manual prints %TV 18.4, 20.9, 27.9, 96.0 and ndc 5 (from memory); the 90 % limits are
those of a public course text on modified large samples with the same data.
Thickness: 10 parts, 3 operators, 2 trials of the AIAG manual's earlier edition, whose table of
squares is printed in a statistics program's help ("Two-Way ANOVA Table with Interaction"). Its 60
readings are from memory; that they give all eight printed squares and ratios confirms them.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from nozzlewright.analysis.gauge_study import (
    Component,
    GaugeStudy,
    RangeStudy,
    StudyReading,
    fitter_uncertainty,
    gauge_study,
    range_constants,
)

HERE = Path(__file__).parent


def _readings(name: str) -> list[StudyReading]:
    with (HERE / name).open(encoding="utf-8") as file:
        return [
            StudyReading(column[1:], row["fitter"], float(value))
            for row in csv.DictReader(file)
            for column, value in row.items()
            if column.startswith("p")
        ]


@pytest.fixture(scope="module")
def pooled() -> GaugeStudy:
    study = gauge_study(_readings("aiag_gauge_study.csv"), "1")
    assert isinstance(study, GaugeStudy)
    return study


@pytest.fixture(scope="module")
def not_pooled() -> GaugeStudy:
    study = gauge_study(_readings("aiag_gauge_study.csv"), "1", pool_above=1.0)
    assert isinstance(study, GaugeStudy)
    return study


@pytest.fixture(scope="module")
def thickness() -> GaugeStudy:
    study = gauge_study(_readings("thickness_gauge_study.csv"), "1")
    assert isinstance(study, GaugeStudy)
    return study


@pytest.mark.parametrize(
    ("source", "square", "degrees", "mean_square"),
    [
        pytest.param("part", 88.36193, 9, 9.817993, id="AIAG 2010, ANOVA table, part"),
        pytest.param("fitter", 3.167262, 2, 1.583631, id="AIAG 2010, ANOVA table, appraiser"),
        pytest.param("interaction", 0.358982, 18, 0.0199435, id="AIAG 2010, ANOVA table, int."),
        pytest.param("repeats", 2.758933, 60, 0.0459822, id="AIAG 2010, ANOVA table, equipment"),
        pytest.param("total", 94.64711, 89, None, id="AIAG 2010, ANOVA table, total"),
    ],
)
def test_the_table_of_squares(pooled, source, square, degrees, mean_square):
    row = next(row for row in pooled.table if row.source == source)

    assert row.sum_of_squares == pytest.approx(square, rel=5e-6)
    assert row.degrees == degrees
    if mean_square is not None:
        assert row.mean_square == pytest.approx(mean_square, rel=5e-6)


def test_the_interaction_is_no_more_than_scatter_and_is_pooled(pooled):
    row = next(row for row in pooled.table if row.source == "interaction")

    assert row.ratio == pytest.approx(0.43372, abs=5e-6)  # AIAG 2010, printed 0.434
    assert row.p == pytest.approx(0.9741, abs=5e-5)  # printed 0.974
    assert pooled.pooled
    assert any("pooled" in note for note in pooled.notes)


@pytest.mark.parametrize(
    ("name", "deviation", "of_total"),
    [
        pytest.param("repeatability", 0.199933, 18.42, id="AIAG 2010, EV"),
        pytest.param("reproducibility", 0.226838, 20.90, id="AIAG 2010, AV"),
        pytest.param("gauge", 0.302373, 27.86, id="AIAG 2010, GRR"),
        pytest.param("part", 1.042327, 96.04, id="AIAG 2010, PV"),
        pytest.param("total", 1.0853, 100.0, id="AIAG 2010, TV"),
    ],
)
def test_the_shares_with_the_interaction_pooled(pooled, name, deviation, of_total):
    share = getattr(pooled, name)

    assert share.deviation.value == pytest.approx(deviation, rel=1e-5)
    assert 100.0 * share.of_total == pytest.approx(of_total, abs=6e-3)


def test_the_shares_of_variance_add_up(pooled):
    # AIAG 2010, contribution: GRR 7.76 %, PV 92.24 %.
    assert 100.0 * pooled.gauge.of_variance == pytest.approx(7.76, abs=5e-3)
    assert 100.0 * pooled.part.of_variance == pytest.approx(92.24, abs=5e-3)


def test_the_number_of_categories_by_both_conventions(pooled):
    assert pooled.categories == pytest.approx(4.8605, abs=5e-5)
    assert pooled.rounded_categories == 5  # as AIAG prints it
    assert pooled.distinct_categories == 4  # as the course text prints it: ours


@pytest.mark.parametrize(
    ("name", "low", "high"),
    [
        pytest.param("repeatability", 0.177, 0.231, id="course text on MLS, 90 % limits, EV"),
        pytest.param("reproducibility", 0.128, 1.014, id="course text on MLS, 90 % limits, AV"),
        pytest.param("gauge", 0.235, 1.033, id="course text on MLS, 90 % limits, GRR"),
        pytest.param("part", 0.759, 1.717, id="course text on MLS, 90 % limits, PV"),
    ],
)
def test_the_intervals_by_modified_large_samples(pooled, name, low, high):
    assert getattr(pooled, name).limits(0.90) == pytest.approx((low, high), abs=5e-4)


@pytest.mark.parametrize(
    ("name", "deviation"),
    [
        pytest.param("repeatability", 0.21443, id="AIAG 2010 data, no pooling, EV"),
        pytest.param("reproducibility", 0.22830, id="AIAG 2010 data, no pooling, AV"),
        pytest.param("gauge", 0.31322, id="AIAG 2010 data, no pooling, GRR"),
        pytest.param("part", 1.04339, id="AIAG 2010 data, no pooling, PV"),
        pytest.param("total", 1.08939, id="AIAG 2010 data, no pooling, TV"),
    ],
)
def test_the_shares_without_pooling_clip_the_interaction_at_zero(not_pooled, name, deviation):
    assert getattr(not_pooled, name).deviation.value == pytest.approx(deviation, abs=5e-6)
    assert not_pooled.interaction.clipped
    assert not_pooled.interaction.deviation.value == 0.0
    assert any("below zero" in note for note in not_pooled.notes)
    assert 100.0 * not_pooled.gauge.of_total == pytest.approx(28.75, abs=5e-3)
    assert not_pooled.categories == pytest.approx(4.697, abs=5e-4)


@pytest.mark.parametrize(
    ("source", "square", "ratio"),
    [
        pytest.param("part", 2.05871, 39.7178, id="thickness, help page, part"),
        pytest.param("fitter", 0.04800, 4.1672, id="thickness, help page, operator"),
        pytest.param("interaction", 0.10367, 4.4588, id="thickness, help page, interaction"),
        pytest.param("repeats", 0.03875, None, id="thickness, help page, repeatability"),
        pytest.param("total", 2.24913, None, id="thickness, help page, total"),
    ],
)
def test_a_published_table_with_an_interaction_that_is_kept(thickness, source, square, ratio):
    row = next(row for row in thickness.table if row.source == source)

    assert row.sum_of_squares == pytest.approx(square, abs=5e-6)
    if ratio is not None:
        assert row.ratio == pytest.approx(ratio, abs=5e-5)
    assert not thickness.pooled


@pytest.mark.parametrize(
    ("name", "variance"),
    [
        pytest.param("gauge", 0.0044375, id="thickness, components, total gauge (from memory)"),
        pytest.param("repeatability", 0.0012917, id="thickness, repeatability (from memory)"),
        pytest.param("reproducibility", 0.0031458, id="thickness, reproducibility (from memory)"),
        pytest.param("fitter", 0.0009120, id="thickness, operator (from memory)"),
        pytest.param("interaction", 0.0022338, id="thickness, operator x part (from memory)"),
        pytest.param("part", 0.0371644, id="thickness, part to part (from memory)"),
        pytest.param("total", 0.0416019, id="thickness, total (from memory)"),
    ],
)
def test_published_components_with_an_interaction(thickness, name, variance):
    assert getattr(thickness, name).variance == pytest.approx(variance, abs=5e-8)
    assert thickness.distinct_categories == 4


def test_averages_and_ranges_of_the_published_example(pooled):
    ranges = pooled.by_ranges
    assert isinstance(ranges, RangeStudy)

    # AIAG 2010, report sheet.
    assert ranges.mean_ranges == pytest.approx({"A": 0.184, "B": 0.513, "C": 0.328})
    assert ranges.mean_range == pytest.approx(0.341667, abs=5e-7)
    assert ranges.fitters_apart == pytest.approx(0.444667, abs=5e-7)
    assert ranges.parts_apart == pytest.approx(3.511111, abs=5e-7)
    # The manual's constants have four digits.
    assert ranges.range_limit == pytest.approx(0.87945, rel=3e-4)
    assert ranges.repeatability == pytest.approx(0.20186, rel=2e-4)
    assert ranges.reproducibility == pytest.approx(0.22967, rel=2e-4)
    assert ranges.gauge == pytest.approx(0.30577, rel=2e-4)
    assert ranges.part == pytest.approx(1.10460, rel=2e-4)
    assert ranges.total == pytest.approx(1.14613, rel=2e-4)
    assert ranges.categories == pytest.approx(5.094, abs=2e-3)
    shares = [
        100.0 * part / ranges.total
        for part in (ranges.repeatability, ranges.reproducibility, ranges.gauge, ranges.part)
    ]
    assert shares == pytest.approx([17.61, 20.04, 26.68, 96.38], abs=6e-3)


def test_the_one_cell_above_the_limit_of_ranges_is_named(pooled):
    (odd,) = pooled.odd_cells  # 0.01, 1.03, 0.20 of appraiser B on part 4

    assert (odd.fitter, odd.part, odd.spread) == ("B", "4", pytest.approx(1.02))


@pytest.mark.parametrize(
    ("number", "inverse_d2", "inverse_d2_star"),
    [  # AIAG 2010, appendix C and report sheet: K1; K2 and K3
        pytest.param(2, 0.8862, 0.7071, id="AIAG 2010, constants for 2"),
        pytest.param(3, 0.5908, 0.5231, id="AIAG 2010, constants for 3"),
        pytest.param(4, None, 0.4467, id="AIAG 2010, constants for 4"),
        pytest.param(5, None, 0.4030, id="AIAG 2010, constants for 5"),
        pytest.param(6, None, 0.3742, id="AIAG 2010, constants for 6"),
        pytest.param(7, None, 0.3534, id="AIAG 2010, constants for 7"),
        pytest.param(8, None, 0.3375, id="AIAG 2010, constants for 8"),
        pytest.param(9, None, 0.3249, id="AIAG 2010, constants for 9"),
        pytest.param(10, None, 0.3146, id="AIAG 2010, constants for 10"),
    ],
)
def test_the_constants_of_ranges(number, inverse_d2, inverse_d2_star):
    d2, d2_star = range_constants(number)

    if inverse_d2 is not None:
        assert 1.0 / d2 == pytest.approx(inverse_d2, abs=5.1e-5)
    assert 1.0 / d2_star == pytest.approx(inverse_d2_star, abs=5.1e-5)


def test_a_reading_carries_the_whole_scatter_of_rig_and_fitters(not_pooled):
    cause, u = fitter_uncertainty(not_pooled)
    _, of_three = fitter_uncertainty(not_pooled, readings=3)
    _, level = fitter_uncertainty(not_pooled, repeatability_known=True)

    assert cause.name == "fitter"
    assert u == pytest.approx(0.31322, abs=5e-6)
    assert level == pytest.approx(0.22830, abs=5e-6)
    assert of_three == pytest.approx(np.hypot(0.22830, 0.21443 / np.sqrt(3.0)), abs=1e-5)


def test_one_fitter_alone_agrees_with_a_one_way_analysis_of_scipy():
    readings = [one for one in _readings("aiag_gauge_study.csv") if one.fitter == "A"]
    groups: dict[str, list[float]] = {}
    for one in readings:
        groups.setdefault(one.part, []).append(one.value)
    reference = stats.f_oneway(*groups.values())

    study = gauge_study(readings, "1")

    assert isinstance(study, GaugeStudy)
    row = study.table[0]
    assert row.source == "part"
    assert row.ratio == pytest.approx(reference.statistic, rel=1e-9)
    assert row.p == pytest.approx(reference.pvalue, rel=1e-6)
    assert not isinstance(study.fitter, Component)
