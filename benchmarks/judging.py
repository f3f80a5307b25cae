"""Judging the demo set, report included, in one process: how long, and what the time goes into.

Run: python benchmarks/judging.py
"""

from __future__ import annotations

import re
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from datetime import date
from pathlib import Path

DEMO = Path(__file__).parents[1] / "demo" / "six-in-line"


def _judge(started: float) -> dict[str, float]:
    """Return the seconds of each part of one run in this process."""
    spent: dict[str, float] = defaultdict(float)
    mark = [started, "interpreter and imports"]

    def tell(what: str) -> None:
        now = time.perf_counter()
        spent[mark[1]] += now - mark[0]
        # "reading injector 3" and "drawing injector 3 as found" are parts of one thing each.
        mark[:] = now, re.sub(r"(injector).*", r"\1s", what)

    from nozzlewright.edge import wiring

    with tempfile.TemporaryDirectory() as folder:
        judged = wiring.judge_folder(DEMO, date(2026, 3, 2), tell)
        wiring.write_report(judged, Path(folder), "a4", tell)
        tell("end")
    return dict(spent)


def _child() -> None:
    # The clock of the interpreter's own start is not known here: the caller adds it.
    for name, started in (("first run", time.perf_counter()), ("second run", None)):
        parts = _judge(started if started is not None else time.perf_counter())
        for part, seconds in parts.items():
            print(name, part, seconds, sep="\t")


def report() -> list[str]:
    """Return lines of a table: parts of the first run and of a second one in the same process."""
    start = time.perf_counter()
    run = subprocess.run(
        [sys.executable, __file__, "child"], check=True, capture_output=True, text=True
    )
    whole = time.perf_counter() - start
    runs: dict[str, dict[str, float]] = defaultdict(dict)
    for line in run.stdout.splitlines():
        name, part, seconds = line.split("\t")
        runs[name][part] = float(seconds)
    first, second = runs["first run"], runs["second run"]
    inside = sum(first.values()) + sum(second.values())
    first["interpreter and imports"] += whole - inside
    lines = [f"{'judging the demo set with its report':<44}{'first':>8}{'again':>8}  [s]"]
    lines += [f"  {part:<42}{first[part]:>8.2f}{second[part]:>8.2f}" for part in first]
    lines.append(f"  {'together':<42}{sum(first.values()):>8.2f}{sum(second.values()):>8.2f}")
    return lines


if __name__ == "__main__":
    if len(sys.argv) > 1:
        _child()
    elif DEMO.is_dir():
        print(*report(), sep="\n")
    else:
        sys.exit(f"{DEMO} is missing")
