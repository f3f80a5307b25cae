"""Control charts against worked examples of the handbook, published run lengths, known drifts."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from nozzlewright.measurement import Cause, NotMeasured, Quantity
from nozzlewright.measurement.control_chart import (
    D2,
    D4,
    DRIFT,
    WESTERN_ELECTRIC,
    ChartPoint,
    RunRule,
    charted,
    control_chart,
    ewma,
    run_signals,
    trend,
)

HANDBOOK = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]


def points(values, u=0.0, days=None):
    parts = {Cause("reading"): u}
    days = range(len(values)) if days is None else days
    return [
        ChartPoint(float(day), Quantity(float(value), "bar", parts))
        for day, value in zip(days, values, strict=True)
    ]


def test_flowrate_example_of_the_handbook():
    """NIST/SEMATECH e-Handbook, 6.3.2.2: mean 50.81, mean range 1.8778, limits 55.8041, 45.8159.

    The handbook prints 1.128 for d2; its limits follow from it to the last digit but one.
    """
    chart = control_chart(points(HANDBOOK))
    assert chart.centre == pytest.approx(50.81, abs=5e-5)
    assert chart.moving_range == pytest.approx(1.8778, abs=5e-5)
    assert chart.limits == pytest.approx((45.8159, 55.8041), abs=2e-4)
    assert chart.range_limit == pytest.approx(3.267 * 1.8778, abs=2e-3)
    assert not [one for one in chart.signals if one.rule is RunRule.BEYOND]


def test_moving_average_example_of_the_handbook():
    """NIST/SEMATECH e-Handbook, 6.3.2.4: start 50, s 2.0539, weight 0.3 (data from memory)."""
    data = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, *HANDBOOK]
    printed = [
        50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33,
        50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99,
    ]  # fmt: skip
    averages, reach = ewma(data, 50.0, 2.0539, weight=0.3, sigmas=3.0)
    assert averages == pytest.approx(printed, abs=0.0051)
    assert (50.0 + reach, 50.0 - reach) == pytest.approx((52.5884, 47.4115), abs=2e-4)


def test_constants_are_those_of_the_range_of_two_normal_values():
    """d2 = 2/sqrt(pi), d3^2 = 2 - 4/pi in closed form; D4 = 1 + 3 d3/d2."""
    d2, d3 = 2.0 / math.sqrt(math.pi), math.sqrt(2.0 - 4.0 / math.pi)
    assert pytest.approx(d2, abs=5e-4) == D2
    assert pytest.approx(1.0 + 3.0 * d3 / d2, abs=1.5e-3) == D4


def run_lengths(first_of, size, *, look_back, piece=100, drift=0.0, step=0.0, seed=1987):
    """Return how many points each of so many rows gives before it speaks.

    Rows that have not spoken go on in pieces; the last points go with them, as rules look back.
    """
    chance = np.random.default_rng(seed)
    tail, at, total = np.zeros((size, 0)), np.arange(size), np.zeros(size)
    while at.size:
        new = chance.standard_normal((at.size, piece)) + step
        new += drift * (total[at][:, None] + np.arange(1, piece + 1))
        z = np.concatenate([tail, new], axis=1)
        first = first_of(z)
        spoke = first < z.shape[1]
        total[at] += np.where(spoke, first - tail.shape[1] + 1, piece)
        tail, at = z[~spoke, -look_back:], at[~spoke]
    return total


def speaks_by(rules):
    return lambda z: run_signals(z, rules)[1]


@pytest.mark.parametrize(
    ("rules", "published", "rows"),
    [
        pytest.param(WESTERN_ELECTRIC, 91.75, 30_000, id="Champ & Woodall 1987, all four"),
        pytest.param((RunRule.BEYOND,), 370.4, 15_000, id="three sigma alone, 1/0.0027"),
        pytest.param(DRIFT, 370.0, 12_000, id="Lucas & Saccucci 1990, 0.2 and 2.86"),
    ],
)
def test_false_alarms_come_as_seldom_as_published(rules, published, rows):
    # Seven points before are all that the run rules see; of a mean, 0.8**60 is left after sixty.
    back = 60 if rules == DRIFT else 7
    lengths = run_lengths(speaks_by(rules), rows, look_back=back, piece=400)
    error = lengths.std() / math.sqrt(rows)

    assert lengths.mean() == pytest.approx(published, abs=3.5 * error)
    assert error < 0.012 * published


@pytest.mark.parametrize(
    ("weight", "sigmas", "step", "published"),
    [(0.2, 2.962, 0.5, 41.8), (0.2, 2.962, 1.0, 10.5), (0.2, 2.962, 2.0, 3.7),
     (0.1, 2.814, 0.5, 31.3), (0.1, 2.814, 1.0, 10.3), (0.1, 2.814, 2.0, 4.4)],
)  # fmt: skip
def test_a_weighted_mean_finds_a_step_as_soon_as_published(weight, sigmas, step, published):
    """Lucas & Saccucci 1990, as tabled in D. C. Montgomery, Introduction to Statistical Quality
    Control, table of average run lengths of EWMA schemes (from memory)."""

    def first(z):
        averages, reach = ewma(z, 0.0, 1.0, weight, sigmas)
        beyond = np.abs(averages) > reach
        return np.where(beyond.any(axis=1), beyond.argmax(axis=1), z.shape[1])

    lengths = run_lengths(first, 4_000, look_back=200, step=step)
    error = lengths.std() / math.sqrt(lengths.size)
    assert lengths.mean() == pytest.approx(published, abs=0.05 + 3.5 * error)


def six_rising(z):
    """L. S. Nelson, Journal of Quality Technology 16 (1984) 237, test 3: where it first speaks."""
    steps = np.sign(np.diff(z, axis=1))
    rows = np.lib.stride_tricks.sliding_window_view(steps, 5, axis=1).sum(axis=2)
    spoke = np.abs(rows) == 5
    return np.where(spoke.any(axis=1), spoke.argmax(axis=1) + 5, z.shape[1])


@pytest.mark.parametrize(
    ("truth", "rows", "sooner"),
    [
        pytest.param({}, 6_000, -3.0, id="nothing: false alarms more seldom"),
        pytest.param({"drift": 0.02}, 4_000, 0.5, id="drift of a fiftieth of sigma"),
        pytest.param({"drift": 0.05}, 4_000, 0.4, id="drift of a twentieth"),
        pytest.param({"drift": 0.2}, 4_000, 0.1, id="drift of a fifth"),
        pytest.param({"step": 0.5}, 6_000, 1.5, id="step of half a sigma"),
        pytest.param({"step": 1.0}, 12_000, 0.7, id="step of one sigma"),
    ],
)
def test_a_weighted_mean_serves_better_than_a_row_of_six(truth, rows, sooner):
    """Beside the four rules of Western Electric, on the same points."""

    def with_six(z):
        return np.minimum(run_signals(z, WESTERN_ELECTRIC)[1], six_rising(z))

    ours = run_lengths(speaks_by(WESTERN_ELECTRIC + DRIFT), rows, look_back=60, **truth)
    six = run_lengths(with_six, rows, look_back=60, **truth)
    gained = six.mean() - ours.mean()

    assert gained < sooner if sooner < 0.0 else gained > sooner


@pytest.mark.parametrize(
    ("z", "rule", "at"),
    [
        ([0.0, 3.1], RunRule.BEYOND, [1]),
        ([2.1, 0.0, 2.1], RunRule.TWO_OF_THREE, [2]),
        ([2.1, 0.0, 0.0, 2.1], RunRule.TWO_OF_THREE, []),
        ([2.1, -2.1, 2.0], RunRule.TWO_OF_THREE, []),
        ([1.1, 1.2, 0.2, 1.3, 1.4], RunRule.FOUR_OF_FIVE, [4]),
        ([1.1, 1.2, 1.2, 1.3, 0.1], RunRule.FOUR_OF_FIVE, [3]),
        ([0.1] * 8, RunRule.EIGHT, [7]),
        ([0.1] * 7 + [-0.1], RunRule.EIGHT, []),
        ([0.9] * 20, RunRule.WEIGHTED_MEAN, []),
        ([1.0] * 14, RunRule.WEIGHTED_MEAN, [13]),
        ([2.5, 2.5, 2.5, -0.1], RunRule.WEIGHTED_MEAN, [2]),
    ],
)
def test_each_rule_counts_what_it_says_on_either_side(z, rule, at):
    # Four of four beyond one sigma are four of five too, whatever came before.
    found = [one.index for one in run_signals(z, (rule,))[0]]
    assert found == at
    assert [one.index for one in run_signals([-x for x in z], (rule,))[0]] == at


@given(st.lists(st.floats(-4, 4), min_size=1, max_size=40))
def test_a_signal_never_depends_on_what_comes_after(z):
    whole = run_signals(z, WESTERN_ELECTRIC + DRIFT)[0]
    for cut in range(1, len(z)):
        part = run_signals(z[:cut], WESTERN_ELECTRIC + DRIFT)[0]
        assert part == tuple(one for one in whole if one.index < cut)


def test_the_baseline_is_kept_apart_from_what_is_watched():
    steady = [50.0, 51.0, 50.0, 51.0, 50.0, 51.0]
    alone = control_chart(points(steady), baseline=6)
    watched = control_chart(points([*steady, 60.0, 61.0]), baseline=6)
    assert watched.limits == alone.limits
    assert {one.index for one in watched.signals if one.rule is RunRule.BEYOND} == {6, 7}
    assert watched.range_signals == (6,)
    assert watched.beyond_doubt
    unsure = control_chart(points([*steady, 60.0, 61.0], u=6.0), baseline=6)
    assert not unsure.beyond_doubt
    assert unsure.speaks_now


def test_too_few_points_say_so():
    chart = control_chart(points([50.0, 51.0, 50.0]))
    assert isinstance(chart, NotMeasured)
    assert "4 checks" in chart.reason
    assert "there are 3" in chart.reason
    assert isinstance(trend(points([50.0, 51.0, 50.0, 51.0])), NotMeasured)
    assert isinstance(trend(points([1.0] * 6, days=[2.0] * 6)), NotMeasured)


def test_readings_that_never_differ_make_a_chart_all_the_same():
    chart = control_chart(points([5.0] * 6, u=0.1))
    assert chart.sigma > 0.0
    assert not [one for one in chart.signals if one.rule is RunRule.BEYOND]


def test_a_trend_is_that_of_weighted_least_squares():
    """Against numpy's own weighted fit, the stated uncertainties larger than the scatter."""
    rng = np.random.default_rng(3)
    x, u = np.arange(12.0), rng.uniform(0.5, 2.0, 12)
    y = 3.0 + 0.4 * x + 0.3 * u * rng.standard_normal(12)
    drawn = [
        ChartPoint(float(a), Quantity(float(b), "bar", {Cause("r"): float(c)}))
        for a, b, c in zip(x, y, u, strict=True)
    ]
    fitted, covariance = np.polyfit(x, y, 1, w=1.0 / u, cov="unscaled")
    found = trend(drawn)
    assert found.slope.value == pytest.approx(fitted[0])
    assert found.slope.standard_uncertainty == pytest.approx(math.sqrt(covariance[0, 0]))
    assert found.level.value == pytest.approx(fitted[0] * 11.0 + fitted[1])


def test_a_known_drift_is_found_and_its_day_is_named_before_it_bites():
    """Truth known: 181 bar, losing 0.05 bar a day, limit 178 bar, reached on day 60."""
    rng = np.random.default_rng(11)
    days = np.arange(0.0, 40.0, 2.0)
    early = covered = clear = 0
    for _ in range(400):
        values = 181.0 - 0.05 * days + 0.25 * rng.standard_normal(days.size)
        found = trend(points(values, u=0.05, days=days), lower=178.0, upper=184.0)
        clear += found.clear
        if not found.clear:
            continue
        truth = 60.0 - days[-1]
        early += found.days_earliest > truth
        low, high = found.slope.coverage_interval
        covered += low <= -0.05 <= high
        assert found.limit == 178.0
        assert 0.0 <= found.days_earliest <= found.days_left
    assert clear > 390
    # One-sided 95 %: the truth lies before the earliest day named in some one in twenty.
    assert early / clear == pytest.approx(0.05, abs=0.035)
    assert covered / clear == pytest.approx(0.94, abs=0.04)


def test_without_a_drift_one_is_claimed_in_one_of_twenty():
    rng = np.random.default_rng(5)
    claimed = sum(trend(points(rng.standard_normal(12), u=0.1)).clear for _ in range(800))
    assert claimed / 800 == pytest.approx(0.05, abs=0.025)


def test_a_limit_that_is_passed_already_leaves_no_days():
    found = trend(points([1.0, 2.0, 3.1, 4.0, 5.0]), upper=3.0)
    assert found.days_left == found.days_earliest == 0.0
    assert trend(points([1.0, 2.0, 3.1, 4.0, 5.0]), lower=0.0).days_left is None


def test_only_checks_that_gave_a_value_are_charted():
    given = [(0.0, NotMeasured("none")), (1.0, Quantity(2.0, "s"))]
    assert [one.day for one in charted(given)] == [1.0]


def test_a_reading_of_the_next_mark_is_no_signal_where_readings_are_rounded():
    """A value between two marks 0.5 apart is read as either: its scatter is half a step at most."""
    rng = np.random.default_rng(5)
    for true in (0.02, 0.2, 0.25):
        shown = np.round((true + rng.normal(0.0, 0.03, 60)) / 0.5) * 0.5
        chart = control_chart(points(shown, u=0.5 / math.sqrt(12.0)), baseline=10)
        assert not [one for one in chart.signals if one.rule is RunRule.BEYOND]
    mostly = np.array([0.0] * 4 + [0.5] + [0.0] * 20 + [0.5])
    assert control_chart(points(mostly), baseline=10).signals == ()
    moved = np.append(mostly, [1.0])
    spoken = {one.rule for one in control_chart(points(moved), baseline=10).speaks_now}
    assert RunRule.BEYOND in spoken


def test_more_scatter_never_makes_narrower_limits():
    """Twelve alike, with stated u of a step of 0.5; and the same with one a step off."""
    alike = control_chart(points([0.0] * 12, u=0.5 / math.sqrt(12.0)))
    one_off = control_chart(points([0.0] * 8 + [0.5] + [0.0] * 3, u=0.5 / math.sqrt(12.0)))
    assert one_off.sigma >= alike.sigma == pytest.approx(0.25)
