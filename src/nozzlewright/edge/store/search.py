"""Words that lists are searched by: folded and parted here, so that both databases agree."""

from __future__ import annotations

import re
import unicodedata

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
    return " ".join(words(row.job, row.title, row.engine, row.customer))


def injector_words(row: InjectorRow) -> str:
    """Return what an injector is found by; its serial also without signs, and by its last digits.

    >>> injector_words(InjectorRow("I7", "AB 12-34", "P9", "", None))
    'i7 p9 ab 12 34 ab1234 b1234 1234 234'
    """
    serial = words(row.serial)
    whole = "".join(serial)[:_LONGEST]
    endings = [whole[start:] for start in range(max(0, len(whole) - _SHORTEST_ENDING + 1))]
    return " ".join(dict.fromkeys([*words(row.injector, row.pair), *serial, *endings]))


def found_by(table: sa.Table, search: str, dialect: str) -> sa.ColumnElement[bool] | None:
    """Return the condition that a row has a word for each word sought that begins with it.

    None where nothing is sought.
    """
    sought = words(search)
    if not sought:
        return None
    if dialect == "sqlite":
        index = sa.table(f"{table.name}_words", sa.column("rowid"))
        match = sa.literal_column(index.name).op("MATCH")(" ".join(f'"{one}"*' for one in sought))
        return table.c.row.in_(sa.select(index.c.rowid).where(match))
    # Word for word what the index holds: another expression would not be looked up in it.
    indexed: sa.ColumnElement[object] = sa.literal_column(
        f"array_to_tsvector(string_to_array({table.name}.words, ' '))"
    )
    query = sa.cast(" & ".join(f"'{one}':*" for one in sought), postgresql.TSQUERY)
    return indexed.op("@@", is_comparison=True)(query)
