"""The rig of the day: temperature, hold with the blank plug, card; and what the check means."""

from __future__ import annotations

import re
import tomllib
import uuid
from datetime import UTC, datetime, timedelta

import pytest

from nozzlewright.edge.web.here import Here


@pytest.fixture
def desk(helper):
    return helper("edge/web/front_shop.py")


@pytest.fixture
def clock():
    return [datetime(2026, 3, 4, 9, tzinfo=UTC)]


@pytest.fixture
def front(desk, tmp_path, web_settings, serve, browser, clock):
    one = desk.front(tmp_path, web_settings, serve, browser, clock=lambda: clock[0])
    yield one
    one.shop.close()


def blank_of(desk):
    return (desk.DEMO / "recordings" / "blank-plug.csv").read_bytes()


def card_of(front):
    text = front.workshop.evidence.read(front.workshop.rig().conditions).decode()
    return text, tomllib.loads(text)


def check(front, page="/rig", **typed):
    return front.send(page, "/rig", **{"hold": "none", **typed})


def test_a_rig_without_a_card_is_described_and_checked_for_today(front, desk):
    shown = front.get("/rig")
    assert "No rig was checked today" in shown
    assert "goes through skin" in shown
    typed = {
        "rig_name": "invented rig 7",
        "gauge_name": "G-7",
        "gauge_range": "400",
        "gauge_class": "1,0",
        "gauge_step": "2,5",
        "temperature": "18,5",
        "uncertainty": "0.5",
        "remarks": "oil clear",
    }
    shown = front.saved(check(front, **typed))
    assert "Saved: invented rig 7 is checked for today" in shown
    assert "18.5 ± 1.0\N{NO-BREAK SPACE}°C" in shown  # 1.96 standard uncertainties
    assert "oil clear" in shown
    assert "Write on the card what the rig must keep" in shown
    assert re.search(r'chip-not-done".*?not judged', shown, re.DOTALL)
    assert 'href="/rig/card?rig=invented+rig+7&amp;open=limits"' in shown
    state = front.workshop.rig()
    assert (state.rig, state.temperature_c, state.blank) == ("invented rig 7", 18.5, "")
    known = front.workshop.readers.conditions(state.conditions)
    assert known.gauge.range_pa == pytest.approx(400e5)
    assert known.gauge.resolution_pa == pytest.approx(2.5e5)
    assert known.oil_temperature.standard_uncertainty == 0.5
    assert "nobody knows what the rig itself loses" in shown
    assert desk.beside(check(front, page="/rig?new=1", rig_name="").text, "rig_name")
    coarse = check(front, page="/rig?new=1", **typed | {"rig": "", "gauge_step": "400"})
    assert "not less than the range" in desk.beside(coarse.text, "gauge_step")


def test_the_card_keeps_its_remarks_and_facts_and_takes_the_temperature_of_the_day(front):
    front.check_rig()
    before, _ = card_of(front)
    front.saved(check(front, temperature="21.25", uncertainty="0.3"))
    text, card = card_of(front)
    assert text.startswith("# Invented, like all of this set.")
    assert card["fluid"]["temperature_c"] == 21.25
    assert card["fluid"]["temperature_u_c"] == 0.3
    assert card["sitting"] == {"date": "2026-03-04", "fitter": "A. N. Other"}
    assert "blank_plug" not in card
    old = tomllib.loads(before)
    for table in ("gauge", "rig", "window", "nozzle", "seat"):
        assert card[table] == old[table]
    front.saved(check(front))
    _, card = card_of(front)
    assert "temperature_c" not in card["fluid"]
    assert "oil temperature not taken" in front.get("/")


def test_a_hold_recorded_at_the_gauge_is_shown_and_saved_with_the_check(front, desk):
    front.check_rig()
    blank = front.workshop.evidence.keep(blank_of(desk), "csv")
    page = f"/rig?blank={blank}"
    shown = front.get(page)
    assert re.search(r'name="hold" value="recorded" checked', shown)
    assert "<polyline" in shown
    shown = front.saved(check(front, page, hold="recorded", temperature="14"))
    assert front.workshop.rig().blank == blank
    assert "the rig by itself loses" in shown
    assert "hold recorded" in shown
    _, card = card_of(front)
    assert card["blank_plug"] == {
        "recording": blank,
        "volume_cm3": 24.7,
        "volume_u_cm3": 0.4,
        "temperature_c": 14.0,
    }
    assert "blank hold recorded" in front.get("/")


def test_a_recording_that_is_a_file_is_read_before_it_is_kept(front, desk):
    front.check_rig()
    files = {"recording": ("blank-plug.csv", blank_of(desk))}
    front.saved(check(front, files=files, hold="uploaded", temperature="14"))
    blank = front.workshop.rig().blank
    assert front.workshop.evidence.read(blank) == blank_of(desk)
    for name, content in (
        ("blank.exe", blank_of(desk)),
        ("blank.csv", b"no figures at all\n"),
        ("blank.parquet", b"PAR1 not really"),
        ("blank.gz", b"\x1f\x8b broken"),
        ("../../blank.csv", b""),
    ):
        answer = check(front, files={"recording": (name, content)}, hold="uploaded")
        assert answer.status_code == 422, name
        assert desk.beside(answer.text, "recording"), name
    assert "no file has been chosen" in desk.beside(check(front, hold="uploaded").text, "recording")
    assert front.workshop.rig().blank == blank


def test_a_hold_timed_with_a_stopwatch_stands_on_the_card_in_bar(front, desk):
    front.check_rig()
    front.be(Here(who="A. N. Other", pressure_unit="MPa"))
    typed = {"drop_from": "20", "drop_to": "19,5", "drop_seconds": "60", "temperature": "14"}
    shown = front.saved(check(front, hold="timed", **typed))
    _, card = card_of(front)
    assert card["blank_plug"]["drop"] == {"from_bar": 200.0, "to_bar": 195.0, "seconds": 60.0}
    assert "recording" not in card["blank_plug"]
    assert front.workshop.rig().blank == ""
    assert "the rig by itself loses" in shown
    assert "blank hold timed" in front.get("/")
    answer = check(front, hold="timed", **typed | {"drop_to": "21"})
    assert "does not fall" in desk.beside(answer.text, "drop_to")


def test_an_old_hold_is_kept_only_when_that_is_chosen_and_counts_from_its_day(front, desk, clock):
    blank = front.workshop.evidence.keep(blank_of(desk), "csv")
    front.check_rig(blank=blank)
    clock[0] += timedelta(days=2)
    shown = front.get("/rig")
    assert "As made before" in shown
    assert "4 Mar 2026" in shown
    front.saved(check(front, hold="kept", temperature="30"))
    _, card = card_of(front)
    assert front.workshop.rig().blank == blank
    assert card["fluid"]["temperature_c"] == 30.0
    assert card["blank_plug"]["temperature_c"] == 14.0
    made = re.search(r"As made before<small><time[^>]*>([^<]+)", front.get("/rig"))[1]
    assert made.startswith("4 Mar 2026")
    front.saved(check(front, temperature="30"))
    assert front.workshop.rig().blank == ""
    assert "As made before" not in front.get("/rig")


def test_the_volume_with_the_plug_is_known_again_when_the_next_hold_is_made(front):
    front.check_rig()
    front.saved(check(front, temperature="15"))
    typed = {"drop_from": "200", "drop_to": "195", "drop_seconds": "60", "temperature": "15"}
    front.saved(check(front, hold="timed", **typed))
    _, card = card_of(front)
    assert card["blank_plug"]["volume_cm3"] == 24.7


def test_another_card_is_taken_in_or_refused_with_its_lines(front, desk):
    card = (desk.DEMO / "bench.toml").read_bytes()
    other = card.replace(b"invented rig D-R1", b"invented rig B")
    files = {"card": ("bench.toml", other)}
    front.saved(check(front, files=files, temperature="16"))
    assert front.workshop.rig().rig == "invented rig B"
    wrong = other.replace(b"range_bar = 400.0", b"range_bar = -1")
    answer = check(front, files={"card": ("bench.toml", wrong)}, temperature="16")
    assert answer.status_code == 422
    assert re.search(r"line \d+, gauge.range_bar", desk.beside(answer.text, "card"))
    answer = check(front, files={"card": ("bench.toml", b"not = = toml")}, temperature="16")
    assert "not valid TOML" in desk.beside(answer.text, "card")


def test_each_rig_has_its_own_card(front, desk):
    card = (desk.DEMO / "bench.toml").read_bytes()
    front.check_rig()
    other = card.replace(b"invented rig D-R1", b"invented rig B")
    front.workshop.check_rig(str(uuid.uuid4()), "A. N. Other", other)
    assert "invented rig D-R1" in front.get("/rig")
    front.saved(check(front, "/rig?rig=invented%20rig%20D-R1", temperature="12"))
    assert front.workshop.rig().rig == "invented rig D-R1"
    shown = front.get("/")
    assert "oil 12.0 °C" in shown
    assert "oil 14.0 °C" in shown


def test_a_temperature_that_no_oil_has_is_refused(front, desk):
    front.check_rig()
    for typed in ("290", "-60", "warm"):
        answer = check(front, temperature=typed)
        assert desk.beside(answer.text, "temperature")


def test_what_the_oil_does_is_said_in_plain_words(front):
    front.check_rig()
    shown = front.get("/rig")
    # 4.06 mm2/s at 20 °C and 2.6 mm2/s at 40 °C on the card, by ASTM D341 4.75 at 14 °C.
    assert "The oil is 1.8 times as thick as at 40 °C" in shown
