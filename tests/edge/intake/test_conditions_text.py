from __future__ import annotations

import dataclasses
import tempfile
from pathlib import Path

import numpy as np
import pytest
import tomlkit
from hypothesis import given, settings
from hypothesis import strategies as st

from nozzlewright.bench import BenchConditions, TipGrade
from nozzlewright.edge.intake import read_conditions
from nozzlewright.edge.intake.conditions import ASSUMED
from nozzlewright.edge.intake.conditions_text import conditions_text
from nozzlewright.measurement import Quantity
from nozzlewright.simulator import KINDS, random_session


def _read(text: str) -> BenchConditions:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "bench.toml"
        path.write_text(text, encoding="utf-8")
        return read_conditions(path)


def _number(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high, allow_nan=False) | st.decimals(str(low), str(high), places=3).map(
        float
    )


# A lone surrogate is not text that a file can hold; TOML folds a carriage return.
_text = st.text(st.characters(exclude_categories=["Cs", "Cc"]), min_size=1, max_size=20)


def _table(needed: dict[str, object], may: dict[str, object]) -> st.SearchStrategy[dict]:
    return st.fixed_dictionaries(needed, optional=may)


def _pair(key: str, u_key: str, value: st.SearchStrategy) -> st.SearchStrategy[dict]:
    return (
        st.just({})
        | st.fixed_dictionaries({key: value})
        | st.fixed_dictionaries({key: value, u_key: _number(0.0, 10.0)})
    )


def _joined(*parts: st.SearchStrategy[dict]) -> st.SearchStrategy[dict]:
    return st.tuples(*parts).map(lambda tables: {k: v for t in tables for k, v in t.items()})


_drop = st.fixed_dictionaries(
    {"from_bar": _number(101.0, 400.0), "to_bar": _number(1.0, 100.0), "seconds": _number(0.1, 600)}
)
_written = _table(
    {},
    {
        "sitting": _table({}, {"id": _text, "fitter": _text, "date": st.just("2026-03-02")}),
        "fluid": _joined(
            _table(
                {},
                {
                    "name": _text,
                    "viscosity": st.tuples(_number(2.1, 9.0), _number(0.4, 2.0)).map(
                        lambda nu: [[40.0, nu[1]], [20.0, nu[0]]]
                    ),
                    "viscosity_ratio_u_percent": _number(0.0, 20.0),
                },
            ),
            _pair("temperature_c", "temperature_u_c", _number(-20.0, 90.0)),
            _pair("density_15c_kg_m3", "density_15c_u_kg_m3", _number(700.0, 900.0)),
            _pair("bulk_modulus_gpa", "bulk_modulus_u_gpa", _number(0.5, 3.0)),
            _pair("pressure_viscosity_per_gpa", "pressure_viscosity_u_per_gpa", _number(0.0, 40.0)),
        ),
        "gauge": _table(
            {},
            {
                "id": _text,
                "range_bar": _number(200.0, 600.0),
                "class": _number(0.05, 4.0),
                "certificate": st.lists(
                    st.tuples(_number(0.0, 400.0), _number(0.0, 400.0), _number(0.01, 3.0)).map(
                        list
                    )
                    | st.tuples(
                        _number(0.0, 400.0),
                        _number(0.0, 400.0),
                        _number(0.01, 3.0),
                        _number(-2.0, 2.0),
                    ).map(list),
                    max_size=5,
                    unique_by=lambda line: line[0],
                ),
                "resolution_bar": _number(0.0, 5.0),
                "time_constant_ms": _number(0.0, 500.0),
                "calibrated_on": st.just("2026-01-05"),
                "drift_bar_per_year": _number(0.0, 5.0),
            },
        ),
        "rig": _joined(
            _table({}, {"id": _text}),
            _pair("volume_cm3", "volume_u_cm3", _number(1.0, 300.0)),
            _pair(
                "wall_compliance_mm3_per_bar",
                "wall_compliance_u_mm3_per_bar",
                _number(0.0, 3.0),
            ),
            st.just({})
            | _table(
                {"compliance_mm3_per_bar": _number(0.1, 30.0)},
                {
                    "compliance_u_mm3_per_bar": _number(0.0, 3.0),
                    "at_bar": _number(0.0, 300.0),
                    "at_c": _number(0.0, 60.0),
                },
            ),
        ),
        "blank_plug": _joined(
            st.fixed_dictionaries({"recording": _text}) | st.fixed_dictionaries({"drop": _drop}),
            _pair("compliance_ratio", "compliance_ratio_u", _number(0.1, 2.0)),
            _pair("volume_cm3", "volume_u_cm3", _number(1.0, 300.0)),
            _table({}, {"temperature_c": _number(0.0, 60.0)}),
        ),
        "window": _table(
            {"from_bar": _number(101.0, 400.0), "to_bar": _number(1.0, 100.0)},
            {
                "reference_c": _number(0.0, 60.0),
                "reference_compliance_mm3_per_bar": _number(0.1, 30.0),
            },
        ),
        "nozzle": _table(
            {},
            {
                "guide_diameter_mm": _number(4.0, 8.0),
                "guide_length_mm": _number(5.0, 40.0),
                "seat_diameter_mm": _number(1.0, 3.5),
                "body_diameter_mm": _number(10.0, 20.0),
                "spring_rate_n_per_mm": _number(20.0, 500.0),
                "two_spring": st.booleans(),
            },
        ),
        "seat": _table(
            {},
            {
                "margin_bar": _number(1.0, 50.0),
                "seconds": _number(1.0, 60.0),
                "opening_bar": _number(50.0, 400.0),
            },
        ),
        "tip": _joined(
            _table(
                {},
                {
                    "seat": st.sampled_from([str(g) for g in TipGrade]),
                    "drop_test": st.sampled_from([str(g) for g in TipGrade]),
                    "outside_leak": _text,
                },
            ),
            st.just({})
            | _table(
                {"leak_off_seconds": _number(1.0, 60.0)}, {"leak_off_drops": st.integers(0, 99)}
            ),
        ),
    },
)


def _with_assumptions_rounded(conditions: BenchConditions) -> BenchConditions:
    """An uncertainty that the reader assumes is reckoned anew from the number as written."""

    def rounded(part):
        changed = {}
        for field in dataclasses.fields(part):
            value = getattr(part, field.name)
            if isinstance(value, Quantity) and value.method == ASSUMED:
                kept = {cause: float(f"{u:.12g}") for cause, u in value.contributions.items()}
                changed[field.name] = dataclasses.replace(value, contributions=kept)
            elif dataclasses.is_dataclass(value) and not isinstance(value, Quantity):
                changed[field.name] = rounded(value)
        return dataclasses.replace(part, **changed)

    return rounded(conditions)


@settings(max_examples=300, deadline=None)
@given(_written)
def test_what_was_read_from_a_file_is_read_again_to_the_last_bit(table):
    once = _read(tomlkit.dumps(table))
    again = _read(conditions_text(once))
    assert _with_assumptions_rounded(again) == _with_assumptions_rounded(once)


@pytest.mark.parametrize(
    ("conditions", "says"),
    [
        (
            "[fluid]\ntemperature_c = 14.0\nviscosity = [[20, 4.05], [40, 2.6]]\n",
            "[fluid]\ntemperature_c = 14.0\nviscosity = [[20.0, 4.05], [40.0, 2.6]]\n",
        ),
        (
            "[gauge]\ncertificate = [[100, 100.3, 0.3]]\nresolution_bar = 0.05\n",
            "[gauge]\ncertificate = [[100.0, 100.3, 0.3]]\nresolution_bar = 0.05\n",
        ),
        (
            "[nozzle]\nguide_diameter_mm = 6\n\n[rig]\nvolume_cm3 = 28.2\n",
            "[rig]\nvolume_cm3 = 28.2\n\n[nozzle]\nguide_diameter_mm = 6.0\n",
        ),
        ("", ""),
    ],
    ids=["fluid", "gauge", "nozzle and rig", "nothing"],
)
def test_a_number_is_written_as_a_person_would(conditions, says):
    assert conditions_text(_read(conditions)) == says


def test_an_uncertainty_that_nobody_stated_is_not_written_as_if_somebody_had():
    assert "temperature_u_c" not in conditions_text(_read("[fluid]\ntemperature_c = 20\n"))
    stated = conditions_text(_read("[fluid]\ntemperature_c = 20\ntemperature_u_c = 1\n"))
    assert "temperature_u_c = 1.0" in stated


def test_an_expanded_uncertainty_with_another_coverage_factor_keeps_its_standard_uncertainty():
    once = _read("[gauge]\ncertificate = [[100, 100.3, 0.45]]\ncertificate_k = 3\n")
    (line,) = _read(conditions_text(once)).gauge.certificate
    assert line.standard_uncertainty_pa == pytest.approx(0.15e5, rel=1e-15)


def test_a_remark_stands_on_top_and_changes_nothing():
    once = _read("[gauge]\nclass = 1.0\n")
    text = conditions_text(once, "Invented.\nBelongs to no bench.")
    assert text.startswith("# Invented.\n# Belongs to no bench.\n")
    assert _read(text) == once


@pytest.mark.parametrize("kind", [KINDS[0], "leaking rig", "two-spring", "slow gauge"])
def test_a_bench_of_the_simulator_is_read_back_with_its_values_and_causes(kind):
    known = random_session(np.random.default_rng(5), kind).conditions
    again = _read(conditions_text(known))
    pairs = [
        (known.oil_temperature, again.oil_temperature),
        (known.rig.volume_m3, again.rig.volume_m3),
        (known.rig.wall_compliance, again.rig.wall_compliance),
        (known.fluid.bulk_modulus_20c, again.fluid.bulk_modulus_20c),
        (known.fluid.pressure_viscosity, again.fluid.pressure_viscosity),
    ]
    if known.blank_plug is not None:
        pairs.append((known.blank_plug.volume_m3, again.blank_plug.volume_m3))
    for mine, theirs in pairs:
        assert isinstance(theirs, Quantity)
        assert theirs.value == pytest.approx(mine.value, rel=1e-15)
        assert theirs.contributions == pytest.approx(dict(mine.contributions), rel=1e-15)
    assert (again.window.from_pa, again.window.to_pa) == (known.window.from_pa, known.window.to_pa)
    assert again.seat_watch.grade == known.seat_watch.grade
    assert again.drop_watch == known.drop_watch
