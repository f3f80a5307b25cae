"""Bring the tables of a database up to date, in one transaction."""

from __future__ import annotations

from pathlib import Path

import sqlalchemy as sa

from nozzlewright.errors import RecordFault
from nozzlewright.said import say

NEWEST = "1"
"""Newest step under ``migrations``; known here so that the usual start needs no migrating."""

MIGRATIONS = Path(__file__).parent / "migrations"
_LOCK = 0x6E6F7A7A
"""Any number: who holds it on PostgreSQL is the one that migrates."""


def bring_up_to_date(
    writing: sa.Engine, *, newest: str = NEWEST, migrations: Path = MIGRATIONS
) -> None:
    """Carry out the steps that the database has yet to see; all of them or none.

    Parameters
    ----------
    writing : sqlalchemy.Engine
        Its transactions have the database to themselves on SQLite
    newest : str
        Step to which the tables are to be brought
    migrations : Path
        Folder of the steps

    Raises
    ------
    RecordFault
        If the database was written by a newer version of the program.
    """
    with writing.connect() as connection:
        if _version(connection) == newest:
            return
    with writing.begin() as connection:
        if connection.dialect.name == "postgresql":
            connection.execute(sa.select(sa.func.pg_advisory_xact_lock(_LOCK)))
        version = _version(connection)
        if version != newest:  # else another process was quicker
            _migrate(connection, version, migrations)


def _version(connection: sa.Connection) -> str | None:
    if not sa.inspect(connection).has_table("alembic_version"):
        return None
    return connection.execute(sa.text("SELECT version_num FROM alembic_version")).scalar()


def _migrate(connection: sa.Connection, version: str | None, migrations: Path) -> None:
    # Imported here: it takes as long as all the rest of opening a store.
    from alembic.operations import Operations
    from alembic.runtime.migration import MigrationContext
    from alembic.script import ScriptDirectory

    script = ScriptDirectory(str(migrations))
    if version is not None and version not in {step.revision for step in script.walk_revisions()}:
        raise RecordFault(
            say(
                "The record was written by a newer version of this program (its tables are at "
                "step {step}). Install the newer version; nothing was changed",
                step=version,
            )
        )
    context = MigrationContext.configure(connection)
    with Operations.context(context):
        for step in reversed(list(script.iterate_revisions("head", version or "base"))):
            step.module.upgrade()
        context.stamp(script, "head")
