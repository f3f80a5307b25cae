"""Each public formula says what it takes and gives, in which unit; and says it of itself."""

from __future__ import annotations

import inspect
import re
import subprocess
import sys

import pytest

from nozzlewright import physics

FORMULAS = [
    pytest.param(getattr(physics, name), id=name)
    for name in physics.__all__
    if inspect.isfunction(getattr(physics, name))
]
UNIT = re.compile(r"\[[^\]]+\]")


def _section(doc: str, title: str) -> str:
    found = re.search(rf"^{title}\n-+\n(.*?)(?=^\w[^\n]*\n-+\n|\Z)", doc, re.MULTILINE | re.DOTALL)
    return found.group(1) if found else ""


def _entries(section: str) -> dict[str, str]:
    """Return name: description; 'a, b : float' counts for both."""
    entries: dict[str, str] = {}
    names: list[str] = []
    for line in section.splitlines():
        if line and not line.startswith(" "):
            names = [n.strip().lstrip("*") for n in line.split(" : ")[0].split(",")]
            entries |= dict.fromkeys(names, "")
        else:
            for name in names:
                entries[name] += line + "\n"
    return entries


def test_the_door_lists_its_formulas_once_and_in_full():
    assert len(physics.__all__) == len(set(physics.__all__))
    assert all(hasattr(physics, name) for name in physics.__all__)
    assert len(FORMULAS) > 60


@pytest.mark.parametrize("formula", FORMULAS)
def test_the_parameters_told_are_those_taken(formula):
    told = _entries(_section(inspect.getdoc(formula), "Parameters"))
    assert sorted(told) == sorted(inspect.signature(formula).parameters)


@pytest.mark.parametrize("formula", FORMULAS)
def test_each_parameter_and_result_has_a_unit(formula):
    doc = inspect.getdoc(formula)
    for name, text in _entries(_section(doc, "Parameters")).items():
        assert UNIT.search(text), f"{name} has no [unit]"
    assert UNIT.search(_section(doc, "Returns")), "the result has no [unit]"


@pytest.mark.parametrize("formula", FORMULAS)
def test_each_formula_names_its_source(formula):
    assert "[1]" in _section(inspect.getdoc(formula), "References")


@pytest.mark.parametrize("formula", FORMULAS)
def test_a_formula_that_refuses_arguments_says_so(formula):
    body = inspect.getsource(formula)
    if "require_" in body or "raise " in body:
        assert "ValueError" in _section(inspect.getdoc(formula), "Raises")


def test_typical_values_say_where_they_come_from():
    typical = [v for v in vars(physics).values() if isinstance(v, physics.TypicalValue)]
    assert len(typical) >= 8
    for value in typical:
        assert value.standard_uncertainty > 0.0
        assert value.unit
        assert len(value.source) > 20


def test_formulas_load_without_scipy():
    code = (
        "import sys; import nozzlewright.physics; "
        "sys.exit(any(m.split('.')[0] in ('scipy', 'numba', 'pint') for m in sys.modules))"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
