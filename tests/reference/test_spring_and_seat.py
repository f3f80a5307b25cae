"""Spring and seat against second derivations."""

from __future__ import annotations

import math

import numpy as np
import pytest

from nozzlewright.physics import (
    bergstraesser_factor,
    closing_pressure,
    closing_ratio,
    curtain_area,
    hiroyasu_arai_breakup_time,
    hiroyasu_arai_penetration,
    naber_siebers_explicit,
    naber_siebers_time,
    opening_pressure,
    roelands_factor,
    series_area,
    spring_force_for_opening,
    spring_rate,
)


def near(expected, rel=1e-6, abs=0.0):  # noqa: A002
    """Return an approximate value without pytest's absolute 1e-12, which swallows small SI."""
    return pytest.approx(expected, rel=rel, abs=abs)


def test_spring_rate_is_that_of_a_twisted_bar():
    """ALT: Castigliano, strain energy of torsion in the coiled wire."""
    d, D, n, G = 3.5e-3, 8.5e-3, 6, 79.5e9
    polar = math.pi * d**4 / 32
    compliance = (D / 2) ** 2 * math.pi * D * n / (G * polar)
    assert spring_rate(G, d, D, n) == near(1 / compliance, rel=1e-12)


@pytest.mark.parametrize("index", [4.0, 6.92, 10.8, 16.0])
def test_the_factor_of_en_13906_1_is_bergstraessers(index):
    """ALT: (4C + 2)/(4C - 3)."""
    assert bergstraesser_factor(index) == near((4 * index + 2) / (4 * index - 3))


def test_closing_over_opening_is_one_less_the_square_of_the_diameters():
    force = spring_force_for_opening(175e5, 6e-3, 2.6e-3)
    ratio = closing_pressure(force, 6e-3) / opening_pressure(force, 6e-3, 2.6e-3)
    assert ratio == near(1 - (2.6 / 6) ** 2, rel=1e-12)
    assert closing_ratio(6e-3, 2.6e-3) == near(ratio, rel=1e-12)


def test_the_curtain_is_the_frustum_between_edge_and_cone():
    """ALT: nearest point of the cone found numerically, then the area of the frustum."""
    half, lift, edge_radius = math.radians(30), 0.2e-3, 1.0e-3
    along = np.linspace(-0.5e-3, 0.5e-3, 400_001)  # height on the seat cone, 0 at the edge circle
    cone_radius = edge_radius + along * math.tan(half)
    distance = np.hypot(cone_radius - edge_radius, along - lift)
    nearest = int(np.argmin(distance))
    frustum = math.pi * (edge_radius + cone_radius[nearest]) * distance[nearest]
    got = curtain_area(lift, 2 * edge_radius, 2 * half)
    assert got == near(frustum, rel=1e-6)
    assert got * 1e6 == near(0.65553, rel=1e-5)


@pytest.mark.parametrize("seat_angle", [30.0, 45.0, 60.0])
@pytest.mark.parametrize("lift", [0.05e-3, 0.2e-3, 1e-3])
def test_the_curtain_is_that_of_an_engine_valve(lift, seat_angle):
    """J. B. Heywood, Internal Combustion Engine Fundamentals (1988), eq. 6.7, from memory:
    A = pi L cos b (D - 2w + L/2 sin 2b), b between seat and plane, D - 2w the inner seat."""
    b, inner = math.radians(seat_angle), 2e-3
    theirs = math.pi * lift * math.cos(b) * (inner + lift / 2 * math.sin(2 * b))
    assert curtain_area(lift, inner, math.pi - 2 * b) == near(theirs, rel=1e-12)


def test_a_ring_is_pushed_as_that_of_a_piston_with_its_rod():
    """A. Esposito, Fluid Power with Applications, example 6-1: 1000 lbf pulled in by a cylinder of
    2 in with a rod of 1 in take 425 psi, pushed out 318 psi (data and steps read in a companion;
    it rounds 424.4 up)."""
    pound, inch, psi = 4.4482216152605, 0.0254, 6894.757293168
    ring = opening_pressure(1000 * pound, 2 * inch, 1 * inch)
    whole = closing_pressure(1000 * pound, 2 * inch)
    assert math.ceil(ring / psi) == 425
    assert whole / psi == near(318, abs=0.5)


def test_seat_and_holes_in_series_lose_their_pressures_one_after_the_other():
    """ALT: pressure drops of the two throttles added at one flow."""
    seat, holes, rho, total = 0.5244e-6, 0.1724e-6, 830.0, 175e5
    area = series_area(seat, holes)
    flow = area * math.sqrt(2 * total / rho)
    drops = sum(rho / 2 * (flow / a) ** 2 for a in (seat, holes))
    assert drops == near(total, rel=1e-12)


@pytest.mark.parametrize("penetration", [0.1, 1.0, 3.0])
def test_naber_siebers_time_is_the_momentum_integral(penetration):
    """ALT: scipy.integrate.quad."""
    from scipy.integrate import quad

    exact = quad(lambda s: (1 + math.sqrt(1 + 16 * s * s)) / 2, 0, penetration)[0]
    assert naber_siebers_time(penetration) == near(exact, rel=1e-10)


@pytest.mark.parametrize("time", [0.01, 0.1, 1.0, 5.0, 50.0])
def test_the_explicit_form_of_naber_and_siebers_is_within_its_stated_error(time):
    there = naber_siebers_explicit(time)
    from scipy.optimize import brentq

    exact = brentq(lambda s: naber_siebers_time(s) - time, 1e-9, 100.0)
    assert -0.03 < there / exact - 1 < 0.07


def test_hiroyasu_and_arais_two_branches_meet_at_break_up():
    """ALT: 0.39 sqrt(2) sqrt(28.65) against 2.95."""
    jet = (0.28e-3, 175e5, 830.0, 20.0)
    t_b = hiroyasu_arai_breakup_time(*jet)
    before = hiroyasu_arai_penetration(t_b * (1 - 1e-9), *jet)
    after = hiroyasu_arai_penetration(t_b * (1 + 1e-9), *jet)
    assert before / after == near(1.0, abs=2e-3)


def test_roelands_starts_with_the_slope_it_was_given():
    """ALT: must equal alpha at zero pressure."""
    slope = (roelands_factor(1e3, 3.1e-3, 12e-9) - 1) / 1e3
    assert slope == near(12e-9, rel=1e-3)
