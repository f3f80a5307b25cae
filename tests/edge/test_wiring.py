from __future__ import annotations

import json
import shutil
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from nozzlewright.bench import TipGrade
from nozzlewright.edge import wiring
from nozzlewright.edge.intake import read_conditions, read_recording
from nozzlewright.errors import InputFault
from nozzlewright.measurement import NotMeasured, Quantity
from nozzlewright.simulator import random_session

DEMO = Path(__file__).parents[2] / "demo" / "six-in-line"


# -- the pretend bench ------------------------------------------------------------------------


@pytest.fixture(scope="module")
def leaking_rig(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("sessions")
    wiring.simulate_sessions(folder, "leaking rig", 2, 4)
    return folder


def test_a_session_comes_with_its_conditions_its_plug_and_its_truth(leaking_rig):
    for name in ("session-001", "session-002"):
        files = {path.name for path in (leaking_rig / name).iterdir()}
        assert files == {"recording.csv", "bench.toml", "blank-plug.csv", "truth.json"}


def test_the_recording_on_disk_is_the_one_that_was_played(leaking_rig):
    drawn = random_session(np.random.default_rng([4, 1]), "leaking rig")
    recording = read_recording(leaking_rig / "session-002" / "recording.csv")

    assert np.array_equal(recording.time_s, np.round(drawn.session.time_s, 6))
    assert recording.pressure_pa == pytest.approx(drawn.session.pressure_pa, abs=51.0)


def test_the_truth_on_disk_says_its_kind_and_what_was_true(leaking_rig):
    truth = json.loads((leaking_rig / "session-001" / "truth.json").read_text("utf-8"))

    assert truth["kind"] == "leaking rig"
    assert truth["static_opening_pressure_pa"] > 50e5
    assert truth["openings"]


def test_a_session_is_read_with_its_conditions_and_comes_near_its_truth(leaking_rig):
    place = leaking_rig / "session-001"
    truth = json.loads((place / "truth.json").read_text("utf-8"))
    (drop,) = truth["drop_times"]

    found = wiring.read_file(place / "recording.csv").findings

    at_reference = found.hold.drop_time_at_reference
    assert at_reference.value == pytest.approx(drop["at_reference_s"], rel=0.05)
    assert isinstance(found.hold.rig_conductance, Quantity)


def test_a_session_is_the_same_however_many_are_asked_for(leaking_rig, tmp_path):
    wiring.simulate_sessions(tmp_path, "leaking rig", 1, 4)

    for name in ("recording.csv", "bench.toml", "truth.json", "blank-plug.csv"):
        one, two = (folder / "session-001" / name for folder in (tmp_path, leaking_rig))
        assert one.read_bytes() == two.read_bytes(), name


def test_everything_wrong_with_an_order_of_sessions_is_said_at_once(tmp_path):
    with pytest.raises(InputFault) as caught:
        wiring.simulate_sessions(tmp_path, "haunted", 0, -1)

    said = str(caught.value)
    assert "'haunted'" in said
    assert "worn guide" in said
    assert {fault.where for fault in caught.value.faults} == {"--kind", "--number", "--seed"}
    assert not list(tmp_path.iterdir())


def test_somebody_who_waits_is_told_how_far_it_is(tmp_path):
    told = []
    wiring.simulate_sessions(tmp_path, "hold cut short", 2, 1, told.append)

    assert told == ["playing session 1 of 2", "playing session 2 of 2"]


# -- reading one file -------------------------------------------------------------------------


def test_a_recording_of_a_set_is_read_with_what_the_set_says_of_its_test():
    found = wiring.read_file(DEMO / "recordings" / "4-found.tsv.gz").findings

    assert found.seat_hold.watch.grade is TipGrade.DROP
    assert isinstance(found.hold.guide_clearance, NotMeasured)


def test_a_card_of_a_set_is_read_with_its_own_dial_and_sitting():
    found = wiring.read_file(DEMO / "cards" / "4-left.toml").findings

    assert found.by_hand
    causes = {(cause.name, cause.scope) for cause in found.opening_pressure.contributions}
    assert ("gauge level", "invented sitting 2") in causes


def test_stated_conditions_win_over_those_of_the_set(tmp_path):
    bench = tmp_path / "other.toml"
    bench.write_text("[gauge]\nrange_bar = 400\nclass = 1.6\n", encoding="utf-8")

    found = wiring.read_file(DEMO / "recordings" / "1-found.csv.gz", bench).findings

    assert found.opening_pressure.standard_uncertainty > 3e5
    assert isinstance(found.hold, NotMeasured) or isinstance(
        found.hold.drop_time_at_reference, NotMeasured
    )


def test_conditions_beside_a_recording_are_found(tmp_path):
    shutil.copy(DEMO / "recordings" / "1-found.csv.gz", tmp_path)
    without = wiring.read_file(tmp_path / "1-found.csv.gz").findings
    (tmp_path / "bench.toml").write_text("[gauge]\nrange_bar = 400\nclass = 1.6\n", "utf-8")
    beside = wiring.read_file(tmp_path / "1-found.csv.gz").findings

    assert any(caution.name == "gauge unknown" for caution in without.opening_pressure.cautions)
    assert not any(caution.name == "gauge unknown" for caution in beside.opening_pressure.cautions)


def test_a_recording_that_no_set_names_is_not_given_a_set_s_conditions(tmp_path):
    shutil.copytree(DEMO, tmp_path / "set")
    shutil.copy(
        DEMO / "recordings" / "1-found.csv.gz", tmp_path / "set" / "recordings" / "9.csv.gz"
    )

    found = wiring.read_file(tmp_path / "set" / "recordings" / "9.csv.gz").findings

    assert any(caution.name == "gauge unknown" for caution in found.opening_pressure.cautions)


def test_hand_readings_cannot_be_drawn(tmp_path):
    reading = wiring.read_file(DEMO / "cards" / "4-left.toml")

    with pytest.raises(InputFault, match="no trace to draw"):
        wiring.plot_reading(reading, tmp_path / "out.svg")


# -- the report -------------------------------------------------------------------------------


def test_a_report_that_cannot_be_written_says_where_and_what_to_do(tmp_path):
    taken = tmp_path / "taken"
    taken.write_text("a file, not a folder", encoding="utf-8")
    folder = wiring.judge_folder(DEMO, date(2026, 1, 20))

    with pytest.raises(InputFault, match=r"taken.*cannot be made.*Name a folder"):
        wiring.write_report(folder, taken, "a4")


def test_json_refuses_what_strict_json_does_not_know():
    with pytest.raises(ValueError, match="JSON"):
        wiring.as_json({"value": float("nan")})
    assert wiring.as_json({"unit": "µm"}, ascii_only=True).isascii()
    assert json.loads(wiring.as_json({"unit": "µm"}, ascii_only=True)) == {"unit": "µm"}


def test_the_demo_set_s_conditions_are_those_of_its_bench_toml():
    conditions = read_conditions(DEMO / "bench.toml")

    assert conditions.oil_temperature.value == pytest.approx(273.15 + 14.0)
    assert conditions.blank_plug.recording == "recordings/blank-plug.csv"
