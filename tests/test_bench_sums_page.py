"""The reference page of the bench sums is written from the sums themselves."""

from __future__ import annotations

import importlib.util
from pathlib import Path

from nozzlewright.bench.sums import SUMS

DOCS = Path(__file__).parents[1] / "docs"


def _writer():
    found = importlib.util.spec_from_file_location("bench_sums", DOCS / "bench_sums.py")
    module = importlib.util.module_from_spec(found)
    found.loader.exec_module(module)
    return module


def test_the_page_says_what_the_sums_say():
    """If not: python docs/bench_sums.py."""
    assert (DOCS / "reference" / "bench-sums.md").read_text("utf-8") == _writer().page()


def test_the_page_names_every_sum_with_inputs_formula_and_source():
    text = _writer().page()
    for one in SUMS.values():
        section = text.partition(f"### {one.title}\n")[2].partition("\n### ")[0]
        assert f"nozzlewright sums {one.key}" in section
        assert all(f"`--{each.key.replace('_', '-')}`" in section for each in one.inputs)
        assert str(one.formula) in section
        assert str(one.source) in section
        assert all(str(words) in section for words in one.validity)
