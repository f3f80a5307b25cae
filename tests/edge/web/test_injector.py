"""One injector over all its jobs."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from nozzlewright.edge.web.screens.injector import Reading, picture_of
from nozzlewright.measurement import Cause, Quantity
from nozzlewright.records import EntryKind


@pytest.fixture
def bench_shop(helper):
    return helper("edge/web/bench_shop.py")


@pytest.fixture
def bench(helper, bench_shop, tmp_path, web_settings, serve, browser):
    shop = helper("workflow/in_memory.py").workshop_in_memory(tmp_path)
    return bench_shop.at_the_bench(shop, web_settings, serve, browser)


def reading(bar, as_left=False, days=0, deviation=0.2):
    opening = Quantity(bar * 1e5, "Pa", {Cause("gauge level"): deviation * 1e5})
    return Reading(
        datetime(2026, 3, 2, tzinfo=UTC) + timedelta(days), "2026-0001", as_left, opening
    )


def test_an_injector_shows_where_it_is_its_pair_and_what_was_done(bench):
    bench.assembled()
    shown = bench.get(f"/injector/{bench.one().injector}")
    assert "Injector D-101" in shown
    assert bench.one().pair in shown
    assert f"In job {bench.job}, cylinder 1" in shown
    assert "no result: needle seized" in shown
    assert "None has been measured yet" in shown
    assert "<svg viewBox" not in shown


def test_its_history_goes_with_it_to_another_engine(bench, bench_shop):
    one = bench.one()
    bench.take()
    bench.tested()
    bench.note(EntryKind.LAID_DOWN)
    bench.shop.note(
        "shelf",
        bench_shop.FITTER,
        bench.job,
        EntryKind.SHELVED,
        {"where": "drawer"},
        injector=one.injector,
    )
    assert "on the shelf" in bench.get(f"/injector/{one.injector}")
    booked = {"engine": "another engine", "cylinders": 1, "condition": "used"}
    second = bench.shop.book_in("second", bench_shop.FITTER, booked)
    bench.shop.tag("again", bench_shop.FITTER, second, 1, "", injector=one.injector)
    shown = bench.get(f"/injector/{one.injector}")
    assert f"In job {second}, cylinder 1" in shown
    assert f"/job/{bench.job}/story" in shown
    assert f"/job/{second}/story" in shown
    assert "Opens at" in shown
    assert "drawer" in shown


def test_a_test_that_was_taken_back_is_no_longer_in_the_history(bench, bench_shop):
    bench.take()
    entry = bench.tested()
    assert "Opens at" in bench.get(f"/injector/{bench.one().injector}")
    bench.shop.withdraw("w", bench_shop.FITTER, bench.job, entry.id, "wrong injector")
    assert "Opens at" not in bench.get(f"/injector/{bench.one().injector}")


def test_the_picture_keeps_order_and_heights_of_the_readings():
    picture = picture_of([reading(195), reading(204, as_left=True), reading(200, days=400)])
    xs, ys = zip(*((dot.x, dot.y) for dot in picture.dots), strict=True)
    assert list(xs) == sorted(xs)
    assert ys[1] < ys[2] < ys[0]
    # Heights are in proportion: the lines of the axis say so.
    (y_low, low), (y_high, high) = picture.lines[0], picture.lines[-1]
    per_bar = (y_low - y_high) / (float(high) - float(low))
    assert ys[0] - ys[1] == pytest.approx(9 * per_bar, abs=0.2)
    assert all(dot.high < dot.y < dot.low for dot in picture.dots)
    assert [day.year for _x, day in picture.days] == [2026, 2027]


def test_readings_that_are_all_alike_still_make_a_picture():
    picture = picture_of([reading(200, deviation=0.0)] * 2)
    assert len({dot.y for dot in picture.dots}) == 1
    assert len(picture.lines) >= 2


def test_one_reading_makes_no_picture():
    assert picture_of([reading(200)]) is None
