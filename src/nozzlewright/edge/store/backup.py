"""Copy a store while it is in use, and make a store from such a copy.

A backup is a folder that any program can read: ``entries.jsonl`` has the text of one entry a
line, each line's SHA-256 being the digest that the next one names; ``evidence/`` has the files
that they rest on, ``recordings/`` those still being made, as far as they were, ``instruments/``
what the benches are; ``manifest.json`` says what belongs to it. It is the same for SQLite and
PostgreSQL.
"""

from __future__ import annotations

import hashlib
import shutil
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path, PurePosixPath
from typing import Annotated, Literal

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field

from nozzlewright.edge.store.database import StoredEntry, StoredRecords, as_stored
from nozzlewright.edge.store.evidence import EvidenceFiles
from nozzlewright.edge.store.files import make_folder, new_file, sync_folder, write_safely
from nozzlewright.edge.store.place import (
    DEMO_MARK,
    EVIDENCE,
    INSTRUMENTS,
    RECORDINGS,
    Store,
    open_store,
    set_url,
)
from nozzlewright.edge.store.verify import Break, find_breaks, verify
from nozzlewright.errors import EvidenceFault, RecordFault
from nozzlewright.records import FIRST, Entry, from_payload
from nozzlewright.said import Said, joined, say
from nozzlewright.workflow.ports import InjectorRow, JobRow

RowsOf = Callable[[Sequence[Entry]], Sequence[JobRow | InjectorRow]]
"""Returns what lists show of one story."""

ENTRIES = "entries.jsonl"
MANIFEST = "manifest.json"
_SHOWN = 5
_ROWS = 5000

Sha256 = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]


class Manifest(BaseModel):
    """What belongs to a backup."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    format: Literal["nozzlewright backup 1"] = "nozzlewright backup 1"
    made_at: AwareDatetime
    entries: int
    head: Sha256
    """Digest of the last entry: note it elsewhere, and `verify` can be held against it."""
    entries_sha256: Sha256
    evidence: list[Sha256]
    """Digests of the files, in the order in which entries name them."""
    recordings: dict[str, Sha256]
    """Digest of each by its name."""
    beside: dict[str, Sha256] = {}
    """What else the workshop has beside its record, such as the files of its instruments."""


def backup(
    store: Store, into: Path, tell: Callable[[str], None], now: Callable[[], datetime]
) -> Manifest:
    """Write a consistent copy of a store that is in use, and read it back.

    Parameters
    ----------
    store : Store
        What is copied
    into : Path
        Folder of the copy; must not exist
    tell : callable
        Is told what is being done
    now : callable
        Clock, UTC

    Returns
    -------
    Manifest
        What the copy holds

    Raises
    ------
    RecordFault
        If `into` exists, lies within the store, cannot be written, or the copy does not verify:
        what could be copied is then left beside it, under a name that ends in ``.partial``. Also
        where the copy is whole, but the file of the record is not.
    """
    _refuse_taken(into)
    _refuse_within(into, store.folder)
    draft = into.with_name(f"{into.name}.partial")
    _refuse_taken(draft)
    with _disk_told(draft):
        make_folder(draft)
        made_at = now()
        # Before the entries: a recording that is done and gone meanwhile is evidence in these.
        growing = sorted(store.recordings.rglob("*"))
        recordings = _copy_files(growing, store.recordings, draft / RECORDINGS)
        beside = [*sorted(store.folder.glob(f"{INSTRUMENTS}/*.toml")), store.folder / DEMO_MARK]
        set_up = _copy_files(beside, store.folder, draft)
        tell(say("Copying the entries"))
        with store.records.at_one_moment() as moment:
            damage = moment.damage()
            head = moment.head()
            names = _write_entries(draft / ENTRIES, moment.entries())
        tell(say("Copying {count} files of evidence", count=len(names)))
        _copy_evidence(store.evidence, EvidenceFiles(draft / EVIDENCE), names)
        manifest = Manifest(
            made_at=made_at.astimezone(UTC),
            entries=head[0] if head else 0,
            head=head[1] if head else FIRST,
            entries_sha256=_sha256(draft / ENTRIES),
            evidence=names,
            recordings=recordings,
            beside=set_up,
        )
        write_safely(draft / MANIFEST, manifest.model_dump_json(indent=1).encode())
        sync_folder(draft)
    tell(say("Reading the copy back"))
    _refuse_broken(
        check_backup(draft, tell),
        say(
            "The record is not sound, and so is its copy. What could be copied is in {folder}",
            folder=str(draft),
        ),
    )
    with _disk_told(into):
        draft.rename(into)
        sync_folder(into.parent)
    if damage:
        raise RecordFault(
            say(
                "{path} is whole and can be restored, but the file of the record itself is damaged "
                "({why}): give its folder another name and restore this copy, to another disk if "
                "that one may be failing",
                path=str(into),
                why=damage[0],
            )
        )
    return manifest


def check_backup(
    folder: Path, tell: Callable[[str], None], known: Mapping[int, str] | None = None
) -> list[Break]:
    """Return what is not as it was in a backup; empty where all is sound.

    Parameters
    ----------
    folder : Path
        Of the backup
    tell : callable
        Is told how far it has got
    known : mapping of int to str, optional
        Digests of entries by their numbers, as they were noted somewhere else

    Raises
    ------
    RecordFault
        If the folder is no backup, or a file of it is not what its manifest says.
    """
    manifest = read_manifest(folder)
    if _sha256(folder / ENTRIES) != manifest.entries_sha256:
        raise _spoilt(folder / ENTRIES)
    for place, digest in _files_of(manifest, folder).items():
        if _sha256(place) != digest:
            raise _spoilt(place)
    head = (manifest.entries, manifest.head)
    entries = as_stored(_lines(folder / ENTRIES))
    return find_breaks(entries, head, EvidenceFiles(folder / EVIDENCE), tell, known)


def restore(
    backup_folder: Path,
    into: Path,
    rows_of: RowsOf,
    tell: Callable[[str], None],
    url: str | None = None,
) -> Manifest:
    """Make a store from a backup; all of it or nothing.

    Parameters
    ----------
    backup_folder : Path
        What :func:`backup` wrote, from SQLite or PostgreSQL
    into : Path
        Folder of the new store; must be empty or not exist
    rows_of : callable
        Makes what lists show from the entries of one story
    tell : callable
        Is told what is being done
    url : str, optional
        Empty PostgreSQL database that takes the record; the new store then goes on using it

    Raises
    ------
    RecordFault
        If `into` is not empty or lies within the backup, the backup is not sound, or the new store
        does not verify.
    """
    _refuse_within(into, backup_folder)
    if into.exists() and not (into.is_dir() and not any(into.iterdir())):
        raise _taken(into)
    draft = into.with_name(f"{into.name}.partial")
    _refuse_taken(draft)
    tell(say("Reading the backup"))
    broken = say("The backup is not sound. Nothing was restored")
    _refuse_broken(check_backup(backup_folder, tell), broken)
    manifest = read_manifest(backup_folder)
    with _disk_told(draft):
        store = open_store(draft, url)
        try:
            _fill(store, backup_folder, manifest, rows_of, tell)
        finally:
            store.close()
        if url is not None:
            set_url(draft, url)
        sync_folder(draft)
        if into.exists():
            into.rmdir()
        draft.rename(into)
        sync_folder(into.parent)
    return manifest


def _fill(
    store: Store,
    backup_folder: Path,
    manifest: Manifest,
    rows_of: RowsOf,
    tell: Callable[[str], None],
) -> None:
    # Files first: where the disk is full, a database that stands elsewhere is still empty.
    tell(say("Copying {count} files of evidence", count=len(manifest.evidence)))
    _copy_evidence(EvidenceFiles(backup_folder / EVIDENCE), store.evidence, manifest.evidence)
    for place in _files_of(manifest, backup_folder):
        _copy_file(place, store.folder / place.relative_to(backup_folder))
    tell(say("Restoring {count} entries", count=manifest.entries))
    store.records.load(_lines(backup_folder / ENTRIES))
    tell(say("Making the lists anew"))
    rebuild_rows(store.records, rows_of)
    _refuse_broken(
        verify(store.records, store.evidence, tell),
        say("The restored store is not sound. Restore it to another disk"),
    )


def rebuild_rows(records: StoredRecords, rows_of: RowsOf) -> None:
    """Make anew what lists show, from the entries.

    The story touched last comes last: an injector is where its newest job has it.
    """
    rows: list[JobRow | InjectorRow] = []
    for story in records.stories():
        rows += rows_of(records.story(story))
        if len(rows) >= _ROWS:
            records.put_rows(rows)
            rows = []
    records.put_rows(rows)


def read_manifest(folder: Path) -> Manifest:
    """Return what belongs to a backup.

    Raises
    ------
    RecordFault
        If the folder is no backup.
    """
    try:
        return Manifest.model_validate_json((folder / MANIFEST).read_bytes())
    except (OSError, ValueError) as fault:
        raise RecordFault(
            say(
                "{folder} is no backup that this version can read: its {name} is missing or of "
                "another form",
                folder=str(folder),
                name=MANIFEST,
            )
        ) from fault


# -- parts ---------------------------------------------------------------------------------------
def _write_entries(place: Path, entries: Iterable[StoredEntry]) -> list[str]:
    """Write the texts of entries, one a line; return the evidence that they name."""
    names: dict[str, None] = {}
    with new_file(place) as file:
        for one in entries:
            file.write(one.payload.encode() + b"\n")
            try:
                names.update(dict.fromkeys(from_payload(one.payload).draft.evidence))
            except ValueError:
                continue  # reading the copy back tells
    return list(names)


def _lines(place: Path) -> Iterator[str]:
    # Texts hold no line feed (JSON writes it as \n); other ends of line may well be in them.
    with place.open("rb") as file:
        for line in file:
            # What is no UTF-8 was altered: its digest will tell.
            yield line.removesuffix(b"\n").decode(errors="replace")


def _copy_evidence(source: EvidenceFiles, target: EvidenceFiles, digests: Iterable[str]) -> None:
    for digest in digests:
        try:
            content, kind = source.read(digest), source.kind(digest)
        except EvidenceFault:
            continue  # missing or altered: reading the copy back tells
        target.keep(content, kind)


def _copy_files(files: Iterable[Path], source: Path, target: Path) -> dict[str, str]:
    """Copy those of the files that are there; return the digest of each by its name."""
    found = {}
    for file in files:
        if file.is_file():
            name = file.relative_to(source).as_posix()
            with suppress(FileNotFoundError):  # done and gone since the folder was listed
                _copy_file(file, target / name)
                found[name] = _sha256(target / name)
    return found


def _copy_file(source: Path, target: Path) -> None:
    make_folder(target.parent)
    # Old one first: where it is gone, nothing is made.
    with source.open("rb") as old, new_file(target) as new:
        shutil.copyfileobj(old, new)
    sync_folder(target.parent)


def _files_of(manifest: Manifest, folder: Path) -> dict[Path, str]:
    """Return the places of a backup's other files, none of them outside of what may be there."""
    recordings = {
        folder.joinpath(RECORDINGS, *_parts(name)): digest
        for name, digest in manifest.recordings.items()
    }
    beside = {folder.joinpath(*_parts(name)): digest for name, digest in manifest.beside.items()}
    for place in beside:
        name = place.relative_to(folder)
        if name != Path(DEMO_MARK) and (name.parent != Path(INSTRUMENTS) or name.suffix != ".toml"):
            raise _no_name(str(name))
    return recordings | beside


def _parts(name: str) -> tuple[str, ...]:
    parts = PurePosixPath(name).parts
    if not parts or {"..", "/"} & set(parts) or "\\" in name or ":" in name or "\0" in name:
        raise _no_name(name)
    return parts


def _no_name(name: str) -> RecordFault:
    return RecordFault(say("{name} cannot be the name of a file in a backup", name=repr(name)))


def _sha256(place: Path) -> str:
    try:
        with place.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as fault:
        raise _spoilt(place) from fault


# -- refusals ------------------------------------------------------------------------------------


def _refuse_taken(place: Path) -> None:
    if place.exists():
        raise _taken(place)


def _refuse_within(place: Path, folder: Path) -> None:
    if place.resolve().is_relative_to(folder.resolve()):
        raise RecordFault(
            say(
                "{path} lies within {folder} itself. Name a place outside of it, best on another "
                "disk",
                path=str(place),
                folder=str(folder),
            )
        )


def _taken(place: Path) -> RecordFault:
    return RecordFault(
        say("{path} is there already. Name another place, or remove it", path=str(place))
    )


def _spoilt(place: Path) -> RecordFault:
    return RecordFault(say("{path} is missing or was altered. Use another backup", path=str(place)))


def _refuse_broken(breaks: Sequence[Break], message: Said) -> None:
    if breaks:
        raise RecordFault(joined("\n", [message, *(one.said for one in breaks[:_SHOWN])]))


@contextmanager
def _disk_told(draft: Path) -> Iterator[None]:
    try:
        yield
    except OSError as fault:
        raise RecordFault(
            say(
                "{path} cannot be written ({why}). Choose a disk with room enough",
                path=str(fault.filename or draft),
                why=fault.strerror or str(fault),
            )
        ) from fault
