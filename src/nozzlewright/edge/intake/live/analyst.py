"""Reads growing recordings in a process of its own.

A reading takes some hundredths of a second in which the interpreter serves nobody else; an
instrument that is asked a thousand times a second must not wait for it. One process, of low
priority, serves all benches of a program; each has its share of the time. Where it fails, the
readings of finished recordings are done here instead.
"""

from __future__ import annotations

import contextlib
import copyreg
import multiprocessing
import os
import queue
import signal
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from multiprocessing.connection import Connection
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from nozzlewright.analysis import RigLeak
from nozzlewright.bench import BenchConditions, GaugeFindings
from nozzlewright.capture import Recording
from nozzlewright.edge.intake.live.recorder import as_recorded
from nozzlewright.edge.intake.recording import read_recording
from nozzlewright.errors import InputFault
from nozzlewright.measurement import NotMeasured
from nozzlewright.workflow import read_gauge
from nozzlewright.workflow.live_reading import GrowingReading

Floats = NDArray[np.float64]
Blank = Recording | RigLeak | NotMeasured | None

SHARE = 0.1
"""Of the time, what the readings of one recording may take."""
LOOK_EVERY_S = 0.05
PATIENCE_S = 120.0
"""Longest time that a finished recording may take to be read there."""
NICENESS = 5


def _proxied(content: dict[Any, Any]) -> MappingProxyType[Any, Any]:
    return MappingProxyType(content)


def _from_proxy(proxy: MappingProxyType[Any, Any]) -> tuple[Any, ...]:
    # Not the type itself: pickle finds no name for it.
    return _proxied, (dict(proxy),)


# Quantities hold their causes in one, and the two processes hand quantities to each other.
copyreg.pickle(MappingProxyType, _from_proxy)


@dataclass(frozen=True)
class ReadSoFar:
    """The last findings of a growing recording."""

    findings: GaugeFindings
    as_of_s: float
    """Time of the recording up to which they reach, [s]."""
    seconds: float
    """What the reading took, [s]."""


class Analyst:
    """The process that reads; started at its first task, and again should it have died."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._pipe: Connection | None = None
        self._process: Any = None
        self._known: set[str] = set()
        self._latest: dict[str, ReadSoFar] = {}
        self._answers: dict[int, queue.SimpleQueue[Any]] = {}
        self._asked = 0

    def start(self) -> None:
        """Have the process ready before there is anything to read."""
        with self._lock, contextlib.suppress(OSError):
            if not self._alive():
                self._start()

    def begin(
        self, key: str, conditions: BenchConditions, blank: Blank, source: str, instrument: str
    ) -> None:
        """Begin to read a recording."""
        with self._lock:
            self._latest.pop(key, None)
            self._send("begin", key, conditions, blank, source, instrument)
            self._known.add(key)

    def add(self, key: str, time_s: Floats, pressure_pa: Floats) -> bool:
        """Hand on samples; return False where the recording must be begun again."""
        with self._lock:
            if key not in self._known or not self._alive():
                return False
            self._send("add", key, time_s, pressure_pa)
            return key in self._known

    def latest(self, key: str) -> ReadSoFar | None:
        """Return the last findings."""
        return self._latest.get(key)

    def end(self, key: str) -> None:
        """Forget a recording."""
        with self._lock:
            if key in self._known and self._alive():
                self._send("end", key)
            self._known.discard(key)
            self._latest.pop(key, None)

    def read(
        self, path: Path, conditions: BenchConditions, blank: Blank
    ) -> tuple[Recording, GaugeFindings]:
        """Read a finished recording.

        Raises
        ------
        RecordingFault
            If it cannot be read.
        """
        answer: queue.SimpleQueue[Any] = queue.SimpleQueue()
        with self._lock:
            self._asked += 1
            number = self._asked
            self._answers[number] = answer
            sent = self._send("read", number, path, conditions, blank)
        try:
            outcome = answer.get(timeout=PATIENCE_S) if sent else None
        except queue.Empty:
            outcome = None
        with self._lock:
            self._answers.pop(number, None)
        if isinstance(outcome, tuple) and outcome[0] == "fault":
            _, kind, faults = outcome
            raise kind(faults)
        if isinstance(outcome, tuple):
            recording, findings = outcome[1:]
            return replace(recording), findings  # which makes its arrays read-only again
        return _read(path, conditions, blank)

    def close(self) -> None:
        """End the process."""
        with self._lock:
            pipe, process = self._pipe, self._process
            self._pipe = self._process = None
            self._known.clear()
        if pipe is not None:
            with contextlib.suppress(OSError):
                pipe.send(("stop",))
        if process is not None:
            process.join(5.0)
            if process.is_alive():
                process.kill()
                process.join()
        if pipe is not None:
            pipe.close()

    def _alive(self) -> bool:
        return self._process is not None and self._process.is_alive()

    def _send(self, *message: object) -> bool:
        """Send a message, to a new process where there is none; the lock is held."""
        try:
            if not self._alive():
                self._start()
            if self._pipe is not None:
                self._pipe.send(message)
                return True
        except (OSError, ValueError):
            self._known.clear()
        return False

    def _start(self) -> None:
        context = multiprocessing.get_context("spawn")
        if self._pipe is not None:
            self._pipe.close()
        self._known.clear()
        self._pipe, theirs = context.Pipe()
        self._process = context.Process(
            target=_serve, args=(theirs,), name="nozzlewright analyst", daemon=True
        )
        self._process.start()
        theirs.close()
        threading.Thread(
            target=self._listen, args=(self._pipe,), name="analyst", daemon=True
        ).start()

    def _listen(self, pipe: Connection) -> None:
        with contextlib.suppress(EOFError, OSError):
            while True:
                kind, key, *content = pipe.recv()
                if kind == "findings":
                    if key in self._known:
                        self._latest[key] = content[0]
                elif (answer := self._answers.get(key)) is not None:
                    answer.put((kind, *content))
        # It ended: whoever still waits for it reads for himself.
        for answer in list(self._answers.values()):
            answer.put(None)


def _read(path: Path, conditions: BenchConditions, blank: Blank) -> tuple[Recording, GaugeFindings]:
    recording = read_recording(path)
    return recording, read_gauge(recording, conditions, blank)


_shared: Analyst | None = None
_sharing = threading.Lock()


def shared_analyst() -> Analyst:
    """Return the analyst of this program."""
    global _shared
    with _sharing:
        if _shared is None:
            _shared = Analyst()
        return _shared


# -- the other process --------------------------------------------------------------------------


def _serve(pipe: Connection) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C ends the program, and that ends this
    with contextlib.suppress(OSError, AttributeError):
        os.nice(NICENESS)
    inbox: queue.SimpleQueue[tuple[Any, ...]] = queue.SimpleQueue()
    threading.Thread(target=_receive, args=(pipe, inbox), daemon=True).start()
    readings: dict[str, GrowingReading] = {}
    with contextlib.suppress(OSError):
        while _obey(inbox, readings, pipe.send):
            for key, reading in list(readings.items()):
                before, began = reading.as_of_s, time.perf_counter()
                findings = reading.findings()
                if findings is not None and reading.as_of_s not in (None, before):
                    took = time.perf_counter() - began
                    pipe.send(("findings", key, ReadSoFar(findings, reading.as_of_s, took)))


def _receive(pipe: Connection, inbox: queue.SimpleQueue[tuple[Any, ...]]) -> None:
    try:
        while True:
            inbox.put(pipe.recv())
    except (EOFError, OSError):
        inbox.put(("stop",))


def _obey(
    inbox: queue.SimpleQueue[tuple[Any, ...]],
    readings: dict[str, GrowingReading],
    send: Callable[[tuple[Any, ...]], None],
) -> bool:
    """Do what was asked for meanwhile; return False at the end."""
    wait: float | None = LOOK_EVERY_S if readings else None
    with contextlib.suppress(queue.Empty):
        while True:
            match inbox.get(timeout=wait):
                case ("stop",):
                    return False
                case ("begin", key, conditions, blank, source, instrument):
                    make = partial(as_recorded, source=source, instrument=instrument)
                    readings[key] = GrowingReading(
                        conditions, blank, as_recording=make, share=SHARE
                    )
                case ("add", key, time_s, pressure_pa) if key in readings:
                    readings[key].add(time_s, pressure_pa)
                case ("end", key):
                    readings.pop(key, None)
                case ("read", number, path, conditions, blank):
                    try:
                        send(("read", number, *_read(path, conditions, blank)))
                    except InputFault as fault:
                        send(("fault", number, type(fault), fault.faults))
            wait = 0.0
    return True
