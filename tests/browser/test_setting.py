"""The drawer and the step of the setting in a real browser: by key alone, on phone and desktop."""

from __future__ import annotations

import uuid

import pytest
from playwright.sync_api import expect

SIZES = {"phone": (360, 740), "desktop": (1280, 900)}

pytestmark = pytest.mark.slow


@pytest.fixture
def bench(helper, tmp_path, web_settings, serve, browser_of):
    shop = helper("workflow/in_memory.py").workshop_in_memory(tmp_path)
    made = helper("edge/web/bench_shop.py").at_the_bench(
        shop, web_settings, serve, browser_of, rig=True
    )
    shop.put_drawer(str(uuid.uuid4()), "A. N. Other", {1300: 4, 1350: 2, 1400: 0, 1450: 2})
    return made


@pytest.fixture(params=SIZES)
def page(request, chromium, bench):
    width, height = SIZES[request.param]
    context = chromium.new_context(viewport={"width": width, "height": height})
    page = context.new_page()
    said = []
    page.on("console", lambda one: said.append(one.text) if one.type == "error" else None)
    page.goto(f"{bench.browser.address}/settings")
    page.locator("input[name=who]").first.check(force=True)
    with page.expect_navigation():
        page.get_by_role("button", name="Save").first.click()
    yield page
    assert said == []
    context.close()


def test_shims_are_counted_in_by_the_keyboard_alone(page, bench, axe, sticks_out):
    page.goto(f"{bench.browser.address}/drawer")
    assert sticks_out(page) == 0
    page.get_by_role("button", name="One more of 1.35 mm").focus()
    for count in (3, 4):
        page.keyboard.press("Enter")
        expect(page.locator("#size-1350 .drawer-count")).to_have_text(str(count))
        # The page came anew, and the same button is still under the finger.
        expect(page.get_by_role("button", name="One more of 1.35 mm")).to_be_focused()
    page.get_by_role("button", name="One less of 1.30 mm").focus()
    page.keyboard.press("Space")
    expect(page.locator("#size-1300 .drawer-count")).to_have_text("3")
    expect(page.get_by_role("button", name="One less of 1.30 mm")).to_be_focused()
    assert bench.shop.drawer().counts == {1300: 3, 1350: 4, 1400: 0, 1450: 2}
    expect(page.get_by_role("button", name="One less of 1.40 mm")).to_be_disabled()
    for button in page.locator(".drawer-step").all():
        box = button.bounding_box()
        assert min(box["width"], box["height"]) >= 48
    assert axe(page)["violations"] == []


def test_the_proposed_shim_is_fitted_and_what_came_of_it_is_shown(page, bench, axe, sticks_out):
    bench.take()
    bench.tested(recording="2-found.parquet", seat="dry")
    page.goto(f"{bench.browser.address}{bench.step('set')}")
    assert sticks_out(page) == 0
    expect(page.get_by_role("heading", name="Best prospect")).to_be_visible()
    expect(page.locator(".proposal-what strong")).to_have_text("1.45 mm")
    picture = page.locator(".proposal-picture")
    band, then = (picture.locator(one).bounding_box() for one in (".pp-band", ".pp-then"))
    assert band["x"] < then["x"] < band["x"] + band["width"]
    assert axe(page)["violations"] == []
    page.locator(".proposal-others a").first.click()
    expect(page.get_by_role("heading", name="Instead")).to_be_visible()
    page.locator(".proposal-others a").first.click()  # back to the best
    page.get_by_role("button", name="Changed: read it again").click()
    page.wait_for_url("**?saved=*")
    expect(page.get_by_text("shim from 1.30 mm to 1.45 mm").first).to_be_visible()
    assert bench.shop.drawer().counts[1450] == 1
    bench.tested(step="re-read", recording="2-left.parquet")
    page.goto(f"{bench.browser.address}{bench.step('set')}")
    expect(page.locator(".learned")).to_contain_text("Foretold")
    assert axe(page)["violations"] == []
