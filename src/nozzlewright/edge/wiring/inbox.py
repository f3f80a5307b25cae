"""Recordings that are files: offered from drop folders, or sent from a screen.

One that is taken is copied to a folder of the record, named after the test that it belongs to, and
waits there to be saved like one that was recorded here.
"""

from __future__ import annotations

import logging
import secrets
import tempfile
import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from nozzlewright.edge.intake.live import Dropped, FolderSpec, FolderWatch
from nozzlewright.edge.intake.recording import read_recording
from nozzlewright.edge.intake.source import digest_of
from nozzlewright.edge.store import EvidenceFiles
from nozzlewright.edge.store.files import make_folder, write_safely
from nozzlewright.errors import (
    EvidenceFault,
    Fault,
    InputFault,
    InstrumentFault,
    NotAllowed,
    RecordingFault,
    UploadFault,
)
from nozzlewright.records import from_payload
from nozzlewright.said import say
from nozzlewright.workflow.ports import Records

KINDS: Mapping[str, str] = {
    ".csv": "csv",
    ".tsv": "tsv",
    ".txt": "txt",
    ".gz": "gz",
    ".parquet": "parquet",
}
"""Endings of recordings that are taken in, and the kind under which they are kept."""
LARGEST = 24 * 1024 * 1024
"""Bytes of a recording that is sent from a screen (common practice, no source)."""
LARGEST_UNPACKED = 64 * 1024 * 1024
"""Bytes to which it may unpack; nearly half an hour at 5 kHz (common practice, no source)."""
LOOK_EVERY_S = 1.0

_log = logging.getLogger("nozzlewright.inbox")


def checked_recording(name: str, content: bytes, where: str) -> str:
    """Read a recording that was sent from a screen; return its kind.

    Parameters
    ----------
    name : str
        Name of the file, of which only the ending counts
    content : bytes
        What was sent
    where : str
        Name of the field, for the faults

    Raises
    ------
    InputFault
        If it is no recording, or too large.
    """
    ending = Path(name).suffix.lower()
    kind = KINDS.get(ending)
    if kind is None:
        raise UploadFault(
            Fault(
                say("this is no recording that can be read here"),
                where,
                say("Send a file that ends in .csv, .tsv, .txt, .gz or .parquet"),
            )
        )
    if len(content) > LARGEST:
        raise UploadFault(
            Fault(
                say("the recording has more than {limit} MB", limit=LARGEST // 2**20),
                where,
                say("Send the part alone that belongs to this test"),
            )
        )
    with tempfile.TemporaryDirectory(prefix="nozzlewright-") as folder:
        path = Path(folder) / f"recording{ending}"
        path.write_bytes(content)
        try:
            read_recording(path, largest_bytes=LARGEST_UNPACKED)
        except InputFault as fault:
            raise RecordingFault(
                Fault(one.what, where, one.remedy) for one in fault.faults
            ) from None
    return kind


@dataclass(frozen=True)
class Offer:
    """A file in a drop folder."""

    path: Path
    digest: str
    at: datetime
    """When it was written."""
    seconds: float | None
    """How long it is; None where it cannot be read."""
    why_not: str = ""
    """Why it cannot be read."""


class Held:
    """What the record holds: evidence that lies in its folder and that an entry names.

    A file that was kept as evidence, and whose entry was never written because the program ended
    between the two, is not in the record: it is to be offered again.

    Parameters
    ----------
    evidence : EvidenceFiles
        The folder
    records : Records, optional
        The entries; None: all that lies in the folder counts
    """

    def __init__(self, evidence: EvidenceFiles, records: Records | None = None) -> None:
        self._evidence, self._records = evidence, records
        self._named: set[str] = set()
        self._read = 0
        self._lock = threading.Lock()

    def __contains__(self, digest: str) -> bool:
        """Tell whether the record holds a file of this digest."""
        if not digest or not self._lies_there(digest):
            return False
        return self._records is None or digest in self._all_named(self._records)

    def digests(self) -> set[str]:
        """Return the digests of all that the record holds."""
        lying = set(self._evidence.digests())
        return lying if self._records is None else lying & self._all_named(self._records)

    def _all_named(self, records: Records) -> set[str]:
        with self._lock:
            for number, text, _ in records.payloads(self._read):
                self._named.update(from_payload(text).draft.evidence)
                self._read = number
            return self._named

    def _lies_there(self, digest: str) -> bool:
        try:
            self._evidence.path(digest)
        except EvidenceFault:
            return False
        return True


class DropFolder:
    """Looks into a drop folder now and then, and keeps in mind what lies there."""

    def __init__(self, spec: FolderSpec, held: Held) -> None:
        self.name = spec.name
        self._held = held
        self._spec = spec
        self._watch: FolderWatch | None = None
        self._offers: dict[Path, tuple[tuple[int, int], Offer]] = {}
        self._fault = ""
        self._lock = threading.Lock()

    def look(self) -> None:
        """Take in what has become whole since the last look."""
        if self._watch is None:
            self._watch = FolderWatch(self._spec, self._held.digests())
        fault, new = "", []
        try:
            new = self._watch.poll()
        except InstrumentFault as told:
            fault = told.args[0]
        found = {one.path: offer for one in new if (offer := _offer(one)) is not None}
        with self._lock:
            self._fault = fault
            gone = [path for path, (look, _) in self._offers.items() if _look_at(path) != look]
            for path in gone:
                # It may lie here under another name.
                self._watch.forget(self._offers.pop(path)[1].digest)
            self._offers |= found

    def offers(self) -> list[Offer]:
        """Return what the record does not hold yet, the newest first."""
        with self._lock:
            known = [offer for _look, offer in self._offers.values()]
        left = [one for one in known if one.digest not in self._held]
        return sorted(left, key=lambda one: one.at, reverse=True)

    @property
    def fault(self) -> str:
        """Why the folder cannot be looked into; or empty."""
        with self._lock:
            return self._fault


def _offer(one: Dropped) -> tuple[tuple[int, int], Offer] | None:
    look = _look_at(one.path)
    if look is None:
        return None
    at = datetime.fromtimestamp(look[1] / 1e9, UTC)
    why_not = one.faults[0].what if one.faults else ""
    seconds = one.recording.duration_s if one.recording is not None else None
    return look, Offer(one.path, one.digest, at, seconds, why_not)


def _look_at(path: Path) -> tuple[int, int] | None:
    """Return size and time of change of a file; None where there is none."""
    try:
        stat = path.stat()
    except OSError:
        return None
    return stat.st_size, stat.st_mtime_ns


class Inbox:
    """Recordings that are files, on their way into the record.

    Parameters
    ----------
    folder : Path
        Where those lie that were taken for a test and wait to be saved
    evidence : EvidenceFiles
        What it holds, and an entry names, is never offered again
    folders : sequence of FolderSpec
        Drop folders
    records : Records, optional
        Where the entries are; None: all evidence counts as named
    """

    name = "/files"
    """Stands on a page where else the name of a bench does; no file can be named so."""

    def __init__(
        self,
        folder: Path,
        evidence: EvidenceFiles,
        folders: Sequence[FolderSpec] = (),
        records: Records | None = None,
    ) -> None:
        self.folder = folder
        held = Held(evidence, records)
        self.drop_folders = tuple(DropFolder(spec, held) for spec in folders)
        self._end = threading.Event()
        self._thread: threading.Thread | None = None

    def start(self) -> None:
        """Look into the drop folders from now on; harmless without any."""
        if self.drop_folders and self._thread is None:
            self._end.clear()
            self._thread = threading.Thread(target=self._look_on, name="inbox", daemon=True)
            self._thread.start()

    def stop(self) -> None:
        """Look no more."""
        self._end.set()
        if self._thread is not None:
            self._thread.join()
            self._thread = None

    def _look_on(self) -> None:
        while True:
            for folder in self.drop_folders:
                try:
                    folder.look()
                except Exception:  # noqa: BLE001 - one folder must not end the looking into the others
                    _log.exception("the drop folder %s failed", folder.name)
            if self._end.wait(LOOK_EVERY_S):
                return

    def offers(self) -> list[Offer]:
        """Return what lies in the drop folders and was taken for no test, the newest first."""
        waiting = {digest_of(path) for path in self.folder.glob("*") if path.suffix in KINDS}
        found = [one for folder in self.drop_folders for one in folder.offers()]
        left = {one.digest or str(one.path): one for one in found if one.digest not in waiting}
        return sorted(left.values(), key=lambda one: one.at, reverse=True)

    def content(self, digest: str) -> tuple[bytes, str]:
        """Return bytes and kind of a recording that is offered.

        Raises
        ------
        NotAllowed
            If it is not offered any more.
        """
        for one in self.offers():
            if one.digest == digest and one.seconds is not None:
                try:
                    return one.path.read_bytes(), KINDS.get(one.path.suffix.lower(), "csv")
                except OSError:
                    break
        raise NotAllowed(
            say("this recording is not in the drop folder any more"),
            say("Look at the list again; it may have been taken for another test"),
        )

    def take(self, about: str, digest: str) -> None:
        """Take a recording that is offered for what `about` names.

        Raises
        ------
        NotAllowed
            If it is not offered any more.
        """
        self._keep(about, *self.content(digest))

    def put(self, about: str, name: str, content: bytes, where: str) -> None:
        """Take a recording that was sent from a screen for what `about` names.

        Raises
        ------
        InputFault
            If it is no recording, or too large; `where` is the field.
        """
        self._keep(about, content, checked_recording(name, content, where))

    def _keep(self, about: str, content: bytes, kind: str) -> None:
        make_folder(self.folder)
        write_safely(self.folder / f"{about}{secrets.token_hex(4)}.{kind}", content)
