"""What only a server brings with it."""

from __future__ import annotations

import psycopg
import pytest
from sqlalchemy.engine import make_url

from nozzlewright.edge.store import open_records
from nozzlewright.errors import RecordFault


def test_a_restarted_server_is_found_again(postgresql, made):
    url = postgresql()
    records = open_records(url)
    records.take_in([made.draft()])
    with psycopg.connect(url, autocommit=True) as connection:
        connection.execute(
            "SELECT pg_terminate_backend(pid) FROM pg_stat_activity "
            "WHERE datname = current_database() AND pid <> pg_backend_pid()"
        )
    records.take_in([made.draft()])

    assert records.head()[0] == 2
    records.close()


def test_a_commit_is_on_disk_though_the_database_is_set_to_say_so_before(postgresql):
    url = postgresql()
    with psycopg.connect(url, autocommit=True) as connection:
        connection.execute("ALTER ROLE postgres SET synchronous_commit = off")
    try:
        records = open_records(url)
        with records.engine.connect() as connection:
            setting = connection.exec_driver_sql("SHOW synchronous_commit").scalar()
        records.close()
    finally:
        with psycopg.connect(url, autocommit=True) as connection:
            connection.execute("ALTER ROLE postgres RESET synchronous_commit")

    assert setting == "on"


def test_a_database_in_another_encoding_is_refused(postgresql):
    url = postgresql()
    with psycopg.connect(url, autocommit=True) as connection:
        connection.execute("CREATE DATABASE latin ENCODING 'LATIN1' LOCALE 'C' TEMPLATE template0")
    other = make_url(url).set(database="latin").render_as_string(hide_password=False)
    with pytest.raises(RecordFault, match="UTF8"):
        open_records(other)


def test_a_server_that_is_not_there_is_said_in_plain_words(tmp_path):
    with pytest.raises(RecordFault, match="database is running"):
        open_records(f"postgresql://nobody:secret@/nothing?host={tmp_path}")


def test_the_password_is_told_to_nobody(tmp_path):
    with pytest.raises(RecordFault) as told:
        open_records(f"postgresql://nobody:secret@/nothing?host={tmp_path}")

    assert "secret" not in str(told.value)
