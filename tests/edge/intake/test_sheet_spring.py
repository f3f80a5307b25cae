"""The particulars of the holder's spring on a setting sheet: read, and held against each other."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nozzlewright.edge.intake.sheet import sheet_of
from nozzlewright.edge.intake.sheet_text import sheet_text, sheet_values
from nozzlewright.edge.intake.toml_schema import toml_document
from nozzlewright.errors import SheetFault

HEAD = 'title = "t"\ninjector = "i"\nsource = "s"\n'
# The printed verification sheet of a general spring calculator by EN 13906-1: d 5, De 39.6,
# D 34.6 mm, 9.5 active and 11.5 coils in all, L0 105.8 mm, 88.5 mm under 280 N.
PRINTED = {
    "free_length": '"105.8 mm"',
    "wire_diameter": '"5.000 mm"',
    "outer_diameter": '"39.60 mm"',
    "mean_diameter": '"34.60 mm"',
    "active_coils": "9.5",
    "total_coils": "11.5",
    "load": '"280 N"',
    "loaded_length": '"88.5 mm"',
    "solid_length": '"57.5 mm"',
}


def table(**changes):
    rows = {**PRINTED, **changes}
    return "[spring]\n" + "".join(f"{key} = {value}\n" for key, value in rows.items() if value)


def read(text):
    return sheet_of(toml_document(Path("sheet.toml"), (HEAD + text).encode(), SheetFault))


def faults(text):
    with pytest.raises(SheetFault) as caught:
        read(text)
    return "\n".join(map(str, caught.value.faults))


def test_a_printed_spring_is_read_in_si():
    spring = read(table()).spring

    assert spring.free_length_m == pytest.approx(105.8e-3)
    assert spring.free_length_half_m == pytest.approx(0.05e-3)
    assert spring.coil_diameter_m == pytest.approx(34.6e-3)
    assert (spring.active_coils, spring.total_coils) == (9.5, 11.5)
    assert (spring.load_n, spring.loaded_length_m) == (280.0, pytest.approx(88.5e-3))


def test_a_sheet_without_a_spring_is_as_it_was():
    assert read("").spring is None
    assert read("[spring]\n").spring.free_length_m is None


def test_the_mean_diameter_follows_from_the_outer_one():
    spring = read(table(mean_diameter="")).spring

    assert spring.coil_diameter_m == pytest.approx(34.6e-3)


@pytest.mark.parametrize(
    ("written", "middle", "half"),
    [
        ("50.0 ± 0.3 mm", 50.0, 0.3),
        ("49.7 to 50.3 mm", 50.0, 0.3),
        ("1.969 in", 1.969 * 25.4, 0.0005 * 25.4),
        ("50.0 mm (1.969 in)", 50.0, 0.05),
    ],
)
def test_the_free_length_has_its_tolerance_or_that_of_its_digits(written, middle, half):
    spring = read(f'[spring]\nfree_length = "{written}"').spring

    assert spring.free_length_m * 1e3 == pytest.approx(middle)
    assert spring.free_length_half_m * 1e3 == pytest.approx(half)


@pytest.mark.parametrize(("written", "newtons"), [("280 N", 280.0), ("28.5 kgf", 28.5 * 9.80665),
                                                  ("63 lbf", 63 * 4.4482216152605)])  # fmt: skip
def test_a_load_is_read_in_the_units_of_the_trade(written, newtons):
    text = f'[spring]\nload = "{written}"\nloaded_length = "48 mm"'

    assert read(text).spring.load_n == pytest.approx(newtons)


@pytest.mark.parametrize(
    ("changes", "what"),
    [
        ({"outer_diameter": '"38.60 mm"'}, "is not the outer one less the wire"),
        ({"free_length": '"105.8 mm (4.615 in)"'}, "do not agree"),
        ({"solid_length": '"75.0 mm"'}, "does not fit 11.5 coils"),
        ({"total_coils": "9.5"}, "are not more than 9.5 active ones"),
        ({"loaded_length": ""}, "a load belongs to a loaded_length"),
        ({"loaded_length": '"110 mm"'}, "is not less than free_length"),
        ({"load": '"28.0 N"'}, "by load and lengths it is 1.618 N/mm"),
        ({"wire_diameter": '"0.500 mm"', "mean_diameter": ""}, "can be wound"),
        ({"active_coils": "950"}, "is no number of coils"),
        ({"needle_lift": '"0.25 in"'}, "no needle_lift"),
        ({"load": '"280 mm"'}, "is a length, not a load"),
        ({"free_length": '"106.8 to 105.8 mm"'}, "not from low to high"),
        ({"printed": '"free length 108.5 mm"'}, "as printed there stands"),
        ({"wire": '"5 mm"'}, "'wire' is not a key of this table"),
    ],
)
def test_what_cannot_be_so_is_told(changes, what):
    assert what in faults(table(**changes))


def test_the_rate_of_the_nozzle_table_is_held_against_the_spring():
    rate = '[nozzle]\nspring_rate = "{} N/mm"\n'

    assert read(rate.format("16.2") + table()).spring is not None
    assert "by spring_rate the spring's rate is 161.8 N/mm" in faults(rate.format(161.8) + table())


def test_an_outer_diameter_alone_is_of_no_use_and_that_is_said():
    assert "without that of the wire" in faults('[spring]\nouter_diameter = "15 mm"')


LENGTH = st.integers(100, 900).map(lambda tenths: f"{tenths / 10:.1f} mm")


@given(
    st.fixed_dictionaries(
        {
            "spring_free": LENGTH,
            "needle_lift": st.just("0.25 mm"),
            "spring_active": st.sampled_from(["8", "8.25", "9.5"]),
            "spring_page": st.just("7-16"),
        }
    )
)
def test_what_the_form_says_of_a_spring_comes_back(typed):
    typed = typed | {"title": "t", "injector": "i", "document": "d", "edition": "1"}
    raw = sheet_text(typed)

    assert sheet_values(raw) == typed
    spring = sheet_of(toml_document(Path("sheet.toml"), raw, SheetFault)).spring
    assert spring.free_length_m * 1e3 == pytest.approx(float(typed["spring_free"].split()[0]))
    assert spring.active_coils == float(typed["spring_active"])


def test_the_form_asks_for_the_page_of_the_spring():
    typed = {"title": "t", "injector": "i", "document": "d", "edition": "1", "spring_free": "50 mm"}
    with pytest.raises(SheetFault) as caught:
        sheet_text(typed)

    assert [fault.where for fault in caught.value.faults] == ["spring_page"]
