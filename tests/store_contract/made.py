"""Entries and rows for the store's tests; all invented."""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import sqlalchemy as sa

from nozzlewright.edge.store import StoredRecords
from nozzlewright.records import FIRST, Draft, EntryKind, digest_of, from_payload
from nozzlewright.workflow.ports import InjectorRow, JobRow

NOW = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)


def draft(story: str = "J-1", kind: EntryKind = EntryKind.TEST, **other: Any) -> Draft:
    """Return an entry that has yet to be taken in."""
    plain = Draft(
        id=uuid.uuid4().hex, story=story, kind=kind, who="A. N. Other", at=NOW, body={"n": 1}
    )
    return replace(plain, **other)


def job_row(job: str = "J-1", minutes: float = 0, **other: Any) -> JobRow:
    """Return a row of the list of jobs, touched some minutes after all began."""
    plain = JobRow(
        job=job,
        title=f"Set {job}",
        engine="invented six-cylinder",
        customer="invented customer",
        booked_at=NOW,
        touched_at=NOW + timedelta(minutes=minutes),
        state="open",
        waits_for="",
        marks=({"cylinder": 1, "injector": "I-1", "step": "wash", "outcome": ""},),
    )
    return replace(plain, **other)


def injector_row(injector: str = "I-1", **other: Any) -> InjectorRow:
    """Return a row of the list of injectors."""
    plain = InjectorRow(injector=injector, serial="AB 12-345", pair="P-1", story="", cylinder=1)
    return replace(plain, **other)


def chain_faults(records: StoredRecords) -> list[str]:
    """Return what breaks the chain: told by the digests alone, apart from the store's `verify`."""
    faults = []
    previous, count = FIRST, 0
    for number, text, digest in records.payloads():
        count += 1
        taken = from_payload(text)
        if (number, taken.number, taken.previous) != (count, count, previous):
            faults.append(f"entry {number}")
        if digest_of(text) != digest:
            faults.append(f"digest {number}")
        previous = digest
    if records.head() != (count, previous):
        faults.append("head")
    return faults


def tamper(records: StoredRecords, *statements: str, **values: Any) -> None:
    """Alter the tables behind the store's back, as who has the database in hand can."""
    with records.engine.begin() as connection:
        if records.engine.dialect.name == "sqlite":
            triggers = connection.exec_driver_sql(
                "SELECT name FROM sqlite_master WHERE type = 'trigger' "
                "AND tbl_name IN ('entry', 'head')"
            ).scalars()
            before = [f"DROP TRIGGER {name}" for name in triggers.all()]
        else:
            before = [f"ALTER TABLE {table} DISABLE TRIGGER ALL" for table in ("entry", "head")]
        for statement in [*before, *statements]:
            connection.execute(sa.text(statement), _asked(statement, values))


def _asked(statement: str, values: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in values.items() if f":{name}" in statement}


def verified(breaks: Iterable[Any]) -> list[str]:
    """Return breaks as they are read."""
    return [str(one) for one in breaks]
