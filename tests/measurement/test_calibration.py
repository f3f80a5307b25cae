"""Calibration fits evaluated as quantities."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from nozzlewright.measurement import Cause, covariance, difference, fit_calibration

PRESSURES = np.linspace(0.0, 400e5, 9)


@given(
    st.lists(st.floats(-1.0, 1.0), min_size=1, max_size=3),
    st.floats(10e5, 390e5),
)
def test_points_on_a_curve_give_that_curve_back(terms, at):
    scaled = np.array(terms) / (400e5 ** np.arange(len(terms))) * 1e5
    y = np.polynomial.polynomial.polyval(PRESSURES, scaled)
    fit = fit_calibration(PRESSURES, y, degree=len(terms) - 1, unit="Pa", scope="C-1")
    expected = np.polynomial.polynomial.polyval(at, scaled)
    assert fit.value_at(at) == pytest.approx(expected, abs=1e-5)


def test_the_stated_uncertainty_covers_the_true_line_as_often_as_it_says():
    rng = np.random.default_rng(4)
    inside = 0
    for _ in range(600):
        y = 2e4 - 1e-3 * PRESSURES + 1e4 * rng.standard_normal(PRESSURES.size)
        fit = fit_calibration(PRESSURES, y, standard_uncertainties=np.full(9, 1e4), unit="Pa",
                              scope="C-1")  # fmt: skip
        low, high = fit.at(175e5).coverage_interval
        inside += low <= 2e4 - 1e-3 * 175e5 <= high
    # 95 %, and a little more as the Birge ratio enlarges but never shrinks.
    assert 0.935 <= inside / 600 <= 0.99


def test_precise_points_draw_the_line_to_themselves():
    y = np.array([0.0, 0.0, 1.0])
    even = fit_calibration([0.0, 1.0, 2.0], y, standard_uncertainties=[1, 1, 1], unit="1",
                           scope="C")  # fmt: skip
    sure_of_last = fit_calibration(
        [0.0, 1.0, 2.0], y, standard_uncertainties=[1, 1, 0.01], unit="1", scope="C"
    )
    assert abs(sure_of_last.value_at(2.0) - 1.0) < abs(even.value_at(2.0) - 1.0) / 100


def test_scatter_larger_than_stated_enlarges_the_uncertainty():
    x = np.arange(8.0)
    y = np.array([0, 5, -5, 5, -5, 5, -5, 0.0])
    believed = fit_calibration(x, y, standard_uncertainties=np.full(8, 0.1), unit="1", scope="C")
    by_scatter = fit_calibration(x, y, unit="1", scope="C")
    assert believed.standard_uncertainty_at(3.0) == pytest.approx(
        by_scatter.standard_uncertainty_at(3.0)
    )


def test_two_points_with_stated_uncertainties_make_a_line():
    fit = fit_calibration([0.0, 100.0], [1.0, 3.0], standard_uncertainties=[0.3, 0.4], unit="bar",
                          scope="C")  # fmt: skip
    assert fit.value_at(50.0) == pytest.approx(2.0)
    assert fit.standard_uncertainty_at(50.0) == pytest.approx(0.25)  # half of each, in quadrature
    assert fit.degrees_of_freedom == 0


def test_two_pressures_corrected_by_one_certificate_share_its_error():
    rng = np.random.default_rng(9)
    fit = fit_calibration(PRESSURES, 1e4 * rng.standard_normal(9), unit="Pa", scope="C-1")
    near, nearer, far = fit.at(175e5), fit.at(176e5), fit.at(400e5)
    assert difference(near, nearer).standard_uncertainty < 0.05 * near.standard_uncertainty
    assert covariance(near, nearer) > covariance(near, far)
    assert near.standard_uncertainty == pytest.approx(fit.standard_uncertainty_at(175e5))
    assert set(near.contributions) <= {
        Cause(f"calibration, {k}", "C-1") for k in ("offset", "slope")
    }


def test_another_certificate_shares_nothing():
    y = [0.0, 1.0, 0.5, 2.0]
    one, other = (fit_calibration([0, 1, 2, 3], y, unit="1", scope=s).at(1.5) for s in "ab")
    assert covariance(one, other) == 0.0


@pytest.mark.parametrize(
    ("x", "y", "options", "says"),
    [
        ([0, 1], [0, 1], {}, "needs 3 points"),
        ([0, 0, 0], [0, 1, 2], {}, "needs 3 points"),
        ([0, 1, 2], [0, 1], {}, "as many"),
        ([0, 1, 2], [0, 1, float("nan")], {}, "finite"),
        ([0, 1, 2], [0, 1, 2], {"degree": 2}, "needs 4 points"),
        ([0, 1, 2], [0, 1, 2], {"standard_uncertainties": [1, 0, 1]}, "above zero"),
        ([0, 1, 2], [0, 1, 2], {"standard_uncertainties": [1, 1]}, "above zero"),
    ],
)
def test_points_that_cannot_carry_a_fit_are_refused(x, y, options, says):
    with pytest.raises(ValueError, match=says):
        fit_calibration(x, y, unit="1", scope="C", **options)


@pytest.mark.parametrize("x", [-1.0, 3.5, float("nan")])
def test_a_certificate_says_nothing_outside_its_range(x):
    fit = fit_calibration([0, 1, 2, 3], [0.0, 1.0, 0.5, 2.0], unit="1", scope="C")
    with pytest.raises(ValueError, match="outside"):
        fit.at(x)
