"""The bench in a real browser: accessible at every width, and the work done by keyboard alone."""

from __future__ import annotations

import pytest

from nozzlewright.records import EntryKind

MOST_TABS = 120

_TOO_SMALL = """
[...document.querySelectorAll("main :is(a[href], button, input, summary, g.part)")]
  .filter((one) => !one.matches("p a:not(.button), li a:not(.injector, .button), .readings a"))
  .filter((one) => {
    const box = one.getBoundingClientRect();
    return box.width > 0 && (box.width < 47.9 || box.height < 47.9);
  })
  .map((one) => one.outerHTML.slice(0, 120))
"""


@pytest.fixture
def bench(helper, tmp_path, web_settings, serve, browser):
    shop = helper("workflow/in_memory.py").workshop_in_memory(tmp_path)
    make = helper("edge/web/bench_shop.py").at_the_bench
    return make(shop, web_settings, serve, browser, rig=True)


def signed_in(chromium, bench, width=1920, scheme="light"):
    context = chromium.new_context(
        viewport={"width": width, "height": 800}, color_scheme=scheme, reduced_motion="reduce"
    )
    name, value = next(
        (c.name, c.value) for c in bench.browser.client.cookies.jar if c.name == "here"
    )
    context.add_cookies([{"name": name, "value": value, "url": bench.browser.address}])
    return context.new_page()


@pytest.mark.slow
@pytest.mark.parametrize(("scheme", "width"), [("light", 360), ("dark", 1920)])
def test_every_page_of_the_bench_is_accessible_and_fits_phone_and_desktop(
    chromium, axe, sticks_out, bench, scheme, width
):
    bench.take()
    bench.tested(seat="dry", spray="good", chatter="clear", drop_test="dry")
    seen = bench.shop.see(
        "seen", "A. N. Other", bench.job, bench.one().injector, {"spray": "poor"}, done="spray"
    )
    bench.shop.withdraw("back", "A. N. Other", bench.job, seen.id, "a slip")
    bench.note(EntryKind.STRIPPED, {"pair": bench.one().pair, "shim_mm": 1.3})
    job = f"/job/{bench.job}"
    paths = [
        job,
        f"{job}/tag?cylinder=3&search=D-10",
        f"{job}/story",
        f"{job}/story/{bench.story.entries[1].id}",
        f"/injector/{bench.one().injector}",
        bench.path(more=f"?saved={seen.id}"),
        bench.path(2),
        bench.path(more="/findings?part=needle"),
        *(bench.step(key) for key in ("as-found", "assemble", "slide", "torque", "set")),
        *(bench.step(key) for key in ("seat", "spray", "match", "second")),
    ]
    page = signed_in(chromium, bench, width, scheme)
    asked, told = [], []
    page.on("request", lambda request, asked=asked: asked.append(request.url))
    page.on("console", lambda message, told=told: told.append(message.text))
    for path in paths:
        page.goto(f"{bench.browser.address}{path}")
        found = axe(page)
        broken = [(one["id"], one["nodes"][0]["html"][:200]) for one in found["violations"]]
        assert broken == [], (path, width)
        assert len(found["passes"]) > 10
        assert sticks_out(page) == 0, path
        assert page.evaluate(_TOO_SMALL) == [], (path, width)
        ids = page.evaluate("[...document.querySelectorAll('[id]')].map((one) => one.id)")
        assert len(ids) == len(set(ids)), (path, sorted(ids))
    assert told == []
    assert all(url.startswith(bench.browser.address) for url in asked)
    page.context.close()


class Keys:
    """Somebody with a keyboard and nothing else."""

    def __init__(self, page):
        self.page = page

    def reach(self, words: str) -> None:
        """Press Tab until what is in focus bears these words."""
        for _ in range(MOST_TABS):
            self.page.keyboard.press("Tab")
            found = self.page.evaluate(
                """() => {
                  const one = document.activeElement;
                  const label = one.labels?.[0]?.textContent ?? "";
                  const group = one.closest("fieldset")?.querySelector("legend")?.textContent ?? "";
                  const own = one.matches("button, a, summary") ? one.textContent : "";
                  return [own, label, group, one.getAttribute("aria-label") ?? ""].join(" | ");
                }"""
            )
            if words in found:
                return
        raise AssertionError(f"no Tab leads to “{words}”")

    def press(self, words: str) -> None:
        """Reach a button or link and press it."""
        self.reach(words)
        with self.page.expect_navigation():
            self.page.keyboard.press("Enter")

    def fill(self, words: str, text: str) -> None:
        self.reach(words)
        self.page.keyboard.press("Control+A")
        self.page.keyboard.type(text)

    def choose(self, words: str, value: str) -> None:
        """Reach a group of tiles and choose one with the arrows."""
        self.reach(words)
        self.page.keyboard.press("Space")
        for _ in range(20):
            if self.page.evaluate("document.activeElement.value") == value:
                return
            self.page.keyboard.press("ArrowDown")
        raise AssertionError(f"no arrow leads to “{value}”")

    def heading(self) -> str:
        return self.page.inner_text("h1")


@pytest.mark.slow
def test_an_injector_is_worked_through_by_keyboard_alone(chromium, bench):
    page = signed_in(chromium, bench)
    keys = Keys(page)
    page.goto(f"{bench.browser.address}/job/{bench.job}")
    keys.press("Open 1")
    assert keys.heading() == "As-found test"
    keys.reach("It gives no result")
    page.keyboard.press("Enter")
    keys.choose("Why?", "needle seized")
    keys.press("Save: no result")
    assert keys.heading() == "Wash outside"
    keys.press("Done: go on")
    keys.fill("Shim as found", "1.35")
    keys.press("Stripped: go on")
    assert keys.heading() == "Clean with brass"
    keys.press("Done: go on")
    keys.press("Open the drawing")
    keys.press("Needle")  # the part of the drawing itself
    keys.choose("What do you see?", "seized")
    keys.press("Save the finding")
    page.wait_for_selector("text=Needle and nozzle are renewed as a pair")
    keys.press("Inspection done: go on")
    assert keys.heading() == "Slide test"
    keys.reach("Leave this step out")
    page.keyboard.press("Enter")
    keys.fill("Why?", "a new pair is fitted")
    keys.press("Leave it out")
    keys.press("Done: go on")
    assert keys.heading() == "Assemble"
    keys.fill("Scan the pair", "N-77")
    keys.press("Assembled: go on")
    keys.fill("Torque", "65")
    page.keyboard.press("Enter")
    page.wait_for_selector("h1:has-text('Bleed')")
    keys.press("Take back")
    assert keys.heading() == "Tighten to torque"
    keys.fill("Torque", "66")
    keys.press("Tightened: go on")
    keys.press("Done: go on")
    assert keys.heading() == "Set the opening pressure"
    one = bench.one()
    assert one.pair == "N-77"
    assert [torque.body["torque_nm"] for torque in one.torques] == [66.0]
    assert set(one.done) >= {"as-found", "wash", "strip", "inspect", "assemble", "torque", "bleed"}
    page.context.close()
