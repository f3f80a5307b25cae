"""Calibration fits against certified and printed results."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from nozzlewright.measurement import covariance, difference, fit_calibration

HERE = Path(__file__).parent


def _points(name: str) -> tuple[np.ndarray, np.ndarray]:
    y, x = np.loadtxt(HERE / name, delimiter=",", skiprows=2, unpack=True)
    return x, y


def _assert_fit(fit, coefficients, deviations, residual, rel):
    np.testing.assert_allclose(fit.coefficients, coefficients, rtol=rel)
    np.testing.assert_allclose(np.sqrt(np.diag(fit.covariance)), deviations, rtol=rel)
    assert fit.residual_standard_deviation == pytest.approx(residual, rel=rel)


def test_norris_straight_line_calibration():
    """PUB: NIST StRD Norris, certified values."""
    fit = fit_calibration(*_points("norris.csv"), unit="1", scope="Norris")
    _assert_fit(
        fit,
        (-0.262323073774029, 1.00211681802045),
        (0.232818234301152, 0.429796848199937e-03),
        0.884796396144373,
        1e-11,
    )
    assert fit.degrees_of_freedom == 34


def test_pontius_load_cell_needs_a_parabola():
    """PUB: NIST StRD Pontius, certified values (from memory, reproduced)."""
    x, y = _points("pontius.csv")
    _assert_fit(
        fit_calibration(x, y, degree=2, unit="1", scope="Pontius"),
        (0.673565789473684e-03, 0.732059160401003e-06, -0.316081871345029e-14),
        (0.107938612033077e-03, 0.157817399981659e-09, 0.486652849992036e-16),
        0.205177424076185e-03,
        1e-9,
    )
    line = fit_calibration(x, y, degree=1, unit="1", scope="Pontius")
    assert line.residual_standard_deviation == pytest.approx(2.17e-3, rel=5e-3)


def test_natrella_line_and_what_it_says_between_the_points():
    """PUB: Natrella, NBS Handbook 91, worksheet 5-4.1 and page 5-15."""
    x = np.array([30, *range(100, 1600, 100)], dtype=float)
    y = np.array([4642, 4612, 4565, 4513, 4476, 4433, 4389, 4347, 4303, 4251, 4201, 4140, 4100,
                  4073, 4024, 3999.0])  # fmt: skip
    fit = fit_calibration(x, y, unit="1", scope="Handbook 91")
    assert fit.coefficients == pytest.approx((4654.9846, -0.44985482), rel=2e-7)
    assert fit.residual_standard_deviation == pytest.approx(9.277617, rel=2e-7)
    assert fit.standard_uncertainty_at(1200.0) ** 2 == pytest.approx(10.53, rel=5e-3)
    of_new = fit.standard_uncertainty_at(750.0) ** 2 + fit.residual_standard_deviation**2
    assert of_new == pytest.approx(91.45, rel=5e-3)


def test_gum_h_3_thermometer_corrected_by_a_line():
    """PUB: JCGM 100:2008, H.3 (from memory, recomputed)."""
    example = json.loads((HERE / "gum.json").read_text(encoding="utf-8"))["H.3"]
    t = np.array(example["t_c"]) - example["t0_c"]
    fit = fit_calibration(t, example["b_c"], unit="K", scope="H.3")
    (y1, u1), (y2, u2) = example["y1"], example["y2"]
    assert fit.coefficients[0] == pytest.approx(y1, abs=5e-5)
    assert fit.coefficients[1] == pytest.approx(y2, abs=5e-6)
    deviations = np.sqrt(np.diag(fit.covariance))
    np.testing.assert_allclose(deviations, (u1, u2), rtol=0.02)
    correlation = fit.covariance[0, 1] / deviations.prod()
    assert correlation == pytest.approx(example["r"], abs=5e-4)
    assert fit.residual_standard_deviation == pytest.approx(example["s"], abs=5e-5)
    b30, u30 = example["b30"]
    assert fit.value_at(10.0) == pytest.approx(b30, abs=5e-5)
    assert fit.standard_uncertainty_at(10.0) == pytest.approx(u30, abs=5e-5)


def test_two_corrections_by_one_line_are_correlated_as_its_covariance_says():
    """ALT: x^T V x' with the covariance matrix of the certified fit."""
    fit = fit_calibration(*_points("norris.csv"), unit="1", scope="Norris")
    a, b = fit.at(200.0), fit.at(900.0)
    by_matrix = np.array([1.0, 200.0]) @ fit.covariance @ np.array([1.0, 900.0])
    assert covariance(a, b) == pytest.approx(by_matrix, rel=1e-9)
    slope_only = 700.0 * np.sqrt(fit.covariance[1, 1])
    assert difference(b, a).standard_uncertainty == pytest.approx(slope_only, rel=1e-9)
