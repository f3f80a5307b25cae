"""The shop's days begin and end where the shop stands, not at Greenwich."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta, timezone
from itertools import count
from pathlib import Path

import pytest

from nozzlewright.edge.wiring.shop import open_shop

DEMO = Path(__file__).parents[2] / "demo" / "six-in-line"
FITTER = "A. N. Other"
EASTMOST, WESTMOST = timezone(timedelta(hours=14)), timezone(timedelta(hours=-12))


@pytest.fixture
def shop_at(tmp_path):
    """Open a shop in a zone, with a clock that is told the time (UTC)."""
    opened = []

    def open_at(zone, *moments):
        times, ids = iter(moments), count(1)
        shop = open_shop(tmp_path, None, lambda: next(times), lambda: f"id-{next(ids)}", zone)
        opened.append(shop)
        return shop.workshop

    yield open_at
    for shop in opened:
        shop.close()


def test_a_rig_checked_in_the_morning_is_of_the_day_in_the_evening(shop_at):
    morning = datetime(2027, 12, 30, 18, tzinfo=UTC)  # 08:00 on the 31st at UTC+14
    evening = morning + timedelta(hours=9)  # 17:00; at Greenwich another day
    shop = shop_at(EASTMOST, *[morning] * 9)
    state = shop.check_rig("check", FITTER, (DEMO / "bench.toml").read_bytes())

    assert state.at == morning
    assert shop.day_of(state.at) == shop.day_of(evening) == date(2027, 12, 31)
    assert shop.rig_days.check(state).made_on == "2027-12-31"


@pytest.mark.parametrize(
    ("zone", "moment", "year"),
    [
        (EASTMOST, datetime(2027, 12, 31, 12, tzinfo=UTC), 2028),
        (WESTMOST, datetime(2028, 1, 1, 11, tzinfo=UTC), 2027),
    ],
)
def test_a_job_is_of_the_year_that_the_shop_has(shop_at, zone, moment, year):
    shop = shop_at(zone, *[moment] * 9)
    booked = {"title": "set", "engine": "engine", "cylinders": 1, "condition": "used"}

    job = shop.book_in("booking", FITTER, {**booked, "symptoms": {}, "sheet": ""})

    assert job.startswith(f"{year}-")
    assert shop.story(job).booked["title"] == "set"
