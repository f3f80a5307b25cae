"""One folder holds all that a workshop keeps."""

from __future__ import annotations

import os
import sqlite3

import pytest

from nozzlewright.edge.store import is_store, open_records, open_store
from nozzlewright.errors import RecordFault


def test_a_store_is_made_where_there_is_none(tmp_path):
    folder = tmp_path / "workshop"
    assert not is_store(folder)
    store = open_store(folder)
    store.close()

    assert is_store(folder)
    assert sorted(one.name for one in folder.iterdir()) == [
        "evidence",
        "record.sqlite",
        "recordings",
    ]
    assert store.recordings == folder / "recordings"


def test_a_store_is_for_its_owners_eyes_only(tmp_path):
    before = os.umask(0)
    try:
        store = open_store(tmp_path / "workshop")
        store.records.jobs()
        opened = list((tmp_path / "workshop").iterdir())
        for one in [tmp_path / "workshop", *opened]:
            assert one.stat().st_mode & 0o077 == 0, one
        store.close()
    finally:
        os.umask(before)
    assert any(one.name == "record.sqlite-wal" for one in opened)


def test_the_record_is_written_through_to_the_disk(tmp_path):
    store = open_store(tmp_path / "workshop")
    with store.records.engine.connect() as connection:
        asked = {
            name: connection.exec_driver_sql(f"PRAGMA {name}").scalar()
            for name in ("journal_mode", "synchronous", "foreign_keys", "busy_timeout")
        }
    store.close()

    # https://sqlite.org/pragma.html#pragma_synchronous: 2 is FULL
    assert asked == {
        "journal_mode": "wal", "synchronous": 2, "foreign_keys": 1, "busy_timeout": 10_000
    }  # fmt: skip


@pytest.mark.parametrize(
    "text", ["url = 3", "url =", 'url = "sqlite:///x"\nmore = 1', "[url]", "\udcff", 'uri = "x"']
)
def test_a_setting_that_cannot_be_understood_is_said(tmp_path, text):
    (tmp_path / "store.toml").write_bytes(text.encode(errors="surrogateescape"))

    with pytest.raises(RecordFault, match=r"store\.toml"):
        open_store(tmp_path)
    assert not (tmp_path / "record.sqlite").exists()


@pytest.mark.parametrize(
    ("url", "told"),
    [
        ("mysql://user@host/database", "not by mysql"),
        ("nonsense://", "not by nonsense"),
        ("://", "cannot be read"),
        ("sqlite://", "not by sqlite"),
    ],
)
def test_another_database_is_refused(tmp_path, url, told):
    with pytest.raises(RecordFault, match=told):
        open_store(tmp_path, url)


def test_a_file_that_is_no_record_is_left_as_it_is(tmp_path):
    place = tmp_path / "record.sqlite"
    place.write_bytes(b"these are not the tables of anything" * 100)
    before = place.read_bytes()

    with pytest.raises(RecordFault, match="not a database"):
        open_records(place)
    assert place.read_bytes() == before


def test_a_folder_that_cannot_be_made_is_said(tmp_path):
    (tmp_path / "file").write_text("in the way")
    for place in (tmp_path / "file" / "workshop", tmp_path / "file"):
        with pytest.raises(RecordFault, match="cannot be made"):
            open_store(place)
    with pytest.raises(RecordFault, match="cannot be made"):
        open_records(tmp_path / "no such folder" / "record.sqlite")


def test_a_record_that_another_program_holds_is_waited_for_then_said(tmp_path, monkeypatch):
    monkeypatch.setattr("nozzlewright.edge.store.database.BUSY_S", 0.2)
    records = open_records(tmp_path / "record.sqlite")
    other = sqlite3.connect(tmp_path / "record.sqlite", isolation_level=None)
    other.execute("BEGIN IMMEDIATE")

    with pytest.raises(RecordFault, match=r"locked.*do it again"):
        records.put_rows([])
    assert records.jobs() == []  # reading goes on meanwhile
    other.execute("ROLLBACK")
    records.put_rows([])
    other.close()
    records.close()
