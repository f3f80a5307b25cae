from __future__ import annotations

import os
import shutil

import pytest

from nozzlewright.edge.intake.live import FolderSpec, FolderWatch
from nozzlewright.errors import InstrumentFault

CSV = "time_s,pressure_bar\n" + "".join(f"{k / 100:.3f},{k % 7}.5\n" for k in range(50))


class Watch:
    """A drop folder with a clock that a test turns."""

    def __init__(self, folder, taken=()):
        self.folder = folder
        self.now = 0.0
        self.watch = FolderWatch(FolderSpec("logger", folder), taken, timer=lambda: self.now)

    def poll(self, seconds=0.0):
        self.now += seconds
        return self.watch.poll()


@pytest.fixture
def drop(tmp_path):
    return Watch(tmp_path)


def test_a_recording_is_taken_once_it_no_longer_grows(drop):
    path = drop.folder / "a.csv"
    path.write_text(CSV[:200])
    assert drop.poll() == []
    assert drop.poll(1.5) == []
    path.write_text(CSV)
    assert drop.poll(1.0) == []
    assert drop.poll(1.5) == []
    (found,) = drop.poll(1.0)

    assert found.recording is not None
    assert found.path == path
    assert len(found.recording) == 50
    assert found.recording.digest == found.digest
    assert drop.poll(10.0) == []


def test_the_same_recording_is_never_taken_twice_whatever_its_name(drop):
    (drop.folder / "a.csv").write_text(CSV)
    drop.poll()
    (first,) = drop.poll(3.0)
    shutil.copy(drop.folder / "a.csv", drop.folder / "copy of a.csv")
    (drop.folder / "a.csv").rename(drop.folder / "b.csv")
    drop.poll()
    assert drop.poll(3.0) == []
    assert Watch(drop.folder, taken=[first.digest]).poll() == []
    again = Watch(drop.folder, taken=[first.digest])
    again.poll()
    assert again.poll(3.0) == []


def test_a_file_that_cannot_be_read_is_reported_once_and_left_where_it_is(drop):
    path = drop.folder / "notes.csv"
    path.write_text("nothing of use\n")
    drop.poll()
    (found,) = drop.poll(3.0)

    assert found.recording is None
    assert "numbers" in found.faults[0].what
    assert found.faults[0].remedy
    assert path.exists()
    assert drop.poll(3.0) == []
    # Mended, it is taken.
    path.write_text(CSV)
    os.utime(path, ns=(1, 10**18))
    drop.poll()
    (mended,) = drop.poll(3.0)
    assert mended.recording is not None


def test_files_on_their_way_and_folders_are_passed_over(drop):
    for name in (".hidden.csv", "a.csv.part", "b.tmp"):
        (drop.folder / name).write_text(CSV)
    (drop.folder / "sub").mkdir()
    drop.poll()
    assert drop.poll(3.0) == []


def test_several_come_in_the_order_in_which_they_were_written(drop):
    for k, name in enumerate(("z.csv", "m.csv", "a.csv")):
        path = drop.folder / name
        path.write_text(CSV.replace(".5\n", f".{k}\n"))
        os.utime(path, ns=(k * 10**9, k * 10**9))
    drop.poll()
    assert [one.path.name for one in drop.poll(3.0)] == ["z.csv", "m.csv", "a.csv"]


def test_a_folder_that_is_gone_says_what_to_look_at(drop):
    drop.folder.rmdir()
    with pytest.raises(InstrumentFault, match=r"cannot be looked into .* its drive"):
        drop.poll()


def test_a_file_that_cannot_even_be_opened_is_told_once_and_tried_again(drop, monkeypatch):
    path = drop.folder / "a.csv"
    path.write_text(CSV)
    drop.poll()

    def refuse(_):
        raise PermissionError(13, "in use by another program")

    with monkeypatch.context() as held:
        held.setattr("nozzlewright.edge.intake.live.folder_watch.digest_of", refuse)
        (found,) = drop.poll(3.0)
        assert drop.poll(3.0) == []
    assert "in use by another program" in found.faults[0].what
    (taken,) = drop.poll(3.0)
    assert taken.recording is not None
