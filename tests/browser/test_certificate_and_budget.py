"""Certificates, the dead-weight tester and whole budgets in a real browser."""

from __future__ import annotations

import re
from contextlib import contextmanager

import pytest

WIDTHS = [(360, "light"), (768, "dark"), (1920, "light")]
TABLE = (
    "reference [bar];up;down;U (k=2)\n0;0,2;0,5;0,3\n50;50,4;50,8;0,3\n100;100,6;101,1;0,3\n"
    "150;150,9;151,4;0,4\n200;201,2;201,8;0,4\n250;251,7;252,2;0,5\n"
)

_TOO_SMALL = """
[...document.querySelectorAll("main :is(a[href], button, input, summary)")]
  .filter((one) => !one.matches("p a:not(.button), .tile input, input[type=hidden]"))
  .filter((one) => {
    const box = one.getBoundingClientRect();
    return box.width > 0 && (box.width < 47.9 || box.height < 47.9);
  })
  .map((one) => one.outerHTML.slice(0, 120))
"""


@contextmanager
def workshop(helper, folder, served):
    """A demo-like workshop: a rig with its card, a job, an injector that was tested by hand."""
    from nozzlewright.edge.wiring.shop import open_shop
    from nozzlewright.workflow import NewTest

    gauge, desk = helper("edge/web/gauge_shop.py"), helper("edge/web/front_shop.py")
    shop = open_shop(folder)
    job = gauge.booked_in(shop.workshop, cylinders=1)
    injector = shop.workshop.story(job).at_cylinder(1).injector
    card = shop.workshop.evidence.keep((desk.DEMO / "cards" / "4-left.toml").read_bytes(), "toml")
    shop.workshop.test("first", desk.FITTER, job, injector, NewTest("as-found", card=card))
    shop.close()
    with served.Served(folder) as one:
        one.budget = f"/job/{job}/injector/{injector}/budget"
        yield one


@pytest.fixture(scope="module")
def front(helper, tmp_path_factory, served):
    """For all who change nothing in it."""
    with workshop(helper, tmp_path_factory.mktemp("front") / "shop", served) as one:
        yield one


@pytest.fixture
def front_of_its_own(helper, tmp_path, served):
    with workshop(helper, tmp_path / "shop", served) as one:
        yield one


def looking(chromium, address, width=1280, scheme="light", **more):
    context = chromium.new_context(
        viewport={"width": width, "height": 800}, color_scheme=scheme, reduced_motion="reduce",
        **more,
    )  # fmt: skip
    page = context.new_page()
    page.told = []
    page.on("console", lambda said: page.told.append(said.text) if said.type == "error" else None)
    page.on("pageerror", lambda fault: page.told.append(str(fault)))
    page.goto(f"{address}/settings")
    page.locator('label:has(input[name=who][value="A. N. Other"])').click()
    with page.expect_navigation():
        page.locator("main form button[type=submit]").first.click()
    return page


def sent(page, address):
    page.goto(f"{address}/certificate")
    page.set_input_files(
        "#table_file", {"name": "c.csv", "mimeType": "text/csv", "buffer": TABLE.encode()}
    )
    with page.expect_navigation():
        page.get_by_role("button", name="Read it").click()
    return page


def set_up(page, address):
    page.goto(f"{address}/dead-weight")
    for name, value in {"area": "10", "area_u": "0,02", "latitude": "47,5", "piston": "0.5",
                        "mass_1": "0", "mass_2": "9.5", "mass_3": "19.5"}.items():  # fmt: skip
        page.fill(f"#{name}", value)
    with page.expect_navigation():
        page.get_by_role("button", name="Reckon the pressures").click()
    return page


@pytest.mark.slow
@pytest.mark.parametrize(("width", "scheme"), WIDTHS)
def test_the_pages_are_accessible_and_fit(chromium, axe, sticks_out, front, width, scheme):
    page = looking(chromium, front.address, width, scheme)
    there = [
        lambda: page.goto(f"{front.address}/certificate"),
        lambda: sent(page, front.address),
        lambda: set_up(page, front.address),
        lambda: page.goto(f"{front.address}{front.budget}"),
        lambda: page.goto(f"{front.address}{front.budget}/opening"),
        lambda: page.goto(f"{front.address}{front.budget}/drop-reference"),
        lambda: page.goto(f"{front.address}{front.budget}/second-opening"),
    ]
    for go in there:
        go()
        for details in page.locator("main details").all():
            details.evaluate("one => { one.open = true; }")
        assert sticks_out(page) == 0, page.url
        broken = axe(page)["violations"]
        assert not broken, (page.url, [(one["id"], one["nodes"][0]["html"]) for one in broken])
        assert not page.evaluate(_TOO_SMALL), (page.url, page.evaluate(_TOO_SMALL))
    assert not page.told, page.told
    page.context.close()


def test_rows_are_asked_for_one_at_a_time(chromium, front):
    page = looking(chromium, front.address)
    page.goto(f"{front.address}/certificate")
    rows = page.locator("[data-row]:visible")

    assert rows.count() == 5
    page.get_by_role("button", name="One more point").press("Enter")
    assert rows.count() == 6
    assert page.evaluate("document.activeElement.id") == "reference_6"
    page.context.close()


def test_without_scripts_all_rows_are_there(chromium, front):
    page = looking(chromium, front.address, java_script_enabled=False)
    page.goto(f"{front.address}/certificate")

    assert page.locator("[data-row]:visible").count() == 16
    page.context.close()


def test_rows_that_were_typed_are_there_again_with_the_fault(chromium, front):
    page = looking(chromium, front.address, 360)
    page.goto(f"{front.address}/certificate")
    page.get_by_role("button", name="One more point").click()
    page.fill("#doubt_all", "0.3")
    for number, reference in ((1, 0), (2, 100), (6, 200)):
        page.fill(f"#reference_{number}", str(reference))
        page.fill(f"#up_{number}", str(reference + 1) if number != 6 else "2O1")
    page.get_by_role("button", name="Look at it").click()
    page.wait_for_selector("[role=alert]")

    assert page.locator("#reference_6").is_visible()
    assert page.input_value("#reference_2") == "100"
    assert "is not a number" in page.locator("#fault-up_6-1").inner_text()
    page.context.close()


def test_a_certificate_goes_from_a_file_onto_the_card_by_keyboard(chromium, front_of_its_own):
    front = front_of_its_own
    page = looking(chromium, front.address)
    sent(page, front.address)
    assert page.locator(".figure-wide svg").is_visible()
    assert page.locator(".figure-narrow svg").is_hidden()
    button = page.get_by_role("button", name="Put it on the card")
    button.focus()
    with page.expect_navigation():
        page.keyboard.press("Enter")

    assert "the certificate is on the card" in page.locator(".flash").inner_text()
    page.goto(f"{front.address}/certificate")
    assert "6 points" in page.locator("main").inner_text()
    page.context.close()


def test_a_budget_is_printed_whole(chromium, front):
    page = looking(chromium, front.address)
    page.goto(f"{front.address}{front.budget}/drop-reference")
    page.emulate_media(media="print")
    shown = page.locator("main").inner_text()

    assert re.search(r"fluid stiffness", shown)
    assert page.locator(".figure-wide svg").is_visible()
    assert page.locator("nav").first.is_hidden()
    page.context.close()
