"""What the fitter is told, and the demonstration set."""

from __future__ import annotations

import numpy as np
import pytest
import tomlkit

from nozzlewright.edge.intake.conditions import read_conditions
from nozzlewright.measurement import Quantity
from nozzlewright.simulator import demo_set, random_session


@pytest.fixture(scope="module")
def demo():
    return demo_set(np.random.default_rng(3))


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


def test_the_demonstration_s_bench_comes_back_from_its_bench_toml(demo, tmp_path):
    same(demo.conditions, read_back(demo.bench_table(), tmp_path))


def test_every_recording_that_the_demonstration_names_is_there(demo):
    named = {
        test["recording"]
        for injector in demo.set_table["injector"]
        for stage, test in injector.items()
        if stage.startswith("as_")
    }
    named.add(demo.conditions.blank_plug.recording)
    assert named == set(demo.recordings)
    assert demo.set_table["invented"] is True
    assert [i["cylinder"] for i in demo.set_table["injector"]] == [1, 2, 3, 4, 5, 6]


def test_the_demonstration_tells_the_stories_that_it_is_meant_to_tell(demo):
    def truth(name):
        return demo.recordings[f"recordings/{name}.csv"].truth

    lower, upper = 195e5, 205e5
    assert lower < truth("1-found")["opening_pressure_with_friction_pa"] < upper
    assert truth("2-found")["opening_pressure_with_friction_pa"] < lower - 5e5
    assert lower < truth("2-left")["opening_pressure_with_friction_pa"] < upper
    assert truth("3-found")["drop_times"][0]["at_reference_s"] < 8.0
    assert truth("1-found")["drop_times"][0]["at_reference_s"] > 12.0
    leaks = [truth(n)["seat_leak_conductance_m3_per_s_pa"] for n in ("4-found", "4-left")]
    assert leaks[0] > 50 * leaks[1]
    slow = [[o["lift_off_pa"] for o in truth(n)["openings"]] for n in ("1-found", "5-found")]
    assert np.std(slow[1]) > 8 * np.std(slow[0])
    near = truth("6-found")["opening_pressure_with_friction_pa"]
    assert abs(near - lower) < 1e5  # the permissible error of the gauge


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
