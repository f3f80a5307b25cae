"""What is mended is said: name, count and place; what cannot be known is left open."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from nozzlewright.capture import Recording
from nozzlewright.edge.intake import read_recording
from nozzlewright.errors import RecordingFault

COUNT = 200
TIME_S = np.arange(COUNT) / 1000.0
PRESSURE_BAR = 160.0 + 10.0 * np.sin(np.arange(COUNT) / 9.0)
HEADING = "time_s,pressure_bar"
ROWS = [f"{t:.3f},{p:.3f}" for t, p in zip(TIME_S, PRESSURE_BAR, strict=True)]


def read(tmp_path: Path, rows: list[str], *, heading: str = HEADING, end: str = "\n") -> Recording:
    path = tmp_path / "session.csv"
    path.write_text("\n".join([heading, *rows]) + end)
    return read_recording(path)


def caution(recording: Recording, name: str) -> str:
    """The one caution of that name; it must stand in the history too."""
    (found,) = [one.text for one in recording.cautions if one.name == name]
    assert any(line.lower() == found.lower() for line in recording.history)
    return found


def assert_sound(recording: Recording, kept: slice | np.ndarray = slice(None)) -> None:
    np.testing.assert_allclose(recording.time_s, TIME_S[kept], rtol=0, atol=1e-9)
    np.testing.assert_allclose(recording.pressure_pa / 1e5, PRESSURE_BAR[kept], rtol=0, atol=1e-3)


def without(*gone: int) -> np.ndarray:
    return np.setdiff1d(np.arange(COUNT), gone)


def test_a_sound_recording_is_left_as_it_is(tmp_path: Path) -> None:
    recording = read(tmp_path, ROWS)
    assert_sound(recording)
    assert recording.cautions == ()


@pytest.mark.parametrize(
    "marks",
    [
        ["NaN", "nan"],
        ["", ""],
        ["OL", "OL"],
        ["-----", "--.--"],
        ["over", "Over"],
        ["#N/A", "****"],
    ],
)
def test_marks_and_empty_cells_become_an_open_hole(tmp_path: Path, marks: list[str]) -> None:
    rows = [*ROWS[:50], f"0.050,{marks[0]}", f"0.051,{marks[1]}", *ROWS[52:]]
    recording = read(tmp_path, rows)
    assert_sound(recording, without(50, 51))
    text = caution(recording, "drop-out")
    assert "2 of 200 readings without a number" in text
    assert "longest hole is 0.003 s" in text
    assert "first near 0.049 s" in text
    assert (f"'{marks[0]}'" if marks[0] else "2 empty") in text


@pytest.mark.parametrize(
    "value", ["9999", "32767", "65535", "1e38", "inf", "-inf", "999.9", "-32768"]
)
def test_overflow_marks_that_are_numbers_are_taken_out(tmp_path: Path, value: str) -> None:
    rows = [
        *ROWS[:50],
        f"0.050,{value}",
        f"0.051,{value}",
        *ROWS[52:120],
        f"0.120,{value}",
        *ROWS[121:],
    ]
    recording = read(tmp_path, rows)
    assert_sound(recording, without(50, 51, 120))
    text = caution(recording, "overflow")
    assert "3 overflow marks" in text
    assert "in 2 places, first at 0.05 s, at most 2 in a row" in text


def test_a_pressure_that_happens_to_be_9999_is_kept(tmp_path: Path) -> None:
    kpa = [9997.0, 9998.0, 9999.0, 9999.0, 10000.0, 10001.0]
    rows = [f"{i / 1000:.3f},{p:.1f}" for i, p in enumerate(kpa)]
    recording = read(tmp_path, rows, heading="time_s,pressure_kPa")
    np.testing.assert_allclose(recording.pressure_pa / 1e3, kpa)
    assert recording.cautions == ()


def test_an_overflow_at_the_beginning_or_end_is_taken_out_where_no_gauge_reaches_it(
    tmp_path: Path,
) -> None:
    rows = ["0.000,9999", *ROWS[1:-1], "0.199,9999"]
    assert "2 overflow marks" in caution(read(tmp_path, rows), "overflow")
    # 9999 kPa is 100 bar: at the end of a recording it may be a pressure.
    recording = read(tmp_path, rows, heading="time_s,pressure_kPa")
    assert len(recording) == COUNT


def test_a_repeated_block_is_kept_once(tmp_path: Path) -> None:
    recording = read(tmp_path, [*ROWS[:100], *ROWS[60:100], *ROWS[100:]])
    assert_sound(recording)
    text = caution(recording, "repeated block")
    assert "40 readings stand twice in the file, in 1 block, the first from 0.06 s" in text
    assert {one.name for one in recording.cautions} == {"repeated block"}


def test_swapped_blocks_are_put_in_the_order_of_time(tmp_path: Path) -> None:
    recording = read(tmp_path, [*ROWS[:50], *ROWS[100:150], *ROWS[50:100], *ROWS[150:]])
    assert_sound(recording)
    assert "1 place, first after 0.149 s (reading 100)" in caution(recording, "swapped block")


def test_of_two_pressures_at_one_time_the_first_is_kept(tmp_path: Path) -> None:
    recording = read(tmp_path, [*ROWS[:50], "0.049,150.000", *ROWS[50:]])
    assert_sound(recording)
    assert "first at 0.049 s" in caution(recording, "repeated time stamp")


def test_a_gap_is_left_open_and_named(tmp_path: Path) -> None:
    recording = read(tmp_path, [*ROWS[:50], *ROWS[90:]])
    assert_sound(recording, without(*range(50, 90)))
    assert "1 gap in time, first after 0.049 s, the longest 0.041 s" in caution(
        recording, "drop-out"
    )


def test_a_jump_of_the_clock_is_named(tmp_path: Path) -> None:
    late = [f"{t + 3600:.3f},{p:.3f}" for t, p in zip(TIME_S, PRESSURE_BAR, strict=True)]
    recording = read(tmp_path, [*ROWS[:100], *late[100:]])
    assert len(recording) == COUNT
    assert "1 gap in time, first after 0.099 s" in caution(recording, "drop-out")


@pytest.mark.parametrize(("step", "decimals"), [(0.01, 2), (0.1, 1)])
def test_coarse_time_stamps_are_spread_evenly(tmp_path: Path, step: float, decimals: int) -> None:
    stamps = np.floor(TIME_S / step + 1e-9) * step
    rows = [f"{t:.{decimals}f},{p:.3f}" for t, p in zip(stamps, PRESSURE_BAR, strict=True)]
    if step > 0.05:  # a coarse clock needs more than two stamps
        with pytest.raises(RecordingFault, match="share 2 time stamps"):
            read(tmp_path, rows)
        return
    recording = read(tmp_path, rows)
    assert_sound(recording)
    text = caution(recording, "coarse time stamps")
    assert "0.01 s apart with about 10 readings to each" in text
    assert "known to about 0.01 s only" in text


def test_a_coarse_clock_first_met_midway_keeps_its_pace(tmp_path: Path) -> None:
    stamps = np.floor((TIME_S + 0.006) / 0.01 + 1e-9) * 0.01
    rows = [f"{t:.2f},{p:.3f}" for t, p in zip(stamps, PRESSURE_BAR, strict=True)]
    recording = read(tmp_path, rows)
    np.testing.assert_allclose(np.diff(recording.time_s), 0.001, atol=1e-9)


def test_uneven_sampling_is_named(tmp_path: Path) -> None:
    wander = np.where(np.arange(COUNT) % 2, 0.0004, 0.0)
    rows = [f"{t:.4f},{p:.3f}" for t, p in zip(TIME_S + wander, PRESSURE_BAR, strict=True)]
    recording = read(tmp_path, rows)
    assert len(recording) == COUNT
    assert "0.0006 to 0.0014 s apart" in caution(recording, "jitter")


def test_a_word_among_the_numbers_is_left_out_with_its_line(tmp_path: Path) -> None:
    recording = read(tmp_path, [*ROWS[:50], "0.050,pause", *ROWS[51:]])
    assert_sound(recording, without(50))
    assert "the first on line 52 ('pause')" in caution(recording, "damaged rows")


def test_a_heading_that_comes_again_is_passed_over(tmp_path: Path) -> None:
    recording = read(tmp_path, [*ROWS[:50], HEADING, *ROWS[50:]])
    assert_sound(recording)
    assert "1 more time" in caution(recording, "repeated heading")


@pytest.mark.parametrize("lost", [2, 3, 6, 9])
def test_a_last_line_that_was_cut_is_left_out(tmp_path: Path, lost: int) -> None:
    path = tmp_path / "session.csv"
    path.write_text("\n".join([HEADING, *ROWS])[:-lost])
    recording = read_recording(path)
    assert_sound(recording, slice(0, COUNT - 1))
    assert "cut off" in caution(recording, "truncated file")


def test_a_last_line_without_its_end_is_kept_where_it_is_whole(tmp_path: Path) -> None:
    recording = read(tmp_path, ROWS, end="")
    assert_sound(recording)
    assert recording.cautions == ()


def test_a_damaged_row_in_a_recording_counted_by_its_rate_keeps_its_place(tmp_path: Path) -> None:
    rows = [row.split(",")[1] for row in ROWS]
    rows[50] = "?!"
    recording = read(tmp_path, rows, heading="# sample rate: 1000 Hz\npressure_bar")
    assert_sound(recording, without(50))


def test_several_faults_of_one_file_are_each_stated(tmp_path: Path) -> None:
    rows = [
        *ROWS[:40],
        "0.040,OL",
        *ROWS[41:100],
        *ROWS[80:100],
        *ROWS[100:150],
        "0.150,9999",
        *ROWS[151:],
    ]
    recording = read(tmp_path, rows)
    assert_sound(recording, without(40, 150))
    assert {one.name for one in recording.cautions} == {"drop-out", "overflow", "repeated block"}
