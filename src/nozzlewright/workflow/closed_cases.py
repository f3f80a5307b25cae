"""Cases whose cause was settled, read from the record once and then followed."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from threading import Lock

from nozzlewright.advice.causes import ClosedCase, published
from nozzlewright.records import Entry, EntryKind, JobStory, from_payload, told
from nozzlewright.workflow.ports import Records

MOST_CASES = 2000
"""Entries about causes that are looked at, the newest ones."""
FAR_BEHIND = 3000
"""Entries after which the record is looked through anew, not entry by entry."""
_MATTERS = frozenset(
    {EntryKind.CAUSE, EntryKind.TAGGED, EntryKind.SHELVED, EntryKind.WITHDRAWN}
)  # fmt: skip
"""Kinds of entries that say which cases a job has, and at which injector."""


@dataclass(frozen=True)
class Settled:
    """A closed case, named by the entry that says so."""

    case: ClosedCase
    job: str
    injector: str
    """Its own identity; empty: the engine as a whole."""
    cylinder: int | None
    """None: the engine as a whole, or an injector that is no longer in the job."""


class CasesSeen:
    """The closed cases of all jobs.

    What is kept follows the record's head: only jobs that were written to since are read anew, so
    that a correction or a withdrawal counts at once.
    """

    def __init__(self, records: Records) -> None:
        self._records = records
        self._head = 0
        self._entries: dict[str, str] = {}
        """Entries about causes, the newest last, each with its job."""
        self._of_job: dict[str, dict[str, Settled]] = {}
        self._cases: list[Settled] = []
        self._lock = Lock()

    def cases(self) -> list[Settled]:
        """Return the cases that were settled and still stand, newest first.

        An injector that was settled twice counts once, as it was settled last.
        """
        with self._lock:
            if self._follow():
                found: dict[tuple[str, str], Settled] = {}
                for entry in reversed(self._entries):
                    one = self._of_job[self._entries[entry]].get(entry)
                    if one is not None:
                        found.setdefault((one.job, one.injector), one)
                self._cases = list(found.values())
            return list(self._cases)

    def _follow(self) -> bool:
        """Take in what was written since; return whether any job was read anew."""
        head = self._records.head()[0]
        if head == self._head:
            return False
        stale: set[str] = set()
        if self._head == 0 or not 0 < head - self._head <= FAR_BEHIND:
            found = self._records.of_kind(EntryKind.CAUSE, last=MOST_CASES)
            self._entries = {entry.id: entry.draft.story for entry in reversed(found)}
            self._of_job = {}
            stale.update(self._entries.values())
        else:
            for _, text, _ in self._records.payloads(after=self._head):
                entry = from_payload(text)
                if entry.kind is EntryKind.CAUSE:
                    self._entries[entry.id] = entry.draft.story
                elif entry.kind not in _MATTERS or entry.draft.story not in self._of_job:
                    continue
                stale.add(entry.draft.story)
            while len(self._entries) > MOST_CASES:
                del self._entries[next(iter(self._entries))]
        self._read(stale)
        self._head = head
        return bool(stale)

    def _read(self, jobs: Iterable[str]) -> None:
        """Read what jobs say of their causes; of each all that matters, corrections included."""
        entries: dict[str, list[Entry]] = {job: [] for job in jobs}
        for entry in self._records.of_stories(entries, _MATTERS):
            entries[entry.draft.story].append(entry)
        for job, some in entries.items():
            self._of_job[job] = _settled(told(job, some))


def _settled(story: JobStory) -> dict[str, Settled]:
    """Return the cases of a job by the entry that settled them."""
    found = {}
    for standing in story.causes:
        body = standing.body
        if not body.get("settled"):
            continue
        one = story.injectors.get(standing.injector)
        case = ClosedCase(
            {
                key: tuple(weights)
                for key, weights in dict(body.get("evidence", {})).items()
                if len(weights) == _states(key)
            },
            frozenset(str(cause) for cause in body["settled"]),
            standing.id,
            frozenset(str(key) for key in body.get("silent", ())),
        )
        cylinder = one.cylinder if one is not None else None
        found[standing.id] = Settled(case, story.job, standing.injector, cylinder)
    return found


def _states(observation: str) -> int:
    one = published().by_observation.get(observation)
    return len(one.states) if one is not None else -1
