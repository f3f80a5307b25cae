"""Jobs, booking in, sheets and rig in a real browser: accessible, by keyboard, kept as typed."""

from __future__ import annotations

from pathlib import Path

import pytest
from PIL import Image
from playwright.sync_api import expect

_TOO_SMALL = """
[...document.querySelectorAll("main :is(a[href], button, input, select, summary)")]
  .filter((one) => !one.matches(".job-title a, p a:not(.button)"))
  .filter((one) => {
    const box = one.getBoundingClientRect();
    return box.width > 0 && (box.width < 47.9 || box.height < 47.9);
  })
  .map((one) => one.outerHTML.slice(0, 120))
"""


@pytest.fixture
def front(helper, tmp_path, web_settings, serve, browser):
    one = helper("edge/web/front_shop.py").front(tmp_path, web_settings, serve, browser)
    yield one
    one.shop.close()


def signed_in(chromium, front, width=1920, scheme="light", *, javascript=True):
    context = chromium.new_context(
        viewport={"width": width, "height": 800},
        color_scheme=scheme,
        reduced_motion="reduce",
        java_script_enabled=javascript,
    )
    here = next(c.value for c in front.browser.client.cookies.jar if c.name == "here")
    context.add_cookies([{"name": "here", "value": here, "url": front.browser.address}])
    return context.new_page()


@pytest.mark.slow
@pytest.mark.parametrize(("scheme", "width"), [("light", 360), ("dark", 1920)])
def test_every_page_is_accessible_and_fits_phone_and_desktop(
    chromium, axe, sticks_out, front, scheme, width
):
    sheet = front.add_sheet()
    job = front.book(sheet=sheet)
    front.workshop.tag("a", "R", job, 1, "S-401")
    blank = (Path(__file__).parents[3] / "demo/six-in-line/recordings/blank-plug.csv").read_bytes()
    front.check_rig(blank=front.workshop.evidence.keep(blank, "csv"))
    page = signed_in(chromium, front, width, scheme)
    said: list[str] = []
    page.on("console", lambda m: said.append(m.text) if m.type in {"error", "warning"} else None)
    page.on("pageerror", lambda fault: said.append(str(fault)))
    faults = []
    for path in (
        "/", "/?search=401", "/?show=handed-over", "/book-in", "/sheets", f"/job/{job}/sheet",
        f"/sheets/{sheet}", f"/sheets/new?copy={sheet}", "/rig", "/rig?new=1",
        f"/job/{job}/running-check",
    ):  # fmt: skip
        page.goto(front.browser.address + path)
        found = axe(page)
        faults += [(path, one["id"], one["nodes"][0]["html"]) for one in found["violations"]]
        faults += [(path, "too small", one) for one in page.evaluate(_TOO_SMALL)]
        if over := sticks_out(page):
            faults.append((path, "wider than the screen", over))
    assert faults == []
    assert said == []


@pytest.mark.slow
def test_a_set_is_booked_in_by_keyboard_alone_and_its_draft_outlives_a_reload(
    chromium, front, draft_holds
):
    page = signed_in(chromium, front, 360)
    page.goto(f"{front.browser.address}/book-in")
    page.locator("#engine").focus()
    page.keyboard.type("invented mower engine")
    page.keyboard.press("Enter")  # on to the next part
    expect(page.locator("#part-set")).to_be_visible()
    expect(page.locator("#part-engine")).to_be_hidden()
    page.keyboard.press("Tab")
    page.keyboard.press("Space")  # one cylinder
    page.keyboard.press("ArrowRight")  # two
    page.locator("#part-next").press("Enter")
    assert page.locator(".symptom:visible").count() == 2
    page.locator("#symptom_2").focus()
    page.keyboard.type("knocks")
    expect(page.locator("#kept-words")).to_contain_text("Kept on this device")
    draft_holds(page, "knocks")
    page.reload()
    expect(page.locator("#kept-words")).to_contain_text("draft")
    expect(page.locator("#symptom_2")).to_have_value("knocks")
    for _ in range(4):
        page.locator("#part-next").press("Enter")
    expect(page.locator("#part-next")).to_be_hidden()
    page.get_by_role("button", name="Book in").press("Enter")
    page.wait_for_url("**/job/*")
    (row,) = front.workshop.records.jobs()
    story = front.story(row.job)
    assert story.booked["symptoms"] == {"2": "knocks"}
    assert story.booked["cylinders"] == 2
    page.goto(f"{front.browser.address}/book-in")
    expect(page.locator("#engine")).to_have_value("")
    assert page.evaluate("localStorage.length") == 0


@pytest.mark.slow
def test_a_photo_outlives_a_page_that_is_closed_and_a_sheet_written_on_the_way_is_chosen(
    chromium, front, draft_holds, tmp_path
):
    picture = tmp_path / "tag.png"
    Image.new("RGB", (60, 40), (90, 40, 20)).save(picture)
    page = signed_in(chromium, front, 360)
    page.goto(f"{front.browser.address}/book-in")
    page.locator("#engine").fill("invented mower engine")
    page.locator("#way button").nth(1).click()
    page.locator('label:has([name="cylinders"][value="1"])').click()
    page.locator("#way button").nth(4).click()
    page.locator("#photo").set_input_files(picture)
    kept = page.locator("#photos [name=photo_kept]")
    expect(kept).to_have_count(1)
    draft_holds(page, kept.input_value())
    page.reload()
    expect(kept).to_have_count(1)
    assert page.locator("#photos img").evaluate(
        "(one) => one.decode().then(() => one.naturalWidth)"
    )
    page.locator("#part-next").click()
    page.get_by_role("link", name="Write a new sheet").click()
    typed = {
        "title": "Invented mower", "injector": "invented holder", "document": "Invented manual",
        "edition": "3", "used": "175 to 183 bar", "used_page": "7",
    }  # fmt: skip
    for name, text in typed.items():
        page.locator(f"#{name}").fill(text)
    page.get_by_role("button", name="Check and save").click()
    page.get_by_role("link", name="Take it for the set").click()
    expect(page.locator("#sheet input:checked + .tile-face")).to_contain_text("Invented mower")
    expect(page.locator("#engine")).to_have_value("invented mower engine")
    page.locator("#way button").last.click()
    page.get_by_role("button", name="Book in").click()
    page.wait_for_url("**/job/*")
    (row,) = front.workshop.records.jobs()
    story = front.story(row.job)
    (sheet,) = front.workshop.sheets()
    assert story.sheet == sheet.digest
    assert set(story.entries[0].draft.evidence) > {sheet.digest}
    assert len(story.entries[0].draft.evidence) == 2


@pytest.mark.slow
def test_a_photo_can_be_taken_out_before_the_set_is_booked_in(chromium, front, tmp_path):
    page = signed_in(chromium, front, 360)
    page.goto(f"{front.browser.address}/book-in")
    page.locator("#way button").nth(4).click()
    for name, colour in (("one.png", (90, 40, 20)), ("two.png", (20, 40, 90))):
        Image.new("RGB", (60, 40), colour).save(tmp_path / name)
        page.locator("#photo").set_input_files(tmp_path / name)
        expect(page.locator("#photo-words")).to_have_text("")
    expect(page.locator("#photos li")).to_have_count(2)
    page.get_by_role("button", name="Take it out: Photo 1, kept").click()
    expect(page.locator("#photos li")).to_have_count(1)
    (tmp_path / "none.png").write_bytes(b"<svg/>")
    page.locator("#photo").set_input_files(tmp_path / "none.png")
    expect(page.locator("#photo-words")).to_contain_text("not a photo")


@pytest.mark.slow
def test_what_is_missing_is_shown_in_the_part_where_it_belongs(chromium, front):
    page = signed_in(chromium, front)
    page.goto(f"{front.browser.address}/book-in")
    page.locator("#way button").last.click()
    page.get_by_role("button", name="Book in").click()
    expect(page.locator("#part-engine")).to_be_visible()
    assert front.workshop.records.jobs() == []


@pytest.mark.slow
def test_a_fault_on_top_leads_to_its_field_in_whichever_part_it_stands(chromium, front):
    page = signed_in(chromium, front, 360)
    page.goto(f"{front.browser.address}/book-in")
    page.locator("#engine").fill("invented mower engine")
    page.locator("#way button").nth(1).click()
    page.locator('label:has([name="cylinders"][value="1"])').click()
    page.locator("#hours").fill("12.450,5")
    page.locator("#way button").nth(3).click()
    page.locator("#count_2").fill("1,5")
    page.locator("#way button").last.click()
    page.get_by_role("button", name="Book in").click()
    expect(page.locator("#hours")).to_be_visible()
    for field in ("count_2", "hours"):
        page.locator(f".faults a[href='#{field}']").click()
        expect(page.locator(f"#{field}")).to_be_focused()


@pytest.mark.slow
def test_without_scripts_a_set_is_booked_in_on_one_long_page(chromium, front):
    page = signed_in(chromium, front, javascript=False)
    page.goto(f"{front.browser.address}/book-in")
    page.locator("#engine").fill("invented mower engine")
    page.locator('label:has([name="cylinders"][value="4"])').click()
    assert page.locator(".symptom:visible").count() == 4
    page.locator("#symptom_4").fill("misses")
    page.get_by_role("button", name="Book in").click()
    (row,) = front.workshop.records.jobs()
    assert front.story(row.job).booked["symptoms"] == {"4": "misses"}


@pytest.mark.slow
def test_a_misprint_shows_while_it_is_typed_and_goes_when_it_is_mended(chromium, front):
    page = signed_in(chromium, front)
    page.goto(f"{front.browser.address}/sheets/new")
    page.locator("#spread").fill("125 kgf/cm2 (1978 psi)")
    check = page.locator("#check-spread")
    expect(check).to_contain_text("13.8 bar apart")
    assert "check-spread" in page.locator("#spread").get_attribute("aria-describedby")
    page.locator("#spread").fill("125 kgf/cm2 (1778 psi)")
    expect(check).to_contain_text("Read as 122.6 bar")
    page.locator("#used").fill("120 to 128 at (1707 to 1821 psi)")
    expect(page.locator("#check-used")).to_contain_text("fits the technical atmosphere")
    page.locator('label:has([name="atmosphere"][value="technical"])').click()
    expect(page.locator("#check-used")).to_contain_text("Read as 117.7 bar to 125.5 bar")
    assert page.locator(".row-of:visible").count() == 1
    page.locator("#torque_1_part").fill("nozzle nut")
    expect(page.locator("#torque_2_part")).to_be_visible()
