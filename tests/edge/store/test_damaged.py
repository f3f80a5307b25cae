"""What befalls files: cut off, overwritten, emptied, left behind, protected. Nothing is hidden."""

from __future__ import annotations

import os
import random
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from nozzlewright.edge.cli import main
from nozzlewright.edge.store import backup, check_backup, open_records, open_store, restore, verify
from nozzlewright.errors import RecordFault

PAGE = 4096
"""https://sqlite.org/pragma.html#pragma_page_size: what a new database has."""


def quiet(_: str) -> None:
    """Take note of nothing."""


def made_store(folder, made, entries=240):
    store = open_store(folder)
    for n in range(entries // 6):
        digest = store.evidence.keep(f"trace {n}".encode(), "csv")
        body = {"words": "invented " * 40}
        drafts = [made.draft(f"J-{n % 3}", evidence=(digest,), body=body) for _ in range(6)]
        store.records.take_in(drafts, rows=[made.job_row(f"J-{n % 3}")])
    return store


@pytest.fixture(scope="module")
def whole(tmp_path_factory, made):
    folder = tmp_path_factory.mktemp("whole") / "shop"
    made_store(folder, made).close()
    return folder


@pytest.fixture
def shop(whole, tmp_path):
    return shutil.copytree(whole, tmp_path / "shop")


def told(capsys, *command):
    status = main([*map(str, command)])
    said = capsys.readouterr()
    assert "Traceback" not in said.err
    return status, said.out + said.err


# -- the file of the record ------------------------------------------------------------------------


def _cut(content):
    return content[: len(content) // 2]


def _cut_oddly(content):
    return content[:5000]


def _other_file(content):
    return b"these are not the tables of anything" * 200


def _no_header(content):
    return bytes(100) + content[100:]


@pytest.mark.parametrize("spoil", [_cut, _cut_oddly, _other_file, _no_header])
@pytest.mark.parametrize("command", ["verify", "backup", "serve"])
def test_a_file_that_is_damaged_is_said_to_be_so_with_what_to_do(
    shop, capsys, tmp_path, spoil, command
):
    place = shop / "record.sqlite"
    place.write_bytes(spoil(place.read_bytes()))
    more = {"backup": [tmp_path / "copy"], "serve": ["--port", "0"]}.get(command, [])

    status, said = told(capsys, command, shop, *more)

    assert status == 2
    assert "file of the record is damaged" in said
    assert "restore the newest backup" in said


def test_a_record_that_was_emptied_is_no_sound_record_of_nothing(shop, capsys, tmp_path):
    (shop / "record.sqlite").write_bytes(b"")

    status, said = told(capsys, "verify", shop)
    assert (status, "Entries 1 to 240 are missing" in said) == (1, True)
    status, said = told(capsys, "backup", shop, tmp_path / "copy")
    assert (status, "entry 240 was on disk already" in said) == (2, True)
    status, said = told(capsys, "serve", shop, "--port", "0")
    assert (status, "entry 240 was on disk already" in said) == (2, True)


def test_a_record_that_was_removed_is_not_begun_anew_in_silence(shop, capsys):
    (shop / "record.sqlite").unlink()

    with pytest.raises(RecordFault, match="entry 240 was on disk already"):
        open_store(shop)
    status, said = told(capsys, "verify", shop)
    assert (status, "Entries 1 to 240 are missing" in said) == (1, True)


def test_a_copy_by_hand_that_lacks_the_log_is_found(tmp_path, made, capsys):
    store = made_store(tmp_path / "shop", made, 12)
    with store.records.engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    store.records.take_in([made.draft()])
    shutil.copytree(tmp_path / "shop", tmp_path / "copy", ignore=shutil.ignore_patterns("*-*"))
    store.close()

    status, said = told(capsys, "verify", tmp_path / "copy")
    assert (status, "Entry 13 is missing" in said) == (1, True)
    with pytest.raises(RecordFault, match=r"record\.sqlite-wal"):
        open_store(tmp_path / "copy")


def _noise(count):
    return random.Random(5).randbytes(count)  # noqa: S311 - spoilt bytes, not secrets


@pytest.mark.parametrize("filling", [bytes, _noise])
def test_whatever_page_is_overwritten_it_is_found_and_told(shop, capsys, filling):
    place = shop / "record.sqlite"
    content = place.read_bytes()
    pages = len(content) // PAGE
    assert pages > 40
    for page in range(1, pages, 3):
        start = page * PAGE
        place.write_bytes(content[:start] + filling(PAGE) + content[start + PAGE :])
        status, said = told(capsys, "verify", shop)
        assert status in (1, 2), page
        assert "damaged" in said or "Entr" in said, (page, said)


def test_what_was_found_before_a_page_that_cannot_be_read_is_told_too(shop, made, monkeypatch):
    monkeypatch.setattr("nozzlewright.edge.store.database._PAGE", 10)
    records = open_records(shop / "record.sqlite")
    made.tamper(records, "UPDATE entry SET who = 'Somebody' WHERE number = 2")
    with records.engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    records.close()
    place = shop / "record.sqlite"
    content = place.read_bytes()
    # The leaf in which one of the last entries stands.
    at = content.rfind(b'"number":235,') // PAGE * PAGE
    place.write_bytes(content[:at] + b"\xff" * PAGE + content[at + PAGE :])
    store = open_store(shop, shortened=True)

    said = [str(one) for one in verify(store.records, store.evidence, quiet)]
    assert any("Entry 2 is filed under another who" in one for one in said)
    assert any("entries cannot be read to their end" in one for one in said)
    store.close()


def test_a_copy_of_what_can_still_be_read_is_made_and_the_damage_said(shop, tmp_path, made):
    place = shop / "record.sqlite"
    content = place.read_bytes()
    store = open_store(shop)
    with store.records.engine.connect() as connection:
        wanted = "SELECT rootpage FROM sqlite_master WHERE name = 'entry_kind'"
        root = connection.exec_driver_sql(wanted).scalar()
    store.close()
    at = (root - 1) * PAGE  # an index: none of the entries themselves
    place.write_bytes(content[:at] + bytes(PAGE) + content[at + PAGE :])
    store = open_store(shop)

    with pytest.raises(RecordFault, match="can be restored, but the file of the record itself"):
        backup(store, tmp_path / "copy", quiet, lambda: made.NOW)
    store.close()
    assert check_backup(tmp_path / "copy", quiet) == []
    restore(tmp_path / "copy", tmp_path / "again", lambda _: [], quiet)
    again = open_store(tmp_path / "again")
    assert again.records.head()[0] == 240
    assert verify(again.records, again.evidence, quiet) == []
    again.close()


# -- rights ----------------------------------------------------------------------------------------

PROGRAM = "import sys; from nozzlewright.edge.cli import main; sys.exit(main())"
DROPPED = "-dac_override,-dac_read_search"
WITHOUT_RIGHTS = ["setpriv", "--bounding-set", DROPPED, "--inh-caps", "-all"]
"""Root may read everything; this takes that away (util-linux)."""


def _as_anybody(*command):
    before = WITHOUT_RIGHTS if os.geteuid() == 0 else []
    program = [sys.executable, "-c", PROGRAM]
    run = subprocess.run(
        [*before, *program, *map(str, command)], capture_output=True, text=True, timeout=120
    )
    return run.returncode, run.stdout + run.stderr


@pytest.mark.skipif(os.name != "posix", reason="rights are of another kind there")
@pytest.mark.parametrize(
    ("what", "mode", "command", "words"),
    [
        (".", 0o000, "verify", "cannot be looked into"),
        (".", 0o000, "backup", "cannot be looked into"),
        (".", 0o000, "serve", "cannot be made"),
        (".", 0o500, "serve", "cannot be opened for writing"),
        ("record.sqlite", 0o000, "verify", "cannot be opened for writing"),
        ("record.sqlite", 0o400, "serve", "cannot be opened for writing"),
        ("screens.key", 0o000, "serve", "yours to read and write"),
    ],
)
def test_what_may_not_be_read_or_written_is_said(shop, tmp_path, what, mode, command, words):
    (shop / "screens.key").write_bytes(bytes(range(32)))
    place = shop / what
    before = place.stat().st_mode
    place.chmod(mode)
    more = {"backup": [tmp_path / "copy"], "serve": ["--port", "0"]}.get(command, [])
    try:
        status, said = _as_anybody(command, shop, *more)
    finally:
        place.chmod(before)

    assert (status, "Traceback" in said) == (2, False)
    assert words in said


@pytest.mark.skipif(os.name != "posix", reason="rights are of another kind there")
def test_evidence_that_may_not_be_read_is_not_said_to_be_missing(shop):
    folder = next(one for one in (shop / "evidence").iterdir())
    for place in (folder, next(folder.iterdir())):
        before = place.stat().st_mode
        place.chmod(0)
        try:
            status, said = _as_anybody("verify", shop)
        finally:
            place.chmod(before)
        assert (status, said.count("cannot be read (Permission denied)")) == (1, 1)
        assert "is missing. Look" not in said


# -- room ------------------------------------------------------------------------------------------

FULL_DISK = """
import importlib.util, resource, sys
from pathlib import Path
found = importlib.util.spec_from_file_location("made", sys.argv[2])
made = importlib.util.module_from_spec(found)
sys.modules["made"] = made
found.loader.exec_module(made)
from nozzlewright.edge.store import open_store, verify
from nozzlewright.errors import RecordFault
store = open_store(Path(sys.argv[1]))
lowest = 4 * 2**20
resource.setrlimit(resource.RLIMIT_FSIZE, (300_000, lowest * 100))
taken, refused = 0, []
for n in range(400):
    digest = store.evidence.keep(f"trace {n}".encode(), "csv")
    draft = made.draft(evidence=(digest,), body={"words": "x" * 2000})
    try:
        store.records.take_in([draft])
        taken += 1
    except RecordFault as fault:
        refused.append((draft, str(fault)))
        if len(refused) == 3:
            break
assert len(refused) == 3, refused
assert all("do it again" in words for _, words in refused), refused
assert len(store.records.story("J-1")) == taken == store.records.head()[0]
resource.setrlimit(resource.RLIMIT_FSIZE, (lowest * 100, lowest * 100))
store.records.take_in([draft for draft, _ in refused])
assert verify(store.records, store.evidence, lambda _: None) == []
print(store.records.head()[0] - taken)
"""


@pytest.mark.skipif(os.name != "posix", reason="there is no such limit there")
def test_a_disk_that_is_full_loses_nothing_and_takes_it_once_there_is_room(tmp_path):
    helpers = Path(__file__).parents[2] / "store_contract" / "made.py"
    run = subprocess.run(
        [sys.executable, "-c", FULL_DISK, tmp_path / "shop", helpers],
        capture_output=True,
        text=True,
        timeout=300,
    )

    assert (run.returncode, run.stdout.strip()) == (0, "3"), run.stderr
