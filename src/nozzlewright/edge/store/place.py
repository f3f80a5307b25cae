"""Where a workshop's record lies: one folder, or a folder beside a PostgreSQL database."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path

import tomlkit

from nozzlewright.edge.store.database import StoredRecords, open_records
from nozzlewright.edge.store.end import EndNote
from nozzlewright.edge.store.evidence import EvidenceFiles
from nozzlewright.edge.store.files import make_folder, sync_folder, write_safely
from nozzlewright.errors import RecordFault
from nozzlewright.said import say

DATABASE = "record.sqlite"
EVIDENCE = "evidence"
RECORDINGS = "recordings"
SETTINGS = "store.toml"
END = "record.end"
INSTRUMENTS = "instruments"
"""Folder of the instrument files."""
DEMO_MARK = "demo-workshop"
"""File that makes a folder the demo workshop's."""


@dataclass(frozen=True)
class Store:
    """All that a workshop keeps."""

    folder: Path
    records: StoredRecords
    evidence: EvidenceFiles

    @property
    def recordings(self) -> Path:
        """Folder of gauge recordings that are still being made."""
        return self.folder / RECORDINGS

    def close(self) -> None:
        """Let go of the database."""
        self.records.close()


def open_store(folder: Path, url: str | None = None, *, shortened: bool = False) -> Store:
    """Open a store, and make it where there is none.

    Parameters
    ----------
    folder : Path
        Holds ``record.sqlite``, ``record.end``, ``evidence/``, ``recordings/`` and, for PostgreSQL,
        ``store.toml``
    url : str, optional
        Database in place of what ``store.toml`` says, or of ``record.sqlite``
    shortened : bool
        Whether a record that lacks its end is opened too, to find out what it lacks

    Raises
    ------
    RecordFault
        If the folder cannot be written, ``store.toml`` cannot be read, the database not opened, or
        the record lacks entries that were on disk already.
    """
    try:
        for one in (folder, folder / EVIDENCE, folder / RECORDINGS):
            make_folder(one)
        sync_folder(folder)
    except OSError as fault:
        raise RecordFault(
            say(
                "{path} cannot be made ({why}). Choose a folder that can be written",
                path=str(fault.filename or folder),
                why=fault.strerror or "",
            )
        ) from fault
    records = open_records(url or _url(folder / SETTINGS) or folder / DATABASE)
    records.end = EndNote(folder / END)
    try:
        if not shortened:
            records.refuse_shortened()
    except BaseException:
        records.close()
        raise
    return Store(folder, records, EvidenceFiles(folder / EVIDENCE))


def is_store(folder: Path) -> bool:
    """Tell whether a store lies in a folder, or has lain there."""
    return any((folder / name).exists() for name in (DATABASE, SETTINGS, END))


def set_url(folder: Path, url: str) -> None:
    """Have the store in a folder keep its record on PostgreSQL from now on."""
    write_safely(folder / SETTINGS, tomlkit.dumps({"url": url}).encode())


def _url(settings: Path) -> str | None:
    if not settings.exists():
        return None
    try:
        data = tomllib.loads(settings.read_text(encoding="utf-8"))
    except (OSError, ValueError) as fault:
        raise RecordFault(
            say("{path} cannot be read: {why}", path=str(settings), why=str(fault))
        ) from fault
    url = data.pop("url", None)
    if data or not (url is None or isinstance(url, str)):
        raise RecordFault(
            say(
                '{path} may hold one line: url = "postgresql://user@host/database"',
                path=str(settings),
            )
        )
    return url
