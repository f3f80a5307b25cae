"""Propagation by drawing."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nozzlewright.measurement import (
    Cause,
    Caution,
    Quantity,
    covariance,
    draws_of,
    exact,
    propagate_by_draws,
)

LEVEL = Cause("gauge level")


def _rng() -> np.random.Generator:
    return np.random.default_rng(20)


def test_draws_have_the_mean_spread_and_correlation_of_their_quantities():
    a = Quantity(100.0, "Pa", {LEVEL: 3.0, Cause("a"): 4.0})
    b = Quantity(50.0, "Pa", {LEVEL: -2.0, Cause("b"): 1.0})
    x, y = draws_of((a, b), 200_000, _rng())
    assert x.shape == y.shape == (200_000,)
    assert x.mean() == pytest.approx(100.0, abs=0.05)
    assert x.std() == pytest.approx(5.0, rel=0.01)
    assert np.cov(x, y)[0, 1] == pytest.approx(covariance(a, b), rel=0.03)


def test_a_common_cause_cancels_draw_by_draw():
    a, b = (Quantity(v, "Pa", {LEVEL: 2.0}) for v in (150.0, 100.0))
    x, y = draws_of((a, b), 1000, _rng())
    np.testing.assert_allclose(x - y, 50.0, rtol=1e-12)


def test_the_same_seed_gives_the_same_answer():
    a = Quantity(2.0, "1", {LEVEL: 0.1})
    one, other = (
        propagate_by_draws(np.exp, a, unit="1", method="exp", draws=1000, rng=_rng())
        for _ in range(2)
    )
    assert one == other


def test_the_split_by_causes_sums_to_the_drawn_spread():
    a = Quantity(0.5, "1", {LEVEL: 0.2, Cause("fit"): 0.1})
    drawn = propagate_by_draws(np.exp, a, unit="1", method="exp", draws=100_000, rng=_rng())
    # Log-normal: sd = mean sqrt(exp(s^2) - 1).
    s2 = 0.2**2 + 0.1**2
    assert drawn.standard_uncertainty == pytest.approx(
        np.exp(0.5 + s2 / 2) * np.sqrt(np.expm1(s2)), rel=0.02
    )
    assert drawn.contributions[LEVEL] / drawn.contributions[Cause("fit")] == pytest.approx(2.0)
    z = 1.959964 * np.sqrt(s2)
    np.testing.assert_allclose(
        drawn.coverage_interval, (np.exp(0.5 - z), np.exp(0.5 + z)), rtol=0.02
    )


def test_at_an_extremum_the_spread_is_not_lost():
    a = Quantity(0.0, "1", {LEVEL: 1.0})
    drawn = propagate_by_draws(np.square, a, unit="1", method="square", draws=100_000, rng=_rng())
    assert drawn.value == 0.0
    assert drawn.standard_uncertainty == pytest.approx(np.sqrt(2.0), rel=0.03)  # chi-square, 1
    low, high = drawn.coverage_interval
    assert 0.0 <= low < 0.01
    assert high == pytest.approx(5.02, rel=0.05)  # its 97.5 % quantile


def test_exact_inputs_give_an_exact_result():
    drawn = propagate_by_draws(
        np.sqrt, exact(4.0, "1"), unit="1", method="root", draws=100, rng=_rng()
    )
    assert (drawn.value, drawn.standard_uncertainty) == (2.0, 0.0)
    assert drawn.coverage_interval == (2.0, 2.0)


def test_cautions_come_along():
    caution = Caution("clipping", "at 400 bar")
    a = Quantity(1.0, "1", {LEVEL: 0.1}, cautions=(caution,))
    drawn = propagate_by_draws(np.exp, a, unit="1", method="exp", draws=100, rng=_rng())
    assert drawn.cautions == (caution,)


def test_a_model_that_breaks_inside_the_spread_of_its_inputs_is_refused():
    a = Quantity(1.0, "1", {LEVEL: 1.0})

    def root(x):
        return np.where(np.asarray(x) >= 0.0, np.sqrt(np.abs(x)), np.nan)

    with pytest.raises(ValueError, match="not finite"):
        propagate_by_draws(root, a, unit="1", method="root", draws=1000, rng=_rng())


@settings(max_examples=30, deadline=None)
@given(st.integers(1, 5), st.integers(1, 5), st.integers(0, 2**32))
def test_drawn_inputs_scatter_together_as_their_causes_say(inputs, causes, start):
    """The covariance of draws against sum of u u^T over the causes (JCGM 102:2011, 6.2.1.3).

    The scatter of a sample covariance of n normal draws is sqrt((v_ij^2 + v_ii v_jj) / n)
    (T. W. Anderson, An Introduction to Multivariate Statistical Analysis, 3.4).
    """
    rng = np.random.default_rng(start)
    parts = rng.normal(size=(inputs, causes)) * (rng.random((inputs, causes)) < 0.6)
    names = [Cause(f"cause {number}") for number in range(causes)]
    quantities = tuple(
        Quantity(10.0 * place, "Pa", dict(zip(names, row.tolist(), strict=True)))
        for place, row in enumerate(parts)
    )
    count = 40_000
    drawn = np.stack(draws_of(quantities, count, rng))
    expected = parts @ parts.T
    sizes = np.diag(expected)
    scatter = np.sqrt((expected**2 + np.outer(sizes, sizes)) / count)
    assert (np.abs(np.cov(drawn).reshape(inputs, inputs) - expected) <= 6.0 * scatter + 1e-12).all()
    means = np.array([quantity.value for quantity in quantities])
    assert (np.abs(drawn.mean(axis=1) - means) <= 6.0 * np.sqrt(sizes / count) + 1e-9).all()
