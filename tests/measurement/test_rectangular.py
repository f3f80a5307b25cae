"""A cause that is rectangular keeps its shape in the 95 % interval."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from nozzlewright.measurement import Cause, Quantity

BOX = Cause("gauge level", "one sitting", rectangular=True)
BELL = Cause("repeatability", "one injector")


def half_width(box: float, bell: float) -> float:
    low, high = Quantity(0.0, "Pa", {BOX: box, BELL: bell}).coverage_interval
    return 0.5 * (high - low)


def test_a_rectangular_cause_alone_has_a_factor_of_1_65():
    # EA-4/02 M:2022, S9.14 (from memory): k = 1.65 where a rectangular contribution dominates.
    assert half_width(1.0, 0.0) == pytest.approx(0.95 * math.sqrt(3.0), rel=1e-12)
    assert round(half_width(1.0, 0.0), 2) == 1.65


def test_a_small_rectangular_cause_leaves_the_factor_of_a_normal_error():
    assert half_width(0.2, 1.0) == pytest.approx(1.959964 * math.hypot(0.2, 1.0), rel=1e-6)


@pytest.mark.parametrize("bell", [0.05, 0.3, 1.0, 2.0])
def test_the_interval_holds_95_of_100_errors_that_are_drawn(bell):
    rng = np.random.default_rng(7)
    error = math.sqrt(3.0) * rng.uniform(-1.0, 1.0, 400_000)
    error += bell * rng.standard_normal(error.size)

    inside = np.mean(np.abs(error) <= half_width(1.0, bell))

    assert inside == pytest.approx(0.95, abs=0.0015)


@given(st.floats(0.0, 10.0), st.floats(1e-3, 10.0))
def test_the_factor_lies_between_that_of_a_box_and_that_of_a_bell(box, bell):
    factor = half_width(box, bell) / math.hypot(box, bell)

    assert 1.64 < factor < 1.97
