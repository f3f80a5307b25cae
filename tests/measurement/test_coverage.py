"""Coverage where a standard uncertainty rests on few readings."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

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


def test_no_degrees_of_freedom_are_refused():
    with pytest.raises(ValueError, match="repeatability"):
        effective_degrees_of_freedom(Quantity(1.0, "s", {READINGS: 1.0}), {READINGS: 0})
