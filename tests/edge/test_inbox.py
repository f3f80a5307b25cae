"""Recordings that are files: offered from a drop folder until the record holds them."""

from __future__ import annotations

import gzip
import os
import threading
from datetime import UTC, datetime

import pytest

from nozzlewright.edge.intake.live import FolderSpec
from nozzlewright.edge.store import INSTRUMENTS, EvidenceFiles
from nozzlewright.edge.wiring import inbox as inbox_module
from nozzlewright.edge.wiring.benches import benches_of
from nozzlewright.edge.wiring.inbox import Inbox
from nozzlewright.edge.wiring.live import forget, lay_aside, open_recordings
from nozzlewright.edge.wiring.shop import open_shop
from nozzlewright.errors import InputFault, NotAllowed
from nozzlewright.records import Draft, EntryKind

CSV = "time_s,pressure_bar\n" + "".join(f"{k / 100:.3f},{k % 7}.5\n" for k in range(50))
ABOUT = "job--injector--as-found--"


@pytest.fixture
def evidence(tmp_path):
    return EvidenceFiles(tmp_path / "evidence")


@pytest.fixture
def drop(tmp_path):
    folder = tmp_path / "drop"
    folder.mkdir()
    return folder


@pytest.fixture
def inbox(tmp_path, evidence, drop):
    return Inbox(tmp_path / "from-files", evidence, (FolderSpec("logger", drop, settle_s=0.01),))


def looked(inbox):
    """Look until a file that lies still counts as whole."""
    for _ in range(3):
        inbox.drop_folders[0].look()
        threading.Event().wait(0.02)
    return inbox.offers()


def test_what_lies_in_the_folder_is_offered_with_what_cannot_be_read_and_why(inbox, drop):
    (drop / "good.csv").write_text(CSV)
    os.utime(drop / "good.csv", (1000.0, 1000.0))
    (drop / "bad.csv").write_text("pressure\nnone\n")
    bad, good = looked(inbox)
    assert (good.path.name, good.seconds) == ("good.csv", pytest.approx(0.49))
    assert good.at.timestamp() == 1000.0
    assert not good.why_not
    assert bad.seconds is None
    assert bad.why_not
    with pytest.raises(NotAllowed):
        inbox.take(ABOUT, bad.digest)


def test_one_that_was_taken_waits_for_its_test_with_its_bytes_and_is_not_offered(inbox, drop):
    (drop / "a.txt").write_text(CSV)
    (one,) = looked(inbox)
    inbox.take(ABOUT, one.digest)
    (waiting,) = open_recordings(inbox, ABOUT)
    assert (waiting.place, waiting.kind, waiting.finished) == (inbox.name, "txt", True)
    assert waiting.path.read_text() == CSV
    assert open_recordings(inbox, "another--") == []
    assert inbox.offers() == []
    with pytest.raises(NotAllowed, match="drop folder"):
        inbox.take(ABOUT, one.digest)
    lay_aside(waiting)
    assert [offer.digest for offer in inbox.offers()] == [one.digest]
    assert (drop / "a.txt").read_text() == CSV


def test_what_the_record_holds_is_never_offered_again_whatever_its_name(
    inbox, drop, evidence, tmp_path
):
    (drop / "a.csv").write_text(CSV)
    (one,) = looked(inbox)
    inbox.take(ABOUT, one.digest)
    (waiting,) = open_recordings(inbox, ABOUT)
    evidence.keep(waiting.path.read_bytes(), waiting.kind)
    forget(waiting)
    assert looked(inbox) == []
    (drop / "a.csv").rename(drop / "b.csv")
    assert looked(inbox) == []
    begun_again = Inbox(tmp_path / "from-files", evidence, (FolderSpec("logger", drop, 0.01),))
    assert looked(begun_again) == []


def test_evidence_that_no_entry_names_is_offered_again_until_one_does(
    drop, evidence, tmp_path, helper
):
    records = helper("workflow/in_memory.py").RecordsInMemory()
    spec = FolderSpec("logger", drop, settle_s=0.01)
    (drop / "a.csv").write_text(CSV)
    digest = evidence.keep(CSV.encode(), "csv")  # and the program ended before the entry

    begun = Inbox(tmp_path / "from-files", evidence, (spec,), records)
    assert [one.digest for one in looked(begun)] == [digest]
    at = datetime(2024, 5, 17, tzinfo=UTC)
    records.take_in(
        [Draft("1", "shop", EntryKind.PERSON, "A. N. Other", at, {}, evidence=(digest,))]
    )
    assert begun.offers() == []
    begun_again = Inbox(tmp_path / "from-files", evidence, (spec,), records)
    assert looked(begun_again) == []


def test_a_file_in_the_folder_that_is_too_large_is_not_read_and_stays_where_it_is(
    evidence, drop, tmp_path
):
    spec = FolderSpec("logger", drop, settle_s=0.01, largest_bytes=2**20)
    inbox = Inbox(tmp_path / "from-files", evidence, (spec,))
    rows = (len(CSV.encode()) // 50 + 2**20) // 8
    (drop / "large.csv").write_text("time_s,pressure_bar\n" + "0.1,12.5\n" * rows)
    packed = gzip.compress(b"time_s,pressure_bar\n" + b"0.1,12.5\n" * rows)
    assert len(packed) < 2**20
    (drop / "packed.csv.gz").write_bytes(packed)
    (drop / "good.csv").write_text(CSV)
    offers = {one.path.name: one for one in looked(inbox)}
    assert offers["good.csv"].seconds is not None
    assert offers["large.csv"].seconds is None
    assert offers["large.csv"].why_not == "the file has more than 1 MB"
    assert offers["packed.csv.gz"].seconds is None
    assert offers["packed.csv.gz"].why_not
    assert {path.name for path in drop.iterdir()} == {"large.csv", "packed.csv.gz", "good.csv"}
    with pytest.raises(NotAllowed):
        inbox.take(ABOUT, offers["large.csv"].digest)


def test_one_that_is_renamed_before_it_is_taken_is_offered_under_its_new_name(inbox, drop):
    (drop / "a.csv").write_text(CSV)
    assert len(looked(inbox)) == 1
    (drop / "a.csv").rename(drop / "injector 3.csv")
    looked(inbox)
    assert [one.path.name for one in looked(inbox)] == ["injector 3.csv"]
    (drop / "injector 3.csv").unlink()
    assert looked(inbox) == []


def test_a_folder_that_is_not_there_is_told_and_looked_into_when_it_comes(inbox, drop):
    drop.rmdir()
    assert looked(inbox) == []
    assert str(drop) in inbox.drop_folders[0].fault
    drop.mkdir()
    (drop / "a.csv").write_text(CSV)
    assert len(looked(inbox)) == 1
    assert not inbox.drop_folders[0].fault


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("a.exe", CSV.encode()),
        ("a.csv", b""),
        ("a.parquet", b"PAR1 but not more"),
        ("a.gz", b"\x1f\x8b and nonsense"),
    ],
)
def test_a_file_that_is_no_recording_is_refused_at_its_field_and_nothing_waits(
    inbox, name, content
):
    with pytest.raises(InputFault) as told:
        inbox.put(ABOUT, name, content, "file")
    assert {fault.where for fault in told.value.faults} == {"file"}
    assert all(fault.what for fault in told.value.faults)
    assert open_recordings(inbox, ABOUT) == []


def test_a_file_that_is_too_large_is_refused(inbox, monkeypatch):
    monkeypatch.setattr(inbox_module, "LARGEST", 100)
    with pytest.raises(InputFault, match="MB"):
        inbox.put(ABOUT, "a.csv", CSV.encode(), "file")


def test_an_instrument_file_of_the_kind_folder_makes_a_drop_folder_that_is_looked_into(
    tmp_path, drop, monkeypatch
):
    monkeypatch.setattr(inbox_module, "LOOK_EVERY_S", 0.02)
    shop = open_shop(tmp_path / "shop")
    try:
        place = tmp_path / "shop" / INSTRUMENTS
        place.mkdir()
        (place / "logger.toml").write_text(
            f'kind = "folder"\nname = "logger"\nfolder = "{drop.as_posix()}"\nsettle_s = 0.01\n'
        )
        benches, inbox = benches_of(shop.store)
        assert benches == {}
        (drop / "a.csv").write_text(CSV)
        inbox.start()
        try:
            waited = threading.Event()
            for _ in range(250):
                if inbox.offers():
                    break
                waited.wait(0.02)
            assert [one.path.name for one in inbox.offers()] == ["a.csv"]
        finally:
            inbox.stop()
        inbox.take(ABOUT, inbox.offers()[0].digest)
        assert open_recordings(inbox, ABOUT)[0].path.is_relative_to(shop.store.recordings)
    finally:
        shop.close()
