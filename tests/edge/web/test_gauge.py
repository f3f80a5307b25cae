"""The gauge on the screen: followed live, recorded, taken up again, saved, or typed by hand."""

from __future__ import annotations

import hashlib
import json
import re
import struct
import time
from datetime import timedelta
from html import unescape
from pathlib import Path
from urllib.parse import unquote
from uuid import uuid4

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from websockets.exceptions import ConnectionClosed, InvalidStatus
from websockets.sync.client import connect

from nozzlewright.edge.intake.live import FolderSpec
from nozzlewright.edge.web.app import create_app
from nozzlewright.edge.web.live_socket import frame, thinned
from nozzlewright.edge.wiring.inbox import Inbox
from nozzlewright.edge.wiring.practice import PretendBench
from nozzlewright.records import AS_FOUND, EntryKind
from nozzlewright.simulator import HoldAt, Idle, SlowStrokes, demo_injector

pytestmark = pytest.mark.usefixtures("compiled_bench")

FOUND = Path(__file__).parents[3] / "demo" / "six-in-line" / "recordings" / "1-found.csv.gz"
SPEED = 8.0
SLOW_STROKES = (Idle(0.5), SlowStrokes(4), Idle(0.5))


@pytest.fixture(autouse=True)
def unhurried(monkeypatch):
    """A sped-up bench leaves nothing out where the machine has much else to do."""
    monkeypatch.setattr("nozzlewright.edge.intake.live.pretend.MOST_AT_ONCE_S", 600.0)


@pytest.fixture
def in_memory(tmp_path, helper):
    (tmp_path / "evidence").mkdir()
    return helper("workflow/in_memory.py").workshop_in_memory(tmp_path / "evidence")


@pytest.fixture
def at(in_memory, tmp_path, helper, web_settings):
    """The demo set booked in, injector 1 in hand, a pretend injector behind a live gauge."""
    gauge_shop = helper("edge/web/gauge_shop.py").gauge_shop
    with gauge_shop(in_memory, web_settings, tmp_path / "recordings", SPEED) as made:
        yield made


@pytest.fixture
def fitter(at, serve, browser):
    """The fitter at a screen."""
    one = browser(serve(at.app))
    one.send("/settings", who="A. N. Other", language="en", pressure_unit="bar")
    return one


def played(at, script):
    at.instrument.play(script)
    assert at.instrument.wait_until_played(60)
    time.sleep(0.1)


def act(fitter, at, name, step="as-found", bench="bench 1", **more):
    return fitter.send(
        at.path(step),
        f"{at.path(step).partition('?')[0]}/{name}",
        step=step,
        bench=bench,
        **more,
    )


def recorded(fitter, at, script=SLOW_STROKES, step="as-found"):
    """Record what a hand does; return the page that asks what was seen."""
    assert act(fitter, at, "start", step).status_code == 303
    played(at, script)
    assert act(fitter, at, "stop", step).status_code == 303
    return fitter.get(at.path(step)).text


def recording_in(page):
    return re.search(r'name="recording" value="([^"]+)"', page)[1]


# -- the line -------------------------------------------------------------------------------------


def line(fitter, bench="bench%201", origin=None):
    address = fitter.address.replace("http", "ws")
    return connect(f"{address}/live/{bench}", origin=origin or fitter.address)


def next_of(kind, socket, until=lambda _: True):
    end = time.monotonic() + 90.0
    while time.monotonic() < end:
        message = socket.recv(timeout=60.0)
        if isinstance(message, kind):
            found = json.loads(message) if kind is str else message
            if until(found):
                return found
    raise AssertionError("it never came")


def test_a_page_gets_the_samples_with_the_time_of_day(fitter):
    with line(fitter) as socket:
        data = next_of(bytes, socket, lambda data: len(data) > 8)
    first = struct.unpack_from("<d", data)[0]
    points = np.frombuffer(data, "<f4", offset=8).reshape(-1, 2)
    assert abs(first - time.time()) < 60.0  # the sped-up bench runs ahead of the clock
    assert (np.diff(points[:, 0]) > 0).all()
    assert np.abs(points[:, 1]).max() < 2e5


def test_a_page_hears_of_each_opening_and_of_the_hold(fitter, at):
    act(fitter, at, "start")
    with line(fitter) as socket:
        at.instrument.play((*SLOW_STROKES, HoldAt(170e5, 60.0)))
        told = next_of(
            str,
            socket,
            lambda told: told["marks"] and told["marks"]["hold"] and told["marks"]["count"],
        )
    assert told["recording"]["id"].startswith(f"{at.job}--")
    assert all(195e5 < opened < 206e5 for _, opened, _ in told["marks"]["openings"])
    assert all(closed < opened - 2e5 for _, opened, closed in told["marks"]["openings"])
    assert told["marks"]["seat"]["wanted"] == 10.0
    assert told["marks"]["drop"]["from"] == pytest.approx(150e5)
    act(fitter, at, "stop")


def test_a_page_of_another_machine_gets_no_line(fitter):
    for origin in ("http://elsewhere.example", "null"):
        with (
            pytest.raises((InvalidStatus, ConnectionClosed)),
            line(fitter, origin=origin) as socket,
        ):
            socket.recv(timeout=60.0)


def test_a_bench_that_is_not_there_gets_no_line(fitter):
    with pytest.raises((InvalidStatus, ConnectionClosed)), line(fitter, "nowhere") as socket:
        socket.recv(timeout=60.0)


def test_a_page_that_says_nonsense_changes_nothing(fitter, at):
    with line(fitter) as socket:
        for message in ("{", "[]", '{"lever": 5}', "x" * 10_000, b"\x00\x01"):
            socket.send(message)
        assert next_of(str, socket)["bench"] == "bench 1"
    assert fitter.get(at.path()).status_code == 200


def test_a_lost_instrument_is_told_in_words_and_comes_back_by_itself(fitter, at):
    with line(fitter) as socket:
        next_of(str, socket, lambda told: told["up"])
        at.instrument.close()  # the lead is pulled
        lost = next_of(str, socket, lambda told: not told["up"])
        assert "goes on by itself" in lost["link"]
        next_of(str, socket, lambda told: told["up"])


@given(
    st.lists(st.floats(0, 400e5) | st.just(float("nan")), min_size=1, max_size=200),
    st.floats(0.001, 0.05),
)
def test_thinning_loses_no_peak_no_gap_and_not_the_last(pressures, span):
    time_s, pressure = 5.0 + 0.001 * np.arange(len(pressures)), np.array(pressures)
    at, kept = thinned(time_s, pressure, span)
    assert at[-1] == time_s[-1]
    assert np.isnan(kept).sum() == np.isnan(pressure).sum()
    assert (np.diff(at) > 0).all()
    if not np.isnan(pressure).all():
        assert np.nanmax(kept) == np.nanmax(pressure)
        assert np.nanmin(kept) == np.nanmin(pressure)
    spans = np.unique(np.floor((time_s - time_s[0]) / span)).size
    assert (~np.isnan(kept)).sum() <= 2 * spans + 1


def test_a_frame_keeps_the_time_to_a_tenth_of_a_millisecond():
    time_s = 1e6 + 0.001 * np.arange(16)
    data = frame(time_s, np.full(16, 200e5), 1.7e9)
    first = struct.unpack_from("<d", data)[0]
    points = np.frombuffer(data, "<f4", offset=8).reshape(-1, 2).astype(float)
    assert np.allclose(first + points[:, 0], time_s + 1.7e9, atol=1e-4, rtol=0)
    assert np.allclose(points[:, 1], 200e5, atol=2.0, rtol=0)


# -- recorded and saved ---------------------------------------------------------------------------


def test_a_recorded_test_is_saved_with_its_evidence_and_its_verdict_is_shown(fitter, at):
    page = recorded(fitter, at)
    assert "Opening pressure" in page
    assert re.search(r"<strong>200\.\d+\s±\s0\.\d+\sbar", page), page[-3000:]
    bytes_on_disk = next(at.folder.glob("*.csv")).read_bytes()
    saved = act(fitter, at, "save", recording=recording_in(page), seat="dry", spray="good")
    assert saved.status_code == 303
    test = at.one().tests[-1]
    assert test.body["recording"] == hashlib.sha256(bytes_on_disk).hexdigest()
    assert at.shop.evidence.read(test.body["recording"]) == bytes_on_disk
    assert test.body["seen"] == {"seat": "dry", "spray": "good"}
    assert test.body["summary"]["opening_pa"][0] == pytest.approx(200.3e5, abs=1e5)
    assert "as-found" in at.one().done
    shown = fitter.get(saved.headers["location"]).text
    outcome = at.one().verdicts[AS_FOUND].body["outcome"]
    assert outcome == "unfinished"
    assert outcome in shown
    assert "195 bar to 205 bar" in shown
    assert not list(at.folder.glob("*.csv"))


def test_a_repeated_tap_on_save_is_one_test(fitter, at):
    page = recorded(fitter, at)
    form = dict(re.findall(r'<input type="hidden" name="(\w+)"\s+value="([^"]*)"', page))
    where = f"{at.path().partition('?')[0]}/save"
    for _ in range(2):
        answer = fitter.client.post(where, data=form, headers={"Origin": fitter.address})
        assert answer.status_code == 303
    assert len(at.one().tests) == 1


def test_a_test_of_an_injector_that_is_not_in_hand_is_refused_and_its_recording_stays(fitter, at):
    from nozzlewright.records import EntryKind

    page = recorded(fitter, at)
    at.shop.note("lay", "A. N. Other", at.job, EntryKind.LAID_DOWN, injector=at.one().injector)
    refused = act(fitter, at, "save", recording=recording_in(page))
    assert refused.status_code == 409
    assert "not in hand" in refused.text
    assert recording_in(fitter.get(at.path()).text) == recording_in(page)


def test_a_page_that_is_opened_again_goes_on_with_the_recording(fitter, at):
    act(fitter, at, "start")
    assert re.search(r'id="start" hidden', fitter.get(at.path()).text)
    act(fitter, at, "start")  # a second tap, on another screen perhaps
    assert len(list(at.folder.glob("*.csv"))) == 1
    other = fitter.get(at.path("seat")).text
    assert re.search(r'id="stop" hidden', other)
    act(fitter, at, "stop")


def test_after_a_crash_the_recording_is_offered_as_far_as_it_goes(
    fitter, at, helper, serve, browser, web_settings
):
    act(fitter, at, "start")
    played(at, SLOW_STROKES)
    at.bench.stop()  # as a server that ends leaves it: unfinished
    again = helper("edge/web/gauge_shop.py").bench_at(at.folder, at.instrument)
    app = create_app(at.shop, web_settings)
    app.state.benches = {again.name: again}
    again.start()
    try:
        later = browser(serve(app))
        later.send("/settings", who="A. N. Other", language="en", pressure_unit="bar")
        offered = later.get(at.path()).text
        assert "cut short" in offered
        act(later, at, "finish", recording=recording_in(offered))
        kept = later.get(at.path()).text
        assert re.search(r"<strong>200\.\d+\s±\s0\.\d+\sbar", kept)
        act(later, at, "drop", recording=recording_in(kept))
        assert re.search(r'id="stop" hidden', later.get(at.path()).text)
        aside = list((at.folder / "laid-aside").iterdir())
        assert [one.stem for one in aside] == [recording_in(kept)]
        assert aside[0].stat().st_size > 10_000
    finally:
        again.stop()


def test_an_empty_recording_is_no_dead_end(fitter, at):
    at.instrument.close()
    at.instrument.read = lambda: time.sleep(0.02) or ()  # it answers with nothing
    act(fitter, at, "start")
    act(fitter, at, "stop")
    page = fitter.get(at.path()).text
    assert act(fitter, at, "drop", recording=recording_in(page)).status_code == 303


def test_a_name_that_leads_elsewhere_opens_no_file(fitter, at):
    for name in ("../evidence/x", "/etc/passwd", f"{at.job}--..", ""):
        for what in ("save", "finish", "drop"):
            assert act(fitter, at, what, recording=name).status_code in {409, 422}


def test_unknown_jobs_injectors_and_steps_are_not_found(fitter, at):
    one = at.one().injector
    for path in (
        f"/job/2026-9999/injector/{one}/gauge",
        f"/job/{at.job}/injector/nobody/gauge",
        at.path("strip"),
        at.path("as-found", "&saved=nothing"),
    ):
        assert fitter.get(path).status_code == 404


def test_without_an_instrument_the_readings_are_typed(fitter, at):
    at.app.state.benches = {}
    # There is nothing to watch, so the card is there at once.
    assert 'name="opening_1"' in fitter.get(at.path()).text
    page = fitter.get(at.path(more="&how=recorded")).text
    assert "No instrument is set up" in page
    assert "how=hand" in page


def test_where_no_rig_was_checked_today_the_gauge_says_so_and_leads_there(fitter, at, monkeypatch):
    assert "No rig was checked today" not in fitter.get(at.path("seat")).text
    tomorrow = at.shop.clock() + timedelta(days=1)
    monkeypatch.setattr(at.shop, "clock", lambda: tomorrow)
    page = fitter.get(at.path("seat")).text
    assert "No rig was checked today" in page
    way = unescape(re.search(r'href="(/rig\?back=[^"]+)"', page)[1])
    assert unquote(way.partition("back=")[2]) == at.path("seat")
    assert fitter.get(way).status_code == 200


# -- by hand --------------------------------------------------------------------------------------


def test_a_seat_hold_by_hand_counts_from_the_pops_on_its_own_card(fitter, at):
    page = fitter.get(at.path("seat", "&how=hand")).text
    assert 'name="opening_1"' in page
    margins = json.loads(unescape(re.search(r'data-margins="([^"]+)"', page)[1]))
    # NIST SP 811:2008, appendix B: 1 psi is 6894.757 Pa.
    assert margins["psi"] * 6894.757 == pytest.approx(margins["bar"] * 1e5, rel=1e-6)
    opening = 200.0
    held = f"{opening - margins['bar']:.1f}"
    saved = typed(
        fitter, at, "seat", opening_1="200", opening_2="199.8", opening_3="200.2",
        seat_from=held, seat_to=held, seat_seconds="10", seat="dry",
    )  # fmt: skip
    assert saved.status_code == 303
    assert "was not read" not in fitter.get(saved.headers["location"]).text


def test_readings_that_are_locked_say_so_before_a_card_is_filled(fitter, at):
    of_it = ("F. Itter", at.job)
    one = at.one().injector
    at.shop.see(str(uuid4()), *of_it, one, {"no_result": "needle seized"}, done="as-found")
    at.shop.note(str(uuid4()), *of_it, EntryKind.STRIPPED, injector=one)
    page = fitter.get(at.path("as-found", "&how=hand")).text
    assert "its as-found readings are locked" in page
    assert "lies apart" not in page
    assert 'name="opening_1"' not in page
    other = fitter.get(at.path("seat", "&how=hand")).text
    assert "lies apart" in other
    assert 'name="opening_1"' not in other


def typed(fitter, at, step="as-found", **values):
    path = at.path(step, "&how=hand")
    where = f"{path.partition('?')[0]}/hand"
    return fitter.send(
        path, where, form_page=path, step=step, **{"dial_unit": "bar", "division": "2", **values}
    )


def test_typed_readings_become_a_card_and_a_test(fitter, at):
    saved = typed(
        fitter,
        at,
        opening_1="199",
        opening_2="200,5",
        opening_3="200",
        closing_1="171",
        drop_from="150",
        drop_to="100",
        drop_seconds_1="24.3",
        seat_from="180",
        seat_to="176",
        seat_seconds="10",
        seat="damp",
    )
    assert saved.status_code == 303, saved.text
    test = at.one().tests[-1]
    card = at.shop.readers.hand_card(test.body["card"])
    assert card.opening_pa == pytest.approx((199e5, 200.5e5, 200e5))
    assert card.closing_pa == pytest.approx((171e5,))
    assert [(d.from_pa, d.to_pa, d.seconds) for d in card.drops] == [(150e5, 100e5, 24.3)]
    assert card.seat_hold.end_pa == pytest.approx(176e5)
    assert card.reading_resolution_pa == pytest.approx(0.5e5)  # half of half a division
    assert test.body["by_hand"] is True
    shown = fitter.get(saved.headers["location"]).text
    assert "199.0 to 200.5\xa0bar, 3 pops" in shown
    assert "24.3\xa0s" in shown


def test_drops_and_openings_that_were_counted_are_on_the_card_and_judged(fitter, at):
    form = fitter.get(at.path("back-leakage", "&how=hand")).text
    for name in ("leak_off_at", "leak_off_drops", "leak_off_seconds"):
        assert f'name="{name}"' in form
    assert 'name="count_1"' in fitter.get(at.path("chatter", "&how=hand")).text

    counted = {"leak_off_at": "150", "leak_off_drops": "12", "leak_off_seconds": "30"}
    saved = typed(fitter, at, count_1="14", count_2="13", chatter="clear", **counted)
    assert saved.status_code == 303, saved.text
    test = at.one().tests[-1]
    card = at.shop.readers.hand_card(test.body["card"])
    assert card.openings_per_stroke == (14, 13)
    assert (card.leak_off.pressure_pa, card.leak_off.drops, card.leak_off.seconds) == (
        pytest.approx(150e5), 12, 30.0,
    )  # fmt: skip
    sitting = at.shop.sitting(at.one(), "as found")
    assert sitting.seen.seat_watch.leak_off_drops == 12
    assert sitting.seen.leak_off_pa == pytest.approx(150e5)
    assert sitting.gauge.chatter.openings_per_stroke.value == pytest.approx(13.5)
    assert "12 in 30\xa0s" in fitter.get(f"/job/{at.job}/story").text.replace("30 s", "30\xa0s")


def test_a_dial_in_psi_is_read_in_psi(fitter, at):
    saved = typed(fitter, at, "re-read", dial_unit="psi", division="50", opening_1="2900")
    assert saved.status_code == 303, saved.text
    card = at.shop.readers.hand_card(at.one().tests[-1].body["card"])
    psi = 0.45359237 * 9.80665 / 0.0254**2  # NIST SP 811:2008, appendix B
    assert card.opening_pa == pytest.approx((2900 * psi,), rel=1e-6)


@pytest.mark.parametrize(
    ("values", "says"),
    [
        ({}, "no reading has been typed"),
        ({"opening_1": "2..5"}, "is not a number"),
        ({"opening_1": "200", "division": ""}, "nothing has been entered"),
        ({"opening_1": "200", "division": "0"}, "the division is zero"),
        ({"opening_1": "200", "closing_1": "210"}, "does not close below"),
        ({"drop_seconds_1": "12", "drop_from": "100", "drop_to": "150"}, "does not fall"),
        ({"seat_from": "180", "seat_to": "190", "seat_seconds": "9"}, "rises in the hold"),
        ({"seat_from": "180"}, "nothing has been entered"),
        ({"opening_1": "200", "dial_unit": "furlong"}, "nothing has been chosen"),
        ({"leak_off_drops": "4.5", "leak_off_at": "150", "leak_off_seconds": "9"}, "no whole"),
        ({"leak_off_drops": "4", "leak_off_at": "150", "leak_off_seconds": "0"}, "time is zero"),
        ({"count_1": "1000"}, "is out of bounds"),
        ({"opening_1": "2005"}, "more than the rig"),
        ({"opening_1": "200", "seat_from": "1800", "seat_seconds": "10"}, "more than the rig"),
        ({"drop_seconds_1": "12", "drop_from": "1500", "drop_to": "100"}, "more than the rig"),
        ({"opening_1": "200", "opening_2": "20,1"}, "too far apart"),
    ],
)
def test_a_slip_in_what_was_typed_is_told_beside_the_field_and_nothing_is_written(
    fitter, at, values, says
):
    answer = typed(fitter, at, **values)
    assert answer.status_code == 422
    assert says in answer.text
    for name, value in values.items():
        if name != "dial_unit" and value:
            assert f'name="{name}" value="{value}"' in answer.text
    assert at.one().tests == []


# -- the blank plug -------------------------------------------------------------------------------


def test_the_hold_with_the_blank_plug_goes_to_the_rigs_page(fitter, at):
    with at.instrument.hands_on() as bench:
        bench.mount_plug()
    fitter.send("/rig/blank", "/rig/blank/start", bench="bench 1")
    assert re.search(r'id="start" hidden', fitter.get("/rig/blank").text)
    played(at, (HoldAt(160e5, 20.0),))
    answer = fitter.send("/rig/blank", "/rig/blank/stop", bench="bench 1")
    digest = re.fullmatch(r"/rig\?blank=([0-9a-f]{64})", answer.headers["location"])[1]
    assert at.shop.readers.recording(digest).duration_s > 20.0
    assert not list(at.folder.glob("*.csv"))


def test_the_reference_nozzle_goes_to_the_rigs_page_by_the_same_way(fitter, at):
    shown = fitter.get("/rig/reference").text
    assert "mount the reference nozzle" in shown
    fitter.send("/rig/reference", "/rig/reference/start", bench="bench 1")
    # The page of the plug does not take it for its own.
    assert not re.search(r'id="start" hidden', fitter.get("/rig/blank").text)
    assert re.search(r'id="start" hidden', fitter.get("/rig/reference").text)
    played(at, (Idle(0.5), SlowStrokes(2), Idle(0.5)))
    answer = fitter.send("/rig/reference", "/rig/reference/stop", bench="bench 1")
    digest = re.fullmatch(r"/rig\?reference=([0-9a-f]{64})", answer.headers["location"])[1]
    shown = fitter.get(answer.headers["location"]).text
    assert re.search(r'name="reference" value="recorded" checked', shown)
    assert f'name="recorded_reference" value="{digest}"' in shown
    assert fitter.get("/rig/elsewhere").status_code in {404, 422}


def test_the_zero_is_taken_from_a_recording_at_rest_unless_a_number_is_typed(fitter, at):
    assert "without touching the lever" in fitter.get("/rig/zero").text
    fitter.send("/rig/zero", "/rig/zero/start", bench="bench 1")
    played(at, (Idle(4.0),))
    answer = fitter.send("/rig/zero", "/rig/zero/stop", bench="bench 1")
    path = answer.headers["location"]
    digest = re.fullmatch(r"/rig\?zero=([0-9a-f]{64})", path)[1]
    assert f'name="recorded_zero" value="{digest}"' in fitter.get(path).text
    form = {"rig_name": "invented rig", "hold": "none"}
    fitter.send(f"{path}&new=1", "/rig", **form)
    shop = at.shop
    recording = shop.readers.recording(digest)
    check = shop.rig_days.check(shop.rig())
    assert check.zero.value == pytest.approx(float(recording.pressure_pa.mean()))
    assert abs(check.zero.value) < 5e5
    assert digest.encode() in shop.evidence.read(shop.rig().conditions)
    fitter.send(f"{path}&rig=invented+rig", "/rig", **form, zero="0.4")
    assert shop.rig_days.check(shop.rig()).zero.value == pytest.approx(0.4e5)
    lost = fitter.send(f"{path}&rig=invented+rig", "/rig", **form, recorded_zero="f" * 64)
    assert lost.status_code == 422
    assert 'id="fault-zero-1"' in lost.text


# -- recordings that are files --------------------------------------------------------------------


@pytest.fixture
def inbox(at, tmp_path):
    """A drop folder with a good recording of the demo set, and a bad one."""
    drop = tmp_path / "drop"
    drop.mkdir()
    (drop / "good.csv.gz").write_bytes(FOUND.read_bytes())
    (drop / "bad.csv").write_text("pressure\nnone\n")
    spec = FolderSpec("logger", drop, 0.01)
    made = at.app.state.inbox = Inbox(tmp_path / "from-files", at.shop.evidence, (spec,))
    for _ in range(2):
        made.drop_folders[0].look()
        time.sleep(0.05)
    return made


def digest_in(page):
    (digest,) = re.findall(r'name="digest" value="([0-9a-f]{64})"', page)
    return digest


def test_without_an_inbox_no_file_is_asked_for(fitter, at):
    at.app.state.inbox = None
    assert "how=file" not in fitter.get(at.path()).text
    assert act(fitter, at, "take", digest="0" * 64).status_code == 404


def test_a_recording_from_the_drop_folder_becomes_this_test(fitter, at, inbox):
    page = fitter.get(at.path(more="&how=file")).text
    assert "good.csv.gz" in page
    assert "It cannot be read" in page
    digest = digest_in(page)
    assert act(fitter, at, "take", digest=digest).status_code == 303
    page = fitter.get(at.path()).text
    assert "Taken from a file" in page
    assert "Opening pressure" in page
    named = {"bench": inbox.name, "recording": recording_in(page)}
    saved = act(fitter, at, "save", seat="dry", **named)
    assert saved.status_code == 303, saved.text
    assert at.one().tests[-1].body["recording"] == digest
    assert digest == hashlib.sha256(FOUND.read_bytes()).hexdigest()
    assert at.shop.evidence.path(digest).suffix == ".gz"
    assert "good.csv.gz" not in fitter.get(at.path(more="&how=file")).text
    assert act(fitter, at, "take", digest=digest).status_code == 409


def test_a_file_is_sent_read_and_left_aside(fitter, at, inbox):
    sent = {"file": ("found.csv.gz", FOUND.read_bytes())}
    assert act(fitter, at, "file", files=sent).status_code == 303
    page = fitter.get(at.path()).text
    assert "Taken from a file" in page
    named = {"bench": inbox.name, "recording": recording_in(page)}
    dropped = act(fitter, at, "drop", **named)
    assert dropped.headers["location"].endswith("how=file")
    assert "Taken from a file" not in fitter.get(at.path()).text
    assert at.one().tests == []


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("", b"", "no file has been chosen"),
        ("a.exe", b"MZ", "no recording that can be read"),
        ("a.csv", b"\0\1\2\3", ""),
        ("a.parquet", b"PAR1....", ""),
    ],
)
def test_a_file_that_is_no_recording_is_told_beside_its_field(
    fitter, at, inbox, name, content, says
):
    gauge = at.path().partition("?")[0]
    files = {"file": (name, content)} if name else None
    answer = fitter.send(f"{gauge}?how=file", f"{gauge}/file", step="as-found", files=files)
    assert answer.status_code == 422
    beside = re.search(r'id="fault-file-1">(.*?)</p>', answer.text, re.DOTALL)
    assert beside
    assert says in beside[1]


def test_a_recording_from_the_drop_folder_is_taken_to_the_rigs_page(fitter, at, inbox):
    digest = digest_in(fitter.get("/rig/blank").text)
    taken = fitter.send("/rig/blank", "/rig/blank/take", digest=digest)
    assert taken.headers["location"] == f"/rig?blank={digest}"
    assert "good.csv.gz" not in fitter.get("/rig/blank").text


# -- a bench that is worked from the screen -------------------------------------------------------


@pytest.fixture
def pretend(at):
    """A bench beside the other one, worked from the screen."""
    bench = PretendBench("pretend", lambda: at.instrument, at.folder / "pretend", at.shop.clock)
    at.app.state.benches["pretend"] = bench
    return bench


def test_a_pretend_bench_is_worked_at_the_gauge_itself(fitter, at, pretend):
    assert "data-pump" not in fitter.get(at.path(more="&bench=bench+1")).text
    page = fitter.get(at.path(more="&bench=pretend")).text
    assert "data-pump" in page
    assert "What this gauge shows is invented." in page
    with line(fitter, "pretend") as socket:
        socket.send(json.dumps({"valve_open": False}))
        told = next_of(str, socket, lambda told: not told["hand"]["valve_open"])
    assert told["hand"]["released"] is False
    headers = {"Origin": fitter.address, "X-CSRF": fitter.token()}
    seen = fitter.client.post("/live/pretend/look", json={"at": "outside"}, headers=headers)
    assert seen.json()["words"] == "All joints look dry."
    blind = fitter.client.post("/live/bench%201/look", json={"at": "outside"}, headers=headers)
    assert blind.status_code == 409


def test_a_pretend_bench_holds_the_injector_in_hand(fitter, at, pretend):
    fitter.get(at.path(more="&bench=bench+1"))
    with at.instrument.hands_on() as bench:
        assert bench.injector.opening_pressure_pa == pytest.approx(200e5)
    fitter.get(at.path(more="&bench=pretend"))
    with at.instrument.hands_on() as bench:
        assert bench.injector == demo_injector(at.one().cylinder)


def test_plug_and_injector_change_places_at_a_pretend_bench_and_at_no_other(fitter, at, pretend):
    path = "/rig/blank?bench=pretend"
    assert "injector mounted" in fitter.get(path).text
    answer = fitter.send(path, "/rig/blank/mount", bench="pretend", what="plug")
    assert answer.headers["location"] == path
    assert "blank plug mounted" in fitter.get(path).text
    assert "blank plug mounted" in fitter.get(at.path(more="&bench=pretend")).text
    mount = f"{at.path().partition('?')[0]}/mount"
    asked = {"step": "as-found", "what": "injector"}
    assert fitter.send(at.path(), mount, bench="bench 1", **asked).status_code == 409
    assert not pretend.hand.mounted
    assert fitter.send(at.path(), mount, bench="pretend", **asked).status_code == 303
    assert pretend.hand.mounted
    pretend.start()
    pretend.start_recording("blank--1", at.shop.readers.conditions(at.shop.rig().conditions))
    try:
        refused = fitter.send(path, "/rig/blank/mount", bench="pretend", what="plug")
        assert refused.status_code == 409
        assert "Stop it before the line is undone" in refused.text
        until = time.monotonic() + 60.0
        while not pretend.status().samples and time.monotonic() < until:
            time.sleep(0.02)
    finally:
        pretend.stop_recording()
        pretend.stop()
