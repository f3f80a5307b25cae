"""What closed jobs teach: exact where it can be, by steps where not, and never by itself."""

from __future__ import annotations

import importlib.util
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from nozzlewright.advice.causes import (
    ClosedCase,
    Counts,
    Needs,
    compare,
    count,
    counts_from,
    held_out,
    infer,
    known,
    published,
    with_counts,
)
from nozzlewright.advice.causes.learn import LINK_WEIGHT, PRIOR_WEIGHT

SCRIPT = Path(__file__).parents[2] / "benchmarks" / "causes.py"


@pytest.fixture(scope="module")
def drawn():
    """The simulated cases of the benchmark."""
    spec = importlib.util.spec_from_file_location("benchmark_causes", SCRIPT)
    module = importlib.util.module_from_spec(spec)
    import sys

    sys.modules["benchmark_causes"] = module
    spec.loader.exec_module(module)
    return module


def case(*causes, **states):
    model = published()
    evidence = {key: known(model, key, state) for key, state in states.items()}
    return ClosedCase(evidence, frozenset(causes))


def score(shares, *present):
    """The log score over all causes, those that were present and those that were not, [bit]."""
    so = [share if key in present else 1 - share for key, share in shares.items()]
    return -np.log2(so).sum()


def test_nothing_closed_changes_nothing():
    model = published()
    same = with_counts(model, count(model, []), 0)
    assert same.digest == model.digest


def test_the_probability_of_a_cause_is_the_mean_of_its_beta_distribution():
    """Beta(a, b) with a + b the weight of the table, updated by 3 of 5: scipy's mean."""
    model = published()
    cases = [case("guide_worn")] * 3 + [case("seat_worn")] * 2
    learned = with_counts(model, count(model, cases), 1)
    prior = model.by_cause["guide_worn"].prior
    a, b = PRIOR_WEIGHT * prior + 3, PRIOR_WEIGHT * (1 - prior) + 2
    assert learned.by_cause["guide_worn"].prior == pytest.approx(stats.beta(a, b).mean())


def test_a_usual_state_of_a_single_cause_is_counted_exactly():
    """The cause did not show: Dirichlet counts of the usual state, whatever the leak is."""
    model = published()
    cases = [case("seat_worn", seat="dry")] * 4
    link = with_counts(model, count(model, cases), 1).links_of["seat"]["seat_worn"]
    before = model.links_of["seat"]["seat_worn"]
    total = LINK_WEIGHT + 4
    for state, chance in before.chances.items():
        assert link.chances[state] == pytest.approx(LINK_WEIGHT * chance / total)


def test_an_unusual_state_that_nothing_else_shows_is_counted_nearly_whole():
    model = published()
    cases = [case("guide_worn", drop="fast")] * 6
    counts = count(model, cases)
    shown = counts.links["guide_worn drop"]
    leak = model.by_observation["drop"].leak[2]
    assert 6 * (1 - 2 * leak) < shown["fast"] <= 6
    assert sum(shown.values()) == pytest.approx(6)


def test_what_two_causes_may_have_shown_is_shared_between_them():
    model = published()
    counts = count(model, [case("guide_worn", "face_leak", drop="fast")] * 4)
    guide, face = counts.links["guide_worn drop"]["fast"], counts.links["face_leak drop"]["fast"]
    assert 0 < guide < 4
    assert 0 < face < 4
    assert guide + face > 4 * 0.95  # at least one of them showed each time, but for the leak


def test_what_a_background_shows_by_itself_is_not_put_down_to_the_cause():
    """Dirt in the fuel makes others of a set show the same: so a cause there has shown less."""
    model = published()
    plain = [case("guide_worn", others_alike="yes")] * 4
    dirty = [case("guide_worn", others_alike="yes", dirty_fuel="yes")] * 4
    shown = [
        count(model, cases).links["guide_worn others_alike"]["yes"] for cases in (plain, dirty)
    ]
    assert 0 < shown[1] < shown[0] < 4
    # Written out, for the first round: the backgrounds after all that was seen of a case.
    place = [cause.key for cause in model.causes].index("guide_worn")
    mine = model.proposals("others_alike")[place][1]
    leak = {key: model.leaks(key)[:, 1] for key in ("others_alike", "dirty_fuel")}
    there = np.array([cause.key == "guide_worn" for cause in model.causes])
    weight = np.array([background.prior for background in model.backgrounds])
    weight = weight * np.where(there, model.priors, 1 - model.priors).prod(axis=1)
    weight = weight * leak["dirty_fuel"] * (1 - (1 - leak["others_alike"]) * (1 - mine))
    expected = (weight * mine / (1 - (1 - leak["others_alike"]) * (1 - mine))).sum() / weight.sum()
    from nozzlewright.advice.causes.learn import _shown

    first = dict(_shown(model, dirty[0], {}))["guide_worn others_alike"]["yes"]
    assert first == pytest.approx(expected, rel=1e-9)


def test_virtual_evidence_teaches_nothing():
    model = published()
    unsure = ClosedCase({"opening": (0.4, 0.0, 0.6)}, frozenset({"spring_relaxed"}))
    assert count(model, [unsure]).links == {}


def test_counts_go_into_the_record_and_come_back():
    model = published()
    counts = count(model, [case("guide_worn", drop="fast", seat="dry")] * 3)
    back = counts_from(counts.as_data())
    assert with_counts(model, back, 2).digest == with_counts(model, counts, 2).digest
    assert counts_from({}) == Counts()


def test_causes_that_the_table_does_not_have_are_left_aside():
    model = published()
    stray = ClosedCase({"no such": (0.0, 1.0)}, frozenset({"gremlins"}))
    counts = count(model, [stray])
    assert with_counts(model, counts, 1).by_cause.keys() == model.by_cause.keys()


def test_a_symptom_that_is_seldom_said_is_not_learned_as_always_there():
    """Named in 3 of 40 cases, silent in the others: not the 3 of 3 that were written down."""
    model = published()
    ((cause, link),) = list(model.links_of["knock"].items())[:1]
    said = [case(cause, knock="yes")] * 3
    unsaid = [replace(case(cause), silent=frozenset({"knock"}))] * 37
    written = with_counts(model, count(model, said), 1).links_of["knock"][cause]
    learned = with_counts(model, count(model, said + unsaid), 1).links_of["knock"][cause]
    # Half of the symptoms that are there are mentioned: some 6 of 40, after 8 of the table's.
    assert learned.chances["yes"] < (LINK_WEIGHT * link.chances["yes"] + 12) / (LINK_WEIGHT + 40)
    assert learned.chances["yes"] < link.chances["yes"] < written.chances["yes"]


def test_learning_finds_back_the_shop_that_made_the_cases(drawn):
    """From 600 cases of another shop the chances come nearer to that shop's, and score better."""
    rng = np.random.default_rng(5)
    model = published()
    shop = drawn.shifted(model, rng, 0.8)
    closed = [
        ClosedCase(one.evidence, one.causes, "", one.silent)
        for one in (drawn.draw(shop, rng) for _ in range(600))
    ]
    learned = with_counts(model, count(model, closed), 1)
    before, after = [], []
    for true, old, new in zip(shop.links, model.links, learned.links, strict=True):
        one = model.by_observation[true.observation]
        if len(true.chances) == 1 and one.needs is Needs.MOUNTED and one.step:
            ((state, chance),) = true.chances.items()
            before.append(abs(old.chances[state] - chance))
            after.append(abs(new.chances[state] - chance))
    assert np.mean(after) < 0.8 * np.mean(before)
    fresh = [
        ClosedCase(one.evidence, one.causes, "", one.silent)
        for one in (drawn.draw(shop, rng) for _ in range(200))
    ]
    changes = compare(model, learned, fresh)
    gain = np.array([c.score_before - c.score_after for c in changes])
    assert gain.mean() > 3 * gain.std() / len(gain) ** 0.5


def test_the_comparison_names_place_and_score_of_what_it_was():
    model = published()
    closed = [case("leak_off_blocked", outside_leak="top")] * 4 + [
        case("guide_worn", drop="fast", seat="dry")
    ]
    learned = with_counts(model, count(model, closed), 1)
    changes = compare(model, learned, closed)
    shares = infer(model, closed[-1].evidence).causes
    assert changes[-1].before == 1
    assert changes[-1].score_before == pytest.approx(score(shares, "guide_worn"))
    assert changes[0].score_after < changes[0].score_before


def test_held_out_cases_are_not_ranked_by_what_they_taught():
    model = published()
    closed = [case("leak_off_blocked", outside_leak="top") for _ in range(3)]
    (first, *_rest) = held_out(model, closed)
    others = with_counts(model, count(model, closed[1:]), 0)
    shares = infer(others, closed[0].evidence).causes
    assert first.score_after == pytest.approx(score(shares, "leak_off_blocked"))


def test_given_probabilities_are_those_that_come_true(drawn):
    """On cases from models with every number wrong: expected calibration error under 2 %."""
    found = drawn.calibration(*drawn.simulated(900, 9))
    assert found.expected_error < 0.02
    assert found.brier < 0.75 * found.brier_of_priors
    assert found.first_two > 0.75
    for given, so, number in found.rows:
        spread = 4 * (max(so * (1 - so), 0.002) / number) ** 0.5
        assert abs(given - so) < 0.06 + spread, (given, so, number)


def test_silence_about_a_symptom_speaks_against_what_brings_it_about():
    model = published()
    knocks = {"knock": known(model, "knock", "yes")}
    without = infer(model, knocks).causes
    silent = infer(model, knocks, {"black_smoke"}).causes
    assert silent["air_filter"] < without["air_filter"]
    denied = infer(model, {**knocks, "black_smoke": known(model, "black_smoke", "no")}).causes
    assert denied["air_filter"] < silent["air_filter"]
    assert infer(model, knocks, {"knock"}).causes == without


def test_silence_is_the_sum_over_mentioned_and_not_written_out():
    """One cause, one symptom: (1 - 0.5 link)(1 - 0.5 leak) against 1 - 0.5 leak."""
    model = published()
    cause = model.by_cause["air_filter"]
    alone = replace(
        model,
        causes=(cause,),
        links=tuple(
            link
            for link in model.links
            if link.cause == "air_filter" and link.observation == "black_smoke"
        ),
        backgrounds=(replace(model.backgrounds[0], prior=1.0),),
    )
    chance = alone.links[0].chances["yes"]
    odds = cause.prior / (1 - cause.prior) * (1 - 0.5 * chance)
    found = infer(alone, {}, {"black_smoke"}).causes["air_filter"]
    assert found == pytest.approx(odds / (1 + odds))
