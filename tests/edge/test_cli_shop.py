"""The commands on a workshop's record: verify, backup, restore, serve."""

from __future__ import annotations

import os
import re
import shutil
import signal
import sqlite3
import subprocess
import sys
import urllib.request
from pathlib import Path

import pytest

from nozzlewright.edge.cli import main
from nozzlewright.edge.wiring.shop import open_shop

PROGRAM = shutil.which("nozzlewright", path=Path(sys.executable).parent)


@pytest.fixture
def record(tmp_path) -> Path:
    folder = tmp_path / "shop"
    shop = open_shop(folder)
    booked = {"engine": "invented engine", "cylinders": 2, "condition": "used"}
    job = shop.workshop.book_in("b-1", "A. N. Other", booked)
    for cylinder in (1, 2):
        shop.workshop.tag(f"t-{cylinder}", "A. N. Other", job, cylinder, f"D-{cylinder}")
    shop.close()
    return folder


def test_a_sound_record_is_said_to_be_so_with_its_last_digest(record, capsys):
    assert main(["verify", str(record)]) == 0
    assert re.search(
        r"3 entries, all as they were taken in\..* [0-9a-f]{64}", capsys.readouterr().out
    )


def test_an_altered_record_is_found_with_the_entrys_number(record, capsys):
    with sqlite3.connect(record / "record.sqlite") as database:
        for (name,) in database.execute(
            "SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = 'entry'"
        ).fetchall():
            database.execute(f'DROP TRIGGER "{name}"')
        text = database.execute("SELECT payload FROM entry WHERE number = 2").fetchone()[0]
        altered = text.replace("D-1", "D-9")
        database.execute("UPDATE entry SET payload = ? WHERE number = 2", (altered,))
    database.close()
    assert main(["verify", str(record)]) == 1
    assert "2" in capsys.readouterr().out


def test_a_backup_is_restored_to_a_record_that_says_the_same(record, tmp_path, capsys):
    copy, again = tmp_path / "copy", tmp_path / "again"
    assert main(["backup", str(record), str(copy)]) == 0
    assert main(["verify", str(copy)]) == 0
    assert main(["restore", str(copy), str(again)]) == 0
    assert "3 entries" in capsys.readouterr().out
    first, second = open_shop(record), open_shop(again)
    assert first.workshop.records.head() == second.workshop.records.head()
    assert [r.marks for r in first.workshop.records.jobs()] == [
        r.marks for r in second.workshop.records.jobs()
    ]
    first.close()
    second.close()


@pytest.mark.parametrize("command", ["verify", "backup"])
def test_a_folder_without_a_record_is_refused_and_none_is_made(command, tmp_path, capsys):
    empty = tmp_path / "empty"
    more = [str(tmp_path / "into")] if command == "backup" else []
    assert main([command, str(empty), *more]) == 2
    assert "holds no record of a workshop" in capsys.readouterr().err
    assert not empty.exists()


def test_the_workshop_is_served_until_it_is_stopped(record):
    serving = subprocess.Popen(
        [PROGRAM, "serve", str(record), "--port", "0"], stdout=subprocess.PIPE, text=True
    )
    try:
        address = re.search(r"http://127\.0\.0\.1:\d+/", serving.stdout.readline())[0]
        with urllib.request.urlopen(f"{address}health", timeout=120) as answer:  # noqa: S310
            assert answer.status == 200
        with urllib.request.urlopen(address, timeout=120) as answer:  # noqa: S310
            assert "invented engine" in answer.read().decode()
    finally:
        serving.send_signal(signal.SIGINT)
        assert serving.wait(120) in (0, 130)
        serving.stdout.close()


def test_the_demo_tells_a_log_what_it_waits_for_and_leaves_nothing_behind(tmp_path):
    passing = tmp_path / "passing"
    passing.mkdir()
    serving = subprocess.Popen(
        [PROGRAM, "demo", "--port", "0"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "TMPDIR": str(passing)},
    )
    try:
        assert serving.stdout.readline().startswith("http://127.0.0.1:")
        assert any(passing.iterdir())
    finally:
        serving.send_signal(signal.SIGTERM)
        _, told = serving.communicate(timeout=120)
    assert told.startswith("nozzlewright: playing set 1 at the pretend bench\n")
    assert serving.returncode == 0
    assert list(passing.iterdir()) == []


# -- held against a backup -------------------------------------------------------------------------


def booked(folder, engine, tags=2) -> Path:
    shop = open_shop(folder)
    job = shop.workshop.book_in(
        "b-1", "A. N. Other", {"engine": engine, "cylinders": 4, "condition": "used"}
    )
    for cylinder in range(1, tags + 1):
        shop.workshop.tag(f"t-{cylinder}", "A. N. Other", job, cylinder, f"D-{cylinder}")
    shop.close()
    return folder


def test_a_record_that_went_on_since_the_backup_holds_against_it(tmp_path, capsys):
    record, copy = booked(tmp_path / "shop", "invented engine"), tmp_path / "copy"
    assert main(["backup", str(record), str(copy)]) == 0
    booked(record, "invented engine", tags=4)
    assert main(["verify", str(record), "--against", str(copy)]) == 0
    assert "go on from what" in capsys.readouterr().out
    later = tmp_path / "later"
    assert main(["backup", str(record), str(later)]) == 0
    assert main(["verify", str(later), "--against", str(copy)]) == 0


def test_a_record_written_anew_is_sound_in_itself_but_not_against_the_backup(tmp_path, capsys):
    record, copy = booked(tmp_path / "shop", "invented engine"), tmp_path / "copy"
    assert main(["backup", str(record), str(copy)]) == 0
    anew = booked(tmp_path / "anew", "another engine", tags=3)
    assert main(["verify", str(anew)]) == 0
    capsys.readouterr()
    assert main(["verify", str(anew), "--against", str(copy)]) == 1
    assert "Entry 3 has another digest than was noted elsewhere" in capsys.readouterr().out


def test_a_record_that_lost_its_end_is_found_against_the_backup(tmp_path, capsys):
    record, copy = booked(tmp_path / "shop", "invented engine"), tmp_path / "copy"
    assert main(["backup", str(record), str(copy)]) == 0
    shorter = booked(tmp_path / "shorter", "invented engine", tags=1)
    assert main(["verify", str(shorter), "--against", str(copy)]) == 1
    assert "Entry 3 is missing" in capsys.readouterr().out


def test_what_it_is_held_against_must_be_a_backup(record, tmp_path, capsys):
    assert main(["verify", str(record), "--against", str(tmp_path)]) == 2
    assert str(tmp_path) in capsys.readouterr().err
