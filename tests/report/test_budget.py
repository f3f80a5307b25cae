"""The whole budget of a value, and what would make it smaller."""

from __future__ import annotations

import json
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nozzlewright.analysis.by_hand import read_hand
from nozzlewright.bench import BenchConditions, DropWindow, Fluid, Gauge, Rig
from nozzlewright.capture import HandReadings, TimedDrop
from nozzlewright.measurement import Cause, Quantity
from nozzlewright.physics import EN837_CLASSES
from nozzlewright.report.budget import (
    VALUE_KEYS,
    budget_as_data,
    budget_as_text,
    budget_of,
    budgets_as_text,
    budgets_of,
    heaped,
    named_values,
    what_to_improve,
)
from nozzlewright.report.reading import reading_as_data
from nozzlewright.report.wording import TradeUnit

BAR = 1e5
NM = TradeUnit("nm", "nm", 1.0)
LEVEL = Cause("gauge level", "Monday", rectangular=True)


def plain(text):
    return str(text).replace("\N{NO-BREAK SPACE}", " ")


def of(parts, value=1.0, unit="1"):
    return Quantity(value, unit, {Cause(name): part for name, part in parts.items()})


# -- published budgets -----------------------------------------------------------------------------


def test_the_end_gauge_of_the_guide():
    """PUB: JCGM 100:2008, H.1 (contributions in nm; u 31.7 nm, nu 16.7, U99 93 nm)."""
    parts = {"calibration of the standard": 25.0, "difference, random": 5.8,
             "comparator, random": 3.9, "comparator, systematic": 6.7,
             "expansion": 2.9, "temperature difference": 16.6}  # fmt: skip
    freedom = dict(zip(map(Cause, parts), (18, 24, 5, 8, 50, 2), strict=True))
    budget = budget_of(of(parts, 50_000_838.0), degrees_of_freedom=freedom, unit=NM)

    assert budget.standard_uncertainty == pytest.approx(31.7, abs=0.05)
    assert budget.degrees_of_freedom == pytest.approx(16.7, abs=0.06)  # printed truncated
    assert [row.cause for row in budget.rows][:2] == [
        "calibration of the standard", "temperature difference",
    ]  # fmt: skip
    assert budget.rows[0].share == pytest.approx(25.0**2 / 31.7**2, rel=4e-3)
    # Table G.2: t95 for 16 degrees of freedom is 2.12.
    assert budget.coverage_factor == pytest.approx(2.12, abs=5e-3)
    assert "Effective degrees of freedom: 16.8" in budget.freedom
    assert "16 degrees of freedom" in budget.coverage


def test_the_product_of_three_of_the_guide():
    """PUB: JCGM 100:2008, G.4.1 (u 1.03 %, nu 19.0, U95 2.15 %)."""
    parts = {"x1": 0.25, "x2": 0.57, "x3": 0.82}
    freedom = dict(zip(map(Cause, parts), (9, 4, 14), strict=True))
    budget = budget_of(of(parts, 100.0), degrees_of_freedom=freedom, unit=NM)

    assert budget.standard_uncertainty == pytest.approx(1.03, abs=5e-3)
    assert budget.degrees_of_freedom == pytest.approx(19.0, abs=0.05)
    assert budget.coverage_factor * budget.standard_uncertainty == pytest.approx(
        2.15, abs=0.015
    )  # here 18.98 is truncated to 18, there rounded to 19


def test_a_cause_known_with_one_degree_is_told_to_go_by_cochrans_rule():
    # W. G. Cochran, Biometrics 20 (1964) 191: t = sum u^2 t / sum u^2; t is 1.960 and 12.706.
    budget = budget_of(Quantity(1.0, "Pa", {Cause("a"): 0.3, Cause("b", degrees=1.0): 0.1}))

    assert "Cochran" in budget.freedom
    assert budget.coverage_factor == pytest.approx((0.09 * 1.960 + 0.01 * 12.706) / 0.10, rel=2e-3)


def test_the_weight_of_ten_kilograms():
    """PUB: EA-4/02 M:2022, S2 (from memory, recomputed): 29.3 mg from five contributions."""
    budget = budget_of(
        of({"standard": 22.5, "drift": 8.95, "difference": 14.4, "comparator": 5.77, "air": 5.77},
           1e7), unit=NM,
    )  # fmt: skip
    assert budget.standard_uncertainty == pytest.approx(29.3, abs=0.05)


def test_the_caliper_whose_scale_outweighs_all():
    """PUB: EA-4/02 M:2022, S10 (from memory): one rectangular cause gives k = 1.65."""
    one = Quantity(1.0, "1", {Cause("scale", rectangular=True): 29.0, Cause("wear"): 1.0})

    assert budget_of(one, unit=NM).coverage_factor == pytest.approx(1.65, abs=0.01)


# -- laws ------------------------------------------------------------------------------------------

parts_of = st.dictionaries(
    st.sampled_from([f"cause {n}" for n in range(12)]),
    st.floats(1e-6, 1e6) | st.floats(-1e6, -1e-6),
    min_size=1,
    max_size=12,
)


@given(parts_of)
def test_the_shares_add_up_and_the_squares_make_the_whole(parts):
    budget = budget_of(of(parts, 5.0), unit=NM)

    assert math.fsum(row.share for row in budget.rows) == pytest.approx(1.0)
    assert math.hypot(*(row.contribution for row in budget.rows)) == pytest.approx(
        budget.standard_uncertainty
    )
    sizes = [row.contribution for row in budget.rows]
    assert sizes == sorted(sizes, reverse=True)


@given(parts_of, st.floats(-1e6, 1e6))
def test_one_more_cause_never_makes_a_value_surer(parts, more):
    before = of(parts, 5.0)
    after = before.with_contribution(Cause("one more"), more)

    assert budget_of(after).standard_uncertainty >= budget_of(before).standard_uncertainty * (
        1 - 1e-12
    )


@given(parts_of, st.integers(2, 8))
def test_a_heap_of_small_causes_loses_nothing(parts, most):
    budget = budget_of(of(parts, 5.0), unit=NM)
    bars = heaped(budget, most)

    assert len(bars) <= max(most, 1) + 1
    assert math.fsum(share for *_, share in bars) == pytest.approx(1.0)
    assert math.hypot(*(length for _, _, length, _ in bars)) == pytest.approx(1.0)


def test_a_value_that_is_taken_as_known_has_an_empty_budget():
    budget = budget_of(Quantity(5.0, "s"))

    assert budget.rows == ()
    assert budget.improve == ()
    assert "taken as known" in budget.coverage
    json.dumps(budget_as_data(budget), allow_nan=False)
    assert "taken as known" in budget_as_text(budget)


# -- what would make it smaller --------------------------------------------------------------------


def opening(**parts_bar):
    parts = {Cause(name.replace("_", " "), "i"): u * BAR for name, u in parts_bar.items()}
    return Quantity(176 * BAR, "Pa", parts)


def test_halving_the_largest_cause_is_told_with_what_it_comes_to():
    first, *rest = what_to_improve(opening(repeatability_of_the_opening=0.8, gauge_level=0.6))

    # sqrt(0.4^2 + 0.6^2) = 0.721; 0.6 without it; times 1.96.
    assert plain(first).startswith("Repeatability of the opening makes 64% of the variance")
    assert "now ± 2.0 bar" in plain(first)
    assert "Halved, it would be ± 1.4 bar; without it, ± 1.2 bar." in plain(first)
    assert "four times as many" in first
    assert len(rest) == 1


def test_nothing_is_said_of_a_cause_that_hardly_counts():
    told = what_to_improve(opening(repeatability_of_the_opening=0.8, gauge_level=0.2))

    assert len(told) == 1
    assert "gauge level" not in told[0].lower()


def by_class(grade, span_bar=400.0, warm_u=1.0):
    gauge = Gauge(range_pa=span_bar * BAR, accuracy_class=grade)
    return read_hand(
        HandReadings(
            source="card",
            digest="0" * 64,
            opening_pa=tuple(x * BAR for x in (175.0, 176.0, 176.0, 175.0)),
            drops=(TimedDrop(150 * BAR, 100 * BAR, 26.0),),
            reading_resolution_pa=0.5 * BAR,
        ),
        BenchConditions(
            sitting="Monday",
            gauge=gauge,
            fluid=Fluid("invented oil", ((293.15, 4.0e-6), (313.15, 2.6e-6)), 0.01),
            rig=Rig("R-1", volume_m3=Quantity(3e-5, "m^3", {Cause("rig volume", "R-1"): 1.5e-6})),
            window=DropWindow(150 * BAR, 100 * BAR, 313.15),
            oil_temperature=Quantity(293.15, "K", {Cause("temperature", "Monday"): warm_u}),
        ),
    ), BenchConditions(
        gauge=gauge, oil_temperature=Quantity(293.15, "K", {Cause("temperature", "Monday"): warm_u})
    )


@pytest.mark.parametrize(("grade", "better"), [(1.0, 0.6), (2.5, 1.6), (4.0, 2.5)])
def test_the_next_better_class_is_told_with_what_it_would_give(grade, better):
    found, conditions = by_class(grade)
    told = [plain(x) for x in what_to_improve(found.opening_pressure, conditions)]
    (words,) = [text for text in told if "class" in text and "instead of" in text]

    assert f"class {better:g} instead of {grade:g}" in words
    would = by_class(better)[0].opening_pressure
    low, high = would.coverage_interval
    said = float(words.split("± ")[1].split(" bar")[0])
    assert said == pytest.approx((high - low) / 2 / BAR, rel=0.03)


def test_no_better_class_is_told_where_there_is_none_or_a_certificate():
    found, conditions = by_class(0.1)
    assert not [x for x in what_to_improve(found.opening_pressure, conditions) if "instead" in x]


def test_an_oil_temperature_that_was_not_taken_is_asked_for():
    drop = Quantity(20.0, "s", {Cause("temperature", "Monday"): 1.0, Cause("decay fit"): 0.2})
    told = [plain(x) for x in what_to_improve(drop, BenchConditions())]

    (words,) = [text for text in told if "was not taken" in text]
    assert "Taken to 0.5 K, it would be ±" in words


def test_a_better_thermometer_would_give_what_is_told():
    found, conditions = by_class(0.25, warm_u=3.0)
    told = [plain(x) for x in what_to_improve(found.hold.drop_time_at_reference, conditions)]
    (words,) = [text for text in told if "is known to 3 K" in text]
    low, high = by_class(0.25, warm_u=0.5)[0].hold.drop_time_at_reference.coverage_interval

    said = float(words.split("± ")[1].split(" s")[0])
    assert said == pytest.approx((high - low) / 2, rel=0.05)


def test_a_rig_whose_give_is_reckoned_is_to_be_measured():
    parts = {"fluid stiffness": 0.32, "rig volume": 0.23, "wall compliance": 0.17}
    drop = of({**parts, "temperature": 0.21}, 17.0, "s")
    give = math.hypot(*parts.values())
    told = [plain(x) for x in what_to_improve(drop, BenchConditions())]
    (words,) = [text for text in told if "Measured with a syringe to" in text]

    assert f"known to {give / 17:.1%}" in words
    assert f"would be ± {1.96 * math.hypot(give / 2, 0.21):.2f} s" in words
    measured = Rig(compliance=Quantity(2e-14, "m^3/Pa", {Cause("rig compliance"): 1e-15}))
    again = what_to_improve(drop, BenchConditions(rig=measured))
    assert not any("Measured with a syringe to" in text for text in again)
    small = of({"rig volume": 0.02, "temperature": 0.21}, 17.0, "s")
    assert not any("syringe to" in text for text in what_to_improve(small, BenchConditions()))


# -- values of a test ------------------------------------------------------------------------------


def test_every_measured_value_of_a_test_has_a_budget_with_what_it_shares():
    found, conditions = by_class(1.0)
    budgets = dict(budgets_of(found, conditions))

    assert tuple(one.key for one in named_values(found)) == VALUE_KEYS
    assert set(budgets) == {
        one.key for one in named_values(found) if isinstance(one.measured, Quantity)
    }
    level = next(row for row in budgets["opening"].rows if row.cause == "gauge level")
    assert "Drop time as shown" in level.shared_with
    assert level.law == "even within a bound"
    own = next(row for row in budgets["opening"].rows if row.cause.startswith("repeatability"))
    assert own.shared_with == ()


def test_a_budget_is_strict_data_and_text_for_a_terminal():
    found, conditions = by_class(1.0)
    for key, budget in budgets_of(found, conditions):
        data = json.loads(json.dumps(budget_as_data(budget), allow_nan=False))
        assert math.fsum(one["share_of_variance"] for one in data["causes"]) == pytest.approx(1.0)
        assert data["standard_uncertainty"] == pytest.approx(budget.standard_uncertainty), key
        text = budget_as_text(budget)
        assert all(len(line) <= 100 for line in text.splitlines())
        assert plain(budget.standard_text) in text
    assert "What the uncertainty is made of" in budgets_as_text(budgets_of(found))
    assert "Nothing was measured" in budgets_as_text(())


def test_the_data_of_a_reading_say_the_share_of_each_cause():
    found, _ = by_class(1.0)
    budget = reading_as_data(found)["opening_pressure"]["budget"]

    assert math.fsum(one["share_of_variance"] for one in budget) == pytest.approx(1.0)
    assert [one["even_within_a_bound"] for one in budget if one["cause"].startswith("gauge")] == [
        True
    ]


def test_evidence_by_its_digest_is_not_shown_to_a_reader():
    own = Quantity(1.0, "s", {Cause("decay fit", f"{'5b' * 31}.parquet, hold at 3.0 s"): 0.1})

    assert "of this test alone" in budget_of(own).rows[0].source


@pytest.mark.parametrize("grade", EN837_CLASSES)
def test_the_share_of_the_class_is_that_of_its_permissible_error(grade):
    found, _ = by_class(grade)
    opening_value = found.opening_pressure
    row = next(r for r in budget_of(opening_value).rows if r.cause == "gauge level")

    assert row.contribution == pytest.approx(grade * 4.0 / math.sqrt(3.0))
