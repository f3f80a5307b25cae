"""The command ``nozzlewright sums``."""

from __future__ import annotations

import json

import pytest

from nozzlewright.bench.sums import SUMS, Input
from nozzlewright.edge.cli import main
from nozzlewright.edge.intake.typed import read_value

EXAMPLES = [
    pytest.param(one, each, id=f"{one.key}: {each.source}")
    for one in SUMS.values()
    for each in one.examples
]


def words(key, typed):
    return [
        key,
        *(part for k, text in typed.items() for part in (f"--{k.replace('_', '-')}", text)),
    ]


@pytest.mark.parametrize(("one", "example"), EXAMPLES)
def test_the_command_gives_what_the_source_prints(one, example, capsys):
    assert main(["sums", *words(one.key, example.typed), "--json"]) == 0
    results = json.loads(capsys.readouterr().out)["results"]

    for key, text in example.expected.items():
        kind = next(each.kind for each in one.outputs if each.key == key)
        want = read_value(text, Input(key, key, kind, -1e99, 1e99, ""))
        reach = want.half_digit + 1.96 * want.quantity.standard_uncertainty
        assert results[key]["si"] == pytest.approx(want.quantity.value, abs=reach * 1.000001, rel=0)


def test_the_sums_are_listed_and_each_tells_what_it_asks_for(capsys):
    assert main(["sums"]) == 0
    listed = capsys.readouterr().out
    for key, one in SUMS.items():
        assert f"  {key} " in listed
        assert main(["sums", key]) == 0
        asked = capsys.readouterr().out
        assert all(f"--{each.key.replace('_', '-')} " in asked for each in one.inputs)
        assert all(each.hint in asked for each in one.inputs)


def test_the_torque_of_the_docs_comes_out(capsys):
    """60 Nm x 300 / 350."""
    typed = {"wanted": "60Nm", "wrench": "300mm", "extension": "50mm", "angle": "0deg"}
    arguments = words("torque", typed)
    assert main(["sums", *arguments]) == 0
    told = capsys.readouterr().out

    assert "51.43 Nm" in told
    assert "Source: " in told
    assert "Take care: " in told


def test_how_sure_it_is_goes_in_and_comes_out(capsys):
    arguments = ["torque", "--wanted=60 ± 7 Nm", "--wrench", "300mm", "--extension", "50mm"]
    assert main(["sums", *arguments]) == 0

    assert "51.4 ± 6.0 Nm" in capsys.readouterr().out


def test_a_length_may_begin_with_a_minus(capsys):
    arguments = ["torque", "--wanted", "135lbf-in", "--wrench", "10in", "--extension", "-1.5in"]
    assert main(["sums", *arguments]) == 0

    assert "158.8 lbf in" in capsys.readouterr().out


def test_all_that_is_wrong_is_told_at_once_with_the_units_that_are_allowed(capsys):
    arguments = ["torque", "--wanted", "60bar", "--wrench", "300", "--extention", "5mm"]
    assert main(["sums", *arguments]) == 2
    told = capsys.readouterr().err.splitlines()

    assert len(told) == 3
    assert "--wanted: “bar” is not a unit" in told[0]
    assert "Nm, kgf m, lbf ft" in told[0]
    assert "--wrench: the value has no unit" in told[1]
    assert "--extention: “extention” is not an input" in told[2]


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["nope"], "there is no sum 'nope'"),
        (["torque", "60Nm"], "stands alone"),
        (["torque", "--wanted"], "has no value"),
        (["torque", "--wanted", "6Nm", "--wanted", "7Nm"], "given twice"),
        (["torque", "--wanted", "60Nm"], "--wrench"),
        (["opening", "--guide", "6mm", "--seat", "2mm", "--force", "300N", "--back", "1atm"],
         "which atmosphere"),
    ],
)  # fmt: skip
def test_a_slip_is_told_with_what_to_do(arguments, says, capsys):
    assert main(["sums", *arguments]) == 2
    assert says in capsys.readouterr().err


def test_an_indication_says_so(capsys):
    assert main(["sums", *words("start", SUMS["start"].examples[0].typed)]) == 0
    assert "An indication, not a promise." in capsys.readouterr().out
