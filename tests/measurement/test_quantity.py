"""A measured value with its causes."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nozzlewright.measurement import (
    Cause,
    Caution,
    NotMeasured,
    Quantity,
    covariance,
    difference,
    exact,
    linear_combination,
    mean_of,
    propagate,
)

LEVEL = Cause("gauge level", "one sitting")
finite = st.floats(-1e3, 1e3)
parts = st.dictionaries(
    st.sampled_from([LEVEL, Cause("temperature"), Cause("repeatability", "a"), Cause("fit")]),
    st.floats(-10.0, 10.0),
    max_size=4,
)
quantities = st.builds(lambda v, p: Quantity(v, "Pa", p), finite, parts)


def _opening(value: float, name: str, repeatability: float = 0.3e5) -> Quantity:
    return Quantity(value, "Pa", {LEVEL: 2.3e5, Cause("repeatability", name): repeatability})


def test_spread_between_two_injectors_on_one_gauge_is_known_better_than_their_level():
    a, b = _opening(175e5, "a"), _opening(172e5, "b", 0.4e5)
    assert difference(a, b).value == pytest.approx(3e5)
    assert difference(a, b).standard_uncertainty == pytest.approx(0.5e5)
    assert a.standard_uncertainty > 4 * difference(a, b).standard_uncertainty


def test_two_sittings_do_not_share_the_gauge_level():
    monday, friday = (
        Quantity(175e5, "Pa", {Cause("gauge level", day): 2.3e5}) for day in ("Mon", "Fri")
    )
    assert covariance(monday, friday) == 0.0
    assert difference(monday, friday).standard_uncertainty == pytest.approx(2.3e5 * 2**0.5)


def test_a_quantity_less_itself_is_exactly_zero():
    a = _opening(175e5, "a")
    assert difference(a, a).value == 0.0
    assert difference(a, a).standard_uncertainty == 0.0


def test_what_is_common_does_not_average_out():
    readings = [_opening(175e5, str(k)) for k in range(9)]
    mean = mean_of(readings)
    assert mean.standard_uncertainty == pytest.approx(math.hypot(2.3e5, 0.3e5 / 3))


@given(quantities, quantities)
def test_covariance_is_symmetrical_and_bounded_by_the_uncertainties(a, b):
    assert covariance(a, b) == pytest.approx(covariance(b, a))
    bound = a.standard_uncertainty * b.standard_uncertainty
    assert abs(covariance(a, b)) <= bound * (1 + 1e-12) + 1e-12
    assert covariance(a, a) == pytest.approx(a.standard_uncertainty**2)


@given(quantities, quantities, finite, finite)
def test_variance_of_a_sum_is_the_quadratic_form(a, b, k, m):
    both = linear_combination([(k, a), (m, b)], unit="Pa", method="sum")
    variance = (
        k**2 * a.standard_uncertainty**2
        + m**2 * b.standard_uncertainty**2
        + 2 * k * m * covariance(a, b)
    )
    scale = (abs(k) * a.standard_uncertainty + abs(m) * b.standard_uncertainty) ** 2
    assert both.standard_uncertainty**2 == pytest.approx(variance, abs=1e-9 * scale + 1e-12)


@given(quantities, quantities, finite, finite)
def test_propagating_a_straight_model_is_the_linear_combination(a, b, k, m):
    straight = propagate(lambda x, y: k * x + m * y, a, b, unit="Pa", method="sum")
    combined = linear_combination([(k, a), (m, b)], unit="Pa", method="sum")
    assert straight.value == pytest.approx(combined.value, abs=1e-9)
    # A difference over one standard uncertainty loses digits to the size of the values.
    lost = 1e-12 * (abs(k * a.value) + abs(m * b.value) + 1.0)
    assert straight.standard_uncertainty == pytest.approx(
        combined.standard_uncertainty, rel=1e-6, abs=lost * 1e3
    )


def test_a_ratio_on_one_gauge_loses_a_common_scale_error():
    scale = Cause("gauge scale")
    a, b = (Quantity(p, "Pa", {scale: 0.01 * p}) for p in (150e5, 100e5))
    ratio = propagate(lambda x, y: math.log(x / y), a, b, unit="1", method="log ratio")
    assert ratio.standard_uncertainty == pytest.approx(0.0, abs=1e-6)


def test_an_exact_input_adds_nothing():
    a = _opening(175e5, "a")
    limit = exact(170e5, "Pa")
    assert limit.standard_uncertainty == 0.0
    assert difference(a, limit).standard_uncertainty == a.standard_uncertainty


def test_the_budget_lists_the_largest_cause_first():
    a = _opening(175e5, "a")
    assert [cause for cause, _ in a.budget] == [LEVEL, Cause("repeatability", "a")]
    assert [size for _, size in a.budget] == [2.3e5, 0.3e5]


def test_one_more_of_the_same_cause_adds_with_its_sign():
    a = _opening(175e5, "a").with_contribution(LEVEL, -2.3e5)
    assert LEVEL not in a.contributions
    assert a.standard_uncertainty == pytest.approx(0.3e5)


def test_the_interval_is_two_sided_95_per_cent_unless_one_is_stated():
    a = Quantity(10.0, "s", {Cause("fit"): 1.0})
    assert a.coverage_interval == pytest.approx((10 - 1.959964, 10 + 1.959964))
    stated = Quantity(10.0, "s", {Cause("fit"): 1.0}, interval=(9.0, 13.0))
    assert stated.coverage_interval == (9.0, 13.0)


def test_cautions_are_carried_on_once_and_in_order():
    clipped, slow = Caution("clipping", "at 400 bar"), Caution("slow gauge", "10 Hz")
    a = _opening(175e5, "a").with_cautions(clipped)
    b = _opening(172e5, "b").with_cautions(clipped, slow)
    assert difference(a, b).cautions == (clipped, slow)
    assert propagate(lambda x, y: x + y, a, b, unit="Pa", method="sum").cautions == (clipped, slow)
    assert a.with_cautions() is a


@pytest.mark.parametrize("value", [math.nan, math.inf])
def test_a_quantity_is_a_finite_number_or_none_at_all(value):
    with pytest.raises(ValueError, match="finite"):
        Quantity(value, "Pa")
    with pytest.raises(ValueError, match="temperature"):
        Quantity(1.0, "Pa", {Cause("temperature"): value})


def test_a_model_that_fails_at_the_best_estimate_is_refused():
    with pytest.raises(ValueError, match="finite"):
        propagate(lambda x: math.inf * x, exact(1.0, "1"), unit="1", method="broken")


def test_what_was_not_measured_is_false_and_says_why():
    missing = NotMeasured("no pressure drop was found in 12 s", "record until the needle opens")
    assert not missing
    assert str(missing) == "not measured, because no pressure drop was found in 12 s"


def test_contributions_cannot_be_changed_from_outside():
    handed_in = {LEVEL: 1.0}
    a = Quantity(1.0, "Pa", handed_in)
    handed_in[LEVEL] = 5.0
    assert a.standard_uncertainty == 1.0
    with pytest.raises(TypeError):
        a.contributions[LEVEL] = 5.0


def test_a_cause_is_read_with_its_scope():
    assert str(LEVEL) == "gauge level (one sitting)"
    assert str(Cause("temperature")) == "temperature"
    assert str(Caution("clipping", "at 400 bar")) == "clipping: at 400 bar"


def test_the_mean_of_nothing_is_refused():
    with pytest.raises(ValueError, match="nothing"):
        mean_of([])
