"""A whole check at the screen: zero, reference nozzle, compliance; state, items, charts."""

from __future__ import annotations

import gzip
import re
import tomllib
import uuid
from datetime import UTC, datetime, timedelta
from html import escape, unescape
from urllib.parse import parse_qs, quote_plus, urlsplit

import pytest

from nozzlewright.edge.web.here import Here
from nozzlewright.records import EntryKind
from nozzlewright.workflow import NewTest

BELONGS = b"""
[reference]
id = "invented nozzle N-0"
opening_bar = 181.0
opening_u_bar = 0.2
opening_tolerance_bar = 3.0
drop_s = 21.0
drop_tolerance_s = 6.0
from_bar = 150
to_bar = 100
at_c = 40

[limits]
blank_fall_bar = 3
blank_fall_s = 60
blank_fall_from_bar = 150
zero_bar = 1
compliance_percent = 25
temperature_from_c = 10
temperature_to_c = 30
remind_days = 30
baseline = 5
filter_days = 90

[filter]
changed_on = 2026-02-20
"""
READ = {
    "temperature": "14",
    "zero": "0,3",
    "hold": "timed",
    "drop_from": "150",
    "drop_to": "148.5",
    "drop_seconds": "60",
    "reference": "read",
    "openings": "181,2 180,9; 181.4",
    "reference_from": "150",
    "reference_to": "100",
    "reference_seconds": "37",
    "volumes": "none",
}


@pytest.fixture
def desk(helper):
    return helper("edge/web/front_shop.py")


@pytest.fixture
def clock():
    return [datetime(2026, 3, 4, 9, tzinfo=UTC)]


@pytest.fixture
def front(desk, tmp_path, web_settings, serve, browser, clock):
    one = desk.front(tmp_path, web_settings, serve, browser, clock=lambda: clock[0])
    card = (desk.DEMO / "bench.toml").read_bytes() + BELONGS
    one.workshop.check_rig(str(uuid.uuid4()), "A. N. Other", card)
    yield one
    one.shop.close()


def check(front, files=None, **typed):
    return front.send("/rig", "/rig", files, **READ | typed)


def card_of(front):
    return tomllib.loads(front.workshop.evidence.read(front.workshop.rig().conditions).decode())


def test_a_whole_check_makes_the_rig_fit_and_says_so_everywhere(front):
    shown = front.saved(check(front))
    state = front.workshop.rig()
    assert state.body["state"] == "fit for use"
    assert "Within the limits of its card" in shown
    assert card_of(front)["check"] == {
        "zero_bar": 0.3,
        "opening_bar": [181.2, 180.9, 181.4],
        "drop": {"from_bar": 150.0, "to_bar": 100.0, "seconds": 37.0},
    }
    assert re.search(r'chip-pass".*?fit for use', front.get("/"), re.DOTALL)
    job = front.book(sheet=front.add_sheet())
    assert re.search(r'chip-pass".*?fit for use', front.get(f"/job/{job}"), re.DOTALL)


def test_a_rig_that_is_out_says_why_and_what_it_means(front):
    shown = front.saved(check(front, drop_to="140", zero="-2"))
    assert front.workshop.rig().body["state"] == "out"
    assert "is beyond what the card allows (at most 3 bar in 60 s from 150 bar)" in shown
    assert "Back-leakage tested on it has no verdict" in shown
    assert card_of(front)["check"]["zero_bar"] == -2.0
    assert re.search(r'chip-fail".*?out', front.get("/"), re.DOTALL)


def test_what_is_to_be_done_and_what_comes_due_stand_beside_the_state(front, clock):
    shown = front.saved(check(front, drop_to="140"))
    assert "Look for the leak with the plug in" in shown
    assert "Opening pressure, seat, chatter and spray are judged as ever" in shown
    due = re.search(r'<ul class="rig-due">.*?</ul>', shown, re.DOTALL)[0]
    assert "Age of the filter" in due
    assert "21 May 2026, in 78 days" in due
    clock[0] += timedelta(days=400)
    later = front.get("/rig")
    assert "No rig was checked today" in later
    assert "What it is today, nobody has looked" in later
    due = re.search(r'<ul class="rig-due">.*?</ul>', later, re.DOTALL)[0]
    assert "21 May 2026: run out" in due


def test_who_came_from_a_job_goes_back_there_with_the_rig_checked(front):
    job = front.book(sheet=front.add_sheet())
    back = f"/job/{job}"
    shown = front.get(f"/rig?back={back}")
    assert f'href="{back}"' in shown
    answer = front.send(f"/rig?back={back}", "/rig", **READ)
    shown = front.saved(answer)
    assert "Back to where you were" in shown
    assert f'href="{back}"' in shown
    assert "fit for use" in shown
    elsewhere = front.get("/rig?back=//else.where/")
    assert 'name="back"' not in elsewhere
    assert "Back to where you were" not in elsewhere


def test_a_withheld_verdict_leads_to_the_rig_and_back_to_its_test(front, desk):
    front.saved(check(front, drop_to="140"))  # 10 bar in a minute, where 3 are allowed
    shop, recordings = front.workshop, desk.DEMO / "recordings"
    job = front.book(sheet=front.add_sheet((desk.DEMO / "sheet.toml").read_bytes()))
    shop.tag(str(uuid.uuid4()), "A. N. Other", job, 1, "D-1")
    one = front.story(job).at_cylinder(1).injector
    shop.note(str(uuid.uuid4()), "A. N. Other", job, EntryKind.TAKEN_IN_HAND, injector=one)
    recorded = gzip.decompress((recordings / "3-found.csv.gz").read_bytes())
    recording = shop.evidence.keep(recorded, "csv")
    saved = str(uuid.uuid4())
    shop.test(saved, "A. N. Other", job, one, NewTest("as-found", recording, seen={"seat": "dry"}))
    at_gauge = f"/job/{job}/injector/{one}/gauge?step=as-found&saved={saved}"
    shown = front.get(at_gauge)
    assert "withheld" in shown
    to_rig = unescape(re.search(r'href="(/rig\?back=[^"]+)"', shown)[1])
    assert parse_qs(urlsplit(to_rig).query)["back"] == [at_gauge]
    assert f'href="{escape(at_gauge)}"' in front.get(to_rig)
    at_injector = front.get(f"/job/{job}/injector/{one}/step/as-found")
    assert quote_plus(f"/job/{job}/injector/{one}") in at_injector


def test_a_rig_with_no_instrument_offers_none(front):
    shown = front.get("/rig")
    assert "/rig/zero" not in shown
    assert "/rig/blank" not in shown
    assert "by eye and stopwatch" in front.get("/rig/zero")


def test_readings_of_one_day_are_none_of_the_next(front, clock):
    front.saved(check(front))
    clock[0] += timedelta(days=1)
    front.saved(front.send("/rig", "/rig", temperature="14", hold="kept"))
    assert "check" not in card_of(front)
    assert front.workshop.rig().body["state"] == "not checked"


def test_pressures_are_read_in_the_unit_of_the_screen(front):
    front.be(Here(who="A. N. Other", pressure_unit="MPa"))
    front.saved(
        check(front, openings="18,12 18.09", reference_from="15", reference_to="10", zero="0,03",
              drop_from="15", drop_to="14,85")
    )  # fmt: skip
    assert card_of(front)["check"]["opening_bar"] == [181.2, 180.9]
    assert card_of(front)["check"]["zero_bar"] == pytest.approx(0.3)


def test_a_compliance_from_bled_volumes_or_strokes(front):
    lines = "200 150 0.105\n200 100 0,213\n180;60;0.257"
    front.saved(check(front, volumes="bled", bled=lines, graduation="0,01"))
    kept = front.workshop.rig_days.check(front.workshop.rig())
    assert kept.compliance.value == pytest.approx(2.1e-14, rel=0.03)
    # The cylinder is known again the next time.
    assert 'name="graduation" value="0.01"' in front.get("/rig")
    strokes = "0 30 59.5 88.5 117 145 172.5"
    front.saved(check(front, volumes="strokes", strokes=strokes, piston_area="28,3",
                      travel="2.1", stroke_seconds="4"))  # fmt: skip
    kept = front.workshop.rig_days.check(front.workshop.rig())
    assert kept.compliance.value > 0.0


def test_a_recording_of_the_reference_nozzle_is_taken_as_a_file(front, desk):
    recording = (desk.DEMO / "recordings" / "1-found.csv.gz").read_bytes()
    files = {"reference_recording": ("reference.csv.gz", recording)}
    front.saved(check(front, files, reference="uploaded"))
    kept = front.workshop.rig_days.check(front.workshop.rig())
    assert kept.reference_opening.value == pytest.approx(200e5, rel=0.02)
    assert len(card_of(front)["check"]["recording"]) == 64


def test_charts_grow_and_stand_as_pictures_and_tables(front, clock):
    for day in range(9):
        clock[0] += timedelta(days=2)
        middle = 181.0 - 0.2 * day
        front.saved(check(front, openings=f"{middle:.1f} {middle + 0.1:.1f} {middle - 0.1:.1f}"))
    shown = front.get("/rig")
    assert shown.count('class="chart-picture"') == 4
    assert "It drifts down by" in shown
    assert "9 checks, the first 5 of them the baseline" in shown
    table = re.search(r"The numbers of the chart.*?</table>", shown, re.DOTALL)[0]
    assert len(re.findall(r'<th scope="row">\d+ Mar 2026', table)) == 9
    assert front.workshop.rig().body["state"] == "watch"


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"zero": "much"}, "zero"),
        ({"openings": "181 x"}, "openings"),
        ({"openings": "", "reference_seconds": ""}, "openings"),
        ({"reference_to": "160"}, "reference_to"),
        ({"reference": "uploaded"}, "reference_recording"),
        ({"reference": "recorded", "recorded_reference": "x"}, "reference"),
        ({"volumes": "bled", "bled": ""}, "bled"),
        ({"volumes": "bled", "bled": "200 150"}, "bled"),
        ({"volumes": "bled", "bled": "150 200 0.1"}, "bled"),
        ({"volumes": "bled", "bled": "200 150 0.1", "graduation": "-1"}, "graduation"),
        ({"volumes": "strokes", "strokes": "0 30", "piston_area": "28", "travel": "2"}, "strokes"),
        ({"volumes": "strokes", "strokes": "0 30 60", "piston_area": "", "travel": "2"},
         "piston_area"),
        ({"openings": "181 0"}, "openings"),
        ({"openings": "181 18,1"}, "openings"),
        ({"openings": "901 902"}, "openings"),
        ({"zero": "900"}, "zero"),
        ({"drop_from": "1500", "drop_to": "1485"}, "drop_from"),
        ({"reference_from": "900"}, "reference_from"),
        ({"volumes": "bled", "bled": "900 150 0.1"}, "bled"),
        ({"volumes": "strokes", "strokes": "0 300 900", "piston_area": "28", "travel": "2"},
         "strokes"),
    ],
)  # fmt: skip
def test_what_cannot_be_stands_beside_its_field_and_nothing_is_saved(front, desk, typed, field):
    before = front.workshop.rig().id
    answer = check(front, **typed)
    assert answer.status_code == 422
    assert desk.beside(answer.text, field)
    assert front.workshop.rig().id == before


def test_a_gauge_shows_up_to_its_end_and_no_more(front):
    """The demo card's gauge ends at 400 bar."""
    front.saved(check(front, drop_from="400", drop_to="398,5"))
    assert "goes to 400.0 bar" in text_of(check(front, drop_from="400.1", drop_to="398,5").text)


def text_of(html):
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", html)).split())


def test_a_card_of_a_day_that_has_not_come_is_refused(front):
    card = front.workshop.evidence.read(front.workshop.rig().conditions)
    later = re.sub(rb"changed_on = \d{4}", b"changed_on = 2062", card)
    answer = check(front, {"card": ("bench.toml", later)})

    assert answer.status_code == 422
    assert "filter.changed_on: 2062-02-20 has not come yet" in text_of(answer.text)


def test_a_card_that_does_not_say_how_finely_its_gauge_reads_is_told_so(front):
    says = "does not say how finely the gauge can be read"
    assert says not in text_of(front.get("/rig"))
    card = front.workshop.evidence.read(front.workshop.rig().conditions)
    coarse = re.sub(rb"resolution_bar = .*\n", b"", card)
    assert coarse != card
    front.saved(check(front, {"card": ("bench.toml", coarse)}))

    assert says in text_of(front.get("/rig"))


def test_checks_of_one_day_stand_beside_each_other_on_their_chart(front):
    for zero in ("0,1", "0,2", "0,3", "0,2", "0,1"):
        shown = front.saved(check(front, zero=zero))
    charts = re.findall(r'<figure class="card rig-chart">.*?</figure>', shown, re.DOTALL)
    (chart,) = (one for one in charts if "<b>Zero of the gauge</b>" in one)
    (line,) = re.findall(r'class="chart-line" points="([^"]+)"', chart)
    at = [float(point.partition(",")[0]) for point in line.split()]

    assert len(at) == 5
    assert at == sorted(set(at))
