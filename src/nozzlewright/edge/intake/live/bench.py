"""One bench with one instrument: sampled by a thread, watched by screens, recorded on disk."""

from __future__ import annotations

import logging
import math
import queue
import sys
import threading
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from nozzlewright.bench import BenchConditions, GaugeFindings
from nozzlewright.capture import Recording
from nozzlewright.edge.intake.live.analyst import Analyst, Blank, shared_analyst
from nozzlewright.edge.intake.live.instruments import Instrument
from nozzlewright.edge.intake.live.recorder import Recorder, Timing, close_unfinished, timing_of
from nozzlewright.errors import Fault, InstrumentFault, NotAllowed, RecordingFault
from nozzlewright.said import say
from nozzlewright.workflow.live_reading import LiveMarks, OnlineMarks
from nozzlewright.workflow.ports import Clock

Floats = NDArray[np.float64]

BATCHES_PER_S = 60.0
"""Batches that a screen gets in a second at the most."""
RING_SAMPLES = 65_536
"""Samples kept for a screen that is opened later; a minute at 1 kHz."""
MOST_WAITING = 240
"""Batches that wait for one slow subscriber before the oldest are dropped."""
TIMED_SAMPLES = 4096
"""Samples off which rate and jitter are read."""
HAND_OVER_S = 0.1
"""Time between two pieces that the analyst gets of a recording."""
STALE_S = 1.0
"""Age from which a pressure is no longer shown as the latest."""
FIRST_RETRY_S, LONGEST_RETRY_S, RETRY_FACTOR = 0.2, 5.0, 1.7
SWITCH_S = 1e-3
"""Longest time that other Python threads hold up the sampling before they must let it in."""

_log = logging.getLogger(__name__)


class Link(StrEnum):
    """How the bench stands with its instrument."""

    CONNECTING = "connecting"
    CONNECTED = "connected"
    LOST = "lost"
    STOPPED = "stopped"


@dataclass(frozen=True)
class LiveStatus:
    """How a bench stands now."""

    bench: str
    instrument: str
    link: Link
    since: datetime
    """Since when it stands so, UTC."""
    reason: str
    """What happened and what to look at, in plain words; empty while connected."""
    rate_hz: float | None
    """Samples per second, from the last few thousand; None where nothing comes."""
    jitter_s: float | None
    """Distance of a step between samples from the usual one, not exceeded by 99 %, [s]."""
    timing: Timing | None
    latest_pa: float | None
    """Pressure now, [Pa]; None where none came for a second."""
    recording_id: str | None
    samples: int
    """Of the recording: taken in."""
    on_disk: int
    """Of the recording: safe on disk."""
    behind_s: float
    """Age of the oldest sample that is not safe on disk yet, [s]."""
    gaps: int
    """Of the recording: how often the instrument was lost."""
    disk_fault: str
    """Why nothing can be written at the moment; empty where all is well."""

    @property
    def connected(self) -> bool:
        """Whether samples come in."""
        return self.link is Link.CONNECTED


@dataclass(frozen=True)
class Batch:
    """Samples of a sixtieth of a second or so."""

    time_s: Floats
    """Shape (N,), on the clock of :func:`time.monotonic`, [s]."""
    pressure_pa: Floats
    """Shape (N,), [Pa]; NaN where the instrument was lost or showed no pressure."""
    zero_s: float | None
    """The recording's zero on the same clock, [s]; None where nothing is recorded."""
    dropped: int = 0
    """Samples that this subscriber was too slow for, since the last batch."""


@dataclass(frozen=True)
class LiveFindings:
    """What the recording in progress shows so far."""

    recording_id: str | None
    marks: LiveMarks
    findings: GaugeFindings | None
    """As read off the recording up to `as_of_s`; None as long as there is too little."""
    as_of_s: float | None
    samples: int


@dataclass(frozen=True)
class FinishedRecording:
    """A recording that is closed and will not change any more."""

    path: Path
    digest: str
    """SHA-256 of the file."""
    recording: Recording
    findings: GaugeFindings
    timing: Timing | None
    """How evenly it was sampled."""


class _Subscriber:
    """Calls back from a thread of its own, so that nobody waits for it."""

    def __init__(self, callback: Callable[[Batch], None]) -> None:
        self._callback = callback
        self._waiting: deque[Batch] = deque()
        self._dropped = 0
        self._ended = False
        self._news = threading.Condition()
        self.thread = threading.Thread(target=self._deliver, name="subscriber", daemon=True)
        self.thread.start()

    def push(self, batch: Batch) -> None:
        with self._news:
            self._waiting.append(batch)
            if len(self._waiting) > MOST_WAITING:
                self._dropped += self._waiting.popleft().time_s.size
            self._news.notify()

    def end(self) -> None:
        with self._news:
            self._ended = True
            self._news.notify()
        if self.thread is not threading.current_thread():
            self.thread.join(2.0)

    def _deliver(self) -> None:
        while True:
            with self._news:
                self._news.wait_for(lambda: self._waiting or self._ended)
                if self._ended:
                    return
                batch = self._waiting.popleft()
                dropped, self._dropped = self._dropped, 0
            if dropped:
                batch = Batch(batch.time_s, batch.pressure_pa, batch.zero_s, dropped)
            try:
                self._callback(batch)
            except Exception:  # noqa: BLE001 - one screen's failure is no other's
                _log.exception("a subscriber failed and gets no more batches")
                self._ended = True
                return


class _Ring:
    """The last samples, in memory that never grows."""

    def __init__(self, size: int) -> None:
        self._columns = np.empty((2, size))
        self._count = 0

    def add(self, time_s: Floats, pressure_pa: Floats) -> None:
        size = self._columns.shape[1]
        part = np.stack((time_s, pressure_pa))[:, -size:]
        place = (self._count + time_s.size - part.shape[1] + np.arange(part.shape[1])) % size
        self._columns[:, place] = part
        self._count += time_s.size

    def last(self, most: int) -> tuple[Floats, Floats]:
        size = self._columns.shape[1]
        have = min(self._count, size, most)
        part = self._columns[:, (self._count - have + np.arange(have)) % size]
        return part[0], part[1]


class _Session:
    """A recording in progress with all that goes along with it."""

    def __init__(
        self,
        recorder: Recorder,
        conditions: BenchConditions,
        blank: Blank,
        analyst: Analyst,
    ) -> None:
        self.recorder = recorder
        self.conditions = conditions
        self.blank = blank
        self.online = OnlineMarks(conditions)
        self.key = str(recorder.path)
        self._analyst = analyst
        self._inbox: queue.SimpleQueue[tuple[Floats, Floats] | None] = queue.SimpleQueue()
        self._thread = threading.Thread(target=self._follow, name="marks", daemon=True)
        self._thread.start()

    def add(self, time_s: Floats, pressure_pa: Floats) -> None:
        self._inbox.put(self.recorder.add(time_s, pressure_pa))

    def lost(self, time_s: float) -> None:
        self._inbox.put(self.recorder.lost(time_s))

    def end(self) -> None:
        self._inbox.put(None)
        self._thread.join()
        self._analyst.end(self.key)

    def _follow(self) -> None:
        self._begin()
        unread: list[tuple[Floats, Floats]] = []
        due = time.monotonic() + HAND_OVER_S
        while True:
            try:
                piece = self._inbox.get(timeout=max(due - time.monotonic(), 0.001))
            except queue.Empty:
                pass
            else:
                if piece is None:
                    return
                self.online.add(*piece)
                unread.append(piece)
            if time.monotonic() >= due:
                due = time.monotonic() + HAND_OVER_S
                if unread:
                    self._hand_over(unread)
                    unread = []

    def _hand_over(self, pieces: list[tuple[Floats, Floats]]) -> None:
        """Give samples to the analyst."""
        time_s, pressure_pa = (np.concatenate(column) for column in zip(*pieces, strict=True))
        if time_s.size and not self._analyst.add(self.key, time_s, pressure_pa):
            # The analyst had to start anew: it gets all of it again.
            self._begin()
            self._analyst.add(self.key, *self._until(float(time_s[-1])))

    def _begin(self) -> None:
        recorder = self.recorder
        self._analyst.begin(
            self.key,
            self.conditions,
            self.blank,
            recorder.finished_path.name,
            recorder.instrument,
        )

    def _until(self, last_s: float) -> tuple[Floats, Floats]:
        time_s, pressure_pa = self.recorder.trace.view()
        count = int(np.searchsorted(time_s, last_s, side="right"))
        return time_s[:count], pressure_pa[:count]


class LiveBench:
    """One bench with one instrument, read by one thread.

    Parameters
    ----------
    name : str
        The bench's name
    instrument_factory : callable
        Makes the instrument, once, at :meth:`start`
    folder : Path
        Where recordings are written
    clock : callable
        The time now, UTC
    analyst : Analyst, optional
        Reads recordings while they grow; by default the one that all benches of a program share
    """

    def __init__(
        self,
        name: str,
        instrument_factory: Callable[[], Instrument],
        folder: Path,
        clock: Clock,
        *,
        analyst: Analyst | None = None,
    ) -> None:
        self.name = name
        self.folder = folder
        self._factory = instrument_factory
        self._clock = clock
        self._analyst = analyst or shared_analyst()
        self._instrument: Instrument | None = None
        self._thread: threading.Thread | None = None
        self._stop = threading.Event()
        self._lock = threading.Lock()
        """Guards what the sampling thread and its visitors share."""
        self._starting = threading.Lock()
        """Guards start and stop of recordings, which take their time on the disk."""
        self._link = Link.STOPPED
        self._since = clock()
        self._reason: str = say("the bench is not being read")
        self._ring = _Ring(RING_SAMPLES)
        self._latest: tuple[float, float] | None = None
        """When it came, [s], and the pressure, [Pa]."""
        self._subscribers: tuple[_Subscriber, ...] = ()
        self._session: _Session | None = None
        self._ending: _Session | None = None
        self._finished: FinishedRecording | None = None

    # -- the instrument --------------------------------------------------------------------------

    def start(self) -> None:
        """Begin to read the instrument; harmless if it is being read."""
        if self._thread is not None:
            return
        sys.setswitchinterval(min(sys.getswitchinterval(), SWITCH_S))
        self._stop.clear()
        self._analyst.start()
        self._set_link(Link.CONNECTING, say("the instrument has not answered yet"))
        self._thread = threading.Thread(target=self._read_on, name=self.name, daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Leave the instrument alone; a recording in progress is written out and left unfinished.

        Raises
        ------
        RecordingFault
            If the disk takes no more.
        """
        self._stop.set()
        if self._thread is not None:
            self._thread.join()
            self._thread = None
        self._set_link(Link.STOPPED, say("the bench is not being read"))
        with self._lock:
            session, self._session = self._session, None
            ending, self._ending = self._ending, None
            subscribers, self._subscribers = self._subscribers, ()
        for subscriber in subscribers:
            subscriber.end()
        for left in (session, ending):
            if left is not None:
                left.end()
                left.recorder.leave()

    def status(self) -> LiveStatus:
        """Return how the bench stands now."""
        with self._lock:
            times = self._ring.last(TIMED_SAMPLES)[0]
            # One that is being closed is in progress until it is closed: the disk may be full.
            latest, session = self._latest, self._session or self._ending
            link, since, reason = self._link, self._since, self._reason
        fresh = latest is not None and time.monotonic() - latest[0] < STALE_S
        timing = timing_of(times) if link is Link.CONNECTED else None
        recorder = session.recorder if session is not None else None
        return LiveStatus(
            bench=self.name,
            instrument=self._instrument.name if self._instrument is not None else "",
            link=link,
            since=since,
            reason=reason,
            rate_hz=1.0 / timing.interval_s if timing is not None and timing.interval_s else None,
            jitter_s=timing.jitter_99_s if timing is not None else None,
            timing=timing,
            latest_pa=latest[1] if latest is not None and fresh else None,
            recording_id=recorder.recording_id if recorder is not None else None,
            samples=recorder.samples if recorder is not None else 0,
            on_disk=recorder.on_disk if recorder is not None else 0,
            behind_s=recorder.behind_s if recorder is not None else 0.0,
            gaps=recorder.gaps if recorder is not None else 0,
            disk_fault=recorder.disk_fault if recorder is not None else "",
        )

    def subscribe(self, callback: Callable[[Batch], None]) -> Callable[[], None]:
        """Have batches of samples handed to a callback, from a thread of its own.

        At most sixty a second. Who is slower than that loses the oldest, and is told how many; who
        raises gets no more.

        Returns
        -------
        callable
            Ends it
        """
        subscriber = _Subscriber(callback)
        with self._lock:
            self._subscribers = (*self._subscribers, subscriber)

        def unsubscribe() -> None:
            with self._lock:
                self._subscribers = tuple(s for s in self._subscribers if s is not subscriber)
            subscriber.end()

        return unsubscribe

    def recent(self, most: int = RING_SAMPLES) -> Batch:
        """Return the last samples, for a screen that has just been opened."""
        with self._lock:
            time_s, pressure_pa = self._ring.last(most)
            zero = self._session.recorder.zero_s if self._session is not None else None
        return Batch(time_s, pressure_pa, zero)

    # -- recordings ------------------------------------------------------------------------------

    def start_recording(
        self, recording_id: str, conditions: BenchConditions, blank: Blank = None
    ) -> None:
        """Record from now on; harmless if this very recording is in progress.

        Parameters
        ----------
        recording_id : str
            Names the file: letters, digits, ``-`` and ``_``
        conditions : BenchConditions
            What the recording cannot know
        blank : Recording, RigLeak or NotMeasured, optional
            Hold with the blank plug in the injector's place

        Raises
        ------
        NotAllowed
            If another recording is in progress, or there is one of this id already.
        RecordingFault
            If the id cannot name a file, or nothing can be written.
        """
        with self._starting:
            going = self._session or self._ending
            if going is not None:
                if going is self._session and going.recorder.recording_id == recording_id:
                    return
                raise NotAllowed(
                    say(
                        "the recording '{name}' is in progress at {bench}",
                        name=going.recorder.recording_id,
                        bench=self.name,
                    ),
                    say("Stop it first"),
                )
            if self._instrument is None:
                raise NotAllowed(
                    say("{bench} is not being read", bench=self.name), say("Start the bench first")
                )
            recorder = Recorder(
                self.folder,
                recording_id,
                instrument=self._instrument.name,
                started_at=self._clock(),
            )
            session = _Session(recorder, conditions, blank, self._analyst)
            with self._lock:
                self._session = session

    def stop_recording(self, recording_id: str | None = None) -> FinishedRecording:
        """Close the recording in progress and read it.

        Parameters
        ----------
        recording_id : str, optional
            Which one is meant: a repeated stop of the one that was finished last returns it again

        Raises
        ------
        NotAllowed
            If none is in progress, or another one.
        RecordingFault
            If the disk takes no more (ask again when there is room), or there is nothing in it.
        """
        with self._starting:
            last = self._finished
            going = self._session or self._ending
            current = going.recorder.recording_id if going is not None else None
            if last is not None and recording_id == last.path.stem and recording_id != current:
                return last
            if going is None or (recording_id is not None and recording_id != current):
                what = (
                    say("no recording is in progress at {bench}", bench=self.name)
                    if current is None
                    else say(
                        "the recording '{name}' is in progress at {bench}",
                        name=current,
                        bench=self.name,
                    )
                )
                raise NotAllowed(what, say("Look at the bench's state"))
            with self._lock:
                self._session, self._ending = None, going
            going.end()
            digest = going.recorder.finish()
            self._ending = None
            self._finished = _finished(
                going.recorder.finished_path, digest, going.conditions, going.blank, self._analyst
            )
            return self._finished

    def live(self) -> LiveFindings:
        """Return what the recording in progress shows so far; never waits for a reading."""
        with self._lock:
            session = self._session
        if session is None:
            return LiveFindings(None, LiveMarks(), None, None, 0)
        so_far = self._analyst.latest(session.key)
        return LiveFindings(
            recording_id=session.recorder.recording_id,
            marks=session.online.marks(),
            findings=so_far.findings if so_far is not None else None,
            as_of_s=so_far.as_of_s if so_far is not None else None,
            samples=session.recorder.samples,
        )

    def trace(self) -> tuple[Floats, Floats]:
        """Return all of the recording in progress, shape (N,): [s] from its zero, and [Pa]."""
        with self._lock:
            session = self._session
        return session.recorder.trace.view() if session is not None else (np.empty(0), np.empty(0))

    # -- the thread that reads the instrument ----------------------------------------------------

    def _read_on(self) -> None:
        wait = FIRST_RETRY_S
        while not self._stop.is_set():
            try:
                if self._instrument is None:
                    self._instrument = self._factory()
                self._instrument.open()
                self._sample(self._instrument)
            except InstrumentFault as fault:
                reason = fault.args[0]
            except Exception as error:  # noqa: BLE001 - a bench goes on whatever its instrument does
                _log.exception("the instrument of %s failed", self.name)
                reason = say(
                    "the instrument failed in a way that was not foreseen ({error}); look at its "
                    "file and its leads",
                    error=str(error),
                )
            else:
                reason = ""
            if self._instrument is not None:
                self._instrument.close()
            if self._stop.is_set():
                return
            if self._link is Link.CONNECTED:
                wait = FIRST_RETRY_S
            self._note_loss(reason)
            self._stop.wait(wait)
            wait = min(wait * RETRY_FACTOR, LONGEST_RETRY_S)

    def _sample(self, instrument: Instrument) -> None:
        pending: list[tuple[float, float]] = []
        handed_on = time.monotonic()
        try:
            while not self._stop.is_set():
                pending += instrument.read()
                now = time.monotonic()
                if pending and now - handed_on >= 1.0 / BATCHES_PER_S:
                    self._hand_on(pending)
                    pending = []
                    handed_on = now
        finally:
            if pending:
                self._hand_on(pending)

    def _hand_on(self, samples: list[tuple[float, float]]) -> None:
        columns = np.array(samples, dtype=np.float64).T
        time_s, pressure_pa = columns[0], columns[1]
        if self._link is not Link.CONNECTED:
            self._set_link(Link.CONNECTED, "")
        with self._lock:
            self._ring.add(time_s, pressure_pa)
            if not math.isnan(pressure_pa[-1]):
                self._latest = time.monotonic(), float(pressure_pa[-1])
            session, subscribers = self._session, self._subscribers
            if session is not None:
                session.add(time_s, pressure_pa)
        zero = session.recorder.zero_s if session is not None else None
        batch = Batch(time_s, pressure_pa, zero)
        for subscriber in subscribers:
            subscriber.push(batch)

    def _note_loss(self, reason: str) -> None:
        """Say that the instrument is lost, on the screens and in the recording."""
        was_connected = self._link is Link.CONNECTED
        self._set_link(Link.LOST, reason)
        if not was_connected:
            return
        # An instrument that keeps its own time may be ahead of the clock.
        at = max(time.monotonic(), float(self._ring.last(1)[0][0]) + 1e-3)
        mark = np.array([at]), np.array([np.nan])
        with self._lock:
            self._latest = None
            session, subscribers = self._session, self._subscribers
            if session is not None:
                session.lost(at)
        zero = session.recorder.zero_s if session is not None else None
        for subscriber in subscribers:
            subscriber.push(Batch(*mark, zero))

    def _set_link(self, link: Link, reason: str) -> None:
        with self._lock:
            if link is not self._link:
                self._since = self._clock()
            self._link, self._reason = link, reason


def finish_recording(
    path: Path, conditions: BenchConditions, blank: Blank = None, *, analyst: Analyst | None = None
) -> FinishedRecording:
    """Finish a recording that a crash left, and read it up to that moment.

    Parameters
    ----------
    path : Path
        As :func:`~nozzlewright.edge.intake.live.unfinished_recordings` found it
    conditions, blank
        As in :meth:`LiveBench.start_recording`

    Raises
    ------
    NotAllowed
        If it is still growing, or there is a finished recording of its name.
    RecordingFault
        If there is nothing in it.
    """
    finished = close_unfinished(path)
    return _finished(finished, None, conditions, blank, analyst or shared_analyst())


def _finished(
    path: Path,
    digest: str | None,
    conditions: BenchConditions,
    blank: Blank,
    analyst: Analyst,
) -> FinishedRecording:
    recording, findings = analyst.read(path, conditions, blank)
    if digest is not None and digest != recording.digest:
        raise RecordingFault(
            Fault(
                say("the file is not what was written into it"),
                path.name,
                say("The disk or another program altered it: record again, and look at the disk"),
            )
        )
    return FinishedRecording(
        path, recording.digest, recording, findings, timing_of(recording.time_s)
    )
