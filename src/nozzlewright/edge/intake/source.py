"""A file that was handed in: its bytes, unpacked where they were packed, and its digest."""

from __future__ import annotations

import gzip
import hashlib
import io
import os
import zlib
from dataclasses import dataclass, replace
from pathlib import Path
from typing import BinaryIO

import pyarrow as pa

from nozzlewright.errors import Fault, RecordingFault
from nozzlewright.said import say

LARGEST_RECORDING_BYTES = 2_000_000_000
"""Some five hours at 5 kHz as text; also the limit on what a packed file may unpack to."""
HEAD_BYTES = 65_536
"""How much of a file is looked at to tell its format."""

_STRANGERS: tuple[tuple[bytes, str, str], ...] = (
    (b"PK\x03\x04", "a ZIP archive or a spreadsheet", "Save the sheet as CSV, or unpack it"),
    (b"\xd0\xcf\x11\xe0", "an old office document", "Save the sheet as CSV"),
    (b"%PDF", "a PDF", "Hand in the recording itself, as CSV or Parquet"),
    (b"\x89PNG", "a picture", "Hand in the recording itself, as CSV or Parquet"),
    (b"\xff\xd8\xff", "a picture", "Hand in the recording itself, as CSV or Parquet"),
    (b"BZh", "packed by bzip2", "Unpack it first; gzip is read as it is"),
    (b"\xfd7zXZ\x00", "packed by xz", "Unpack it first; gzip is read as it is"),
    (b"\x28\xb5\x2f\xfd", "packed by zstandard", "Unpack it first; gzip is read as it is"),
    (b"7z\xbc\xaf", "a 7z archive", "Unpack it first; gzip is read as it is"),
    (b"\x89HDF", "an HDF5 file", "Save the recording as CSV or Parquet"),
    (b"TDSm", "a TDMS file", "Save the recording as CSV or Parquet"),
    (b"\x93NUMPY", "a NumPy array", "Save the recording as CSV or Parquet with headed columns"),
    (b"RIFF", "a sound file", "Save the recording as CSV or Parquet"),
    (b"SQLite format 3", "a database", "Save the recording as CSV or Parquet"),
)


@dataclass(frozen=True)
class Source:
    """A recording's file, with its content ready to be read."""

    path: Path
    name: str
    size: int
    """Bytes of the content, unpacked."""
    head: bytes
    """First bytes of the content."""
    content: bytes | None = None
    """The content where it was unpacked or re-encoded; None: as it is on disk."""
    packed: str = ""
    """How it was packed, in words."""
    largest: int = LARGEST_RECORDING_BYTES
    """Bytes that its content may come to, unpacked."""

    def open(self, offset: int = 0) -> BinaryIO:
        """Return the content as a stream that starts at an offset."""
        stream: BinaryIO
        stream = self.path.open("rb") if self.content is None else io.BytesIO(self.content)
        stream.seek(offset)
        return stream

    def open_arrow(self, start: int = 0, stop: int | None = None) -> pa.NativeFile:
        """Return part of the content as a stream for pyarrow, which reads it without Python."""
        # Its texts are UTF-8; names on disk are what this machine's language makes of them.
        if self.content is None and stop is None:
            stream = pa.OSFile(os.fsencode(self.path))
            stream.seek(start)
            return stream
        if self.content is None:
            with pa.memory_map(os.fsencode(self.path)) as mapped:
                buffer = mapped.read_buffer()
        else:
            buffer = pa.py_buffer(self.content)
        return pa.BufferReader(buffer.slice(start, (self.size if stop is None else stop) - start))

    def tail(self, length: int) -> bytes:
        """Return the last bytes of the content."""
        with self.open(max(0, self.size - length)) as stream:
            return stream.read(length)

    def with_content(self, content: bytes) -> Source:
        """Return the same source with other bytes."""
        return replace(self, size=len(content), head=content[:HEAD_BYTES], content=content)

    def fault(self, what: str, remedy: str, line: int | None = None) -> RecordingFault:
        """Return an error that names this file."""
        where = self.name if line is None else f"{self.name}, line {line}"
        return RecordingFault(Fault(what, where, remedy))


def open_source(path: Path, largest: int = LARGEST_RECORDING_BYTES) -> Source:
    """Look at a file, and unpack it where it is packed by gzip; at most `largest` bytes.

    Raises
    ------
    RecordingFault
        If it is missing, unreadable, empty, too large, damaged, or plainly something else.
    """
    name = path.name or str(path)
    unopened = Source(path, name, 0, b"", largest=largest)
    try:
        if path.is_dir():
            raise unopened.fault("this is a folder, not a file", "Name the recording itself")
        if path.exists() and not path.is_file():
            raise unopened.fault("this is not a plain file", "Name a file on disk")
        size = path.stat().st_size
        with path.open("rb") as stream:
            head = stream.read(HEAD_BYTES)
    except FileNotFoundError:
        raise unopened.fault(
            f"there is no such file ({path})", "Check the name and the folder"
        ) from None
    except (OSError, ValueError) as error:
        raise unopened.fault(
            f"the file cannot be read ({error})", "Check the name and its rights"
        ) from None
    source = replace(unopened, size=size, head=head)
    if size == 0:
        raise source.fault("the file is empty", "Check that the logger wrote it to its end")
    if size > largest:
        raise source.fault(
            f"the file has {size / 1e9:.1f} GB, more than the {largest / 1e9:.2g} GB that are read",
            "Cut it into sessions, one injector each",
        )
    if is_gzip(head):
        source = _unpacked(source)
    for magic, what, remedy in _STRANGERS:
        if source.head.startswith(magic):
            raise source.fault(f"this is {what}, not a recording", remedy)
    return source


def is_gzip(head: bytes) -> bool:
    """Return whether the bytes begin a gzip stream."""
    return head.startswith(b"\x1f\x8b")


def _unpacked(source: Source) -> Source:
    limit = source.largest
    parts: list[bytes] = []
    total = 0
    try:
        with gzip.open(source.path, "rb") as stream:
            while part := stream.read(1 << 20):
                parts.append(part)
                total += len(part)
                if total > limit:
                    raise source.fault(
                        f"the file unpacks to more than {limit / 1e9:.2g} GB",
                        "Cut it into sessions, one injector each",
                    )
    except (OSError, EOFError, zlib.error) as error:
        raise source.fault(
            f"the gzip file is damaged ({error})",
            f"Copy it again from the logger; {total} bytes could be unpacked before the damage",
        ) from None
    if total == 0:
        raise source.fault("the gzip file holds nothing", "Check that the logger wrote it")
    content = b"".join(parts)
    return replace(source.with_content(content), packed=say("unpacked from gzip"))


def digest_of(path: Path) -> str:
    """Return the SHA-256 of the raw bytes on disk, in hexadecimal."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()
