"""Evidence is named by its digest, written once, and never altered unseen."""

from __future__ import annotations

import hashlib
import threading

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from nozzlewright.edge.store import EvidenceFiles
from nozzlewright.errors import EvidenceFault


@pytest.fixture
def evidence(tmp_path):
    return EvidenceFiles(tmp_path / "evidence")


def files(evidence):
    return [one for one in evidence.folder.rglob("*") if one.is_file()]


def test_a_file_is_named_by_its_sha_256(evidence):
    digest = evidence.keep(b"a trace", "csv")

    assert digest == hashlib.sha256(b"a trace").hexdigest()
    assert files(evidence) == [evidence.folder / digest[:2] / f"{digest[2:]}.csv"]
    assert evidence.read(digest) == b"a trace"
    assert evidence.kind(digest) == "csv"
    assert list(evidence.digests()) == [digest]


def test_an_empty_folder_has_no_evidence(evidence):
    assert list(evidence.digests()) == []
    with pytest.raises(EvidenceFault, match="missing"):
        evidence.read("0" * 64)


def test_the_same_content_is_kept_once_whatever_it_is_called(evidence):
    digest = evidence.keep(b"a trace", "csv")
    before = files(evidence)[0].stat()

    assert evidence.keep(b"a trace", "txt") == digest
    assert [one.stat() for one in files(evidence)] == [before]


def test_an_altered_file_is_not_given_out(evidence):
    digest = evidence.keep(b"a trace", "csv")
    files(evidence)[0].write_bytes(b"a tracE")

    for ask in (evidence.read, evidence.check):
        with pytest.raises(EvidenceFault, match="no longer what it was"):
            ask(digest)


def test_a_spoilt_file_is_mended_when_its_content_comes_again(evidence):
    digest = evidence.keep(b"a trace", "csv")
    files(evidence)[0].write_bytes(b"")
    evidence.keep(b"a trace", "csv")

    assert evidence.read(digest) == b"a trace"
    assert len(files(evidence)) == 1


@pytest.mark.parametrize(
    "digest",
    ["", "..", "../../etc/passwd", "0" * 63, "0" * 65, "A" * 64, "0" * 64 + "\n", "*" * 64,
     "/" + "0" * 63, "0" * 62 + "..", "٠" * 64],
)  # fmt: skip
def test_only_digests_reach_the_file_system(evidence, digest):
    evidence.keep(b"a trace", "csv")
    for ask in (evidence.read, evidence.check, evidence.kind):
        with pytest.raises(EvidenceFault, match="64 hexadecimal digits"):
            ask(digest)


@pytest.mark.parametrize("kind", ["", "../x", "a/b", ".csv", "CSV", "c sv", "x" * 17, "csv\n"])
def test_only_plain_endings_reach_the_file_system(evidence, kind):
    with pytest.raises(ValueError, match="no kind"):
        evidence.keep(b"a trace", kind)
    assert not evidence.folder.exists()


def test_what_was_cut_off_in_the_middle_is_no_evidence(evidence):
    digest = evidence.keep(b"a trace", "csv")
    (evidence.folder / digest[:2] / f".{digest[2:18]}-left").write_bytes(b"half")
    (evidence.folder / "stray.txt").write_text("something else")

    assert list(evidence.digests()) == [digest]


def test_evidence_is_for_its_owners_eyes_only(evidence):
    evidence.keep(b"a trace", "csv")

    for one in [evidence.folder, *evidence.folder.rglob("*")]:
        assert one.stat().st_mode & 0o077 == 0, one


def test_a_disk_that_takes_nothing_is_said(tmp_path):
    (tmp_path / "in the way").write_text("a file where the folder should be")

    with pytest.raises(EvidenceFault, match="cannot be written"):
        EvidenceFiles(tmp_path / "in the way").keep(b"a trace", "csv")


def test_the_same_evidence_from_many_hands_at_once_is_one_file(evidence):
    digests = []
    start = threading.Barrier(8)

    def keep() -> None:
        start.wait()
        digests.append(evidence.keep(b"a trace" * 10_000, "csv"))

    threads = [threading.Thread(target=keep) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert len(digests) == 8
    assert len(set(digests)) == len(files(evidence)) == 1


@settings(max_examples=30, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(content=st.binary(max_size=2000))
def test_whatever_is_kept_is_given_back(evidence, content):
    assert evidence.read(evidence.keep(content, "csv")) == content
