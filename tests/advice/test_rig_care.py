"""Each thing that keeps a rig from being fit has its act; what runs out is told with its day."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nozzlewright.advice.rig_care import NO_LIMITS, coming_due, due_text, to_do
from nozzlewright.bench import (
    BenchConditions,
    Fluid,
    Gauge,
    OilFilter,
    ReferenceNozzle,
    Rig,
    RigCheck,
    RigLimits,
    TemperatureProbe,
)
from nozzlewright.judging import Fitness, PastCheck, RigItem, judge_rig
from nozzlewright.judging.rig import marks_of
from nozzlewright.measurement import Cause, Quantity

BAR = 1e5
LIMITS = RigLimits(
    blank_fall_pa=3 * BAR, blank_fall_s=60.0, blank_fall_from_pa=150 * BAR, zero_pa=1 * BAR,
    temperature_from_k=288.15, temperature_to_k=303.15,
    oil_days=60.0, filter_days=60.0, remind_days=30.0, baseline=6,
)  # fmt: skip


def known(value, u, unit, name="read now"):
    return Quantity(value, unit, {Cause(name): u})


def card(due="2026-11-01", filled="2026-02-20"):
    nozzle = ReferenceNozzle(
        "N-0", "2026-01-01", known(181 * BAR, 0.2 * BAR, "Pa", "kept"), 3 * BAR
    )
    return BenchConditions(
        gauge=Gauge("G-1", next_calibration_on=due),
        fluid=Fluid("oil", filled_on=filled),
        rig=Rig(
            "R-1",
            filter=OilFilter("paper", "2026-02-20"),
            probe=TemperatureProbe("T-1", 0.3, "2025-12-01", "2026-12-01"),
            reference=nozzle,
            limits=LIMITS,
        ),
    )


def found(made_on="2026-03-04", opening=181.2, **changes):
    sound = {
        "oil_temperature": known(294.15, 0.4, "K"),
        "zero": known(0.1 * BAR, 0.1 * BAR, "Pa"),
        "blank_decay_rate": known(1e-4, 1e-5, "1/s"),
        "reference_opening": known(opening * BAR, 0.2 * BAR, "Pa"),
    }
    return RigCheck(made_on=made_on, **sound | changes)


def acts(verdict):
    return {one.item: one.do for one in to_do(verdict)}


def test_a_sound_rig_asks_for_nothing_and_names_what_runs_out_first():
    verdict = judge_rig(found(), card())
    assert verdict.fitness is Fitness.FIT
    assert to_do(verdict) == ()
    assert [(one.item, one.on) for one in coming_due(verdict)] == [
        (RigItem.FILTER, date(2026, 4, 21)),
        (RigItem.OIL, date(2026, 4, 21)),
        (RigItem.GAUGE, date(2026, 11, 1)),
        (RigItem.PROBE, date(2026, 12, 1)),
    ]


@pytest.mark.parametrize(
    ("changes", "item", "words"),
    [
        ({"blank_decay_rate": known(1e-3, 1e-5, "1/s")}, RigItem.BLANK, "Look for the leak"),
        ({"zero": known(2 * BAR, 0.1 * BAR, "Pa")}, RigItem.ZERO, "tap the gauge"),
        ({"oil_temperature": known(280.0, 0.4, "K")}, RigItem.TEMPERATURE, "Warm or cool"),
        ({"opening": 186.0}, RigItem.OPENING, "dead-weight tester"),
        ({"opening": 183.9}, RigItem.OPENING, "more slow strokes"),
        ({"zero": RigCheck("2026-03-04").zero}, RigItem.ZERO, "Let the pressure off and read"),
    ],
)
def test_what_is_wrong_has_one_act_of_its_own(changes, item, words):
    verdict = judge_rig(found(**changes), card())
    assert verdict.fitness is not Fitness.FIT
    assert list(acts(verdict)) == [item]
    assert words in acts(verdict)[item]


def test_what_ran_out_is_renewed_and_stays_due():
    verdict = judge_rig(found(), card(due="2026-03-01", filled="2025-11-01"))
    assert verdict.fitness is Fitness.OUT
    assert set(acts(verdict)) == {RigItem.GAUGE, RigItem.OIL}
    first = coming_due(verdict)[0]
    assert (first.item, due_text(first, date(2026, 3, 4))) == (RigItem.OIL, "2025-12-31: run out")


def test_a_card_without_limits_asks_for_them():
    bare = BenchConditions(gauge=Gauge("G-1"), rig=Rig("R-1"))
    verdict = judge_rig(found(), bare)
    assert verdict.fitness is Fitness.UNCHECKED
    assert [(one.item, one.do) for one in to_do(verdict)] == [(None, NO_LIMITS)]
    assert coming_due(verdict) == ()


def test_a_drift_is_due_on_the_day_on_which_it_may_reach_its_limit():
    conditions = card()
    marks = marks_of(conditions)
    falls = [181.2, 181.1, 181.2, 181.1, 181.2, 181.1, 180.8, 180.5, 180.2, 179.9, 179.6, 179.3]
    first = date(2026, 1, 5)
    past = [
        PastCheck(found((first + timedelta(days=5 * n)).isoformat(), fall), marks)
        for n, fall in enumerate(falls)
    ]
    verdict = judge_rig(found("2026-03-08", 179.0), conditions, past)
    drifting = [one for one in coming_due(verdict) if one.drifts]
    assert [one.item for one in drifting] == [RigItem.OPENING]
    assert drifting[0].on == verdict.charts[RigItem.OPENING].reaches_on
    assert "gauge or the nozzle" in acts(verdict)[RigItem.OPENING]


@given(st.dates(date(2026, 1, 1), date(2027, 12, 31)))
def test_a_day_is_told_from_every_day_and_ran_out_only_after_it(today):
    one = next(x for x in coming_due(judge_rig(found(), card())) if x.item is RigItem.GAUGE)
    text = due_text(one, today)
    assert text.startswith("2026-11-01")
    assert ("run out" in text) == (today > one.on)
