"""A match that was chosen is part of the story, and its state follows from what came after."""

from __future__ import annotations

import json
from dataclasses import replace
from itertools import count
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from nozzlewright.advice import Act, MatchCase, Springs, match_set, matched
from nozzlewright.bench import AsPrinted, OpeningBand, ShelfSpring, ShimDrawer
from nozzlewright.errors import InputFault, NotAllowed
from nozzlewright.measurement import Cause, NotMeasured, Quantity
from nozzlewright.records import EntryKind, InjectorStory, JobStory
from nozzlewright.said import from_data
from nozzlewright.workflow import NewTest
from nozzlewright.workflow.match import Allowed, case_of_job, springs_of
from nozzlewright.workflow.match_chosen import (
    PlanState,
    choose,
    chosen_body,
    chosen_match,
    planned_steps,
)

DEMO = Path(__file__).parents[2] / "demo" / "six-in-line"
FITTER, OTHER = "A. N. Other", "S. O. Else"
BAR = 1e5
CARD = """\
note = "invented"
smallest_division_bar = 0.2
fraction_read = 0.5
opening_bar = [{0}, {0}, {0}, {0}, {0}]
closing_bar = [{1}, {1}, {1}, {1}, {1}]
"""


class Bench:
    """A set of injectors that open at stated pressures, in memory."""

    def __init__(self, shop, pressures, shims, spring="", sheet=DEMO / "sheet.toml"):
        numbers = count(1)
        self.shop, self.act = shop, lambda: f"act-{next(numbers)}"
        blank = shop.evidence.keep((DEMO / "recordings" / "blank-plug.csv").read_bytes(), "csv")
        conditions = (DEMO / "bench.toml").read_bytes()
        conditions = conditions.replace(b"recordings/blank-plug.csv", b"blank.csv")
        shop.check_rig(self.act(), FITTER, conditions, blank=blank)
        text = sheet.read_bytes() + spring.encode()
        self.sheet = shop.add_sheet(self.act(), FITTER, text)
        booked = {"title": "invented", "engine": "invented", "cylinders": len(pressures),
                  "condition": "used", "sheet": self.sheet}  # fmt: skip
        self.job = shop.book_in(self.act(), OTHER, booked)
        for cylinder, (pressure, shim) in enumerate(zip(pressures, shims, strict=True), 1):
            shop.tag(self.act(), OTHER, self.job, cylinder, f"M-{cylinder}", shim_mm=shim)
            self.take(cylinder)
            self.read(cylinder, pressure, "as-found")
            self.lay()

    @property
    def story(self):
        return self.shop.story(self.job)

    def one(self, cylinder):
        return self.story.at_cylinder(cylinder)

    def note(self, kind, body=None, cylinder=1, **more):
        injector = self.one(cylinder).injector
        return self.shop.note(
            self.act(), FITTER, self.job, kind, body or {}, injector=injector, **more
        )

    def take(self, cylinder):
        self.note(EntryKind.TAKEN_IN_HAND, cylinder=cylinder)

    def lay(self):
        injector = self.story.in_hand
        self.shop.note(self.act(), FITTER, self.job, EntryKind.LAID_DOWN, {}, injector=injector)

    def read(self, cylinder, bar, step="re-read"):
        card = self.shop.evidence.keep(CARD.format(bar, round(0.85 * bar, 1)).encode(), "toml")
        injector = self.one(cylinder).injector
        return self.shop.test(self.act(), FITTER, self.job, injector, NewTest(step, card=card))

    def reshim(self, cylinder, before, after):
        body = {"shim_from_mm": before, "shim_to_mm": after}
        injector = self.one(cylinder).injector
        return self.shop.change_setting(self.act(), FITTER, self.job, injector, body)

    def spring(self, cylinder, length_mm, **more):
        body = {"part": "spring", "seen": "length measured", "severity": "note",
                "length_mm": length_mm, "length_off_mm": 0.02, **more}  # fmt: skip
        return self.note(EntryKind.FINDING, body, cylinder)

    def respring(self, cylinder, length_mm):
        pair = self.one(cylinder).pair
        self.note(EntryKind.STRIPPED, {"pair": pair}, cylinder)
        self.spring(cylinder, length_mm, goes_in=True)
        self.note(EntryKind.ASSEMBLED, {"pair": pair, "renewed": ["spring"]}, cylinder)

    def plan(self, work=None, **allowed):
        case = case_of_job(self.shop, self.story, Allowed(**allowed))
        assert isinstance(case, MatchCase), case
        matching = matched(case)
        return next((one for one in matching.front if one.work == work), matching.advised)

    def choose(self, work=None, act="", **allowed):
        plan = self.plan(work, **allowed)
        return choose(self.shop, act or self.act(), FITTER, self.story, plan, Allowed(**allowed))

    def state(self, cylinder):
        return chosen_match(self.story).at(self.one(cylinder).injector).state


@pytest.fixture
def uneven(shop):
    shop.put_drawer("drawer", FITTER, {1250: 1, 1350: 1, 1400: 0})
    return Bench(shop, [196.4, 202.0, 202.6, 204.0], [1.30, 1.30, 1.25, 1.30])


# --- the entry ------------------------------------------------------------------------------------


def test_a_choice_is_one_entry_with_who_when_and_what_is_planned_at_each(uneven):
    entry = uneven.choose()

    assert (entry.kind, entry.draft.who) == (EntryKind.MATCH, FITTER)
    first, *others = planned_steps(entry.body)
    assert (first.cylinder, first.act, first.shims_were_um, first.shims_um) == (
        1, Act.SHIM, (1300,), (1350,),
    )  # fmt: skip
    assert first.opening.value / BAR == pytest.approx(200.8, abs=0.3)
    assert [one.act for one in others] == [Act.KEEP] * 3
    assert "All in band" in from_data(entry.body["words"])
    # Of what this gauge is to show, the gauge's level is no part.
    step = uneven.plan().acts[0]
    assert first.opening.standard_uncertainty <= step.predicted.standard_uncertainty + 1.0


def test_a_repeated_tap_is_one_entry(uneven):
    entry = uneven.choose(act="00000000-0000-4000-8000-000000000001")
    again = uneven.choose(act="00000000-0000-4000-8000-000000000001")

    assert again.id == entry.id
    assert len(uneven.story.matches) == 1


def test_a_newer_choice_takes_the_place_of_an_older_one_and_both_stay(uneven):
    first = uneven.choose()
    second = uneven.choose(work=0)
    story = uneven.story

    assert story.match.id == second.id
    assert [one.id for one in story.matches] == [first.id, second.id]
    assert [e.id for e in story.entries if e.kind is EntryKind.MATCH] == [first.id, second.id]
    assert uneven.state(1) is PlanState.STAYS
    uneven.shop.withdraw(uneven.act(), FITTER, uneven.job, second.id, "a slip")
    assert uneven.story.match.id == first.id
    assert uneven.state(1) is PlanState.TO_DO


def test_a_choice_for_an_injector_that_is_gone_is_refused(uneven):
    plan, story = uneven.plan(), uneven.story
    uneven.note(EntryKind.SHELVED, {"where": "shelf"}, 2)

    with pytest.raises(NotAllowed, match="the set has changed"):
        choose(uneven.shop, uneven.act(), FITTER, story, plan)


def test_a_job_of_old_has_no_match(uneven):
    assert chosen_match(uneven.story) is None


@st.composite
def plans(draw):
    pressures = draw(st.lists(st.integers(1700, 1880), min_size=1, max_size=4))
    kind = draw(st.sampled_from(["shims", "screw", "unmeasured", "springs"]))
    numbers = range(1, len(pressures) + 1)
    springs = None
    if kind == "springs":
        springs = Springs(dict.fromkeys(numbers, 31200), {31250: 1, 31150: 2})
    effect = (
        Quantity(90 * BAR, "Pa") if kind == "screw" else Quantity(100e8, "Pa/m", {Cause("e"): 8e8})
    )
    matching = match_set(
        {n: Quantity(p * 1e4, "Pa", {Cause("r", str(n)): 1e4}) for n, p in zip(numbers, pressures)},  # noqa: B905
        OpeningBand(175 * BAR, 183 * BAR, 179 * BAR, AsPrinted("invented")),
        effect,
        dict.fromkeys(numbers, None if kind in {"screw", "unmeasured"} else 1.3e-3),
        ShimDrawer({1250: 1, 1350: 2}),
        springs=springs,
    )
    return draw(st.sampled_from(matching.front))


@settings(max_examples=60, suppress_health_check=[HealthCheck.too_slow], deadline=None)
@given(plans())
def test_an_entry_that_is_read_again_gives_the_same_plan(plan):
    injectors = {
        f"inj-{n}": InjectorStory(f"inj-{n}", n, f"S-{n}", f"p-{n}") for n in plan.case.openings
    }
    story = JobStory("job", sheet="digest", injectors=injectors)
    body = json.loads(json.dumps(chosen_body(plan, story)))

    steps = {one.cylinder: one for one in planned_steps(body)}

    assert set(steps) == {one.cylinder for one in plan.changes}
    for meant in plan.changes:
        kept = steps[meant.cylinder]
        assert kept.injector == f"inj-{meant.cylinder}"
        for name in ("act", "shims_um", "shims_were_um", "spare", "turns", "thicker_m"):
            assert getattr(kept, name) == getattr(meant, name), name
        assert kept.spring_um == meant.spring_um
        assert kept.opening.value == meant.predicted.value
        assert kept.now_pa == plan.case.openings[meant.cylinder].value
    assert chosen_body(plan, story) == chosen_body(plan, story)


# --- how far it has come --------------------------------------------------------------------------


def test_the_planned_change_is_done_when_it_is_noted_and_told_when_it_is_read(uneven):
    uneven.choose()
    uneven.take(1)
    assert uneven.state(1) is PlanState.TO_DO

    uneven.reshim(1, 1.30, 1.35)
    assert uneven.state(1) is PlanState.DONE

    uneven.read(1, 201.3)
    found = chosen_match(uneven.story)
    assert found.at(uneven.one(1).injector).state is PlanState.AS_FORETOLD
    assert (found.done, found.holds) == (1, True)


def test_a_change_that_is_taken_back_is_to_be_done_again(uneven):
    uneven.choose()
    uneven.take(1)
    entry = uneven.reshim(1, 1.30, 1.35)
    uneven.shop.withdraw(uneven.act(), FITTER, uneven.job, entry.id, "a slip")

    assert uneven.state(1) is PlanState.TO_DO


def test_a_reading_off_what_was_foretold_makes_the_match_stale(uneven):
    uneven.choose()
    uneven.take(1)
    uneven.reshim(1, 1.30, 1.35)
    uneven.read(1, 192.0)
    found = chosen_match(uneven.story)

    assert found.at(uneven.one(1).injector).state is PlanState.NOT_AS_FORETOLD
    assert not found.holds
    assert "Cylinder 1: it came out at 191" in found.stale[0]


def test_another_shim_than_the_planned_one_is_told(uneven):
    uneven.choose()
    uneven.take(1)
    uneven.reshim(1, 1.30, 1.40)

    assert uneven.state(1) is PlanState.OTHERWISE
    assert not chosen_match(uneven.story).holds


def test_one_that_was_to_stay_and_is_set_makes_it_stale(uneven):
    uneven.choose()
    uneven.take(2)
    uneven.reshim(2, 1.30, 1.35)

    assert uneven.state(2) is PlanState.OTHERWISE
    assert uneven.state(1) is PlanState.TO_DO
    assert not chosen_match(uneven.story).holds


@pytest.mark.parametrize(("bar", "state"), [(196.5, PlanState.TO_DO), (199.9, PlanState.STALE)])
def test_a_new_reading_makes_it_stale_only_where_it_tells_another_pressure(uneven, bar, state):
    uneven.choose()
    uneven.take(1)
    uneven.read(1, bar, "as-found")

    assert uneven.state(1) is state
    assert chosen_match(uneven.story).holds is (state is PlanState.TO_DO)


def test_a_shim_that_went_in_as_it_was_put_together_is_done(uneven):
    uneven.choose()
    uneven.take(1)
    pair = uneven.one(1).pair
    uneven.note(EntryKind.STRIPPED, {"pair": pair}, 1)
    assert uneven.state(1) is PlanState.TO_DO
    uneven.note(EntryKind.ASSEMBLED, {"pair": pair, "shim_mm": 1.35}, 1)

    assert uneven.state(1) is PlanState.DONE


@pytest.mark.parametrize(
    ("off", "state"), [(0.0, PlanState.DONE), (0.02, PlanState.DONE), (0.25, PlanState.OTHERWISE)]
)
def test_a_planned_turn_is_done_when_so_much_was_turned(shop, off, state):
    # The card of an injector that is set by a screw: about 74 bar for a turn.
    sheet = DEMO.parents[1] / "setting_sheets" / "pintle-screw.toml"
    bench = Bench(shop, [119.0, 122.5, 122.8], [None, None, None], sheet=sheet)
    plan = bench.plan(work=1)
    (step,) = plan.acts
    assert (step.cylinder, step.act) == (1, Act.TURN)
    choose(shop, bench.act(), FITTER, bench.story, plan)
    assert bench.state(1) is PlanState.TO_DO

    bench.take(1)
    injector = bench.one(1).injector
    half = round(0.5 * step.turns, 4)  # in two goes
    for turns in (half, step.turns - half + off):
        shop.change_setting(bench.act(), FITTER, bench.job, injector, {"screw_turns": turns})
    assert bench.state(1) is state


def test_another_sheet_makes_it_stale(uneven):
    uneven.choose()
    text = (DEMO / "sheet.toml").read_bytes().replace(b"edition 3", b"edition 4") + b"\n# another\n"
    other = uneven.shop.add_sheet(uneven.act(), FITTER, text)
    uneven.shop.note(uneven.act(), FITTER, uneven.job, EntryKind.SHEET_CHOSEN, {"sheet": other})

    assert "Another setting sheet" in chosen_match(uneven.story).stale[0]


# --- springs --------------------------------------------------------------------------------------

SPRING = '\n[spring]\nfree_length = "50.0 ± 0.3 mm"\n'


@pytest.fixture
def sprung(shop):
    shop.put_drawer("drawer", FITTER, {1300: 1})
    bench = Bench(shop, [197.5, 202.0, 202.6], [1.30, 1.30, 1.30], SPRING)
    bench.take(1)
    bench.spring(1, 49.95)
    bench.lay()
    return bench


def kind_of(bench):
    return bench.shop.sheet(bench.story).injector


def case_of(bench):
    return case_of_job(bench.shop, bench.story)


def test_springs_may_move_where_two_were_measured_or_one_lies_on_the_shelf(sprung):
    assert springs_of(sprung.shop, sprung.story, case_of(sprung)) is None

    sprung.shop.put_spring("s", FITTER, ShelfSpring(kind_of(sprung), 0.0, 50000, 20.0, 1))
    springs = springs_of(sprung.shop, sprung.story, case_of(sprung))

    assert (springs.fitted_um, springs.counts) == ({1: 49950}, {50000: 1})
    assert springs.load_n == 0.0
    # Free lengths leave the rates in doubt: 2.9 % of the opening pressure asked for.
    assert springs.rates_u_pa / BAR == pytest.approx(200 * 0.05 / 3**0.5, rel=0.05)


def test_a_spring_measured_under_another_load_or_that_has_set_is_not_moved(sprung):
    kind = kind_of(sprung)
    sprung.shop.put_spring("a", FITTER, ShelfSpring(kind, 460.0, 48000, 20.0, 1))
    sprung.shop.put_spring("b", FITTER, ShelfSpring(kind, 0.0, 49000, 20.0, 1))  # under 49.7 mm
    sprung.shop.put_spring("c", FITTER, ShelfSpring("another kind", 0.0, 50000, 20.0, 1))

    assert springs_of(sprung.shop, sprung.story, case_of(sprung)) is None


def test_a_planned_spring_is_done_when_it_has_gone_in(sprung):
    sprung.shop.put_spring("s", FITTER, ShelfSpring(kind_of(sprung), 0.0, 50000, 20.0, 1))
    entry = sprung.choose(work=1, springs=True)
    step = planned_steps(entry.body)[0]
    assert (step.spring_was_um, step.spring_um, step.shims_um) == (49950, 50000, (1300,))
    # 0.05 mm do 5 bar, and what two springs may differ in rate is in the doubt.
    assert (step.opening.value - step.now_pa) / BAR == pytest.approx(5.0, abs=0.2)
    assert step.opening.standard_uncertainty / BAR > 8.0
    sprung.take(1)
    sprung.respring(1, 50.0)
    assert sprung.state(1) is PlanState.DONE
    sprung.read(1, 203.0)
    assert sprung.state(1) is PlanState.AS_FORETOLD


def test_the_planned_shim_without_the_planned_spring_is_not_as_planned(sprung):
    sprung.shop.put_spring("s", FITTER, ShelfSpring(kind_of(sprung), 0.0, 50000, 20.0, 1))
    sprung.choose(work=1, springs=True)
    sprung.take(1)
    sprung.respring(1, 49.8)

    assert sprung.state(1) is PlanState.OTHERWISE


def test_after_another_spring_the_pressure_is_reckoned_from_the_lengths(sprung):
    shop = sprung.shop
    before = shop.opening_now(sprung.one(1))
    sprung.take(1)
    sprung.respring(1, 49.75)
    expected = shop.opening_expected(sprung.story, sprung.one(1))

    assert shop.read_with_other_spring(sprung.one(1))
    assert (expected.value - before.value) / BAR == pytest.approx(-20.0, abs=0.5)
    sprung.read(1, 183.0)
    assert not shop.read_with_other_spring(sprung.one(1))
    assert shop.opening_expected(sprung.story, sprung.one(1)) == shop.opening_now(sprung.one(1))


def test_a_spring_that_has_set_is_told_at_the_proposal(sprung):
    sprung.take(1)
    sprung.spring(1, 49.3)
    proposed = sprung.shop.setting_proposed(sprung.story, sprung.one(1))

    assert any("has set" in warning for warning in proposed.warnings)


def test_a_used_spring_from_elsewhere_is_not_blamed_on_the_shim(sprung):
    sprung.take(1)
    pair = sprung.one(1).pair
    sprung.note(EntryKind.STRIPPED, {"pair": pair}, 1)
    sprung.spring(1, 50.2, goes_in=True)
    sprung.note(EntryKind.ASSEMBLED, {"pair": pair}, 1)
    sprung.reshim(1, 1.30, 1.35)
    sprung.read(1, 230.0)

    known = sprung.shop.setting_known(sprung.story)
    assert known.changes == known.set_aside == ()
    assert known.new_springs == frozenset()


def test_a_spring_that_was_only_measured_is_no_bad_spring(sprung):
    from nozzlewright.advice.causes import published
    from nozzlewright.workflow.cause_evidence import _from_findings

    sprung.take(1)
    one = sprung.one(1)
    told = [piece.observation for piece in _from_findings(published(), one)]
    body = {"part": "spring", "seen": "cracked", "severity": "renew"}
    sprung.note(EntryKind.FINDING, body)

    assert told == []
    assert [piece.observation for piece in _from_findings(published(), sprung.one(1))] == [
        "f_spring"
    ]


def test_the_shelf_refuses_what_is_no_spring(shop):
    good = ShelfSpring("kind", 0.0, 50000, 20.0, 1)
    for bad in (replace(good, length_um=0), replace(good, load_n=-1.0), replace(good, count=-1)):
        with pytest.raises(InputFault):
            shop.put_spring("x", FITTER, bad)
    assert shop.spring_shelf() == ()


def test_without_a_sheet_nothing_moves(shop):
    bench = Bench(shop, [200.0], [1.3])
    case = case_of(bench)
    assert not isinstance(case, NotMeasured)
    assert springs_of(shop, replace(bench.story, sheet=""), case) is None
