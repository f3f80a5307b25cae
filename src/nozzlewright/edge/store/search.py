"""Words that lists are searched by: folded and parted here, so that both databases agree."""

from __future__ import annotations

import re
import unicodedata
from typing import Any

import sqlalchemy as sa
from sqlalchemy.dialects import postgresql

from nozzlewright.workflow.ports import InjectorRow, JobRow

_LONGEST = 60
_MOST = 200
_SHORTEST_ENDING = 3


def words(*texts: str) -> list[str]:
    """Return the words of texts: lower case, without accents and signs, each once.

    >>> words("Müller & Sons", "JOB-0042", "sons")
    ['muller', 'sons', 'job', '0042']
    """
    folded = unicodedata.normalize(
        "NFKD", unicodedata.normalize("NFKD", " ".join(texts)).casefold()
    )
    plain = "".join(one for one in folded if not unicodedata.combining(one))
    found = (word[:_LONGEST] for word in re.findall(r"[^\W_]+", plain))
    return list(dict.fromkeys(found))[:_MOST]


def job_words(row: JobRow) -> str:
    """Return what a job is found by."""
    return " ".join([_state_word(row.state), *words(row.job, row.title, row.engine, row.customer)])


def _state_word(state: str) -> str:
    # The sign is a letter to the index, but never one of a word that somebody seeks.
    return "§" + "".join(words(state))


def injector_words(row: InjectorRow) -> str:
    """Return what an injector is found by; its serial also without signs, and by its last digits.

    >>> injector_words(InjectorRow("I7", "AB 12-34", "P9", "", None))
    'i7 p9 ab 12 34 ab1234 b1234 1234 234'
    """
    serial = words(row.serial)
    whole = "".join(serial)[:_LONGEST]
    endings = [whole[start:] for start in range(max(0, len(whole) - _SHORTEST_ENDING + 1))]
    return " ".join(dict.fromkeys([*words(row.injector, row.pair), *serial, *endings]))


def listed(
    table: sa.Table, dialect: str, search: str, state: str | None = None
) -> tuple[sa.Select[Any], sa.ColumnElement[int]]:
    """Return what selects the rows of a list, and the column that they are numbered by.

    Rows sought have, for each word of `search`, a word that begins with it. Taken in the order of
    their numbers they come out of the index as they are, however many there are.
    """
    sought = words(search)
    if not sought:
        wanted = sa.select(table)
        if state is not None:
            wanted = wanted.where(table.c.state == state)
        return wanted, table.c.row
    whole = [] if state is None else [_state_word(state)]
    if dialect == "sqlite":
        index = sa.table(f"{table.name}_words", sa.column("rowid", sa.Integer))
        query = " ".join([f'"{one}"*' for one in sought] + [f'"{one}"' for one in whole])
        match = sa.literal_column(index.name).op("MATCH")(query)
        joined = index.join(table, table.c.row == index.c.rowid)
        return sa.select(table).select_from(joined).where(match), index.c.rowid
    # Word for word what the index holds: another expression would not be looked up in it.
    indexed = f"array_to_tsvector(string_to_array({table.name}.words, ' '))"
    query = " & ".join([f"'{one}':*" for one in sought] + [f"'{one}'" for one in whole])
    match = sa.literal_column(indexed, postgresql.TSVECTOR).bool_op("@@")(
        sa.cast(query, postgresql.TSQUERY)
    )
    return sa.select(table).where(match), table.c.row
