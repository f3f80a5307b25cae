"""Starting up: `nozzlewright --help` against an interpreter that does nothing.

Run: python benchmarks/start_up.py
"""

from __future__ import annotations

import sys
from pathlib import Path

from measure import Ratio, best_process


def ratios() -> list[Ratio]:
    """Return the whole process of --help over that of `python -c pass`."""
    command = Path(sys.executable).parent / "nozzlewright"
    bare, help_, import_ = best_process(
        [sys.executable, "-c", "pass"],
        [str(command), "--help"],
        [sys.executable, "-c", "import nozzlewright"],
    )
    return [
        Ratio("nozzlewright --help / python -c pass", help_ / bare, 6.0,
              f"{help_ * 1e3:.0f} ms against {bare * 1e3:.0f} ms"),
        Ratio("import nozzlewright / python -c pass", import_ / bare),
    ]  # fmt: skip


if __name__ == "__main__":
    print(*ratios(), sep="\n")
