"""The bench: the set as a row of injectors, tags, one of them open at a time."""

from __future__ import annotations

import re

import httpx
import pytest

from nozzlewright.records import EntryKind


@pytest.fixture
def bench_shop(helper):
    return helper("edge/web/bench_shop.py")


@pytest.fixture
def bench(helper, bench_shop, tmp_path, web_settings, serve, browser):
    shop = helper("workflow/in_memory.py").workshop_in_memory(tmp_path)
    return bench_shop.at_the_bench(shop, web_settings, serve, browser)


def test_the_set_shows_how_far_each_injector_is_in_words(bench):
    bench.assembled(2)
    shown = bench.get(f"/job/{bench.job}")
    assert "invented set" in shown
    assert "knocks" in shown
    assert shown.count("not begun") == 1
    assert "on the bench" in shown
    assert "3 of 18 steps" in shown
    assert "no tag yet" in shown
    assert "Next: As-found test" in shown


def test_a_cylinder_without_a_tag_leads_to_tagging(bench):
    shown = bench.get(f"/job/{bench.job}")
    assert f'href="/job/{bench.job}/tag?cylinder=3"' in shown
    answer = bench.tap(
        f"/job/{bench.job}/tag?cylinder=3",
        "Save the tag",
        serial="D-103",
        pair="P3",
        markings="H3",
        shim_mm="1,25",
    )
    assert "Saved: injector 3 is tagged" in bench.saved(answer)
    one = bench.one(3)
    assert (one.serial, one.pair, one.markings, one.shim_mm) == ("D-103", "P3", "H3", 1.25)


def test_a_tag_without_a_serial_number_is_asked_for_again_with_all_that_was_typed(bench):
    answer = bench.tap(f"/job/{bench.job}/tag", "Save the tag", markings="holder X", shim_mm="thin")
    assert answer.status_code == 422
    assert 'value="holder X"' in answer.text
    assert "an injector needs a serial number" in answer.text
    assert "“thin” is not a number" in answer.text
    assert bench.story.untagged() == [3]


@pytest.mark.parametrize("serial", ["D-101", "d-101 ", "D -101"])
def test_two_injectors_of_a_set_are_never_called_the_same(bench, serial):
    answer = bench.tap(f"/job/{bench.job}/tag?cylinder=3", "Save the tag", serial=serial)
    assert answer.status_code == 422
    assert "cylinder 1 of this set is called so already" in answer.text
    assert bench.story.untagged() == [3]


def test_a_repeated_tap_is_one_tag(bench):
    form = bench.form(f"/job/{bench.job}/tag", "Save the tag")
    answers = [bench.send(form, serial="D-103") for _ in range(2)]
    assert [answer.status_code for answer in answers] == [303, 303]
    assert len([e for e in bench.story.entries if e.kind is EntryKind.TAGGED]) == 3


def test_a_spare_from_the_shelf_keeps_its_identity_and_its_pair(bench):
    one = bench.one(2)
    answer = bench.tap(bench.path(2), "Lay it on the shelf", where="drawer 4")
    assert "lies on the shelf" in bench.saved(answer)
    assert bench.story.untagged() == [2, 3]
    shown = bench.get(f"/job/{bench.job}/tag?cylinder=3&search=D-102")
    assert "on the shelf" in shown
    answer = bench.tap(
        f"/job/{bench.job}/tag?cylinder=3&search=D-102", "Save the tag", injector=one.injector
    )
    assert answer.status_code == 303, answer.text
    moved = bench.one(3)
    assert (moved.injector, moved.pair, moved.serial) == (one.injector, one.pair, "D-102")


def test_an_injector_is_opened_in_one_tap(bench):
    answer = bench.tap(f"/job/{bench.job}", "Open 1")
    assert "As-found test" in bench.saved(answer)
    assert bench.story.in_hand == bench.one(1).injector


def test_opening_a_second_closes_the_first_in_the_same_tap(bench):
    bench.take(1)
    form = bench.form(bench.path(2), "Close 1 and open 2")
    for _ in range(2):
        assert bench.send(form).status_code == 303
    assert bench.story.in_hand == bench.one(2).injector
    kinds = [entry.kind for entry in bench.story.entries[-2:]]
    assert kinds == [EntryKind.LAID_DOWN, EntryKind.TAKEN_IN_HAND]


def test_an_injector_that_lies_apart_is_not_closed_without_its_tray(bench):
    bench.stripped(1)
    refused = bench.tap(bench.path(2), "Close 1 and open 2")
    assert refused.status_code == 422
    assert "which tray holds its parts" in refused.text
    assert bench.story.in_hand == bench.one(1).injector
    assert bench.tap(bench.path(2), "Close 1 and open 2", tray="blue").status_code == 303
    assert bench.story.in_hand == bench.one(2).injector
    assert bench.last(EntryKind.LAID_DOWN).body == {"tray": "blue"}
    assert "lies apart in its tray" in bench.get(f"/job/{bench.job}")


def test_an_injector_is_closed_from_its_step(bench):
    bench.take(1)
    assert "is closed" in bench.saved(bench.tap(bench.path(1), "Close 1"))
    assert bench.story.in_hand == ""


def test_nothing_is_noted_while_nobody_has_said_who_is_there(bench, browser):
    stranger = browser(bench.browser.address)
    asked = stranger.get(bench.path(1))
    assert asked.status_code == 303
    assert asked.headers["location"].startswith("/settings?then=/job/")
    bench.browser = stranger
    refused = bench.tap(f"/job/{bench.job}", "Open 1")
    assert refused.status_code == 422
    assert "nobody has said who is at this screen" in refused.text
    assert bench.story.in_hand == ""


@pytest.mark.parametrize(
    "path", ["/job/1999-0001", "/job/1999-0001/story", "/injector/nobody", "/job/{job}/injector/x"]
)
def test_what_is_not_there_is_said_so(bench, path):
    answer = bench.browser.get(path.format(job=bench.job))
    assert answer.status_code == 404
    assert "There is no such page" in answer.text


# -- photos --------------------------------------------------------------------------------------


def test_a_photo_of_the_job_is_kept_and_shown_as_a_jpeg_of_our_own(bench, bench_shop):
    sent = bench_shop.photo("PNG")
    answer = bench.tap(
        f"/job/{bench.job}",
        "Save the photo",
        files={"photo": ("x.png", sent, "image/png")},
        photo_note="as it came",
    )
    shown = bench.saved(answer)
    (digest,) = set(re.findall(r'src="/evidence/([0-9a-f]{64}).jpg"', shown))
    kept = bench.browser.get(f"/evidence/{digest}.jpg")
    assert kept.headers["content-type"] == "image/jpeg"
    assert kept.headers["x-content-type-options"] == "nosniff"
    assert kept.content.startswith(b"\xff\xd8\xff")
    assert bench.last().body == {"note": "as it came"}


@pytest.mark.parametrize("content", [b"not a photo", b"\xff\xd8\xff", b"<svg/>"])
def test_what_is_no_photo_is_refused_with_what_to_do(bench, content):
    answer = bench.tap(
        f"/job/{bench.job}", "Save the photo", files={"photo": ("x.jpg", content, "image/jpeg")}
    )
    assert answer.status_code == 422
    assert "photo" in answer.text
    assert "Traceback" not in answer.text
    assert bench.last().kind is not EntryKind.PHOTO


def test_evidence_that_is_no_photo_is_not_served_as_one(bench):
    sheet = bench.story.sheet
    assert bench.shop.evidence.read(sheet)
    for name in (sheet, "0" * 64, sheet[:-1], sheet.upper(), "..%2F..%2Fsecret", "x" * 64):
        answer = bench.browser.get(f"/evidence/{name}.jpg")
        assert isinstance(answer, httpx.Response)
        assert answer.status_code == 404, name
