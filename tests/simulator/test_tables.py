"""What the fitter is told."""

from __future__ import annotations

import numpy as np
import pytest
import tomlkit

from nozzlewright.edge.intake.conditions import read_conditions
from nozzlewright.measurement import Quantity
from nozzlewright.simulator import random_session


def read_back(table, folder):
    path = folder / "bench.toml"
    path.write_text(tomlkit.dumps(table), encoding="utf-8")
    return read_conditions(path)


def same(mine, theirs, name=""):
    """Compare two conditions piece by piece; causes must be shared, not only sizes."""
    if isinstance(mine, Quantity):
        assert theirs.value == pytest.approx(mine.value, rel=1e-7), name
        assert theirs.unit == mine.unit, name
        if mine.contributions:
            assert theirs.contributions.keys() == mine.contributions.keys(), name
            assert theirs.standard_uncertainty == pytest.approx(
                mine.standard_uncertainty, rel=1e-7
            ), name
    elif hasattr(mine, "__dataclass_fields__"):
        for field in mine.__dataclass_fields__:
            same(getattr(mine, field), getattr(theirs, field), f"{name}.{field}")
    elif isinstance(mine, float):
        assert theirs == pytest.approx(mine, rel=1e-7), name
    elif isinstance(mine, tuple):
        assert len(mine) == len(theirs), name
        for one, other in zip(mine, theirs, strict=True):
            same(one, other, name)
    else:
        assert theirs == mine, name


@pytest.mark.parametrize("kind", ["sound", "leaking rig", "two-spring", "slow gauge"])
def test_a_drawn_bench_comes_back_from_its_bench_toml(kind, tmp_path):
    drawn = random_session(np.random.default_rng(5), kind)
    same(drawn.conditions, read_back(drawn.bench_table(), tmp_path))


def test_knowledge_differs_from_truth_by_its_stated_uncertainty():
    """Over many draws the errors of what is known have the spread that is stated."""
    scaled = []
    for start in range(12):
        drawn = random_session(np.random.default_rng(start), "hold cut short")
        known, setup = drawn.conditions, drawn.setup
        volume = setup.rig.volume_m3 + drawn.injector.volume_m3
        for quantity, true in (
            (known.oil_temperature, setup.temperature_k),
            (known.rig.volume_m3, volume),
            (known.rig.wall_compliance, setup.rig.wall_compliance),
            (known.fluid.bulk_modulus_20c, setup.oil.bulk_modulus_20c),
            (known.fluid.pressure_viscosity, setup.oil.pressure_viscosity),
        ):
            scaled.append((quantity.value - true) / quantity.standard_uncertainty)
    assert 0.75 < np.std(scaled) < 1.25
    assert abs(np.mean(scaled)) < 0.4
