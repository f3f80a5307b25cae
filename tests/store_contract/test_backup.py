"""A backup is whole, whatever is written meanwhile; it restores to a store that verifies."""

from __future__ import annotations

import hashlib
import json
import shutil
import subprocess
import sys
import threading
import time
from collections.abc import Sequence
from datetime import UTC, datetime

import pytest

from nozzlewright.edge.store import (
    backup,
    check_backup,
    open_store,
    read_manifest,
    restore,
    verify,
)
from nozzlewright.edge.store.place import set_url
from nozzlewright.errors import RecordFault
from nozzlewright.records import FIRST, Entry

PROGRAM = "import sys; from nozzlewright.edge.cli import main; sys.exit(main())"


def now():
    return datetime(2026, 3, 2, 18, 0, tzinfo=UTC)


def quiet(_: str) -> None:
    """Take note of nothing."""


@pytest.fixture
def rows_of(made):
    """What lists show of a story, made from its entries alone."""

    def rows(entries: Sequence[Entry]):
        story, last = entries[0].draft.story, entries[-1]
        job = made.job_row(story, touched_at=last.draft.at, title=f"{len(entries)} entries")
        named = sorted({one.draft.injector for one in entries} - {""})
        return [job, *(made.injector_row(name, story=story) for name in named)]

    return rows


@pytest.fixture
def filled(store, made):
    for n in range(6):
        digest = store.evidence.keep(f"trace {n}".encode(), "csv")
        store.records.take_in([made.draft(f"J-{n % 2}", evidence=(digest,), injector=f"I-{n}")])
    (store.recordings / "bench-1").mkdir()
    (store.recordings / "bench-1" / "live.nzr").write_bytes(b"samples so far")
    return store


def contents(store):
    return (
        list(store.records.payloads()),
        store.records.head(),
        {digest: store.evidence.read(digest) for digest in store.evidence.digests()},
    )


def test_a_backup_restores_to_the_same_store(filled, tmp_path, rows_of):
    manifest = backup(filled, tmp_path / "copy", quiet, now)
    assert restore(tmp_path / "copy", tmp_path / "again", rows_of, quiet) == manifest

    again = open_store(tmp_path / "again")
    assert contents(again) == contents(filled)
    assert verify(again.records, again.evidence, quiet) == []
    assert [row.title for row in again.records.jobs()] == ["3 entries"] * 2
    assert again.records.injectors("I-4")[0].story == "J-0"
    assert (again.recordings / "bench-1" / "live.nzr").read_bytes() == b"samples so far"
    again.close()


def test_a_backup_restores_into_postgresql(filled, tmp_path, rows_of, postgresql):
    url = postgresql()
    backup(filled, tmp_path / "copy", quiet, now)
    restore(tmp_path / "copy", tmp_path / "again", rows_of, quiet, url)

    again = open_store(tmp_path / "again")  # finds its database by `store.toml`
    assert again.records.engine.dialect.name == "postgresql"
    assert contents(again) == contents(filled)
    assert not (tmp_path / "again" / "record.sqlite").exists()
    again.close()
    with pytest.raises(RecordFault, match="not empty"):
        restore(tmp_path / "copy", tmp_path / "third", rows_of, quiet, url)
    assert not (tmp_path / "third").exists()


def test_a_restored_store_goes_on_where_the_other_ended(filled, made, tmp_path, rows_of):
    backup(filled, tmp_path / "copy", quiet, now)
    restore(tmp_path / "copy", tmp_path / "again", rows_of, quiet)
    again = open_store(tmp_path / "again")
    (taken,) = again.records.take_in([made.draft("J-0")], expect=5)

    assert (taken.number, taken.previous) == (7, filled.records.head()[1])
    assert verify(again.records, again.evidence, quiet) == []
    again.close()


def test_an_empty_store_can_be_backed_up(store, tmp_path, rows_of):
    manifest = backup(store, tmp_path / "copy", quiet, now)
    restore(tmp_path / "copy", tmp_path / "again", rows_of, quiet)

    assert (manifest.entries, manifest.head) == (0, FIRST)


def test_anybody_can_check_a_backup_with_the_tools_at_hand(filled, tmp_path):
    manifest = backup(filled, tmp_path / "copy", quiet, now)
    lines = (tmp_path / "copy" / "entries.jsonl").read_bytes().splitlines()
    previous = FIRST
    for number, line in enumerate(lines, 1):
        entry = json.loads(line)
        assert (entry["number"], entry["previous"]) == (number, previous)
        previous = hashlib.sha256(line).hexdigest()

    assert previous == manifest.head
    assert len(lines) == manifest.entries == 6


def test_a_backup_made_while_others_write_is_whole(store, made, tmp_path, rows_of):
    stop = threading.Event()
    taken = []

    def write() -> None:
        n = 0
        while not stop.is_set():
            digest = store.evidence.keep(f"trace {n}".encode(), "csv")
            pair = [made.draft("J-1", evidence=(digest,)), made.draft("J-1")]
            taken.append(store.records.take_in(pair)[1].number)
            n += 1

    writer = threading.Thread(target=write)
    writer.start()
    try:
        for n in range(4):
            before = len(taken)
            manifest = backup(store, tmp_path / f"copy-{n}", quiet, now)
            deadline = time.monotonic() + 20
            while len(taken) == before and time.monotonic() < deadline:
                time.sleep(0.01)
            assert len(taken) > before, "nobody wrote meanwhile"
            assert manifest.entries % 2 == 0, "the two entries of one go came apart"
            assert manifest.entries >= (taken[before - 1] if before else 0)
    finally:
        stop.set()
        writer.join()

    restore(tmp_path / "copy-3", tmp_path / "again", rows_of, quiet)
    again = open_store(tmp_path / "again")
    assert verify(again.records, again.evidence, quiet) == []
    assert again.records.head()[0] == manifest.entries > 0
    again.close()


def test_neither_takes_a_place_that_is_taken(filled, tmp_path, rows_of):
    backup(filled, tmp_path / "copy", quiet, now)
    with pytest.raises(RecordFault, match="is there already"):
        backup(filled, tmp_path / "copy", quiet, now)
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "something").write_text("of somebody")
    with pytest.raises(RecordFault, match="is there already"):
        restore(tmp_path / "copy", tmp_path / "full", rows_of, quiet)
    (tmp_path / "empty").mkdir()
    restore(tmp_path / "copy", tmp_path / "empty", rows_of, quiet)

    assert (tmp_path / "empty" / "record.sqlite").exists()


def _first_evidence(folder):
    return next(file for file in (folder / "evidence").rglob("*") if file.is_file())


def _alter_entry(folder):
    place = folder / "entries.jsonl"
    place.write_bytes(place.read_bytes().replace(b"A. N. Other", b"Somebody at all", 1))


def _alter_entry_and_manifest(folder):
    _alter_entry(folder)
    place = folder / "manifest.json"
    data = json.loads(place.read_text())
    data["entries_sha256"] = hashlib.sha256((folder / "entries.jsonl").read_bytes()).hexdigest()
    place.write_text(json.dumps(data))


def _drop_last_entry(folder):
    place = folder / "entries.jsonl"
    place.write_bytes(b"".join(place.read_bytes().splitlines(keepends=True)[:-1]))
    data = json.loads((folder / "manifest.json").read_text())
    data["entries_sha256"] = hashlib.sha256(place.read_bytes()).hexdigest()
    (folder / "manifest.json").write_text(json.dumps(data))


def _exchange_entries(folder):
    place = folder / "entries.jsonl"
    lines = place.read_bytes().splitlines(keepends=True)
    lines[1], lines[2] = lines[2], lines[1]
    place.write_bytes(b"".join(lines))
    data = json.loads((folder / "manifest.json").read_text())
    data["entries_sha256"] = hashlib.sha256(place.read_bytes()).hexdigest()
    (folder / "manifest.json").write_text(json.dumps(data))


@pytest.mark.parametrize(
    ("spoil", "told"),
    [
        (_alter_entry, "was altered"),
        (_alter_entry_and_manifest, "does not follow on"),
        (_exchange_entries, "Entry 2 does not follow on"),
        (_drop_last_entry, "Entry 6 is missing"),
        (lambda folder: _first_evidence(folder).unlink(), "is missing"),
        (lambda folder: _first_evidence(folder).write_bytes(b"x"), "no longer what it was"),
        (lambda folder: (folder / "entries.jsonl").unlink(), "missing or was altered"),
        (lambda folder: (folder / "manifest.json").unlink(), "is no backup"),
        (lambda folder: (folder / "manifest.json").write_text("[]"), "is no backup"),
        (
            lambda folder: (folder / "recordings" / "bench-1" / "live.nzr").write_bytes(b""),
            "was altered",
        ),
    ],
)
def test_a_spoilt_backup_is_refused_before_anything_is_made(filled, tmp_path, rows_of, spoil, told):
    backup(filled, tmp_path / "copy", quiet, now)
    spoil(tmp_path / "copy")

    with pytest.raises(RecordFault, match=told):
        restore(tmp_path / "copy", tmp_path / "again", rows_of, quiet)
    assert not list(tmp_path.glob("again*"))


@pytest.mark.parametrize("name", ["../outside", "/etc/passwd", "a/../../b", "c:x", "a\\b", ""])
def test_a_backup_cannot_write_outside_its_place(filled, tmp_path, rows_of, name):
    backup(filled, tmp_path / "copy", quiet, now)
    place = tmp_path / "copy" / "manifest.json"
    data = json.loads(place.read_text())
    data["recordings"] = {name: hashlib.sha256(b"").hexdigest()}
    place.write_text(json.dumps(data))

    with pytest.raises(RecordFault, match="name of a file in a backup"):
        restore(tmp_path / "copy", tmp_path / "again", rows_of, quiet)


def test_of_a_record_that_is_not_sound_all_that_is_left_is_copied_and_said(filled, made, tmp_path):
    made.tamper(filled.records, "DELETE FROM entry WHERE number = 3")
    _first_evidence(filled.folder).unlink()

    with pytest.raises(RecordFault, match=r"not sound(.|\n)*Entry 3 is missing"):
        backup(filled, tmp_path / "copy", quiet, now)
    assert not (tmp_path / "copy").exists()
    left = tmp_path / "copy.partial"
    assert len((left / "entries.jsonl").read_bytes().splitlines()) == 5
    # Of six files one is gone; entry 3's is named by no entry any more.
    assert len([one for one in (left / "evidence").rglob("*") if one.is_file()]) in (4, 5)
    assert check_backup(left, quiet) != []


def test_a_backup_is_for_its_owners_eyes_only(filled, tmp_path):
    backup(filled, tmp_path / "copy", quiet, now)

    for one in [tmp_path / "copy", *(tmp_path / "copy").rglob("*")]:
        assert one.stat().st_mode & 0o077 == 0, one
    assert read_manifest(tmp_path / "copy").made_at == now()


@pytest.mark.parametrize("inside", ["copy", "recordings/copy", "evidence/ab/copy", "x/../copy"])
def test_a_copy_within_the_record_itself_is_refused(filled, tmp_path, rows_of, inside):
    with pytest.raises(RecordFault, match="lies within"):
        backup(filled, filled.folder / inside, quiet, now)
    backup(filled, tmp_path / "copy", quiet, now)
    with pytest.raises(RecordFault, match="lies within"):
        restore(tmp_path / "copy", tmp_path / "copy" / inside, rows_of, quiet)

    assert check_backup(tmp_path / "copy", quiet) == []


def test_what_the_benches_are_comes_back_too(filled, tmp_path, rows_of):
    (filled.folder / "instruments").mkdir()
    (filled.folder / "instruments" / "bench-1.toml").write_bytes(b'kind = "invented"\r\n')
    (filled.folder / "instruments" / "notes.txt").write_text("nothing of the program's")
    (filled.folder / "screens.key").write_bytes(b"a secret, which stays here")
    backup(filled, tmp_path / "copy", quiet, now)
    restore(tmp_path / "copy", tmp_path / "again", rows_of, quiet)

    kept = tmp_path / "again" / "instruments"
    assert [one.name for one in kept.iterdir()] == ["bench-1.toml"]
    assert (kept / "bench-1.toml").read_bytes() == b'kind = "invented"\r\n'
    assert not (tmp_path / "again" / "screens.key").exists()
    (tmp_path / "copy" / "instruments" / "bench-1.toml").write_text("kind = 'another'")
    with pytest.raises(RecordFault, match="was altered"):
        restore(tmp_path / "copy", tmp_path / "third", rows_of, quiet)


def test_a_backup_of_the_time_before_instruments_were_kept_can_be_restored(
    filled, tmp_path, rows_of
):
    backup(filled, tmp_path / "copy", quiet, now)
    place = tmp_path / "copy" / "manifest.json"
    data = json.loads(place.read_text())
    del data["beside"]
    place.write_text(json.dumps(data))
    restore(tmp_path / "copy", tmp_path / "again", rows_of, quiet)

    assert (tmp_path / "again" / "record.sqlite").exists()


@pytest.mark.parametrize(
    "name", ["screens.key", "record.sqlite", "instruments/../store.toml", "instruments/a/b.toml",
             "instruments/run.sh", "evidence/x.toml"],
)  # fmt: skip
def test_a_backup_brings_nothing_along_that_is_none_of_its_things(filled, tmp_path, rows_of, name):
    backup(filled, tmp_path / "copy", quiet, now)
    place = tmp_path / "copy" / "manifest.json"
    data = json.loads(place.read_text())
    data["beside"] = {name: hashlib.sha256(b"").hexdigest()}
    place.write_text(json.dumps(data))

    with pytest.raises(RecordFault, match="name of a file in a backup"):
        restore(tmp_path / "copy", tmp_path / "again", rows_of, quiet)
    assert not list(tmp_path.glob("again*"))


def test_a_line_that_is_no_text_is_found(filled, tmp_path):
    backup(filled, tmp_path / "copy", quiet, now)
    place = tmp_path / "copy" / "entries.jsonl"
    place.write_bytes(place.read_bytes().replace(b"A. N. Other", b"A. N. \xff\xfe\x80er", 1))
    data = json.loads((tmp_path / "copy" / "manifest.json").read_text())
    data["entries_sha256"] = hashlib.sha256(place.read_bytes()).hexdigest()
    (tmp_path / "copy" / "manifest.json").write_text(json.dumps(data))

    assert [one.number for one in check_backup(tmp_path / "copy", quiet)] == [2]


def test_a_backup_that_is_killed_leaves_no_copy_that_looks_whole(filled, tmp_path):
    for n in range(300):
        filled.evidence.keep(f"{n}".encode() * 400, "csv")
    program = [sys.executable, "-c", PROGRAM]
    if filled.records.engine.dialect.name == "postgresql":
        url = filled.records.engine.url.set(drivername="postgresql")
        set_url(filled.folder, url.render_as_string(hide_password=False))
    for wait_s in (0.0, 0.02, 0.05):
        copying = subprocess.Popen([*program, "backup", filled.folder, tmp_path / "copy"])
        deadline = time.monotonic() + 120
        while not (tmp_path / "copy.partial").exists() and time.monotonic() < deadline:
            time.sleep(0.002)
        time.sleep(wait_s)
        copying.kill()
        copying.wait(120)
        if (tmp_path / "copy").exists():  # it was quicker
            assert check_backup(tmp_path / "copy", quiet) == []
            shutil.rmtree(tmp_path / "copy")
        else:
            with pytest.raises(RecordFault, match=r"copy\.partial is there already"):
                backup(filled, tmp_path / "copy", quiet, now)
            shutil.rmtree(tmp_path / "copy.partial")
    assert verify(filled.records, filled.evidence, quiet) == []
    backup(filled, tmp_path / "copy", quiet, now)
