"""The proposed change at its step, and the shim drawer."""

from __future__ import annotations

import re

import pytest

from nozzlewright.records import EntryKind


@pytest.fixture
def bench_shop(helper):
    return helper("edge/web/bench_shop.py")


@pytest.fixture
def bench(helper, bench_shop, tmp_path, web_settings, serve, browser):
    shop = helper("workflow/in_memory.py").workshop_in_memory(tmp_path)
    return bench_shop.at_the_bench(shop, web_settings, serve, browser, rig=True)


def read(bench, cylinder=1, recording="2-found.parquet"):
    if bench.story.in_hand != bench.one(cylinder).injector:
        bench.take(cylinder)
    bench.tested(cylinder, recording=recording, seat="dry")
    return bench.get(bench.step("set", cylinder))


def test_the_step_shows_now_target_change_chance_and_how_sure_it_is(bench):
    shown = read(bench)

    for words in (
        "Best prospect", "Now", "Target", "The gauge will show", "Chance of a pass",
        "Why, and how sure", "from the sheet", "Or else", "Effect",
    ):  # fmt: skip
        assert words in shown, words
    picture = re.search(r'<svg class="proposal-picture".*?aria-label="([^"]+)"', shown, re.DOTALL)
    assert "in 19 of 20 cases" in picture[1]
    assert "through skin" in shown  # the caution of the step
    assert "Let the pressure off first" in shown
    assert 'style="' not in re.search(r'<div class="proposal">.*?</div>', shown, re.DOTALL)[0]


def test_the_picture_puts_band_target_and_pressures_in_their_order(bench):
    shown = read(bench)
    band = re.search(r'class="pp-band" x="([\d.]+)" y="34" width="([\d.]+)"', shown)
    left, width = float(band[1]), float(band[2])
    target = float(re.search(r'class="pp-target" d="M([\d.]+) ', shown)[1])
    now = float(re.search(r'class="pp-now" cx="([\d.]+)" cy="62"', shown)[1])
    then = float(re.search(r'class="pp-then" cx="([\d.]+)" cy="62"', shown)[1])

    assert now < left < target < left + width
    assert left < then < left + width


def test_another_choice_is_one_tap_away_and_fills_the_form(bench):
    shown = read(bench)
    best = bench.form(bench.step("set"), "Changed: read it again").fields["shim_to_mm"]
    assert f"{bench.step('set')}?choice=1" in shown
    form = bench.form(bench.step("set") + "?choice=1", "Changed: read it again")
    assert form.fields["shim_to_mm"] != best
    assert bench.get(bench.step("set") + "?choice=999")
    assert bench.get(bench.step("set") + "?choice=-1")


def test_after_the_reading_what_was_foretold_stands_beside_what_came(bench):
    read(bench)
    bench.send(bench.form(bench.step("set"), "Changed: read it again"), shim_to_mm="1,45")
    body = bench.last(EntryKind.SETTING_CHANGED).body
    assert body["shim_to_mm"] == 1.45
    assert body["foretold"]["opening_pa"][0] > 1.9e7
    saved = bench.tested(step="re-read", recording="2-left.parquet")
    shown = bench.get(bench.step("set"))
    assert "The last change" in shown
    assert re.search(r"Foretold [\d.]+ ± [\d.]+ bar, read [\d.]+ bar", shown)
    assert "learned from 1 change on 1 injector of this kind" in shown
    assert "Foretold" in bench.get(bench.step("seat") + f"?saved={saved.id}")


def test_a_pressure_with_the_lock_nut_slack_is_kept(bench):
    read(bench)
    bench.send(
        bench.form(bench.step("set"), "Changed: read it again"), shim_to_mm="1.45", slack="201,5"
    )
    body = bench.last(EntryKind.SETTING_CHANGED).body
    assert body.get("slack_pa") in (None, pytest.approx(201.5e5))


def test_without_a_reading_the_step_says_what_to_do(bench):
    bench.take()
    shown = bench.get(bench.step("set"))
    assert "No change can be proposed: its opening pressure has not been read" in shown
    assert "Make three slow strokes" in shown


# -- the drawer ----------------------------------------------------------------------------------


def test_the_drawer_begins_with_the_sizes_of_a_sheet_and_is_counted_in(bench):
    shown = bench.get("/drawer")
    assert "Nobody has counted the shims yet" in shown
    bench.tap("/drawer", "Begin with the 19 sizes")
    assert set(bench.shop.drawer().counts.values()) == {0}
    form = bench.form("/drawer", "+")
    answer = bench.send(form, step="1400:+1")
    assert answer.status_code == 303
    assert answer.headers["location"].startswith("/drawer?size=1400")
    bench.send(bench.form("/drawer", "+"), step="1400:+1")
    bench.send(bench.form("/drawer", "+"), step="1350:+1")
    bench.send(bench.form("/drawer", "+"), step="1400:-1")
    counts = bench.shop.drawer().counts
    assert (counts[1400], counts[1350], counts[1300]) == (1, 1, 0)


def test_a_repeated_tap_counts_once(bench):
    bench.tap("/drawer", "Put it in", size_mm="1,3", count="4")
    form = bench.form("/drawer", "+")
    for _ in range(3):
        bench.send(form, step="1300:+1")
    assert bench.shop.drawer().counts == {1300: 5}


def test_a_size_is_added_with_a_comma_or_as_endless(bench):
    bench.tap("/drawer", "Put it in", size_mm="1,425", count="3")
    bench.tap("/drawer", "Put it in", size_mm="1.5", endless="yes")
    assert bench.shop.drawer().counts == {1425: 3, 1500: None}
    shown = bench.get("/drawer")
    assert "<b>1.425</b>" in shown
    assert "endless" in shown
    refused = bench.tap("/drawer", "Put it in", size_mm="abc", count="-2")
    assert refused.status_code == 422
    assert refused.text.count("fault-at") >= 2


@pytest.mark.parametrize(
    "table",
    [
        "thickness;number\n1.30;4\n1.35;2\n1.40;*\n",
        "1,30;4\n1,35;2\n1,40;*",
        "1.30\t4\r\n1.35\t2\r\n1.40\t∞\r\n",
        "1.3 mm, 4\n1.35 mm, 2\n\n1.4 mm, *",
        "1.30,4\n1.35,2\n1.40,*\n",
    ],
)
def test_a_table_from_a_spreadsheet_is_the_drawer(bench, table):
    assert bench.tap("/drawer", "Take it as the drawer", table=table).status_code == 303
    assert bench.shop.drawer().counts == {1300: 4, 1350: 2, 1400: None}
    again = bench.form("/drawer", "Take it as the drawer")
    assert again  # what is shown can be sent again
    shown = re.search(r"<textarea[^>]*>([^<]*)</textarea>", bench.get("/drawer"))[1]
    bench.tap("/drawer", "Take it as the drawer", table=shown)
    assert bench.shop.drawer().counts == {1300: 4, 1350: 2, 1400: None}


@pytest.mark.parametrize(
    "table", ["1.30", "one; two\nthree", "1.30; -4", "99; 1", "1.3; 100000", "1,30,4", "", "x" * 99]
)
def test_a_table_that_is_not_understood_says_which_line_and_changes_nothing(bench, table):
    refused = bench.tap("/drawer", "Take it as the drawer", table=table)
    assert refused.status_code == 422
    assert "fault-table" in refused.text
    assert bench.shop.drawer() is None


@pytest.mark.parametrize("step", ["1300:+5", "x", "999999:+1", "1300:", "1300:+1;drop"])
def test_nonsense_from_a_script_is_refused(bench, step):
    bench.tap("/drawer", "Put it in", size_mm="1.3", count="4")
    assert bench.send(bench.form("/drawer", "+"), step=step).status_code == 422
    assert bench.shop.drawer().counts == {1300: 4}


def test_only_what_lies_in_the_drawer_is_proposed_and_it_leaves_when_fitted(bench):
    bench.tap("/drawer", "Take it as the drawer", table="1.45; 2\n1.30; 1\n1.60; 1")
    shown = read(bench)
    assert "2 in the drawer" in shown
    form = bench.form(bench.step("set"), "Changed: read it again")
    assert form.fields["shim_to_mm"] == ["1.45"]
    bench.send(form)
    assert bench.shop.drawer().counts == {1300: 2, 1450: 1, 1600: 1}
    assert "Shims in the drawer" in bench.get(bench.step("set"))
