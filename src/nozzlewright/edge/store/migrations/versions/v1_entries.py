"""The chain of entries, its head, and the rows for lists and searches."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "1"
down_revision = None

_TEXT = sa.Text().with_variant(sa.Text(collation="C"), "postgresql")
_NUMBER = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    """Make the tables, and what guards them."""
    op.create_table(
        "entry",
        sa.Column("number", _NUMBER, primary_key=True, autoincrement=False),
        sa.Column("id", _TEXT, nullable=False, unique=True),
        *_texts("story", "kind", "injector", "who", "at", "payload", "digest"),
    )
    op.create_index("entry_story", "entry", ["story", "number"])
    op.create_index("entry_injector", "entry", ["injector", "number"])
    op.create_index("entry_kind", "entry", ["kind", "number"])
    op.create_index("entry_story_kind", "entry", ["story", "kind", "number"])
    head = op.create_table(
        "head",
        sa.Column("one", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("number", _NUMBER, nullable=False),
        *_texts("digest"),
        sa.CheckConstraint("one = 1", name="head_is_one_row"),
    )
    op.bulk_insert(head, [{"one": 1, "number": 0, "digest": "0" * 64}])
    op.create_table(
        "job",
        sa.Column("row", _NUMBER, primary_key=True, autoincrement=False),
        sa.Column("job", _TEXT, nullable=False, unique=True),
        *_texts("title", "engine", "customer", "booked_at", "touched_at", "state"),
        *_texts("waits_for", "marks", "words"),
    )
    op.create_index("job_state", "job", ["state", "row"])
    op.create_table(
        "injector",
        sa.Column("row", _NUMBER, primary_key=True),
        sa.Column("injector", _TEXT, nullable=False, unique=True),
        *_texts("serial", "pair", "story"),
        sa.Column("cylinder", sa.Integer),
        *_texts("words"),
    )
    for statement in _ON_SQLITE if op.get_bind().dialect.name == "sqlite" else _ON_POSTGRESQL:
        op.execute(statement)


def _texts(*names: str) -> list[sa.Column[str]]:
    return [sa.Column(name, _TEXT, nullable=False) for name in names]


# Words are parted and folded before they get here (`search.py`): every character beyond ASCII is
# a letter, and so are they to the tokenizer "ascii".
_ON_SQLITE = [
    """
    CREATE TRIGGER entry_added_at_the_end BEFORE INSERT ON entry
    WHEN NEW.number <> (SELECT coalesce(max(number), 0) + 1 FROM entry)
    BEGIN SELECT RAISE(ABORT, 'entries are added at the end only'); END
    """,
    """
    CREATE TRIGGER entry_never_altered BEFORE UPDATE ON entry
    BEGIN SELECT RAISE(ABORT, 'entries are never altered'); END
    """,
    """
    CREATE TRIGGER entry_never_removed BEFORE DELETE ON entry
    BEGIN SELECT RAISE(ABORT, 'entries are never removed'); END
    """,
    """
    CREATE TRIGGER head_never_back BEFORE UPDATE ON head WHEN NEW.number <= OLD.number
    BEGIN SELECT RAISE(ABORT, 'the head of the record only moves on'); END
    """,
    """
    CREATE TRIGGER head_never_removed BEFORE DELETE ON head
    BEGIN SELECT RAISE(ABORT, 'the head of the record only moves on'); END
    """,
    *(
        statement.format(table)
        for table in ("job", "injector")
        for statement in (
            """
            CREATE VIRTUAL TABLE {0}_words USING fts5(
                words, content='{0}', content_rowid='row', tokenize='ascii', prefix='1 2 3',
                detail=none, columnsize=0)
            """,
            """
            CREATE TRIGGER {0}_words_added AFTER INSERT ON {0}
            BEGIN INSERT INTO {0}_words(rowid, words) VALUES (NEW.row, NEW.words); END
            """,
            """
            CREATE TRIGGER {0}_words_altered AFTER UPDATE ON {0}
            WHEN NEW.words <> OLD.words OR NEW.row <> OLD.row
            BEGIN
                INSERT INTO {0}_words({0}_words, rowid, words)
                VALUES ('delete', OLD.row, OLD.words);
                INSERT INTO {0}_words(rowid, words) VALUES (NEW.row, NEW.words);
            END
            """,
            """
            CREATE TRIGGER {0}_words_removed AFTER DELETE ON {0}
            BEGIN
                INSERT INTO {0}_words({0}_words, rowid, words)
                VALUES ('delete', OLD.row, OLD.words);
            END
            """,
        )
    ),
]

_ON_POSTGRESQL = [
    """
    CREATE FUNCTION entry_added_at_the_end() RETURNS trigger LANGUAGE plpgsql AS $$
    BEGIN
        IF NEW.number <> (SELECT coalesce(max(number), 0) + 1 FROM entry) THEN
            RAISE EXCEPTION 'entries are added at the end only';
        END IF;
        RETURN NEW;
    END $$
    """,
    """
    CREATE FUNCTION entry_kept() RETURNS trigger LANGUAGE plpgsql AS $$
    BEGIN RAISE EXCEPTION 'entries are never altered and never removed'; END $$
    """,
    """
    CREATE FUNCTION head_never_back() RETURNS trigger LANGUAGE plpgsql AS $$
    BEGIN
        IF TG_OP = 'UPDATE' AND NEW.number > OLD.number THEN RETURN NEW; END IF;
        RAISE EXCEPTION 'the head of the record only moves on';
    END $$
    """,
    """
    CREATE TRIGGER entry_added_at_the_end BEFORE INSERT ON entry
    FOR EACH ROW EXECUTE FUNCTION entry_added_at_the_end()
    """,
    """
    CREATE TRIGGER entry_kept BEFORE UPDATE OR DELETE ON entry
    FOR EACH ROW EXECUTE FUNCTION entry_kept()
    """,
    """
    CREATE TRIGGER entry_never_emptied BEFORE TRUNCATE ON entry
    FOR EACH STATEMENT EXECUTE FUNCTION entry_kept()
    """,
    """
    CREATE TRIGGER head_never_back BEFORE UPDATE OR DELETE ON head
    FOR EACH ROW EXECUTE FUNCTION head_never_back()
    """,
    """
    CREATE TRIGGER head_never_emptied BEFORE TRUNCATE ON head
    FOR EACH STATEMENT EXECUTE FUNCTION head_never_back()
    """,
    *(
        f"""
        CREATE INDEX {table}_words ON {table}
        USING gin (array_to_tsvector(string_to_array(words, ' ')))
        """
        for table in ("job", "injector")
    ),
]
