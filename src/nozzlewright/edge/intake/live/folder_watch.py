"""A drop folder: recordings made elsewhere are taken in once they are finished."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

from nozzlewright.capture import Recording
from nozzlewright.edge.intake.recording import read_recording
from nozzlewright.edge.intake.source import digest_of
from nozzlewright.errors import Fault, InputFault, InstrumentFault
from nozzlewright.said import say

LARGEST_BYTES = 64 * 1024 * 1024
"""Of a file, and of what it unpacks to; nearly half an hour at 5 kHz."""


@dataclass(frozen=True)
class FolderSpec:
    """Which folder is watched."""

    name: str
    folder: Path
    settle_s: float = 2.0
    """Time for which a file must not have changed, [s]."""
    largest_bytes: int = LARGEST_BYTES
    """Larger ones are not read; they stay where they are."""


@dataclass(frozen=True)
class Dropped:
    """One file that was put into the folder."""

    path: Path
    digest: str
    """SHA-256 of its bytes; empty where not even they were read."""
    recording: Recording | None
    faults: tuple[Fault, ...] = ()
    """Why it is no recording; the file stays where it is."""


_Look = tuple[int, int]
"""Size and time of change."""


class FolderWatch:
    """Takes each finished recording of a folder once, however often it is copied there.

    Nothing is moved or removed. Names that begin with a dot or end in ``.part``, ``.tmp`` or
    ``.crdownload`` are files on their way.
    """

    def __init__(
        self,
        spec: FolderSpec,
        taken: Iterable[str] = (),
        *,
        timer: Callable[[], float] = time.monotonic,
    ) -> None:
        self.spec = spec
        self.name = spec.name
        self._taken = set(taken)
        self._timer = timer
        self._looks: dict[Path, tuple[_Look, float]] = {}
        self._done: dict[Path, _Look] = {}
        self._unopened: set[Path] = set()

    def poll(self) -> list[Dropped]:
        """Return what has become whole since the last look, the oldest first.

        Raises
        ------
        InstrumentFault
            If the folder cannot be looked into.
        """
        now = self._timer()
        found = self._files()
        self._looks = {path: self._looks[path] for path in found if path in self._looks}
        self._done = {path: self._done[path] for path in found if path in self._done}
        self._unopened &= found.keys()
        ready = []
        for path, look in found.items():
            known, since = self._looks.get(path, (None, now))
            if known != look:
                self._looks[path] = look, now
            elif self._done.get(path) != look and now - since >= self.spec.settle_s:
                ready.append((look[1], path, look))
        dropped = []
        for _, path, look in sorted(ready):
            one = self._take(path)
            if one is None or one.digest:
                self._done[path] = look
            elif path in self._unopened:
                continue  # told already, and tried again as long as it lies there
            else:
                self._unopened.add(path)
            if one is not None:
                dropped.append(one)
        return dropped

    def forget(self, digest: str) -> None:
        """Take a recording once more, where it lies in the folder under another name."""
        self._taken.discard(digest)
        self._done.clear()

    def _files(self) -> dict[Path, _Look]:
        found = {}
        try:
            for path in self.spec.folder.iterdir():
                if path.name.startswith(".") or path.suffix in {".part", ".tmp", ".crdownload"}:
                    continue
                try:
                    if path.is_file():
                        stat = path.stat()
                        found[path] = stat.st_size, stat.st_mtime_ns
                except FileNotFoundError:  # taken away between the two looks
                    continue
        except OSError as error:
            raise InstrumentFault(
                say(
                    "the folder {folder} cannot be looked into ({error}); look at its name, its "
                    "rights, and whether its drive is connected",
                    folder=str(self.spec.folder),
                    error=str(error.strerror),
                )
            ) from error
        return found

    def _take(self, path: Path) -> Dropped | None:
        digest, most = "", self.spec.largest_bytes
        try:
            if path.stat().st_size > most:
                return Dropped(path, "", None, (_too_large(path, most),))
            digest = digest_of(path)
            if digest in self._taken:
                return None
            recording = read_recording(path, largest_bytes=most)
        except OSError as error:
            fault = Fault(
                say("the file cannot be read ({error})", error=str(error.strerror)),
                path.name,
                say("Copy it again"),
            )
            return Dropped(path, digest, None, (fault,))
        except InputFault as error:
            return Dropped(path, digest, None, error.faults)
        # The file may have been written anew between the two reads: the recording's own counts.
        self._taken.add(recording.digest)
        return Dropped(path, recording.digest, recording)


def _too_large(path: Path, most: int) -> Fault:
    return Fault(
        say("the file has more than {limit} MB", limit=most // 2**20),
        path.name,
        say("Cut it into tests, one injector each, and put the parts here"),
    )
