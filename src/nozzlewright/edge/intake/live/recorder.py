"""Append-only recordings on disk: what was sampled half a second ago survives a pulled plug.

The format is the plain one that every reader of recordings knows: comment lines that say where it
comes from, the heading ``time_s,pressure_bar``, then one sample a line, times to 1 us from the
first sample, pressures to 1 Pa. Where the instrument was lost, one line holds ``NaN`` in place of
a pressure and the times leap; nothing is filled in. While it grows a recording is called
``<id>.unfinished.csv``; finished, ``<id>.csv``.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import re
import sys
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from nozzlewright.capture import Recording
from nozzlewright.edge.intake.headings import About, Unit
from nozzlewright.edge.intake.mending import GAP_FACTOR, RawTrace, mended
from nozzlewright.errors import Fault, NotAllowed, RecordingFault
from nozzlewright.measurement.units import BAR
from nozzlewright.said import joined, say
from nozzlewright.workflow.live_reading import GrowingTrace

if sys.platform != "win32":
    import fcntl

Floats = NDArray[np.float64]

WRITE_EVERY_S = 0.1
"""Time between two writes with fsync; with the fsync itself it stays below 0.25 s on a usual disk,
and so a sample is on disk within half a second."""
UNFINISHED = ".unfinished.csv"
HEADING = "time_s,pressure_bar"
_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,99}")
_TAIL_BYTES = 65_536
_NEW_FILE = os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_APPEND | getattr(os, "O_BINARY", 0)

_open_here: set[Path] = set()
"""Recordings that grow in this process."""


# -- timing -------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Timing:
    """How evenly an instrument was sampled, gaps left out."""

    samples: int
    interval_s: float
    """Median time between samples, [s]."""
    interval_99_s: float
    """Time between samples that 99 % do not exceed, [s]."""
    jitter_s: float
    """Median distance of a step from the median step, [s]."""
    jitter_99_s: float
    """Distance that 99 % do not exceed, [s]."""
    gaps: int
    """Steps of more than three times the usual one."""
    longest_gap_s: float

    def __str__(self) -> str:
        step, step_99, off, off_99 = (
            f"{value * 1e3:.3g} ms"
            for value in (self.interval_s, self.interval_99_s, self.jitter_s, self.jitter_99_s)
        )
        text = (
            f"{self.samples} samples, one every {step} (median; 99 % within {step_99}), "
            f"jitter {off} (median; 99 % within {off_99})"
        )
        if self.gaps:
            text += f", {self.gaps} gap(s), the longest {self.longest_gap_s:.3g} s"
        return text


def timing_of(time_s: Floats) -> Timing | None:
    """Return how evenly samples stand, shape (N,), [s]; None for fewer than three."""
    if time_s.size < 3:
        return None
    steps = np.diff(time_s)
    usual = float(np.median(steps))
    wide = steps > GAP_FACTOR * usual
    even = steps[~wide]
    off = np.abs(even - usual)
    return Timing(
        samples=int(time_s.size),
        interval_s=usual,
        interval_99_s=float(np.quantile(even, 0.99)),
        jitter_s=float(np.median(off)),
        jitter_99_s=float(np.quantile(off, 0.99)),
        gaps=int(np.count_nonzero(wide)),
        longest_gap_s=float(steps[wide].max(initial=0.0)),
    )


# -- what a growing recording is ----------------------------------------------------------------


def as_recorded(
    time_s: Floats, pressure_pa: Floats, *, source: str, digest: str = "", instrument: str = ""
) -> Recording:
    """Return samples as the reader of the finished file will see them.

    Parameters
    ----------
    time_s, pressure_pa : ndarray of shape (N,)
        As :meth:`Recorder.add` returned them; NaN where there was no pressure

    Raises
    ------
    TraceFault
        If there are fewer than two pressures.
    """
    # To the last bit what the digits in the file say: whole pascals over 1e5.
    raw = RawTrace(time_s, np.rint(pressure_pa) / BAR, Unit("bar", About.PRESSURE))
    raw.instrument = instrument
    if missing := int(np.count_nonzero(np.isnan(pressure_pa))):
        raw.missing = f"{missing} x 'NaN'"
    return mended(raw, source=source, digest=digest)


class Recorder:
    """One recording that grows on disk; samples come from one thread.

    Raises
    ------
    RecordingFault
        If the id cannot name a file, or the file cannot be made.
    NotAllowed
        If there is a recording of this id already.
    """

    def __init__(
        self, folder: Path, recording_id: str, *, instrument: str, started_at: datetime
    ) -> None:
        if not _ID.fullmatch(recording_id):
            raise RecordingFault(
                Fault(
                    say("'{name}' cannot name a recording", name=recording_id[:40]),
                    "recording id",
                    say("Use letters, digits, - and _, at most 100 of them"),
                )
            )
        self.recording_id = recording_id
        self.instrument = " ".join(instrument.split())[:80]
        self.started_at = started_at
        self.path = folder / f"{recording_id}{UNFINISHED}"
        self.finished_path = folder / f"{recording_id}.csv"
        self.zero_s: float | None = None
        """Time of the first sample on the instrument's clock, [s]."""
        self.trace = GrowingTrace()
        self.gaps = 0
        self.disk_fault: str = ""
        """Why nothing can be written at the moment; empty where all is well."""
        self._last_s = -1.0
        self._digest = hashlib.sha256()
        self._finished = False
        self._unwritten = b""
        self._written = 0
        self._on_disk = 0
        self._oldest_waiting: float | None = None
        self._waiting = threading.Lock()
        self._stop = threading.Event()
        self._disk: int = self._create(folder)
        _open_here.add(self.path)
        self._thread = threading.Thread(target=self._keep_writing, name="recorder", daemon=True)
        self._thread.start()

    def _create(self, folder: Path) -> int:
        if self.finished_path.exists() or self.path.exists():
            raise NotAllowed(
                say("there is a recording '{name}' already", name=self.recording_id),
                say("Give this one another name; a recording is never written over"),
            )
        header = (
            f"# Recorded live, sample by sample\n# Recording: {self.recording_id}\n"
            f"# Gauge: {self.instrument}\n# Started: {self.started_at.isoformat()}\n{HEADING}\n"
        ).encode()
        disk = -1
        try:
            folder.mkdir(parents=True, exist_ok=True)
            disk = os.open(self.path, _NEW_FILE, 0o644)
            _hold(disk)
            if os.write(disk, header) != len(header):
                raise OSError(28, "no space left")
            os.fsync(disk)
            _sync_folder(folder)
        except OSError as error:
            if disk >= 0:
                os.close(disk)
                self.path.unlink(missing_ok=True)
            raise RecordingFault(
                Fault(
                    say("the recording cannot be written ({error})", error=str(error.strerror)),
                    str(self.path),
                    say("Look at the disk: is it full, is it write-protected?"),
                )
            ) from error
        self._digest.update(header)
        return disk

    def add(self, time_s: Floats, pressure_pa: Floats) -> tuple[Floats, Floats]:
        """Take samples in; they are on disk half a second later.

        Parameters
        ----------
        time_s, pressure_pa : ndarray of shape (N,)
            On the instrument's clock, [s], and [Pa]; NaN where there was no pressure

        Returns
        -------
        tuple of ndarray
            The same as they stand in the file: time from the first sample, rounded; what does
            not come after the sample before it is left out
        """
        if time_s.size == 0:
            return time_s, pressure_pa
        if self.zero_s is None:
            self.zero_s = float(time_s[0])
        written_s = np.rint((time_s - self.zero_s) * 1e6) / 1e6
        before = np.maximum.accumulate(np.concatenate(([self._last_s], written_s[:-1])))
        later = written_s > before
        written_s = written_s[later]
        written_pa = np.rint(pressure_pa[later]) / BAR * BAR
        if written_s.size:
            self._last_s = float(written_s[-1])
            with self._waiting:
                self.trace.add(written_s, written_pa)
                if self._oldest_waiting is None:
                    self._oldest_waiting = time.monotonic()
        return written_s, written_pa

    def lost(self, time_s: float) -> tuple[Floats, Floats]:
        """Put down that the instrument was lost; the gap stays open."""
        self.gaps += 1
        if self.zero_s is None:
            return np.empty(0), np.empty(0)
        return self.add(np.array([time_s]), np.array([np.nan]))

    @property
    def samples(self) -> int:
        """Samples taken in, marks of a lost instrument included."""
        return len(self.trace)

    @property
    def on_disk(self) -> int:
        """How many of them are safe on disk."""
        return self._on_disk

    @property
    def behind_s(self) -> float:
        """Age of the oldest sample that is not safe on disk yet, [s]; 0 where all are."""
        oldest = self._oldest_waiting
        return 0.0 if oldest is None else time.monotonic() - oldest

    def finish(self, patience_s: float = 10.0) -> str:
        """Write the rest, close and name the file; return the SHA-256 of its bytes.

        Raises
        ------
        RecordingFault
            If the disk takes no more: what is missing is kept, and this can be asked again.
        """
        self._end(patience_s)
        if not self._finished:
            self.path.rename(self.finished_path)
            _sync_folder(self.path.parent)
            self._finished = True
        return self._digest.hexdigest()

    def leave(self, patience_s: float = 10.0) -> None:
        """Write the rest and close the file, but leave it unfinished.

        Raises
        ------
        RecordingFault
            If the disk takes no more.
        """
        self._end(patience_s)

    def _end(self, patience_s: float) -> None:
        self._stop.set()
        self._thread.join(patience_s)
        if self._thread.is_alive():
            missing = say(
                "{number} of {samples} samples are not on disk yet",
                number=self.samples - self.on_disk,
                samples=self.samples,
            )
            raise RecordingFault(
                Fault(
                    joined("; ", [missing, *filter(None, [self.disk_fault])]),
                    self.path.name,
                    say(
                        "Make room on the disk, then finish the recording again; nothing is lost "
                        "while the program runs"
                    ),
                )
            )
        if self._disk >= 0:
            os.close(self._disk)
            self._disk = -1
            _open_here.discard(self.path)

    # -- the thread that writes ------------------------------------------------------------------

    def _keep_writing(self) -> None:
        while True:
            last = self._stop.wait(WRITE_EVERY_S)
            try:
                self._write()
                self.disk_fault = ""
            except OSError as error:
                self.disk_fault = say("nothing can be written: {error}", error=str(error.strerror))
                time.sleep(WRITE_EVERY_S)
                continue
            if last and self._on_disk == len(self.trace):
                return

    def _write(self) -> None:
        taken_at = time.monotonic()
        with self._waiting:
            time_s, pressure_pa = self.trace.view(self._written)
            count = len(self.trace)
        if time_s.size:
            rows = zip(time_s.tolist(), (pressure_pa / BAR).tolist(), strict=True)
            text = "".join([f"{at:.6f},{bar:.5f}\n" for at, bar in rows])
            self._unwritten += text.replace("nan", "NaN").encode()
            self._written = count
        if not self._unwritten and self._on_disk == count:
            return
        while self._unwritten:
            done = os.write(self._disk, self._unwritten)
            self._digest.update(self._unwritten[:done])
            self._unwritten = self._unwritten[done:]
        os.fsync(self._disk)
        with self._waiting:
            self._on_disk = count
            self._oldest_waiting = taken_at if len(self.trace) > count else None


def _sync_folder(folder: Path) -> None:
    """Make a new or changed name in a folder outlast a pulled plug, where the system can."""
    with contextlib.suppress(OSError, AttributeError):
        disk = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(disk)
        finally:
            os.close(disk)


# -- after a crash --------------------------------------------------------------------------------


@dataclass(frozen=True)
class UnfinishedRecording:
    """A recording that was growing when the program ended."""

    path: Path
    recording_id: str
    started_at: datetime | None
    instrument: str
    samples: int
    """Whole samples in it."""
    seconds: float
    """Time up to which it reaches, [s]."""


def unfinished_recordings(folder: Path) -> list[UnfinishedRecording]:
    """Return the recordings that a crash left in a folder, the oldest first.

    Those that grow in this process, or in another one that serves the same record, are not among
    them. Each is finished by :func:`nozzlewright.edge.intake.live.finish_recording`.
    """
    found = []
    for path in folder.glob(f"*{UNFINISHED}"):
        with contextlib.suppress(FileNotFoundError):  # finished meanwhile, by another process
            if not _grows(path):
                found.append(_look_at(path))
    return sorted(found, key=lambda one: (str(one.started_at or ""), one.recording_id))


def _hold(disk: int) -> None:
    """Show other processes that a file grows, until it is closed, or this process is gone."""
    if sys.platform != "win32":
        with contextlib.suppress(OSError):  # not every file system knows of locks
            fcntl.flock(disk, fcntl.LOCK_EX | fcntl.LOCK_NB)


def _grows(path: Path) -> bool:
    if path in _open_here:
        return True
    if sys.platform == "win32":  # a file that is open there cannot be renamed by others
        return False
    with path.open("rb") as file:
        try:
            fcntl.flock(file, fcntl.LOCK_SH | fcntl.LOCK_NB)
        except BlockingIOError:
            return True
        except OSError:
            return False
    return False


def _look_at(path: Path) -> UnfinishedRecording:
    said: dict[str, str] = {}
    with path.open("rb") as stream:
        for line in stream:
            if not line.startswith(b"#"):
                break
            key, _, value = line.decode("utf-8", "replace").lstrip("# ").partition(": ")
            said[key] = value.strip()
        body = stream.tell()
        samples = sum(part.count(b"\n") for part in iter(lambda: stream.read(1 << 20), b""))
        stream.seek(max(body, stream.tell() - _TAIL_BYTES))
        *lines, _torn = stream.read().split(b"\n")
    seconds = 0.0
    with contextlib.suppress(ValueError, IndexError):
        seconds = float(lines[-1].split(b",")[0])
    started = None
    with contextlib.suppress(ValueError):
        started = datetime.fromisoformat(said.get("Started", ""))
    name = path.name.removesuffix(UNFINISHED)
    return UnfinishedRecording(path, name, started, said.get("Gauge", ""), samples, seconds)


def close_unfinished(path: Path) -> Path:
    """Give a recording that a crash left its finished name, a torn last line taken off.

    Raises
    ------
    NotAllowed
        If it is still growing, or there is a finished recording of its name.
    """
    name = path.name.removesuffix(UNFINISHED)
    finished = path.with_name(f"{name}.csv")
    if _grows(path):
        raise NotAllowed(
            say("the recording '{name}' is still growing", name=name), say("Stop it at its bench")
        )
    if finished.exists():
        raise NotAllowed(
            say("there is a finished recording '{name}' already", name=name),
            say("Move one of the two files out of the folder"),
        )
    with path.open("r+b") as stream:
        stream.truncate(_whole_bytes(stream.fileno()))
        os.fsync(stream.fileno())
    path.rename(finished)
    _sync_folder(path.parent)
    return finished


def _whole_bytes(disk: int) -> int:
    """Return the length of a file up to the end of its last whole line.

    Where the power failed, a file may end in a torn line or in bytes that were never written.
    """
    size = os.fstat(disk).st_size
    for tail in _backwards(disk, size):
        start, part = tail
        part = part.rstrip(b"\x00")
        if b"\n" in part:
            return start + part.rfind(b"\n") + 1
    return 0


def _backwards(disk: int, size: int) -> Iterator[tuple[int, bytes]]:
    stop = size
    while stop > 0:
        start = max(0, stop - _TAIL_BYTES)
        os.lseek(disk, start, os.SEEK_SET)
        yield start, os.read(disk, stop - start)
        stop = start
