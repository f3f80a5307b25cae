"""A worse gauge proves less: at the same readings it never turns a verdict to the better."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from nozzlewright.analysis.by_hand import read_hand
from nozzlewright.bench import (
    BenchConditions,
    CertificatePoint,
    Condition,
    FitterObservations,
    Gauge,
    TestSitting,
)
from nozzlewright.capture import HandReadings
from nozzlewright.judging import Outcome
from nozzlewright.judging.bench_tests import judge_opening
from nozzlewright.physics import EN837_CLASSES

BAR = 1e5


@pytest.fixture(scope="module")
def sheet(helper):
    builders = helper("judging/builders.py")
    return builders.sheet()


def outcome(sheet, opening_bar, gauge):
    card = HandReadings(
        source="card",
        digest="0" * 64,
        opening_pa=tuple((opening_bar + by) * BAR for by in (-0.2, 0.0, 0.2, 0.0)),
        reading_resolution_pa=0.2 * BAR,
    )
    found = read_hand(card, BenchConditions(sitting="Monday", gauge=gauge))
    sitting = TestSitting(found, FitterObservations())
    return judge_opening(sitting, sheet, Condition.USED).outcome


def certificate(u_bar, hysteresis_bar=0.0):
    return Gauge(
        certificate=tuple(
            CertificatePoint(x * BAR, x * BAR, u_bar * BAR, hysteresis_bar * BAR)
            for x in np.linspace(0.0, 250.0, 6).tolist()
        )
    )


def never_better(better, worse):
    """From a better to a worse gauge a verdict stays or becomes undecided, nothing else."""
    return worse is better or worse is Outcome.TOO_CLOSE


@given(
    st.floats(165.0, 195.0),
    st.sampled_from(EN837_CLASSES),
    st.sampled_from(EN837_CLASSES),
    st.sampled_from([160.0, 250.0, 400.0, 600.0]),
)
def test_a_gauge_of_a_worse_class_decides_nothing_more(sheet, opening, one, other, span):
    fine, coarse = sorted((one, other))
    fine_says, coarse_says = (
        outcome(sheet, opening, Gauge(range_pa=span * BAR, accuracy_class=grade))
        for grade in (fine, coarse)
    )
    assert never_better(fine_says, coarse_says)


@given(st.floats(165.0, 195.0), st.floats(0.01, 5.0), st.floats(0.0, 5.0))
def test_a_less_certain_certificate_decides_nothing_more(sheet, opening, u, more):
    assert never_better(
        outcome(sheet, opening, certificate(u)), outcome(sheet, opening, certificate(u + more))
    )


@given(st.floats(165.0, 195.0), st.floats(0.05, 1.0), st.floats(0.0, 6.0))
def test_a_gauge_that_shows_another_thing_going_down_decides_nothing_more(sheet, opening, u, way):
    assert never_better(
        outcome(sheet, opening, certificate(u)), outcome(sheet, opening, certificate(u, way))
    )


def test_a_reading_beyond_the_certificate_proves_nothing(sheet):
    short = Gauge(certificate=certificate(0.1).certificate[:3])  # up to 100 bar

    assert outcome(sheet, 179.0, certificate(0.1)) is Outcome.PASS
    assert outcome(sheet, 179.0, short) is Outcome.TOO_CLOSE
    assert outcome(sheet, 220.0, short) is Outcome.TOO_CLOSE


def test_classes_do_decide_differently(sheet):
    # Else the laws above would hold of a judge that says nothing.
    said = {
        outcome(sheet, 177.0, Gauge(range_pa=400 * BAR, accuracy_class=grade))
        for grade in (0.1, 2.5)
    }
    assert said == {Outcome.PASS, Outcome.TOO_CLOSE}
