from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nozzlewright.measurement import Cause, Caution, NotMeasured, Quantity, exact
from nozzlewright.report.wording import (
    PER_CENT,
    limit_text,
    plain_number,
    printable,
    trade_unit,
    value_text,
)

NBSP = "\N{NO-BREAK SPACE}"


def _plain(text: str) -> str:
    return text.replace(NBSP, " ")


def test_a_pressure_is_printed_in_bar_with_half_of_its_95_per_cent_interval():
    opening = Quantity(174.938e5, "Pa", {Cause("gauge level"): 0.2341e5})

    worded = value_text(opening)

    assert _plain(worded.text) == "174.94 ± 0.46 bar"
    assert _plain(worded.standard_uncertainty) == "0.23 bar"


@pytest.mark.parametrize(
    ("value", "u", "expected"),
    [
        # JCGM 100:2008, 7.2.6: at most two significant digits of the uncertainty.
        (100.02147, 0.00035, "100.02147 ± 0.00069 s"),
        (9.96, 0.5, "9.96 ± 0.98 s"),
        (9.96, 0.51, "10.0 ± 1.0 s"),
        (12345.6, 230.0, "12350 ± 450 s"),
        (-0.001, 0.3, "0.00 ± 0.59 s"),
        (-2.5, 0.3, "−2.50 ± 0.59 s"),
    ],
)
def test_value_and_interval_end_at_the_same_place(value, u, expected):
    assert _plain(value_text(Quantity(value, "s", {Cause("x"): u})).text) == expected


def test_a_lopsided_interval_is_given_by_its_two_ends():
    clearance = Quantity(2.93e-6, "m", {Cause("eccentricity"): 0.3e-6}, interval=(2.1e-6, 3.2e-6))

    assert _plain(value_text(clearance).text) == "2.93 µm (2.10 to 3.20 µm)"


def test_an_interval_without_an_upper_end_says_so():
    value = Quantity(8.0, "s", {Cause("cut short"): 2.0}, interval=(5.0, math.inf))

    assert "any more" in _plain(value_text(value).text)


def test_a_value_taken_as_known_carries_no_interval():
    assert _plain(value_text(exact(50e5, "Pa")).text) == "50 bar"


def test_a_temperature_is_printed_in_degrees_and_its_uncertainty_in_kelvin():
    worded = value_text(Quantity(313.15, "K", {Cause("thermometer"): 0.5}))

    assert _plain(worded.text) == "40.00 ± 0.98 °C"
    assert _plain(worded.standard_uncertainty) == "0.50 K"


def test_a_value_that_was_not_measured_says_why_and_what_to_do():
    worded = value_text(NotMeasured("no hold was found", "shut the pump off"))

    assert not worded.measured
    assert worded.sentence == "not measured, because no hold was found"
    assert worded.remedy == "shut the pump off"


def test_cautions_and_causes_go_with_the_value_the_largest_cause_first():
    value = Quantity(
        10.0, "s", {Cause("fit"): 0.1, Cause("temperature"): 0.3},
        cautions=(Caution("clipping", "the top is cut off"),),
    )  # fmt: skip

    worded = value_text(value)

    assert worded.cautions == ("clipping: the top is cut off",)
    assert [name for name, _ in worded.budget] == ["temperature", "fit"]


@pytest.mark.parametrize(
    ("unit_si", "printed", "factor"),
    [
        ("Pa", "bar", 1e-5),
        ("m", "µm", 1e6),
        ("m^3/(s Pa)", "mm³/(s·bar)", 1e14),
        ("1/s", "1/s", 1.0),
        ("Hz", "Hz", 1.0),
        ("parsec", "parsec", 1.0),
    ],
)
def test_each_si_unit_has_its_trade_unit_and_a_strange_one_is_printed_as_it_stands(
    unit_si, printed, factor
):
    unit = trade_unit(unit_si)

    assert unit.printed == printed
    assert unit.value(1.0) == pytest.approx(factor)


def test_a_share_is_printed_in_per_cent():
    assert _plain(value_text(Quantity(0.083, "1", {Cause("x"): 0.02}), PER_CENT).text) == (
        "8.3 ± 3.9 %"
    )


def test_limits_are_worded_by_which_of_them_there_are():
    assert _plain(limit_text(171e5, 180e5, "Pa")) == "171 to 180 bar"
    assert _plain(limit_text(6.0, None, "s")) == "at least 6 s"
    assert _plain(limit_text(None, 5e5, "Pa")) == "at most 5 bar"
    assert limit_text(None, None, "Pa") == ""


@given(st.floats(-1e4, 1e4), st.floats(1e-6, 1e3))
def test_rounding_takes_away_no_more_than_a_twentieth_of_the_interval(value, u):
    worded = value_text(Quantity(value, "s", {Cause("x"): u}))

    shown = float(worded.value.replace("−", "-"))
    # Two significant digits of U: what rounding takes away is 5 % of U at most.
    assert abs(shown - value) <= 0.051 * 1.96 * u + 1e-9


@given(st.text())
def test_text_from_outside_keeps_no_sign_that_steers_the_paper_or_the_terminal(text):
    clean = printable(text)

    assert not any(ord(sign) < 32 or ord(sign) == 127 for sign in clean)
    assert "\u202e" not in clean
    assert clean == clean.strip(" ")
    assert printable(clean) == clean


def test_plain_numbers_have_no_trailing_zeros():
    assert [plain_number(x) for x in (50.0, 0.05, -1.5)] == ["50", "0.05", "−1.5"]
