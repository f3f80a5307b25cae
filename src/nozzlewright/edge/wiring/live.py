"""Live gauges as the screens use them: recordings that wait for a decision.

A recording is named after what it belongs to (``recording_id`` begins with it), so that a page that
is opened again, or a program that is started again, finds what was left open.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from nozzlewright.bench import BenchConditions
from nozzlewright.capture import CountedDrops, HandReadings, Recording, TimedDrop, WatchedHold
from nozzlewright.edge.intake.evidence_text import hand_card_text
from nozzlewright.edge.intake.hand_card import DEFAULT_FRACTION_READ, DEFAULT_REACTION_TIME_S
from nozzlewright.edge.intake.live import (
    Batch,
    Link,
    LiveBench,
    LiveFindings,
    LiveStatus,
    finish_recording,
    unfinished_recordings,
)
from nozzlewright.edge.intake.recording import read_recording
from nozzlewright.edge.wiring.inbox import KINDS, Inbox
from nozzlewright.errors import NotAllowed
from nozzlewright.said import say

__all__ = [
    "Batch",
    "Inbox",
    "Link",
    "LiveBench",
    "LiveFindings",
    "LiveStatus",
    "OpenRecording",
    "content_of",
    "finish_open",
    "forget",
    "hand_card",
    "lay_aside",
    "open_recording",
    "open_recordings",
    "read_open",
]

ASIDE = "laid-aside"
"""Folder of the recordings that belong to no test: nothing that was recorded is deleted."""


@dataclass(frozen=True)
class OpenRecording:
    """A recording about which nobody has decided yet."""

    place: str
    """Name of the bench, or of the inbox, where it lies."""
    recording_id: str
    path: Path
    finished: bool
    """False: the program ended while it was growing."""
    seconds: float | None = None
    """Time up to which it reaches, [s]; None for a finished one, whose content says so."""
    started_at: datetime | None = None

    @property
    def kind(self) -> str:
        """Under which it is kept."""
        return self.path.suffix[1:]


def open_recordings(place: LiveBench | Inbox, about: str) -> list[OpenRecording]:
    """Return the recordings at a place about which nobody has decided, those cut short first.

    Parameters
    ----------
    place : LiveBench or Inbox
        Whose folder is looked at
    about : str
        What the names of the recordings begin with
    """
    going, endings, found = None, set(KINDS), []
    if isinstance(place, LiveBench):
        going, endings = place.status().recording_id, {".csv"}
        found = [
            OpenRecording(
                place.name, one.recording_id, one.path, False, one.seconds, one.started_at
            )
            for one in unfinished_recordings(place.folder)
            if one.recording_id.startswith(about)
        ]
    finished = [
        path
        for path in place.folder.glob("*")
        if path.suffix in endings and path.name.startswith(about)
    ]
    found += [
        OpenRecording(place.name, path.stem, path, True)
        for path in sorted(finished, key=lambda path: path.stat().st_mtime, reverse=True)
        if "." not in path.stem and path.stem != going
    ]
    return found


def open_recording(place: LiveBench | Inbox, about: str, recording_id: str) -> OpenRecording:
    """Return one of :func:`open_recordings`.

    Raises
    ------
    NotAllowed
        If there is none of that name: somebody has decided about it meanwhile.
    """
    for one in open_recordings(place, about):
        if one.recording_id == recording_id:
            return one
    raise NotAllowed(
        say("this recording is not open any more"), say("Look at the injector: it may be saved")
    )


def finish_open(one: OpenRecording, conditions: BenchConditions, blank: Recording | None) -> None:
    """Finish a recording that was cut short.

    Raises
    ------
    RecordingFault
        If there is nothing in it; it is kept all the same.
    """
    finish_recording(one.path, conditions, blank)


def content_of(one: OpenRecording) -> bytes:
    """Return the bytes of a recording."""
    return one.path.read_bytes()


def lay_aside(one: OpenRecording) -> None:
    """Put a recording where no test asks for it; it stays on disk."""
    aside = one.path.parent / ASIDE
    aside.mkdir(exist_ok=True)
    one.path.replace(aside / one.path.name)


def read_open(one: OpenRecording) -> Recording:
    """Return a recording, read.

    Raises
    ------
    RecordingFault
        If nothing can be read from it.
    """
    return read_recording(one.path)


def forget(one: OpenRecording) -> None:
    """Remove a recording from the bench's folder, once the evidence holds it."""
    one.path.unlink(missing_ok=True)


def hand_card(
    *,
    division_pa: float,
    opening_pa: tuple[float, ...] = (),
    closing_pa: tuple[float, ...] = (),
    drops: tuple[TimedDrop, ...] = (),
    seat_hold: WatchedHold | None = None,
    leak_off: CountedDrops | None = None,
    openings_per_stroke: tuple[int, ...] = (),
    note: str = "",
    fitter: str = "",
) -> bytes:
    """Return the content of a card of hand readings, as the readers know it.

    Parameters
    ----------
    division_pa : float
        Smallest division of the dial, [Pa]
    opening_pa, closing_pa : tuple of float
        Pop by pop, [Pa]
    drops, seat_hold, leak_off
        Timed falls, the hold of the seat, and the drops counted at the leak-off
    openings_per_stroke : tuple of int
        Openings counted in quick strokes, [1]
    note : str
        Note on the card
    fitter : str
        Who read
    """
    readings = HandReadings(
        source="",
        digest="",
        opening_pa=opening_pa,
        closing_pa=closing_pa,
        drops=drops,
        seat_hold=seat_hold,
        leak_off=leak_off,
        openings_per_stroke=openings_per_stroke,
        reading_resolution_pa=division_pa * DEFAULT_FRACTION_READ / 2.0,
        reaction_time_s=DEFAULT_REACTION_TIME_S,
        fitter=fitter,
    )
    return hand_card_text(readings, division_pa, note).encode()
