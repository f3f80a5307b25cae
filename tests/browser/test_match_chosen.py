"""A match is chosen in a real browser, and its plan is met at the step of the setting."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from nozzlewright.records import EntryKind

SIZES = {"phone": (360, 740), "desktop": (1280, 900)}

pytestmark = pytest.mark.slow


@pytest.fixture
def there(helper, tmp_path, web_settings, serve, browser_of):
    """Four injectors, one of them far below the others; its spring and the shelf's are measured."""
    made, match = helper("edge/web/bench_shop.py"), helper("edge/web/test_match.py")
    return match.a_shop(
        made, helper, tmp_path, web_settings, serve, browser_of,
        [196.4, 202.0, 202.6, 204.0], [1.30, 1.30, 1.25, 1.30], {1250: 1, 1350: 1, 1400: 0},
    )  # fmt: skip


@pytest.fixture(params=SIZES)
def page(request, chromium, there):
    width, height = SIZES[request.param]
    context = chromium.new_context(viewport={"width": width, "height": height})
    page = context.new_page()
    said = []
    page.on("console", lambda one: said.append(one.text) if one.type == "error" else None)
    page.goto(f"{there.person.address}/settings")
    page.locator("input[name=who]").first.check(force=True)
    page.get_by_role("button", name="Save").first.click()
    yield page
    assert said == []
    context.close()


@pytest.fixture
def sound(axe, sticks_out):
    """Tells what is wrong with a page: nothing, where it fits and can be used by everybody."""

    def wrong(page):
        found = [(one["id"], one["nodes"][0]["html"][:200]) for one in axe(page)["violations"]]
        wide = sticks_out(page)
        return found + ([f"{wide} pixels too wide"] if wide > 0 else [])

    return wrong


def test_a_match_is_chosen_and_met_at_the_setting(page, there, sound, made_of):
    job = f"{there.person.address}/job/{there.job}"
    page.goto(f"{job}/match?go=1")
    button = page.get_by_role("button", name="Carry this plan out")
    assert button.bounding_box()["height"] >= 48
    button.focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="The match that was chosen")).to_be_visible()
    expect(page.locator(".match-part").first).to_contain_text("1.35 mm (+0.05 mm)")
    assert page.locator(".match-part").first.bounding_box()["height"] >= 48
    assert sound(page) == []

    made_of.note(EntryKind.TAKEN_IN_HAND)
    page.locator(".match-part").first.click()
    planned = page.locator("#planned")
    expect(planned.get_by_role("heading")).to_contain_text("Planned by the match")
    expect(planned.locator(".proposal-what strong")).to_have_text("1.35 mm")
    expect(page.locator("input[name=shim_to_mm]")).to_have_value("1.35")
    assert sound(page) == []
    # It comes before all else that the step asks for.
    asked = page.locator("input[name=shim_to_mm]").bounding_box()
    assert planned.bounding_box()["y"] < asked["y"]

    planned.get_by_role("link", name="Best for this injector alone").click()
    expect(page.get_by_role("heading", name="Best prospect")).to_be_visible()
    page.get_by_role("link", name="Back to what is planned").click()
    page.get_by_role("button", name="Changed: read it again").click()
    expect(page.get_by_text("shim from 1.30 mm to 1.35 mm").first).to_be_visible()

    page.goto(f"{job}/injector/{made_of.one().injector}/step/set")
    expect(page.locator("#planned")).to_contain_text("done, not read yet")
    made_of.read(190.0)
    page.reload()
    expect(page.locator("#planned")).to_contain_text("not as foretold")
    expect(page.locator("#planned")).to_contain_text("The match is out of date")
    assert sound(page) == []
    page.locator("#planned").get_by_role("link", name="To the match").click()
    expect(page.locator("#planned")).to_contain_text("out of date")
    assert sound(page) == []


def test_springs_are_laid_on_the_shelf_and_measured(page, there, sound, made_of):
    page.goto(f"{there.person.address}/springs")
    assert sound(page) == []
    page.get_by_label("Length as measured").fill("50,02")
    page.get_by_role("textbox", name="How many").fill("2")
    page.get_by_role("button", name="Put it down").click()
    expect(page.get_by_role("listitem").filter(has_text="50.02")).to_contain_text("2 there")
    assert sound(page) == []
    assert [one.length_um for one in there.shop.spring_shelf()] == [50020]

    made_of.note(EntryKind.TAKEN_IN_HAND)
    injector = made_of.one().injector
    page.goto(f"{there.person.address}/job/{there.job}/injector/{injector}/findings?part=spring")
    page.get_by_label("Length as measured").fill("49.87")
    assert sound(page) == []
    page.get_by_role("button", name="Save the finding").click()
    expect(page.locator(".found")).to_contain_text("49.87 mm free")

    page.goto(f"{there.person.address}/job/{there.job}/match?go=1")
    page.locator("input[name=springs][type=checkbox]").check(force=True)
    page.get_by_role("button", name="Work it out").click()
    expect(page.locator("input[name=springs][type=checkbox]")).to_be_checked()
    assert sound(page) == []


@pytest.fixture
def made_of(there, helper):
    made, match = helper("edge/web/bench_shop.py"), helper("edge/web/test_match.py")

    class First:
        """What is done at the first injector beside the screen."""

        def one(self):
            return there.shop.story(there.job).at_cylinder(1)

        def note(self, kind):
            match.note(made, there.shop, there.job, kind, self.one().injector)

        def read(self, bar):
            from nozzlewright.workflow import NewTest

            card = there.shop.evidence.keep(match.CARD.format(bar).encode(), "toml")
            new = NewTest("re-read", card=card, seen=match.GOOD)
            there.shop.test(
                made.act(), made.FITTER, there.job, self.one().injector, new, done="re-read"
            )

    return First()
