from __future__ import annotations

import hashlib
import itertools
import os
import re
import signal
import subprocess
import sys
import time
from datetime import UTC, datetime

import numpy as np
import pytest

from nozzlewright.edge.intake import read_recording
from nozzlewright.edge.intake.live import Recorder, unfinished_recordings
from nozzlewright.edge.intake.live.recorder import as_recorded, close_unfinished, timing_of
from nozzlewright.errors import NotAllowed, RecordingFault

BAR = 1e5
STARTED = datetime(2026, 3, 2, 10, 0, tzinfo=UTC)


def recorder(folder, name="test-1"):
    return Recorder(folder, name, instrument="gauge G-7", started_at=STARTED)


def wave(start, count, rate_hz=1000.0):
    time_s = (start + np.arange(count)) / rate_hz
    return 500.0 + time_s, 1e7 * (1.0 + np.sin(time_s)) + 0.3


def cautions(recording):
    return {one.name for one in recording.cautions}


# -- the file ----------------------------------------------------------------------------------


def test_a_finished_recording_says_where_it_comes_from_and_is_read_like_any_other(tmp_path):
    one = recorder(tmp_path)
    for start in range(0, 3000, 17):
        one.add(*wave(start, 17))
    digest = one.finish()
    read = read_recording(tmp_path / "test-1.csv")

    assert read.digest == digest == hashlib.sha256(one.finished_path.read_bytes()).hexdigest()
    assert read.instrument == "gauge G-7"
    assert read.time_s[0] == 0.0
    assert len(read) == one.samples == one.on_disk
    assert read.pressure_pa == pytest.approx(wave(0, len(read))[1], abs=0.51)
    assert cautions(read) == set()
    head = one.finished_path.read_text().splitlines()[:5]
    assert head[1] == "# Recording: test-1"
    assert head[3] == "# Started: 2026-03-02T10:00:00+00:00"
    assert head[4] == "time_s,pressure_bar"
    assert list(tmp_path.iterdir()) == [one.finished_path]


def test_what_is_handed_back_is_to_the_bit_what_the_file_will_say(tmp_path):
    rng = np.random.default_rng(4)
    one = recorder(tmp_path)
    time_s = 1e4 + np.cumsum(rng.uniform(1e-4, 2e-3, 5000))
    parts = [one.add(time_s[k : k + 50], rng.normal(1e7, 8e6, 50)) for k in range(0, 5000, 50)]
    one.finish()
    read = read_recording(one.finished_path)
    live = as_recorded(*(np.concatenate(column) for column in zip(*parts, strict=True)), source="x")

    assert np.array_equal(read.time_s, live.time_s)
    assert np.array_equal(read.pressure_pa, live.pressure_pa)
    assert read.cautions == live.cautions


def test_a_sample_is_on_disk_within_half_a_second(tmp_path, at_best):
    names = (f"test-{number}" for number in itertools.count())

    def behind():
        one = recorder(tmp_path, next(names))
        worst = 0.0
        for start in range(0, 1500, 17):
            one.add(*wave(start, 17))
            time.sleep(0.017)
            worst = max(worst, one.behind_s)
        one.finish()
        assert one.behind_s == 0.0
        return worst

    assert 0.0 < at_best(behind, 0.5) < 0.5


def test_a_lost_instrument_leaves_a_gap_that_nobody_fills(tmp_path):
    one = recorder(tmp_path)
    one.add(*wave(0, 1000))
    one.lost(501.2)
    one.add(*wave(4000, 1000))
    one.finish()
    read = read_recording(one.finished_path)

    assert one.gaps == 1
    assert "501.2,NaN" not in one.finished_path.read_text()
    assert "\n1.200000,NaN\n" in one.finished_path.read_text()
    assert len(read) == 2000
    assert np.diff(read.time_s).max() == pytest.approx(3.001)
    assert "drop-out" in cautions(read)
    (text,) = [c.text for c in read.cautions if c.name == "drop-out"]
    assert "holes were left open" in text


def test_samples_that_do_not_follow_in_time_are_left_out(tmp_path):
    one = recorder(tmp_path)
    one.add(np.array([5.0, 5.1, 5.1, 5.05, 5.2]), np.arange(5) * BAR)
    kept, _ = one.add(np.array([5.2, 5.15, 5.3]), np.ones(3))
    one.finish()
    assert kept.tolist() == pytest.approx([0.3])
    assert read_recording(one.finished_path).time_s == pytest.approx([0.0, 0.1, 0.2, 0.3])


@pytest.mark.parametrize("name", ["", "../up", "a/b", "a b", ".hidden", "x" * 101, "a.unfinished"])
def test_a_name_that_might_lead_elsewhere_is_refused(tmp_path, name):
    with pytest.raises(RecordingFault, match="cannot name a recording"):
        recorder(tmp_path, name)
    assert list(tmp_path.iterdir()) == []


def test_a_recording_is_never_written_over(tmp_path):
    one = recorder(tmp_path)
    with pytest.raises(NotAllowed, match="already"):
        recorder(tmp_path)
    one.add(*wave(0, 10))
    one.finish()
    with pytest.raises(NotAllowed, match="already"):
        recorder(tmp_path)
    assert len(read_recording(one.finished_path)) == 10


def test_a_folder_that_cannot_be_written_is_told_at_once(tmp_path):
    (tmp_path / "file").write_text("x")
    with pytest.raises(RecordingFault, match="cannot be written"):
        recorder(tmp_path / "file")


# -- timing ------------------------------------------------------------------------------------


def test_interval_and_jitter_are_measured_with_gaps_left_out():
    rng = np.random.default_rng(1)
    step = 1e-3 + rng.uniform(-2e-4, 2e-4, 20_000)
    step[10_000] = 2.0
    timing = timing_of(np.cumsum(step))

    assert timing.interval_s == pytest.approx(1e-3, rel=0.02)
    # A rectangle of half-width 0.2 ms: the middle of |x| is 0.1 ms, 99 % lie within 0.198 ms.
    assert timing.jitter_s == pytest.approx(1e-4, rel=0.05)
    assert timing.jitter_99_s == pytest.approx(1.98e-4, rel=0.05)
    assert timing.gaps == 1
    assert timing.longest_gap_s == 2.0
    assert "1 gap(s), the longest 2 s" in str(timing)
    assert timing_of(np.array([0.0, 1.0])) is None


# -- after a crash -----------------------------------------------------------------------------

CHILD = """
import sys, time
from datetime import UTC, datetime
from pathlib import Path
import numpy as np
from nozzlewright.edge.intake.live import Recorder
one = Recorder(Path(sys.argv[1]), "crash", instrument="gauge", started_at=datetime.now(UTC))
began = time.monotonic()
done = 0
while True:
    upto = int((time.monotonic() - began) * 1000)
    if upto > done:
        one.add(np.arange(done, upto) / 1000.0, np.arange(done, upto) * 10.0)
        done = upto
        print(done, flush=True)
    time.sleep(0.01)
"""


def killed_after(folder, after_s):
    """Kill a program that records; return how many samples were half a second old by then."""
    child = subprocess.Popen(
        [sys.executable, "-c", CHILD, str(folder)], stdout=subprocess.PIPE, text=True
    )
    seen = []
    while not seen or time.monotonic() - seen[0][0] < after_s:
        count = int(child.stdout.readline())
        seen.append((time.monotonic(), count))
    child.send_signal(signal.SIGKILL)
    killed = time.monotonic()
    child.wait()
    child.stdout.close()
    return max((count for at, count in seen if killed - at > 0.5), default=0)


@pytest.mark.parametrize("after_s", [0.9, 1.43])
def test_a_program_killed_in_the_middle_leaves_all_samples_older_than_half_a_second(
    tmp_path, at_best, after_s
):
    folders = (tmp_path / str(number) for number in itertools.count())

    def lost():
        folder = next(folders)
        folder.mkdir()
        old_enough = killed_after(folder, after_s)
        (left,) = unfinished_recordings(folder)
        as_it_lies = read_recording(left.path)
        finished = close_unfinished(left.path)
        read = read_recording(finished)

        assert left.recording_id == "crash"
        assert left.instrument == "gauge"
        assert left.started_at is not None
        assert left.seconds == pytest.approx(read.time_s[-1])
        assert len(read) == left.samples == len(as_it_lies)
        assert read.pressure_pa == pytest.approx(np.arange(len(read)) * 10.0)
        assert unfinished_recordings(folder) == []
        # A machine that has no time for the program has none for its disk either: once more.
        return old_enough - left.samples if old_enough > 100 else 1

    assert at_best(lost, 1) <= 0


def torn(tmp_path, ending):
    one = recorder(tmp_path)
    one.add(*wave(0, 500))
    one.leave()
    whole = one.path.read_bytes()
    one.path.write_bytes(whole + ending)
    return one.path


# What a power failure leaves behind the last whole line: a part of one, or bytes never written.
@pytest.mark.parametrize("ending", [b"0.5000", b"0.500000,1", b"0.500000,193.2", b"\x00" * 900])
def test_a_torn_last_line_is_taken_off_and_the_rest_kept(tmp_path, ending):
    path = torn(tmp_path, ending)
    (left,) = unfinished_recordings(tmp_path)
    read = read_recording(close_unfinished(path))

    assert left.samples == 500
    assert len(read) == 500
    assert cautions(read) == set()


@pytest.mark.parametrize("ending", [b"0.5000", b"0.500000,1", b"0.500000,193.2"])
def test_the_reader_itself_bears_a_torn_last_line(tmp_path, ending):
    read = read_recording(torn(tmp_path, ending))
    assert len(read) == 500
    assert cautions(read) == {"truncated file"}


def test_a_recording_that_is_growing_is_not_taken_for_a_wreck(tmp_path):
    one = recorder(tmp_path)
    assert unfinished_recordings(tmp_path) == []
    with pytest.raises(NotAllowed, match="still growing"):
        close_unfinished(one.path)
    one.leave()
    assert [left.recording_id for left in unfinished_recordings(tmp_path)] == ["test-1"]


def test_a_wreck_does_not_take_the_place_of_a_finished_recording(tmp_path):
    path = torn(tmp_path, b"")
    (tmp_path / "test-1.csv").write_text("another")
    with pytest.raises(NotAllowed, match="already"):
        close_unfinished(path)
    assert path.exists()


# -- a full disk -------------------------------------------------------------------------------

FULL = """
import resource, signal, sys, time
from datetime import UTC, datetime
from pathlib import Path
import numpy as np
from nozzlewright.edge.intake.live import Recorder
from nozzlewright.errors import RecordingFault
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
_, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
one = Recorder(Path(sys.argv[1]), "full", instrument="gauge", started_at=datetime.now(UTC))
resource.setrlimit(resource.RLIMIT_FSIZE, (5000, hard))
one.add(np.arange(1000) / 1000.0, np.arange(1000) * 10.0)
until = time.monotonic() + 50.0
while not (one.disk_fault and one.behind_s > 0.3) and time.monotonic() < until:
    time.sleep(0.01)
print("fault:", one.disk_fault, one.on_disk, one.behind_s > 0.3)
try:
    one.finish(0.3)
except RecordingFault as fault:
    print("refused:", fault)
resource.setrlimit(resource.RLIMIT_FSIZE, (hard, hard))
print("digest:", one.finish())
"""


def test_a_full_disk_is_told_and_loses_nothing_once_there_is_room(tmp_path):
    run = subprocess.run(
        [sys.executable, "-c", FULL, str(tmp_path)],
        capture_output=True, text=True, check=True, timeout=60, env={**os.environ},
    )  # fmt: skip
    fault, refused, digest = run.stdout.splitlines()
    read = read_recording(tmp_path / "full.csv")

    assert re.match(r"fault: nothing can be written: .+ 0 True", fault)
    assert "1000 of 1000 samples are not on disk yet" in refused
    assert "Make room on the disk" in refused
    assert digest == f"digest: {read.digest}"
    assert read.pressure_pa == pytest.approx(np.arange(1000) * 10.0)


# -- several programs on one record ----------------------------------------------------------------

OTHER_PROGRAM = """
import sys, time
from datetime import UTC, datetime
from pathlib import Path
import numpy as np
from nozzlewright.edge.intake.live import Recorder
one = Recorder(Path(sys.argv[1]), "test-1", instrument="G", started_at=datetime.now(UTC))
one.add(np.arange(100) / 100.0, np.full(100, 1e7))
while one.behind_s:
    time.sleep(0.01)
print("grows", flush=True)
sys.stdin.readline()
one.finish()
"""


@pytest.mark.skipif(sys.platform == "win32", reason="an open file cannot be renamed there anyway")
def test_what_grows_in_another_program_is_no_recording_that_a_crash_left(tmp_path):
    other = subprocess.Popen(
        [sys.executable, "-c", OTHER_PROGRAM, tmp_path],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    with other:
        assert other.stdout.readline() == "grows\n"
        assert unfinished_recordings(tmp_path) == []
        with pytest.raises(NotAllowed, match="still growing"):
            close_unfinished(tmp_path / "test-1.unfinished.csv")
        other.communicate("done\n", timeout=120)
    assert [path.name for path in tmp_path.iterdir()] == ["test-1.csv"]
    assert len(read_recording(tmp_path / "test-1.csv")) == 100


@pytest.mark.skipif(sys.platform == "win32", reason="there is no SIGKILL there")
def test_what_another_program_left_when_it_was_killed_can_be_finished(tmp_path):
    with subprocess.Popen(
        [sys.executable, "-c", OTHER_PROGRAM, tmp_path],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as other:
        assert other.stdout.readline() == "grows\n"
        other.kill()
    (left,) = unfinished_recordings(tmp_path)

    assert left.samples == 100
    assert close_unfinished(left.path).name == "test-1.csv"
