"""The curve through a certificate, what it says between its points, and what is doubted of it."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from nozzlewright.analysis.by_hand import read_hand
from nozzlewright.analysis.certificate import (
    Drift,
    doubts,
    drift_between,
    fit_certificate,
    hysteresis_uncertainty,
    slip_of_unit,
    years_between,
)
from nozzlewright.analysis.gauge import gauge_correction
from nozzlewright.bench import BenchConditions, CertificatePoint, Gauge
from nozzlewright.capture import HandReadings, WatchedHold
from nozzlewright.measurement import NotMeasured, Quantity, difference, fit_calibration

BAR = 1e5
REFERENCE = Path(__file__).parents[1] / "reference"


def points(errors_bar, u_bar=0.1, upto=250.0, hysteresis_bar=0.0):
    shown = np.linspace(0.0, upto, len(errors_bar))
    stated = np.broadcast_to(u_bar, shown.shape)
    return tuple(
        CertificatePoint((x - e) * BAR, x * BAR, u * BAR, hysteresis_bar * BAR)
        for x, e, u in zip(shown, errors_bar, stated, strict=True)
    )


def published(name):
    y, x = np.loadtxt(REFERENCE / name, delimiter=",", skiprows=2, unpack=True)
    return tuple(
        # shown x + (large) so that error = y: the fit knows only shown and error.
        CertificatePoint(float(a - b), float(a), 1.0)
        for a, b in zip(x, y, strict=True)
    )


# -- the curve -------------------------------------------------------------------------------------


def test_norris_asks_for_a_line_and_gets_the_certified_one():
    """PUB: NIST StRD Norris, certified values."""
    fit = fit_certificate(published("norris.csv"), "Norris")

    assert fit.degree == 1
    np.testing.assert_allclose(
        fit.curve.coefficients, (-0.262323073774029, 1.00211681802045), rtol=1e-9
    )
    assert fit.curve.residual_standard_deviation == pytest.approx(0.884796396144373, rel=1e-9)
    assert fit.chi_squared == pytest.approx(34 * 0.884796396144373**2, rel=1e-9)


def test_pontius_asks_for_a_parabola_and_gets_the_certified_one():
    """PUB: NIST StRD Pontius, certified values (from memory, reproduced)."""
    fit = fit_certificate(published("pontius.csv"), "Pontius")

    assert [one.degree for one in fit.candidates] == [1, 2]
    assert fit.degree == 2
    np.testing.assert_allclose(
        fit.curve.coefficients,
        (0.673565789473684e-03, 0.732059160401003e-06, -0.316081871345029e-14),
        rtol=2e-6,
    )
    assert fit.curve.residual_standard_deviation == pytest.approx(0.205177424076185e-03, rel=1e-6)


@given(st.integers(0, 2**31))
def test_points_weigh_as_in_the_least_squares_of_another_library(seed):
    """ALT: numpy.polyfit with weights 1/u and a covariance scaled by the scatter."""
    rng = np.random.default_rng(seed)
    x = np.sort(rng.uniform(0, 250, 9))
    u = rng.uniform(0.05, 0.5, 9)
    y = 0.3 + 0.004 * x + u * rng.standard_normal(9)
    fit = fit_calibration(
        x, y, standard_uncertainties=u, relative=True, unit="1", scope="certificate"
    )
    expected, covariance = np.polyfit(x, y, 1, w=1 / u, cov=True)

    np.testing.assert_allclose(fit.coefficients, expected[::-1], rtol=1e-7, atol=1e-10)
    np.testing.assert_allclose(fit.covariance, covariance[::-1, ::-1], rtol=1e-6)


def test_equal_uncertainties_leave_no_trace_in_the_curve():
    shown = np.linspace(0, 250, 6)
    error = np.array([0.1, 0.3, 0.2, 0.5, 0.4, 0.7])
    plain = fit_calibration(shown, error, unit="bar", scope="C")
    weighted = fit_calibration(
        shown, error, standard_uncertainties=np.full(6, 0.37), relative=True, unit="bar", scope="C"
    )
    np.testing.assert_allclose(weighted.covariance, plain.covariance, rtol=1e-12)


def test_a_certificate_gets_a_line_a_shifted_one_too():
    rng = np.random.default_rng(5)
    noise = 0.01 * rng.standard_normal(8)
    line = fit_certificate(points(0.1 + 0.2 * np.arange(8) + noise), "C")
    shift = fit_certificate(points(0.5 + noise), "C")

    # That a shift has no slope is not known: points that scatter hide one.
    assert (line.degree, shift.degree) == (1, 1)
    apart = difference(shift.curve.at(175 * BAR), shift.curve.at(100 * BAR))
    assert apart.standard_uncertainty > 0.0


@pytest.mark.parametrize("count", [3, 4, 5, 6, 11])
@pytest.mark.parametrize("scatter", [0.1, 0.5, 2.0], ids=["as stated", "far more", "wild"])
def test_what_a_scattering_certificate_says_holds_the_truth_in_19_cases_of_20(count, scatter):
    """TRUTH: a gauge with a straight error; stated 0.1 bar, common; points that scatter more."""
    rng = np.random.default_rng(6)
    reference = np.linspace(0.0, 250.0, count)
    held, cases = np.zeros(2), 600
    for _ in range(cases):
        shift, tilt = rng.normal(0.0, 1.0), rng.normal(0.0, 0.004)
        shown = reference * (1.0 + tilt) + shift
        told = shown + rng.normal(0.0, 0.1) + rng.normal(0.0, scatter, count)
        rows = tuple(
            CertificatePoint(r * BAR, x * BAR, 0.1 * BAR)
            for r, x in zip(reference, told, strict=True)
        )
        gauge = gauge_correction(Gauge(certificate=rows), "Monday")
        high, low = (
            Quantity(gauge.correct_one(x), "Pa", gauge.contributions(x))
            for x in ((true * (1.0 + tilt) + shift) * BAR for true in (175.0, 100.0))
        )
        for row, (one, true) in enumerate(((high, 175.0), (difference(high, low), 75.0))):
            ends = one.coverage_interval
            held[row] += ends[0] <= true * BAR <= ends[1]

    # 92 to 97.5 by long counts; a count of so many strays by a point.
    assert np.all((held / cases >= 0.905) & (held / cases <= 0.985)), held / cases


@pytest.mark.parametrize(("count", "times"), [(4, 1.73), (10, 1.13)])
def test_a_birge_ratio_of_few_widens_as_published(count, times):
    """PUB: Bodnar and Elster, Metrologia 51 (2014) 516: 73 % more for 4 results, 13 % for 10.

    Theirs is the standard deviation of the Student law with n - 1 degrees by which the mean goes,
    sqrt((n-1)/(n-3)) times that of Birge; here the degrees are carried, and the interval is theirs.
    """
    x, y = np.arange(float(count)), np.tile([0.0, 1.0], count // 2)
    found = fit_calibration(
        x, y, degree=0, standard_uncertainties=np.full(count, 0.1), unit="1", scope="C"
    ).at(1.0)
    birge = float(y.std(ddof=1)) / math.sqrt(count)
    low, high = stats.t.interval(0.95, count - 1, loc=0.5, scale=birge)

    assert found.standard_uncertainty == pytest.approx(birge)
    assert found.coverage_interval == pytest.approx((low, high))
    assert stats.t.std(count - 1) == pytest.approx(times, abs=0.005)


def test_a_birge_ratio_below_one_changes_nothing():
    fit = fit_calibration(
        [0.0, 1.0, 2.0], [0.0, 0.1, 0.0], standard_uncertainties=[1.0] * 3, unit="1", scope="C"
    )
    assert math.isinf(fit.at(1.0).degrees_of_freedom)


def test_a_parabola_is_seldom_seen_where_there_is_none():
    # The criterion asks for a gain of 2: by the chi-squared of one parameter about 1 in 20.
    rng = np.random.default_rng(11)
    bent = 0
    for _ in range(400):
        errors = 0.2 + 0.1 * np.arange(9) + 0.1 * rng.standard_normal(9)
        bent += fit_certificate(points(errors), "C").degree == 2
    assert bent / 400 < 0.08


def test_between_points_the_stated_uncertainty_is_interpolated():
    fit = fit_certificate(points([0.0] * 6, u_bar=np.array([0.1, 0.1, 0.1, 0.1, 0.3, 0.5])), "C")

    assert fit.stated_at(175 * BAR) == pytest.approx(0.2 * BAR)
    assert fit.stated_at(225 * BAR) == pytest.approx(0.4 * BAR)


@pytest.mark.parametrize("shown_bar", [-5.0, 250.1, 400.0])
def test_a_correction_beyond_the_points_is_refused(shown_bar):
    fit = fit_certificate(points([0.1, 0.2, 0.3, 0.4, 0.5]), "C")

    with pytest.raises(ValueError, match="outside the calibrated range"):
        fit.correction_at(shown_bar * BAR)
    with pytest.raises(ValueError, match="outside the calibrated range"):
        fit.standard_uncertainty_at(shown_bar * BAR)


def test_the_uncertainty_drawn_is_the_one_that_readings_carry():
    errors = [0.1, 0.25, 0.28, 0.45, 0.5, 0.62]
    given_points = points(errors, u_bar=0.15, hysteresis_bar=0.4)
    fit = fit_certificate(given_points, "Monday")
    carried = gauge_correction(Gauge(certificate=given_points), "Monday")

    for at in (0.0, 90 * BAR, 175 * BAR, 250 * BAR):
        assert carried.standard_uncertainty(at) == pytest.approx(fit.standard_uncertainty_at(at))
        assert carried.correct_one(at) - at == pytest.approx(fit.correction_at(at), abs=1e-6)


# -- up and down -----------------------------------------------------------------------------------


def test_half_the_way_between_up_and_down_is_a_bound():
    # JCGM 100:2008, 4.3.7: a/sqrt(3) with a = 0.3 bar.
    assert hysteresis_uncertainty(0.6 * BAR) == pytest.approx(0.3 * BAR / math.sqrt(3.0))
    way = gauge_correction(
        Gauge(certificate=points([0.0] * 6, hysteresis_bar=0.6)), "Monday"
    ).contributions(175 * BAR)
    (part,) = [size for cause, size in way.items() if cause.name == "gauge hysteresis"]
    assert part == pytest.approx(hysteresis_uncertainty(0.6 * BAR))


def test_up_and_down_cancel_between_two_openings_and_add_between_opening_and_hold():
    gauge = gauge_correction(Gauge(certificate=points([0.0] * 6, 1e-6, hysteresis_bar=0.6)), "s")
    rising = Quantity(180 * BAR, "Pa", gauge.contributions(180 * BAR))
    again = Quantity(175 * BAR, "Pa", gauge.contributions(175 * BAR))
    falling = Quantity(160 * BAR, "Pa", gauge.contributions(160 * BAR, falling=True))

    assert difference(rising, again).standard_uncertainty < 10.0
    assert difference(rising, falling).standard_uncertainty == pytest.approx(
        2 * hysteresis_uncertainty(0.6 * BAR), rel=1e-3
    )


# -- hand readings ---------------------------------------------------------------------------------


def card(opening_bar=(176.0, 175.0, 177.0)):
    return HandReadings(
        source="card 1",
        digest="0" * 64,
        opening_pa=tuple(x * BAR for x in opening_bar),
        closing_pa=(142 * BAR, 141 * BAR),
        seat_hold=WatchedHold(156 * BAR, 154 * BAR, 10.0),
        reading_resolution_pa=1.0 * BAR,
    )


def read(gauge, **more):
    return read_hand(card(**more), BenchConditions(sitting="Monday", gauge=gauge))


def test_readings_by_eye_are_corrected_and_carry_the_interpolated_uncertainty():
    stated = np.array([0.1, 0.1, 0.2, 0.4, 0.6, 0.8])
    found = read(Gauge(certificate=points([1.0] * 6, u_bar=stated, hysteresis_bar=0.5)))
    opening = found.opening_pressure

    assert opening.value == pytest.approx(175 * BAR)
    parts = {str(cause.name): part for cause, part in opening.contributions.items()}
    assert parts["gauge level"] == pytest.approx(
        np.interp(176, np.linspace(0, 250, 6), stated) * BAR
    )
    assert parts["gauge hysteresis"] > 0.0
    closing = {str(c.name): part for c, part in found.closing_pressure.contributions.items()}
    assert closing["gauge hysteresis"] == pytest.approx(-parts["gauge hysteresis"])
    # The hold was pumped up to, like the opening: the way of the gauge is common to both.
    margin = {str(c.name) for c in found.seat_hold.margin_below_opening.contributions}
    assert "gauge hysteresis" not in margin


def shown_on_the_way(way_bar, hysteresis_bar):
    """Return what a gauge with play shows along a way of true pressures, from rest.

    The play operator, the plainest model of friction and slack in a linkage (M. Brokate,
    J. Sprekels, Hysteresis and Phase Transitions, 1996, chapter 2; from memory).
    """
    half, shown, at = 0.5 * hysteresis_bar, [], way_bar[0]
    for true in way_bar:
        at = min(max(at, true - half), true + half)
        shown.append(at)
    return shown


@pytest.mark.parametrize("hysteresis", [0.0, 0.5, 1.0, 2.0])
@pytest.mark.parametrize("play", [1.0, None], ids=["slack", "any share of it"])
def test_a_gauge_with_play_at_a_seat_hold_is_covered_and_no_wider_than_it_must_be(hysteresis, play):
    rng = np.random.default_rng(4)
    held, wide, count = np.zeros(2), np.zeros(2), 400
    bench = BenchConditions(
        sitting="Monday",
        gauge=Gauge(certificate=points([0.0] * 6, 0.1, hysteresis_bar=hysteresis)),
    )
    for _ in range(count):
        level, start, lost = rng.normal(0.0, 0.1), rng.uniform(150.0, 160.0), rng.uniform(0.3, 6.0)
        loop = hysteresis * (rng.uniform(0.0, 1.0) if play is None else play)
        _, pop = shown_on_the_way([0.0, 175.0], loop)
        _, first, last = shown_on_the_way([0.0, start, start - lost], loop)
        read_at = [0.2 * round((x + level) / 0.2) for x in (first, last)]
        pops = [0.2 * round((pop + level + rng.normal(0.0, 0.3)) / 0.2) for _ in range(3)]
        shown = HandReadings(
            "card", "0" * 64, opening_pa=tuple(x * BAR for x in pops),
            seat_hold=WatchedHold(read_at[0] * BAR, read_at[1] * BAR, 10.0),
            reading_resolution_pa=0.1 * BAR,
        )  # fmt: skip
        found = read_hand(shown, bench).seat_hold
        for row, (one, true) in enumerate(
            ((found.margin_below_opening, 175.0 - start), (found.fall, lost))
        ):
            low, high = one.coverage_interval
            held[row] += low <= true * BAR <= high
            wide[row] += 0.5 * (high - low) / count / BAR

    assert 0.93 <= held[0] / count <= 0.99
    assert held[1] / count >= 0.92
    # The margin knows nothing of the hysteresis, and the fall no more than half of it.
    assert wide[0] < 0.8
    assert wide[1] < 0.2 + 0.5 * hysteresis


def test_a_reading_beyond_the_certificate_is_not_covered_by_it():
    short = points([0.1, 0.2, 0.3, 0.4, 0.5], upto=150.0)
    beyond = read(Gauge(certificate=short)).opening_pressure
    (told,) = [one for one in beyond.cautions if one.name == "gauge unknown"]

    assert "beyond the certificate" in told.text
    assert not [c for c in read(Gauge(certificate=points([0.1] * 5))).opening_pressure.cautions
                if c.name == "gauge unknown"]  # fmt: skip


def test_a_reading_beyond_the_last_point_grows_unsurer_with_its_distance():
    """A tenth of the range beyond the end: a tenth more, of level, curve and way."""
    gauge = gauge_correction(
        Gauge(certificate=points([1.0, 1.2, 0.9, 1.1, 1.0, 1.2], 0.2, hysteresis_bar=0.4)), "s"
    )
    at_end, beyond = gauge.contributions(250 * BAR), gauge.contributions(275 * BAR)

    assert len(at_end) >= 3
    for cause, part in at_end.items():
        assert beyond[cause] == pytest.approx(1.1 * part)


def test_beyond_the_certificate_the_class_counts_where_it_is_stated():
    short = points([0.1, 0.2, 0.3, 0.4, 0.5], upto=150.0)
    by_class = read(Gauge(certificate=short, accuracy_class=1.0, range_pa=400 * BAR))
    parts = {str(c.name): p for c, p in by_class.opening_pressure.contributions.items()}

    assert parts["gauge level"] >= 4.0 * BAR / math.sqrt(3.0)
    assert not [c for c in by_class.opening_pressure.cautions if c.name == "gauge unknown"]


# -- drift -----------------------------------------------------------------------------------------


def drifting(years_later, *, per_year_bar=0.5, dated=True):
    return Gauge(
        certificate=points([0.0] * 6),
        calibrated_on="2025-01-01" if dated else "",
        drift_pa_per_year=per_year_bar * BAR,
        used_on=f"{2025 + years_later}-01-01",
    )


def test_a_gauge_is_less_certain_with_every_year_since_its_calibration():
    u = [gauge_correction(drifting(y), "s").standard_uncertainty(100 * BAR) for y in range(4)]

    assert u == sorted(u)
    grown = math.sqrt(u[3] ** 2 - u[0] ** 2)
    years = years_between("2025-01-01", "2028-01-01")
    assert grown == pytest.approx(0.5 * BAR * years / math.sqrt(3.0), rel=1e-9)


def test_without_dates_the_drift_of_one_year_is_taken_and_told():
    found = gauge_correction(drifting(3, dated=False), "s")
    parts = {str(c.name): part for c, part in found.contributions(100 * BAR).items()}

    assert parts["gauge drift"] == pytest.approx(0.5 * BAR / math.sqrt(3.0))
    assert [one.name for one in found.cautions] == ["gauge drift"]


def test_two_certificates_tell_a_drift_where_they_are_farthest_apart():
    before = fit_certificate(points(0.0 + 0.01 * np.arange(6)), "a")
    after = fit_certificate(points(0.4 + 0.21 * np.arange(6)), "b")
    drift = drift_between(before, "2024-03-01", after, "2026-03-01")

    assert isinstance(drift, Drift)
    assert drift.at_pa == pytest.approx(250 * BAR)
    assert drift.moved_pa == pytest.approx(1.4 * BAR, rel=1e-6)
    assert drift.per_year_pa == pytest.approx(0.7 * BAR, rel=2e-3)
    assert drift.is_proved
    assert "+1.40 bar at 250 bar" in drift.sentence


def test_a_drift_within_the_doubt_of_the_certificates_is_called_unproved():
    before, after = (fit_certificate(points([e] * 6, u_bar=0.3), "c") for e in (0.0, 0.2))
    drift = drift_between(before, "2025-03-01", after, "2026-03-01")

    assert not drift.is_proved
    assert "no drift at all" in drift.sentence


@pytest.mark.parametrize(
    ("before", "after", "says"),
    [("", "2026-01-01", "no date"), ("2026-01-01", "2026-01-10", "not a month"),
     ("2026-01-01", "2025-01-01", "older"), ("soon", "2026-01-01", "no date")],
)  # fmt: skip
def test_certificates_without_two_dates_apart_tell_no_drift(before, after, says):
    fit = fit_certificate(points([0.0] * 6), "c")
    found = drift_between(fit, before, fit, after)

    assert isinstance(found, NotMeasured)
    assert says in found.reason


# -- nonsense --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("shown_over_reference", "says"),
    [
        pytest.param(1e6 / 98066.5, "MPa against kgf/cm2", id="10.2: MPa against kgf/cm2"),
        pytest.param(98066.5 / 1e6, "kgf/cm2 against MPa", id="0.098: kgf/cm2 against MPa"),
        pytest.param(10.0, "MPa against bar", id="10: MPa against bar"),
        pytest.param(1e5 / 6894.757293168, "bar against psi", id="14.5: bar against psi"),
        pytest.param(3.0, "3 times the reference", id="no unit is a third of another"),
    ],
)
def test_a_slip_of_the_unit_is_named(shown_over_reference, says):
    # Factors: NIST SP 811:2008, appendix B.
    rows = [CertificatePoint(p * BAR, p * BAR * shown_over_reference, 1e3) for p in (50, 100, 200)]

    assert says in str(slip_of_unit(rows))


def test_a_pointer_off_zero_is_no_slip_of_the_unit():
    # Four of the five ratios are 1.3 to 2.5; the gauge is 1.5 bar off throughout.
    rows = [CertificatePoint(p * BAR, (p + 1.5) * BAR, 1e3) for p in (1, 2, 3, 5, 250)]

    assert slip_of_unit(rows) is None


def test_one_row_typed_wrong_is_no_slip_of_the_unit():
    rows = [CertificatePoint(p * BAR, p * BAR, 1e3) for p in (50, 100, 150, 200)]
    rows.append(CertificatePoint(250 * BAR, 2500 * BAR, 1e3))

    assert slip_of_unit(rows) is None


def test_a_scale_in_another_atmosphere_is_doubted_not_refused():
    # 1 bar = 1.019716 kgf/cm2 (NIST SP 811:2008).
    rows = tuple(
        CertificatePoint(p * BAR, p * BAR * 1.019716, 1e4) for p in (0, 50, 100, 150, 200, 250)
    )

    assert slip_of_unit(rows) is None
    (told,) = [text for text in doubts(fit_certificate(rows, "c")) if "kgf/cm2" in text]
    assert "102.0%" in told


@pytest.mark.parametrize(
    ("given_points", "scale", "says"),
    [
        pytest.param(points([0.0, 0.0]), (), "exactly the reference", id="two nominal points"),
        pytest.param(points([0.0, 0.0]), (), "only 2 points", id="two points"),
        pytest.param(points([0.1, -90.0, 90.0, 0.1]), (), "does not rise", id="not rising"),
        pytest.param(points([0.0, 2.0, -2.0, 2.0, -2.0, 0.0], 0.01), (), "scatter", id="scatter"),
        pytest.param(
            points([0.1] * 6, upto=500), (400 * BAR, None), "Is it this gauge", id="range"
        ),
        pytest.param(points([0.1] * 6, upto=100), (400 * BAR, None), "not covered", id="short"),
        pytest.param(points([9.0] * 6), (400 * BAR, 1.0), "class 1 allows 4.00 bar", id="class"),
        pytest.param(points([0.1] * 6, 5.0), (400 * BAR, 1.0), "helps little", id="vague"),
    ],
)
def test_what_is_odd_in_a_certificate_is_said(given_points, scale, says):
    told = doubts(fit_certificate(given_points, "c"), *scale)

    assert any(says in text for text in told), told


def test_a_sound_certificate_is_not_doubted():
    rng = np.random.default_rng(2)
    errors = 0.1 + 0.05 * np.arange(8) + 0.02 * rng.standard_normal(8)

    assert doubts(fit_certificate(points(errors, 0.1), "c"), 300 * BAR, 1.0) == ()
