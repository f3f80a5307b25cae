"""Laws of a gauge study, and whether its intervals hold what they say."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from nozzlewright.analysis.gauge_study import (
    Component,
    GaugeStudy,
    StudyReading,
    fitter_uncertainty,
    gauge_study,
)
from nozzlewright.measurement import NotMeasured, Quantity

SHARES = ("repeatability", "fitter", "interaction", "reproducibility", "gauge", "part", "total")


@st.composite
def studies(draw) -> list[StudyReading]:
    parts = draw(st.integers(2, 5))
    fitters = draw(st.integers(2, 4))
    repeats = draw(st.integers(2, 3))
    seed = draw(st.integers(0, 10_000))
    spreads = [draw(st.floats(0.0, 5.0)) for _ in range(4)]
    return _made(np.random.default_rng(seed), (parts, fitters, repeats), spreads)


def _made(rng, shape, spreads, level=175.0) -> list[StudyReading]:
    a, b, n = shape
    of_part, of_fitter, of_both, of_reading = spreads
    values = (
        level
        + rng.normal(0.0, of_part, (a, 1, 1))
        + rng.normal(0.0, of_fitter, (1, b, 1))
        + rng.normal(0.0, of_both, (a, b, 1))
        + rng.normal(0.0, of_reading + 0.01, (a, b, n))
    )
    return [
        StudyReading(f"{i + 1}", "ABCD"[j], float(values[i, j, k]))
        for i in range(a)
        for j in range(b)
        for k in range(n)
    ]


def _study(readings, **more) -> GaugeStudy:
    found = gauge_study(readings, "Pa", **more)
    assert isinstance(found, GaugeStudy)
    return found


def _numbers(study: GaugeStudy) -> list[float]:
    """Everything that a study says in numbers, in one unit of the readings."""
    found: list[float] = []
    for name in SHARES:
        share = getattr(study, name)
        found += [share.deviation.value, *share.deviation.coverage_interval]
    return found


@given(studies(), st.randoms(use_true_random=False))
def test_the_order_of_the_readings_does_not_matter(readings, random):
    mixed = list(readings)
    random.shuffle(mixed)

    assert _numbers(_study(mixed)) == _numbers(_study(readings))


@given(studies(), st.floats(-1e4, 1e4))
def test_a_shift_of_all_readings_changes_nothing_but_their_mean(readings, shift):
    study = _study(readings)
    moved = _study([StudyReading(r.part, r.fitter, r.value + shift) for r in readings])

    assert moved.mean == pytest.approx(study.mean + shift, abs=1e-6)
    assert moved.pooled == study.pooled
    assert _numbers(moved) == pytest.approx(_numbers(study), rel=1e-6, abs=1e-7)


@given(studies(), st.floats(1e-3, 1e6))
def test_another_unit_scales_every_deviation_and_no_share(readings, factor):
    study = _study(readings, tolerance=8.0)
    scaled = _study(
        [StudyReading(r.part, r.fitter, r.value * factor) for r in readings], tolerance=8.0 * factor
    )

    expected = [factor * one for one in _numbers(study)]
    assert _numbers(scaled) == pytest.approx(expected, rel=1e-6, abs=1e-8 * factor)
    for name in SHARES:
        one, other = getattr(scaled, name), getattr(study, name)
        assert one.of_variance == pytest.approx(other.of_variance, rel=1e-6, abs=1e-9)
        assert one.of_tolerance == pytest.approx(other.of_tolerance, rel=1e-6, abs=1e-8)


@given(studies(), st.permutations("ABCD"))
def test_other_names_for_the_fitters_change_nothing(readings, names):
    called = dict(zip("ABCD", names, strict=True))
    renamed = [StudyReading(r.part, called[r.fitter], r.value) for r in readings]

    assert _numbers(_study(renamed)) == pytest.approx(_numbers(_study(readings)), rel=1e-9)


@given(studies())
def test_the_shares_of_variance_add_up_and_the_squares_too(readings):
    study = _study(readings)
    *rows, total = study.table

    assert sum(row.sum_of_squares for row in rows) == pytest.approx(total.sum_of_squares, rel=1e-9)
    assert sum(row.degrees for row in rows) == total.degrees
    parts = [study.repeatability, study.fitter, study.interaction, study.part]
    assert sum(one.of_variance for one in parts) == pytest.approx(1.0)
    for name in SHARES:
        share = getattr(study, name)
        low, high = share.deviation.coverage_interval
        assert 0.0 <= low <= share.deviation.value <= high
        assert share.deviation.standard_uncertainty <= 0.25 * (high - low) * (1.0 + 1e-12)
    for share in (study.fitter, study.interaction, study.part):
        if share.clipped:
            assert share.deviation.value == 0.0


@given(studies())
def test_the_categories_and_the_share_of_the_whole_are_one_thing_said_twice(readings):
    study = _study(readings)
    share, groups = study.gauge_of_total, study.categories
    if isinstance(groups, NotMeasured) or isinstance(share, NotMeasured):
        return
    low, high = share.coverage_interval
    fewest, most = study.categories_interval

    assert 0.0 <= low <= share.value <= high <= 1.0
    assert groups == pytest.approx(1.41 * math.sqrt(max(share.value**-2 - 1.0, 0.0)), abs=1e-6)
    assert fewest - 1e-9 <= groups <= most + 1e-9
    assert study.distinct_categories == max(1, math.floor(groups))


@given(studies())
def test_a_wider_coverage_has_a_wider_interval(readings):
    share = _study(readings).gauge
    narrow, wide = share.limits(0.8), share.limits(0.99)

    assert wide[0] <= narrow[0]
    assert narrow[1] <= wide[1]


@given(studies())
def test_one_fitter_tells_parts_no_worse_apart_than_all_together(readings):
    study = _study(readings)

    assert study.told_apart_by_one.value <= study.told_apart.value * (1.0 + 1e-12)
    # ISO 5725-6:1994, 4.1: 2.8 standard deviations, to the digits that it prints.
    assert study.told_apart.value == pytest.approx(2.8 * study.gauge.deviation.value, rel=0.02)
    whole = fitter_uncertainty(study)[1]
    assert fitter_uncertainty(study, repeatability_known=True)[1] <= whole * (1.0 + 1e-12)
    assert whole == pytest.approx(study.gauge.deviation.value)


@pytest.mark.parametrize(
    ("shape", "spreads", "pool_above"),
    [
        pytest.param((10, 3, 3), (3.0, 1.0, 0.0, 0.8), 0.25, id="no interaction, as usual"),
        pytest.param((10, 3, 2), (3.0, 1.0, 1.0, 0.8), 0.25, id="interaction, as usual"),
        pytest.param((8, 4, 2), (3.0, 1.0, 0.7, 0.8), 1.0, id="interaction, never pooled"),
        pytest.param((6, 2, 3), (2.0, 0.8, 0.5, 1.0), 1.0, id="two fitters, six injectors"),
    ],
)
def test_the_95_percent_intervals_cover_the_truth(shape, spreads, pool_above):
    rng = np.random.default_rng(20)
    part, fitter, both, reading = spreads
    scatter = reading + 0.01
    truth = {
        "repeatability": scatter,
        "fitter": fitter,
        "reproducibility": math.hypot(fitter, both),
        "gauge": math.hypot(fitter, both, scatter),
        "part": part,
        "total": math.hypot(fitter, both, scatter, part),
        "one_fitter": math.hypot(both, scatter),
    }
    of_total = truth["gauge"] / truth["total"]
    whole_held = 0
    number = 600
    held = dict.fromkeys(truth, 0)
    for _ in range(number):
        study = _study(_made(rng, shape, spreads), pool_above=pool_above)
        for name, true in truth.items():
            low, high = getattr(study, name).deviation.coverage_interval
            held[name] += bool(low <= true <= high)
        low, high = study.gauge_of_total.coverage_interval
        whole_held += bool(low <= of_total <= high)
    held["gauge of total"] = whole_held

    for name, times in held.items():
        # Of 600, three standard errors are 0.027; the method may hold a little more than it says.
        assert 0.92 <= times / number <= 0.995, name


def test_the_study_finds_what_it_was_made_with():
    rng = np.random.default_rng(7)
    study = _study(_made(rng, (60, 4, 4), (5.0, 0.0, 2.0, 1.0)))

    assert study.repeatability.deviation.value == pytest.approx(1.01, rel=0.1)
    assert isinstance(study.interaction, Component)
    assert study.interaction.deviation.value == pytest.approx(2.0, rel=0.15)
    assert isinstance(study.part, Component)
    assert study.part.deviation.value == pytest.approx(5.0, rel=0.25)
    assert not study.pooled


# -- what cannot be told -----------------------------------------------------------------------


def _full(parts="123", fitters="AB", repeats=2) -> list[StudyReading]:
    rng = np.random.default_rng(1)
    return [
        StudyReading(p, f, 170.0 + 2.0 * int(p) + rng.normal())
        for p in parts
        for f in fitters
        for _ in range(repeats)
    ]


def test_a_missing_reading_is_asked_for_by_name():
    found = gauge_study(_full()[:-1], "Pa")

    assert isinstance(found, NotMeasured)
    assert "B on injector 3: 1 of 2" in found.reason
    assert "missing readings" in found.remedy


def test_many_missing_readings_are_counted():
    full = _full(parts="123456789", fitters="AB")
    found = gauge_study([one for one in full if one.fitter == "A"] + full[2:4], "Pa")

    assert isinstance(found, NotMeasured)
    assert "and 2 more" in found.reason


def test_a_single_round_cannot_tell_a_fitters_own_scatter():
    found = gauge_study(_full(repeats=1), "Pa")

    assert isinstance(found, NotMeasured)
    assert "only once" in found.reason
    assert "once more" in found.remedy


def test_one_fitter_alone_leaves_what_lies_between_fitters_unknown():
    study = _study(_full(fitters="A"))

    for name in ("fitter", "interaction", "reproducibility"):
        assert isinstance(getattr(study, name), NotMeasured)
    assert study.gauge.deviation.value == study.repeatability.deviation.value
    assert isinstance(study.part, Component)
    assert isinstance(study.by_ranges, NotMeasured)


def test_one_injector_alone_leaves_what_lies_between_injectors_unknown():
    study = _study(_full(parts="1"))

    for name in ("part", "total", "interaction"):
        assert isinstance(getattr(study, name), NotMeasured)
    assert isinstance(study.distinct_categories, NotMeasured)
    assert study.gauge.of_total is None
    assert isinstance(study.fitter, Component)


@pytest.mark.parametrize(
    "readings", [[], _full(parts="1", fitters="A", repeats=5)], ids=["none", "one of each"]
)
def test_too_little_is_no_study(readings):
    found = gauge_study(readings, "Pa")

    assert isinstance(found, NotMeasured)
    assert found.remedy


def test_a_gauge_too_coarse_to_scatter_does_not_claim_endless_categories():
    readings = [
        StudyReading(p, f, 170.0 + 2.0 * int(p)) for p in "123" for f in "AB" for _ in range(2)
    ]
    study = _study(readings)

    assert isinstance(study.distinct_categories, NotMeasured)
    assert study.gauge.deviation.value == 0.0
    assert any("hides the scatter" in note for note in study.notes)
    assert study.pooled


def test_readings_all_alike_are_a_study_without_shares():
    study = _study([StudyReading(p, f, 170.0) for p in "123" for f in "AB" for _ in range(2)])

    assert isinstance(study.distinct_categories, NotMeasured)
    assert study.total.deviation.value == 0.0
    assert study.gauge.of_total is None


@pytest.mark.parametrize("tolerance", [0.0, -1.0, math.nan, math.inf])
def test_a_tolerance_is_wider_than_zero(tolerance):
    with pytest.raises(ValueError, match="tolerance"):
        gauge_study(_full(), "Pa", tolerance=tolerance)


def test_a_value_that_is_no_number_is_refused():
    with pytest.raises(ValueError, match="finite"):
        gauge_study([StudyReading("1", "A", math.nan)], "Pa")


def test_no_reading_carries_less_than_one():
    with pytest.raises(ValueError, match="one reading"):
        fitter_uncertainty(_study(_full()), readings=0)


def test_what_a_study_found_goes_into_a_budget():
    study = _study(_full())
    reading = Quantity(175.0, "Pa").with_contribution(*fitter_uncertainty(study, rig="rig 1"))

    assert reading.standard_uncertainty == pytest.approx(study.gauge.deviation.value)
    assert str(reading.budget[0][0]) == "fitter (rig 1)"


def test_names_with_numbers_are_in_the_order_of_the_numbers():
    readings = _full(parts="123", repeats=2)
    named = [StudyReading(f"D-{10 - int(r.part)}", r.fitter, r.value) for r in readings]
    named += [StudyReading("D-10", r.fitter, r.value) for r in readings if r.part == "1"]

    assert _study(named).parts == ("D-7", "D-8", "D-9", "D-10")
