"""No page that a person opens reads a whole table: the statements of real requests, explained."""

from __future__ import annotations

import re
import uuid

import pytest
import sqlalchemy as sa

from nozzlewright.edge.wiring.shop import open_shop

FITTER = "A. N. Other"


@pytest.fixture
def store(tmp_path):
    opened = open_shop(tmp_path / "shop")
    yield opened
    opened.close()


@pytest.fixture
def bench(helper, store, web_settings, serve, browser):
    shop = helper("edge/web/bench_shop.py")
    return shop.at_the_bench(store.workshop, web_settings, serve, browser, rig=True)


@pytest.fixture
def heard(bench, store):
    """The statements that come from here on, each kind with one set of parameters."""
    statements = {}

    def listen(connection, cursor, statement, parameters, context, many):
        statements.setdefault(statement, parameters)

    sa.event.listen(store.store.records.engine, "before_cursor_execute", listen)
    return statements


def _whole_tables(engine, statements):
    """Return steps of SQLite's plans that read a table from end to end, with their statements.

    A list without a condition may walk along its index, where a limit ends the walk; ``head`` is
    one row (SQLite documentation, EXPLAIN QUERY PLAN).
    """
    found = []
    with engine.connect() as connection:
        for statement, values in statements.items():
            if statement.lstrip().split()[0] not in {"SELECT", "UPDATE", "INSERT", "DELETE"}:
                continue
            values = values[0] if isinstance(values, list) else values
            plan = connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {statement}", values)
            for step in (str(row[3]) for row in plan):
                walks = "LIMIT" in statement and "WHERE" not in statement
                words = re.search(r"VIRTUAL TABLE INDEX \d+:M", step)
                if step.startswith("SCAN") and not (walks or words or step == "SCAN head"):
                    found.append((step, statement))
                if "TEMP B-TREE" in step and "ORDER BY" in step:
                    found.append((step, statement))
    return found


def test_no_page_and_no_act_reads_a_whole_table(bench, store, heard, helper):
    bench.assembled()
    bench.tested(step="re-read", recording="2-left.parquet")
    one = bench.one()
    job = f"/job/{bench.job}"
    pages = [
        *("/", "/?show=all", f"/?show=all&after={bench.job}"),
        *("/?show=handed-over", f"/?show=handed-over&after={bench.job}"),
        *("/?search=invented", "/?search=D-101&show=all", f"/?search=inv&after={bench.job}"),
        *("/book-in", "/sheets", "/sheets/new", "/rig", "/rig/blank", "/settings", "/practice"),
        *("/drawer", "/springs", "/certificate", "/study", "/causes", "/sums", "/sums/torque"),
        *(job, f"{job}/tag?search=101", f"{job}/story", f"{job}/set", f"{job}/hand-over"),
        *(f"{job}/labels", f"{job}/fitting", f"{job}/running-check", f"{job}/sheet"),
        *(f"{job}/match", f"{job}/match?go=1", bench.path(more="/findings?part=spring")),
        *(bench.path(more="/causes"), bench.path(more="/budget")),
        *(f"/injector/{one.injector}", bench.path(), bench.path(more="/findings")),
        *(bench.path(more="/gauge?step=re-read"), bench.path(more="/gauge?how=hand")),
        *(bench.step(step.key) for step in bench.shop.steps(bench.story)),
    ]  # fmt: skip
    for page in pages:
        assert bench.browser.get(page).status_code == 200, page
    forms = helper("edge/web/forms_found.py").forms_found(bench.browser, pages[:1], most=60)
    for form in forms:
        sent = {name: next(iter(sorted(values)), "") for name, values in form.fields.items()}
        sent["form_id"] = str(uuid.uuid4())
        bench.browser.client.post(form.action, data=sent, headers={"Origin": bench.browser.address})

    asked = [statement for statement in heard if "FROM entry" in statement]
    assert len(asked) >= 5
    assert any(statement.startswith("INSERT INTO entry") for statement in heard)
    assert _whole_tables(store.store.records.engine, dict(heard)) == []


def test_a_statement_that_reads_a_whole_table_would_be_told(store):
    asked = {"SELECT id FROM entry WHERE who = ?": (FITTER,)}

    (told,) = _whole_tables(store.store.records.engine, asked)

    assert told[0] == "SCAN entry"
