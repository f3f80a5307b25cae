"""One entry of the record: who noted what, when, about which injector, on what evidence.

Entries are never altered. Each carries the digest of the one before it, so that an entry that was
altered, taken out or moved breaks the chain from there on.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from enum import StrEnum
from typing import Any

FIRST = "0" * 64
"""What stands in place of the previous digest in the first entry."""

SHOP = "shop"
"""The story of the workshop itself: people, rigs, sheets; every other story is one job's."""


class EntryKind(StrEnum):
    """What an entry says, in the order in which a job meets them."""

    PERSON = "person"
    SHEET = "setting sheet"
    RIG_CHECK = "rig of the day"
    BOOKED_IN = "booked in"
    SHEET_CHOSEN = "sheet chosen"
    TAGGED = "tagged"
    PHOTO = "photo"
    TAKEN_IN_HAND = "taken in hand"
    LAID_DOWN = "laid down"
    STEP_DONE = "step done"
    SEEN = "seen"
    TEST = "test"
    STRIPPED = "stripped"
    FINDING = "finding"
    ASSEMBLED = "assembled"
    TORQUED = "torqued"
    SETTING_CHANGED = "setting changed"
    VERDICT = "verdict"
    SHELVED = "on the shelf"
    """Taken out of the set: exchanged, or kept as a spare."""
    SECOND_PERSON = "second person"
    HANDED_OVER = "handed over"
    RUNNING_CHECK = "running check"
    WITHDRAWN = "withdrawn"
    """A correction that takes an entry back and puts nothing in its place."""
    PRACTICE = "practice"
    DRAWER = "shims in the drawer"
    """Thicknesses that the workshop has, and how many of each."""
    STUDY = "repeatability study"
    CAUSE = "cause settled"
    """What was the matter with an injector, as it turned out."""
    MATCH = "match chosen"
    """Which choice of a match is carried out, with what it plans at each injector."""
    SPRINGS = "springs on the shelf"
    """Springs of one length that the workshop has for one kind of injector."""
    LEARNED = "learned"
    """A version of what closed jobs taught about causes."""


@dataclass(frozen=True)
class Draft:
    """An entry that has yet to be taken in: it has no place in the chain."""

    id: str
    """Made by the client (a UUID), so that a repeated tap is the same entry."""
    story: str
    """Job's number, or :data:`SHOP`."""
    kind: EntryKind
    who: str
    at: datetime
    """When it was noted, UTC."""
    body: Mapping[str, Any] = field(default_factory=dict)
    """What it says: plain JSON values, units in the names."""
    injector: str = ""
    """Injector's own identity, which stays with it wherever it goes; or empty."""
    rig: str = ""
    """Id of the entry with the rig's state of the day; or empty."""
    evidence: Sequence[str] = ()
    """SHA-256 digests of the files that it rests on."""
    corrects: str = ""
    """Id of the entry that this one puts right; or empty."""


@dataclass(frozen=True)
class Entry:
    """A draft at its place in the chain."""

    number: int
    """Place in the chain of the whole workshop, from 1."""
    draft: Draft
    previous: str
    """Digest of the entry before it."""
    digest: str

    @property
    def id(self) -> str:
        """The client-made identity."""
        return self.draft.id

    @property
    def kind(self) -> EntryKind:
        """What it says."""
        return self.draft.kind

    @property
    def body(self) -> Mapping[str, Any]:
        """What it says, in particular."""
        return self.draft.body


def payload(number: int, draft: Draft, previous: str) -> str:
    """Return the text whose SHA-256 is the entry's digest: canonical JSON, keys in order.

    Raises
    ------
    ValueError
        If the time has no zone, or a number in the body is not finite.
    TypeError
        If the body holds anything but JSON values.
    """
    if draft.at.tzinfo is None:
        raise ValueError("the time of an entry needs its zone")
    return json.dumps(
        {
            "number": number,
            "id": draft.id,
            "story": draft.story,
            "kind": draft.kind.value,
            "who": draft.who,
            "at": draft.at.astimezone(UTC).isoformat(timespec="milliseconds"),
            "body": draft.body,
            "injector": draft.injector,
            "rig": draft.rig,
            "evidence": list(draft.evidence),
            "corrects": draft.corrects,
            "previous": previous,
        },
        ensure_ascii=False,
        sort_keys=True,
        separators=(",", ":"),
        allow_nan=False,
    )


def chained(number: int, draft: Draft, previous: str) -> tuple[Entry, str]:
    """Return the entry at its place in the chain, and the text to be stored."""
    text = payload(number, draft, previous)
    return Entry(number, draft, previous, digest_of(text)), text


def digest_of(text: str) -> str:
    """Return the SHA-256 of a stored text, in hexadecimal."""
    return hashlib.sha256(text.encode()).hexdigest()


def from_payload(text: str) -> Entry:
    """Return the entry that a stored text holds.

    Raises
    ------
    ValueError
        If the text is not that of an entry.
    """
    try:
        data = json.loads(text)
        draft = Draft(
            id=data["id"],
            story=data["story"],
            kind=EntryKind(data["kind"]),
            who=data["who"],
            at=datetime.fromisoformat(data["at"]),
            body=data["body"],
            injector=data["injector"],
            rig=data["rig"],
            evidence=tuple(data["evidence"]),
            corrects=data["corrects"],
        )
        return Entry(data["number"], draft, data["previous"], digest_of(text))
    except (KeyError, TypeError, ValueError) as fault:
        raise ValueError(f"no entry can be read from it ({fault})") from fault
