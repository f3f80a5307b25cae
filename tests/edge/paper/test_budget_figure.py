"""Bars of a budget, the picture of a certificate, and the strip on paper."""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from nozzlewright.analysis.certificate import fit_certificate
from nozzlewright.bench import CertificatePoint
from nozzlewright.edge.paper.budget_figure import (
    budget_figure,
    budget_height,
    budget_strip,
    strip_words,
)
from nozzlewright.edge.paper.certificate_figure import certificate_figure
from nozzlewright.measurement import Cause, Quantity
from nozzlewright.report.budget import budget_of
from nozzlewright.report.wording import value_text

SVG = "{http://www.w3.org/2000/svg}"
BAR = 1e5


def parts(svg, tag, kind=""):
    root = ET.fromstring(svg)  # noqa: S314 - our own drawing
    return [one for one in root.iter(f"{SVG}{tag}") if not kind or one.get("class") == kind]


def value(**sizes_bar):
    return Quantity(
        176 * BAR,
        "Pa",
        {Cause(name.replace("_", " "), "i"): u * BAR for name, u in sizes_bar.items()},
    )


def test_the_length_of_a_bar_is_its_uncertainty_against_the_whole():
    svg = budget_figure(budget_of(value(gauge_level=0.4, repeatability=0.3)), 201.0)
    (largest,) = parts(svg, "rect", "pt")
    (second,) = parts(svg, "rect", "mu")

    assert float(largest.get("width")) == pytest.approx(200.0 * 0.4 / 0.5, abs=0.01)
    assert float(second.get("width")) == pytest.approx(200.0 * 0.3 / 0.5, abs=0.01)


@given(st.lists(st.floats(1e-4, 10.0), min_size=1, max_size=20), st.sampled_from([200.0, 480.0]))
def test_every_bar_and_word_stays_on_the_picture(sizes, width):
    budget = budget_of(value(**{f"a_cause_with_a_long_name_{n}": u for n, u in enumerate(sizes)}))
    svg = budget_figure(budget, width)

    for bar in parts(svg, "rect"):
        assert float(bar.get("x", 0)) + float(bar.get("width")) <= width + 0.01
        assert float(bar.get("y", 0)) + float(bar.get("height")) <= budget_height(budget) + 0.01
    assert "all together" in svg
    assert all(0.0 <= float(one.get("x")) <= width for one in parts(svg, "text"))


def test_the_picture_says_in_words_what_it_shows():
    (title,) = parts(budget_figure(budget_of(value(gauge_level=0.4, noise=0.3))), "title")

    assert "gauge level 0.40 bar (64 %)" in title.text.replace("\N{NO-BREAK SPACE}", " ")


def test_a_strip_is_as_long_as_the_shares():
    text = value_text(value(gauge_level=0.4, repeatability=0.3))
    widths = [float(one.get("width")) for one in parts(budget_strip(text, 101.0, None), "rect")]

    assert widths == pytest.approx([64.0, 36.0], abs=0.02)
    assert strip_words(text) == "gauge level (i) 64%; repeatability (i) 36%"
    assert math.fsum(text.shares) == pytest.approx(1.0)


def certificate(count, hysteresis_bar=0.0):
    return fit_certificate(
        [
            CertificatePoint(x * BAR, (x * 1.004 + 0.2) * BAR, 0.1 * BAR, hysteresis_bar * BAR)
            for x in np.linspace(0.0, 300.0, count).tolist()
        ],
        "C",
    )


@pytest.mark.parametrize("count", [2, 3, 6, 25])
@pytest.mark.parametrize("size", [(460.0, 300.0), (200.0, 250.0)])
def test_a_certificate_is_drawn_point_by_point_with_what_is_left_over(count, size):
    svg = certificate_figure(certificate(count), size)

    assert len(parts(svg, "circle", "ho")) == count
    assert len(parts(svg, "circle", "pt")) == count
    assert len(parts(svg, "path", "ti")) == 1
    for x, y in re.findall(
        r"(-?[\d.]+) (-?[\d.]+)", " ".join(p.get("d") for p in parts(svg, "path"))
    ):
        assert -0.01 <= float(x) <= size[0] + 0.01
        assert -0.01 <= float(y) <= size[1] + 0.01


def test_up_and_down_are_two_triangles_at_each_point():
    svg = certificate_figure(certificate(5, hysteresis_bar=0.4))

    assert len(parts(svg, "path", "ho")) == 10
    assert not parts(svg, "circle", "ho")


def test_the_picture_of_a_certificate_speaks_another_unit():
    assert ">error, MPa<" in certificate_figure(certificate(5), unit="MPa")
    assert ">error, psi<" in certificate_figure(certificate(5), unit="psi")
