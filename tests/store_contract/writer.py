"""A process that adds entries to a record and prints the id of each when it is taken in."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

from nozzlewright.edge.store import open_records


def main(place: str, story: str, count: str) -> None:
    found = importlib.util.spec_from_file_location("made", Path(__file__).with_name("made.py"))
    made = importlib.util.module_from_spec(found)
    sys.modules["made"] = made
    found.loader.exec_module(made)
    records = open_records(place)
    for n in range(int(count)):
        (taken,) = records.take_in([made.draft(story)], rows=[made.job_row(story, n)])
        print(taken.id, flush=True)  # noqa: T201 - the parent reads it
    records.close()


if __name__ == "__main__":
    main(*sys.argv[1:])
