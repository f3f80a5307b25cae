"""Guide leakage against exact solutions of the annulus."""

from __future__ import annotations

from decimal import Decimal, localcontext

import numpy as np
import pytest
from scipy.integrate import quad

from nozzlewright.physics import (
    concentric_annulus_leakage,
    eccentricity_factor,
    elastic_gap_leakage,
    gap_growth_per_pa,
    guide_leakage,
    thin_gap_leakage,
)


def near(expected, rel=1e-6, abs=0.0):  # noqa: A002
    """Return an approximate value without pytest's absolute 1e-12, which swallows small SI."""
    return pytest.approx(expected, rel=rel, abs=abs)


PI = Decimal("3.14159265358979323846264338327950288419716939937510582097494459")
GUIDE = {"diameter_m": 6e-3, "length_m": 20e-3, "viscosity_pa_s": 3.1e-3}


def _concentric(inner: Decimal, outer: Decimal) -> Decimal:
    """Bird, Stewart and Lightfoot, eq. 2.4-17, for pi p/(8 mu L) = 1."""
    return outer**4 - inner**4 - (outer**2 - inner**2) ** 2 / (outer / inner).ln()


def _eccentric(inner: Decimal, outer: Decimal, offset: Decimal, terms: int) -> Decimal:
    """White, Viscous Fluid Flow, ch. 3 (after Piercy, Hooper and Winny 1933; from memory)."""
    F = (outer**2 - inner**2 + offset**2) / (2 * offset)
    M = (F**2 - outer**2).sqrt()
    alpha = ((F + M) / (F - M)).ln() / 2
    beta = ((F - offset + M) / (F - offset - M)).ln() / 2
    total = Decimal(0)
    for n in range(1, terms):
        x = n * (beta - alpha)
        total += n * (-n * (beta + alpha)).exp() / ((x.exp() - (-x).exp()) / 2)
    return (
        outer**4 - inner**4 - 4 * offset**2 * M**2 / (beta - alpha) - 8 * offset**2 * M**2 * total
    )


@pytest.mark.parametrize(
    ("ratio", "printed"),
    [
        pytest.param(
            0.1, 22.343, id="PUB: Shah and London 1978, annulus f.Re, r*=0.1 (from memory)"
        ),
        pytest.param(
            0.5, 23.813, id="PUB: Shah and London 1978, annulus f.Re, r*=0.5 (from memory)"
        ),
    ],
)
def test_friction_in_an_annulus_is_that_of_the_tables(ratio, printed):
    outer, mu, length, pressure = 10e-3, 1e-3, 1.0, 100.0
    inner = ratio * outer
    flow = concentric_annulus_leakage(pressure, outer - inner, 2 * inner, length, mu)
    hydraulic, area = 2 * (outer - inner), np.pi * (outer**2 - inner**2)
    # Fanning f.Re on the hydraulic diameter, from the flow that the formula gives.
    f_re = pressure * hydraulic**2 * area / (2 * length * mu * flow)
    assert f_re == near(printed, rel=5e-5)


@pytest.mark.parametrize("gap_um", [0.5, 1.5, 5.0, 50.0, 3000.0])
def test_the_exact_annulus_keeps_its_digits_in_a_narrow_gap(gap_um):
    with localcontext() as context:
        context.prec = 60
        inner = Decimal("0.003")
        outer = inner + Decimal(str(gap_um)) * Decimal("1e-6")
        factor = PI * Decimal("175e5") / (8 * Decimal("0.0031") * Decimal("0.02"))
        exact = float(factor * _concentric(inner, outer))
    got = concentric_annulus_leakage(175e5, gap_um * 1e-6, 6e-3, 0.02, 3.1e-3)
    assert got == near(exact, rel=1e-13)


def test_the_thin_gap_formula_is_the_exact_annulus_on_the_mean_diameter():
    exact = concentric_annulus_leakage(175e5, 1.5e-6, 6e-3, 0.02, 3.1e-3)
    assert thin_gap_leakage(175e5, 1.5e-6, 6.0015e-3, 0.02, 3.1e-3) == near(exact, rel=1e-8)


@pytest.mark.parametrize(
    ("gap", "eccentricity"),
    [("0.05", "0.25"), ("0.01", "0.5"), ("0.01", "0.9"), ("0.005", "0.7")],
)
def test_an_eccentric_needle_leaks_as_the_exact_bipolar_series_says(gap, eccentricity):
    """ALT: White, Viscous Fluid Flow, ch. 3."""
    with localcontext() as context:
        context.prec = 60
        h, e = Decimal(gap), Decimal(eccentricity)
        inner = 1 - h
        series = _eccentric(inner, Decimal(1), e * h, int(Decimal(40) / h))
        exact = float(series / _concentric(inner, Decimal(1)))
    assert eccentricity_factor(float(eccentricity)) == near(exact, rel=1e-3)


def test_an_elastic_gap_leaks_as_the_integral_along_it_says():
    """ALT: scipy.integrate.quad."""
    growth = gap_growth_per_pa(6e-3, 14e-3)
    mean_cube = quad(lambda p: (1.5e-6 + growth * p) ** 3, 0, 175e5)[0] / 175e5
    rigid = thin_gap_leakage(175e5, 1.5e-6, **GUIDE)
    elastic = elastic_gap_leakage(175e5, 1.5e-6, growth, **GUIDE)
    assert elastic / rigid == near(mean_cube / 1.5e-6**3, rel=1e-12)
    assert elastic / rigid == near(1.796257, rel=1e-6)


@pytest.mark.parametrize("alpha", [0.0, 12e-9, 200e-9])
@pytest.mark.parametrize("growth", [0.0, 3.5e-14])
def test_guide_leakage_is_the_integral_of_reynolds_equation(alpha, growth):
    """ALT: scipy.integrate.quad."""
    scale = np.pi * 6e-3 / (12 * 3.1e-3 * 20e-3) * (1 + 1.5 * 0.4**2)
    exact = (
        scale
        * quad(
            lambda p: (2e-6 + growth * p) ** 3 * np.exp(-alpha * p),
            0,
            250e5,
            epsrel=1e-13,
            epsabs=0,
        )[0]
    )
    got = guide_leakage(
        250e5, 2e-6, **GUIDE, eccentricity=0.4, growth_m_per_pa=growth, alpha_per_pa=alpha
    )
    assert got == near(exact, rel=1e-12)


def test_gap_growth_is_that_of_a_thick_cylinder_worked_out_by_hooke():
    """ALT: Lame's stresses at the bore, then Hooke's law; open ends."""
    E, nu, r, R, p = 2.1e11, 0.3, 3e-3, 7e-3, 200e5
    hoop = p * (R**2 + r**2) / (R**2 - r**2)
    bore = r / E * (hoop - nu * -p)
    needle = r / E * (-p - nu * -p)  # both radial stresses are -p in a solid shaft
    assert gap_growth_per_pa(2 * r, 2 * R) * p == near(bore - needle, rel=1e-12)
    assert gap_growth_per_pa(2 * r, 2 * R) * p == near(0.7e-6, rel=1e-12)
