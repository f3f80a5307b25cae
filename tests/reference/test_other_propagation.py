"""First-order propagation against the uncertainties library, and against drawing."""

from __future__ import annotations

import math

import numpy as np
import pytest
import uncertainties
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import umath

from nozzlewright.measurement import Cause, Quantity, propagate, propagate_by_draws
from nozzlewright.physics import clearance_from_conductance, drop_time_barus

shares = st.floats(-0.02, 0.02)
values = st.floats(0.5, 20.0)


@given(values, values, values, st.lists(shares, min_size=6, max_size=6))
def test_shared_causes_propagate_as_in_the_uncertainties_library(a, b, c, parts):
    """LIB: uncertainties 3, three inputs built on three common variables."""
    common = [uncertainties.ufloat(0.0, 1.0) for _ in range(3)]
    causes = [Cause(name) for name in ("gauge level", "temperature", "repeatability")]
    mine, theirs = [], []
    for value, first, second, (i, j) in zip(
        (a, b, c), parts[:3], parts[3:], ((0, 1), (1, 2), (2, 0)), strict=True
    ):
        mine.append(Quantity(value, "1", {causes[i]: first * value, causes[j]: second * value}))
        theirs.append(value * (1.0 + first * common[i] + second * common[j]))
    got = propagate(
        lambda x, y, z: x * math.log(y + 1.0) / z + math.sqrt(x), *mine, unit="1", method="test"
    )
    x, y, z = theirs
    expected = x * umath.log(y + 1.0) / z + umath.sqrt(x)
    assert got.value == pytest.approx(expected.nominal_value, rel=1e-12)
    # Ours is a difference over one standard uncertainty, theirs a derivative: second order apart.
    size = max(math.hypot(*parts), 1e-9) * (abs(expected.nominal_value) + 1.0)
    assert got.standard_uncertainty == pytest.approx(expected.std_dev, abs=4e-3 * size * 3)


def test_drawing_and_first_order_agree_on_a_drop_time():
    """JCGM 101:2008 against JCGM 100:2008 where the model is nearly straight."""
    level = Cause("gauge level", "one sitting")
    inputs = (
        Quantity(150e5, "Pa", {level: 1e5, Cause("resolution", "start"): 0.3e5}),
        Quantity(100e5, "Pa", {level: 1e5, Cause("resolution", "end"): 0.3e5}),
        Quantity(70.0, "s", {Cause("fit"): 1.0}),
        Quantity(12e-9, "1/Pa", {Cause("fluid"): 1.2e-9}),
    )
    first = propagate(drop_time_barus, *inputs, unit="s", method="Barus")
    drawn = propagate_by_draws(
        drop_time_barus,
        *inputs,
        unit="s",
        method="Barus",
        draws=200_000,
        rng=np.random.default_rng(5),
    )
    assert drawn.value == first.value
    assert drawn.standard_uncertainty == pytest.approx(first.standard_uncertainty, rel=0.01)
    np.testing.assert_allclose(drawn.coverage_interval, first.coverage_interval, rtol=2e-3)
    # The common level nearly cancels: without sharing, the time would be four times less sure.
    apart = propagate(
        drop_time_barus,
        Quantity(150e5, "Pa", {Cause("gauge level", "a"): 1e5}),
        Quantity(100e5, "Pa", {Cause("gauge level", "b"): 1e5}),
        *inputs[2:],
        unit="s",
        method="Barus",
    )
    assert dict(first.contributions)[level] ** 2 < sum(
        apart.contributions[Cause("gauge level", s)] ** 2 for s in "ab"
    )


def test_drawing_sees_the_skew_that_first_order_cannot():
    """A cube root of an ill-known conductance: the interval is not symmetrical."""
    conductance = Quantity(1e-16, "m^3/(s Pa)", {Cause("fit"): 0.3e-16})

    def clearance(G):
        return clearance_from_conductance(np.maximum(G, 0.0), 6e-3, 20e-3, 3.1e-3)

    drawn = propagate_by_draws(
        clearance, conductance, unit="m", method="clearance", draws=100_000,
        rng=np.random.default_rng(7),
    )  # fmt: skip
    low, high = drawn.coverage_interval
    expected = [clearance(1e-16 * (1 + 0.3 * z)) for z in (-1.959964, 1.959964)]
    np.testing.assert_allclose((low, high), expected, rtol=6e-3)
    assert drawn.value - low > 1.3 * (high - drawn.value)
