"""A whole check of the rig in a real browser: one step at a time, kept as it is typed."""

from __future__ import annotations

import re
import uuid

import pytest
from playwright.sync_api import expect

from nozzlewright.edge.web.app import WebSettings, create_app
from nozzlewright.edge.wiring.shop import open_shop

pytestmark = pytest.mark.slow

CARD = b"""
[fluid]
name = "invented oil"
viscosity = [[20.0, 4.06], [40.0, 2.6]]
[gauge]
id = "G-1"
range_bar = 400
class = 1.0
resolution_bar = 0.5
[rig]
id = "invented rig 7"
[reference]
id = "N-0"
opening_bar = 181.0
opening_u_bar = 0.2
opening_tolerance_bar = 3
from_bar = 150
to_bar = 100
[limits]
blank_fall_bar = 3
blank_fall_s = 60
blank_fall_from_bar = 150
zero_bar = 1
"""
SIZES = {"phone": (360, 740), "desktop": (1280, 900)}


@pytest.fixture
def shop(tmp_path):
    opened = open_shop(tmp_path / "store")
    opened.workshop.add_person(str(uuid.uuid4()), "A. N. Other", "A. N. Other")
    opened.workshop.check_rig(str(uuid.uuid4()), "A. N. Other", CARD)
    yield opened
    opened.close()


@pytest.fixture
def address(shop, helper):
    app = create_app(shop.workshop, WebSettings(secret=bytes(range(32))))
    with helper("edge/web/gauge_shop.py").serving(app) as served:
        yield served


@pytest.fixture(params=SIZES)
def page(request, chromium, address):
    width, height = SIZES[request.param]
    context = chromium.new_context(viewport={"width": width, "height": height})
    one, against = context.new_page(), []
    one.on("pageerror", lambda fault: against.append(str(fault)))
    one.on("console", lambda said: said.type == "error" and against.append(said.text))
    one.goto(f"{address}/settings")
    one.get_by_label("A. N. Other").first.check(force=True)
    with one.expect_navigation():
        one.get_by_role("button", name="Save").click()
    yield one
    context.close()
    assert [said for said in against if "status of 422" not in said] == []


@pytest.fixture
def step(sticks_out):
    def comes(page, number):
        expect(page.locator(".check-step:visible")).to_have_count(1)
        expect(page.locator(".check-step:visible h3 small")).to_have_text(f"Step {number} of 6")
        assert sticks_out(page) == 0

    return comes


def test_a_whole_check_step_by_step_makes_the_rig_fit(page, address, shop, step, draft_holds):
    page.goto(f"{address}/rig")
    step(page, 1)
    expect(page.get_by_role("button", name="Save the check")).to_be_hidden()
    page.get_by_label("Oil temperature now").fill("21")
    # Enter goes on and saves nothing; the heading of the next step has the focus.
    page.keyboard.press("Enter")
    step(page, 2)
    page.get_by_label("Shown without pressure").fill("0.2")
    page.get_by_role("button", name="Next").click()
    step(page, 3)
    page.get_by_label("Timed with a stopwatch").check(force=True)
    page.locator("#drop_from").fill("150")
    page.locator("#drop_to").fill("148.8")
    page.locator("#drop_seconds").fill("60")
    page.get_by_role("button", name="Next").click()
    step(page, 4)
    page.get_by_label("Read by eye and stopwatch").check(force=True)
    page.get_by_label("Opening pressures").fill("181.2 181.0 181.1")

    # The page is left, and what was typed is there again.
    draft_holds(page, "181.2 181.0 181.1")
    page.goto(f"{address}/")
    page.goto(f"{address}/rig")
    step(page, 4)
    expect(page.get_by_label("Opening pressures")).to_have_value("181.2 181.0 181.1")
    page.get_by_role("button", name="Back").click()
    step(page, 3)
    expect(page.locator("#drop_to")).to_have_value("148.8")
    page.get_by_role("button", name="Next").click()
    page.get_by_role("button", name="Next").click()
    step(page, 5)
    page.get_by_role("button", name="Next").click()
    step(page, 6)
    page.get_by_label("Remarks").fill("oil clear")
    with page.expect_navigation():
        page.get_by_role("button", name="Save the check").click()

    expect(page.locator(".rig-state")).to_contain_text("fit for use")
    expect(page.locator(".rig-verdict")).to_contain_text("Within the limits of its card")
    step(page, 1)
    expect(page.get_by_label("Oil temperature now")).to_have_value("")
    state = shop.workshop.rig()
    assert state.body["state"] == "fit for use"
    kept = shop.workshop.rig_days.check(state)
    assert kept.reference_opening.value == pytest.approx(181.1e5)
    page.goto(f"{address}/")
    expect(page.locator(".rig-line")).to_contain_text("fit for use")


def test_a_fault_opens_the_step_in_which_it_stands(page, address, step, sticks_out):
    page.goto(f"{address}/rig")
    page.get_by_label("Oil temperature now").fill("21")
    page.get_by_role("button", name="Next").click()
    page.get_by_label("Shown without pressure").fill("much")
    for _ in range(4):
        page.get_by_role("button", name="Next").click()
    with page.expect_navigation():
        page.get_by_role("button", name="Save the check").click()
    step(page, 2)
    expect(page.locator(".fault-at")).to_be_visible()
    expect(page.get_by_label("Shown without pressure")).to_have_value("much")
    page.get_by_role("button", name="Show all steps").click()
    expect(page.locator(".check-step:visible")).to_have_count(6)
    assert sticks_out(page) == 0
    assert re.search("/rig", page.url)
