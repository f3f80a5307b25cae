"""What the acts at the bench need of the world: a store, an evidence folder, a clock, new ids."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any, Protocol

from nozzlewright.bench import BenchConditions, SettingSheet
from nozzlewright.capture import HandReadings, Recording
from nozzlewright.records import Draft, Entry, EntryKind

Clock = Callable[[], datetime]
"""Returns the time now, UTC."""

DayOf = Callable[[datetime], date]
"""Returns the day of a moment by the shop's calendar."""


def utc_day(moment: datetime) -> date:
    """Return the day of a moment, UTC."""
    return moment.astimezone(UTC).date()


NewId = Callable[[], str]
"""Returns an identity that nothing else has."""


@dataclass(frozen=True)
class JobRow:
    """One job as lists and searches show it: kept beside the entries, made anew from them."""

    job: str
    title: str
    engine: str
    customer: str
    booked_at: datetime
    touched_at: datetime
    state: str
    """``open``, ``waiting`` or ``handed over``."""
    waits_for: str
    """What the job waits for, and whose move it is; or empty."""
    marks: Sequence[Mapping[str, Any]]
    """One for each injector: cylinder, injector, step, outcome."""


@dataclass(frozen=True)
class InjectorRow:
    """One injector as lists and searches show it."""

    injector: str
    serial: str
    pair: str
    story: str
    """Job in which it is now; or empty: on the shelf."""
    cylinder: int | None


class Records(Protocol):
    """The append-only record of a workshop."""

    def take_in(
        self,
        drafts: Sequence[Draft],
        *,
        expect: int | None = None,
        rows: Sequence[JobRow | InjectorRow] = (),
    ) -> list[Entry]:
        """Append entries in one transaction; safe on disk when this returns.

        A draft whose id is in the record already is not appended again: the entry that stands
        there is returned (a repeated tap; it may carry another time). Where all drafts are
        repeated, nothing is written, `rows` neither, and `expect` is not asked.

        Parameters
        ----------
        drafts : sequence of Draft
            Entries to be appended, in order
        expect : int, optional
            Number of the story's last entry as the caller knew it (the story of the first draft);
            where the story has grown since, nothing is appended
        rows : sequence of JobRow or InjectorRow
            What lists show after these entries, written in the same transaction

        Raises
        ------
        StoryMoved
            If the story has grown since `expect`.
        IdTaken
            If an id stands in the record with another content.
        """

    def story(self, story: str, *, after: int = 0) -> list[Entry]:
        """Return the entries of one story with a number above `after`, in order."""

    def entry(self, entry_id: str) -> Entry | None:
        """Return one entry; None where there is none."""

    def of_injector(self, injector: str) -> list[Entry]:
        """Return all entries about one injector, whatever job they belong to, in order."""

    def of_kind(self, kind: EntryKind, *, story: str | None = None, last: int = 50) -> list[Entry]:
        """Return the last entries of one kind, newest first."""

    def of_stories(self, stories: Iterable[str], kinds: Collection[EntryKind]) -> list[Entry]:
        """Return the entries of some kinds in some stories, those of each story in order."""

    def jobs(
        self,
        *,
        state: str | None = None,
        search: str = "",
        after: str = "",
        limit: int = 50,
    ) -> list[JobRow]:
        """Return jobs, that with the newest entry first; `after` is the last of the page before."""

    def put_rows(self, rows: Sequence[JobRow | InjectorRow]) -> None:
        """Write rows anew, where they are rebuilt from the entries."""

    def injectors(self, search: str, limit: int = 50) -> list[InjectorRow]:
        """Return injectors by serial number or identity."""

    def head(self) -> tuple[int, str]:
        """Return number and digest of the last entry; 0 and :data:`FIRST` where there is none."""

    def payloads(self, after: int = 0) -> Iterator[tuple[int, str, str]]:
        """Yield (number, stored text, stored digest) in order, for verification."""


class Readers(Protocol):
    """Evidence, understood."""

    def recording(self, digest: str) -> Recording:
        """Return a gauge recording."""

    def hand_card(self, digest: str) -> HandReadings:
        """Return a card of hand readings."""

    def sheet(self, digest: str) -> SettingSheet:
        """Return a setting sheet."""

    def conditions(self, digest: str) -> BenchConditions:
        """Return bench conditions."""


class EvidenceFolder(Protocol):
    """Files named by their digest: written once, never altered."""

    def keep(self, content: bytes, kind: str) -> str:
        """Write a file, safe on disk when this returns; return its SHA-256.

        `kind` is its ending (``parquet``, ``csv``, ``toml``, ``json``, ``jpg``).
        """

    def read(self, digest: str) -> bytes:
        """Return a file's content.

        Raises
        ------
        EvidenceFault
            If it is missing, or its content is not what its name says.
        """

    def digests(self) -> Iterable[str]:
        """Return the digests of all files."""
