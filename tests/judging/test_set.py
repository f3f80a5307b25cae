from __future__ import annotations

import math
import random
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nozzlewright.bench import Condition
from nozzlewright.judging import InjectorOutcome, Outcome, judge_set
from nozzlewright.measurement import NotMeasured, Quantity

EVEN = (178.8, 179.0, 179.2, 179.1, 178.9, 179.3)


def test_the_level_of_the_gauge_cancels_in_the_spread(bench):
    good, bad = (
        judge_set(bench.set_of(*EVEN, level_bar=level), bench.sheet()) for level in (0.0, 4.0)
    )

    assert bad.spread.standard_uncertainty == pytest.approx(good.spread.standard_uncertainty)
    assert bad.spread.standard_uncertainty == pytest.approx(0.1e5 * math.sqrt(2.0))
    assert bad.spread_outcome is good.spread_outcome is Outcome.PASS
    assert bad.mean.standard_uncertainty > 3.9e5


def test_readings_of_two_sittings_share_no_level(bench):
    engine_set = bench.set_of(*EVEN, level_bar=2.0)
    first = engine_set.injectors[0]
    gauge = first.as_left.gauge
    level = {replace(c, scope="another day") if c.name == "gauge level" else c: part
             for c, part in gauge.opening_pressure.contributions.items()}  # fmt: skip
    moved = replace(gauge, opening_pressure=replace(gauge.opening_pressure, contributions=level))
    first = replace(first, as_left=replace(first.as_left, gauge=moved))
    apart = replace(engine_set, injectors=(first, *engine_set.injectors[1:]))

    assert judge_set(engine_set, bench.sheet()).spread_outcome is Outcome.PASS
    assert judge_set(apart, bench.sheet()).spread_outcome is Outcome.TOO_CLOSE


def test_a_spread_beyond_its_limit_fails_though_each_injector_is_in_its_band(bench):
    verdict = judge_set(bench.set_of(176.0, 179.0, 178.0, 182.0, 179.0, 178.5), bench.sheet())

    assert verdict.spread.value == pytest.approx(6e5)
    assert verdict.spread_outcome is Outcome.FAIL
    assert {one.outcome for one in verdict.injectors} == {InjectorOutcome.FIT}


def test_a_spread_at_its_limit_is_too_close_to_tell(bench):
    verdict = judge_set(bench.set_of(176.5, 179.0, 178.0, 181.45, 179.0, 178.5), bench.sheet())

    assert verdict.spread_outcome is Outcome.TOO_CLOSE
    assert 0.05 < verdict.spread_probability < 0.95


def _with_a_poor_reading(bench, engine_set, place, own_bar):
    """Let one injector of a set be read with far more scatter than the others."""
    worse = bench.set_of(*(0.0,) * place, 179.0, own_bar=own_bar).injectors[place]
    return replace(
        engine_set,
        injectors=tuple(
            worse if index == place else one for index, one in enumerate(engine_set.injectors)
        ),
    )


def test_one_poor_reading_does_not_hide_a_spread_that_the_others_prove_too_wide(bench):
    good = bench.set_of(176.0, 179.0, 178.0, 182.0, 179.0, 178.5)
    poor = _with_a_poor_reading(bench, good, 4, 1.0)

    assert judge_set(poor, bench.sheet()).spread_outcome is Outcome.FAIL
    low, _ = judge_set(poor, bench.sheet()).spread.interval
    assert low > bench.sheet().spread_pa


def test_a_poor_reading_that_makes_the_spread_proves_nothing(bench):
    even = bench.set_of(173.5, 173.6, 173.4, 173.5, 179.0, 173.5)
    poor = _with_a_poor_reading(bench, even, 4, 1.0)

    assert judge_set(even, bench.sheet()).spread_outcome is Outcome.FAIL
    assert judge_set(poor, bench.sheet()).spread_outcome is Outcome.TOO_CLOSE


def test_a_set_with_one_reading_missing_has_no_spread_that_passes(bench):
    whole = bench.set_of(*EVEN)
    last = replace(whole.injectors[-1], as_left=bench.sitting(None))
    verdict = judge_set(replace(whole, injectors=(*whole.injectors[:-1], last)), bench.sheet())

    assert verdict.spread_outcome is Outcome.NOT_DONE
    assert isinstance(verdict.spread, Quantity)
    assert any(caution.name == "incomplete set" for caution in verdict.spread.cautions)


def test_a_spread_already_too_large_fails_whatever_the_missing_one_reads(bench):
    whole = bench.set_of(170.0, 180.0, 179.0)
    last = replace(whole.injectors[-1], as_left=bench.sitting(None))
    verdict = judge_set(replace(whole, injectors=(*whole.injectors[:-1], last)), bench.sheet())

    assert verdict.spread_outcome is Outcome.FAIL


def test_one_injector_has_no_spread(bench):
    verdict = judge_set(bench.set_of(179.0), bench.sheet())

    assert isinstance(verdict.spread, NotMeasured)
    assert verdict.spread_outcome is Outcome.NOT_DONE
    assert verdict.odd_one_out is None


def test_without_a_limit_the_spread_is_told_and_not_judged(bench):
    verdict = judge_set(bench.set_of(170.0, 190.0), bench.sheet(spread_pa=None))

    assert verdict.spread_outcome is Outcome.NOT_ASKED
    assert verdict.spread.value == pytest.approx(20e5)


def test_a_gauge_of_unknown_level_still_tells_the_spread(bench):
    unknown = (bench.caution("gauge unknown", "its class is not stated"),)
    verdict = judge_set(bench.set_of(*EVEN, level_bar=0.0, cautions=unknown), bench.sheet())

    assert verdict.spread_outcome is Outcome.PASS
    assert not any(caution.name == "gauge unknown" for caution in verdict.spread.cautions)


# --- the odd one out ---------------------------------------------------------------------------


def test_the_odd_one_out_is_named_though_it_is_in_its_band(bench):
    verdict = judge_set(bench.set_of(178.8, 179.0, 179.2, 182.4, 178.9, 179.3), bench.sheet())

    assert verdict.odd_one_out.cylinder == 4
    assert verdict.odd_one_out.distance.value == pytest.approx(3.36e5)
    assert "above the mean of the others" in verdict.odd_one_out.text


def test_an_evenly_scattered_set_has_no_odd_one(bench):
    assert judge_set(bench.set_of(*EVEN), bench.sheet()).odd_one_out is None
    scattered = bench.set_of(175.0, 176.0, 177.0, 178.0, 179.0, 180.0)
    assert judge_set(scattered, bench.sheet()).odd_one_out is None


def test_readings_too_poor_to_tell_name_no_odd_one(bench):
    verdict = judge_set(
        bench.set_of(178.8, 179.0, 179.2, 182.4, 178.9, 179.3, own_bar=3.0), bench.sheet()
    )

    assert verdict.odd_one_out is None


def test_of_two_injectors_neither_is_the_odd_one(bench):
    assert judge_set(bench.set_of(170.0, 182.0), bench.sheet()).odd_one_out is None


# --- sittings ----------------------------------------------------------------------------------


def test_the_latest_sitting_of_each_injector_counts_and_as_found_is_kept(bench):
    found, left = bench.sitting(170.0), bench.sitting(186.0)
    engine_set = bench.engine_set(
        bench.injector(1, found, left), bench.injector(2, found), condition=Condition.NEW
    )
    verdict = judge_set(engine_set, bench.sheet())

    assert [one.as_left for one in verdict.injectors] == [True, False]
    assert [one.condition for one in verdict.injectors] == [Condition.NEW, Condition.USED]
    assert [one.injector.cylinder for one in verdict.as_found] == [1, 2]
    assert verdict.spread.value == pytest.approx(16e5)


# --- laws --------------------------------------------------------------------------------------

openings = st.lists(st.floats(172.0, 186.0), min_size=2, max_size=8)
a_few = settings(max_examples=40, deadline=None)


@given(openings, st.floats(-3.0, 3.0))
@a_few
def test_a_common_offset_of_the_gauge_moves_the_level_and_not_the_spread(bench, values, offset):
    plain = judge_set(bench.set_of(*values), bench.sheet())
    moved = judge_set(bench.set_of(*(value + offset for value in values)), bench.sheet())

    assert moved.spread.value == pytest.approx(plain.spread.value, abs=1.0)
    assert moved.mean.value == pytest.approx(plain.mean.value + offset * 1e5)
    assert moved.spread_outcome is plain.spread_outcome or (
        abs(plain.spread_probability - 0.95) < 0.01 or abs(plain.spread_probability - 0.05) < 0.01
    )


@given(openings, st.randoms(use_true_random=False))
@a_few
def test_the_order_of_the_injectors_does_not_matter(bench, values, shuffler):
    engine_set = bench.set_of(*values)
    mixed = list(engine_set.injectors)
    random.Random(shuffler.random()).shuffle(mixed)  # noqa: S311 - a shuffle, not a secret
    a = judge_set(engine_set, bench.sheet())
    b = judge_set(replace(engine_set, injectors=tuple(mixed)), bench.sheet())

    assert a.spread_outcome is b.spread_outcome
    assert a.spread.value == b.spread.value
    assert (a.odd_one_out and a.odd_one_out.cylinder) == (b.odd_one_out and b.odd_one_out.cylinder)
    by_cylinder = {one.injector.cylinder: one.outcome for one in b.injectors}
    assert by_cylinder == {one.injector.cylinder: one.outcome for one in a.injectors}


@given(openings, st.floats(0.0, 5.0))
@a_few
def test_a_wider_limit_never_makes_the_spread_worse(bench, values, wider):
    rank = {Outcome.FAIL: 0, Outcome.TOO_CLOSE: 1, Outcome.PASS: 2}
    engine_set = bench.set_of(*values)
    narrow = judge_set(engine_set, bench.sheet(spread_pa=4e5))
    wide = judge_set(engine_set, bench.sheet(spread_pa=4e5 + wider * 1e5))

    assert rank[wide.spread_outcome] >= rank[narrow.spread_outcome]


@given(openings, st.floats(0.0, 2.0))
@a_few
def test_poorer_readings_never_make_a_spread_pass(bench, values, worse):
    good = judge_set(bench.set_of(*values, own_bar=0.2), bench.sheet())
    poor = judge_set(bench.set_of(*values, own_bar=0.2 + worse), bench.sheet())

    if good.spread_outcome is not Outcome.PASS and good.spread_probability < 0.94:
        assert poor.spread_outcome is not Outcome.PASS


SHAPES = {
    "two apart, the others between": (0.0, 0.5, 0.5, 0.5, 0.5, 1.0),
    "three low, three high": (0.0, 0.0, 0.0, 1.0, 1.0, 1.0),
    "one high": (0.0, 0.0, 0.0, 0.0, 0.0, 1.0),
    "even steps": (0.0, 0.2, 0.4, 0.6, 0.8, 1.0),
}


def _spread_outcomes(bench, true_spread_bar, shape, own_bar, trials):
    rng = np.random.default_rng(8984)
    sheet = bench.silent_sheet(spread_pa=5e5)
    truth = 177.0 + true_spread_bar * np.array(shape)
    outcomes = []
    for _ in range(trials):
        shown = truth + rng.normal(0.0, 1.0) + own_bar * rng.standard_normal(truth.size)
        verdict = judge_set(bench.set_of(*shown.tolist(), own_bar=own_bar), sheet)
        outcomes.append(verdict.spread_outcome)
    return outcomes


@pytest.mark.slow
@pytest.mark.parametrize("shape", SHAPES.values(), ids=SHAPES)
def test_a_set_just_beyond_its_limit_passes_in_five_per_cent_of_cases_at_most(bench, shape):
    trials = 300
    passed = _spread_outcomes(bench, 5.0001, shape, 0.4, trials).count(Outcome.PASS)

    assert passed / trials <= 0.05 + 3.0 * math.sqrt(0.05 * 0.95 / trials)


@pytest.mark.slow
@pytest.mark.parametrize("shape", SHAPES.values(), ids=SHAPES)
def test_a_set_just_within_its_limit_fails_in_five_per_cent_of_cases_at_most(bench, shape):
    trials = 300
    failed = _spread_outcomes(bench, 4.9999, shape, 0.4, trials).count(Outcome.FAIL)

    assert failed / trials <= 0.05 + 3.0 * math.sqrt(0.05 * 0.95 / trials)


@pytest.mark.slow
@pytest.mark.parametrize("shape", SHAPES.values(), ids=SHAPES)
def test_readings_of_unequal_worth_fail_a_set_just_within_in_five_per_cent_at_most(bench, shape):
    rng = np.random.default_rng(8984)
    sheet, trials, failed = bench.silent_sheet(spread_pa=5e5), 300, 0
    truth = 177.0 + 4.9999 * np.array(shape)
    for _ in range(trials):
        own = rng.choice([0.1, 0.4, 1.2], truth.size)
        shown = truth + own * rng.standard_normal(truth.size)
        read = [
            bench.set_of(*shown[: place + 1].tolist(), own_bar=float(own[place])).injectors[place]
            for place in range(truth.size)
        ]
        engine_set = replace(bench.set_of(*shown.tolist()), injectors=tuple(read))
        failed += judge_set(engine_set, sheet).spread_outcome is Outcome.FAIL

    assert failed / trials <= 0.05 + 3.0 * math.sqrt(0.05 * 0.95 / trials)


def test_a_set_well_within_its_limit_passes_nearly_always(bench):
    outcomes = _spread_outcomes(bench, 3.0, SHAPES["even steps"], 0.4, 40)

    assert outcomes.count(Outcome.PASS) >= 30


def test_a_set_well_beyond_its_limit_fails_nearly_always(bench):
    outcomes = _spread_outcomes(bench, 7.5, SHAPES["one high"], 0.4, 40)

    assert outcomes.count(Outcome.FAIL) >= 30


@pytest.mark.slow
@pytest.mark.parametrize("true_spread", [0.0, 0.5, 2.0, 6.0])
@pytest.mark.parametrize("shape", SHAPES.values(), ids=SHAPES)
def test_the_interval_of_a_spread_holds_the_true_one(bench, shape, true_spread):
    rng = np.random.default_rng(7)
    sheet = bench.silent_sheet()
    trials, inside = 200, 0
    truth = 177.0 + true_spread * np.array(shape)
    for _ in range(trials):
        shown = truth + 0.4 * rng.standard_normal(truth.size)
        spread = judge_set(bench.set_of(*shown.tolist(), own_bar=0.4), sheet).spread
        low, high = spread.interval
        inside += low <= true_spread * 1e5 <= high

    assert inside / trials >= 0.95 - 3.0 * math.sqrt(0.05 * 0.95 / trials)
