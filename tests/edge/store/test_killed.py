"""No entry that was shown as saved is lost, whenever the program is killed."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

SCRIPT = Path(__file__).with_name("killed_writer.py")


@pytest.mark.slow
def test_two_hundred_kills_lose_nothing_that_was_shown_as_saved(tmp_path):
    run = subprocess.run(
        [sys.executable, SCRIPT, tmp_path / "store", "200"],
        capture_output=True,
        text=True,
        timeout=500,
    )
    assert run.returncode == 0, run.stderr
    told = json.loads(run.stdout)

    assert told["wrong"] == []
    assert told["while opening"] + told["while writing"] == 200
    assert told["while opening"] > 10
    assert told["shown"] > 200
    # Whatever was told is there; what was killed between commit and answer may be there too.
    assert 2 * told["shown"] <= told["entries"] <= 2 * (told["shown"] + 200)
