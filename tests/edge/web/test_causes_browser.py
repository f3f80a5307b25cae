"""Causes in a real browser: phone and desktop, accessible, worked by keyboard and by tap."""

from __future__ import annotations

import pytest

from nozzlewright.records import EntryKind


@pytest.fixture
def at_bench(helper):
    return helper("edge/web/test_bench_browser.py")


@pytest.fixture
def bench(helper, tmp_path, web_settings, serve, browser):
    shop = helper("workflow/in_memory.py").workshop_in_memory(tmp_path)
    make = helper("edge/web/bench_shop.py").at_the_bench
    return make(shop, web_settings, serve, browser, rig=True)


@pytest.mark.slow
@pytest.mark.parametrize(("scheme", "width"), [("light", 360), ("dark", 360), ("light", 1920)])
def test_the_pages_of_causes_are_accessible_and_fit(
    chromium, axe, sticks_out, bench, at_bench, scheme, width
):
    bench.take(2)
    bench.tested(2, recording="3-found.csv.gz", seat="dry", spray="good", chatter="clear")
    injector = bench.one(2).injector
    finder = bench.shop.causes
    finder.settle("settled", "A. N. Other", bench.job, injector, ["guide_worn"], "renewed, cured")
    finder.learn("learned", "A. N. Other", "first season")
    page = at_bench.signed_in(chromium, bench, width, scheme)
    told = []
    page.on("console", lambda message: told.append(message.text))
    paths = [bench.path(2, "/causes"), bench.path(1, "/causes"), "/causes?before=0&after=1"]
    for path in paths:
        page.goto(f"{bench.browser.address}{path}")
        for details in page.locator("details").all():
            details.evaluate("one => { one.open = true }")
        found = axe(page)
        broken = [(one["id"], one["nodes"][0]["html"][:200]) for one in found["violations"]]
        assert broken == [], (path, width)
        assert sticks_out(page) == 0, path
        assert page.evaluate(at_bench._TOO_SMALL) == [], (path, width)
        ids = page.evaluate("[...document.querySelectorAll('[id]')].map((one) => one.id)")
        assert len(ids) == len(set(ids)), (path, sorted(ids))
    assert told == []


@pytest.mark.slow
def test_a_fitter_taps_away_what_was_misunderstood_and_settles_the_cause(chromium, bench, at_bench):
    page = at_bench.signed_in(chromium, bench, 360)
    page.goto(f"{bench.browser.address}{bench.path(2, '/causes')}")
    assert page.locator(".understood li").inner_text().startswith("Knock")
    first = page.locator(".cause-name").first.inner_text()
    page.locator(".pieces li", has_text="Knock").get_by_role("button").click()
    page.get_by_text("Taken out by hand").wait_for()
    page.get_by_label("Something else was seen").select_option("spray=jet_missing")
    page.get_by_role("button", name="Note it", exact=True).last.click()
    page.get_by_text("Noted").first.wait_for()
    assert page.locator(".cause-name").first.inner_text() == "holes choked" != first
    share = page.locator(".cause-share").first
    width = float(share.get_attribute("width"))
    said = page.locator(".cause-figure").first.inner_text()
    assert f"{width:.0f}" in said
    page.get_by_role("group", name="It turned out to be").get_by_label("holes choked").check(
        force=True
    )
    page.get_by_label("How it is known").fill("two holes full of carbon")
    page.get_by_role("button", name="Save the cause").press("Enter")
    page.get_by_text("two holes full of carbon").wait_for()
    body = bench.last(EntryKind.CAUSE).body
    assert body["settled"] == ["holes_choked"]
    assert "knock" not in body["evidence"]
