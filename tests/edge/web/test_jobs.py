"""Jobs in hand: marks, what waits for whom, the rig on top, search; and back from the engine."""

from __future__ import annotations

import re
import uuid
from datetime import UTC, datetime, timedelta

import pytest

from nozzlewright.edge.web.here import Here
from nozzlewright.records import Draft, EntryKind
from nozzlewright.workflow.ports import JobRow


@pytest.fixture
def front(helper, tmp_path, web_settings, serve, browser):
    one = helper("edge/web/front_shop.py").front(tmp_path, web_settings, serve, browser)
    yield one
    one.shop.close()


def act():
    return str(uuid.uuid4())


def cards(shown):
    return re.findall(r'<li class="job card">.*?</ul>\s*(?:<p.*?</p>)?\s*</li>', shown, re.DOTALL)


def tagged(front, job):
    for cylinder in (1, 2, 3):
        front.workshop.tag(act(), "R", job, cylinder, f"S-40{cylinder}")


def fill(front, count):
    """Book many sets in at once."""
    records = front.workshop.records
    shown = rows(count)
    for start in range(0, count, 2000):
        some = shown[start : start + 2000]
        drafts = [
            Draft(act(), one.job, EntryKind.BOOKED_IN, "R", one.booked_at, {"title": one.title})
            for one in some
        ]
        records.take_in(drafts, rows=some)


def rows(count):
    at = datetime(2026, 1, 1, tzinfo=UTC)
    return [
        JobRow(
            job=f"2025-{number:05d}",
            title=f"set {number}",
            engine="invented ferry" if number % 100 == 0 else "invented tug",
            customer="invented customer",
            booked_at=at,
            touched_at=at + timedelta(minutes=number),
            state="open" if number % 10 == 0 else "handed over",
            waits_for="fitter" if number % 10 == 0 else "",
            marks=[
                {"cylinder": c, "injector": f"I{number}-{c}", "serial": "", "step": "wash",
                 "done": 1, "of": 18, "outcome": "", "in_hand": False}
                for c in (1, 2, 3, 4)
            ],
        )
        for number in range(1, count + 1)
    ]  # fmt: skip


def test_an_empty_shop_leads_to_booking_in_and_to_the_rig(front):
    shown = front.get("/")
    assert "No set is in hand" in shown
    assert 'href="/book-in"' in shown
    assert "No rig was checked today" in shown
    assert 'href="/rig"' in shown


def test_a_set_shows_what_it_waits_for_and_a_mark_for_each_injector(front):
    job = front.book()
    (card,) = cards(front.get("/"))
    assert "waits for its setting sheet" in card
    assert card.count('class="mark mark-open"') == 3
    front.workshop.note(act(), "R", job, EntryKind.SHEET_CHOSEN, {"sheet": front.add_sheet()})
    assert "waits for tags" in front.get("/")
    tagged(front, job)
    (card,) = cards(front.get("/"))
    assert "waits for the fitter" in card
    assert card.count('class="mark mark-waiting"') == 3
    one = front.story(job).at_cylinder(2)
    front.workshop.note(act(), "F", job, EntryKind.TAKEN_IN_HAND, injector=one.injector)
    seen = {"note": "needle seized: no result", "needle_slide": False}
    front.workshop.see(act(), "F", job, one.injector, seen, done="as-found")
    (card,) = cards(front.get("/"))
    assert "on the bench" in card
    assert card.count('class="mark mark-now"') == 1
    assert "in hand" in card
    assert "1 of 18 steps, next: Wash outside" in card
    assert 'stroke-dasharray="1 18"' in card


def test_the_rig_of_today_stands_on_top_with_its_temperature_and_hold(front):
    front.check_rig()
    shown = front.get("/")
    assert "invented rig D-R1" in shown
    assert "oil 14.0 °C" in shown
    assert "no blank hold" in shown
    assert "No rig was checked today" not in shown
    front.be(Here(who="A. N. Other", language="de"))
    assert "14,0 °C" in front.get("/")


def test_a_check_of_yesterday_is_not_one_of_today(helper, tmp_path, web_settings, serve, browser):
    now = datetime(2026, 3, 4, 12, tzinfo=UTC)
    clock = [now - timedelta(days=1)]
    one = helper("edge/web/front_shop.py").front(
        tmp_path, web_settings, serve, browser, clock=lambda: clock[0]
    )
    one.check_rig()
    clock[0] = now
    shown = one.get("/")
    assert "No rig was checked today" in shown
    assert "invented rig D-R1" in shown
    one.shop.close()


def test_jobs_are_found_by_engine_and_customer_and_injectors_by_their_serial(front):
    job = front.book(engine="invented müller pump", title="set of the miller")
    front.book(engine="invented tug", customer="other")
    tagged(front, job)
    assert len(cards(front.get("/"))) == 2
    for words in ("Muller", "mill", job, "invented customer"):
        (card,) = cards(front.get(f"/?search={words}"))
        assert "set of the miller" in card
    shown = front.get("/?search=402")
    assert "S-402" in shown
    assert f"job {job}, cylinder 2" in shown
    assert "No job is found for “402”" in shown
    assert "No job is found for “&lt;b&gt;”" in front.get("/?search=<b>")


def test_each_page_of_the_list_goes_on_where_the_one_before_ended(front):
    fill(front, 60)
    seen, path = [], "/?show=all"
    while path:
        shown = front.get(path)
        seen += re.findall(r'href="/job/(2025-\d+)"', shown)
        older = re.search(r'href="([^"]+)"><svg[^>]*><use[^>]*></use></svg><span>Older jobs', shown)
        path = older[1].replace("&amp;", "&") if older else ""
    assert seen == [f"2025-{number:05d}" for number in range(60, 0, -1)]
    assert len(cards(front.get("/?show=open"))) == 6
    assert len(cards(front.get("/?show=handed-over"))) == 24


@pytest.mark.slow
def test_the_list_shows_a_page_of_thousands_of_jobs(front):
    fill(front, 6_000)

    for path in ("/", "/?show=all", "/?search=ferry", "/?show=handed-over&after=2025-03000"):
        assert len(cards(front.get(path))) == 24, path


def handed_over(front, job):
    kind, body = EntryKind.HANDED_OVER, {"to": "invented customer", "packed": {}}
    one = front.story(job).at_cylinder(1)
    front.workshop.note(act(), "F", job, EntryKind.TAKEN_IN_HAND, injector=one.injector)
    front.workshop.see(act(), "F", job, one.injector, {"seat": "dry", "spray": "good"})
    front.workshop.note(act(), "F", job, EntryKind.LAID_DOWN, injector=one.injector)
    front.workshop.note(
        act(), "S", job, EntryKind.SECOND_PERSON, {"agrees": True}, injector=one.injector
    )
    front.workshop.note(act(), "R", job, kind, body)


@pytest.fixture
def gone(front):
    job = front.book(sheet=front.add_sheet(), cylinders=1)
    front.workshop.tag(act(), "R", job, 1, "S-1")
    handed_over(front, job)
    return job


def test_what_comes_back_from_the_engine_is_written_into_the_job(front, gone):
    assert cards(front.get("/")) == []
    (card,) = cards(front.get("/?show=handed-over"))
    assert "waits for word from the engine" in card
    assert "handed over" in card
    path = f"/job/{gone}/running-check"
    assert f'href="{path}"' in front.get("/?show=handed-over")
    answer = front.send(path, well="yes", note="no smoke", exhaust="1: 310 °C at half load")
    assert "Saved: what came back from the engine" in front.saved(answer)
    (check,) = front.story(gone).running_checks
    assert check.body == {
        "well": True,
        "note": "no smoke",
        "exhaust_temperatures": "1: 310 °C at half load",
    }
    assert "310 °C at half load" in front.get(path)
    (card,) = cards(front.get("/?show=handed-over"))
    assert "word came from the engine" in card


def test_an_engine_that_runs_badly_is_described(front, gone):
    answer = front.send(f"/job/{gone}/running-check", well="no")
    assert answer.status_code == 422
    assert "it is not said what is wrong" in answer.text
    assert front.story(gone).running_checks == []


def test_a_set_still_in_hand_has_no_running_check(front):
    job = front.book()
    page = f"/job/{job}/running-check"
    assert "has not been handed over" in front.get(page)
    answer = front.browser.client.post(
        page,
        data={"csrf": front.browser.token(), "form_id": act(), "well": "yes"},
        headers={"Origin": front.browser.address},
    )
    assert answer.status_code == 409
    assert front.story(job).running_checks == []
    assert front.browser.get("/job/2020-0001/running-check").status_code == 404
