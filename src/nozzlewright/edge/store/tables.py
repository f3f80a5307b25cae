"""Tables of the store, as the newest migration leaves them.

``entry`` is the record itself and is only ever added to; ``head`` says where it ends, so that the
loss of its last entries shows. ``job`` and ``injector`` are what lists and searches show: they
can be made anew from the entries at any time.
"""

from __future__ import annotations

import sqlalchemy as sa

metadata = sa.MetaData()

# Sorted by code point on PostgreSQL too, whatever the language of its database: both databases
# then page through a list in the same order.
_TEXT = sa.Text().with_variant(sa.Text(collation="C"), "postgresql")
# SQLite's own row number is an INTEGER by that very name.
_NUMBER = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def _text(name: str, *, unique: bool = False) -> sa.Column[str]:
    return sa.Column(name, _TEXT, nullable=False, unique=unique)


entry = sa.Table(
    "entry",
    metadata,
    sa.Column("number", _NUMBER, primary_key=True, autoincrement=False),
    _text("id", unique=True),
    _text("story"),
    _text("kind"),
    _text("injector"),
    _text("who"),
    _text("at"),
    _text("payload"),
    _text("digest"),
    sa.Index("entry_story", "story", "number"),
    sa.Index("entry_injector", "injector", "number"),
    sa.Index("entry_kind", "kind", "number"),
    sa.Index("entry_story_kind", "story", "kind", "number"),
)

head = sa.Table(
    "head",
    metadata,
    sa.Column("one", sa.Integer, primary_key=True, autoincrement=False),
    sa.Column("number", _NUMBER, nullable=False),
    _text("digest"),
    sa.CheckConstraint("one = 1", name="head_is_one_row"),
)

job = sa.Table(
    "job",
    metadata,
    # Number of the job's last entry: the row touched last is the last one, for searches too.
    sa.Column("row", _NUMBER, primary_key=True, autoincrement=False),
    _text("job", unique=True),
    _text("title"),
    _text("engine"),
    _text("customer"),
    _text("booked_at"),
    _text("touched_at"),
    _text("state"),
    _text("waits_for"),
    _text("marks"),
    _text("words"),
    sa.Index("job_state", "state", "row"),
)

injector = sa.Table(
    "injector",
    metadata,
    sa.Column("row", _NUMBER, primary_key=True),
    _text("injector", unique=True),
    _text("serial"),
    _text("pair"),
    _text("story"),
    sa.Column("cylinder", sa.Integer),
    _text("words"),
)
