"""The match of a set in a real browser: accessible at every width, chosen by keyboard."""

from __future__ import annotations

from contextlib import ExitStack

import pytest

_TOO_SMALL = """
[...document.querySelectorAll("main :is(a[href], button, input, summary)")]
  .filter((one) => !one.matches("p a:not(.button), li a:not(.injector, .button, .match-choice)"))
  .filter((one) => {
    const box = one.getBoundingClientRect();
    return box.width > 0 && (box.width < 47.9 || box.height < 47.9);
  })
  .map((one) => one.outerHTML.slice(0, 120))
"""


@pytest.fixture(scope="module")
def twelve(helper, tmp_path_factory, web_settings):
    """A set of twelve, for all who only look."""
    web = helper("edge/web/conftest.py")
    made, match = helper("edge/web/bench_shop.py"), helper("edge/web/test_match.py")
    pressures = [201, 205.9, 194.8, 204.4, 198.3, 198.4, 208.9, 200.8, 199.9, 203.6, 204.8, 199.8]
    shims = [1.3, 1.4, 1.3, 1.3, 1.25, 1.3, 1.25, 1.3, 1.35, 1.3, 1.35, 1.3]
    drawer = {1150: 1, 1200: 1, 1250: 1, 1300: 2, 1350: 2, 1400: 0}
    with ExitStack() as stack:
        there = match.a_shop(
            made, helper, tmp_path_factory.mktemp("twelve"), web_settings,
            lambda app: stack.enter_context(web.serving(app)), web.Browser,
            pressures, shims, drawer,
        )  # fmt: skip
        stack.callback(there.person.client.close)
        yield there


def at_the_screen(chromium, there, width, scheme="light"):
    context = chromium.new_context(
        viewport={"width": width, "height": 800}, color_scheme=scheme, reduced_motion="reduce"
    )
    name, value = next(
        (c.name, c.value) for c in there.person.client.cookies.jar if c.name == "here"
    )
    context.add_cookies([{"name": name, "value": value, "url": there.person.address}])
    return context.new_page()


@pytest.mark.slow
@pytest.mark.parametrize(("scheme", "width"), [("light", 360), ("dark", 1280), ("light", 1920)])
def test_the_match_is_accessible_and_fits_every_width(
    chromium, axe, sticks_out, twelve, scheme, width
):
    page = at_the_screen(chromium, twelve, width, scheme)
    told = []
    page.on("console", lambda message: told.append(message.text))
    for more in ("", "?go=1", "?go=1&buy=10", "?go=1&chosen=1&spares=1"):
        page.goto(f"{twelve.person.address}/job/{twelve.job}/match{more}")
        found = axe(page)
        broken = [(one["id"], one["nodes"][0]["html"][:200]) for one in found["violations"]]
        assert broken == [], more
        assert sticks_out(page) == 0, more
        assert page.evaluate(_TOO_SMALL) == [], more
    assert told == []
    page.context.close()


@pytest.mark.slow
def test_a_choice_is_made_by_its_number(chromium, twelve):
    page = at_the_screen(chromium, twelve, 1280)
    page.goto(f"{twelve.person.address}/job/{twelve.job}/match?go=1")
    choices = page.locator(".match-choice")
    assert choices.count() >= 3
    first, advised = page.inner_text("#comes-to"), page.locator(".match-choice[aria-current]")
    assert advised.count() == 1

    with page.expect_navigation():
        page.keyboard.press("1")
    assert page.inner_text("#comes-to") != first
    assert page.locator(".match-choice").first.get_attribute("aria-current") == "true"

    page.locator(".match-choice").nth(1).focus()
    with page.expect_navigation():
        page.keyboard.press("Enter")
    assert page.locator(".match-choice").nth(1).get_attribute("aria-current") == "true"
    page.context.close()


@pytest.mark.slow
def test_one_that_is_not_ticked_is_left_alone(chromium, twelve):
    page = at_the_screen(chromium, twelve, 1280)
    page.goto(f"{twelve.person.address}/job/{twelve.job}/match?go=1")
    steps = page.locator(".match-steps li")
    first = steps.first.inner_text().split(":")[0]
    number = first.split()[-1]
    page.locator(f'input[name=open][value="{number}"]').uncheck(force=True)
    with page.expect_navigation():
        page.get_by_role("button", name="Work it out").click()

    assert all(not words.startswith(f"{first}:") for words in steps.all_inner_texts())
    assert not page.locator(f'input[name=open][value="{number}"]').is_checked()
    page.context.close()
