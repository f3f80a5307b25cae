"""Setting in pretend shops: the adviser beside a fixed rule and the bare formula."""

from __future__ import annotations

import importlib.util
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from nozzlewright.simulator.setting_shop import ShopScatter, draw_setting_shop

BENCHMARK = Path(__file__).parents[2] / "benchmarks" / "setting.py"


@pytest.fixture(scope="module")
def bench_of_setting():
    import sys

    spec = importlib.util.spec_from_file_location("setting_benchmark", BENCHMARK)
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


def better_by(one, other, change):
    """Return mean and standard error of how much more of one way lies in band, shop by shop."""
    apart = np.array([a[change] - b[change] for a, b in zip(one.shops, other.shops, strict=True)])
    return apart.mean(), apart.std(ddof=1) / np.sqrt(apart.size)


@pytest.mark.slow
def test_who_has_learned_brings_more_injectors_into_band_than_rule_or_formula(bench_of_setting):
    b = bench_of_setting
    found = b.compare(20, 20, learned=(0, 20))
    learned = found[b.name_of(20)]

    for other, least in ((b.FIXED, 0.15), (b.FORMULA, 0.05), (b.name_of(0), 0.05)):
        mean, error = better_by(learned, found[other], 0)
        assert mean > least, other
        assert mean > 3.0 * error, other
    mean, error = better_by(learned, found[b.FIXED], 1)
    assert mean > max(0.05, 2.33 * error)  # 99 %, one-sided
    assert learned.row(0)[0] > 0.85
    assert learned.row(1)[0] > 0.95


@pytest.mark.slow
def test_readings_lie_in_the_foretold_interval_as_often_as_it_says(bench_of_setting):
    b = bench_of_setting
    found = b.compare(12, 20, learned=(0, 20), scatter=ShopScatter(wrong_notes=0.0))
    for many in (0, 20):
        tally = found[b.name_of(many)]
        error = (0.95 * 0.05 / tally.foretold) ** 0.5
        # Shops share their kind's effect, so that hits come in clusters: 4 errors and 1 %.
        assert abs(tally.held / tally.foretold - 0.95) < 4.0 * error + 0.01


def test_what_is_written_down_is_what_was_done_but_for_the_scatter():
    none = replace(
        ShopScatter(), injectors=0.0, assembly_pa=0.0, reading_pa=0.0, shim_m=0.0,
        new_springs=0.0, wrong_notes=0.0, level_pa=0.0,
    )  # fmt: skip
    shop = draw_setting_shop(3, none)
    one = shop.injector(1)
    before = one.read()
    written = one.fit_shim(one.noted_m + 0.1e-3)
    after = one.read()

    assert written == pytest.approx(0.1e-3)
    assert after.value - before.value == pytest.approx(0.1e-3 * shop.kind.effect_pa_per_m)
    assert shop.injector(1).read() == before  # the same again


def test_a_wrong_note_does_not_move_the_injector():
    sure = ShopScatter(wrong_notes=1.0, shim_m=0.0)
    right = ShopScatter(wrong_notes=0.0, shim_m=0.0)
    wrong, true = (draw_setting_shop(5, one).injector(2) for one in (sure, right))

    assert abs(wrong.noted_m - true.noted_m) == pytest.approx(1e-4)


def test_the_lock_nut_moves_the_pressure_by_what_it_does_on_the_mean():
    scatter = replace(ShopScatter(), new_springs=0.0)
    moved = []
    for number in range(300):
        one = draw_setting_shop(7, scatter, by_screw=True).injector(number)
        slack = one.turn(0.25)
        moved.append(one.read().value - slack.value)
    mean, deviation = scatter.lock_nut_pa
    own = (deviation**2 + 2 * scatter.reading_pa**2) ** 0.5
    assert np.mean(moved) == pytest.approx(mean, abs=4 * own / 300**0.5)
    assert np.std(moved) == pytest.approx(own, rel=0.2)
