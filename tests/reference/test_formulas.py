"""Each formula against a number that somebody else printed."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pint
import pytest

from nozzlewright import physics

HERE = Path(__file__).parent
UNITS = pint.UnitRegistry()


def _rows(name: str) -> list[dict]:
    return json.loads((HERE / name).read_text(encoding="utf-8"))["rows"]


def _si(text: str) -> float:
    """Return '0.4 inch' in SI, by a units library that is not ours."""
    number, _, unit = text.partition(" ")
    return float(UNITS.Quantity(float(number), unit).to_base_units().magnitude)


def _check(row: dict) -> None:
    arguments = {name: _si(text) for name, text in row["arguments"].items()}
    got = getattr(physics, row["function"])(**arguments)
    if "take" in row:
        got = got[row["take"]]
    shown = got / _si(f"1 {row['unit']}")
    if "absolute_tolerance" in row:
        assert shown == pytest.approx(row["expected"], abs=row["absolute_tolerance"], rel=0.0)
    else:
        assert shown == pytest.approx(row["expected"], rel=row["relative_tolerance"], abs=0.0)


@pytest.mark.parametrize(
    "row",
    [
        pytest.param(row, id=f"{row['kind']}: {row['source']}: {row['what']}")
        for row in _rows("formulas.json")
    ],
)
def test_a_formula_gives_the_number_that_its_source_prints(row):
    _check(row)


@pytest.mark.parametrize(
    "row",
    [pytest.param(row, id=f"regression: {row['what']}") for row in _rows("regression.json")],
)
def test_regression_a_formula_gives_the_number_it_gave(row):
    _check(row)


@pytest.mark.parametrize(
    "row",
    [
        row
        for row in _rows("formulas.json") + _rows("regression.json")
        if row["function"] != "d341_constants"  # takes two points at a time
    ],
    ids=lambda row: row["what"],
)
def test_a_formula_takes_arrays_in_each_argument(row):
    arguments = {name: _si(text) for name, text in row["arguments"].items()}
    fixed = {name: arguments.pop(name) for name in ("accuracy_class",) if name in arguments}
    function = getattr(physics, row["function"])
    one = function(**arguments, **fixed)
    many = function(**{name: np.full(3, value) for name, value in arguments.items()}, **fixed)
    for single, several in zip(np.atleast_1d(one), np.atleast_2d(many), strict=True):
        np.testing.assert_allclose(several, np.full(3, single), rtol=1e-13)
