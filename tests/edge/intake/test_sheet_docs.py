"""The how-to names every key of a setting sheet, and nothing that is none."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from nozzlewright.edge.intake.sheet import SECTIONS, SheetTable, ShimRangeTable, TorqueTable

ROOT = Path(__file__).parents[3]
HOW_TO = (ROOT / "docs" / "how-to" / "write-a-setting-sheet.md").read_text(encoding="utf-8")
TABLES = {"": SheetTable, **SECTIONS, "torque": TorqueTable, "shim_range": ShimRangeTable}


@pytest.mark.parametrize("table", TABLES, ids=lambda name: name or "top")
def test_every_key_is_explained(table):
    for field in TABLES[table].model_fields:
        key = field.removesuffix("_bar")
        assert re.search(rf"(?<![a-z_]){key}(?![a-z_])", HOW_TO), key


def test_every_key_of_the_tables_exists():
    known = {
        field.removesuffix("_bar") for table in TABLES.values() for field in table.model_fields
    }
    for row in re.findall(r"^\| (`[^|]+`) \|", HOW_TO, flags=re.MULTILINE):
        for key in re.findall(r"`([a-z_.]+)`", row):
            assert key.split(".")[-1] in known or key.endswith(".toml"), key


def test_every_example_that_is_named_exists():
    named = set(re.findall(r"`([a-z-]+\.toml)`", HOW_TO))

    assert named == {path.name for path in (ROOT / "setting_sheets").glob("*.toml")}
