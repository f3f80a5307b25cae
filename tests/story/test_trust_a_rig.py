"""The commands of the tutorial on the rig print what it shows."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import pytest

DOCS = Path(__file__).parents[2] / "docs"


@pytest.mark.slow
def test_the_tutorials_commands_print_what_it_shows(tmp_path):
    found = importlib.util.spec_from_file_location("console", DOCS / "console.py")
    console = importlib.util.module_from_spec(found)
    found.loader.exec_module(console)
    folder = console.workplace(tmp_path)
    shown = console.shown(DOCS / "tutorial" / "trust-a-rig.md")
    assert len(shown) >= 6
    for command, output in shown:
        assert console.run(command, folder) == output, command
