"""Tables are brought up to date from any version, and nothing is lost on the way."""

from __future__ import annotations

import gzip
import shutil
import warnings
from pathlib import Path

import pytest
import sqlalchemy as sa
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory

from nozzlewright.edge.store import open_records, schema
from nozzlewright.edge.store.tables import metadata
from nozzlewright.errors import RecordFault

FIRST_VERSION = Path(__file__).parent / "first_version.sqlite.gz"
NEXT_STEP = '''"""A step that may come one day."""

import sqlalchemy as sa
from alembic import op

revision = "next"
down_revision = "1"


def upgrade() -> None:
    op.add_column("job", sa.Column("shelf", sa.Text, nullable=False, server_default="none"))
'''


def _differences(records):
    """Return what the tables lack of what the program believes of them."""

    def counts(thing, name, kind, reflected, compare_to):
        # Search tables and indexes are made by hand: each database has its own.
        return not (name or "").partition("_words")[1]

    with records.engine.connect() as connection, warnings.catch_warnings():
        # An index on an expression (PostgreSQL's search) cannot be compared; it is left out above.
        warnings.filterwarnings("ignore", "autogenerate skipping metadata-specified expression")
        context = MigrationContext.configure(
            connection, opts={"compare_type": True, "include_object": counts}
        )
        return compare_metadata(context, metadata)


@pytest.fixture
def first_version(tmp_path):
    """A record as the first version of the program left it; invented."""
    place = tmp_path / "record.sqlite"
    place.write_bytes(gzip.decompress(FIRST_VERSION.read_bytes()))
    return place


def test_the_newest_step_is_the_one_that_the_program_knows():
    script = ScriptDirectory(str(schema.MIGRATIONS))

    assert script.get_heads() == [schema.NEWEST]


def test_an_empty_database_gets_the_tables_that_the_program_believes_in(tmp_path):
    records = open_records(tmp_path / "record.sqlite")

    assert _differences(records) == []
    records.close()


def test_an_empty_postgresql_database_gets_them_too(postgresql):
    records = open_records(postgresql())

    assert _differences(records) == []
    records.close()


def test_a_record_of_the_first_version_is_read_on_and_added_to(first_version, made):
    records = open_records(first_version)

    assert _differences(records) == []
    assert made.chain_faults(records) == []
    assert records.head()[0] == 4
    assert [one.body["n"] for one in records.story("J-1")] == [1, 1, 1]
    assert [row.job for row in records.jobs(search="hydraulic")] == ["J-1"]
    assert [row.injector for row in records.injectors("345")] == ["I-1"]
    records.take_in([made.draft("J-1")], expect=4)
    assert made.chain_faults(records) == []
    records.close()


def _with_next_step(tmp_path):
    migrations = tmp_path / "migrations"
    shutil.copytree(schema.MIGRATIONS, migrations, ignore=shutil.ignore_patterns("__pycache__"))
    (migrations / "versions" / "next_step.py").write_text(NEXT_STEP)
    return migrations


def test_a_later_step_keeps_what_is_there(first_version, made, tmp_path):
    records = open_records(first_version)
    schema.bring_up_to_date(records._writing, newest="next", migrations=_with_next_step(tmp_path))

    with records.engine.connect() as connection:
        assert connection.exec_driver_sql("SELECT DISTINCT shelf FROM job").scalar() == "none"
    assert made.chain_faults(records) == []
    assert records.head()[0] == 4
    records.close()


def test_a_step_that_fails_leaves_the_record_as_it_was(first_version, made, tmp_path):
    records = open_records(first_version)
    migrations = _with_next_step(tmp_path)
    step = migrations / "versions" / "next_step.py"
    step.write_text(f"{NEXT_STEP}    raise OSError('the power went')\n")
    with pytest.raises(OSError, match="power"):
        schema.bring_up_to_date(records._writing, newest="next", migrations=migrations)

    assert _differences(records) == []
    assert made.chain_faults(records) == []
    records.close()
    open_records(first_version).close()


def test_a_record_of_a_newer_version_is_left_alone_and_said(first_version):
    records = open_records(first_version)
    with records.engine.begin() as connection:
        connection.execute(sa.text("UPDATE alembic_version SET version_num = '99'"))
    records.close()
    before = first_version.read_bytes()

    with pytest.raises(RecordFault, match="newer version"):
        open_records(first_version)
    assert first_version.read_bytes() == before
