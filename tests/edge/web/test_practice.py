"""Practice on the screen: a bench is worked over the line, read, decided on, and scored."""

from __future__ import annotations

import json
import re
import time
from uuid import uuid4

import numpy as np
import pytest
from websockets.exceptions import ConnectionClosed
from websockets.sync.client import connect

from nozzlewright.edge.web.app import create_app
from nozzlewright.edge.web.live_socket import NO_SUCH_BENCH
from nozzlewright.edge.wiring.practice import MOST_PLACES, PracticeRoom
from nozzlewright.errors import InputFault, NotAllowed
from nozzlewright.simulator import HoldAt, Idle, Release, SlowStrokes

pytestmark = pytest.mark.usefixtures("compiled_bench")

SPEED = 8.0


@pytest.fixture(autouse=True)
def unhurried(monkeypatch):
    """A sped-up bench leaves nothing out where the machine has much else to do."""
    monkeypatch.setattr("nozzlewright.edge.intake.live.pretend.MOST_AT_ONCE_S", 600.0)


@pytest.fixture
def shop(tmp_path, helper):
    made = helper("workflow/in_memory.py").workshop_in_memory(tmp_path)
    made.add_person("person", "A. P. Prentice", "A. P. Prentice")
    return made


@pytest.fixture
def room(shop):
    made = PracticeRoom(shop.clock, speed=SPEED)
    yield made
    made.close()


@pytest.fixture
def app(shop, room, web_settings):
    made = create_app(shop, web_settings)
    made.state.practice = room
    return made


@pytest.fixture
def apprentice(app, serve, browser):
    one = browser(serve(app))
    one.send("/settings", who="A. P. Prentice", language="en", pressure_unit="bar")
    return one


@pytest.fixture
def place(room):
    """A leaking seat, found at level 1."""
    return room.begin(1, name="leaking seat", rng=np.random.default_rng(5))


def bench(place, act=""):
    return f"/practice/bench/{place.key}{act}"


def post(apprentice, path, **said):
    headers = {"Origin": apprentice.address, "X-CSRF": apprentice.token()}
    return apprentice.client.post(path, json=said, headers=headers)


def worked(apprentice, place, script):
    """Record a script of acts."""
    apprentice.send(bench(place), bench(place, "/start"))
    place.instrument.play(script)
    assert place.instrument.wait_until_played(60)
    return apprentice.send(bench(place), bench(place, "/stop"))


def test_an_apprentice_begins_with_a_story_and_a_sheet_and_no_truth(apprentice, room):
    answer = apprentice.send("/practice", "/practice/begin", level="1")
    place = room.at(answer.headers["location"].rpartition("/")[2])
    page = apprentice.get(answer.headers["location"]).text
    assert place.case.story in page
    assert place.case.sheet.seat.printed.text in page
    words = re.sub(r"<svg.*?</svg>", "", page, flags=re.DOTALL)  # which have figures of their own
    for hidden in (place.case.why, f"{place.case.values['opening_pressure_pa'] / 1e5:.1f}"):
        assert str(hidden) not in words


def test_the_lever_is_worked_over_the_line_and_the_gauge_answers(apprentice, place):
    address = apprentice.address.replace("http", "ws")
    with connect(f"{address}/live/{place.key}", origin=apprentice.address) as socket:
        socket.send(json.dumps({"key": "slow"}))
        highest, until = 0.0, time.monotonic() + 60
        while highest < 100e5 and time.monotonic() < until:
            message = socket.recv(timeout=60.0)
            if isinstance(message, bytes):
                points = np.frombuffer(message, "<f4", offset=8).reshape(-1, 2)
                highest = max(highest, float(points[:, 1].max()))
        assert highest >= 100e5
        socket.send(json.dumps({"key": ""}))
        socket.send(json.dumps({"valve_open": False}))
        socket.send(json.dumps({"released": True}))
        while True:
            message = socket.recv(timeout=60.0)
            if isinstance(message, str):
                hand = json.loads(message)["hand"]
                if hand["released"] and not hand["valve_open"] and hand["lever"] == 0.0:
                    break
            assert time.monotonic() < until + 60


def test_nonsense_on_the_line_ends_nothing(apprentice, place):
    nonsense = ["[" * 1900, "{", "[]", "null", '{"key": ' + "[" * 900, "9" * 1900, '"\\ud800"',
                "", "\0", '{"key": {}}', '{"lever": 1e999}', '{"lever": NaN}', '{"lever": "x"}',
                '{"valve_open": 3}', b"\xff\xfe", b""]  # fmt: skip
    with connect(
        f"{apprentice.address.replace('http', 'ws')}/live/{place.key}", origin=apprentice.address
    ) as socket:
        for message in nonsense:
            socket.send(message)
        socket.send(json.dumps({"lever": 0.25}))
        until = time.monotonic() + 60
        while time.monotonic() < until:
            message = socket.recv(timeout=60.0)
            if isinstance(message, str) and json.loads(message)["hand"]["lever"] == 0.25:
                break
        else:
            pytest.fail("the line does not listen any more")


def test_what_was_recorded_is_read_like_any_recording(apprentice, place):
    worked(apprentice, place, (Idle(0.5), SlowStrokes(4), Idle(0.5)))
    page = apprentice.get(bench(place)).text
    shown = float(re.search(r"<strong>(\d+\.\d+)\s±", page)[1])
    assert shown == pytest.approx(place.case.values["opening_pressure_pa"] / 1e5, abs=3.0)


def test_the_eye_sees_only_where_it_looks_and_what_is_there(apprentice, place):
    assert post(apprentice, f"/live/{place.key}/look", at="spray").json() == {
        "picture": "",
        "words": "No oil came out in the last stroke.",
    }
    place.instrument.play((SlowStrokes(2), HoldAt(150e5, 12.0)))
    assert place.instrument.wait_until_played(60)
    seen = post(apprentice, f"/live/{place.key}/look", at="tip").json()
    assert seen == {"picture": "tip-drop", "words": "A drop hangs at the tip."}
    assert set(post(apprentice, f"/live/{place.key}/look", at="outside").json()) == {
        "picture",
        "words",
    }
    assert post(apprentice, f"/live/{place.key}/look", at="truth").status_code == 422


def test_another_shim_moves_the_opening_pressure_as_the_spring_says(apprentice, room):
    place = room.begin(1, name="good injector", rng=np.random.default_rng(4))
    with place.instrument.hands_on() as worked_bench:
        before = worked_bench.injector
    thicker_mm = place.shim_m * 1e3 + 0.10
    answer = apprentice.send(bench(place), bench(place, "/shim"), shim=f"{thicker_mm:.2f}")
    assert answer.status_code == 303
    with place.instrument.hands_on() as worked_bench:
        after = worked_bench.injector
    # Preload by spring rate and travel, over the area on which the pressure lifts.
    risen = before.spring_rate * 0.10e-3 / (before.guide_area - before.seat_area)
    assert after.opening_pressure_pa - before.opening_pressure_pa == pytest.approx(risen, rel=1e-6)
    assert f"In it now: {thicker_mm:.2f} mm" in apprentice.get(bench(place)).text


@pytest.mark.parametrize(("shim", "says"), [("", "nothing"), ("two", "number"), ("9", "5")])
def test_a_shim_that_cannot_be_is_told_beside_its_field(apprentice, place, shim, says):
    answer = apprentice.send(bench(place), bench(place, "/shim"), shim=shim)
    assert answer.status_code == 422
    beside = re.search(r'id="fault-shim-1">(.*?)</p>', answer.text, re.DOTALL)
    assert says in beside[1]


def test_a_shim_that_leaves_the_spring_slack_is_refused_at_its_field(place):
    with pytest.raises(InputFault, match="slack") as told:
        place.change_shim(-0.5e-3, "shim")
    assert [fault.where for fault in told.value.faults] == ["shim"]


def test_cleaning_cures_a_leaking_seat_and_shows_the_parts_as_they_were(apprentice, room):
    place = room.begin(1, name="leaking seat", rng=np.random.default_rng(2))
    apprentice.send(bench(place), bench(place, "/clean"))
    assert "The parts" in apprentice.get(bench(place)).text
    with place.instrument.hands_on() as worked_bench:
        assert worked_bench.injector.seat_leak_conductance == 0.0
    assert "cleaned" in [act.act for act in place.acts()]


def test_a_rig_that_is_made_tight_loses_nothing_and_an_earlier_hold_counts_no_more(
    apprentice, room
):
    place = room.begin(3, name="leaking rig", rng=np.random.default_rng(2))
    apprentice.send(bench(place), bench(place, "/mount"), what="plug")
    worked(apprentice, place, (HoldAt(160e5, 25.0), Release(1.0)))
    apprentice.send(bench(place), bench(place, "/mend"))
    with place.instrument.hands_on() as worked_bench:
        assert worked_bench.setup.rig.leak_conductance == 0.0
    apprentice.send(bench(place), bench(place, "/mount"), what="injector")
    worked(apprentice, place, (Idle(0.5), SlowStrokes(3), HoldAt(165e5, 30.0)))
    assert not place.tests[-1].findings.hold.rig_leak_taken_off


def test_no_spanner_while_a_recording_is_running(apprentice, place):
    apprentice.send(bench(place), bench(place, "/start"))
    for act in ("clean", "mend", "shim", "strip"):
        answer = apprentice.send(bench(place), bench(place, f"/{act}"), shim="1.5")
        assert answer.status_code == 409, act
        assert "Stop it before the line is undone" in answer.text
    assert "undone" not in [act.act for act in place.acts()]


def test_the_rig_is_checked_with_the_plug_and_its_leak_taken_off_later(apprentice, room):
    place = room.begin(3, name="leaking rig", rng=np.random.default_rng(2))
    apprentice.send(bench(place), bench(place, "/mount"), what="plug")
    assert "blank plug mounted" in apprentice.get(bench(place)).text
    worked(apprentice, place, (HoldAt(160e5, 25.0), Release(1.0)))
    apprentice.send(bench(place), bench(place, "/mount"), what="injector")
    worked(apprentice, place, (Idle(0.5), SlowStrokes(3), HoldAt(165e5, 40.0)))
    plug, injector = place.tests
    assert plug.with_plug
    assert injector.findings.hold.rig_leak_taken_off
    at_reference = injector.findings.hold.drop_time_at_reference
    low, high = at_reference.coverage_interval
    assert low < place.case.values["drop_at_reference_s"] < high


def test_nothing_is_undone_while_it_is_being_recorded(apprentice, place):
    apprentice.send(bench(place), bench(place, "/start"))
    for act, more in (("/mount", {"what": "plug"}), ("/strip", {})):
        refused = apprentice.send(bench(place), bench(place, act), **more)
        assert refused.status_code == 409
        assert "still running" in refused.text
    apprentice.send(bench(place), bench(place, "/stop"))
    apprentice.send(bench(place), bench(place, "/strip"))
    assert "carbon on the seat cone" in apprentice.get(bench(place)).text


def test_the_truth_stands_beside_the_decision_and_the_score_is_kept(apprentice, place, shop):
    true_bar = place.case.values["opening_pressure_pa"] / 1e5
    answer = apprentice.send(
        bench(place),
        bench(place, "/decide"),
        decision="rework",
        fault="leaking seat",
        opening=f"{true_bar:.1f}",
    )
    assert answer.status_code == 303, answer.text
    page = apprentice.get(answer.headers["location"]).text
    (score,) = shop.scores()
    assert score.draft.who == "A. P. Prentice"
    points = {part["name"]: part["points"] for part in score.body["parts"]}
    assert points["decision"] == 40
    assert points["fault"] == 25
    assert points["opening pressure"] == 15
    assert str(place.case.why) in page
    assert f"{score.body['points']} <small>of 100" in page
    history = apprentice.get("/practice").text
    assert f"/practice/score/{score.id}" in history
    assert "found" in history
    gone = apprentice.get(bench(place))
    assert gone.status_code == 409
    assert "This practice is over" in gone.text
    assert "It was decided, or broken off" in gone.text


def test_a_practice_that_a_restart_took_says_so_and_offers_another_of_its_level(
    apprentice, app, room, shop, place
):
    path = bench(place)
    app.state.practice = PracticeRoom(shop.clock, speed=SPEED)  # as after a start anew
    try:
        page = apprentice.get(path)
        assert page.status_code == 409
        assert "was started anew" in page.text
        assert "Another one of level 1" in page.text
        # Whatever is pressed on the page that is still open leads there too.
        for act in ("/strip", "/stop", "/decide", "/shim"):
            answer = apprentice.client.post(
                path + act,
                data={"csrf": apprentice.token(), "form_id": str(uuid4()), "decision": "fit"},
                headers={"Origin": apprentice.address},
            )
            assert answer.headers["location"] == path
        begun = apprentice.send(path, "/practice/begin", level="1")
        assert begun.headers["location"].startswith("/practice/bench/practice-1-")
        assert "Another one" not in apprentice.get("/practice/bench/practice-gone").text
    finally:
        app.state.practice.close()


def test_a_practice_that_was_left_alone_says_so(apprentice, room, place, monkeypatch):
    monkeypatch.setattr("nozzlewright.edge.wiring.practice.IDLE_S", -1.0)
    room.begin(1)
    monkeypatch.undo()
    assert "Nobody gave a sign" in apprentice.get(bench(place)).text


def test_a_line_to_a_bench_that_is_gone_is_closed_with_the_reason(apprentice, room, place):
    address = apprentice.address.replace("http", "ws")
    room.end(place.key)
    with connect(f"{address}/live/{place.key}", origin=apprentice.address) as socket:
        with pytest.raises(ConnectionClosed):
            socket.recv(timeout=30)
        assert socket.close_code == NO_SUCH_BENCH


def test_the_decision_needs_an_outcome_and_a_fault(apprentice, place):
    answer = apprentice.send(bench(place), bench(place, "/decide"), opening="20x")
    assert answer.status_code == 422
    assert answer.text.count("nothing has been chosen") >= 2
    assert 'value="20x"' in answer.text


def test_there_are_no_more_benches_than_the_machine_can_bear(room):
    for _ in range(MOST_PLACES):
        room.begin(1)
    with pytest.raises(NotAllowed, match="all pretend benches are taken"):
        room.begin(1)


def test_a_bench_that_nobody_attends_stands_still_and_makes_room(room, monkeypatch):
    places = [room.begin(1) for _ in range(MOST_PLACES)]
    left = places[0]
    left.touched_s -= 3600.0
    until, before = time.monotonic() + 60.0, -1.0
    while left.case.bench.now_s != before and time.monotonic() < until:
        before = left.case.bench.now_s
        time.sleep(0.5)
    assert left.case.bench.now_s == before
    assert room.begin(1).key != left.key
    assert room.at(left.key) is None
    assert not left.live.folder.exists()
