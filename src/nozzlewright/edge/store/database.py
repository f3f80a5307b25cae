"""The record in a database: SQLite, or PostgreSQL by one setting."""

from __future__ import annotations

import json
import os
import re
import sqlite3
import threading
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import partial
from itertools import islice
from pathlib import Path
from typing import Any, NamedTuple, TypeVar

import sqlalchemy as sa
from sqlalchemy.dialects import postgresql, sqlite

from nozzlewright.edge.store.end import EndNote
from nozzlewright.edge.store.schema import bring_up_to_date
from nozzlewright.edge.store.search import injector_words, job_words, listed
from nozzlewright.edge.store.tables import entry, head, injector, job
from nozzlewright.errors import IdTaken, RecordFault, StoryMoved
from nozzlewright.records import (
    FIRST,
    Draft,
    Entry,
    EntryKind,
    chained,
    digest_of,
    from_payload,
    payload,
)
from nozzlewright.said import as_data, from_data, say
from nozzlewright.workflow.ports import InjectorRow, JobRow

BUSY_S = 10.0
"""How long a writer waits for another process, [s]; common practice, no source."""

_WAL_BYTES = 64 * 2**20
"""To which SQLite cuts its log back after something large, such as restoring."""
_PAGE = 1000
_MOST = 1000
_GREATEST = 2**63 - 1
_LONGEST_ID = 64
_DIGEST = re.compile(r"[0-9a-f]{64}")
_NUL = re.compile(r"(?<!\\)(?:\\\\)*\\u0000")
_T = TypeVar("_T")
_COLUMNS = entry.c.keys()
_DAMAGED = {sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB}
_NOT_OURS = {sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM, sqlite3.SQLITE_READONLY}
_INSERT: Mapping[str, Any] = {"sqlite": sqlite.insert, "postgresql": postgresql.insert}


class StoredEntry(NamedTuple):
    """An entry as it lies in the database, whether or not its parts agree."""

    number: int
    id: str
    story: str
    kind: str
    injector: str
    who: str
    at: str
    payload: str
    digest: str


class DamagedFile(RecordFault):
    """A file of SQLite's that cannot be read to its end, or at all."""

    def __init__(self, why: str) -> None:
        self.why = why
        super().__init__(
            say(
                "The file of the record is damaged ({why}). Give its folder another name, keep it, "
                "and restore the newest backup, to another disk if this one may be failing",
                why=why,
            )
        )


@dataclass(frozen=True)
class Moment:
    """The record as it was at one moment, while others go on writing."""

    connection: sa.Connection

    def head(self) -> tuple[int, str] | None:
        """Return where the record ends by its own account; None where that is lost."""
        with _told():
            wanted = sa.select(head.c.number, head.c.digest)
            row = self.connection.execute(wanted).one_or_none()
        return None if row is None else (row.number, row.digest)

    def damage(self) -> list[str]:
        """Return what SQLite finds amiss with its file, such as an index that lacks entries."""
        if self.connection.dialect.name != "sqlite":
            return []  # the server minds its own files
        try:
            with _told():
                found = self.connection.exec_driver_sql("PRAGMA integrity_check(5)").scalars().all()
        except DamagedFile as fault:
            return [fault.why]
        return [str(one) for one in found if one != "ok"]

    def entries(self) -> Iterator[StoredEntry]:
        """Yield all entries in the order of their numbers.

        Raises
        ------
        DamagedFile
            Where SQLite cannot read on.
        """
        with _told():
            yield from _pages(self.connection, 0)


def open_records(place: str | Path) -> StoredRecords:
    """Open the record, make it where there is none, and bring its tables up to date.

    Parameters
    ----------
    place : str or Path
        A file for SQLite; or ``postgresql://user@host/database``

    Raises
    ------
    RecordFault
        If it cannot be opened, is no record, or was written by a newer version.
    """
    engine = _engine(place)
    records = StoredRecords(engine)
    try:
        with _told():
            records.bring_up_to_date()
    except BaseException:
        records.close()
        raise
    return records


class StoredRecords:
    """The append-only record of a workshop (:class:`nozzlewright.workflow.ports.Records`)."""

    def __init__(self, engine: sa.Engine) -> None:
        self.engine = engine
        self.end: EndNote | None = None
        """Where it is noted, beside the database, how far the record went."""
        self._dialect = engine.dialect.name
        # Threads of this process queue here: SQLite itself would have them poll for their turn.
        self._turn = threading.Lock()
        if self._dialect == "sqlite":
            self._reading = engine
            self._writing = engine.execution_options(begin="BEGIN IMMEDIATE")
            self._snapshot = engine.execution_options(begin="BEGIN")
        else:
            self._reading = engine.execution_options(isolation_level="AUTOCOMMIT")
            self._writing = engine.execution_options(isolation_level="READ COMMITTED")
            self._snapshot = engine.execution_options(
                isolation_level="REPEATABLE READ", postgresql_readonly=True
            )

    def bring_up_to_date(self) -> None:
        """Make or migrate the tables."""
        bring_up_to_date(self._writing)

    def close(self) -> None:
        """Let go of the database."""
        self.engine.dispose()

    # -- writing ---------------------------------------------------------------------------------

    def take_in(
        self,
        drafts: Sequence[Draft],
        *,
        expect: int | None = None,
        rows: Sequence[JobRow | InjectorRow] = (),
    ) -> list[Entry]:
        """Append entries in one transaction; safe on disk when this returns.

        A draft whose id is in the record already is not appended again: the entry that stands
        there is returned (a repeated tap). Whether it is the same draft is told by all of it but
        its time, which a repeated tap may carry anew. Where all drafts are repeated, nothing is
        written at all, `rows` neither, and `expect` is not asked.

        Raises
        ------
        StoryMoved
            If the story has grown since `expect`.
        IdTaken
            If an id stands in the record with another content.
        RecordFault
            If a draft cannot be kept as it is, or the database cannot take it.
        """
        for draft in drafts:
            _check(draft)
        with self._transaction() as connection:
            standing = _standing(connection, [draft.id for draft in drafts])
            number, digest = _end(connection)
            new: list[dict[str, Any]] = []
            for draft in drafts:
                if draft.id in standing:
                    _check_same(draft, standing[draft.id])
                    continue
                number += 1
                taken, text = chained(number, draft, digest)
                digest = taken.digest
                standing[draft.id] = from_payload(text)
                new.append(columns_of(standing[draft.id], text))
            if drafts and not new:
                return [standing[draft.id] for draft in drafts]
            if expect is not None and drafts:
                _check_unmoved(connection, drafts[0].story, expect)
            if new:
                _append(connection, new)
            self._put(connection, rows)
        if new:
            self._note_end(number, digest)
        return [standing[draft.id] for draft in drafts]

    def put_rows(self, rows: Sequence[JobRow | InjectorRow]) -> None:
        """Write rows anew, where they are rebuilt from the entries."""
        with self._transaction() as connection:
            self._put(connection, rows)

    def demand_writable(self) -> None:
        """Refuse a record that can be read but not added to.

        Raises
        ------
        RecordFault
            If the database, or its disk, takes nothing.
        """
        with self._transaction() as connection:
            # SQLite itself begins to write only with the first statement that could.
            connection.execute(head.update().where(head.c.one == 0).values(digest=FIRST))

    def load(self, payloads: Iterable[str]) -> None:
        """Fill an empty record with the texts of another one's entries, in order; all or nothing.

        Raises
        ------
        RecordFault
            If the record is not empty, or the texts are not one unbroken chain.
        """
        with self._transaction() as connection:
            if _end(connection) != (0, FIRST):
                raise RecordFault(say("The record is not empty: nothing can be restored into it"))
            number, digest = 0, FIRST
            for chunk in _chunks(payloads):
                new = []
                for text in chunk:
                    number += 1
                    taken = _restored(text, number, digest)
                    digest = taken.digest
                    new.append(columns_of(taken, text))
                _append(connection, new)
        if number:
            self._note_end(number, digest)

    def _note_end(self, number: int, digest: str) -> None:
        if self.end is not None:
            self.end.write(number, digest)

    def refuse_shortened(self) -> None:
        """Refuse a record that lacks what is noted to have been its end.

        Raises
        ------
        RecordFault
            If the entry that is noted is missing, or another one stands in its place.
        """
        noted = self.end.read() if self.end is not None else None
        if self.end is None or noted is None:
            return
        wanted = sa.select(entry.c.digest).where(entry.c.number == noted[0])
        with _told(), self._reading.connect() as connection:
            found = connection.execute(wanted).scalar()
            last, _digest = _end(connection)
        if found == noted[1]:
            return
        what = (
            say("The record ends with entry {last}, but entry {noted} was on disk already",
                last=last, noted=noted[0])
            if found is None
            else say("Entry {noted} of the record is another than was taken in", noted=noted[0])
        )  # fmt: skip
        raise RecordFault(
            say(
                "{what}. An older copy may have been laid over it, or record.sqlite-wal been left "
                "behind or removed. Give the folder another name, keep it, and restore the newest "
                "backup. Where nothing better is to be had, remove {place}: the record then goes "
                "on from where it ends",
                what=what,
                place=str(self.end.place),
            )
        )

    @contextmanager
    def _transaction(self) -> Iterator[sa.Connection]:
        with self._turn, _told(), self._writing.begin() as connection:
            if self._dialect != "sqlite":
                # One writer at a time; what the one before wrote is seen from here on.
                connection.execute(sa.select(head.c.one).with_for_update())
            yield connection

    def _put(self, connection: sa.Connection, rows: Sequence[JobRow | InjectorRow]) -> None:
        # The last row of each wins, as it would one by one.
        jobs = {row.job: _job_columns(row) for row in rows if isinstance(row, JobRow)}
        injectors = {
            row.injector: _injector_columns(row) for row in rows if isinstance(row, InjectorRow)
        }
        for some in _chunks(jobs.values()):
            numbers = _last_numbers(connection, [columns["job"] for columns in some])
            self._upsert(connection, job, job.c.job, [
                columns | {"row": numbers[columns["job"]]} for columns in some
            ])  # fmt: skip
        for some in _chunks(injectors.values()):
            self._upsert(connection, injector, injector.c.injector, some)

    def _upsert(
        self,
        connection: sa.Connection,
        table: sa.Table,
        key: sa.Column[str],
        rows: list[dict[str, Any]],
    ) -> None:
        insert = _INSERT[self._dialect](table)
        altered = {name: insert.excluded[name] for name in rows[0] if name != key.name}
        connection.execute(insert.on_conflict_do_update(index_elements=[key], set_=altered), rows)

    # -- reading ---------------------------------------------------------------------------------

    def story(self, story: str, *, after: int = 0) -> list[Entry]:
        """Return the entries of one story with a number above `after`, in order."""
        return self._entries(
            sa.select(entry.c.payload)
            .where(entry.c.story == story, entry.c.number > _number(after))
            .order_by(entry.c.number),
            story,
        )

    def entry(self, entry_id: str) -> Entry | None:
        """Return one entry; None where there is none."""
        found = self._entries(sa.select(entry.c.payload).where(entry.c.id == entry_id), entry_id)
        return found[0] if found else None

    def of_injector(self, injector: str) -> list[Entry]:
        """Return all entries about one injector, whatever job they belong to, in order."""
        if not injector:
            return []
        return self._entries(
            sa.select(entry.c.payload).where(entry.c.injector == injector).order_by(entry.c.number),
            injector,
        )

    def of_kind(self, kind: EntryKind, *, story: str | None = None, last: int = 50) -> list[Entry]:
        """Return the last entries of one kind, newest first."""
        wanted = sa.select(entry.c.payload).where(entry.c.kind == kind.value)
        if story is not None:
            wanted = wanted.where(entry.c.story == story)
        return self._entries(
            wanted.order_by(entry.c.number.desc()).limit(_limit(last)), story or ""
        )

    def of_stories(self, stories: Iterable[str], kinds: Collection[EntryKind]) -> list[Entry]:
        """Return the entries of some kinds in some stories, those of each story in order."""
        of_kinds = entry.c.kind.in_([kind.value for kind in kinds])
        found: list[Entry] = []
        for some in _chunks(story for story in stories if _storable(story)):
            wanted = sa.select(entry.c.payload).where(entry.c.story.in_(some), of_kinds)
            found += self._entries(wanted.order_by(entry.c.number), "")
        return found

    def jobs(
        self,
        *,
        state: str | None = None,
        search: str = "",
        after: str = "",
        limit: int = 50,
    ) -> list[JobRow]:
        """Return jobs, last touched first; `after` is the last job of the page before.

        The job touched last is that with the newest entry.

        `search` finds jobs that have, for each word of it, a word that begins with it: in their
        number, title, engine or customer; accents, signs and case aside.
        """
        if not (_storable(after) and _storable(state or "")):
            return []
        wanted, number = listed(job, self._dialect, search, state)
        if after:
            before = sa.select(job.c.row).where(job.c.job == after).scalar_subquery()
            wanted = wanted.where(number < before)
        wanted = wanted.order_by(number.desc()).limit(_limit(limit))
        with _told(), self._reading.connect() as connection:
            return [_job_row(row) for row in connection.execute(wanted)]

    def injectors(self, search: str, limit: int = 50) -> list[InjectorRow]:
        """Return injectors by serial number, identity or nozzle pair, the newest first.

        A serial number is also found without its signs, and by its last characters (three or
        more).
        """
        wanted, number = listed(injector, self._dialect, search)
        wanted = wanted.order_by(number.desc()).limit(_limit(limit))
        with _told(), self._reading.connect() as connection:
            return [_injector_row(row) for row in connection.execute(wanted)]

    def head(self) -> tuple[int, str]:
        """Return number and digest of the last entry; 0 and :data:`FIRST` where there is none."""
        with _told(), self._reading.connect() as connection:
            return _end(connection)

    def payloads(self, after: int = 0) -> Iterator[tuple[int, str, str]]:
        """Yield (number, stored text, stored digest) in order, for verification."""
        with _told(), self._reading.connect() as connection:
            for one in _pages(connection, _number(after)):
                yield one.number, one.payload, one.digest

    def stories(self) -> list[str]:
        """Return all stories, that with the newest entry last."""
        newest = sa.func.max(entry.c.number)
        wanted = sa.select(entry.c.story).group_by(entry.c.story).order_by(newest)
        with _told(), self._reading.connect() as connection:
            return list(connection.execute(wanted).scalars())

    @contextmanager
    def at_one_moment(self) -> Iterator[Moment]:
        """Lend the record as it is now, unmoved by what is written meanwhile."""
        # It ends by being taken back: SQLite would refuse to commit after a page it could not read.
        with _told(), self._snapshot.connect() as connection, _whatever_text(connection):
            yield Moment(connection)

    def _entries(self, wanted: sa.Select[str], key: str) -> list[Entry]:
        if not _storable(key):
            return []
        with _told(), self._reading.connect() as connection:
            return [_readable(text) for text in connection.execute(wanted).scalars()]


# -- engine --------------------------------------------------------------------------------------


def _engine(place: str | Path) -> sa.Engine:
    if isinstance(place, Path) or "://" not in place:
        return _sqlite(Path(place))
    try:
        url = sa.engine.make_url(place)
    except sa.exc.ArgumentError as fault:
        raise RecordFault(say("The address of the database cannot be read")) from fault
    if url.get_backend_name() == "sqlite" and url.database:
        return _sqlite(Path(url.database))
    if url.get_backend_name() != "postgresql":
        raise RecordFault(
            say(
                "The record can be kept by SQLite or PostgreSQL, not by {name}",
                name=url.get_backend_name(),
            )
        )
    return _postgresql(url.set(drivername="postgresql+psycopg"))


def _sqlite(path: Path) -> sa.Engine:
    if not path.exists():
        try:
            # The files beside it (-wal, -shm) take over its permissions.
            os.close(os.open(path, os.O_CREAT | os.O_RDWR, 0o600))
        except OSError as fault:
            raise RecordFault(
                say(
                    "{path} cannot be made ({why}). Choose a folder that can be written",
                    path=str(path),
                    why=fault.strerror or "",
                )
            ) from fault
    url = sa.URL.create("sqlite", database=str(path))
    engine = sa.create_engine(url, connect_args={"timeout": BUSY_S})

    @sa.event.listens_for(engine, "connect")
    def _set_up(connection: Any, _: object) -> None:
        connection.isolation_level = None  # transactions begin where `_begin` says so
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute(f"PRAGMA journal_size_limit = {_WAL_BYTES}")

    @sa.event.listens_for(engine, "begin")
    def _begin(connection: sa.Connection) -> None:
        if begin := connection.get_execution_options().get("begin"):
            connection.exec_driver_sql(begin)

    return engine


def _postgresql(url: sa.URL) -> sa.Engine:
    try:
        engine = sa.create_engine(url, pool_pre_ping=True)
    except ModuleNotFoundError as fault:
        raise RecordFault(
            say("PostgreSQL needs psycopg. Install it: pip install 'psycopg[binary]'")
        ) from fault

    @sa.event.listens_for(engine, "connect")
    def _set_up(connection: Any, _: object) -> None:
        encoding = connection.info.parameter_status("server_encoding")
        if encoding != "UTF8":
            raise RecordFault(
                say(
                    "The database keeps its texts as {encoding}. Make one with ENCODING 'UTF8'",
                    encoding=str(encoding),
                )
            )
        # A server may be set to tell of a commit before it is on disk: not for this record.
        connection.execute(
            "SELECT set_config('synchronous_commit', 'on', false) "
            "WHERE current_setting('synchronous_commit') = 'off'"
        )
        connection.commit()

    return engine


@contextmanager
def _told() -> Iterator[None]:
    """Turn what a database says into what can be done about it."""
    try:
        yield
    except sa.exc.DBAPIError as fault:
        why = str(fault.orig).strip().partition("\n")[0]
        code = getattr(fault.orig, "sqlite_errorcode", 0) & 0xFF  # without what refines it
        if code in _DAMAGED:
            raise DamagedFile(why) from fault
        if code in _NOT_OURS:
            raise RecordFault(
                say(
                    "The record cannot be opened for writing ({why}). See that its folder and "
                    "files are yours to write, and the disk is neither protected nor full",
                    why=why,
                )
            ) from fault
        raise RecordFault(
            say(
                "The record cannot be read or written ({why}). See that the disk is not full and "
                "the database is running, then do it again: what was taken in already is not "
                "taken in twice",
                why=why,
            )
        ) from fault
    except sa.exc.TimeoutError as fault:
        raise RecordFault(
            say("The record is busy: too much is asked of it at once. Do it again")
        ) from fault


# -- entries -------------------------------------------------------------------------------------


def _check(draft: Draft) -> None:
    """Refuse what could not be read back as it is, or not on both databases."""
    if not 0 < len(draft.id) <= _LONGEST_ID:
        raise RecordFault(say("An entry needs an id of 1 to {most} characters", most=_LONGEST_ID))
    if not draft.story:
        raise RecordFault(say("An entry needs the job that it belongs to"))
    if any(_DIGEST.fullmatch(digest) is None for digest in draft.evidence):
        raise RecordFault(say("Evidence is named by its SHA-256, in 64 hexadecimal digits"))
    try:
        text = payload(0, draft, "")
        text.encode()
    except (RecursionError, TypeError, ValueError) as fault:
        raise RecordFault(say("The entry cannot be kept: {why}", why=str(fault))) from fault
    if _NUL.search(text):
        raise RecordFault(say("The entry cannot be kept: there is a NUL character in it"))


def _storable(text: str) -> bool:
    """Tell whether a text can be in the database at all, and so be asked for."""
    try:
        text.encode()
    except UnicodeEncodeError:
        return False
    return "\0" not in text


def _chunks(items: Iterable[_T]) -> Iterator[list[_T]]:
    rest = iter(items)
    while chunk := list(islice(rest, _PAGE)):
        yield chunk


def _number(after: int) -> int:
    return max(0, min(after, _GREATEST))


def _limit(limit: int) -> int:
    return max(0, min(limit, _MOST))


def _standing(connection: sa.Connection, ids: Sequence[str]) -> dict[str, Entry]:
    if not ids:
        return {}
    wanted = sa.select(entry.c.payload).where(entry.c.id.in_(ids))
    found = (_readable(text) for text in connection.execute(wanted).scalars())
    return {one.id: one for one in found}


def _end(connection: sa.Connection) -> tuple[int, str]:
    wanted = sa.select(head.c.number, head.c.digest)
    row = connection.execute(wanted).one_or_none()
    if row is None:
        raise RecordFault(
            say("The record does not say where it ends. Verify it, and restore a backup")
        )
    return row.number, row.digest


def _check_same(draft: Draft, standing: Entry) -> None:
    again = replace(draft, at=standing.draft.at)
    if payload(0, again, "") != payload(0, standing.draft, ""):
        raise IdTaken(
            say(
                "The id {id} stands in the record already, with another content (entry {number}). "
                "Load the page anew and note it again",
                id=draft.id,
                number=standing.number,
            )
        )


def _last_numbers(connection: sa.Connection, jobs: Sequence[str]) -> dict[str, int]:
    wanted = (
        sa.select(entry.c.story, sa.func.max(entry.c.number))
        .where(entry.c.story.in_(jobs))
        .group_by(entry.c.story)
    )
    numbers = {row[0]: row[1] for row in connection.execute(wanted)}
    if missing := sorted(set(jobs) - set(numbers)):
        raise RecordFault(
            say("Job {job} has no entries: there is nothing to show of it", job=missing[0])
        )
    return numbers


def _check_unmoved(connection: sa.Connection, story: str, expect: int) -> None:
    wanted = sa.select(sa.func.max(entry.c.number)).where(entry.c.story == story)
    last = connection.execute(wanted).scalar() or 0
    if last != expect:
        raise StoryMoved(
            say(
                "Somebody has added to job {story} meanwhile (entry {last}; {expect} was the last "
                "that was shown). See what is new, then note it again",
                story=story,
                last=last,
                expect=expect,
            )
        )


def _readable(text: str) -> Entry:
    try:
        return from_payload(text)
    except ValueError as fault:
        raise RecordFault(
            say(
                "An entry of the record cannot be read: {why}. Verify the record; where it is "
                "sound, it was written by a newer version of this program",
                why=str(fault),
            )
        ) from fault


def _restored(text: str, number: int, previous: str) -> Entry:
    taken = _readable(text)
    if (taken.number, taken.previous) != (number, previous):
        raise RecordFault(
            say("Entry {number} does not follow on from the one before it", number=number)
        )
    return taken


def columns_of(taken: Entry, text: str) -> dict[str, Any]:
    """Return what is stored of an entry: its text, and what it is looked up by."""
    draft = taken.draft
    return {
        "number": taken.number,
        "id": draft.id,
        "story": draft.story,
        "kind": draft.kind.value,
        "injector": draft.injector,
        "who": draft.who,
        "at": draft.at.astimezone(UTC).isoformat(timespec="milliseconds"),
        "payload": text,
        "digest": taken.digest,
    }


def _append(connection: sa.Connection, new: Sequence[Mapping[str, Any]]) -> None:
    connection.execute(entry.insert(), list(new))
    connection.execute(head.update().values(number=new[-1]["number"], digest=new[-1]["digest"]))


def _pages(connection: sa.Connection, after: int) -> Iterator[StoredEntry]:
    while True:
        wanted = (
            sa.select(entry).where(entry.c.number > after).order_by(entry.c.number).limit(_PAGE)
        )
        page = connection.execute(wanted).all()
        for number, *texts in page:
            yield StoredEntry(number, *[_as_text(text) for text in texts])
        if len(page) < _PAGE:
            return
        after = page[-1].number


def as_stored(payloads: Iterable[str]) -> Iterator[StoredEntry]:
    """Yield entries as they would lie in the database, by their own numbers."""
    number = 0
    for text in payloads:
        try:
            columns = columns_of(from_payload(text), text)
            number = columns["number"]
        except ValueError:
            number += 1
            columns = dict.fromkeys(_COLUMNS, "")
            columns |= {"number": number, "payload": text, "digest": digest_of(text)}
        yield StoredEntry(**columns)


@contextmanager
def _whatever_text(connection: sa.Connection) -> Iterator[None]:
    """Have SQLite give out texts that are no UTF-8 too: their digests will tell."""
    if connection.dialect.name != "sqlite":
        yield
        return
    driver: Any = connection.connection.driver_connection
    driver.text_factory = partial(str, encoding="utf-8", errors="replace")
    try:
        yield
    finally:
        driver.text_factory = str


def _as_text(value: object) -> str:
    if isinstance(value, str):
        return value
    return value.decode(errors="replace") if isinstance(value, bytes) else str(value)


# -- rows ----------------------------------------------------------------------------------------


def _time_text(time: datetime) -> str:
    return time.astimezone(UTC).isoformat(timespec="microseconds")


def _job_columns(row: JobRow) -> dict[str, Any]:
    return {
        "job": row.job,
        "title": row.title,
        "engine": row.engine,
        "customer": row.customer,
        "booked_at": _time_text(row.booked_at),
        "touched_at": _time_text(row.touched_at),
        "state": row.state,
        "waits_for": json.dumps(as_data(row.waits_for), ensure_ascii=False),
        "marks": json.dumps([dict(mark) for mark in row.marks], ensure_ascii=False),
        "words": job_words(row),
    }


def _job_row(row: sa.Row[Any]) -> JobRow:
    return JobRow(
        job=row.job,
        title=row.title,
        engine=row.engine,
        customer=row.customer,
        booked_at=datetime.fromisoformat(row.booked_at),
        touched_at=datetime.fromisoformat(row.touched_at),
        state=row.state,
        waits_for=from_data(json.loads(row.waits_for)),
        marks=tuple(json.loads(row.marks)),
    )


def _injector_columns(row: InjectorRow) -> dict[str, Any]:
    return {
        "injector": row.injector,
        "serial": row.serial,
        "pair": row.pair,
        "story": row.story,
        "cylinder": row.cylinder,
        "words": injector_words(row),
    }


def _injector_row(row: sa.Row[Any]) -> InjectorRow:
    return InjectorRow(row.injector, row.serial, row.pair, row.story, row.cylinder)
