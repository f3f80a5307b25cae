"""The command ``nozzlewright study``: a table in, words or data out, faults in plain words."""

from __future__ import annotations

import csv
import json
import re
from pathlib import Path

import pytest

from nozzlewright.edge.cli import main

ROOT = Path(__file__).parents[2]
REFERENCE = ROOT / "tests" / "reference"


def table(tmp_path, name, header, rows, sign=","):
    path = tmp_path / name
    lines = [sign.join(header), *(sign.join(map(str, row)) for row in rows)]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


@pytest.fixture
def published(tmp_path):
    """The worked example of AIAG's manual (2010), as a table of this command."""
    with (REFERENCE / "aiag_gauge_study.csv").open(encoding="utf-8") as file:
        rows = [
            (column[1:], row["fitter"], value)
            for row in csv.DictReader(file)
            for column, value in row.items()
            if column.startswith("p")
        ]
    return table(tmp_path, "aiag.csv", ("part", "fitter", "reading"), rows)


def plain(text: str) -> str:
    return " ".join(text.replace("\N{NO-BREAK SPACE}", " ").split())


def test_the_published_example_in_words(published, capsys):
    assert main(["study", str(published)]) == 0
    said = plain(capsys.readouterr().out)

    # AIAG, 4th edition (2010): GRR 0.30237, 7.76 % of the variance, ndc 4.861, pooled.
    assert "10 injectors, 3 fitters, 3 times each" in said
    assert re.search(r"GRR rig and fitters together: 0\.30 \(0\.23 to 1\.5\), 7\.8 % of", said)
    assert "4 groups of these injectors can be told apart (4.86, cut off; interval" in said
    assert "B on injector 4: the repeats lie 1.0 apart" in said
    assert "pooled with the repeats" in said
    assert "A reads highest, C lowest: 0.44 apart" in said
    # The same report sheet by averages and ranges: GRR 0.30577, PV 1.10460.
    assert "averages and ranges, as done on paper: rig and fitters 0.31, injectors 1.1" in said


def test_the_published_example_as_data(published, capsys):
    assert main(["study", str(published), "--json", "--tolerance", "4"]) == 0
    data = json.loads(capsys.readouterr().out)

    assert data["schema"] == "nozzlewright/fitter-study/1"
    shares = data["shares"]
    assert shares["repeatability"]["deviation"]["value"] == pytest.approx(0.199933, abs=1e-6)
    assert shares["reproducibility"]["deviation"]["value"] == pytest.approx(0.226838, abs=1e-6)
    assert shares["rig_and_fitters"]["of_tolerance"] == pytest.approx(6 * 0.302373 / 4, abs=1e-5)
    assert data["categories"] == pytest.approx(4.8605, abs=5e-5)
    assert data["distinct_categories"] == 4
    assert data["by_ranges"]["categories"] == pytest.approx(5.094, abs=2e-3)
    assert data["squares"][0]["sum_of_squares"] == pytest.approx(88.36193, rel=1e-6)


GRADES = [
    (part, fitter, grade)
    for part, grade in ((1, "dry"), (2, "Damp"), (3, "drop"), (4, "dry"))
    for fitter in ("A", "B")
]


def test_grades_in_words_and_as_data(tmp_path, capsys):
    path = table(tmp_path, "tips.csv", ("injector", "operator", "grade"), GRADES)

    assert main(["study", str(path)]) == 0
    assert "On 100 % of the injectors" in plain(capsys.readouterr().out)
    assert main(["study", str(path), "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["grades"] == ["dry", "damp", "drop"]
    assert data["kappa"]["value"]["value"] == 1.0
    assert data["divided_on"] == []


def test_grades_of_ones_own_need_their_order(tmp_path, capsys):
    own = [(part, fitter, "soft" if part % 2 else "hard") for part in (1, 2) for fitter in "AB"]
    path = table(tmp_path, "own.csv", ("part", "fitter", "grade"), own)

    assert main(["study", str(path)]) == 2
    assert "the order of the grades is not known: hard, soft" in capsys.readouterr().err
    assert main(["study", str(path), "--grades", "soft,hard"]) == 0


READINGS = [
    (part, fitter, 2500 + 20 * part + 3 * round_ + (4 if fitter == "B" else 0))
    for part in (1, 2, 3)
    for fitter in ("A", "B")
    for round_ in (0, 1)
]


@pytest.mark.parametrize(
    ("heading", "options", "unit"),
    [
        pytest.param("reading_psi", [], "psi", id="in the heading"),
        pytest.param("Reading (psi)", [], "psi", id="in brackets"),
        pytest.param("reading", ["--unit", "psi"], "psi", id="by the option"),
        pytest.param("drop_s", [], "s", id="seconds"),
        pytest.param("opening_bar", [], "bar", id="bar"),
    ],
)
def test_the_unit_of_the_table_is_that_of_the_words(tmp_path, capsys, heading, options, unit):
    path = table(tmp_path, "t.csv", ("part", "fitter", heading), READINGS)
    assert main(["study", str(path), *options, "--tolerance", "100"]) == 0
    said = plain(capsys.readouterr().out)

    assert f"of the 100 {unit} that are allowed" in said
    spread = re.search(r"one fitter, again and again \(repeatability\): ([\d.]+)", said)
    # By hand: six pairs 3 apart have squares of 27, over 6 degrees of freedom and the 2 pooled.
    assert float(spread[1]) == pytest.approx((27 / 8) ** 0.5, abs=0.05)


def test_the_table_may_be_as_a_spreadsheet_of_another_country_writes_it(tmp_path, capsys):
    rows = [(p, f, str(value / 10).replace(".", ",")) for p, f, value in READINGS]
    path = table(tmp_path, "t.csv", ("part", "fitter", "reading"), rows, ";")
    path.write_bytes(b"\xef\xbb\xbf# ours\n" + path.read_bytes().replace(b"\n", b"\r\n"))
    same = table(tmp_path, "s.csv", ("part", "fitter", "reading"),
                 [(p, f, value / 10) for p, f, value in READINGS])  # fmt: skip

    assert main(["study", str(path)]) == 0
    ours = capsys.readouterr().out
    assert main(["study", str(same)]) == 0
    assert capsys.readouterr().out == ours


@pytest.mark.parametrize(
    ("text", "said"),
    [
        pytest.param("", ["the file is empty"], id="empty"),
        pytest.param("part,fitter,reading\n", ["no reading under the heading"], id="no rows"),
        pytest.param(
            "a,b\n1,2\n", ["column part", "column fitter", "column reading"], id="no head"
        ),
        pytest.param(
            "part,fitter,reading,reading_bar\n1,A,2,3\n", ["single column reading"], id="two"
        ),
        pytest.param(
            "part,fitter,reading\n1,A,two\n,B,3\n1,B\n",
            ["line 2: 'two' is not a number", "line 3: the column part", "line 4: the column"],
            id="all faults at once",
        ),
        pytest.param(
            "part,fitter,reading_furlong\n1,A,2\n", ["'furlong' is no unit"], id="strange unit"
        ),
        pytest.param("part,fitter,reading\n1,A,nan\n", ["'nan' is not a number"], id="nan"),
        pytest.param(
            "part,fitter,reading\n1,A,1\n1,A,2\n2,A,1\n2,A,2\n1,B,1\n1,B,2\n2,B,4\n",
            ["B on injector 2: 1 of 2"],
            id="a missing reading",
        ),
        pytest.param("part,fitter,reading\n1,A,1\n2,B,2\n", ["readings are missing"], id="holes"),
        pytest.param("part,fitter,grade\n1,A,moist\n", ["order of the grades"], id="own grades"),
        pytest.param("\0\0", ["not text"], id="not text"),
    ],
)
def test_what_cannot_be_used_is_said_with_its_line_and_how_to_mend_it(tmp_path, capsys, text, said):
    path = tmp_path / "faulty.csv"
    path.write_text(text, encoding="utf-8")
    status = main(["study", str(path)])
    error = capsys.readouterr().err

    assert status == 2
    assert all(line.startswith("nozzlewright: ") for line in error.splitlines())
    for one in said:
        assert one in error


def test_many_faults_are_counted_not_printed_by_the_thousand(tmp_path, capsys):
    path = table(tmp_path, "t.csv", ("part", "fitter", "reading"), [(1, "A", "x")] * 500)

    assert main(["study", str(path)]) == 2
    error = capsys.readouterr().err
    assert "and 480 more faults" in error
    assert len(error.splitlines()) == 21


@pytest.mark.parametrize(
    ("options", "said"),
    [
        pytest.param(["--tolerance", "wide"], "'wide' is no width", id="no width"),
        pytest.param(["--tolerance", "-1"], "'-1' is no width", id="below zero"),
        pytest.param(["--tolerance", "inf"], "'inf' is no width", id="endless"),
        pytest.param(["--grades", "dry"], "two grades or more", id="one grade"),
        pytest.param(["--unit", "ell"], "'ell' is no unit", id="no unit"),
    ],
)
def test_options_that_cannot_be_are_refused(tmp_path, capsys, options, said):
    path = table(tmp_path, "t.csv", ("part", "fitter", "reading"), READINGS)

    assert main(["study", str(path), *options]) == 2
    assert said in capsys.readouterr().err


@pytest.mark.parametrize(
    ("unit", "said"),
    [
        ("psi", "the heading says bar, --unit says psi. Leave --unit out"),
        ("ell", "'ell' is no unit"),
        ("BAR", ""),
    ],
)
def test_a_unit_beside_that_of_the_heading_is_never_silently_left_aside(
    tmp_path, capsys, unit, said
):
    path = table(tmp_path, "t.csv", ("part", "fitter", "reading_bar"), READINGS)

    assert main(["study", str(path), "--unit", unit]) == (2 if said else 0)
    assert said in plain(capsys.readouterr().err)


def test_readings_that_are_all_alike_have_no_shares_to_tell(tmp_path, capsys):
    alike = [(part, fitter, 180) for part, fitter, _reading in READINGS]
    path = table(tmp_path, "t.csv", ("part", "fitter", "reading_bar"), alike)
    assert main(["study", str(path)]) == 0
    said = plain(capsys.readouterr().out)

    assert "all readings of a part are alike" in said
    assert "Of what makes the readings differ" not in said


def test_grades_have_no_tolerance(tmp_path, capsys):
    path = table(tmp_path, "tips.csv", ("part", "fitter", "grade"), GRADES)

    assert main(["study", str(path), "--tolerance", "8"]) == 2
    assert "grades have no tolerance" in capsys.readouterr().err


def test_a_file_that_is_not_there_is_said_plainly(tmp_path, capsys):
    assert main(["study", str(tmp_path / "nothing.csv")]) == 2
    assert "cannot be read" in capsys.readouterr().err


def test_every_key_of_the_data_is_documented(tmp_path, published, capsys):
    page = (ROOT / "docs" / "how-to" / "fitter-study.md").read_text("utf-8")
    tips = table(tmp_path, "tips.csv", ("part", "fitter", "grade"), GRADES)
    found = set()
    for path in (published, tips):
        assert main(["study", str(path), "--json"]) == 0
        data = json.loads(capsys.readouterr().out)
        found |= set(data) | set(data.get("shares", {})) | set(data.get("squares", [{}])[0])
        for row in data.get("odd_repeats", []):
            found |= set(row)

    assert len(found) > 25
    assert {key for key in found if f"`{key}`" not in page} == set()


def test_the_table_of_the_how_to_is_one_that_the_command_reads(tmp_path, capsys):
    page = (ROOT / "docs" / "how-to" / "fitter-study.md").read_text("utf-8")
    shown = re.search(r"```text\n(part,.*?)```", page, re.DOTALL)[1]
    path = tmp_path / "shown.csv"
    path.write_text(shown, encoding="utf-8")

    # Three lines of a study: read without fault, and asked for what is missing.
    assert main(["study", str(path)]) == 2
    assert "S. O. Else on injector 1: 1 of 2" in capsys.readouterr().err
