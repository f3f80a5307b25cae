"""Values printed in two units are held against each other."""

from __future__ import annotations

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from nozzlewright.edge.intake.printed import UNITS, Kind, cross_check, one_value, read_printed
from nozzlewright.edge.intake.sheet import read_sheet
from nozzlewright.edge.intake.toml_schema import Objection
from nozzlewright.errors import SheetFault
from nozzlewright.measurement.units import PSI, TECHNICAL_ATMOSPHERE

MISPRINTS = [
    pytest.param(
        "125 kgf/cm² (1978 psi)", "1778 psi",
        id="3-cylinder industrial engine manual: 1978 psi stands for 1778",
    ),
    pytest.param(
        "40 Nm (33 lbf·ft)", "29.5 lbf ft",
        id="5-litre genset manual: 40 Nm stands beside 33 lbf ft",
    ),
    pytest.param(
        "0.15 mm (0.005 in)", "0.005906 in",
        id="TM 10-4320-309-14, section 5-3: 0.15 mm stands beside 0.005 in",
    ),
    pytest.param(
        "10 bar per 1.0 mm (145 psi per 0.004 in)", "98.4 bar/mm",
        id="invented after TM 10-4320-309-14: effect for 1.0 mm that belongs to 0.1 mm",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("text", "shows"), MISPRINTS)
def test_a_misprint_is_caught_and_both_are_shown_converted(text, shows):
    _, objections = cross_check(text, None)

    assert len(objections) == 1
    assert shows in objections[0].what
    assert "misprint" in objections[0].remedy


SOUND = [
    pytest.param("125 kgf/cm2 (1778 psi)", id="the misprint mended"),
    pytest.param("40 Nm (30 lbf ft)", id="rounded to whole lbf ft"),
    pytest.param("20.7 ± 0.35 MPa (3000 ± 50 psi)", id="ASTM D5275, 9.1"),
    pytest.param("14.22-15.00 MPa (145-153 kgf/cm2)", id="small industrial engine manual"),
    pytest.param("16.18 to 16.77 MPa (165 to 171 kgf/cm2)", id="car manual"),
    pytest.param("2500 psi (172 bar)", id="zeros that fill the place"),
    pytest.param("81-102 Nm (60-75 lbf ft)", id="TM 6115-545-34, p. 352"),
    pytest.param("1,778 psi (125 kgf/cm2)", id="comma as separator of thousands"),
    pytest.param("14,22 MPa (145 kgf/cm2)", id="decimal comma"),
    pytest.param("175-183 bar", id="one unit only"),
    pytest.param("7.0 to 3.5 MPa (1015 to 508 psi)", id="TM 5-2815-232-14, falling range"),
    pytest.param("set at 175 bar in 10 s at 40 °C", id="at and in as words"),
    pytest.param("20 bar below, then 5 psi of nothing else", id="two values, not one in two units"),
]


@pytest.mark.parametrize("text", SOUND)
def test_what_agrees_within_its_printed_digits_is_no_fault(text):
    _, objections = cross_check(text, None)

    assert objections == []


def test_an_atmosphere_must_be_said_to_be_technical_or_standard():
    _, objections = cross_check("175 atm", None)

    assert "171.6 bar as technical, 177.3 bar as standard" in objections[0].what
    assert 'atmosphere = "technical"' in objections[0].remedy
    assert one_value("175 atm", Kind.PRESSURE, "technical").first[0].value == 171.616375e5
    assert one_value("175 atm", Kind.PRESSURE, "standard").first[0].value == pytest.approx(
        177.31875e5
    )


def test_a_bare_at_is_asked_for_just_the_same():
    _, objections = cross_check("175 at", None)

    assert len(objections) == 1


def test_a_second_unit_beside_tells_which_atmosphere_fits():
    _, technical = cross_check("175 atm (172 bar)", None)
    _, standard = cross_check("175 atm (177 bar)", None)

    assert "fits the technical atmosphere" in technical[0].remedy
    assert "fits the standard atmosphere" in standard[0].remedy


def test_an_atmosphere_of_the_wrong_sort_is_a_mismatch():
    _, objections = cross_check("175 atm (172 bar)", "standard")

    assert "do not agree" in objections[0].what


def test_a_key_that_differs_from_what_is_printed_is_a_fault(tmp_path):
    path = tmp_path / "sheet.toml"
    path.write_text(
        'title = "t"\ninjector = "i"\nsource = "s"\n[opening]\nlower = "175 bar"\n'
        'upper = "183 bar"\nprinted = "175 to 193 bar (2538 to 2799 psi)"\n',
        encoding="utf-8",
    )

    with pytest.raises(SheetFault, match="upper is 183 bar") as caught:
        read_sheet(path)
    assert "'175 to 193 bar'" in str(caught.value)


# --- units against a general library -----------------------------------------------------------

LIBRARY_NAMES = {
    "Pa": "pascal", "hPa": "hectopascal", "kPa": "kilopascal", "MPa": "megapascal",
    "mbar": "millibar", "bar": "bar", "psi": "psi",
    "kgf/cm2": "kilogram_force / centimeter ** 2", "technical atm": "technical_atmosphere",
    "standard atm": "standard_atmosphere",
    "Nm": "newton * meter", "lbf ft": "pound_force * foot", "lbf in": "pound_force * inch",
    "kgf m": "kilogram_force * meter", "kgf cm": "kilogram_force * centimeter",
    "mm": "millimeter", "µm": "micrometer", "in": "inch",
    "mm2/s": "millimeter ** 2 / second", "mm3/bar": "millimeter ** 3 / bar",
    "cm3/bar": "centimeter ** 3 / bar", "N/mm": "newton / millimeter", "N/m": "newton / meter",
    "kgf/mm": "kilogram_force / millimeter", "lbf/in": "pound_force / inch",
    "N": "newton", "kgf": "kilogram_force", "lbf": "pound_force",
}  # fmt: skip
SI = {
    Kind.PRESSURE: "pascal", Kind.TORQUE: "newton * meter", Kind.LENGTH: "meter",
    Kind.VISCOSITY: "meter ** 2 / second", Kind.COMPLIANCE: "meter ** 3 / pascal",
    Kind.RATE: "newton / meter", Kind.FORCE: "newton",
}  # fmt: skip


@pytest.mark.parametrize("unit", {one.name: one for one in UNITS.values() if not one.ask}.values(),
                         ids=lambda unit: f"pint: {unit.name}")  # fmt: skip
def test_every_unit_has_the_size_that_a_general_library_gives_it(unit):
    registry = pint.UnitRegistry()

    library = registry.Quantity(1.0, LIBRARY_NAMES[unit.name]).to(SI[unit.kind]).magnitude

    assert unit.si == pytest.approx(library, rel=1e-9)


# --- laws --------------------------------------------------------------------------------------


@given(st.integers(10, 4000))
def test_a_pressure_converted_and_rounded_to_whole_psi_always_agrees(kgf):
    psi = round(kgf * TECHNICAL_ATMOSPHERE / PSI)

    _, objections = cross_check(f"{kgf} kgf/cm2 ({psi} psi)", None)

    assert objections == []


@given(st.integers(101, 999).filter(lambda n: n % 10), st.sampled_from([10, 100]))
def test_a_wrong_digit_in_the_tens_or_hundreds_is_always_caught(kgf, slip):
    psi = round(kgf * TECHNICAL_ATMOSPHERE / PSI)
    wrong = psi + 2 * slip

    _, objections = cross_check(f"{kgf}.0 kgf/cm2 ({wrong}.0 psi)", None)

    assert len(objections) == 1


def _objection(read, *arguments):
    """Return what was objected, or None; any other exception is an error."""
    try:
        read(*arguments)
    except Objection as objection:
        return objection
    return None


@given(st.text(max_size=60))
def test_any_text_is_read_or_objected_to(text):
    objection = _objection(read_printed, text)

    assert objection is None or objection.remedy


VALUE_LIKE = r"[0-9.,]{1,12} ?(bar|psi|at|in|mm|Nm|kg)( ?[(/] ?[0-9.,]{1,8} ?(bar|psi)\)?)?"


@given(st.from_regex(VALUE_LIKE), st.sampled_from(list(Kind)))
def test_any_value_like_text_is_read_or_objected_to(text, kind):
    objection = _objection(one_value, text, kind, None)

    assert objection is None or (objection.what and objection.remedy)
