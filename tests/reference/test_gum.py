"""Examples of the GUM (JCGM 100:2008), worked through our quantities."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest

from nozzlewright.measurement import (
    Cause,
    Quantity,
    covariance,
    coverage_factor,
    effective_degrees_of_freedom,
    exact,
    mean_of,
    propagate,
    propagate_by_draws,
)

GUM = json.loads((Path(__file__).parent / "gum.json").read_text(encoding="utf-8"))


def _independent(value: float, u: float, name: str, unit: str) -> Quantity:
    return Quantity(value, unit, {Cause(name): u})


def test_gum_4_4_3_mean_of_twenty_temperatures():
    """PUB: JCGM 100:2008, 4.4.3 and table 1 (from memory)."""
    example = GUM["4.4.3"]
    s = float(np.std(example["temperature_c"], ddof=1))
    assert s == pytest.approx(example["s"], abs=5e-4)
    mean = mean_of(
        [
            Quantity(t, "C", {Cause("repeatability", f"reading {k}"): s})
            for k, t in enumerate(example["temperature_c"])
        ]
    )
    assert mean.value == pytest.approx(example["mean"], rel=1e-12)
    assert mean.standard_uncertainty == pytest.approx(example["s_of_mean"], abs=5e-4)


def test_gum_g_4_1_product_of_three_inputs():
    """PUB: JCGM 100:2008, G.4.1 (from memory)."""
    example = GUM["G.4.1"]
    inputs = [
        _independent(2.0, 2.0 * percent / 100, f"X{k}", "1")
        for k, percent in enumerate(example["relative_percent"])
    ]
    product = propagate(lambda a, b, c: a * b * c, *inputs, unit="1", method="product")
    percent = 100 * product.standard_uncertainty / product.value
    assert percent == pytest.approx(example["u_c_percent"], abs=5e-3)
    known = {Cause(f"X{k}"): n - 1 for k, n in enumerate(example["readings"])}
    freedom = effective_degrees_of_freedom(product, known)
    assert freedom == pytest.approx(example["nu_eff"], abs=0.05)
    # 18.9987 stands for the 19 that is printed.
    expanded = percent * coverage_factor(round(freedom))
    assert expanded == pytest.approx(example["U95_percent"], abs=5e-3)


def _end_gauge(standard, difference, d_alpha, theta, alpha, d_theta):
    return standard + difference - standard * (d_alpha * theta + alpha * d_theta)


def _end_gauge_inputs() -> tuple[Quantity, ...]:
    example = GUM["H.1"]
    parts = example["contributions_nm"]
    difference = Quantity(
        example["difference_nm"],
        "nm",
        {Cause(name): u for name, u in parts.items() if name != "standard"},
    )
    assert difference.standard_uncertainty == pytest.approx(example["u_difference_nm"], abs=0.05)
    return (
        _independent(example["length_nm"], parts["standard"], "standard", "nm"),
        difference,
        _independent(*example["delta_alpha_per_k"], "expansion difference", "1/K"),
        _independent(*example["theta_k"], "temperature", "K"),
        _independent(*example["alpha_per_k"], "expansion", "1/K"),
        _independent(*example["delta_theta_k"], "temperature difference", "K"),
    )


def test_gum_h_1_end_gauge():
    """PUB: JCGM 100:2008, H.1."""
    example = GUM["H.1"]
    length = propagate(_end_gauge, *_end_gauge_inputs(), unit="nm", method="H.1")
    assert length.value == pytest.approx(example["result_nm"], abs=0.5)
    assert length.standard_uncertainty == pytest.approx(example["u_c_nm"], abs=0.5)
    freedom = effective_degrees_of_freedom(
        length, {Cause(name): dof for name, dof in example["dof"].items()}
    )
    assert freedom == pytest.approx(example["nu_eff"], abs=0.1)
    factor = coverage_factor(freedom, 0.99)
    assert factor == pytest.approx(example["t99"], abs=5e-3)
    assert factor * round(length.standard_uncertainty) == pytest.approx(example["U99_nm"], abs=0.5)


def test_gum_h_1_7_drawing_sees_the_second_order_that_first_order_misses():
    """PUB: JCGM 100:2008, H.1.7: 34 nm with the terms of second order (from memory)."""
    drawn = propagate_by_draws(
        _end_gauge,
        *_end_gauge_inputs(),
        unit="nm",
        method="H.1",
        draws=400_000,
        rng=np.random.default_rng(11),
    )
    assert drawn.standard_uncertainty == pytest.approx(GUM["H.1"]["u_second_order_nm"], abs=0.5)


def _impedance_inputs() -> tuple[Quantity, Quantity, Quantity]:
    """Means of five runs; each run is a cause common to the three quantities read in it."""
    example = GUM["H.2"]

    def mean(name: str, values: list[float], scale: float, unit: str) -> Quantity:
        runs = scale * np.array(values)
        n = runs.size
        return Quantity(
            float(runs.mean()),
            unit,
            {
                Cause("run", str(k)): float(run - runs.mean()) / math.sqrt(n * (n - 1))
                for k, run in enumerate(runs)
            },
            name,
        )

    return (
        mean("voltage", example["V"], 1.0, "V"),
        mean("current", example["I_mA"], 1e-3, "A"),
        mean("phase", example["phi"], 1.0, "rad"),
    )


def _correlation(a: Quantity, b: Quantity) -> float:
    return covariance(a, b) / (a.standard_uncertainty * b.standard_uncertainty)


def _impedance() -> dict[str, Quantity]:
    models = {
        "R": lambda V, amp, phi: V / amp * np.cos(phi),
        "X": lambda V, amp, phi: V / amp * np.sin(phi),
        "Z": lambda V, amp, phi: V / amp + 0.0 * phi,
    }
    return {
        name: propagate(model, *_impedance_inputs(), unit="ohm", method=name)
        for name, model in models.items()
    }


@pytest.mark.parametrize("pair", [(0, 1, "V,I"), (0, 2, "V,phi"), (1, 2, "I,phi")])
def test_gum_h_2_inputs_read_together_are_correlated(pair):
    """PUB: JCGM 100:2008, table H.2."""
    first, second, name = pair
    inputs = _impedance_inputs()
    assert _correlation(inputs[first], inputs[second]) == pytest.approx(
        GUM["H.2"]["r_inputs"][name], abs=6e-3
    )


@pytest.mark.parametrize("name", ["R", "X", "Z"])
def test_gum_h_2_impedance_from_correlated_inputs(name):
    """PUB: JCGM 100:2008, table H.4; independent inputs would give u(R) = 0.19 ohm."""
    value, u = GUM["H.2"][name]
    got = _impedance()[name]
    assert got.value == pytest.approx(value, abs=6e-4)
    assert got.standard_uncertainty == pytest.approx(u, abs=1e-3)


@pytest.mark.parametrize("pair", ["R,X", "R,Z", "X,Z"])
def test_gum_h_2_results_are_correlated_through_what_they_share(pair):
    """PUB: JCGM 100:2008, table H.4 (from memory)."""
    first, second = (_impedance()[name] for name in pair.split(","))
    assert _correlation(first, second) == pytest.approx(GUM["H.2"]["r_results"][pair], abs=2e-3)


def test_gum_h_2_drawing_agrees_with_first_order():
    """LIB: numpy draws; the model bends little at these uncertainties."""
    first = _impedance()["R"]
    drawn = propagate_by_draws(
        lambda V, amp, phi: V / amp * np.cos(phi),
        *_impedance_inputs(),
        unit="ohm",
        method="R",
        draws=200_000,
        rng=np.random.default_rng(2),
    )
    assert drawn.standard_uncertainty == pytest.approx(first.standard_uncertainty, rel=0.01)
    np.testing.assert_allclose(drawn.coverage_interval, first.coverage_interval, atol=2e-3)


@pytest.mark.parametrize(
    ("freedom", "probability", "printed"),
    [(1, 0.95, 12.71), (5, 0.9973, 5.51), (10, 0.90, 1.81), (20, 0.95, 2.09), (1, 0.9973, 235.80)],
)
def test_coverage_factors_are_those_of_the_table(freedom, probability, printed):
    """PUB: JCGM 100:2008, table G.2, which takes 99.73 % for three sigma."""
    assert coverage_factor(freedom, probability) == pytest.approx(printed, rel=1e-3, abs=5e-3)


def test_a_gauge_of_class_1_leaves_a_rectangular_uncertainty():
    """DEF: EN 837-1 class 1, 0-400 bar; JCGM 100:2008, 4.3.7: half-width over root three."""
    from nozzlewright.physics import en837_permissible_error

    level = en837_permissible_error(1.0, 400e5) / math.sqrt(3.0)
    assert level / 1e5 == pytest.approx(2.309, abs=5e-4)
    reading = exact(177e5, "Pa").with_contribution(Cause("gauge level"), level)
    reading = reading.with_contribution(Cause("reading"), 1e5)
    assert reading.standard_uncertainty / 1e5 == pytest.approx(2.517, abs=5e-4)
