"""A study of fitters in a real browser, by keyboard alone."""

from __future__ import annotations

import re
from contextlib import contextmanager

import pytest
from playwright.sync_api import expect

from nozzlewright.edge.wiring.shop import open_shop
from nozzlewright.workflow.studies import StudyOf, StudyPlan

pytestmark = pytest.mark.slow

FITTER, OTHER = "A. N. Other", "S. O. Else"


def with_a_study(folder):
    """Make a shop with two fitters, and a study of grades of which one reading is left."""
    shop = open_shop(folder)
    for name in (FITTER, OTHER):
        shop.workshop.add_person(f"00000000-0000-4000-8000-{len(name):012d}", name, name)
    studies = shop.workshop.studies
    plan = StudyPlan("tips", StudyOf.SEAT, ("1", "2", "3"), (FITTER, OTHER), 1, 4)
    study = studies.begin("00000000-0000-4000-8000-000000000001", FITTER, plan)
    for number, place in enumerate(plan.order[:-1]):
        grade = ("dry", "damp", "drop")[place.part]
        study = studies.take(f"tip-{number}", FITTER, study.id, place, grade=grade)
    shop.close()
    return folder


@pytest.fixture
def page(serve_folder, tmp_path, chromium):
    with at_the_screen(chromium, serve_folder(with_a_study(tmp_path / "shop")).address) as page:
        yield page


@pytest.fixture(scope="module")
def looked_at(served, tmp_path_factory):
    """Address of a shop in which nothing is changed."""
    with served.Served(with_a_study(tmp_path_factory.mktemp("study") / "shop")) as shop:
        yield shop.address


@contextmanager
def at_the_screen(chromium, address):
    context = chromium.new_context(viewport={"width": 1024, "height": 768})
    page = context.new_page()
    page.goto(f"{address}/settings")
    page.check(f'input[name=who][value="{FITTER}"]')
    with page.expect_navigation():
        page.locator("form[action='/settings'] button[type=submit]").click()
    page.served = address
    try:
        yield page
    finally:
        context.close()


def tab_to(page, wanted: str) -> None:
    """Press Tab until what has the focus fits a selector."""
    for _ in range(80):
        page.keyboard.press("Tab")
        if page.evaluate("wanted => document.activeElement.matches(wanted)", wanted):
            return
    pytest.fail(f"the focus never comes to {wanted}")


def test_a_study_is_planned_read_and_told_by_keyboard_alone(page, axe):
    page.goto(f"{page.served}/study")
    tab_to(page, 'a[href="/study/new"]')
    page.keyboard.press("Enter")
    page.wait_for_url("**/study/new")
    for name in (FITTER, OTHER):
        tab_to(page, f'input[name=people][value="{name}"]')
        page.keyboard.press("Space")
    tab_to(page, "#number")
    page.keyboard.press("Control+A")
    page.keyboard.type("2")
    page.keyboard.press("Enter")  # sends the form from the field
    page.wait_for_url(re.compile(r"/study/[0-9a-f-]{36}$"))
    asked = []
    for number in range(8):
        # The page of the next reading: its input has the focus, nothing else is to be done.
        expect(page.locator("progress")).to_have_attribute("value", str(number))
        expect(page.locator(".field-big input")).to_be_focused()
        heading = page.locator("h1").inner_text()
        asked.append(heading)
        injector = int(re.search(r"injector (\d)", heading)[1])
        value = 170.0 + 4.0 * injector + (0.5 if OTHER in heading else 0.0) + 0.1 * (number % 3)
        if number == 4:
            page.keyboard.type("17")  # a slip: it is put right below
        else:
            page.keyboard.type(f"{value:.1f}")
        page.keyboard.press("Enter")
        if number == 4:
            expect(page.locator("progress")).to_have_attribute("value", "5")
            tab_to(page, 'a[href*="?again="]')
            page.keyboard.press("Enter")
            page.wait_for_url("**?again=*")
            assert page.locator("h1").inner_text() == heading
            page.keyboard.type(f"{value:.1f}")
            page.keyboard.press("Enter")
            page.wait_for_url(re.compile(r"/study/[0-9a-f-]{36}$"))
    page.wait_for_url("**/result")

    assert len(set(asked)) == 4
    text = page.locator("main").inner_text()
    assert "cannot tell two injectors apart" in text
    assert "1 reading was put right" in text
    assert page.locator(".study-figure svg:visible").count() == 2
    assert axe(page)["violations"] == []


def test_a_grade_is_given_by_one_key(page, axe):
    page.goto(f"{page.served}/study/00000000-0000-4000-8000-000000000001")
    assert axe(page)["violations"] == []
    page.wait_for_load_state("networkidle")
    wanted = re.search(r"injector (\d)", page.locator("h1").inner_text())[1]
    page.keyboard.press(wanted)  # dry, damp, drop of injectors 1, 2, 3
    page.wait_for_url("**/result")

    text = page.locator("main").inner_text()
    assert "On 100 % of the injectors" in text.replace("\N{NO-BREAK SPACE}", " ")
    assert "almost perfect" in text


@pytest.mark.parametrize("width", [360, 1920])
@pytest.mark.parametrize("theme", ["light", "dark"])
def test_nothing_is_wider_than_the_screen_and_targets_are_large(
    chromium, looked_at, axe, sticks_out, width, theme
):
    with at_the_screen(chromium, looked_at) as page:
        page.set_viewport_size({"width": width, "height": 800})
        page.emulate_media(color_scheme=theme)
        study = "/study/00000000-0000-4000-8000-000000000001"
        for path in ("/study", "/study/new", study, f"{study}/result"):
            page.goto(page.served + path)
            assert sticks_out(page) == 0, path
            small = page.eval_on_selector_all(
                "main .button, main summary, main .tile, main .study-value",
                "all => all.filter(one => one.getBoundingClientRect().height < 48).length",
            )
            assert small == 0, path
            assert axe(page)["violations"] == [], path
