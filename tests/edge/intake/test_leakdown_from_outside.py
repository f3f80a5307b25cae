"""Real leak-down recordings by others (CC0, see tests/data/SOURCES.md), read without being told."""

from __future__ import annotations

import hashlib
from pathlib import Path

import numpy as np
import pytest

from nozzlewright.edge.intake import read_recording
from nozzlewright.errors import RecordingFault

DATA = Path(__file__).parents[2] / "data"


def rows_of(name: str) -> tuple[np.ndarray, np.ndarray]:
    """Times and pressures, taken off the file by hand and apart from the tool."""
    lines = (DATA / name).read_text().splitlines()
    cells = [line.split(";") for line in lines]
    time_s = np.array([int(row[0].replace(".", "")) for row in cells]) / 1e6
    return time_s, np.array([float(row[2]) for row in cells])


@pytest.mark.parametrize("name", ["leakdown_a.csv", "leakdown_b.csv", "leakdown_c.csv"])
def test_every_row_of_a_real_leak_down_is_read_with_its_odd_time_stamps(name: str) -> None:
    time_s, pressure_bar = rows_of(name)
    recording = read_recording(DATA / name)
    assert len(recording) == time_s.size == len((DATA / name).read_bytes().splitlines())
    np.testing.assert_allclose(recording.time_s, time_s, rtol=0, atol=1e-9)
    np.testing.assert_allclose(recording.pressure_pa, pressure_bar * 1e5, rtol=1e-12)
    assert 140.0 < recording.duration_s < 152.0
    assert recording.digest == hashlib.sha256((DATA / name).read_bytes()).hexdigest()


@pytest.mark.parametrize("name", ["leakdown_a.csv", "leakdown_b.csv", "leakdown_c.csv"])
def test_its_decay_rate_agrees_with_a_straight_fit_done_apart(name: str) -> None:
    time_s, pressure_bar = rows_of(name)
    use = pressure_bar > 0.5 * pressure_bar[0]  # the third one empties
    apart = np.polyfit(time_s[use], np.log(pressure_bar[use]), 1)[0]
    recording = read_recording(DATA / name)
    use = recording.pressure_pa > 0.5 * recording.pressure_pa[0]
    rate = np.polyfit(recording.time_s[use], np.log(recording.pressure_pa[use]), 1)[0]
    assert rate < 0.0
    assert rate == pytest.approx(apart, rel=1e-6)


def test_what_was_assumed_of_it_is_stated() -> None:
    recording = read_recording(DATA / "leakdown_a.csv")
    story = " ".join(recording.history)
    assert "marks between thousands" in story
    assert "column 3 is pressure, because it is 2 times column 2" in story
    assert "nothing in the file says so" in story
    assert {caution.name for caution in recording.cautions} >= {
        "assumed columns",
        "assumed time stamps",
    }


def test_its_gaps_are_named_and_left_open() -> None:
    recording = read_recording(DATA / "leakdown_c.csv")
    (gap,) = [caution for caution in recording.cautions if caution.name == "drop-out"]
    assert "the longest 0.572 s" in gap.text
    assert np.diff(recording.time_s).max() == pytest.approx(0.572, abs=1e-3)


def test_raw_counts_without_unit_or_rate_are_refused() -> None:
    path = DATA / "hydraulic_counts.txt"
    with pytest.raises(RecordingFault) as caught:
        read_recording(path)
    (fault,) = caught.value.faults
    assert fault.where == "hydraulic_counts.txt"
    assert "'PG_1'" in fault.what
    assert "papers of the logger or sensor" in fault.remedy
    with pytest.raises(RecordingFault, match="in which unit the pressure column 'PG_1' is"):
        read_recording(path, pressure_column="PG_1")
    with pytest.raises(RecordingFault, match="whole numbers may be a count of readings"):
        read_recording(path, pressure_column="PG_1", pressure_unit="bar")
