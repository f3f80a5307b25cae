"""The gauge in a real browser: by key and by touch, on phone and desktop, through a cut line."""

from __future__ import annotations

import re
import time
import uuid
from contextlib import ExitStack

import pytest
from playwright.sync_api import expect

from nozzlewright.edge.web.app import WebSettings
from nozzlewright.edge.wiring.practice import PracticeRoom
from nozzlewright.edge.wiring.shop import open_shop
from nozzlewright.records import AS_FOUND, EntryKind
from nozzlewright.simulator import Idle, SeatHold, SlowStrokes

pytestmark = [pytest.mark.slow, pytest.mark.usefixtures("compiled_bench")]

SPEED = 4.0
SIZES = {"phone": (360, 740), "desktop": (1920, 1080)}


@pytest.fixture(autouse=True)
def unhurried(monkeypatch):
    """A sped-up bench leaves nothing out where the machine has much else to do."""
    monkeypatch.setattr("nozzlewright.edge.intake.live.pretend.MOST_AT_ONCE_S", 600.0)


@pytest.fixture
def gauge_shop(helper):
    return helper("edge/web/gauge_shop.py")


@pytest.fixture
def at(tmp_path, helper, gauge_shop):
    (tmp_path / "evidence").mkdir()
    shop = helper("workflow/in_memory.py").workshop_in_memory(tmp_path / "evidence")
    settings = WebSettings(secret=bytes(range(32)))
    with gauge_shop.gauge_shop(shop, settings, tmp_path / "recordings", SPEED) as made:
        yield made


@pytest.fixture
def address(at, gauge_shop):
    with gauge_shop.serving(at.app) as served:
        yield served


@pytest.fixture(params=SIZES)
def size(request):
    return request.param


@pytest.fixture
def page(chromium, address, size):
    """A page of the fitter's; what its console says against us fails the test."""
    width, height = SIZES[size]
    context = chromium.new_context(
        viewport={"width": width, "height": height}, has_touch=size == "phone"
    )
    one, against = context.new_page(), []
    one.on("pageerror", lambda fault: against.append(str(fault)))
    one.on(
        "console",
        lambda said: (
            against.append(said.text)
            if said.type == "error" and "ERR_CONNECTION_REFUSED" not in said.text
            else None
        ),
    )
    is_here(one, address)
    yield one
    context.close()
    assert [text for text in against if "status of 404" not in text] == []


def is_here(page, address):
    """Say who is at the screen."""
    page.goto(f"{address}/settings")
    page.get_by_label("A. N. Other").first.check(force=True)
    with page.expect_navigation():
        page.get_by_role("button", name="Save").click()


def reads(page, address, path):
    page.goto(address + path)
    expect(page.locator("[data-part=link]")).to_have_attribute("data-state", "live")


def test_strokes_and_a_hold_are_recorded_by_the_pedal_and_the_verdict_is_shown(
    page, address, at, size, sticks_out
):
    reads(page, address, at.path())
    assert sticks_out(page) == 0
    page.keyboard.press("Space")
    expect(page.locator("#stop")).to_be_visible()
    at.instrument.play((Idle(0.5), SlowStrokes(4), Idle(0.5), SeatHold(20e5, 14.0)))
    expect(page.locator("[data-part=opening-list] li").first).to_contain_text(
        re.compile(r"20\d\.\d")
    )
    expect(page.locator("[data-part=seat-words]")).to_contain_text("Held long enough")
    assert float(page.locator("[data-part=figure]").inner_text()) > 100.0
    assert at.instrument.wait_until_played(60)
    page.reload()  # in the middle: it goes on
    expect(page.locator("#stop")).to_be_visible()
    expect(page.locator("[data-part=link]")).to_have_attribute("data-state", "live")
    page.keyboard.press("Space")
    expect(page.locator("#save")).to_be_visible()
    assert sticks_out(page) == 0
    page.locator("#seat .tile", has_text="Dry").click()
    page.locator("#spray .tile", has_text="Good").click()
    page.locator("#save").click()
    expect(page.locator(".verdict")).to_contain_text("bar")
    assert sticks_out(page) == 0
    test = at.one().tests[-1]
    assert test.body["recording"]
    assert test.body["seen"] == {"seat": "dry", "spray": "good"}
    verdict = at.one().verdicts[AS_FOUND].body
    opening = next(one for one in verdict["tests"] if "opening" in one["test"])
    assert opening["outcome"] == "pass"
    expect(page.get_by_role("link", name=re.compile("Go on"))).to_be_visible()


def timed(page, key, seconds):
    """Start and stop the watch; return what it can show at most."""
    began = time.monotonic()
    page.keyboard.press(key)
    page.wait_for_timeout(1000.0 * seconds)
    page.keyboard.press(key)
    return time.monotonic() - began + 0.1


def until(page, there):
    """Let the page go on until something is so."""
    end = time.monotonic() + 60.0
    while not there():
        assert time.monotonic() < end
        page.wait_for_timeout(30)


def test_readings_are_typed_and_timed_by_keyboard_alone(page, address, at, size, sticks_out):
    page.goto(f"{address}{at.path('as-found', '&how=hand')}")
    expect(page.locator("#opening_2")).to_be_hidden()
    page.locator("#division").focus()
    page.keyboard.type("2")
    page.keyboard.press("Enter")
    for reading in ("199", "200.5", "200"):
        page.keyboard.type(reading)
        page.keyboard.press("Enter")
    assert page.locator("#opening_3").input_value() == "200"
    page.locator("[data-stopwatch^=drop] button").focus()
    longest_s = timed(page, "Enter", 1.2)
    assert 1.1 < float(page.locator("#drop_seconds_1").input_value()) < longest_s
    page.locator("h1").click()  # out of every field: now the pedal works the watch
    longest_s = timed(page, "Space", 1.1)
    assert 1.0 < float(page.locator("#drop_seconds_2").input_value()) < longest_s
    assert sticks_out(page) == 0
    page.locator("#save").focus()
    page.keyboard.press("Enter")
    expect(page.locator(".verdict")).to_contain_text("199.0 to 200.5\xa0bar, 3 pops")
    card = at.shop.readers.hand_card(at.one().tests[-1].body["card"])
    assert card.opening_pa == pytest.approx((199e5, 200.5e5, 200e5))
    assert len(card.drops) == 2


def test_what_was_typed_outlives_a_page_that_is_left_until_the_test_is_saved(page, address, at):
    path = f"{address}{at.path('as-found', '&how=hand')}"
    page.goto(path)
    expect(page.locator("#hand-draft")).to_be_hidden()
    page.locator("#division").fill("2,5")
    page.locator("#opening_1").fill("199,5")
    page.locator("[name=seat][value=dry]").check(force=True)
    page.goto(f"{address}{at.path('as-found')}")  # a look at the live gauge
    page.goto(path)
    expect(page.locator("#opening_1")).to_have_value("199,5")
    expect(page.locator("[name=seat][value=dry]")).to_be_checked()
    expect(page.locator("#hand-draft")).to_be_visible()
    page.locator("#save").click()
    expect(page.locator(".verdict")).to_be_visible()
    page.goto(path)
    expect(page.locator("#opening_1")).to_have_value("")
    expect(page.locator("#hand-draft")).to_be_hidden()
    expect(page.locator("#division")).to_have_value("2,5")  # the dial is still the same one
    assert len(at.one().tests) == 1


@pytest.mark.parametrize("size", ["phone"], indirect=True)
def test_the_pressure_of_the_seat_hold_follows_the_pops_that_are_typed(page, address, at, size):
    page.goto(f"{address}{at.path('seat', '&how=hand')}")
    hold = page.locator("[data-hold-at]")
    expect(hold).to_be_hidden()
    margin = at.shop.sheet(at.shop.story(at.job)).seat.margin_pa / 1e5
    page.locator("#opening_1").fill("199")
    page.locator("#opening_2").fill("201,0")
    expect(hold).to_contain_text(f"hold at {200.0 - margin:.1f}\xa0bar")
    page.locator("[name=dial_unit][value=MPa]").check(force=True)
    page.locator("#opening_1").fill("20")
    page.locator("#opening_2").fill("")
    expect(hold).to_contain_text(f"hold at {20.0 - margin / 10.0:.2f}\xa0MPa")


@pytest.mark.parametrize("size", ["phone"], indirect=True)
def test_a_form_that_cannot_be_sent_stays_with_what_was_typed_and_goes_out_later(
    chromium, at, gauge_shop, size
):
    with ExitStack() as stack:
        served = stack.enter_context(gauge_shop.serving(at.app))
        page = chromium.new_page()
        is_here(page, served)
        path = f"{served}{at.path('seat', '&how=hand')}"
        page.goto(path)
        for field, value in (("division", "2"), ("opening_1", "200"), ("seat_from", "180")):
            page.locator(f"#{field}").fill(value)
        page.locator("#seat_seconds").fill("10")
        stack.close()
        page.wait_for_timeout(1600)  # it asks at most so often
        page.locator("#seat_to").fill("180")
        expect(page.locator("html")).to_have_attribute("data-unreachable", "")
        page.locator("#save").click()
        expect(page.locator(".unsent")).to_contain_text("nothing was sent")
        expect(page.locator("#opening_1")).to_have_value("200")
        assert page.url == path
        with gauge_shop.serving(at.app, int(served.rpartition(":")[2])):
            page.locator("#save").dblclick()
            expect(page.locator(".verdict")).to_be_visible()
        assert len(at.one().tests) == 1
        page.close()


@pytest.mark.parametrize("size", ["phone"], indirect=True)
def test_on_a_phone_the_seat_hold_stands_above_the_line_that_moves(page, address, at, size):
    reads(page, address, at.path("seat"))
    page.locator("#start").click()
    at.instrument.play((Idle(0.5), SlowStrokes(3), Idle(0.5), SeatHold(20e5, 3.0)))
    expect(page.locator("[data-part=seat]")).to_be_visible()
    seat = page.locator("[data-part=seat]").bounding_box()
    strip = page.locator("[data-part=strip]").bounding_box()
    assert seat["y"] + seat["height"] <= strip["y"]
    page.locator("#stop").click()
    page.wait_for_load_state()


@pytest.mark.parametrize("size", ["desktop"], indirect=True)
def test_a_cut_line_is_told_and_the_page_goes_on_when_the_server_is_back(
    chromium, at, gauge_shop, size
):
    with ExitStack() as stack:
        served = stack.enter_context(gauge_shop.serving(at.app))
        page = chromium.new_page()
        is_here(page, served)
        reads(page, served, at.path())
        page.locator("#start").click()
        expect(page.locator("#stop")).to_be_visible()
        stack.close()
        page.locator("#stop").click()  # it cannot be told now; the page stays
        expect(page.locator("[data-part=go-state]")).to_contain_text("did not go through")
        expect(page.locator("[data-part=link-words]")).to_contain_text("is broken")
        expect(page.locator("[data-part=figure]")).to_have_text("–")
        port = int(served.rpartition(":")[2])
        with gauge_shop.serving(at.app, port):
            expect(page.locator("[data-part=link]")).to_have_attribute("data-state", "live")
            expect(page.locator("#stop")).to_be_visible()
            page.locator("#stop").click()
            expect(page.locator("#save")).to_be_visible()
        page.close()


def test_an_apprentice_works_the_lever_by_key_and_by_hand(page, address, at, size, sticks_out):
    room = at.app.state.practice = PracticeRoom(at.shop.clock, speed=SPEED)
    try:
        page.goto(f"{address}/practice")
        page.get_by_role("button", name="Begin").first.click()
        expect(page.locator("[data-part=link]")).to_have_attribute("data-state", "live")
        place = room.at(page.url.rpartition("/")[2])
        page.keyboard.press("r")
        expect(page.locator("#stop")).to_be_visible()
        page.keyboard.down("Space")
        expect(page.locator("[data-part=opening-list] li").first).to_be_visible()
        page.keyboard.up("Space")
        lever = page.locator("[data-part=lever]")
        lever.scroll_into_view_if_needed()
        box = lever.bounding_box()
        x, y = box["x"] + box["width"] / 2, box["y"] + 30
        expect(page.locator("[data-part=arm]")).to_have_attribute(
            "transform", re.compile(r"\(0\.[0-2]")
        )
        page.mouse.move(x, y)
        page.mouse.down()
        for step in range(1, 11):
            page.mouse.move(x, y + step * 12)
            page.wait_for_timeout(30)
        until(page, lambda: place.at_hand().lever > 0.2)
        page.mouse.up()
        page.keyboard.press("v")
        expect(page.locator("[data-toggle=valve]")).to_have_attribute("aria-pressed", "true")
        until(page, lambda: not place.at_hand().valve_open)
        page.locator("[data-look=tip]").click()
        expect(page.locator("[data-part=look-words]")).not_to_be_empty()
        page.keyboard.press("r")
        expect(page.locator("#test-1")).to_contain_text("Opening pressure")
        assert sticks_out(page) == 0
        page.locator("#decision .tile").first.click()
        page.locator("#fault .tile").first.click()
        page.locator("#decide-button").click()
        expect(page.locator("h1")).to_contain_text("How it went")
        assert len(at.shop.scores()) == 1
        assert sticks_out(page) == 0
    finally:
        room.close()


@pytest.mark.parametrize("size", ["desktop"], indirect=True)
def test_a_practice_that_a_restart_took_says_so_by_itself_and_offers_another(
    chromium, at, gauge_shop, size
):
    def room():
        at.app.state.practice = PracticeRoom(at.shop.clock, speed=SPEED)
        return at.app.state.practice

    with ExitStack() as stack:
        served = stack.enter_context(gauge_shop.serving(at.app))
        page, first = chromium.new_page(), room()
        is_here(page, served)
        page.goto(f"{served}/practice")
        page.get_by_role("button", name="Begin").nth(1).click()
        expect(page.locator("[data-part=link]")).to_have_attribute("data-state", "live")
        stack.close()
        first.close()
        second = room()
        with gauge_shop.serving(at.app, int(served.rpartition(":")[2])):
            expect(page.locator("h1")).to_have_text("This practice is over")
            expect(page.locator("main")).to_contain_text("was started anew")
            page.get_by_role("button", name="Another one of level 2").click()
            expect(page.locator("[data-part=link]")).to_have_attribute("data-state", "live")
        second.close()
        page.close()


@pytest.fixture
def demo(demo_folder, serve_folder):
    """The demo workshop as served, with the injector in hand assembled: job and injector."""
    shop = open_shop(demo_folder)
    try:
        job, one = _assembled(shop.workshop)
    finally:
        shop.close()
    up = serve_folder(demo_folder)
    return up.address, demo_folder, f"/job/{job}/injector/{one}/gauge?step=re-read"


def _assembled(workshop):
    """Put the stripped injector together, as the fitter who has it in hand would."""
    stories = (workshop.story(row.job) for row in workshop.records.jobs(state="open"))
    story = next(story for story in stories if story.in_hand)
    one = story.injectors[story.in_hand]
    ids = (str(uuid.uuid4()) for _ in range(9))

    def note(kind, done, **body):
        workshop.note(
            next(ids), "A. N. Other", story.job, kind, body, injector=one.injector, done=done
        )

    note(EntryKind.STEP_DONE, "", step="inspect")
    workshop.see(
        next(ids), "A. N. Other", story.job, one.injector, {"needle_slide": True}, done="slide"
    )
    note(EntryKind.STEP_DONE, "", step="flush")
    note(EntryKind.ASSEMBLED, "assemble", pair=one.pair)
    note(EntryKind.TORQUED, "torque", torque_nm=60, wrench="W-1")
    return story.job, one.injector


def test_in_the_demo_workshop_the_injector_in_hand_is_tested_at_the_pretend_bench(chromium, demo):
    address, folder, path = demo
    page = chromium.new_page(viewport={"width": 1920, "height": 1080})
    is_here(page, address)
    reads(page, address, path)
    expect(page.locator(".pretend")).to_contain_text("invented")
    page.keyboard.press("r")
    expect(page.locator("#stop")).to_be_visible()
    page.keyboard.down("Space")
    expect(page.locator("[data-part=opening-list] li").nth(4)).to_be_visible()
    page.keyboard.up("Space")
    page.locator("[data-look=outside]").click()
    expect(page.locator("[data-part=look-words]")).to_contain_text("All joints look dry")
    page.keyboard.press("r")
    expect(page.locator("#save")).to_be_visible()
    page.locator("#save").click()
    expect(page.locator(".verdict")).to_contain_text("bar")
    page.close()
    shop = open_shop(folder)
    try:
        job, injector = re.match("/job/([^/]+)/injector/([^/]+)", path).groups()
        one = shop.workshop.story(job).injectors[injector]
        verdict = one.verdicts[one.tests[-1].body["sitting"]].body
        opening = next(test for test in verdict["tests"] if "opening" in test["test"])
        assert opening["outcome"] == "pass", opening
    finally:
        shop.close()


def test_after_the_server_was_killed_the_open_page_offers_the_recording_by_itself(
    chromium, demo_folder, serve_folder
):
    shop = open_shop(demo_folder)
    try:
        job, injector = _assembled(shop.workshop)
    finally:
        shop.close()
    up = serve_folder(demo_folder)
    page = chromium.new_page(viewport={"width": 1280, "height": 800})
    is_here(page, up.address)
    reads(page, up.address, f"/job/{job}/injector/{injector}/gauge?step=re-read")
    page.keyboard.press("r")
    expect(page.locator("#stop")).to_be_visible()
    page.keyboard.down("Space")
    expect(page.locator("[data-part=opening-list] li").nth(1)).to_be_visible()
    page.keyboard.up("Space")
    page.wait_for_timeout(1500)  # what is shown is on disk by then
    up.kill()
    expect(page.locator("[data-part=link-words]")).to_contain_text("is broken")
    up.start()
    # Nobody touches the page from here on until it offers what was recorded.
    expect(page.locator("h2", has_text="A recording was cut short")).to_be_visible()
    page.get_by_role("button", name="Use it as far as it goes").click()
    expect(page.locator("#save")).to_be_visible()
    page.close()
