"""A workshop's record, verified, copied and restored."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path

from nozzlewright.edge.store import (
    Break,
    EvidenceFiles,
    Manifest,
    backup,
    check_backup,
    is_store,
    open_store,
    read_manifest,
    restore,
    verify,
)
from nozzlewright.edge.store.backup import MANIFEST
from nozzlewright.edge.store.place import EVIDENCE
from nozzlewright.edge.wiring.files import Tell
from nozzlewright.edge.wiring.shop import now, rows_from
from nozzlewright.errors import RecordFault
from nozzlewright.said import say


def verify_record(
    folder: Path, tell: Tell, against: Path | None = None
) -> tuple[list[Break], int, str]:
    """Return what is not as it was taken in, with number and digest of the last entry.

    Parameters
    ----------
    folder : Path
        Of a store, or of a backup
    tell : callable
        Is told how far it has got
    against : Path, optional
        A backup that was made earlier and kept elsewhere: its last entry must stand in the record
        as it was then

    Raises
    ------
    RecordFault
        If the folder is neither, or cannot be opened; or if `against` is no backup.
    """
    known = _noted_in(against) if against is not None else None
    if _told(folder, (folder / MANIFEST).is_file):
        manifest = read_manifest(folder)
        return check_backup(folder, tell, known), manifest.entries, manifest.head
    _demand_store(folder)
    store = open_store(folder, shortened=True)
    try:
        breaks = verify(store.records, store.evidence, tell, known)
        return breaks, *(store.records.head() if not breaks else (0, ""))
    finally:
        store.close()


def _noted_in(backup_folder: Path) -> dict[int, str]:
    """Return what a backup says of its last entry; nothing where it has none."""
    manifest = read_manifest(backup_folder)
    return {manifest.entries: manifest.head} if manifest.entries else {}


def backup_record(folder: Path, into: Path, tell: Tell) -> Manifest:
    """Write a consistent copy of a store that is in use, and read it back.

    Raises
    ------
    RecordFault
        If there is no store, or the copy cannot be written or does not verify.
    """
    _demand_store(folder)
    store = open_store(folder)
    try:
        return backup(store, into, tell, now)
    finally:
        store.close()


def restore_record(folder: Path, into: Path, tell: Tell, url: str | None = None) -> Manifest:
    """Make a store from a backup.

    Raises
    ------
    RecordFault
        If the backup is not sound, or the place is taken.
    """
    return restore(folder, into, rows_from(EvidenceFiles(folder / EVIDENCE)), tell, url)


def _demand_store(folder: Path) -> None:
    if not _told(folder, partial(is_store, folder)):
        raise RecordFault(
            say(
                "{folder} holds no record of a workshop. Name the folder that `serve` was given",
                folder=str(folder),
            )
        )


def _told(folder: Path, look: Callable[[], bool]) -> bool:
    """Look into a folder; say where that is not allowed."""
    try:
        return look()
    except OSError as fault:
        raise RecordFault(
            say(
                "{folder} cannot be looked into ({why}). See that it is yours to read",
                folder=str(folder),
                why=fault.strerror or str(fault),
            )
        ) from fault
