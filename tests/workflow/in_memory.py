"""The record and the evidence of a workshop in memory: short stand-ins for the ports."""

from __future__ import annotations

import hashlib
import itertools
from datetime import UTC, datetime, timedelta
from pathlib import Path

from nozzlewright.edge.intake import (
    read_conditions,
    read_hand_card,
    read_recording,
    read_sheet,
)
from nozzlewright.errors import EvidenceFault, IdTaken, StoryMoved
from nozzlewright.records import FIRST, chained
from nozzlewright.workflow import Workshop
from nozzlewright.workflow.ports import JobRow


class RecordsInMemory:
    def __init__(self):
        self.entries, self.texts, self.rows = [], [], {}

    def take_in(self, drafts, *, expect=None, rows=()):
        last = max((e.number for e in self.story(drafts[0].story)), default=0)
        known = self.entry(drafts[0].id)
        if known is not None:
            if known.body != drafts[0].body:
                raise IdTaken(drafts[0].id)
            return [known]
        if expect is not None and expect != last:
            raise StoryMoved(drafts[0].story)
        taken = []
        for draft in drafts:
            number, previous = self.head()
            entry, text = chained(number + 1, draft, previous)
            self.entries.append(entry)
            self.texts.append(text)
            taken.append(entry)
        self.put_rows(rows)
        return taken

    def put_rows(self, rows):
        for row in rows:
            key = ("job", row.job) if isinstance(row, JobRow) else ("injector", row.injector)
            self.rows[key] = row

    def story(self, story, *, after=0):
        return [e for e in self.entries if e.draft.story == story and e.number > after]

    def entry(self, entry_id):
        return next((e for e in self.entries if e.id == entry_id), None)

    def of_injector(self, injector):
        return [e for e in self.entries if e.draft.injector == injector]

    def of_kind(self, kind, *, story=None, last=50):
        found = [
            e for e in self.entries if e.kind is kind and (story is None or e.draft.story == story)
        ]
        return found[::-1][:last]

    def of_stories(self, stories, kinds):
        wanted = set(stories)
        return [e for e in self.entries if e.draft.story in wanted and e.kind in kinds]

    def jobs(self, *, state=None, search="", after="", limit=50):  # noqa: ARG002
        rows = [row for (kind, _), row in self.rows.items() if kind == "job"]
        return [r for r in rows if state in (None, r.state) and search in r.title][:limit]

    def injectors(self, search, limit=50):
        rows = [row for (kind, _), row in self.rows.items() if kind == "injector"]
        return [r for r in rows if search in (r.injector, r.serial, r.pair)][:limit]

    def head(self):
        last = self.entries[-1] if self.entries else None
        return (last.number, last.digest) if last else (0, FIRST)

    def payloads(self, after=0):
        for entry, text in zip(self.entries, self.texts, strict=True):
            if entry.number > after:
                yield entry.number, text, entry.digest


class EvidenceInFolder:
    def __init__(self, folder: Path):
        self.folder = folder

    def keep(self, content, kind):
        digest = hashlib.sha256(content).hexdigest()
        (self.folder / f"{digest}.{kind}").write_bytes(content)
        return digest

    def path(self, digest):
        found = list(self.folder.glob(f"{digest}.*"))
        if not found:
            raise EvidenceFault(f"no evidence {digest}")
        return found[0]

    def read(self, digest):
        return self.path(digest).read_bytes()

    def digests(self):
        return [path.stem for path in self.folder.iterdir()]


class ReadersOfFolder:
    def __init__(self, evidence):
        self.evidence = evidence

    def recording(self, digest):
        return read_recording(self.evidence.path(digest))

    def hand_card(self, digest):
        return read_hand_card(self.evidence.path(digest))

    def sheet(self, digest):
        return read_sheet(self.evidence.path(digest))

    def conditions(self, digest):
        return read_conditions(self.evidence.path(digest))


def workshop_in_memory(folder: Path) -> Workshop:
    count = itertools.count(1)
    minutes = itertools.count()
    start = datetime(2026, 3, 2, 8, tzinfo=UTC)
    evidence = EvidenceInFolder(folder)
    return Workshop(
        RecordsInMemory(),
        evidence,
        ReadersOfFolder(evidence),
        clock=lambda: start + timedelta(minutes=next(minutes)),
        new_id=lambda: f"id-{next(count)}",
    )
