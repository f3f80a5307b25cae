"""The set side by side and its hand-over, on the demo workshop."""

from __future__ import annotations

import io
import re
import shutil

import pytest
import segno
from pypdf import PdfReader

from nozzlewright.edge.paper.voice import Voice, speaking, spoken
from nozzlewright.edge.web.app import create_app
from nozzlewright.edge.web.screens.hand_over import MASK
from nozzlewright.edge.web.texts import catalogue
from nozzlewright.edge.wiring.shop import open_shop
from nozzlewright.records import EntryKind
from nozzlewright.said import say

SETTINGS = {
    "who": "A. N. Other",
    "language": "en",
    "pressure_unit": "bar",
    "theme": "device",
    "pedal": "Space",
}


@pytest.fixture
def shop(demo_made, tmp_path):
    shutil.copytree(demo_made, tmp_path / "shop")
    opened = open_shop(tmp_path / "shop")
    yield opened.workshop
    opened.close()


@pytest.fixture
def jobs(shop):
    """Jobs of the demo workshop by their numbers' ends, whatever the year."""
    return {row.job.partition("-")[2]: row.job for row in shop.records.jobs()}


@pytest.fixture
def client(shop, web_settings, serve, browser):
    client = browser(serve(create_app(shop, web_settings)))
    answer = client.send("/settings", **SETTINGS)
    assert answer.status_code == 303
    return client


def text_of(response) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", response.text))


def test_the_demo_workshop_has_sets_in_all_states(shop):
    states = {row.job[-1]: (row.state, row.waits_for) for row in shop.records.jobs()}
    assert states == {
        "1": ("handed over", ""),
        "2": ("open", "hand-over"),
        "3": ("open", "fitter at the bench"),
        "4": ("open", "setting sheet"),
        "5": ("open", "tags"),
    }
    assert all(shop.story(row.job).booked["invented"] for row in shop.records.jobs())


def test_the_set_shows_every_test_of_every_injector_with_the_odd_one_out(client, jobs):
    shown = client.get(f"/job/{jobs['0002']}/set")
    words = text_of(shown)
    assert shown.status_code == 200
    assert "All 6 are fit for use." in words
    assert "Cylinder 2 opens" in words
    for serial in ("D-101", "D-106"):
        assert serial in words
    assert shown.text.count("<svg") > 6


def test_the_set_says_what_to_do_next_to_each_injector(client, jobs):
    words = text_of(client.get(f"/job/{jobs['0003']}/set"))
    assert "Injector 3" in words
    assert "clean the seat" in words
    assert "The jet goes through skin" in words


def test_the_picture_of_the_set_follows_the_unit_of_the_screen(client, jobs):
    client.send("/settings", **SETTINGS | {"pressure_unit": "psi"})
    shown = client.get(f"/job/{jobs['0002']}/set").text
    assert re.search(r">upper 2973\.3<", shown), "205 bar are 2973.3 psi"
    assert ">psi<" in shown


def test_matching_is_noted_once_for_every_injector(client, shop, jobs):
    job = jobs["0003"]
    answer = client.send(f"/job/{job}/set")
    assert answer.status_code == 303
    client.get(f"/job/{job}/set")  # the word that it is saved is said once
    assert "set is matched" not in client.get(f"/job/{job}/set").text
    matched = [
        entry.draft.injector
        for entry in shop.story(job).entries
        if entry.kind is EntryKind.STEP_DONE and entry.body["step"] == "match"
    ]
    assert sorted(matched) == sorted(shop.story(job).injectors)


def test_a_set_without_sheet_leads_to_the_sheets(client, jobs):
    shown = client.get(f"/job/{jobs['0004']}/set")
    assert f"/sheets?job={jobs['0004']}" in shown.text


def test_what_is_missing_leads_to_where_it_is_done(client, shop, jobs):
    job = jobs["0003"]
    shown = client.get(f"/job/{job}/hand-over").text
    third, fourth = (shop.story(job).at_cylinder(c).injector for c in (3, 4))
    assert f"/job/{job}/injector/{third}" in shown
    assert "Injector 3 is open on the bench" in shown
    assert f"/job/{job}/injector/{fourth}" in shown
    assert "Injector 4 has no verdict" in shown
    assert "No second person has checked an injector" in shown
    answer = client.send(f"/job/{job}/hand-over", taken_by="somebody", note="in a hurry")
    assert answer.status_code == 409
    assert "injector 3 is open on the bench" in answer.text
    assert shop.story(job).handed_over is None


def test_a_set_is_handed_over_with_its_packing_check_and_taken_back(client, shop, jobs):
    job = jobs["0002"]
    answer = client.send(f"/job/{job}/hand-over", taken_by="", packed=["caps"])
    assert answer.status_code == 422
    assert "nobody is named who takes the set" in answer.text
    assert "not everything is packed" in answer.text
    answer = client.send(
        f"/job/{job}/hand-over",
        taken_by="invented customer",
        packed=["caps", "bags"],
        note="no tags",
    )
    assert answer.status_code == 303
    body = shop.story(job).handed_over.body
    assert (body["packed"]["caps"], body["packed"]["tags"]) == (True, False)
    assert "invented customer" in client.get(f"/job/{job}/hand-over").text
    page = client.get(f"/job/{job}/hand-over").text
    hidden = dict(re.findall(r'<input type="hidden" name="(\w+)"\s+value="([^"]*)"', page))
    answer = client.client.post(
        f"/job/{job}/hand-over/take-back",
        data={**hidden, "why": "came back"},
        headers={"Origin": client.address},
    )
    assert answer.status_code == 303
    assert shop.story(job).handed_over is None


def test_labels_say_where_their_codes_lead_when_only_this_machine_is_reached(client, jobs):
    assert "lead to this machine alone" in client.get(f"/job/{jobs['0002']}/labels").text


def test_a_report_in_psi_keeps_the_words_of_the_sheet(client, jobs):
    assert client.send("/settings", **{**SETTINGS, "pressure_unit": "psi"}).status_code == 303
    pdf = client.get(f"/job/{jobs['0002']}/report.pdf").content
    pages = PdfReader(io.BytesIO(pdf)).pages
    text = re.sub(r"\s+", " ", " ".join(page.extract_text() for page in pages))
    assert "195 to 205 bar (2828 to 2973 psi)" in text
    # NIST SP 811:2008, appendix B.8: 1 psi = 6.894 757 E+03 Pa.
    assert f"{195e5 / 6894.757:.1f} psi to {205e5 / 6894.757:.1f} psi" in text
    assert not re.search(r"[0-9a-f]{40}", text)


def test_the_report_says_where_it_stands_in_the_record(client, shop, jobs):
    story = shop.story(jobs["0002"])
    answer = client.get(f"/job/{story.job}/report.pdf")
    assert answer.headers["content-type"] == "application/pdf"
    pdf = PdfReader(io.BytesIO(answer.content))
    words = re.sub(r"\s+", " ", " ".join(page.extract_text() for page in pdf.pages))
    assert len(pdf.pages) == 8
    assert "Invented" in words or "invented" in words
    assert story.entries[-1].digest[:16] in words.replace(" ", "")
    letter = PdfReader(
        io.BytesIO(client.get(f"/job/{story.job}/report.pdf?paper=us-letter").content)
    )
    assert float(letter.pages[0].mediabox.width) == pytest.approx(612, abs=0.1)
    html = client.get(f"/job/{story.job}/report.html")
    assert html.headers["content-disposition"].startswith("attachment")


def test_every_label_has_a_code_that_opens_the_injectors_record(client, shop, jobs):
    story = shop.story(jobs["0002"])
    shown = client.get(f"/job/{story.job}/labels")
    assert shown.text.count('class="qr"') == 6
    for one in story.in_order():
        path = f"/injector/{one.injector}"
        assert f'href="{path}"' in shown.text
        assert client.get(path).status_code == 200
        code = segno.make(f"{client.address}{path}", error="m", micro=False, mask=MASK)
        drawn = code.svg_inline(omitsize=True, svgclass="qr", lineclass=None, border=2)
        assert drawn in shown.text
    assert re.search(r"203\.42\s±\s0\.31\sbar", shown.text)


def read_back(matrix):
    """Return the words of a code of version 5, level M, byte mode (ISO/IEC 18004:2015, clause 7).

    The pattern laid over it is that which the code itself names.
    """
    size = 37
    assert len(matrix) == size
    corner = [(8, x) for x in (*range(6), 7, 8)] + [(y, 8) for y in (7, *range(5, -1, -1))]
    told = int("".join(str(matrix[y][x]) for y, x in corner), 2)
    of_level_m = [0x5412, 0x5125, 0x5E7C, 0x5B4B, 0x45F9, 0x40CE, 0x4F97, 0x4AA0]  # table C.1
    covered = {
        0: lambda y, x: (y + x) % 2 == 0,
        1: lambda y, _: y % 2 == 0,
        2: lambda _, x: x % 3 == 0,
        3: lambda y, x: (y + x) % 3 == 0,
    }[of_level_m.index(told)]

    def is_data(y, x):
        finder = (y < 9 and (x < 9 or x >= size - 8)) or (y >= size - 8 and x < 9)
        return not (finder or 6 in (y, x) or (28 <= y <= 32 and 28 <= x <= 32))

    bits = []
    for turn, right in enumerate([*range(size - 1, 7, -2), 5, 3, 1]):
        for y in range(size) if turn % 2 else range(size - 1, -1, -1):
            bits += [matrix[y][x] ^ covered(y, x) for x in (right, right - 1) if is_data(y, x)]
    words = [int("".join(map(str, map(int, bits[n : n + 8]))), 2) for n in range(0, 86 * 8, 8)]
    text = "".join(f"{word:08b}" for word in words[::2] + words[1::2])  # two blocks of 43
    assert text[:4] == "0100"
    count = int(text[4:12], 2)
    return bytes(int(text[n : n + 8], 2) for n in range(12, 12 + 8 * count, 8)).decode()


def test_a_code_can_be_read_back():
    address = "http://192.168.10.20:8000/injector/0b6ab5ea-8f9c-4e5a-9f3e-2b1c3d4e5f6a"
    code = segno.make(address, error="m", micro=False, mask=MASK)
    assert code.designator == "5-M"
    assert read_back(code.matrix) == address


def test_the_fitting_sheet_tells_what_goes_where(client, jobs):
    words = text_of(client.get(f"/job/{jobs['0002']}/fitting"))
    for what in ("D-104", "fit", "washer", "Running check", "surgical emergency"):
        assert what in words


@pytest.mark.parametrize("page", ["set", "hand-over", "labels", "fitting", "report.pdf"])
def test_a_job_that_does_not_exist_has_no_papers(client, page):
    assert client.get(f"/job/1999-0001/{page}").status_code == 404


def test_nothing_is_reported_before_something_was_tested(client, jobs):
    answer = client.get(f"/job/{jobs['0004']}/report.pdf")
    assert answer.status_code == 409
    assert "there is nothing to report yet" in answer.text


def test_a_report_speaks_the_language_of_the_screen_that_asks_for_it(client, shop, jobs):
    job = jobs["0002"]
    english = client.get(f"/job/{job}/report.html").text
    assert '<html lang="en-GB">' in english
    assert client.send("/settings", **{**SETTINGS, "language": "de"}).status_code == 303
    german = client.get(f"/job/{job}/report.html").text
    assert '<html lang="de">' in german
    with speaking(Voice("de", catalogue("de").ugettext, decimal=",")):
        for words in (say("as found"), say("Customer"), say("Opening pressure")):
            told = spoken(words)
            assert told != words
            assert told in german
    assert re.search(r"\d,\d", german)
    made = [client.get(f"/job/{job}/report.pdf").content for _ in range(2)]
    assert made[0] == made[1]
    paper = PdfReader(io.BytesIO(made[0]))
    assert paper.trailer["/Root"]["/Lang"] == "de"
    assert client.send("/settings", **SETTINGS).status_code == 303
    paper = PdfReader(io.BytesIO(client.get(f"/job/{job}/report.pdf").content))
    assert paper.trailer["/Root"]["/Lang"] == "en-GB"


def test_the_picture_of_the_set_writes_numbers_as_the_language_does(client, jobs):
    assert client.send("/settings", **{**SETTINGS, "language": "de"}).status_code == 303
    shown = client.get(f"/job/{jobs['0002']}/set").text
    figures = re.findall(r'<svg xmlns="http://www.w3.org/2000/svg" class="fg".*?</svg>', shown)
    assert len(figures) == 2
    for drawn in figures:
        words = re.sub("<[^>]*>", " ", drawn)
        assert re.search(r"\d,\d", words)
        assert not re.search(r"\d\.\d", words)
