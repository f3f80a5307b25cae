"""Where the record ended last, noted beside the database.

What is in the database cannot tell by itself that it has been put back: by an old copy that was
laid over it, by a log (``record.sqlite-wal``) that was left behind, by a disk that had not written
what it said. The note is written after each entry is on disk, so it never runs ahead of a record
that is whole. It need not be safe itself: an older one only tells less.
"""

from __future__ import annotations

import os
import re
from contextlib import suppress
from pathlib import Path

_NOTE = re.compile(rb"(\d{20}) ([0-9a-f]{64})\n")


class EndNote:
    """One line in a file: number and digest of an entry that was the last."""

    def __init__(self, place: Path) -> None:
        self.place = place

    def read(self) -> tuple[int, str] | None:
        """Return number and digest; None where nothing is noted, or nothing that can be read."""
        with suppress(OSError):
            if found := _NOTE.fullmatch(self.place.read_bytes()):
                return int(found[1]), found[2].decode()
        return None

    def write(self, number: int, digest: str) -> None:
        """Note an entry that is on disk; a note that cannot be written spoils nothing."""
        with suppress(OSError):
            how = os.O_WRONLY | os.O_CREAT | getattr(os, "O_BINARY", 0)
            handle = os.open(self.place, how, 0o600)
            try:
                os.write(handle, f"{number:020d} {digest}\n".encode())
            finally:
                os.close(handle)
