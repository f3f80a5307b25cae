"""A value as a person types it."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nozzlewright.bench.sums import SUMS
from nozzlewright.edge.intake.typed import read_sum, read_value
from nozzlewright.errors import InputFault

TORQUE = SUMS["torque"].input("wanted")
PRESSURE = SUMS["opening"].input("cylinder")
COILS = SUMS["spring"].input("coils")
ANY = SUMS["units"].input("value")
WHERE = {"wanted": "torque", "coils": "spring", "value": "units"}


@pytest.mark.parametrize(
    ("text", "newton_metres", "sure"),
    [
        ("60Nm", 60.0, 0.0),
        ("60 N·m", 60.0, 0.0),
        ("60,5 nm", 60.5, 0.0),
        ("  60 ± 1 Nm ", 60.0, 1.0),
        ("60 Nm ± 1", 60.0, 1.0),
        ("60 Nm ± 1 Nm", 60.0, 1.0),
        ("60 +/- 1 Nm", 60.0, 1.0),
        ("60+-1Nm", 60.0, 1.0),
        ("60 ± 2 % Nm", 60.0, 1.2),
        ("60 Nm ± 2 %", 60.0, 1.2),
        ("6e1 Nm", 60.0, 0.0),
        ("10 kgf m", 98.0665, 0.0),
        ("10 mkg", 98.0665, 0.0),
        ("100 ft lbs", 135.5817948331400, 0.0),
        ("100 lbf-in", 11.29848290276167, 0.0),
    ],
)
def test_a_torque_is_read_as_it_is_written(text, newton_metres, sure):
    """Factors: NIST SP 811:2008, appendix B."""
    read = read_value(text, TORQUE)

    assert read.quantity.value == pytest.approx(newton_metres, rel=1e-12)
    assert 1.959964 * read.quantity.standard_uncertainty == pytest.approx(sure, rel=1e-6)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "nothing has been entered"),
        ("sixty", "not a number"),
        ("60", "no unit"),
        ("60 bar", "“bar” is not a unit that belongs here"),
        ("60 furlong", "furlong"),
        ("1,500 Nm", "comma"),
        ("60 Nm ± 1 lbf ft", "two units"),
        ("60 ± Nm", "not a number"),
        ("60 60 Nm", "not a number"),
        ("6" * 80, "not a number"),
        ("6\u202e0 Nm", "not a number"),
    ],
)
def test_what_cannot_be_read_is_told_with_the_units_that_are_allowed(text, says):
    with pytest.raises(InputFault) as raised:
        read_value(text, TORQUE)
    (fault,) = raised.value.faults

    assert says in fault.what
    assert fault.where == "wanted"
    if "no unit" in says or "bar" in says or "furlong" in says:
        assert "Nm, kgf m, lbf ft, lbf in" in fault.remedy


def test_an_atmosphere_must_say_which_one_it_is_unless_that_is_the_question():
    with pytest.raises(InputFault, match="does not say which atmosphere"):
        read_value("60 atm", PRESSURE)
    assert read_value("60 standard atm", PRESSURE).quantity.value == pytest.approx(60 * 101325.0)
    assert read_value("60 technical at", PRESSURE).quantity.value == pytest.approx(60 * 98066.5)
    assert read_value("60", PRESSURE, unit="atm").quantity.value == pytest.approx(60 * 101325.0)
    assert read_value("60 atm", ANY).unit.ask


def test_a_unit_in_the_text_goes_before_the_one_beside_the_field():
    assert read_value("60 Nm", TORQUE, unit="lbf ft").quantity.value == 60.0
    assert read_value("60", TORQUE, unit="kgf m").quantity.value == pytest.approx(588.399)


def test_a_field_of_its_own_says_how_sure_a_value_is():
    assert read_value(
        "60", TORQUE, unit="Nm", sure="1,5"
    ).quantity.standard_uncertainty == pytest.approx(1.5 / 1.959964)
    assert read_value(
        "60", TORQUE, unit="Nm", sure="5 %"
    ).quantity.standard_uncertainty == pytest.approx(3.0 / 1.959964)
    with pytest.raises(InputFault) as raised:
        read_value("60", TORQUE, unit="Nm", sure="some")
    assert raised.value.faults[0].where == "wanted_pm"


@pytest.mark.parametrize(
    ("text", "half"),
    [
        ("1778 psi", 0.5),
        ("1780 psi", 5.0),
        ("2500 psi", 12.5),
        ("25.4 psi", 0.05),
        ("2.5e3 psi", 50),
    ],
)
def test_the_last_digit_says_how_finely_a_value_was_printed(text, half):
    """A final zero of a whole number may be fill, up to 0.5 % of it (common practice)."""
    read = read_value(text, ANY)

    assert read.half_digit / read.unit.si == pytest.approx(half)


@given(st.floats(0.01, 1e4), st.sampled_from(["Nm", "lbf ft", "kgf cm"]), st.booleans())
def test_what_is_written_out_is_read_back(number, unit, comma):
    text = f"{number:.4f} {unit}"
    read = read_value(text.replace(".", ",") if comma else text, TORQUE)

    assert read.unit.of_si(read.quantity.value) == pytest.approx(float(f"{number:.4f}"))


@given(st.text(max_size=80), st.sampled_from([TORQUE, COILS, ANY]))
def test_nothing_that_can_be_typed_is_more_than_a_fault(text, one):
    given_values, faults = read_sum(SUMS[WHERE[one.key]], [(one.key, text, "", "")])

    assert len(given_values) + len(faults) == (1 if text.strip() else 0)
    assert all(fault.what and fault.remedy for fault in faults)


def test_all_that_cannot_be_read_is_told_at_once():
    given_values, faults = read_sum(
        SUMS["torque"],
        [("wanted", "60 bar", "", ""), ("wrench", "x", "", ""), ("arm", "5 mm", "", "")],
    )

    assert given_values == {}
    assert [fault.where for fault in faults] == ["wanted", "wrench", "arm"]
