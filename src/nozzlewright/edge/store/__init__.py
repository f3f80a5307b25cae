"""The record on disk: entries in a database, evidence in files named by their digest.

``place``
    One folder with all that a workshop keeps: what most callers open.
``database`` (``tables``, ``schema``, ``migrations``, ``search``)
    The chain of entries on SQLite or PostgreSQL, and the rows that lists show.
``evidence``
    Files named by their digest.
``verify``
    Finds what is not as it was taken in.
``backup``
    A copy made while in use, and a store made from it.
"""

from nozzlewright.edge.store.backup import (
    Manifest,
    RowsOf,
    backup,
    check_backup,
    read_manifest,
    rebuild_rows,
    restore,
)
from nozzlewright.edge.store.database import StoredRecords, open_records
from nozzlewright.edge.store.evidence import EvidenceFiles
from nozzlewright.edge.store.place import (
    DEMO_MARK,
    INSTRUMENTS,
    Store,
    is_store,
    open_store,
)
from nozzlewright.edge.store.verify import Break, verify

__all__ = [
    "DEMO_MARK",
    "INSTRUMENTS",
    "Break",
    "EvidenceFiles",
    "Manifest",
    "RowsOf",
    "Store",
    "StoredRecords",
    "backup",
    "check_backup",
    "is_store",
    "open_records",
    "open_store",
    "read_manifest",
    "rebuild_rows",
    "restore",
    "verify",
]
