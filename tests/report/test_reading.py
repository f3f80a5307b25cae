from __future__ import annotations

import json
import math
import re
from dataclasses import replace
from pathlib import Path

import pytest

from nozzlewright.measurement import Cause, Caution, NotMeasured, Quantity
from nozzlewright.report import reading_as_data, reading_as_text

QUANTITY = {
    "value": float,
    "standard_uncertainty": float,
    "unit": str,
    "interval_95": list,
    "method": str,
    "cautions": list,
    "budget": list,
}
UNITS = {"bar", "s", "um", "mm3/(s bar)", "1/s", "Hz", "1"}


def _assert_measured(entry) -> None:
    """Check one value against the table of docs/reference/reading-json.md."""
    if "not_measured" in entry:
        assert set(entry) == {"not_measured", "remedy"}
        assert isinstance(entry["not_measured"], str)
        assert entry["not_measured"]
        return
    assert {key: type(value) for key, value in entry.items()} == QUANTITY
    assert entry["unit"] in UNITS
    assert entry["standard_uncertainty"] >= 0.0
    low, high = entry["interval_95"]
    assert low is None or high is None or low <= entry["value"] <= high
    for part in entry["budget"]:
        assert set(part) == {
            "cause",
            "standard_uncertainty",
            "share_of_variance",
            "even_within_a_bound",
            "degrees_of_freedom",
        }
    parts = [part["standard_uncertainty"] for part in entry["budget"]]
    assert math.hypot(*parts) == pytest.approx(entry["standard_uncertainty"], rel=1e-9, abs=1e-15)


def _assert_reading(data) -> None:
    json.dumps(data, allow_nan=False)
    assert set(data) == {
        "schema", "source", "digest", "by_hand", "opening_pressure", "closing_pressure",
        "second_opening_pressure", "openings", "strokes", "hold", "seat_hold", "chatter",
        "cautions", "history",
    }  # fmt: skip
    assert data["schema"] == "nozzlewright/reading/1"
    for name in ("opening_pressure", "closing_pressure", "second_opening_pressure"):
        _assert_measured(data[name])
    for opening in data["openings"]:
        assert set(opening) == {
            "time_s", "lift_off_bar", "closing_bar", "fall_bar", "rise_rate_bar_per_s", "stroke",
        }  # fmt: skip
    for stroke in data["strokes"]:
        assert set(stroke) == {
            "index", "start_s", "end_s", "kind", "rise_rate_bar_per_s", "openings",
        }  # fmt: skip
        assert stroke["kind"] in {"fill", "slow", "fast"}
    hold = data["hold"]
    for name in ("drop_time_as_shown", "drop_time_at_reference", "guide_clearance"):
        _assert_measured(hold[name])
    if "not_measured" not in hold:
        for name in ("decay_rate", "leakage_conductance", "rig_conductance", "settling"):
            _assert_measured(hold[name])
        assert hold["start_bar"] > hold["end_bar"]
    if "not_measured" not in data["seat_hold"]:
        for name in ("start_pressure", "mean_pressure", "fall", "duration", "margin_below_opening"):
            _assert_measured(data["seat_hold"][name])
        assert data["seat_hold"]["grade"] in {None, "dry", "damp", "drop"}
    if "not_measured" not in data["chatter"]:
        for name in ("openings_per_stroke", "rate", "regularity"):
            _assert_measured(data["chatter"][name])


def test_a_full_recording_gives_data_of_the_documented_form(invented):
    data = reading_as_data(invented.invented_findings())

    _assert_reading(data)
    assert len(data["openings"]) == 35
    assert data["opening_pressure"]["value"] == pytest.approx(175.0)
    assert data["opening_pressure"]["unit"] == "bar"
    assert data["hold"]["guide_clearance"]["interval_95"] == pytest.approx([2.1, 3.2])
    assert data["hold"]["window_from_bar"] == pytest.approx(150.0)
    assert data["seat_hold"]["leak_off_drops"] == 2


def test_hand_readings_give_data_of_the_same_form_with_reasons_for_what_is_missing(invented):
    data = reading_as_data(invented.hand_findings())

    _assert_reading(data)
    assert data["by_hand"] is True
    assert data["hold"]["not_measured"] == "no hold was written down"
    assert data["hold"]["drop_time_at_reference"] == {
        "not_measured": "no hold was written down",
        "remedy": "time the fall from 150 to 100 bar",
    }


def test_numbers_in_the_data_are_not_rounded(invented):
    findings = replace(
        invented.hand_findings(),
        opening_pressure=Quantity(174.123456789e5, "Pa", {Cause("x"): 1.23456789e4}),
    )

    opening = reading_as_data(findings)["opening_pressure"]

    assert opening["value"] == pytest.approx(174.123456789, rel=1e-14)
    assert opening["standard_uncertainty"] == pytest.approx(0.123456789, rel=1e-14)


def test_data_stay_strict_json_where_a_closing_or_an_end_of_an_interval_is_not_known(invented):
    findings = invented.invented_findings()
    unknown = replace(findings.openings[0], closing_pa=math.nan, rise_rate_pa_per_s=math.inf)
    endless = Quantity(9e5, "Pa", {Cause("x"): 1e5}, interval=(8e5, math.inf))

    data = reading_as_data(replace(findings, openings=(unknown,), closing_pressure=endless))

    json.dumps(data, allow_nan=False)
    assert data["openings"][0]["closing_bar"] is None
    assert data["openings"][0]["fall_bar"] is None
    assert data["closing_pressure"]["interval_95"] == [pytest.approx(8.0), None]


def test_every_key_of_the_data_is_described_in_the_reference(invented):
    page = Path(__file__).parents[2] / "docs" / "reference" / "reading-json.md"
    described = set(re.findall(r"`([a-z0-9_]+)`", page.read_text(encoding="utf-8")))

    def keys(value):
        if isinstance(value, dict):
            for key, inner in value.items():
                yield key
                yield from keys(inner)
        elif isinstance(value, list):
            for inner in value:
                yield from keys(inner)

    data = [invented.invented_findings(), invented.hand_findings()]
    used = {key for findings in data for key in keys(reading_as_data(findings))}

    assert used - described == set()


def test_the_summary_puts_a_unit_on_every_number_and_a_reason_on_what_is_missing(invented):
    text = reading_as_text(invented.invented_findings())

    assert "175.0 ± 2.4 bar" in text
    assert "9.40 ± 0.13 s" in text
    assert "2.93 µm (2.10 to 3.20 µm)" in text
    assert "6.00 ± 0.59 per stroke" in text
    assert "3 fill, 5 slow, 5 fast" in text
    assert "compression heat" in text
    assert "not measured, because the holder has one spring" in text
    for number in re.findall(r"± ?[\d.]+ ?(\S*)", text):
        assert number.strip("();,") in {
            "bar", "s", "1/s", "mm³/(s·bar", "Hz", "%", "per", "U", "um", "µm",
        }, number  # fmt: skip


def test_the_summary_says_what_to_do_about_a_value_that_is_missing(invented):
    text = reading_as_text(invented.hand_findings())

    assert "not measured, because no hold was written down" in text
    assert "to have it: time the fall from 150 to 100 bar" in text
    assert "hand readings" in text


def test_few_openings_are_listed_one_by_one_with_time_and_pressure(invented):
    findings = invented.invented_findings()

    text = reading_as_text(replace(findings, openings=findings.openings[:5]))

    assert text.count("lift-off") == 5
    assert "closing  141.0 bar" in text


def test_no_control_sign_from_a_file_name_reaches_the_terminal(invented):
    findings = replace(invented.invented_findings(), source="a\x1b[2J\x07.csv\nOpening 1 bar")

    text = reading_as_text(findings)

    assert "\x1b" not in text
    assert "\x07" not in text
    assert text.splitlines()[0].startswith("a[2J.csv")


def test_a_not_measured_hold_costs_nothing_else(invented):
    missing = replace(invented.invented_findings(), hold=NotMeasured("it was too short"))

    data = reading_as_data(missing)

    _assert_reading(data)
    assert data["opening_pressure"]["value"] == pytest.approx(175.0)


def test_a_caution_on_the_whole_hold_is_told_once(invented):
    heat = Caution("compression heat", "about 5 bar went with the heat of pumping up")
    found = invented.invented_findings(175.0)
    hold = found.hold
    hold = replace(
        hold,
        drop_time_as_shown=hold.drop_time_as_shown.with_cautions(heat),
        drop_time_at_reference=hold.drop_time_at_reference.with_cautions(heat),
        cautions=(heat,),
    )

    said = reading_as_text(replace(found, hold=hold))

    assert said.count("about 5 bar went with the heat") == 1
