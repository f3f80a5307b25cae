"""Booking in: one form, saved once, with photos, pieces and the sheet."""

from __future__ import annotations

import uuid
from io import BytesIO

import pytest
from PIL import Image

from nozzlewright.edge.web.here import Here

PIXELS = (64, 48)


@pytest.fixture
def front(helper, tmp_path, web_settings, serve, browser):
    one = helper("edge/web/front_shop.py").front(tmp_path, web_settings, serve, browser)
    yield one
    one.shop.close()


@pytest.fixture
def beside(helper):
    return helper("edge/web/front_shop.py").beside


def photo(colour="red"):
    file = BytesIO()
    Image.new("RGB", PIXELS, colour).save(file, "PNG")
    return ("photo", ("one.png", file.getvalue(), "image/png"))


TYPED = {
    "engine": "invented pump engine",
    "customer": "invented customer",
    "cylinders": "3",
    "condition": "used",
    "symptom_2": "knocks",
    "symptom_7": "there is no seventh cylinder",
    "hours": "4150,5",
    "markings": "H 12",
    "piece_1": "injectors",
    "count_1": "3",
    "piece_2": "seat washers",
    "count_2": "",
    "piece_5": "clamp nuts",
    "count_5": "0",
    "note": "cap of number 2 bent",
}


def test_a_set_is_booked_in_with_one_post_and_leads_to_the_bench(front):
    sheet = front.add_sheet()
    files = [photo("red"), photo("blue")]
    answer = front.send("/book-in", files=files, sheet=sheet, **TYPED)
    job = answer.headers["location"].removeprefix("/job/")
    assert f"Booked in as job {job}" in front.saved(answer)
    story = front.story(job)
    assert story.sheet == sheet
    booked = dict(story.booked)
    assert booked["title"] == booked["engine"] == "invented pump engine"
    assert booked["symptoms"] == {"2": "knocks"}
    assert booked["hours"] == 4150.5
    assert booked["pieces"] == {"injectors": 3, "clamp nuts": 0}
    assert booked["cylinders"] == 3
    photos = [one for one in story.entries[0].draft.evidence if one != sheet]
    assert len(photos) == 2
    for digest in photos:
        kept = front.workshop.evidence.read(digest)
        assert Image.open(BytesIO(kept)).size == PIXELS
        assert front.browser.get(f"/evidence/{digest}.jpg").status_code == 200


def test_the_sheets_stand_to_be_chosen_with_injector_and_source(front):
    sheet = front.add_sheet()
    shown = front.get("/book-in")
    assert f'value="{sheet}"' in shown
    assert "multi-hole nozzle with four holes" in shown
    assert "invented workshop manual, edition 3, section 7" in shown


def test_a_repeated_tap_books_no_second_set(front):
    form = {"form_id": str(uuid.uuid4())}
    first = front.send("/book-in", **TYPED, **form)
    second = front.send("/book-in", **TYPED, **form)
    assert first.headers["location"] == second.headers["location"]
    assert "nothing was written a second time" in front.saved(second)
    assert len(front.workshop.records.jobs()) == 1


def test_the_page_is_told_which_draft_has_become_a_job(front):
    form = {"form_id": str(uuid.uuid4())}
    assert 'data-booked=""' in front.get("/book-in")
    front.send("/book-in", **TYPED, **form)
    assert f'data-booked="{form["form_id"]}"' in front.get("/book-in")


def test_all_that_is_wrong_stands_beside_its_field_and_nothing_is_lost(front, beside):
    typed = TYPED | {"engine": "", "cylinders": "", "hours": "many", "count_1": "three"}
    typed |= {"piece_6": "", "count_6": "4"}
    answer = front.send("/book-in", files=[photo()], **typed)
    assert answer.status_code == 422
    assert "the engine is not named" in beside(answer.text, "engine")
    assert "nothing has been chosen" in beside(answer.text, "cylinders")
    assert "“many” is not a number" in beside(answer.text, "hours")
    assert "“three” is not a whole number" in beside(answer.text, "count_1")
    assert "it is not said what was counted" in beside(answer.text, "piece_6")
    assert 'value="knocks"' in answer.text
    assert "cap of number 2 bent" in answer.text
    assert front.workshop.records.jobs() == []


def test_photos_that_were_sent_need_not_be_chosen_again_after_a_fault(front):
    answer = front.send("/book-in", files=[photo()], **TYPED | {"engine": ""})
    (digest,) = _kept(answer.text)
    assert f'src="/evidence/{digest}.jpg"' in answer.text
    answer = front.send("/book-in", photo_kept=[digest], **TYPED)
    job = answer.headers["location"].removeprefix("/job/")
    assert front.story(job).entries[0].draft.evidence == (digest,)


def _kept(text):
    import re

    return re.findall(r'name="photo_kept" value="([0-9a-f]{64})"', text)


def test_what_is_no_photo_is_refused_and_no_job_is_made(front, beside):
    files = [("photo", ("one.png", b"<svg onload=alert(1)>", "image/png"))]
    answer = front.send("/book-in", files=files, **TYPED)
    assert answer.status_code == 422
    assert "not a photo" in beside(answer.text, "photo")
    assert front.workshop.records.jobs() == []


def test_evidence_that_is_no_photo_is_not_taken_as_one(front):
    sheet = front.add_sheet()
    answer = front.send("/book-in", photo_kept=[sheet, "../../etc/passwd", "0" * 64], **TYPED)
    job = answer.headers["location"].removeprefix("/job/")
    assert front.story(job).entries[0].draft.evidence == ()


def test_who_is_at_the_screen_is_asked_first(front):
    front.be(Here())
    answer = front.browser.get("/book-in")
    assert answer.status_code == 303
    assert answer.headers["location"] == "/settings?then=/book-in#who"


# -- put right -----------------------------------------------------------------------------------


@pytest.fixture
def job(front):
    answer = front.send("/book-in", files=[photo()], **TYPED)
    return answer.headers["location"].removeprefix("/job/")


def test_the_particulars_stand_as_they_were_booked_in(front, job):
    assert f'href="/job/{job}/particulars"' in front.get(f"/job/{job}")
    shown = front.get(f"/job/{job}/particulars")
    for value in ("invented pump engine", "invented customer", "knocks", "4150.5", "clamp nuts"):
        assert f'value="{value}"' in shown
    assert 'name="cylinders" value="3" required checked' in shown
    assert "cap of number 2 bent</textarea>" in shown


def test_what_was_booked_in_wrongly_is_put_right_and_both_stand_in_the_record(front, job):
    path = f"/job/{job}/particulars"
    right = {**TYPED, "symptom_2": "", "symptom_3": "misses", "count_5": "2", "hours": ""}
    answer = front.send(path, why="misheard", **right)
    assert front.saved(answer)
    story = front.story(job)
    assert story.booked["symptoms"] == {"3": "misses"}
    assert story.booked["pieces"] == {"injectors": 3, "clamp nuts": 2}
    assert story.booked["hours"] is None
    assert story.entries[0].body["symptoms"] == {"2": "knocks"}
    assert story.entries[-1].draft.evidence == story.entries[0].draft.evidence
    assert "misses" in front.get(f"/job/{job}")
    first = story.entries[0].id
    assert f'href="{path}"' in front.get(f"/job/{job}/story/{first}")


def test_putting_right_says_why_and_keeps_what_was_typed(front, job):
    answer = front.send(f"/job/{job}/particulars", **{**TYPED, "customer": "new words"})
    assert answer.status_code == 422
    assert "why is it put right?" in answer.text
    assert 'value="new words"' in answer.text
    assert len(front.story(job).entries) == 1
