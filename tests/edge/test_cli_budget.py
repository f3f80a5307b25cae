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
