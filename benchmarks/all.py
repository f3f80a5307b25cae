"""Every benchmark in one run: ratios against a reference on the same machine, at the same time.

Run: make bench
"""

from __future__ import annotations

import runpy
import sys
from pathlib import Path

import live
import memory
import reading
import start_up

import judging

HERE = Path(__file__).parent


def main() -> None:
    """Print the table."""
    for part in (start_up, reading, memory):
        for ratio in part.ratios():
            print(ratio, flush=True)
    print()
    print(*judging.report(), sep="\n", flush=True)
    print()
    print(*live.report(), sep="\n", flush=True)
    for script in (HERE / "matching.py", *sorted((HERE / "simulator").glob("bench_*.py"))):
        print(f"\n{script.relative_to(HERE)}", flush=True)
        runpy.run_path(str(script), run_name="__main__")


if __name__ == "__main__":
    sys.exit(main())
