"""Setting sheets: written in a form, copied, taken in as a file, chosen for a job."""

from __future__ import annotations

import re
import uuid
from pathlib import Path

import pytest

from nozzlewright.edge.intake.sheet_text import sheet_values
from nozzlewright.edge.web.here import Here
from nozzlewright.records import EntryKind

DEMO = Path(__file__).parents[3] / "demo" / "six-in-line"
HEAD = {
    "title": "Invented sheet",
    "injector": "invented holder, multi-hole nozzle",
    "document": "Invented manual",
    "edition": "edition 3",
}
WRITTEN = HEAD | {
    "used": "175 to 183 bar (2538 to 2654 psi)",
    "used_page": "7-12",
    "seat_how": "margin",
    "seat_pressure": "20 bar (290 psi)",
    "seat_tolerance": "3 bar",
    "seat_seconds": "10",
    "seat_tip": "damp",
    "seat_page": "7-13",
    "left_out": ["flush", "chatter"],
    "step_1_title": "Soak over night",
    "step_1_after": "strip",
    "torque_1_part": "nozzle nut",
    "torque_1_value": "60 to 70 Nm (44 to 52 lbf ft)",
    "torque_1_page": "7-15",
}


@pytest.fixture
def front(helper, tmp_path, web_settings, serve, browser):
    one = helper("edge/web/front_shop.py").front(tmp_path, web_settings, serve, browser)
    yield one
    one.shop.close()


@pytest.fixture
def beside(helper):
    return helper("edge/web/front_shop.py").beside


def write(front, page="/sheets/new", **typed):
    return front.send(page, "/sheets", **typed)


def sheet_of(front, digest):
    return front.workshop.readers.sheet(digest)


def cross_check(front, **asked):
    return front.browser.client.post(
        "/api/cross-check",
        json=asked,
        headers={"X-CSRF": front.browser.token(), "Origin": front.browser.address},
    )


def test_what_a_shim_does_is_shown_as_it_was_printed_with_its_page(front):
    typed = {
        "shim_effect": "10 bar per 0.1 mm",
        "shim_thinnest": "1.00 mm",
        "shim_thickest": "1.20 mm",
        "shim_step": "0.05 mm",
        "adjust_page": "7-14",
    }
    shown = front.saved(write(front, **WRITTEN | typed))
    row = shown[shown.index(">Shim</th>") :]
    row = row[: row.index("</tr>")]
    assert ">10 bar per 0.1 mm<" in row
    assert ">7-14<" in row
    # As shims are marked: to the hundredth, the last nought too.
    assert "1.00, 1.05, 1.10, 1.15, 1.20 mm" in shown


def test_pages_that_are_missing_are_told_apart_by_the_limit_that_they_belong_to(front):
    without = {
        name: text for name, text in WRITTEN.items() if name not in ("used_page", "seat_page")
    }
    answer = write(front, **without)
    assert answer.status_code == 422
    for field, limit in (("used_page", "Used parts, as printed"), ("seat_page", "Seat tightness")):
        link = answer.text[answer.text.index(f'href="#{field}"') :]
        assert f"{limit}: the page is not given" in link[: link.index("</a>")]


def test_a_sheet_that_is_written_is_kept_and_shown_as_it_reads(front):
    answer = write(front, **WRITTEN)
    shown = front.saved(answer)
    digest = answer.headers["location"].removeprefix("/sheets/")
    sheet = sheet_of(front, digest)
    assert (sheet.opening_used.lower_pa, sheet.opening_used.upper_pa) == pytest.approx(
        (175e5, 183e5)
    )
    assert sheet.source == "Invented manual; edition 3"
    assert sheet.steps.left_out == {"flush", "chatter"}
    assert [row.digest for row in front.workshop.sheets()] == [digest]
    assert "175 to 183 bar (2538 to 2654 psi)" in shown
    assert "7-12" in shown
    assert "Soak over night" in shown
    assert "Flush, Chatter" in shown
    assert "Invented sheet" in front.get("/sheets")


def test_a_sheet_is_read_in_the_unit_of_the_screen_and_as_printed(front):
    digest = front.add_sheet()
    front.be(Here(who="A. N. Other", pressure_unit="MPa", language="de"))
    shown = front.get(f"/sheets/{digest}")
    assert "200 ± 5 bar (2900 ± 73 psi)" in shown
    assert re.search(r"19,50\s?MPa.*20,50\s?MPa", shown)
    assert "10 MPa/mm" in shown


def test_two_units_that_disagree_are_refused_beside_the_field_with_all_that_was_typed(
    front, beside
):
    typed = WRITTEN | {"seat_pressure": "20 bar (390 psi)", "torque_1_value": "40 Nm (33 lbf ft)"}
    answer = write(front, **typed)
    assert answer.status_code == 422
    assert "6.9 bar apart" in beside(answer.text, "seat_pressure")
    assert "4.742 Nm apart" in beside(answer.text, "torque_1_value")
    assert beside(answer.text, "used") == ""
    assert 'value="175 to 183 bar (2538 to 2654 psi)"' in answer.text
    assert re.search(r'value="flush"\s+checked', answer.text)
    assert re.search(r'value="damp"\s+checked', answer.text)
    assert front.workshop.sheets() == []


def test_every_limit_asks_for_its_page_and_the_document_for_its_edition(front, beside):
    answer = write(front, **WRITTEN | {"used_page": "", "torque_1_page": "", "edition": ""})
    assert "the page is not given" in beside(answer.text, "used_page")
    assert "the page is not given" in beside(answer.text, "torque_1_page")
    assert "the edition of the document is not given" in beside(answer.text, "edition")


def test_what_stands_in_a_field_never_becomes_another_key(front):
    nasty = 'x"\n[seat]\nseconds = 1 # \\ \u0007 <script>alert(1)</script>'
    answer = write(front, **HEAD | {"title": nasty, "washer": nasty})
    shown = front.saved(answer)
    sheet = sheet_of(front, answer.headers["location"].removeprefix("/sheets/"))
    assert sheet.title == nasty
    assert sheet.seat is None
    assert "<script>alert" not in shown


def test_a_copy_begins_with_what_the_old_sheet_says(front):
    digest = front.add_sheet()
    page = f"/sheets/new?copy={digest}"
    shown = front.get(page)
    for text in ("205 to 213 bar (2973 to 3089 psi)", "10 bar per 0.1 mm", "6.0 mm"):
        assert f'value="{text}"' in shown
    assert re.search(r'value="damp"\s+checked', shown)
    assert shown.count('class="row-of"') == 8 + 4
    answer = write(front, **WRITTEN)
    assert front.saved(answer)
    assert len(front.workshop.sheets()) == 2
    assert front.browser.get(f"/sheets/new?copy={'0' * 64}").status_code == 404


def test_a_copy_that_is_edited_keeps_the_remarks_of_the_old_sheet(front):
    raw = (DEMO / "sheet.toml").read_bytes()
    digest = front.workshop.add_sheet("with remarks", "A. N. Other", raw)
    shown = front.get(f"/sheets/new?copy={digest}")
    assert f'name="copied_from" value="{digest}"' in shown
    typed = sheet_values(raw) | {"title": "an edited copy", "edition": "3"}
    answer = write(front, **typed, copied_from=digest)
    assert answer.status_code == 303, answer.text
    new = answer.headers["location"].partition("?")[0].rpartition("/")[2]
    kept = front.workshop.evidence.read(new).decode()
    assert "# Invented" in kept
    assert 'title = "an edited copy"' in kept
    other = write(front, **typed | {"title": "other", "copied_from": "0" * 64})
    assert other.status_code == 303


def test_a_file_is_taken_in_or_its_faults_are_told_with_their_lines(front, beside):
    front.add_sheet()
    text = front.workshop.evidence.read(front.workshop.sheets()[0].digest)
    changed = text.replace(b"Example A", b"Example D")
    answer = front.send("/sheets", files={"file": ("sheet.toml", changed)}, upload="yes")
    assert "Example D" in front.saved(answer)
    wrong = changed.replace(b"seconds = 10", b"seconds = 0")
    answer = front.send("/sheets", files={"file": ("sheet.toml", wrong)}, upload="yes")
    assert answer.status_code == 422
    assert re.search(r"line \d+, seat.seconds", beside(answer.text, "file"))
    answer = front.send("/sheets", files={"file": ("sheet.toml", b"\xff\xfe")}, upload="yes")
    assert "not UTF-8" in beside(answer.text, "file")
    answer = front.send("/sheets", upload="yes")
    assert "no file has been chosen" in beside(answer.text, "file")
    assert len(front.workshop.sheets()) == 2


def test_the_sheet_of_a_job_is_chosen_and_chosen_anew_until_it_is_handed_over(front):
    digest, job = front.add_sheet(), front.book()
    page = f"/job/{job}/sheet"
    assert "Choose the setting sheet of job" in front.get(page)
    answer = front.send(page, sheet=digest)
    assert "The setting sheet is chosen" in front.saved(answer)
    assert front.story(job).sheet == digest
    assert "chosen for this job" in front.get(page)
    written = write(front, f"/sheets/new?job={job}", **WRITTEN)
    path = written.headers["location"]
    assert path.endswith(f"?job={job}")
    other = path.removeprefix("/sheets/").partition("?")[0]
    front.send(path, page)
    assert front.story(job).sheet == other


def test_after_the_hand_over_the_sheet_stays_as_it_was(front):
    act = lambda: str(uuid.uuid4())  # noqa: E731
    digest = front.add_sheet()
    job = front.book(sheet=digest, cylinders=1)
    shop = front.workshop
    shop.tag(act(), "R", job, 1, "S-1")
    one = front.story(job).at_cylinder(1).injector
    shop.note(act(), "F", job, EntryKind.TAKEN_IN_HAND, injector=one)
    shop.see(act(), "F", job, one, {"seat": "dry"})
    shop.note(act(), "F", job, EntryKind.LAID_DOWN, injector=one)
    shop.note(act(), "S", job, EntryKind.SECOND_PERSON, {"agrees": True}, injector=one)
    shop.note(act(), "R", job, EntryKind.HANDED_OVER, {"to": "x", "packed": {}})
    assert "its sheet stays as it was" in front.get(f"/sheets/{digest}?job={job}")
    answer = front.browser.client.post(
        f"/job/{job}/sheet",
        data={"csrf": front.browser.token(), "form_id": act(), "sheet": digest},
        headers={"Origin": front.browser.address},
    )
    assert answer.status_code == 409
    assert "was handed over" in answer.text


def test_a_sheet_that_the_shop_does_not_have_is_not_chosen(front, beside):
    front.add_sheet()
    job = front.book()
    answer = front.send(f"/job/{job}/sheet", sheet="0" * 64)
    assert answer.status_code == 422
    assert front.story(job).sheet == ""
    assert front.browser.get("/sheets/nothing").status_code == 404


def test_the_file_of_a_sheet_comes_back_as_it_was_taken_in(front, helper):
    digest = front.add_sheet()
    answer = front.browser.get(f"/sheets/{digest}/sheet.toml")
    assert answer.content == helper("edge/web/front_shop.py").SHEET


def test_while_typing_the_answer_says_what_disagrees_and_by_how_much(front):
    answer = cross_check(front, text="125 kgf/cm2 (1978 psi)").json()
    (fault,) = answer["faults"]
    assert "13.8 bar apart" in fault["what"]
    assert answer["values"] == ["122.6 bar"]
    front.be(Here(who="A. N. Other", pressure_unit="psi"))
    answer = cross_check(front, text="175 to 183 bar (2538 to 2654 psi)").json()
    assert answer == {"values": ["2538 psi to 2654 psi"], "faults": []}


@pytest.mark.parametrize(
    "asked",
    [
        {},
        {"text": 7},
        {"text": "x" * 301},
        {"text": "175 bar", "atmosphere": "thin"},
    ],
)
def test_a_check_that_is_asked_wrongly_is_refused_without_a_fault_of_the_program(front, asked):
    assert cross_check(front, **asked).status_code == 422


def test_sheets_are_found_by_injector_and_document(front):
    front.add_sheet()
    assert "Example A" in front.get("/sheets?search=screw-in+edition")
    assert "No sheet is found for “pintle”" in front.get("/sheets?search=pintle")
