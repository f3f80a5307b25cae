"""No question that a screen asks is answered by reading a whole table."""

from __future__ import annotations

import json
import re

import pytest
import sqlalchemy as sa

from nozzlewright.records import EntryKind

QUESTIONS = {
    "story": lambda records: records.story("J-1"),
    "story since": lambda records: records.story("J-1", after=3),
    "entry": lambda records: records.entry("no such entry"),
    "of injector": lambda records: records.of_injector("I-1"),
    "of kind": lambda records: records.of_kind(EntryKind.TEST),
    "of kind in a story": lambda records: records.of_kind(EntryKind.TEST, story="J-1"),
    "of some stories": lambda records: records.of_stories(["J-1", "J-2"], {EntryKind.TEST}),
    "jobs": lambda records: records.jobs(),
    "jobs, next page": lambda records: records.jobs(after="J-1"),
    "jobs in a state": lambda records: records.jobs(state="open"),
    "jobs in a state, next page": lambda records: records.jobs(state="open", after="J-1"),
    "jobs sought": lambda records: records.jobs(search="inv six"),
    "jobs sought in a state": lambda records: records.jobs(search="inv", state="open", after="J-1"),
    "injectors": lambda records: records.injectors(""),
    "injectors sought": lambda records: records.injectors("345"),
    "head": lambda records: records.head(),
    "payloads": lambda records: next(records.payloads(after=3)),
}  # fmt: skip


@pytest.fixture
def filled(records, made):
    for n in range(8):
        job = f"J-{n}"
        rows = [made.job_row(job, n), made.injector_row(f"I-{n}", story=job)]
        records.take_in([made.draft(job, injector=f"I-{n}")], rows=rows)
    return records


def _asked(records, question):
    """Return the statements that a question comes to, with what was filled in."""
    heard = []

    def listen(connection, cursor, statement, parameters, context, many):
        heard.append((statement, parameters))

    sa.event.listen(records.engine, "before_cursor_execute", listen)
    try:
        question(records)
    finally:
        sa.event.remove(records.engine, "before_cursor_execute", listen)
    return [(text, values) for text, values in heard if text.lstrip().startswith("SELECT")]


@pytest.mark.parametrize("question", QUESTIONS)
def test_no_table_is_read_from_end_to_end(filled, question):
    asked = _asked(filled, QUESTIONS[question])
    assert asked

    for statement, values in asked:
        if filled.engine.dialect.name == "sqlite":
            _check_sqlite(filled, statement, values)
        else:
            _check_postgresql(filled, statement, values)


def _check_sqlite(records, statement, values):
    with records.engine.connect() as connection:
        steps = [
            str(row[3])
            for row in connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {statement}", values)
        ]
    assert steps
    for step in steps:
        # A list without a condition walks along its index, and stops at its limit.
        walks = step in ("SCAN job", "SCAN injector") and "LIMIT" in statement
        looks_up = step.startswith("SEARCH ") or re.search(r"VIRTUAL TABLE INDEX \d+:M", step)
        head = step == "SCAN head"
        named = re.match("(SCALAR|REUSE) SUBQUERY", step)
        assert looks_up or head or named or (walks and "WHERE" not in statement), steps


def _check_postgresql(records, statement, values):
    with records.engine.connect() as connection:
        # So few rows are read soonest from end to end: asked is whether it can be done otherwise.
        connection.exec_driver_sql("SET LOCAL enable_seqscan = off")
        text = f"EXPLAIN (FORMAT JSON) {statement}"
        plan = connection.exec_driver_sql(text, values).scalar()
    data = json.loads(plan) if isinstance(plan, str) else plan
    for node in _nodes(data[0]["Plan"]):
        table = node.get("Relation Name")
        assert node["Node Type"] != "Seq Scan" or table == "head", data
        if node["Node Type"] in ("Index Scan", "Index Only Scan", "Bitmap Index Scan"):
            # Without a condition an index is walked along: only where a limit ends the walk, and
            # nothing is passed over on the way.
            whole = "Index Cond" not in node
            assert not whole or ("LIMIT" in statement and "Filter" not in node), data


def _nodes(node):
    yield node
    for inner in node.get("Plans", []):
        yield from _nodes(inner)
