"""How a value is printed with its uncertainty (JCGM 100:2008, 7.2.6)."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nozzlewright.measurement import decimals_for, rounded_text


@pytest.mark.parametrize(
    ("value", "u", "text"),
    [
        (174.938, 0.2341, "174.94 ± 0.23"),
        (174.938, 2.517, "174.9 ± 2.5"),
        (174.938, 31.7, "175 ± 32"),
        (0.0312, 0.0996, "0.03 ± 0.10"),
        (12.0, 9.96, "12 ± 10"),
        (1_234_567.0, 31_700.0, "1235000 ± 32000"),
        (1_234_567.0, 996.0, "1234600 ± 1000"),
        (-0.001, 0.23, "0.00 ± 0.23"),
        (2.0e-6, 3.1e-8, "0.000002000 ± 0.000000031"),
        (50.0, 0.0, "50"),
    ],
)
def test_two_digits_of_uncertainty_and_the_value_to_the_same_place(value, u, text):
    assert rounded_text(value, u) == text


@given(st.floats(-1e6, 1e6), st.floats(1e-6, 1e5))
def test_what_is_printed_is_off_by_at_most_a_twentieth_of_the_uncertainty(value, u):
    shown, spread = (float(part) for part in rounded_text(value, u).split(" ± "))
    assert abs(shown - value) <= 0.0505 * u + 1e-9 * abs(value)
    assert abs(spread - u) <= 0.0505 * u


@given(st.floats(1e-6, 99.0))
def test_the_number_of_decimals_shows_two_digits(u):
    digits = f"{u:.{decimals_for(u)}f}".replace(".", "").lstrip("0")
    assert len(digits) == 2


def test_no_uncertainty_asks_for_no_more_decimals_than_the_default():
    assert decimals_for(0.0) == 2
    assert decimals_for(float("nan")) == 2
