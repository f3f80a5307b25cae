from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from pydantic import TypeAdapter

from nozzlewright.edge.intake.toml_schema import (
    Count,
    IsoDate,
    Objection,
    Positive,
    PositivePressure,
    Pressure,
    Table,
    Text,
    parse_pressure,
    read_toml,
    validated,
)
from nozzlewright.errors import SheetFault


class Window(Table):
    from_bar: PositivePressure
    to_bar: PositivePressure


class Jet(Table):
    holes: Count
    note: Text = ""


class Sheet(Table):
    title: Text
    margin_bar: Pressure | None = None
    seconds: Positive | None = None
    printed_on: IsoDate | None = None
    window: Window | None = None
    jet: tuple[Jet, ...] = ()


def read(tmp_path: Path, text: str) -> Sheet:
    path = tmp_path / "sheet.toml"
    path.write_bytes(text.encode())
    return validated(Sheet, read_toml(path, SheetFault), SheetFault)


def faults(tmp_path: Path, text: str) -> list[str]:
    with pytest.raises(SheetFault) as caught:
        read(tmp_path, text)
    return [str(fault) for fault in caught.value.faults]


# NIST SP 811:2008, appendix B.8: 1 at = 98 066.5 Pa, 1 atm = 101 325 Pa, both exact
@pytest.mark.parametrize(
    ("line", "bar"),
    [
        ("margin_bar = 20", 20.0),
        ("margin_bar = '20 bar'", 20.0),
        ("margin = '20 at'", 19.6133),
        ("margin = '20 technical atm'", 19.6133),
        ("margin = '20 standard atm'", 20.265),
        ("margin_at = 20", 19.6133),
        ("margin_standard_atm = 20", 20.265),
        ("margin_mpa = 2", 20.0),
        ("margin_kgf_cm2 = 20", 19.6133),
        ("margin = '20kgf/cm²'", 19.6133),
        ("margin_psi = 290", 290 * 0.0689475729),
    ],
)
def test_a_margin_is_the_same_in_whatever_unit_it_is_printed(
    tmp_path: Path, line: str, bar: float
) -> None:
    assert read(tmp_path, f"title = 'x'\n{line}\n").margin_bar == pytest.approx(bar, rel=1e-9)


@pytest.mark.parametrize("line", ["margin = '20 atm'", "margin_atm = 20", "margin = '20 Atm.'"])
def test_a_bare_atmosphere_is_asked_about(tmp_path: Path, line: str) -> None:
    (fault,) = faults(tmp_path, f"title = 'x'\n{line}\n")
    assert "line 2" in fault
    assert "technical atm" in fault
    assert "standard atm" in fault


def test_all_faults_come_together_with_their_lines(tmp_path: Path) -> None:
    text = """seconds = -1
margn_bar = 3
printed_on = "next week"

[window]
from = 150
to_bar = "100 at"

[[jet]]
holes = 4
[[jet]]
holes = "five"
note = 3
"""
    found = faults(tmp_path, text)
    starts = [
        "sheet.toml, title: the key 'title' is missing",
        "sheet.toml, line 1, seconds: -1 must be more than 0",
        "sheet.toml, line 2, margn_bar: 'margn_bar' is not a key",
        "sheet.toml, line 3, printed_on: 'next week' is not a date",
        "sheet.toml, line 6, window.from: 150 has no unit",
        "sheet.toml, line 7, window.to_bar: the key says bar, the value says at",
        "sheet.toml, line 12, jet[2].holes: 'five' stands where a whole number belongs",
        "sheet.toml, line 13, jet[2].note: 3 stands where text in quotes belongs",
    ]
    assert len(found) == len(starts)
    for start in starts:
        assert any(fault.startswith(start) for fault in found), (start, found)
    assert any("Did you mean 'margin_bar'?" in fault for fault in found)


def test_one_pressure_written_twice_is_a_fault(tmp_path: Path) -> None:
    (fault,) = faults(tmp_path, "title = 'x'\nmargin_bar = 20\nmargin_at = 20\n")
    assert "written twice (margin_bar and margin_at)" in fault


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("title = 'x'\nseconds = \n", "line 2: this is not valid TOML"),
        ("title = 'x'\ntitle = 'y'", "line 2: this is not valid TOML: cannot overwrite a value"),
        ("x = " + "[" * 5000, "nested too deeply"),
        (".".join("a" * 60_000) + " = 1", "more than 150 dots"),
        ("[" + " . ".join("1" * 60_000) + "]", "more than 150 dots"),
        ("x = {" + '."1.5,"' * 60_000 + " = 1}", "more than 150 dots"),
        ("x = " + "9" * 5000, "not valid TOML"),
        ("title = 'x'\nseconds = nan", "stands where a finite number belongs"),
        ("title = 'x'\nseconds = 0x" + "f" * 5000, "a number beyond any use"),
        ("title = 'x'\nmargin_bar = inf", "beyond any pressure"),
        ("title = 'x'\nmargin = '1,5 MPa'", "decimal point"),
        ("title = 'x'\nwindow = 3", "3 stands where a table belongs"),
    ],
)
def test_a_slip_of_the_pen_is_named_with_its_line(tmp_path: Path, text: str, says: str) -> None:
    found = faults(tmp_path, text)
    assert any(says in fault for fault in found), found


def test_a_file_that_is_missing_or_not_text_is_refused(tmp_path: Path) -> None:
    with pytest.raises(SheetFault, match="no such file"):
        read_toml(tmp_path / "none.toml", SheetFault)
    with pytest.raises(SheetFault, match="folder"):
        read_toml(tmp_path, SheetFault)
    bad = tmp_path / "bad.toml"
    bad.write_bytes(b"a = 1\nb = '\xff\xfe'\n")
    with pytest.raises(SheetFault, match="line 2: the file is not UTF-8"):
        read_toml(bad, SheetFault)


@pytest.mark.parametrize("text", ["bar", "12", "12 furlong", "12 kg", "", "--3 bar", "1e400 bar"])
def test_text_that_is_no_pressure_is_refused(text: str) -> None:
    with pytest.raises(Objection):
        parse_pressure(text)


@pytest.mark.parametrize(
    ("written", "kept"),
    [
        ("2026-03-31", "2026-03-31"),
        ('"20260331"', "2026-03-31"),
        ('"2026-W14-2"', "2026-03-31"),
        ('"2026-03-31 10:05"', "2026-03-31T10:05:00"),
    ],
    ids=["bare", "ISO 8601 basic", "ISO 8601 week", "with the time of day"],
)
def test_a_date_in_any_form_of_the_standard_is_kept_whole(written: str, kept: str) -> None:
    table = TypeAdapter(IsoDate)

    assert table.validate_python(tomllib.loads(f"on = {written}")["on"]) == kept


def test_a_long_row_of_numbers_is_no_key_of_many_dots(tmp_path):
    place = tmp_path / "rows.toml"
    place.write_text(
        "rows = [" + "1.5, -0.25, 1e3, " * 400 + "]\n" + "a.b.c = 1.5 # ... and so on\n"
    )

    assert len(read_toml(place, SheetFault).data["rows"]) == 1200
