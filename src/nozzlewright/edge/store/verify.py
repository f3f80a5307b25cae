"""Find every entry that was altered, removed, moved or slipped in, and spoilt evidence."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass

from nozzlewright.edge.store.database import (
    DamagedFile,
    StoredEntry,
    StoredRecords,
    columns_of,
)
from nozzlewright.edge.store.evidence import EvidenceFiles
from nozzlewright.errors import EvidenceFault
from nozzlewright.records import FIRST, Entry, digest_of, from_payload
from nozzlewright.said import Said, say

MOST_BREAKS = 200
"""With more than these the search ends: such a record is to be restored, not mended."""

_TELL_EVERY = 50_000
_PARTS = ("id", "story", "kind", "injector", "who", "at")


@dataclass(frozen=True)
class Break:
    """One thing in the record that is not as it was taken in."""

    number: int
    """Number of the entry; 0 where it concerns the record as a whole."""
    what: Said
    """What was found."""
    meaning: Said
    """What it means, and what to do."""

    @property
    def said(self) -> Said:
        """Both in one sentence after the other."""
        return say("{what}. {meaning}", what=self.what, meaning=self.meaning)

    def __str__(self) -> str:
        return str(self.said)


def verify(
    records: StoredRecords,
    evidence: EvidenceFiles,
    tell: Callable[[str], None],
    known: Mapping[int, str] | None = None,
) -> list[Break]:
    """Recompute the whole chain and read all evidence.

    Parameters
    ----------
    records, evidence
        The store
    tell : callable
        Is told how far it has got
    known : mapping of int to str, optional
        Digests of entries by their numbers, as they were noted somewhere else: printed on a
        report, in a backup. Only these find a record that was written anew from an entry on,
        with all digests made to fit.

    Returns
    -------
    list of Break
        What is not as it was taken in; empty where all is sound
    """
    noted = records.end.read() if records.end is not None else None  # before the moment begins
    if noted is not None:
        known = {noted[0]: noted[1], **(known or {})}
    with records.at_one_moment() as moment:
        damage = [_damaged(why) for why in moment.damage()]
        try:
            head = moment.head()
        except DamagedFile:
            head = None
        return damage + find_breaks(moment.entries(), head, evidence, tell, known)


def find_breaks(
    entries: Iterable[StoredEntry],
    head: tuple[int, str] | None,
    evidence: EvidenceFiles,
    tell: Callable[[str], None],
    known: Mapping[int, str] | None = None,
) -> list[Break]:
    """Do as :func:`verify` with entries from anywhere."""
    found: list[Break] = []
    try:
        for one in _breaks(entries, head, evidence, tell, known or {}):
            if len(found) == MOST_BREAKS:
                found.append(
                    Break(
                        0,
                        say("More than {most} breaks were found", most=MOST_BREAKS),
                        say("The search ended there. Restore a backup"),
                    )
                )
                break
            found.append(one)
    except DamagedFile as fault:
        found.append(
            Break(
                0,
                say("The entries cannot be read to their end ({why})", why=fault.why),
                say("What comes after could not be verified. Restore a backup to another disk"),
            )
        )
    return found


def _breaks(
    entries: Iterable[StoredEntry],
    head: tuple[int, str] | None,
    evidence: EvidenceFiles,
    tell: Callable[[str], None],
    known: Mapping[int, str],
) -> Iterator[Break]:
    last = 0
    # Either digest of the entry before is good enough for its follower: where the two differ,
    # that has been told already.
    links = {FIRST}
    checked: set[str] = set()
    for one in entries:
        gap = one.number > last + 1
        if gap:
            yield _missing(last + 1, one.number - 1)
        digest = digest_of(one.payload)
        yield from _altered(one, digest)
        taken = _entry(one.payload)
        if taken is None:
            yield _unreadable(one.number)
        else:
            yield from _contradicted(one, taken)
            if not gap and taken.previous not in links:
                yield _unlinked(one.number)
            fresh = [name for name in taken.draft.evidence if name not in checked]
            checked.update(fresh)
            yield from _spoilt(one.number, fresh, evidence)
        # Where text and digest differ, that has been told: either may be what was noted.
        if known.get(one.number, digest) not in {digest, one.digest}:
            yield _rewritten(one.number)
        last, links = one.number, {digest, one.digest}
        if last % _TELL_EVERY == 0:
            tell(say("{number} entries verified", number=last))
    yield from _ended(last, links, head)
    told = max(last, head[0] if head else 0)
    if (noted := max(known, default=0)) > told:
        yield _missing(told + 1, noted)
    tell(say("{entries} entries and {files} files verified", entries=last, files=len(checked)))


def _entry(text: str) -> Entry | None:
    try:
        return from_payload(text)
    except ValueError:
        return None


def _damaged(why: str) -> Break:
    return Break(
        0,
        say("The file of the record is damaged ({why})", why=why),
        say("The disk or the file system may be failing. Restore a backup to another disk"),
    )


def _missing(first: int, last: int) -> Break:
    what = (
        say("Entry {number} is missing", number=first)
        if first == last
        else say("Entries {first} to {last} are missing", first=first, last=last)
    )
    return Break(first, what, say("Removed after the fact. Look for it in a backup"))


def _altered(one: StoredEntry, digest: str) -> Iterator[Break]:
    if digest != one.digest:
        yield Break(
            one.number,
            say("Entry {number} is not what its digest says", number=one.number),
            say("Its text or its digest was altered after it was taken in. Compare with a backup"),
        )


def _unreadable(number: int) -> Break:
    return Break(
        number,
        say("Entry {number} cannot be read", number=number),
        say(
            "Its text was altered, or was written by a newer version of this program. Verify it "
            "with the newest version, then restore a backup"
        ),
    )


def _contradicted(one: StoredEntry, taken: Entry) -> Iterator[Break]:
    if taken.number != one.number:
        yield Break(
            one.number,
            say(
                "Entry {number} was taken in as number {true}", number=one.number, true=taken.number
            ),
            say("It was moved to another place. Compare with a backup"),
        )
    true = columns_of(taken, one.payload)
    parts = [part for part in _PARTS if true[part] != getattr(one, part)]
    if parts:
        yield Break(
            one.number,
            say(
                "Entry {number} is filed under another {parts} than it says itself",
                number=one.number,
                parts=", ".join(parts),
            ),
            say("Its own text holds; what lists go by was altered. Restore a backup"),
        )


def _unlinked(number: int) -> Break:
    return Break(
        number,
        say("Entry {number} does not follow on from the one before it", number=number),
        say(
            "The one before was altered with its digest, or exchanged, or this one was slipped "
            "in. Compare both with a backup"
        ),
    )


def _rewritten(number: int) -> Break:
    return Break(
        number,
        say("Entry {number} has another digest than was noted elsewhere", number=number),
        say("The record was written anew up to here or before. Restore a backup"),
    )


def _spoilt(number: int, digests: Iterable[str], evidence: EvidenceFiles) -> Iterator[Break]:
    for digest in digests:
        try:
            evidence.check(digest)
        except EvidenceFault as fault:
            yield Break(
                number,
                say("Entry {number} rests on a file that is missing or was altered", number=number),
                fault.args[0],
            )


def _ended(last: int, links: set[str], head: tuple[int, str] | None) -> Iterator[Break]:
    if head is None:
        yield Break(
            0,
            say("The record does not say where it ends"),
            say("Whether its last entries are all there cannot be told. Compare with a backup"),
        )
    elif head[0] > last:
        yield _missing(last + 1, head[0])
    elif head[0] < last:
        yield Break(
            head[0] + 1,
            say("The record goes on after entry {number}, its end", number=head[0]),
            say("What follows was slipped in past this program. Compare with a backup"),
        )
    elif head[1] not in links:
        yield Break(
            last,
            say("The record ends with another entry {number} than it says", number=last),
            say("The last entry was altered with its digest, or exchanged. Compare with a backup"),
        )
