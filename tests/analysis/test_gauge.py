"""What a gauge's class or certificate leaves unknown."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from nozzlewright.analysis.gauge import gauge_correction
from nozzlewright.bench import CertificatePoint, Gauge
from nozzlewright.measurement import Quantity, difference

BAR = 1e5
REFERENCE = Path(__file__).parents[1] / "reference"


def certificate(errors_bar, u_bar=0.1, upto=400):
    shown = np.linspace(0, upto, len(errors_bar))
    return Gauge(
        certificate=tuple(
            CertificatePoint((x - e) * BAR, x * BAR, u_bar * BAR)
            for x, e in zip(shown, errors_bar, strict=True)
        )
    )


@pytest.mark.parametrize(
    ("accuracy_class", "span_bar", "u_bar"),
    [
        pytest.param(1.0, 400, 2.309, id="EN 837-1:1996, class 1.0, 0-400 bar: 4 bar / sqrt 3"),
        pytest.param(1.6, 400, 3.695, id="EN 837-1:1996, class 1.6, 0-400 bar: 6.4 bar / sqrt 3"),
        pytest.param(1.0, 250, 1.443, id="EN 837-1:1996, class 1.0, 0-250 bar: 2.5 bar / sqrt 3"),
    ],
)
def test_a_class_is_a_share_of_span_wherever_the_pointer_stands(accuracy_class, span_bar, u_bar):
    gauge = gauge_correction(
        Gauge(range_pa=span_bar * BAR, accuracy_class=accuracy_class), "Monday"
    )
    for pressure in (20 * BAR, 175 * BAR):
        assert gauge.standard_uncertainty(pressure) == pytest.approx(u_bar * BAR, abs=60)
        assert gauge.correct_one(pressure) == pressure


def test_a_certificate_takes_the_error_off_and_replaces_the_class():
    gauge = certificate([1.0, 1.5, 2.0, 2.5, 3.0, 3.5])
    found = gauge_correction(gauge, "Monday")
    assert found.correct_one(200 * BAR) == pytest.approx(197.75 * BAR, abs=1e3)
    assert found.standard_uncertainty(200 * BAR) == pytest.approx(0.1 * BAR, rel=0.05)


def test_the_doubts_of_a_certificate_are_named_in_words_of_the_trade():
    gauge = certificate([1.0, 1.52, 1.98, 2.5, 3.03, 3.5])
    names = {cause.name for cause in gauge_correction(gauge, "Monday").contributions(200 * BAR)}

    assert names == {"gauge level", "gauge certificate, offset", "gauge certificate, slope"}


def test_the_stated_uncertainty_of_a_certificate_does_not_average_out_over_its_points():
    few, many = (
        gauge_correction(certificate([0.2] * n), "Monday").standard_uncertainty(150 * BAR)
        for n in (6, 60)
    )
    assert few >= 0.1 * BAR
    assert many >= 0.1 * BAR


def test_a_line_of_errors_is_the_line_of_gum_h_3():
    # JCGM 100:2008, H.3: b(26) = -0.1586 + ... predicted -0.1494 at 30 C, the same sum.
    t = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
    b = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160]
    points = tuple(CertificatePoint(x + y, x, 1e-9) for x, y in zip(t, b, strict=True))
    found = gauge_correction(Gauge(certificate=points), "bath")
    line = -0.1712 + 0.00218 * (26.0 - 20.0)
    assert found.correct_one(26.0) - 26.0 == pytest.approx(line, abs=2e-4)
    # s = 0.0035 over eleven points; u of the line at 26 C by H.3's covariance.
    u = np.sqrt(0.0029**2 + 36 * 0.00067**2 + 2 * 6 * -0.930 * 0.0029 * 0.00067)
    assert found.standard_uncertainty(26.0) == pytest.approx(u, rel=0.06)


def test_a_bent_certificate_gets_a_parabola_and_a_straight_one_does_not():
    # Load cell calibration, NIST StRD / e-Handbook, data set Pontius: a line is the wrong model.
    rows = list(csv.reader((REFERENCE / "pontius.csv").read_text().splitlines()))
    values = [[float(x) for x in row] for row in rows if row and row[0][:1].isdigit()]
    deflection = np.array([min(row) for row in values])
    load = np.array([max(row) for row in values])
    scale = load.max() / deflection.max()
    points = tuple(
        CertificatePoint(float(w), float(y * scale), 1e-6)
        for y, w in zip(deflection, load, strict=True)
    )
    found = gauge_correction(Gauge(certificate=points), "cell")
    left = found.correct(deflection * scale) - load
    line = np.polyval(np.polyfit(deflection, load, 1), deflection) - load
    assert np.std(left) < 0.15 * np.std(line)


def test_outside_its_points_a_certificate_is_held_and_trusted_less():
    found = gauge_correction(certificate([0.0, 0.5, 1.0, 1.5, 2.0], upto=200), "Monday")
    assert found.correct_one(300 * BAR) == pytest.approx(298.0 * BAR, abs=1e3)
    assert found.standard_uncertainty(300 * BAR) > 1.4 * found.standard_uncertainty(200 * BAR)


def test_a_gauge_with_neither_is_called_unknown_and_adds_nothing():
    found = gauge_correction(Gauge(range_pa=400 * BAR), "Monday")
    assert [one.name for one in found.cautions] == ["gauge unknown"]
    assert not found.known
    assert found.standard_uncertainty(175 * BAR) == 0.0


def test_the_level_cancels_between_two_readings_of_one_sitting_and_not_between_two_sittings():
    gauge = Gauge(range_pa=400 * BAR, accuracy_class=1.0)

    def reading(sitting, value):
        return Quantity(value, "Pa", gauge_correction(gauge, sitting).contributions(value))

    same = difference(reading("Monday", 180 * BAR), reading("Monday", 175 * BAR))
    other = difference(reading("Monday", 180 * BAR), reading("Friday", 175 * BAR))
    assert same.standard_uncertainty == 0.0
    assert other.standard_uncertainty == pytest.approx(2**0.5 * 230940, rel=1e-3)


def test_the_smallest_step_is_half_known():
    # Rectangular over one step: q / sqrt(12) (JCGM 100:2008, F.2.2.1).
    found = gauge_correction(Gauge(resolution_pa=1 * BAR), "Monday")
    assert found.resolution_standard_uncertainty_pa == pytest.approx(28868, rel=1e-4)


def test_two_points_leave_a_slope_that_is_known_no_better_than_they_are():
    """FORMULA: a line through two points, 0.1 bar each, at its ends: u of half their difference."""
    found = gauge_correction(certificate([0.2] * 2), "Monday")
    low, middle, high = (
        Quantity(bar * BAR, "Pa", found.contributions(bar * BAR)) for bar in (0, 200, 400)
    )

    assert {str(cause.name) for cause in low.contributions} == {
        "gauge level", "gauge certificate, slope",
    }  # fmt: skip
    assert middle.standard_uncertainty == pytest.approx(0.1 * BAR, rel=1e-6)
    apart = difference(high, low).standard_uncertainty
    assert apart == pytest.approx(0.1 * BAR * 2**0.5, rel=1e-6)


@pytest.mark.parametrize("count", [1, 2, 3, 4])
def test_a_short_certificate_is_still_used(count):
    found = gauge_correction(certificate([2.0] * count, upto=200), "Monday")
    assert found.correct_one(100 * BAR) == pytest.approx(98 * BAR, abs=1.0)
    assert bool(found.cautions) == (count < 3)
