"""The particulars of a rig's card in a real browser: by keyboard alone on a phone; axe."""

from __future__ import annotations

import re
import uuid

import pytest
from playwright.sync_api import expect

from nozzlewright.edge.web.app import WebSettings, create_app
from nozzlewright.edge.wiring.rig_particulars import particulars
from nozzlewright.edge.wiring.shop import open_shop

pytestmark = pytest.mark.slow

CARD = b"""
[gauge]
id = "G-1"
range_bar = 400  # red mark at 350
[rig]
id = "invented rig 7"
[reference]
id = "N-0"
opening_bar = 181.0
"""


@pytest.fixture
def shop(tmp_path):
    opened = open_shop(tmp_path / "store")
    opened.workshop.add_person(str(uuid.uuid4()), "A. N. Other", "A. N. Other")
    opened.workshop.check_rig(str(uuid.uuid4()), "A. N. Other", CARD)
    yield opened
    opened.close()


@pytest.fixture
def page(chromium, shop, helper):
    app = create_app(shop.workshop, WebSettings(secret=bytes(range(32))))
    with helper("edge/web/gauge_shop.py").serving(app) as address:
        context = chromium.new_context(base_url=address, viewport={"width": 360, "height": 740})
        one, against = context.new_page(), []
        one.on("pageerror", lambda fault: against.append(str(fault)))
        one.goto("/settings")
        one.get_by_label("A. N. Other").first.check(force=True)
        with one.expect_navigation():
            one.get_by_role("button", name="Save").click()
        yield one
        context.close()
        assert against == []


@pytest.fixture
def sound(axe, sticks_out):
    """Let axe look; nothing may stand beyond the edge of the screen."""

    def check(page):
        assert axe(page)["violations"] == []
        assert sticks_out(page) == 0

    return check


def tab_to(page, wanted):
    """Press Tab until a place has the focus; nobody needs a hundred."""
    for _ in range(100):
        page.keyboard.press("Tab")
        if page.evaluate("s => document.activeElement.matches(s)", wanted):
            return
    raise AssertionError(f"Tab never comes to {wanted}")


def test_the_card_is_changed_by_keyboard_alone_on_a_phone(page, shop, sound):
    page.goto("/rig")
    tab_to(page, 'a[href^="/rig/card"]:not([href*="open="])')  # the other opens the limits at once
    with page.expect_navigation():
        page.keyboard.press("Enter")
    assert re.search("/rig/card", page.url)
    assert page.locator("details[open]").count() == 0
    sound(page)

    tab_to(page, "#group-gauge > summary")
    page.keyboard.press("Enter")
    tab_to(page, "#gauge_range_bar")
    page.keyboard.type("600")  # what stood in the field is selected by Tab
    expect(page.locator("#gauge_range_bar")).to_have_value("600")
    tab_to(page, "#group-reference > summary")
    page.keyboard.press("Space")
    tab_to(page, "#reference_drop_s")
    page.keyboard.type("21,5")
    tab_to(page, "#group-limits > summary")
    page.keyboard.press("Enter")
    tab_to(page, "#limits_zero_bar")
    page.keyboard.type("1")
    with page.expect_navigation():
        page.keyboard.press("Enter")

    # A drop time says nothing without its two pressures: both are asked for, beside their fields.
    expect(page.locator(".fault-at:visible")).to_have_count(2)
    assert page.locator("details[open]").evaluate_all("all => all.map(one => one.id)") == [
        "group-reference"
    ]
    sound(page)
    for name, typed in (("from", "150"), ("to", "100")):
        tab_to(page, f"#reference_{name}_bar")
        page.keyboard.type(typed)
    with page.expect_navigation():
        page.keyboard.press("Enter")
    assert re.search(r"/rig\?rig=", page.url)
    expect(page.get_by_text("Saved: the card of invented rig 7")).to_be_visible()

    card = shop.workshop.evidence.read(shop.workshop.rig().conditions)
    assert b"# red mark at 350" in card
    stated = {key: value for key, value in particulars(card).items() if value is not None}
    assert stated == {
        "gauge.range_bar": 600.0,
        "reference.id": "N-0",
        "reference.opening_bar": 181.0,
        "reference.drop_s": 21.5,
        "reference.from_bar": 150.0,
        "reference.to_bar": 100.0,
        "limits.zero_bar": 1.0,
    }
