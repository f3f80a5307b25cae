from __future__ import annotations

import gzip
import tempfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nozzlewright.capture import CountedDrops, HandReadings, TimedDrop, WatchedHold
from nozzlewright.edge.intake import read_hand_card, read_recording
from nozzlewright.edge.intake.evidence_text import (
    Dialect,
    hand_card_text,
    recording_parquet,
    recording_text,
)

TIME_S = np.arange(2000) / 250.0
PRESSURE_PA = 1e5 * (120.0 + 60.0 * np.sin(TIME_S) + 0.01 * np.arange(2000))

DIALECTS = {
    "plain": Dialect(),
    "semicolon and decimal comma": Dialect(
        "MPa", ";", ",", time_heading="Time [s]", pressure_heading="Pressure [MPa]"
    ),
    "tabs, milliseconds": Dialect(
        "kPa",
        "\t",
        time_heading="t (ms)",
        pressure_heading="p (kPa)",
        time_factor=1e3,
        time_decimals=0,
    ),
    "psi, with remarks": Dialect(
        "psi", pressure_heading="pressure_psi", remarks=("Gauge: invented gauge",)
    ),
    "packed": Dialect(packed=True),
}


@pytest.mark.parametrize("dialect", DIALECTS.values(), ids=DIALECTS.keys())
def test_what_a_logger_wrote_is_read_as_it_was(dialect, tmp_path):
    path = tmp_path / ("recording.csv.gz" if dialect.packed else "recording.csv")
    path.write_bytes(recording_text(TIME_S, PRESSURE_PA, dialect))

    recording = read_recording(path)

    assert recording.time_s == pytest.approx(TIME_S, abs=1e-9)
    assert recording.pressure_pa == pytest.approx(PRESSURE_PA, abs=51.0)
    assert recording.cautions == ()


def test_a_remark_names_the_gauge(tmp_path):
    path = tmp_path / "recording.csv"
    path.write_bytes(recording_text(TIME_S, PRESSURE_PA, DIALECTS["psi, with remarks"]))

    assert read_recording(path).instrument == "invented gauge"


def test_a_lost_reading_is_written_as_no_number_and_read_as_a_hole(tmp_path):
    pressure = PRESSURE_PA.copy()
    pressure[700:720] = np.nan
    path = tmp_path / "recording.csv"
    path.write_bytes(recording_text(TIME_S, pressure))

    recording = read_recording(path)

    assert len(recording) == len(TIME_S) - 20
    assert [caution.name for caution in recording.cautions] == ["drop-out"]


def test_parquet_is_read_as_it_was_and_names_the_gauge(tmp_path):
    path = tmp_path / "recording.parquet"
    path.write_bytes(recording_parquet(TIME_S, PRESSURE_PA, {"gauge": "invented gauge"}))

    recording = read_recording(path)

    assert recording.time_s == pytest.approx(TIME_S, abs=1e-6)
    assert recording.pressure_pa == pytest.approx(PRESSURE_PA, abs=6.0)
    assert recording.instrument == "invented gauge"


def test_the_same_recording_gives_the_same_file():
    packed = Dialect(packed=True)
    one, two = (recording_text(TIME_S, PRESSURE_PA, packed) for _ in range(2))

    assert one == two
    assert gzip.decompress(one) == recording_text(TIME_S, PRESSURE_PA)


_bars = st.integers(200, 3000).map(lambda tenths: tenths / 10.0)


@settings(max_examples=100, deadline=None)
@given(
    opening=st.lists(_bars.map(lambda bar: bar + 300.0), min_size=1, max_size=6),
    closing=st.lists(_bars, max_size=6),
    drop=st.tuples(_bars, st.integers(1, 900)),
    hold=st.none() | st.tuples(_bars, st.booleans()),
    counted=st.lists(st.integers(0, 40), max_size=5),
    division=st.sampled_from([1.0, 2.0, 5.0, 10.0]),
    part=st.sampled_from([0.1, 0.2, 0.5, 1.0]),
    reaction=st.sampled_from([0.1, 0.2, 0.35]),
)
def test_a_card_is_read_as_it_was_written(
    opening, closing, drop, hold, counted, division, part, reaction
):
    card = HandReadings(
        source="card.toml",
        digest="",
        opening_pa=tuple(bar * 1e5 for bar in opening),
        closing_pa=tuple(bar * 1e5 for bar in closing),
        drops=(TimedDrop((drop[0] + 1.0) * 1e5, drop[0] * 1e5, drop[1] / 10.0),),
        seat_hold=hold
        and WatchedHold(hold[0] * 1e5, (hold[0] - 5.0) * 1e5 if hold[1] else None, 10.0),
        leak_off=CountedDrops(drop[0] * 1e5, drop[1], 30.0) if counted else None,
        openings_per_stroke=tuple(counted),
        reading_resolution_pa=division * 1e5 * part / 2.0,
        reaction_time_s=reaction,
    )
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "card.toml"
        path.write_text(hand_card_text(card, division * 1e5, "a note"), encoding="utf-8")
        read = read_hand_card(path)

    for name in ("opening_pa", "closing_pa", "reading_resolution_pa", "reaction_time_s"):
        assert getattr(read, name) == pytest.approx(getattr(card, name), rel=1e-9), name
    assert read.openings_per_stroke == card.openings_per_stroke
    assert (read.leak_off is None) == (card.leak_off is None)
    if read.leak_off is not None:
        assert (read.leak_off.drops, read.leak_off.seconds) == (drop[1], 30.0)
        assert read.leak_off.pressure_pa == pytest.approx(card.leak_off.pressure_pa, rel=1e-9)
    assert read.drops[0].seconds == card.drops[0].seconds
    assert read.drops[0].from_pa == pytest.approx(card.drops[0].from_pa, rel=1e-9)
    assert (read.seat_hold is None) == (card.seat_hold is None)
    if read.seat_hold is not None:
        assert read.seat_hold.start_pa == pytest.approx(card.seat_hold.start_pa, rel=1e-9)
        assert (read.seat_hold.end_pa is None) == (card.seat_hold.end_pa is None)
