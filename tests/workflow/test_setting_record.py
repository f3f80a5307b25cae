"""What a workshop's record teaches of settings, and its drawer of shims."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nozzlewright.bench import ShelfSpring
from nozzlewright.errors import InputFault
from nozzlewright.measurement import NotMeasured, Quantity
from nozzlewright.records import EntryKind, drawer_from, resolved
from nozzlewright.workflow import NewTest
from nozzlewright.workflow.setting_record import opening_from, settings_of

DEMO = Path(__file__).parents[2] / "demo" / "six-in-line"
FITTER, OTHER = "A. N. Other", "S. O. Else"


class Bench:
    """A person who takes a job of one injector as far as a test asks for."""

    def __init__(self, shop, act):
        self.shop, self.act = shop, act
        self.check_rig("invented sitting 1")
        self.sheet = shop.add_sheet(act(), FITTER, (DEMO / "sheet.toml").read_bytes())

    def check_rig(self, sitting):
        text = (DEMO / "bench.toml").read_text().replace("invented sitting 1", sitting)
        text = text.replace("recordings/blank-plug.csv", "blank.csv")
        blank = self.shop.evidence.keep(
            (DEMO / "recordings" / "blank-plug.csv").read_bytes(), "csv"
        )
        self.shop.check_rig(self.act(), FITTER, text.encode(), blank=blank)

    def job(self, serial="D-1", shim_mm=1.25):
        booked = {"title": "invented", "engine": "invented", "cylinders": 1, "condition": "used",
                  "sheet": self.sheet}  # fmt: skip
        job = self.shop.book_in(self.act(), OTHER, booked)
        self.shop.tag(self.act(), OTHER, job, 1, serial, shim_mm=shim_mm)
        self.note(job, EntryKind.TAKEN_IN_HAND)
        return job

    def one(self, job):
        return self.shop.story(job).at_cylinder(1)

    def note(self, job, kind, **body):
        injector = self.one(job).injector
        return self.shop.note(self.act(), FITTER, job, kind, body, injector=injector)

    def read(self, job, name, step="re-read"):
        path = DEMO / "recordings" / name
        digest = self.shop.evidence.keep(path.read_bytes(), path.name.partition(".")[2])
        new = NewTest(step, digest)
        return self.shop.test(self.act(), FITTER, job, self.one(job).injector, new)

    def reshim(self, job, before, after, **more):
        body = {"shim_from_mm": before, "shim_to_mm": after}
        return self.shop.change_setting(
            self.act(), FITTER, job, self.one(job).injector, body, **more
        )

    def whole(self, serial="D-1", before=1.25, after=1.40):
        job = self.job(serial, before)
        self.read(job, "2-found.parquet", "as-found")
        self.reshim(job, before, after)
        self.read(job, "2-left.parquet")
        return job


@pytest.fixture
def bench(shop, act):
    return Bench(shop, act)


def test_a_change_between_two_readings_is_learned_from_and_the_gauge_cancels(shop, bench):
    job = bench.whole()
    known = shop.setting_known(shop.story(job))

    assert len(known.changes) == 1
    change = known.changes[0]
    assert change.amount == pytest.approx(0.15e-3)
    # The demo set's truth: 0.1 mm does 10 bar (src/nozzlewright/simulator/demo.py).
    rise = change.after.value - change.before.value
    assert rise / change.amount / 1e8 == pytest.approx(100.0, abs=12.0)
    level = {c for c in change.before.contributions if c.name.startswith("gauge level")}
    assert level
    assert level <= set(change.after.contributions)
    before = shop.setting_known(shop.story(bench.job("D-9")))
    assert before.changes == known.changes


def test_what_one_job_teaches_helps_the_next_and_closed_jobs_count(shop, bench):
    first = shop.setting_known(shop.story(bench.job("D-0")))
    assert first.changes == ()
    for number in range(1, 5):
        bench.whole(f"D-{number}")
    later = bench.job("D-8")
    known = shop.setting_known(shop.story(later))

    assert known.injectors == 4
    fresh = known.effect_of("another").standard_uncertainty
    assert fresh < first.effect_of("another").standard_uncertainty
    assert "4 changes on 4 injectors" in known.sure


def test_what_was_foretold_stands_in_the_record_beside_the_change(shop, bench):
    job = bench.job()
    bench.read(job, "2-found.parquet", "as-found")
    proposed = shop.setting_proposed(shop.story(job), bench.one(job))
    after = round(1.25 + proposed.shim_change_m * 1e3, 3)
    entry = bench.reshim(job, 1.25, after)

    value, u = entry.body["foretold"]["opening_pa"]
    assert value == pytest.approx(proposed.best.shown.value)
    assert u == pytest.approx(proposed.best.shown.standard_uncertainty)
    assert isinstance(shop.setting_proposed(shop.story(job), bench.one(job)), NotMeasured)
    bench.read(job, "2-left.parquet")
    assert isinstance(shop.opening_now(bench.one(job)), Quantity)


def test_a_test_taken_back_is_unlearned(shop, bench):
    job = bench.job()
    bench.read(job, "2-found.parquet", "as-found")
    bench.reshim(job, 1.25, 1.40)
    left = bench.read(job, "2-left.parquet")
    assert len(shop.setting_known(shop.story(job)).changes) == 1
    shop.withdraw(bench.act(), FITTER, job, left.id, "wrong injector on the rig")
    assert shop.setting_known(shop.story(job)).changes == ()


def test_a_reading_before_a_new_spring_or_pair_says_nothing_of_the_shim(shop, bench):
    job = bench.job()
    one = bench.one(job)
    bench.read(job, "2-found.parquet", "as-found")
    bench.note(job, EntryKind.STRIPPED, pair=one.pair)
    bench.note(job, EntryKind.ASSEMBLED, pair=one.pair, renewed=["spring"])
    bench.reshim(job, 1.25, 1.40)
    bench.read(job, "2-left.parquet")
    told = settings_of(job, shop.story(job).entries)

    assert told.changes == []
    assert told.not_read == 1
    assert told.new_springs == {one.injector}
    assert shop.setting_known(shop.story(job)).new_springs == {one.injector}
    bench.read(job, "2-left.parquet")
    told = settings_of(job, shop.story(job).entries)
    assert len(told.settlings) == 1
    assert told.new_springs == set()


def test_a_new_spring_settles_though_its_shim_was_right_from_the_start(shop, bench):
    job = bench.job()
    one = bench.one(job)
    bench.read(job, "1-found.csv.gz", "as-found")
    bench.note(job, EntryKind.STRIPPED, pair=one.pair)
    bench.note(job, EntryKind.ASSEMBLED, pair=one.pair, renewed=["spring"])
    bench.read(job, "2-found.parquet")
    assert settings_of(job, shop.story(job).entries).new_springs == {one.injector}
    bench.read(job, "2-left.parquet")
    told = settings_of(job, shop.story(job).entries)

    assert told.new_springs == set()
    assert [(one.before.value, one.after.value) for one in told.settlings] == [
        tuple(opening_from(test).value for test in _tests(shop, job)[1:])
    ]
    assert told.changes == []


def _tests(shop, job):
    standing, _ = resolved(shop.story(job).entries)
    return [one for one in standing if one.kind is EntryKind.TEST]


@pytest.mark.parametrize("asked_before", [False, True], ids=["never asked", "asked before"])
def test_a_job_whose_sheet_was_put_right_teaches_of_the_right_kind(shop, bench, asked_before):
    job = bench.whole()
    if asked_before:
        assert len(shop.setting_known(shop.story(job)).changes) == 1
    other = (DEMO / "sheet.toml").read_bytes().replace(b"[opening", b"# corrected\n[opening", 1)
    other = re.sub(rb'(?m)^injector = ".*"', b'injector = "invented, another kind"', other)
    sheet = shop.add_sheet(bench.act(), FITTER, other)
    assert sheet != bench.sheet
    shop.note(bench.act(), FITTER, job, EntryKind.SHEET_CHOSEN, {"sheet": sheet}, evidence=(sheet,))

    assert len(shop.setting_known(shop.story(job)).changes) == 1
    wrong = bench.job("D-2")
    assert shop.setting_known(shop.story(wrong)).changes == ()


def test_a_second_change_begins_where_the_first_ended(shop, bench):
    job = bench.whole()
    bench.reshim(job, 1.40, 1.45)
    bench.read(job, "1-found.csv.gz")
    changes = settings_of(job, shop.story(job).entries).changes

    assert len(changes) == 2
    assert changes[0].after == changes[1].before
    assert changes[1].amount == pytest.approx(0.05e-3)


def test_readings_of_two_days_share_no_level(shop, bench):
    job = bench.job()
    bench.read(job, "2-found.parquet", "as-found")
    bench.check_rig("invented sitting 2")
    bench.reshim(job, 1.25, 1.40)
    bench.read(job, "2-left.parquet")
    (change,) = settings_of(job, shop.story(job).entries).changes

    own = {c for c in change.before.contributions if c.name.startswith("gauge level")}
    assert own.isdisjoint(change.after.contributions)


# --- the drawer ---------------------------------------------------------------------------------


def test_nobody_has_counted_yet(shop):
    assert shop.drawer() is None


def test_the_drawer_is_stated_whole_and_changed_piece_by_piece(shop, act):
    shop.put_drawer(act(), FITTER, {1300: 4, 1350: 0, 1400: None})
    assert shop.drawer().counts == {1300: 4, 1350: 0, 1400: None}
    shop.change_drawer("twice", FITTER, {1300: -1, 1350: 2, 1400: -1})
    shop.change_drawer("twice", FITTER, {1300: -1, 1350: 2, 1400: -1})
    assert shop.drawer().counts == {1300: 3, 1350: 2, 1400: None}
    assert shop.drawer().sizes_m == (0.0013, 0.00135, 0.0014)


def test_a_shim_that_is_fitted_leaves_the_drawer_and_the_old_one_goes_back(shop, bench):
    shop.put_drawer(bench.act(), FITTER, {1250: 1, 1400: 2})
    job = bench.job()
    bench.read(job, "2-found.parquet", "as-found")
    entry = bench.reshim(job, 1.25, 1.40)
    assert shop.drawer().counts == {1250: 2, 1400: 1}
    shop.withdraw(bench.act(), FITTER, job, entry.id, "it was another shim")
    assert shop.drawer().counts == {1250: 1, 1400: 2}


def test_a_stack_takes_each_of_its_shims(shop, bench):
    shop.put_drawer(bench.act(), FITTER, {1300: 1, 50: 4})
    job = bench.job()
    bench.read(job, "2-found.parquet", "as-found")
    bench.reshim(job, 1.25, 1.40, shims_um=(1300, 50, 50))
    assert shop.drawer().counts == {1300: 0, 50: 2}


def test_a_repeated_tap_takes_one_shim(shop, bench):
    shop.put_drawer(bench.act(), FITTER, {1400: 2})
    job = bench.job()
    bench.read(job, "2-found.parquet", "as-found")
    injector = bench.one(job).injector
    for _ in range(2):
        shop.change_setting("tap", FITTER, job, injector, {"shim_from_mm": 1.25, "shim_to_mm": 1.4})
    assert shop.drawer().counts == {1400: 1}


def test_only_what_the_drawer_has_is_proposed(shop, bench):
    job = bench.job()
    bench.read(job, "2-found.parquet", "as-found")
    shop.put_drawer(bench.act(), FITTER, {1300: 1, 1450: 1})
    proposed = shop.setting_proposed(shop.story(job), bench.one(job))
    assert {round(one.shims_m[0] * 1e6) for one in (proposed.best, *proposed.others)} <= {
        1250, 1300, 1450,
    }  # fmt: skip


def test_the_advice_on_a_set_follows_the_drawer(shop, bench):
    job = bench.job()
    bench.read(job, "2-found.parquet", "as-found")

    def advised():
        (advice,) = shop.judged(shop.story(job)).advice
        return next(one.shim_change_m for one in advice.actions if one.shim_change_m is not None)

    before = shop.judged(shop.story(job))
    assert shop.judged(shop.story(job)) is before  # nothing new: not judged again
    free = advised()
    shop.put_drawer(bench.act(), FITTER, {1300: 1})
    assert advised() != pytest.approx(free)
    assert advised() in (0.0, pytest.approx(0.05e-3))


@pytest.mark.parametrize("counts", [{0: 1}, {-5: 1}, {20_000: 1}, {1300: -1}, {1300: 10**6}])
def test_what_is_no_shim_is_refused_with_what_to_give(shop, act, counts):
    with pytest.raises(InputFault) as fault:
        shop.put_drawer(act(), FITTER, counts)
    assert "from 0" in str(fault.value)
    assert shop.drawer() is None


@given(st.lists(st.tuples(st.sampled_from([1000, 1050, 1100]), st.integers(-2, 2)), max_size=12))
def test_no_count_falls_below_nothing(changes):
    from dataclasses import dataclass

    @dataclass
    class Noted:
        body: dict

    told = [Noted({"shims": {"1000": 2, "1050": None}})]
    told += [Noted({"changed": {str(size): by}}) for size, by in changes]
    counts = drawer_from(reversed(told)).counts
    assert all(count is None or count >= 0 for count in counts.values())
    assert counts[1050] is None


# --- what is fitted leaves the counts, what comes out goes back ---------------------------------


def test_what_was_fitted_beyond_the_count_is_told_and_comes_back_as_one(shop, bench):
    shop.put_drawer(bench.act(), FITTER, {1250: 1, 1400: 0})
    job = bench.job()
    bench.read(job, "2-found.parquet", "as-found")
    entry = bench.reshim(job, 1.25, 1.40)

    assert (shop.drawer().counts, shop.drawer().owed) == ({1250: 2, 1400: 0}, {1400: 1})
    shop.withdraw(bench.act(), FITTER, job, entry.id, "it was another shim")
    assert (shop.drawer().counts, shop.drawer().owed) == ({1250: 1, 1400: 0}, {})


def test_a_shim_that_is_thrown_away_does_not_go_back(shop, bench):
    shop.put_drawer(bench.act(), FITTER, {1250: 1, 1400: 2})
    job = bench.job()
    injector = bench.one(job).injector
    change = {"shim_from_mm": 1.25, "shim_to_mm": 1.4}
    shop.change_setting(bench.act(), FITTER, job, injector, change, kept=False)

    assert shop.drawer().counts == {1250: 1, 1400: 1}


def test_a_tap_that_was_cut_short_is_made_good_when_it_is_repeated(shop, bench):
    shop.put_drawer(bench.act(), FITTER, {1400: 2})
    job = bench.job()
    injector = bench.one(job).injector
    body = {"shim_from_mm": 1.25, "shim_to_mm": 1.4, "drawer": {"1400": -1}, "at": f"{job} 1"}
    shop.note("cut", FITTER, job, EntryKind.SETTING_CHANGED, body, injector=injector)
    assert shop.drawer().counts == {1400: 2}

    for _ in range(2):
        shop.change_setting("cut", FITTER, job, injector, {"shim_from_mm": 1.25, "shim_to_mm": 1.4})
    assert shop.drawer().counts == {1400: 1}


@pytest.fixture
def apart(shop, bench):
    """A job whose injector lies stripped, its own spring measured, another one to go in."""
    job = bench.job()
    one = bench.one(job)
    kind = shop.sheet(shop.story(job)).injector
    for length, count in ((49_900, 1), (50_000, 2)):
        shop.put_spring(bench.act(), FITTER, ShelfSpring(kind, 0.0, length, 50.0, count))
    bench.read(job, "2-found.parquet", "as-found")
    bench.note(job, EntryKind.STRIPPED, pair=one.pair)
    for length, more in ((49.6, {}), (50.01, {"goes_in": True})):
        body = {"part": "spring", "seen": "length measured", "severity": "note",
                "length_mm": length, **more}  # fmt: skip
        bench.note(job, EntryKind.FINDING, **body)
    return job, one


def on_the_shelf(shop):
    return {one.length_um: (one.count, one.owed) for one in shop.spring_shelf()}


def test_a_spring_that_goes_in_leaves_the_shelf_and_comes_back_with_a_correction(
    shop, bench, apart
):
    job, one = apart
    for _ in range(2):  # a repeated tap
        shop.assemble("in", FITTER, job, one.injector, {"pair": one.pair}, spring_kept=True)

    # 50.01 mm is one of those of 50.00 mm, measured once more; the old one is a length of its own.
    assert on_the_shelf(shop) == {49_600: (1, 0), 49_900: (1, 0), 50_000: (1, 0)}
    shop.withdraw(bench.act(), FITTER, job, "in", "not yet")
    assert on_the_shelf(shop) == {49_900: (1, 0), 50_000: (2, 0)}


def test_the_old_spring_goes_onto_the_shelf_only_if_the_fitter_says_so(shop, apart):
    job, one = apart
    shop.assemble("in", FITTER, job, one.injector, {"pair": one.pair})

    assert on_the_shelf(shop) == {49_900: (1, 0), 50_000: (1, 0)}


def test_a_shim_that_goes_in_as_it_is_put_together_leaves_the_drawer(shop, bench, apart):
    job, one = apart
    shop.put_drawer(bench.act(), FITTER, {1250: 0, 1300: 1})
    shop.assemble("in", FITTER, job, one.injector, {"pair": one.pair, "shim_mm": 1.3})

    assert shop.drawer().counts == {1250: 1, 1300: 0}


@pytest.mark.parametrize(
    ("length", "load", "count", "where", "what"),
    [
        (0, 0.0, 1, "length", "0 mm is no length of a spring"),
        (50_000, -1.0, 1, "load", "-1 N is no test load of a spring"),
        (50_000, 30_000.0, 1, "load", "30000 N is no test load of a spring"),
        (50_000, 0.0, -1, "number", "-1 is no number of springs"),
    ],
)
def test_what_is_no_spring_is_refused_by_name(shop, act, length, load, count, where, what):
    with pytest.raises(InputFault) as fault:
        shop.put_spring(act(), FITTER, ShelfSpring("invented", load, length, 50.0, count))
    (only,) = fault.value.faults
    assert (str(only.where), str(only.what)) == (where, what)
    assert shop.spring_shelf() == ()
