"""Files that nobody else may read, and that are on disk when they are said to be."""

from __future__ import annotations

import os
import uuid
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from io import BufferedWriter
from pathlib import Path


def make_folder(folder: Path) -> None:
    """Make a folder that only its owner can enter, where there is none."""
    if not folder.is_dir():
        make_folder(folder.parent)
        folder.mkdir(mode=0o700, exist_ok=True)
        with suppress(PermissionError):  # who may write a folder may not always read it
            sync_folder(folder.parent)


@contextmanager
def new_file(place: Path) -> Iterator[BufferedWriter]:
    """Lend a new file for its owner only; what was written to it is on disk afterwards.

    Its name is so after :func:`sync_folder`.
    """
    new = os.O_CREAT | os.O_EXCL | os.O_WRONLY
    # Windows would otherwise write its own ends of line.
    handle = os.open(place, new | getattr(os, "O_BINARY", 0), 0o600)
    with os.fdopen(handle, "wb") as file:
        yield file
        file.flush()
        os.fsync(file.fileno())


def write_safely(place: Path, content: bytes) -> None:
    """Write a file that is there either whole or as it was before, whatever happens."""
    draft = place.with_name(f".{place.name[:16]}-{uuid.uuid4().hex}")
    try:
        with new_file(draft) as file:
            file.write(content)
        draft.replace(place)
    finally:
        draft.unlink(missing_ok=True)
    sync_folder(place.parent)


def sync_folder(folder: Path) -> None:
    """Have the names in a folder written to disk, where the system can be asked to."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
