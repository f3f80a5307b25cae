"""Coverage where a standard uncertainty rests on few readings."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from nozzlewright.measurement import (
    Cause,
    Quantity,
    coverage_factor,
    effective_degrees_of_freedom,
)

READINGS, LEVEL = Cause("repeatability"), Cause("gauge level")


def test_one_cause_alone_keeps_its_degrees_of_freedom():
    assert effective_degrees_of_freedom(Quantity(1.0, "s", {READINGS: 0.1}), {READINGS: 4}) == 4


def test_causes_that_rest_on_no_readings_leave_them_infinite():
    assert math.isinf(effective_degrees_of_freedom(Quantity(1.0, "s", {LEVEL: 1.0}), {}))
    assert math.isinf(effective_degrees_of_freedom(Quantity(1.0, "s"), {READINGS: 2}))


@given(st.floats(0.01, 10.0), st.floats(0.01, 10.0), st.integers(1, 30))
def test_a_further_cause_can_only_add_degrees_of_freedom(readings, level, freedom):
    both = Quantity(1.0, "s", {READINGS: readings, LEVEL: level})
    assert effective_degrees_of_freedom(both, {READINGS: freedom}) >= freedom


@given(st.floats(1.0, 1e4), st.floats(0.5, 0.999))
def test_few_readings_need_a_wider_factor(freedom, probability):
    wide = coverage_factor(freedom, probability)
    assert (
        wide >= coverage_factor(freedom + 1, probability) > coverage_factor(probability=probability)
    )


def test_many_readings_come_to_the_normal_factor():
    assert coverage_factor() == pytest.approx(1.959964, abs=1e-6)
    assert coverage_factor(1e6) == pytest.approx(1.959964, abs=1e-5)


def test_degrees_of_freedom_are_truncated():
    assert coverage_factor(16.9, 0.99) == coverage_factor(16.0, 0.99)


@pytest.mark.parametrize(("freedom", "probability"), [(0.5, 0.95), (5, 0.0), (5, 1.0)])
def test_what_has_no_factor_is_refused(freedom, probability):
    with pytest.raises(ValueError, match="not"):
        coverage_factor(freedom, probability)


@given(st.floats(0.01, 100.0), st.floats(0.01, 100.0), st.floats(2.0, 60.0))
def test_a_single_degree_goes_beside_the_rest_by_cochrans_rule(few, many, degrees):
    """FORMULA: Cochran, Biometrics 20 (1964) 191, from memory: t weighed by the squares."""
    parts = {Cause("mean of two", degrees=1.0): few, Cause("of many", degrees=degrees): many}
    found = Quantity(0.0, "1", parts)

    weights, factors = (few**2, many**2), stats.t.ppf(0.975, [1.0, degrees])
    half = float(np.average(factors, weights=weights)) * math.hypot(few, many)
    assert found.coverage_interval[1] == pytest.approx(half, rel=1e-6)
    assert 1.0 - 1e-9 <= found.degrees_of_freedom <= degrees + 1e-6


@pytest.mark.parametrize("share", [0.1, 0.3, 1.0, 3.0, 10.0, 100.0])
def test_two_readings_beside_a_known_error_are_covered_where_the_usual_formula_fails(share):
    """TRUTH: the mean of two readings, known with one degree, and an error of known size."""
    rng = np.random.default_rng(5)
    pairs = rng.normal(0.0, share * math.sqrt(2.0), (2000, 2))
    off = pairs.mean(axis=1) + rng.normal(0.0, 1.0, 2000)
    own = np.abs(np.diff(pairs, axis=1))[:, 0] / 2.0
    half = np.array(
        [
            Quantity(0.0, "1", {Cause("pair", degrees=1.0): u, LEVEL: 1.0}).coverage_interval[1]
            for u in own.tolist()
        ]
    )
    welch = (own**2 + 1.0) ** 2 / own**4
    usual = stats.t.ppf(0.975, np.maximum(welch, 1.0)) * np.sqrt(own**2 + 1.0)

    assert np.mean(np.abs(off) <= half) >= 0.93
    if share == 10.0:
        assert np.mean(np.abs(off) <= usual) < 0.91


def test_causes_that_rest_on_one_estimate_are_one_term():
    """FORMULA: the line of JCGM 100:2008, H.3: at any place its u has n - 2 degrees."""
    apart, together = (
        Quantity(
            0.0,
            "1",
            {
                Cause("offset", degrees=9.0, rests_on=estimate): 3.0,
                Cause("slope", degrees=9.0, rests_on=estimate): 4.0,
            },
        )
        for estimate in ("", "scatter about the line")
    )
    assert together.degrees_of_freedom == pytest.approx(9.0)
    assert apart.degrees_of_freedom > 15.0
    assert Cause("offset") == Cause("offset", rests_on="scatter")


def test_no_degrees_of_freedom_are_refused():
    with pytest.raises(ValueError, match="repeatability"):
        effective_degrees_of_freedom(Quantity(1.0, "s", {READINGS: 1.0}), {READINGS: 0})
