"""Files of evidence: named by their SHA-256, written once, never altered."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator
from io import BufferedReader
from pathlib import Path

from nozzlewright.edge.store.files import make_folder, sync_folder, write_safely
from nozzlewright.errors import EvidenceFault
from nozzlewright.said import say

_DIGEST = re.compile(r"[0-9a-f]{64}")
_KIND = re.compile(r"[a-z0-9]{1,16}")


class EvidenceFiles:
    """A folder of evidence (:class:`nozzlewright.workflow.ports.EvidenceFolder`).

    A file lies at ``ab/cdef….kind``, the first two digits of its digest being the folder. No
    text from outside becomes part of a path but digests of 64 hexadecimal digits.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def keep(self, content: bytes, kind: str) -> str:
        """Write a file, safe on disk when this returns; return its SHA-256.

        Parameters
        ----------
        content : bytes
            What is kept
        kind : str
            Ending of the file's name: lower-case letters and digits

        Raises
        ------
        EvidenceFault
            If it cannot be written.
        ValueError
            If the kind is not of letters and digits.
        """
        if _KIND.fullmatch(kind) is None:
            raise ValueError(f"no kind of file: {kind!r}")
        digest = hashlib.sha256(content).hexdigest()
        place = self._present(digest) or self._folder_of(digest) / f"{digest[2:]}.{kind}"
        try:
            make_folder(place.parent)
            if self._sound(digest):
                # Another writer may have been cut off, or be not quite done with it.
                sync_folder(place.parent)
            else:  # not there, or spoilt: then this mends it
                write_safely(place, content)
            sync_folder(self.folder)
        except OSError as fault:
            raise EvidenceFault(
                say(
                    "The evidence cannot be written ({why}). See that the disk is not full, then "
                    "do it again",
                    why=fault.strerror or str(fault),
                )
            ) from fault
        return digest

    def read(self, digest: str) -> bytes:
        """Return a file's content.

        Raises
        ------
        EvidenceFault
            If it is missing, or its content is not what its name says.
        """
        with self._opened(digest) as file:
            content = file.read()
        if hashlib.sha256(content).hexdigest() != digest:
            raise _altered(digest)
        return content

    def check(self, digest: str) -> None:
        """Read a file through without keeping it in memory.

        Raises
        ------
        EvidenceFault
            If it is missing, or its content is not what its name says.
        """
        with self._opened(digest) as file:
            found = hashlib.file_digest(file, "sha256").hexdigest()
        if found != digest:
            raise _altered(digest)

    def path(self, digest: str) -> Path:
        """Return the place of a file, for readers that hold its digest against its content.

        Raises
        ------
        EvidenceFault
            If it is missing.
        """
        return self._place(digest)

    def kind(self, digest: str) -> str:
        """Return the ending of a file's name.

        Raises
        ------
        EvidenceFault
            If it is missing.
        """
        return self._place(digest).suffix[1:]

    def digests(self) -> Iterator[str]:
        """Yield the digests of all files, in order."""
        if not self.folder.is_dir():
            return
        for folder in sorted(self.folder.iterdir()):
            if folder.is_dir():
                for file in sorted(folder.iterdir()):
                    if _DIGEST.fullmatch(digest := folder.name + file.stem):
                        yield digest

    def _sound(self, digest: str) -> bool:
        try:
            self.check(digest)
        except EvidenceFault:
            return False
        return True

    def _folder_of(self, digest: str) -> Path:
        if _DIGEST.fullmatch(digest) is None:
            raise EvidenceFault(say("Evidence is named by its SHA-256, in 64 hexadecimal digits"))
        return self.folder / digest[:2]

    def _present(self, digest: str) -> Path | None:
        folder = self._folder_of(digest)
        try:
            files = list(folder.iterdir())
        except (FileNotFoundError, NotADirectoryError):
            return None
        except OSError as fault:  # what may not be looked into is not missing
            raise _unreadable(digest, fault) from fault
        beginning = f"{digest[2:]}."
        return next((file for file in files if file.name.startswith(beginning)), None)

    def _place(self, digest: str) -> Path:
        place = self._present(digest)
        if place is None:
            raise EvidenceFault(
                say(
                    "The evidence {digest} is missing. Look for it in a backup",
                    digest=f"{digest[:12]}…",
                )
            )
        return place

    def _opened(self, digest: str) -> BufferedReader:
        place = self._place(digest)
        try:
            return place.open("rb")
        except OSError as fault:
            raise _unreadable(digest, fault) from fault


def _altered(digest: str) -> EvidenceFault:
    return EvidenceFault(
        say(
            "The evidence {digest} is no longer what it was when it was kept. Look for it in a "
            "backup",
            digest=f"{digest[:12]}…",
        )
    )


def _unreadable(digest: str, fault: OSError) -> EvidenceFault:
    return EvidenceFault(
        say(
            "The evidence {digest} cannot be read ({why}). Look for it in a backup",
            digest=f"{digest[:12]}…",
            why=fault.strerror or str(fault),
        )
    )
