"""A workshop on its store."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, tzinfo
from functools import lru_cache
from pathlib import Path

from nozzlewright.bench import BenchConditions, SettingSheet, StepPlan, steps_of
from nozzlewright.capture import HandReadings, Recording
from nozzlewright.edge.intake import read_conditions, read_hand_card, read_recording, read_sheet
from nozzlewright.edge.store import EvidenceFiles, Store, open_store
from nozzlewright.errors import EvidenceFault
from nozzlewright.records import Entry, EntryKind, told
from nozzlewright.said import say
from nozzlewright.workflow import Workshop
from nozzlewright.workflow.ports import Clock, InjectorRow, JobRow
from nozzlewright.workflow.workshop import rows_of

_KEPT = 64


class EvidenceReaders:
    """Evidence, understood; what is asked for again is not read again."""

    def __init__(self, evidence: EvidenceFiles) -> None:
        self._evidence = evidence
        self.recording = lru_cache(8)(self._recording)
        self.hand_card = lru_cache(_KEPT)(self._hand_card)
        self.sheet = lru_cache(_KEPT)(self._sheet)
        self.conditions = lru_cache(_KEPT)(self._conditions)

    def _recording(self, digest: str) -> Recording:
        recording = read_recording(self._evidence.path(digest))
        if recording.digest != digest:
            raise EvidenceFault(
                say("the recording {digest} is no longer what it was", digest=digest[:12])
            )
        return recording

    def _hand_card(self, digest: str) -> HandReadings:
        return read_hand_card(self._whole(digest))

    def _sheet(self, digest: str) -> SettingSheet:
        return read_sheet(self._whole(digest))

    def _conditions(self, digest: str) -> BenchConditions:
        return read_conditions(self._whole(digest))

    def _whole(self, digest: str) -> Path:
        self._evidence.check(digest)
        return self._evidence.path(digest)


@dataclass(frozen=True)
class Shop:
    """A workshop with the store that it stands on."""

    workshop: Workshop
    store: Store

    def close(self) -> None:
        """Let go of the store."""
        self.store.close()


def now() -> datetime:
    """Return the time, UTC."""
    return datetime.now(UTC)


def open_shop(
    folder: Path,
    url: str | None = None,
    clock: Clock = now,
    new_id: Callable[[], str] = lambda: str(uuid.uuid4()),
    zone: tzinfo | None = None,
) -> Shop:
    """Open a workshop's store, and make it where there is none.

    Parameters
    ----------
    folder : Path
        Folder of the store
    url : str, optional
        Database in place of the folder's own
    clock, new_id : callable
        The time now, UTC; an identity that nothing else has
    zone : tzinfo, optional
        Where the shop's days begin and end; None: this machine's zone

    Raises
    ------
    RecordFault
        If the store cannot be opened.
    """
    store = open_store(folder, url)
    readers = EvidenceReaders(store.evidence)

    def day_of(moment: datetime) -> date:
        return moment.astimezone(zone).date()

    workshop = Workshop(store.records, store.evidence, readers, clock, new_id, day_of)
    return Shop(workshop, store)


def rows_from(evidence: EvidenceFiles) -> Callable[[Sequence[Entry]], list[JobRow | InjectorRow]]:
    """Return what makes a story's rows anew from its entries, for a store that is restored."""
    readers = EvidenceReaders(evidence)

    def rows(entries: Sequence[Entry]) -> list[JobRow | InjectorRow]:
        if not entries or entries[0].kind is not EntryKind.BOOKED_IN:
            return []
        job = entries[0].draft.story
        story = told(job, entries)
        plan = readers.sheet(story.sheet).steps if story.sheet else StepPlan()
        return list(rows_of(told(job, entries, plan), steps_of(plan)))

    return rows
