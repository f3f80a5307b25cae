"""Laws of agreement on grades."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from nozzlewright.analysis.agreement import (
    STRENGTH,
    GradeReading,
    GradeStudy,
    Kappa,
    Weights,
    cohen_kappa,
    fleiss_kappa,
    grade_agreement,
    grade_kappas,
    grade_study,
    percent_agreement,
    strength_of,
)
from nozzlewright.measurement import NotMeasured

SEAT = ("dry", "damp", "drop")
_COUNTS = st.lists(st.lists(st.integers(0, 9), min_size=3, max_size=3), min_size=3, max_size=3).map(
    np.array
)


@given(_COUNTS, st.sampled_from(Weights))
def test_cohens_kappa_is_1_if_and_only_if_the_two_agree_on_everything(table, weights):
    assume(table.sum() > 0)
    found = cohen_kappa(table, weights)
    agreed = np.trace(table) == table.sum()

    if isinstance(found, NotMeasured):
        assert np.count_nonzero(table) == 1
        assert agreed
    else:
        assert (abs(found.kappa.value - 1.0) < 1e-12) == agreed
        assert found.kappa.value <= 1.0 + 1e-12


@given(_COUNTS, st.sampled_from(Weights))
def test_it_does_not_matter_which_of_the_two_is_first(table, weights):
    assume(table.sum() > 0)
    one, other = cohen_kappa(table, weights), cohen_kappa(table.T, weights)

    if isinstance(one, Kappa):
        assert isinstance(other, Kappa)
        assert other.kappa.value == pytest.approx(one.kappa.value, abs=1e-12)
        assert other.kappa.standard_uncertainty == pytest.approx(
            one.kappa.standard_uncertainty, abs=1e-7
        )


@given(_COUNTS, st.permutations(range(3)))
def test_without_weights_the_order_of_the_grades_does_not_matter(table, order):
    assume(table.sum() > 0)
    one, other = cohen_kappa(table), cohen_kappa(table[np.ix_(order, order)])

    if isinstance(one, Kappa):
        assert isinstance(other, Kappa)
        assert other.kappa.value == pytest.approx(one.kappa.value, abs=1e-12)


def test_with_weights_a_near_miss_counts_less_than_a_far_one():
    near = cohen_kappa([[8, 2, 0], [2, 8, 0], [0, 0, 10]], Weights.LINEAR)
    far = cohen_kappa([[8, 0, 2], [0, 10, 0], [2, 0, 8]], Weights.LINEAR)

    assert near.kappa.value > far.kappa.value


@given(st.integers(0, 10_000))
def test_two_independent_graders_agree_by_chance_alone(seed):
    rng = np.random.default_rng(seed)
    rows, columns = rng.dirichlet(np.ones(3)), rng.dirichlet(np.ones(3))
    found = cohen_kappa(1e4 * rows[:, None] * columns[None, :])

    assert isinstance(found, Kappa)
    assert found.kappa.value == pytest.approx(0.0, abs=1e-9)


def test_where_all_is_given_one_grade_kappa_is_undefined_and_says_so():
    for found in (cohen_kappa([[7, 0], [0, 0]]), fleiss_kappa([[3, 0], [3, 0]])):
        assert isinstance(found, NotMeasured)
        assert "one and the same grade" in found.reason
        assert "differ" in found.remedy


@given(
    st.lists(st.lists(st.integers(0, 2), min_size=3, max_size=3), min_size=2, max_size=9),
    st.randoms(use_true_random=False),
)
def test_fleiss_kappa_is_1_if_and_only_if_all_agree_and_the_order_does_not_matter(given_, random):
    ratings = np.array(given_)
    counts = np.stack([(ratings == grade).sum(axis=1) for grade in range(3)], axis=1)
    found = fleiss_kappa(counts)
    agreed = percent_agreement(ratings) == 1.0
    mixed = list(counts)
    random.shuffle(mixed)

    if isinstance(found, NotMeasured):
        assert np.count_nonzero(counts.sum(axis=0)) == 1
        return
    assert (abs(found.kappa.value - 1.0) < 1e-12) == agreed
    again = fleiss_kappa(mixed)
    assert isinstance(again, Kappa)
    assert again.kappa.value == pytest.approx(found.kappa.value, abs=1e-12)
    weights = [p * (1.0 - p) for p in counts.sum(axis=0) / counts.sum()]
    single = [k if isinstance(k, float) else 0.0 for k in grade_kappas(counts)]
    # Fleiss 1971: the whole is the mean of the categories, weighted by p (1 - p).
    assert np.dot(weights, single) / sum(weights) == pytest.approx(found.kappa.value, abs=1e-9)


def test_two_who_use_the_grades_equally_often_have_one_kappa_by_both_ways():
    table = np.array([[10, 3, 1], [3, 8, 2], [1, 2, 9]])  # symmetric: the margins are alike
    rows = [
        np.eye(3, dtype=int)[i] + np.eye(3, dtype=int)[j]
        for i in range(3)
        for j in range(3)
        for _ in range(table[i, j])
    ]
    one, other = cohen_kappa(table), fleiss_kappa(rows)

    assert isinstance(one, Kappa)
    assert isinstance(other, Kappa)
    assert other.kappa.value == pytest.approx(one.kappa.value, abs=1e-12)


def test_the_intervals_cover_the_truth():
    # Two graders, each right with probability r, else any of three grades: kappa is r squared.
    rng = np.random.default_rng(4)
    right, number, injectors = 0.8, 400, 80
    held = {"cohen": 0, "fleiss": 0}
    for _ in range(number):
        true = rng.integers(0, 3, injectors)
        one, other = (
            np.where(rng.random(injectors) < right, true, rng.integers(0, 3, injectors))
            for _ in range(2)
        )
        table = np.zeros((3, 3))
        np.add.at(table, (one, other), 1)
        counts = np.stack([(one == g).astype(int) + (other == g) for g in range(3)], axis=1)
        for name, found in (("cohen", cohen_kappa(table)), ("fleiss", fleiss_kappa(counts))):
            assert isinstance(found, Kappa)
            low, high = found.kappa.coverage_interval
            held[name] += bool(low <= right**2 <= high)

    for name, times in held.items():
        assert 0.91 <= times / number <= 0.985, name


@pytest.mark.parametrize(
    "table", [[[1, 2]], [[0, 0], [0, 0]], [[1, -1], [0, 3]]], ids=["oblong", "empty", "negative"]
)
def test_a_table_that_is_none_is_refused(table):
    with pytest.raises(ValueError, match="table"):
        cohen_kappa(table)


@pytest.mark.parametrize("counts", [[[2, 0], [1, 0]], [[1, 0], [0, 1]]], ids=["uneven", "once"])
def test_injectors_are_graded_equally_often(counts):
    with pytest.raises(ValueError, match="equally often"):
        fleiss_kappa(counts)


def test_the_words_are_those_of_landis_and_koch():
    assert [str(word) for _, word in STRENGTH] == [
        "poor", "slight", "fair", "moderate", "substantial", "almost perfect",
    ]  # fmt: skip
    assert [str(strength_of(k)) for k in (-0.01, 0.0, 0.20, 0.21, 0.61, 0.81, 1.0)] == [
        "poor", "slight", "slight", "fair", "substantial", "almost perfect", "almost perfect",
    ]  # fmt: skip


# -- a study -----------------------------------------------------------------------------------


def _graded(**by_fitter: str) -> list[GradeReading]:
    """One word of grades for each fitter and round: ``A1="ddm"`` with d dry, m damp, x drop."""
    names = {"d": "dry", "m": "damp", "x": "drop"}
    return [
        GradeReading(str(place + 1), key[0], names[sign])
        for key, word in by_fitter.items()
        for place, sign in enumerate(word)
    ]


def test_a_study_of_grades_says_who_agrees_with_whom_and_with_himself():
    study = grade_study(_graded(A1="ddmmx", A2="ddmmx", B1="ddmmx", B2="ddmxx"), SEAT)

    assert isinstance(study, GradeStudy)
    assert study.all_alike == pytest.approx(4 / 5)
    assert study.with_himself == {"A": 1.0, "B": pytest.approx(4 / 5)}
    assert study.split == ("4",)
    assert isinstance(study.together, Kappa)
    (pair,) = study.pairs
    assert (pair.first, pair.second) == ("A", "B")
    assert pair.agreed == pytest.approx(9 / 10)
    assert pair.kappa.value < 1.0
    assert study.by_grade["dry"] == pytest.approx(1.0)


def test_specific_agreement_by_hand():
    # Two gradings each: 3 x both dry, 1 x dry and damp, 1 x both damp. Dry: 6 of 7; damp: 2 of 3.
    counts = [[2, 0, 0]] * 3 + [[1, 1, 0]] + [[0, 2, 0]]
    dry, damp, drop = grade_agreement(counts)

    assert dry == pytest.approx(6 / 7)
    assert damp == pytest.approx(2 / 3)
    assert isinstance(drop, NotMeasured)


@pytest.mark.parametrize(
    ("readings", "said"),
    [
        pytest.param([], "no grade yet", id="none"),
        pytest.param(_graded(A1="d", B1="d"), "one injector", id="one injector"),
        pytest.param(_graded(A1="dmx"), "once", id="one fitter, once"),
        pytest.param(_graded(A1="dmx", B1="dm"), "B on injector 3", id="one missing"),
        pytest.param(_graded(A1="dmx" * 4, B1="d"), "and 3 more", id="many missing"),
    ],
)
def test_what_cannot_be_told_says_why_and_what_to_do(readings, said):
    found = grade_study(readings, SEAT)

    assert isinstance(found, NotMeasured)
    assert said in found.reason
    assert found.remedy


def test_one_grade_for_everything_is_no_agreement_to_speak_of():
    study = grade_study(_graded(A1="ddd", B1="ddd"), SEAT)

    assert isinstance(study, GradeStudy)
    assert study.all_alike == 1.0
    assert isinstance(study.together, NotMeasured)
    assert isinstance(study.pairs[0].kappa, NotMeasured)


def test_an_unknown_grade_is_refused():
    with pytest.raises(ValueError, match="moist"):
        grade_study([GradeReading("1", "A", "moist")], SEAT)
    with pytest.raises(ValueError, match="two grades"):
        grade_study([], ("dry",))
