"""A reading by hand carries what a study of fitters found, and its intervals hold the truth."""

from __future__ import annotations

import csv
import math
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from nozzlewright.analysis import read_hand
from nozzlewright.analysis.fitter_share import FITTER, INTERACTION, OF_ALL, REPEATABILITY
from nozzlewright.analysis.gauge_study import GaugeStudy, StudyReading, gauge_study, reading_study
from nozzlewright.analysis.rig_check import check_rig
from nozzlewright.bench import (
    BenchConditions,
    BlankPlug,
    DecisionRule,
    DropWindow,
    Gauge,
    ReadingStudies,
    ReadingStudy,
    Rig,
    RigReadings,
)
from nozzlewright.bench.reading_study import FAR
from nozzlewright.capture import HandReadings, TimedDrop, WatchedHold
from nozzlewright.judging import Outcome
from nozzlewright.judging.decision_rule import decide
from nozzlewright.judging.rig import as_charted, as_shown
from nozzlewright.measurement import Cause, NotMeasured, Quantity, difference

BAR = 1e5
SOURCE, OTHER = "A. N. Other", "S. O. Else"


def card(*opening_bar, source="before", fitter=SOURCE, drops=(), eye_bar=0.05):
    return HandReadings(
        source=source,
        digest="0" * 64,
        opening_pa=tuple(one * BAR for one in opening_bar),
        drops=tuple(TimedDrop(150 * BAR, 100 * BAR, one) for one in drops),
        reading_resolution_pa=eye_bar * math.sqrt(3.0) * BAR,
        fitter=fitter,
    )


def study(*, repeatability=0.8, interaction=0.5, fitter=1.2, degrees=(30.0, 12.0, 2.0), unit="Pa"):
    scale = BAR if unit == "Pa" else 1.0
    low, high = (165.0, 185.0) if unit == "Pa" else (20.0, 30.0)
    return ReadingStudy(
        "study-1", "invented", unit,
        repeatability * scale, degrees[0], interaction * scale, degrees[1], fitter * scale,
        degrees[2], low * scale, high * scale,
    )  # fmt: skip


def with_study(opening=None, drop=None):
    # A gauge without error: what is left is the fitter's.
    return BenchConditions(
        sitting="Monday",
        gauge=Gauge(range_pa=400 * BAR),
        rig=Rig("R-1"),
        window=DropWindow(150 * BAR, 100 * BAR),
        studies=ReadingStudies(opening, drop),
    )


def by(quantity, name):
    return [part for cause, part in quantity.contributions.items() if cause.name == name]


def of_hand(quantity):
    """Return a quantity without the causes of the gauge."""
    kept = {c: p for c, p in quantity.contributions.items() if not c.name.startswith("gauge")}
    return replace(quantity, contributions=kept)


def opening(*bars, conditions=None, **of_card):
    found = read_hand(card(*bars, **of_card), conditions or with_study(study())).opening_pressure
    return of_hand(found)


# -- what a reading carries ------------------------------------------------------------------------


def test_repeats_divide_the_repeatability_and_nothing_else():
    once, four = opening(175.0), opening(175.0, 175.5, 174.5, 175.2)

    assert by(once, REPEATABILITY) == pytest.approx([0.8 * BAR])
    assert by(four, REPEATABILITY) == pytest.approx([0.4 * BAR])
    for name, size in ((FITTER, 1.2), (INTERACTION, 0.5)):
        assert by(once, name) == by(four, name) == pytest.approx([size * BAR])


def test_the_study_stands_in_place_of_the_assumed_scatter_and_of_the_eye():
    names = {str(cause.name) for cause in opening(175.0).contributions}
    without = {str(cause.name) for cause in opening(175.0, conditions=with_study()).contributions}

    assert names == {"fitter", "fitter with injector", "repeatability of a reading"}
    assert without == {"reading by eye", "repeatability of the opening"}


@given(st.floats(0.0, 2.0), st.floats(0.01, 2.0))
def test_a_reading_is_never_taken_as_sharper_than_eye_or_study_allow(repeats, eye):
    found = opening(
        175.0,
        eye_bar=eye,
        conditions=with_study(study(repeatability=repeats, interaction=0.0, fitter=0.0)),
    )

    # Not the two together either: the repeats of the study have the eye in them.
    assert found.standard_uncertainty == pytest.approx(max(repeats, eye) * BAR, rel=1e-9)


def test_an_unsteady_injector_keeps_its_own_scatter_with_a_caution():
    unsteady = opening(170.0, 175.0, 180.0)
    steady = opening(174.5, 175.0, 175.5)

    assert not by(unsteady, REPEATABILITY)
    assert by(unsteady, "repeatability of the opening")[0] > 5.0 * BAR / math.sqrt(3.0)
    assert [caution.name for caution in unsteady.cautions if "unsteady" in caution.name]
    # Own scatter and the study's never stand side by side; the fitter's part stands with both.
    assert by(unsteady, FITTER) == by(steady, FITTER)
    assert not by(steady, "repeatability of the opening")


def test_readings_of_one_fitter_share_his_level_and_those_of_two_do_not():
    before = opening(172.0, source="before")
    after = opening(176.0, source="after")
    elsewhere = opening(176.0, source="after", fitter=OTHER)

    own = math.sqrt(2.0) * math.hypot(0.8, 0.5)
    assert difference(after, before).standard_uncertainty == pytest.approx(own * BAR)
    both = math.sqrt(2.0) * math.hypot(0.8, 0.5, 1.2)
    assert difference(elsewhere, before).standard_uncertainty == pytest.approx(both * BAR)


def test_who_is_not_named_shares_nothing():
    one, other = (opening(175.0, source=name, fitter="") for name in ("before", "after"))

    assert not set(one.contributions) & set(other.contributions)


def test_the_closing_pressure_has_no_part_in_a_study_of_openings():
    closing = read_hand(
        replace(card(175.0), closing_pa=(140 * BAR,)), with_study(study())
    ).closing_pressure

    assert not by(closing, FITTER)
    assert by(closing, "reading by eye")


@pytest.mark.parametrize(
    ("bar", "times"), [(165.0, 1.0), (90.0, 1.0), (185.0, 1.0), (277.5, 1.5), (369.0, 369 / 185)]
)
def test_above_what_was_studied_the_shares_grow_in_proportion(bar, times):
    assert by(opening(bar), FITTER) == pytest.approx([1.2 * times * BAR])


@pytest.mark.parametrize("bar", [165.0 / FAR - 1.0, 185.0 * FAR + 1.0])
def test_far_from_what_was_studied_the_study_says_nothing(bar):
    far = opening(bar)

    assert not by(far, FITTER)
    assert by(far, "reading by eye")
    assert "too far" in study().does_not_reach(bar * BAR).reason


@pytest.mark.parametrize("falls", [(26.0,), (26.0, 26.2, 25.8)])
def test_a_timed_drop_carries_the_study_of_drops(falls):
    conditions = with_study(drop=study(repeatability=0.3, interaction=0.2, fitter=0.5, unit="s"))
    hold = read_hand(card(drops=falls), conditions).hold
    shown = hold.drop_time_as_shown

    n = math.sqrt(len(falls))
    for name, size in ((REPEATABILITY, 0.3 / n), (INTERACTION, 0.2), (FITTER, 0.5)):
        # A time that is read too long is the drop time too long, one for one.
        assert by(shown, name) == pytest.approx([size], rel=1e-3)
        # The rate goes down with it.
        assert by(hold.decay_rate, name) == pytest.approx([-hold.decay_rate.value * size / 26.0])
    assert not by(shown, "stopwatch and reading")


def test_drops_of_one_fitter_share_his_level():
    conditions = with_study(drop=study(repeatability=0.3, interaction=0.0, fitter=0.5, unit="s"))
    one, other, elsewhere = (
        read_hand(card(drops=(26.0,), source=name, fitter=who), conditions).hold.drop_time_as_shown
        for name, who in (("a", SOURCE), ("b", SOURCE), ("c", OTHER))
    )

    assert not by(difference(one, other), FITTER)[1:]
    assert sum(by(difference(one, other), FITTER)) == pytest.approx(0.0, abs=1e-9)
    assert len(by(difference(one, elsewhere), FITTER)) == 2


# -- fitters of whom the study knows the level -----------------------------------------------------


def of_two(parts=8, repeats=3, seed=2):
    """Return readings of two fitters, shape (parts, 2, repeats), [bar]."""
    rng = np.random.default_rng(seed)
    values = rng.uniform(165.0, 185.0, (parts, 1, 1)) + np.array([0.8, -0.4])[None, :, None]
    return values + rng.normal(0.0, 0.4, (parts, 2, 1)) + rng.normal(0.0, 0.5, (parts, 2, repeats))


def test_the_difference_of_two_fitters_is_that_of_the_t_test_of_pairs():
    """REF: scipy.stats.ttest_rel of the two fitters' means on each injector."""
    values = of_two() * BAR
    found = gauge_study(readings_of(values), "Pa")
    handed = reading_study(found, identity="i", name="n")
    of_cells = values.mean(axis=2)
    pairs = stats.ttest_rel(of_cells[:, 0], of_cells[:, 1])
    low, high = pairs.confidence_interval(0.95)

    apart = handed.level_of("0") - handed.level_of("1")
    assert apart == pytest.approx(float(np.mean(of_cells[:, 0] - of_cells[:, 1])))
    levels = (
        Quantity(0.0, "Pa", {Cause("fitter", name, degrees=handed.level_degrees): handed.level})
        for name in ("a", "b")
    )
    between = difference(*levels)
    assert between.degrees_of_freedom == pytest.approx(pairs.df)
    half = 0.5 * (between.coverage_interval[1] - between.coverage_interval[0])
    assert half == pytest.approx(0.5 * float(high - low))


def test_levels_of_the_published_study_are_its_means():
    """PUB: AIAG, MSA 4th edition, means of appraisers A, B, C: 0.1903, 0.0683, -0.2543."""
    with (Path(__file__).parents[1] / "reference" / "aiag_gauge_study.csv").open() as file:
        readings = [
            StudyReading(column, row["fitter"], float(value))
            for row in csv.DictReader(file)
            for column, value in row.items()
            if column.startswith("p")
        ]
    handed = reading_study(gauge_study(readings, "Pa"), identity="i", name="n")
    means = np.array([0.1903, 0.0683, -0.2543])

    assert handed.fitters == ("A", "B", "C")
    np.testing.assert_allclose(handed.levels, means - means.mean(), atol=1e-4)
    assert handed.level_degrees == 18.0


def knowing(**more):
    return replace(
        study(), fitters=(SOURCE, OTHER, "N. O. Body"), levels=(1.5 * BAR, -1.0 * BAR, -0.5 * BAR),
        level=0.2 * BAR, level_degrees=18.0, **more,
    )  # fmt: skip


def test_the_level_of_a_fitter_who_took_part_is_taken_off_and_said():
    conditions = with_study(knowing())
    mine = opening(175.0, 175.2, conditions=conditions)
    stranger = opening(175.0, 175.2, fitter="A Stranger", conditions=conditions)

    assert mine.value == pytest.approx((175.1 - 1.5) * BAR)
    assert stranger.value == pytest.approx(175.1 * BAR)
    assert f"{SOURCE} reads 1.50 bar more than its fitters in the mean: taken off" in mine.method
    assert "taken off" not in stranger.method
    assert by(mine, FITTER) == pytest.approx([0.2 * BAR])
    assert by(mine, OF_ALL) == pytest.approx([1.2 * BAR / math.sqrt(3.0)])
    assert mine.standard_uncertainty < stranger.standard_uncertainty


def test_what_the_fitters_of_a_study_have_in_common_cancels_between_them_alone():
    conditions = with_study(knowing())
    mine, his, stranger = (
        opening(175.0, source=who, fitter=who, conditions=conditions)
        for who in (SOURCE, OTHER, "A Stranger")
    )
    ours, strange = difference(mine, his), difference(mine, stranger)

    assert not by(ours, OF_ALL)
    assert ours.value == pytest.approx(-2.5 * BAR)
    assert by(ours, FITTER) == pytest.approx([0.2 * BAR, -0.2 * BAR])
    # Against a stranger: his own level, and that of the mean of three.
    assert strange.standard_uncertainty**2 == pytest.approx(
        ours.standard_uncertainty**2 + (1.2**2 * (1.0 + 1.0 / 3.0) - 0.2**2) * BAR**2
    )


def test_the_margin_of_a_seat_hold_is_as_read():
    """A level was studied at the pop; whether it is one at rest too, the study cannot tell."""
    held = replace(card(175.0), seat_hold=WatchedHold(155 * BAR, None, 10.0))
    margin = read_hand(held, with_study(knowing())).seat_hold.margin_below_opening

    assert margin.value == pytest.approx(20.0 * BAR)
    assert by(margin, FITTER) == pytest.approx([1.2 * BAR])
    assert not by(margin, OF_ALL)


def test_a_level_that_another_study_found_is_another_error():
    one, other = (
        opening(175.0, source=name, conditions=with_study(knowing(name=name, identity=name)))
        for name in ("spring", "autumn")
    )
    assert len(by(difference(one, other), FITTER)) == 2


def test_few_injectors_tell_no_level():
    handed = reading_study(gauge_study(readings_of(of_two(4) * BAR), "Pa"), identity="", name="")

    assert handed.levels == ()
    assert handed.level_of("0") is None


def test_a_drop_is_corrected_for_its_fitter_and_its_rate_with_it():
    of_drops = replace(
        study(repeatability=0.3, interaction=0.2, fitter=0.5, unit="s"),
        fitters=(SOURCE, OTHER), levels=(0.4, -0.4), level=0.1, level_degrees=7.0,
    )  # fmt: skip
    hold = read_hand(card(drops=(26.0,)), with_study(drop=of_drops)).hold

    assert hold.drop_time_as_shown.value == pytest.approx(25.6)
    assert hold.decay_rate.value == pytest.approx(math.log(1.5) / 25.6)
    assert "0.40 s more" in hold.drop_time_as_shown.method


# -- readings in the check of the rig --------------------------------------------------------------


def checked(seconds=26.0, fall=(150.0, 140.0), *, studied=True):
    conditions = replace(
        with_study(),
        gauge=Gauge(range_pa=400 * BAR, resolution_pa=0.2 * BAR),
        blank_plug=BlankPlug(
            drop_time_s=seconds, drop_from_pa=fall[0] * BAR, drop_to_pa=fall[1] * BAR, fitter=SOURCE
        ),
        readings=RigReadings(
            opening_pa=(175.0 * BAR, 175.4 * BAR), drop_from_pa=150 * BAR, drop_to_pa=100 * BAR,
            drop_s=26.0, fitter=SOURCE,
        ),
    )  # fmt: skip
    of_drops = study(repeatability=0.3, interaction=0.2, fitter=0.5, unit="s")
    studies = ReadingStudies(knowing(), replace(of_drops, fitters=(SOURCE,), levels=(0.4,)))
    return check_rig(replace(conditions, studies=studies) if studied else conditions, "2026-03-04")


def test_readings_of_the_rigs_own_check_carry_the_fitter():
    plain, check = checked(studied=False), checked()

    assert by(check.reference_opening, FITTER) == pytest.approx([1.2 * BAR])
    assert by(check.reference_opening, INTERACTION) == pytest.approx([0.5 * BAR])
    assert by(check.reference_drop, FITTER) == pytest.approx([0.5], rel=1e-3)
    rate = check.blank_decay_rate
    assert by(rate, FITTER) == pytest.approx([-rate.value * 0.5 / 26.0], rel=1e-6)
    assert by(rate, REPEATABILITY) == pytest.approx([-rate.value * 0.3 / 26.0], rel=1e-6)
    # They are held against those of years before: no level is taken off.
    for one, other in (
        (check.reference_opening, plain.reference_opening),
        (check.reference_drop, plain.reference_drop),
        (check.blank_decay_rate, plain.blank_decay_rate),
    ):
        assert one.value == pytest.approx(other.value)
        assert not by(other, FITTER)


def test_a_slow_fall_with_the_plug_is_told_no_better_than_the_dial_allows():
    """A fall of 1 bar in 26 s: half a mark is seconds, which a study of drops knows nothing of."""
    plain, check = (checked(fall=(150.0, 149.0), studied=known) for known in (False, True))

    assert (
        check.blank_decay_rate.standard_uncertainty
        >= plain.blank_decay_rate.standard_uncertainty * 0.999
    )


def test_a_chart_tells_its_scatter_by_itself_and_a_limit_reckons_with_the_fitter():
    opening_of_check = checked().reference_opening

    assert not [c for c in as_charted(opening_of_check).contributions if "fitter" in c.name]
    assert by(as_shown(opening_of_check), FITTER)
    assert by(as_charted(opening_of_check), REPEATABILITY)


# -- degrees of freedom ----------------------------------------------------------------------------


def test_few_fitters_widen_the_interval_by_welch_and_satterthwaite():
    """FORMULA: JCGM 100:2008, G.4.1, equation (G.2b)."""
    found = opening(175.0)
    squares = {FITTER: 1.2**2, INTERACTION: 0.5**2, REPEATABILITY: 0.8**2}
    degrees = {FITTER: 2.0, INTERACTION: 12.0, REPEATABILITY: 30.0}
    expected = sum(squares.values()) ** 2 / sum(
        square**2 / degrees[name] for name, square in squares.items()
    )

    assert found.degrees_of_freedom == pytest.approx(expected)
    from scipy.stats import t

    low, high = found.coverage_interval
    half = float(t.ppf(0.975, expected)) * math.sqrt(sum(squares.values())) * BAR
    assert (high - low) / 2.0 == pytest.approx(half, rel=1e-9)


def test_a_difference_of_two_fitters_is_known_no_better_than_the_one_share_between_them():
    sure = study(repeatability=0.0, interaction=0.0)
    one, other = (
        opening(175.0, source=name, fitter=name, eye_bar=0.0, conditions=with_study(sure))
        for name in (SOURCE, OTHER)
    )

    assert difference(one, other).degrees_of_freedom == pytest.approx(2.0)


def test_what_rests_on_no_study_is_as_it_was():
    plain = opening(175.0, 175.5, conditions=with_study())

    assert math.isinf(plain.degrees_of_freedom)
    assert plain.student_factor == 1.0
    assert plain.widened is plain


# -- what the study hands over ---------------------------------------------------------------------


def readings_of(values):
    parts, fitters, repeats = values.shape
    return [
        StudyReading(str(p), str(f), float(values[p, f, r]))
        for p in range(parts)
        for f in range(fitters)
        for r in range(repeats)
    ]


def test_a_share_below_zero_counts_as_zero():
    # Both fitters alike on average, and apart on each injector: the fitters' mean square is below.
    values = np.array([[[175.0, 175.2], [176.0, 176.2]], [[181.0, 181.2], [180.0, 180.2]]]) * BAR
    found = gauge_study(readings_of(values), "Pa")
    assert isinstance(found, GaugeStudy)
    handed = reading_study(found, identity="i", name="n")

    assert found.fitter.clipped
    assert handed.fitter == 0.0
    assert math.isinf(handed.fitter_degrees)
    assert handed.interaction > 0.0


def test_one_fitter_alone_tells_nothing_between_fitters():
    rng = np.random.default_rng(1)
    found = gauge_study(readings_of(rng.normal(175.0, 1.0, (5, 1, 3)) * BAR), "Pa")
    handed = reading_study(found, identity="i", name="n")

    assert (handed.fitter, handed.interaction) == (0.0, 0.0)
    assert handed.repeatability > 0.0


def test_days_of_a_voltage_standard_come_out_as_in_the_guide():
    """PUB: JCGM 100:2008, H.5, table H.9 (from memory): 10 days of 5 readings, in microvolts.

    s of the day means 57, within a day 85, between days 43; days stand for fitters here.
    """
    means = [172, 116, 13, 144, 106, 31, 60, 125, 163, 41]
    spreads = [60, 77, 111, 101, 67, 93, 80, 73, 88, 86]
    pattern = np.array([-2.0, -1.0, 0.0, 1.0, 2.0]) / math.sqrt(2.5)
    values = np.array([[mean + s * pattern for mean, s in zip(means, spreads, strict=True)]])
    found = gauge_study(readings_of(values), "Pa")
    handed = reading_study(found, identity="i", name="n")

    assert handed.repeatability == pytest.approx(85.0, abs=0.5)
    assert handed.repeatability_degrees == 40
    assert handed.fitter == pytest.approx(43.0, abs=0.5)
    (ratio,) = [row.ratio for row in found.table if row.source == "fitter"]
    assert ratio == pytest.approx((128.0 / 85.0) ** 2, rel=0.01)
    # Five readings of one day are known to the s of the day means, with its 9 degrees of freedom;
    # the two shares taken as known apart are a little on the safe side.
    mean = Quantity(
        0.0,
        "Pa",
        {
            Cause("fitter", degrees=handed.fitter_degrees): handed.fitter,
            Cause("repeats", degrees=handed.repeatability_degrees): handed.repeatability / 5**0.5,
        },
    )
    assert mean.standard_uncertainty == pytest.approx(57.0, abs=0.5)
    assert 7.5 < mean.degrees_of_freedom <= 9.0


@pytest.mark.parametrize(
    ("parts", "degrees", "u", "freedom"),
    [
        pytest.param(
            (25.0, 5.8, 3.9, 6.7, 2.9, 16.6), (18, 24, 5, 8, 50, 2), 31.7, 16.7, id="GUM, H.1"
        ),
        pytest.param((0.25, 0.57, 0.82), (9, 4, 14), 1.03, 19.0, id="GUM, G.4.1"),
    ],
)
def test_degrees_that_causes_carry_come_out_as_in_the_guide(parts, degrees, u, freedom):
    """PUB: JCGM 100:2008, H.1 and the example of G.4.1."""
    causes = {
        Cause(f"x{number}", degrees=float(known)): part
        for number, (part, known) in enumerate(zip(parts, degrees, strict=True))
    }
    found = Quantity(0.0, "1", causes)

    assert found.standard_uncertainty == pytest.approx(u, rel=5e-3)
    assert found.degrees_of_freedom == pytest.approx(freedom, abs=0.06)


@given(
    st.floats(160.0, 200.0),
    st.floats(0.0, 3.0),
    st.floats(0.0, 3.0),
    st.floats(0.0, 3.0),
    st.floats(1.0, 50.0),
    st.sampled_from(DecisionRule),
)
def test_no_worse_gauge_or_fitter_turns_a_fail_into_a_pass(bar, fitter, gauge, more, degrees, rule):
    def outcome(gauge_bar, fitter_bar):
        causes = {
            Cause("fitter", degrees=degrees): fitter_bar,
            Cause("gauge level", rectangular=True): gauge_bar,
            Cause("scatter"): 0.2,
        }
        return decide(Quantity(bar, "bar", causes), 175.0, 183.0, rule).outcome

    if outcome(gauge, fitter) is Outcome.FAIL:
        assert outcome(gauge + more, fitter) is not Outcome.PASS
        assert outcome(gauge, fitter + more) is not Outcome.PASS


# -- the intervals hold the truth ------------------------------------------------------------------

SHOPS = {
    "all alike": (1.0, 0.5, 1.0),
    "no interaction": (1.0, 0.0, 1.0),
    "fitters hardly differ": (0.3, 0.3, 1.0),
    "interaction outweighs": (0.5, 1.0, 0.7),
    "fitters outweigh": (2.0, 0.5, 0.7),
}
"""Standard deviations between fitters, of fitter with injector, of repeats, [bar]."""
STUDIES = 1000


def covered(spreads, *, fitters=3, new_fitters, studies=STUDIES, seed=16):
    """Return how often stated intervals hold the truth: single, same fitter, two fitters.

    In each simulated workshop a study is made, then three readings: one fitter before and after an
    adjustment, and another one after it. Either both took part in the study, or neither did.
    """
    rng = np.random.default_rng(seed)
    of_fitter, of_both, of_reading = spreads
    parts, repeats, pops = 10, 2, 3
    held = np.zeros(3)
    for _ in range(studies):
        level = rng.normal(0.0, of_fitter, fitters)
        values = (
            rng.uniform(165.0, 185.0, (parts, 1, 1))
            + level[None, :, None]
            + rng.normal(0.0, of_both, (parts, fitters, 1))
            + rng.normal(0.0, of_reading, (parts, fitters, repeats))
        )
        found = gauge_study(readings_of(values * BAR), "Pa")
        conditions = with_study(reading_study(found, identity="i", name="n"))
        mine, his = rng.normal(0.0, of_fitter, 2) if new_fitters else level[:2]
        me, him = (SOURCE, OTHER) if new_fitters else ("0", "1")

        def read(true, bias, source, fitter, conditions=conditions):
            own = true + bias + rng.normal(0.0, of_both)
            shown = own + rng.normal(0.0, of_reading, pops)
            return opening(*shown, source=source, fitter=fitter, conditions=conditions, eye_bar=0.0)

        before = read(172.0, mine, "before", me)
        after = read(178.0, mine, "after", me)
        elsewhere = read(178.0, his, "elsewhere", him)
        for row, (quantity, truth) in enumerate(
            (
                (before, 172.0),
                (difference(after, before), 6.0),
                (difference(elsewhere, before), 6.0),
            )
        ):
            low, high = quantity.coverage_interval
            held[row] += low <= truth * BAR <= high
    return held / studies


@pytest.mark.parametrize("spreads", SHOPS.values(), ids=SHOPS.keys())
@pytest.mark.parametrize("new_fitters", [False, True], ids=["of the study", "new"])
@pytest.mark.parametrize("fitters", [2, 3])
def test_stated_intervals_hold_the_truth_in_19_cases_of_20(spreads, new_fitters, fitters):
    held = covered(spreads, fitters=fitters, new_fitters=new_fitters)

    # 93 to 97.5 by long counts; a count of so many strays by half a point.
    assert np.all((held >= 0.92) & (held <= 0.985)), held


def test_the_more_fitters_differ_the_wider_a_reading_stands():
    """A worse study never turns a fail into a pass: its shares only ever widen a reading."""
    for one, more in pairwise((0.0, 0.3, 1.0, 3.0)):
        better, worse = (
            opening(175.0, conditions=with_study(study(fitter=size))) for size in (one, more)
        )
        assert worse.standard_uncertainty >= better.standard_uncertainty
        assert better.coverage_interval[0] >= worse.coverage_interval[0]
        assert better.coverage_interval[1] <= worse.coverage_interval[1]
        assert isinstance(worse, Quantity)
    assert isinstance(study().does_not_reach(1e9), NotMeasured)
