"""Certificates from tables: how they may be written, what is told of a bad one, round trips."""

from __future__ import annotations

import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nozzlewright.bench import Certificate, CertificateRow
from nozzlewright.edge.intake.certificate import (
    certificate_of_gauge,
    certificate_text,
    read_certificate,
)
from nozzlewright.edge.wiring.certificate import card_with_certificate, view_of
from nozzlewright.edge.wiring.rig_card import checked_card
from nozzlewright.errors import ConditionsFault, UploadFault

BAR = 1e5
PLAIN = "reference [bar],up,down,U (k=2)\n0,0.2,0.5,0.3\n100,100.4,100.9,0.3\n200,200.6,201.0,0.4\n"


def rows_of(text, unit_pa=BAR):
    raw = text if isinstance(text, bytes) else text.encode()
    return [
        tuple(
            None if one is None else round(one / unit_pa, 6)
            for one in (row.reference_pa, row.up_pa, row.down_pa, row.standard_uncertainty_pa)
        )
        for row in read_certificate(raw).rows
    ]


EXPECTED = [(0, 0.2, 0.5, 0.15), (100, 100.4, 100.9, 0.15), (200, 200.6, 201.0, 0.2)]


@pytest.mark.parametrize(
    "text",
    [
        pytest.param(PLAIN, id="plain"),
        pytest.param(PLAIN.replace(",", ";").replace(".", ","), id="semicolons, decimal comma"),
        pytest.param(PLAIN.replace(",", "\t"), id="tabs"),
        pytest.param("\ufeff" + PLAIN.replace("\n", "\r\n"), id="byte order mark, CRLF"),
        pytest.param(PLAIN.encode("utf-16"), id="UTF-16"),
        pytest.param(
            "U (k=2);abwärts;aufwärts;Bezugswert [bar]\n"
            "0,3;0,5;0,2;0\n0,3;100,9;100,4;100\n0,4;201,0;200,6;200\n".encode("cp1252"),
            id="German headings, other order, cp1252",
        ),
        pytest.param(
            "reference,increasing,decreasing,expanded uncertainty,k,unit\n0,0.2,0.5,0.45,3,bar\n"
            "100,100.4,100.9,0.45,3,bar\n20,20.06,20.1,0.06,3,MPa\n",
            id="k and unit in columns of their own",
        ),
        pytest.param(
            "# unit: bar\n# k = 2\nreference,up,down,uncertainty,error\n0,0.2,0.5,0.3,0.35\n"
            "100,100.4,100.9,0.3,0.65\n200,200.6,201.0,0.4,0.8\n",
            id="unit and k in remarks, a column that follows from the others",
        ),
        pytest.param(
            "reference [MPa],up,down,U (k=2)\n0,0.02,0.05,0.03\n10,10.04,10.09,0.03\n"
            "20,20.06,20.1,0.04\n",
            id="MPa",
        ),
        pytest.param(
            "reference [bar];indicated;U (k=2)\n0;0,2;0,3\n100;100,4;0,3\n200;200,6;0,4\n"
            "200;201,0;0,4\n100;100,9;0,3\n0;0,5;0,3\n",
            id="a series up and down again in one column",
        ),
        pytest.param(
            "reference [bar],up,down,U (k=2)\n200,200.6,201.0,0.4\n0,0.2,0.5,0.3\n"
            "100,100.4,100.9,0.3\n",
            id="not in order",
        ),
    ],
)  # fmt: skip
def test_a_table_is_understood_as_it_is_written(text):
    assert rows_of(text) == EXPECTED


def test_what_was_done_to_a_table_is_told():
    unsorted = read_certificate(
        b"reference [bar],indicated,U\n200,200.6,0.4\n0,0.2,0.3\n100,100.4,0.3\n"
    )
    assert any("order of the reference" in text for text in unsorted.remarks)
    assert any("k = 2 is taken" in text for text in unsorted.remarks)


def test_number_gauge_laboratory_and_date_are_read_from_remarks():
    found = read_certificate(
        b"# number: C-7\n# gauge: G-7\n# laboratory: own\n# calibrated on: 2026-01-05\n"
        + PLAIN.encode()
    )
    assert (found.number, found.gauge, found.laboratory) == ("C-7", "G-7", "own")
    assert found.calibrated_on == "2026-01-05"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", ["the file is empty"]),
        ("reference [bar],up\n0,0\n100,100\n", ["no column for expanded uncertainty (U)"]),
        ("up [bar],down,U\n0,0,1\n", ["no column for reference"]),
        ("reference [bar],U\n0,1\n", ["no column for what the gauge showed"]),
        ("reference,up,U\n0,0,1\n100,100,1\n", ["no unit of pressure is stated"]),
        ("reference [bara],up,U\n0,0,1\n100,100,1\n", ["absolute pressure"]),
        ("reference [bar],up [psi],U\n0,0,1\n1,1,1\n", ["several units: bar, psi"]),
        ("reference,up,U,unit\n0,0,1,furlong\n1,1,1,bar\n", ["line 2: 'furlong' is not a unit"]),
        (PLAIN.replace("100.4", "1OO.4"), ["line 3: '1OO.4' is not a number (up)"]),
        (PLAIN.replace("100.4,100.9", ","), ["line 3: nothing says what the gauge showed"]),
        (PLAIN.replace("0.9,0.3", "0.9,0"), ["line 3: the uncertainty is zero or less"]),
        (PLAIN.replace("0.9,0.3", "0.9,"), ["line 3: there is nothing under uncertainty"]),
        (PLAIN.replace("\n100,", "\n-100,"), ["line 3: the reference is below zero"]),
        (PLAIN.replace("\n200,", "\n100,"), ["line 4: the reference 100 bar", "csv, line 3)"]),
        ("reference [bar],up,U (k=2)\n0,0,1\n", ["there is only 1 row"]),
        ("reference [bar],up,U (k=2)\n", ["there is no row"]),
        (PLAIN.replace("(k=2)", "(k=20)"), ["line 2: a coverage factor of 20 is none"]),
        ("reference [MPa],up,U (k=2)\n5,51,1\n10,102,1\n20,204,1\n",
         ["10.2 times the reference: MPa against kgf/cm2"]),
        ("reference [bar],up,up 2,U\n0,0,0,1\n1,1,1,1\n", ["two columns say the same"]),
        ("reference [bar],up,U\n0,0,1\n1e9,1e9,1\n", ["a pressure is over 10000 bar"]),
        ("reference [bar],up,down,U\nx,0,y,1\n5,z,5,0\n", ["'x' is", "'y' is", "'z' is"]),
        (b"\x00\x01\x02PK", ["not a table in plain text"]),
        ("reference [bar],up,U\n" + "1,1,1\n" * 500, ["there are 500 rows"]),
    ],
)  # fmt: skip
def test_a_bad_table_is_told_with_its_lines_all_together(text, says):
    raw = text if isinstance(text, bytes) else text.encode()
    with pytest.raises(UploadFault) as told:
        read_certificate(raw)

    whole = str(told.value)
    for words in says:
        assert words in whole
    assert all(one.remedy for one in told.value.faults)


def read_or_told(content):
    try:
        return read_certificate(content).rows, ()
    except UploadFault as told:
        return (), told.faults


@given(st.binary(max_size=400) | st.text(max_size=400).map(str.encode))
def test_whatever_is_sent_is_a_certificate_or_a_fault(content):
    found, faults = read_or_told(content)
    assert all(one.what and one.where and one.remedy for one in faults)
    assert bool(faults) != (len(found) >= 2)


@given(st.lists(st.sampled_from([*"0123456789,.;\n-", "bar", "up", "reference", "U"]), max_size=80))
def test_whatever_stands_under_the_headings_is_a_row_or_a_fault(parts):
    content = ("reference [bar];up;down;U (k=2)\n" + "".join(parts)).encode()
    found, faults = read_or_told(content)
    assert all(one.what and one.where and one.remedy for one in faults)
    assert bool(faults) != bool(found)
    assert all(row.standard_uncertainty_pa > 0.0 for row in found)


# -- round trips -----------------------------------------------------------------------------------

_millibar = st.integers(-500, 500).map(lambda number: number / 1000.0)


@st.composite
def certificates(draw):
    # A bar off at the top is no slip of the unit: no gauge of a bench ends below 20 bar.
    top = draw(st.integers(20, 400))
    references = [*sorted(draw(st.sets(st.integers(0, top - 1), min_size=1, max_size=8))), top]
    one_way = draw(st.booleans())
    rows = []
    for reference in references:
        up = reference + draw(_millibar)
        down = None if one_way else up + draw(st.integers(1, 500)) / 1000.0
        u = draw(st.integers(1, 400)) / 1000.0
        rows.append(
            CertificateRow(
                reference * BAR, u * BAR, round(up * BAR, 3), down and round(down * BAR, 3)
            )
        )
    return Certificate(tuple(rows), number="C-7", gauge="G-7", calibrated_on="2026-01-05")


def alike(one, other):
    return [
        tuple(
            None if x is None else round(x, 2)
            for x in (row.reference_pa, row.up_pa, row.down_pa, row.standard_uncertainty_pa)
        )
        for row in one.rows
    ] == [
        tuple(
            None if x is None else round(x, 2)
            for x in (row.reference_pa, row.up_pa, row.down_pa, row.standard_uncertainty_pa)
        )
        for row in other.rows
    ]


@given(certificates(), st.sampled_from(["bar", "MPa", "kgf/cm2", "psi", "kPa", "Pa"]))
def test_a_certificate_that_is_written_is_read_again(certificate, unit):
    back = read_certificate(certificate_text(certificate, unit).encode())

    assert alike(back, certificate)
    assert (back.number, back.gauge, back.calibrated_on) == ("C-7", "G-7", "2026-01-05")


CARD = b"""# our rig
[sitting]
date = 2026-03-04
fitter = "A. N. Other"

[gauge]            # the new one
id = "G-7"         # on its back
range_bar = 400
class = 1.0
certificate = [[0, 0.1, 0.5], [400, 400.5, 0.5]]
certificate_k = 3
calibrated_on = 2025-03-04
next_calibration_on = 2026-03-04
resolution_bar = 0.1  # read to this

[rig]
id = "R-1"         # blue
volume_cm3 = 30
"""


def same_points(found, expected):
    """Alike to a thousandth of a pascal: a number of bar does not reach every last bit."""
    for one, other in zip(found, expected, strict=True):
        for name in ("reference_pa", "indicated_pa", "standard_uncertainty_pa", "hysteresis_pa"):
            assert getattr(one, name) == pytest.approx(getattr(other, name), abs=2e-3)


@given(certificates())
def test_a_certificate_on_a_card_comes_back_point_by_point(certificate):
    gauge = checked_card(card_with_certificate(CARD, certificate), "card").gauge

    same_points(gauge.certificate, certificate.points)
    assert alike(certificate_of_gauge(gauge), certificate)
    again = card_with_certificate(CARD, certificate_of_gauge(gauge))
    same_points(checked_card(again, "card").gauge.certificate, certificate.points)


def test_all_else_on_the_card_stays_remarks_too():
    certificate = read_certificate(b"# number: C-8\n# calibrated on: 2026-03-01\n" + PLAIN.encode())
    text = card_with_certificate(CARD, certificate, next_calibration_on="2027-03-01").decode()

    for kept in ("# our rig", "# the new one", "# on its back", "# read to this", "# blue"):
        assert kept in text
    card = tomllib.loads(text)
    before = tomllib.loads(CARD.decode())
    assert card["rig"] == before["rig"]
    assert card["sitting"] == before["sitting"]
    gauge = card["gauge"]
    assert gauge["certificate"][1] == [100.0, 100.65, 0.3, 0.5]
    assert gauge["certificate_k"] == 2.0
    assert gauge["certificate_number"] == "C-8"
    assert str(gauge["calibrated_on"]) == "2026-03-01"
    assert str(gauge["next_calibration_on"]) == "2027-03-01"
    assert gauge["class"] == 1.0


def test_the_date_of_the_next_calibration_goes_with_the_certificate_it_belonged_to():
    card = card_with_certificate(CARD, read_certificate(PLAIN.encode()))

    assert "next_calibration_on" not in tomllib.loads(card.decode())["gauge"]


def test_a_drift_is_told_against_the_certificate_that_was_on_the_card():
    gauge = checked_card(CARD, "card").gauge
    table = b"# calibrated on: 2026-03-04\n" + PLAIN.encode()
    view = view_of(table, gauge)
    card = card_with_certificate(CARD, view.certificate, drift=view.drift)
    known = checked_card(card, "card").gauge

    assert known.drift_pa_per_year == pytest.approx(view.drift.per_year_pa, rel=1e-3)
    assert known.used_on == "2026-03-04"
    assert view_of(table, known).drift is None


def test_a_card_without_a_gauge_gets_one_and_a_broken_card_is_told():
    certificate = read_certificate(PLAIN.encode())
    card = card_with_certificate(b'[rig]\nid = "R-2"\n', certificate)
    assert len(checked_card(card, "card").gauge.certificate) == 3
    with pytest.raises(ConditionsFault):
        card_with_certificate(b"[rig\n", certificate)
