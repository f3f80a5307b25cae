"""``nozzlewright read FILE --budget``."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest

from nozzlewright.edge.cli import main

CARD = Path(__file__).parents[2] / "demo" / "six-in-line" / "cards" / "4-left.toml"


def test_the_whole_budget_is_printed_with_what_to_improve(capsys):
    assert main(["read", str(CARD), "--budget"]) == 0
    shown = capsys.readouterr().out

    assert "What the uncertainty is made of" in shown
    assert "Opening pressure:" in shown
    assert "gauge level" in shown
    assert "Halved, it would be ±" in shown
    assert "calibrated against a better reference" in shown  # the demo's gauge has a certificate
    assert all(len(line) <= 110 for line in shown.splitlines())


def test_as_data_the_budgets_come_beside_the_reading(capsys):
    assert main(["read", str(CARD), "--json"]) == 0
    plain = json.loads(capsys.readouterr().out)
    assert main(["read", str(CARD), "--json", "--budget"]) == 0
    data = json.loads(capsys.readouterr().out)

    assert {key: value for key, value in data.items() if key != "budgets"} == plain
    opening = data["budgets"]["opening"]
    assert opening["unit"] == "bar"
    assert opening["standard_uncertainty"] == pytest.approx(
        data["opening_pressure"]["standard_uncertainty"]
    )
    assert math.fsum(one["share_of_variance"] for one in opening["causes"]) == pytest.approx(1.0)


def test_a_better_gauge_stated_in_the_card_shrinks_its_row(capsys, tmp_path):
    def level_of(grade: str) -> float:
        bench = tmp_path / "bench.toml"
        bench.write_text(f"[gauge]\nrange_bar = 400\nclass = {grade}\n", encoding="utf-8")
        assert main(["read", str(CARD), "--bench", str(bench), "--json", "--budget"]) == 0
        causes = json.loads(capsys.readouterr().out)["budgets"]["opening"]["causes"]
        return next(x["standard_uncertainty"] for x in causes if x["cause"] == "gauge level")

    # EN 837-1: the permissible error is the class in per cent of the span, over root three.
    assert level_of("1.6") == pytest.approx(6.4 / math.sqrt(3.0))
    assert level_of("0.6") == pytest.approx(2.4 / math.sqrt(3.0))


STUDY = "part,fitter,reading_bar\n" + "".join(
    f"{part},{fitter},{170 + 2 * part + bias + 0.8 * repeat}\n"
    for part in range(6)
    for fitter, bias in (("A. N. Other", 0.0), ("S. O. Else", 1.8), ("N. O. Body", -1.1))
    for repeat in range(2)
)
HAND_CARD = """
fitter = "A. N. Other"
smallest_division_bar = 2.0
opening_bar = [175.0, 175.5, 174.5]
"""


def test_a_study_puts_the_fitter_into_the_budget_of_a_hand_card(tmp_path, capsys):
    card, study = tmp_path / "card.toml", tmp_path / "study.csv"
    card.write_text(HAND_CARD)
    study.write_text(STUDY)

    assert main(["read", str(card), "--budget"]) == 0
    without = " ".join(capsys.readouterr().out.split())
    assert "a study of fitters tells both" in without
    assert "Fitter" not in without

    assert main(["read", str(card), "--budget", "--study", str(study)]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "fitter " in told
    assert "repeatability of a reading" in told
    assert "Student's factor" in told
    assert "a study of fitters tells both" not in told

    assert main(["read", str(card), "--json", "--study", str(study)]) == 0
    causes = json.loads(capsys.readouterr().out)["opening_pressure"]["budget"]
    fitter = next(one for one in causes if one["cause"].startswith("fitter ("))
    assert "A. N. Other" in fitter["cause"]
    assert fitter["degrees_of_freedom"] == 10.0  # his level: (6 - 1) (3 - 1)
    of_all = next(one for one in causes if one["cause"].startswith("fitters of the study ("))
    assert 1.0 < of_all["degrees_of_freedom"] <= 2.0


@pytest.mark.parametrize(
    ("texts", "what"),
    [
        ((STUDY, STUDY), "second study of one kind"),
        ((STUDY.replace("reading_bar", "reading"),), "no readings with a unit"),
        (("part,fitter,grade\n1,A,dry\n1,B,dry\n2,A,dry\n2,B,damp\n",), "no readings with a unit"),
        ((STUDY.rsplit("\n", 2)[0] + "\n",), "readings are missing"),
    ],
)
def test_a_table_that_is_no_such_study_is_told(texts, what, tmp_path, capsys):
    card = tmp_path / "card.toml"
    card.write_text(HAND_CARD)
    order = ["read", str(card)]
    for number, text in enumerate(texts):
        path = tmp_path / f"study-{number}.csv"
        path.write_text(text)
        order += ["--study", str(path)]

    assert main(order) == 2
    assert what in capsys.readouterr().err
