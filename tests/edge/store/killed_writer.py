"""Kill a writing process over and over, and see after each time what is left of its work.

Run: python killed_writer.py FOLDER TIMES
Prints one line of JSON: what was killed when, and whatever was lost.
"""

from __future__ import annotations

import json
import os
import random
import signal
import sys
import time
import uuid
from datetime import UTC, datetime
from pathlib import Path

from nozzlewright.edge.store import open_store, verify
from nozzlewright.records import Draft, EntryKind
from nozzlewright.workflow.ports import JobRow

NOW = datetime(2026, 3, 2, tzinfo=UTC)


def write(folder: Path, shown: int) -> None:
    """Write without end; tell of each go when it is taken in, as a screen would."""
    store = open_store(folder)
    os.write(shown, b"opened\n")
    while True:
        name = uuid.uuid4().hex
        digest = store.evidence.keep(name.encode() * 50, "csv")
        pair = [
            Draft(f"{name}{part}", "J-1", EntryKind.TEST, "A. N. Other", NOW, {"part": part},
                  evidence=(digest,))
            for part in "ab"
        ]  # fmt: skip
        row = JobRow("J-1", name, "", "", NOW, NOW, "open", "", ())
        store.records.take_in(pair, rows=[row])
        os.write(shown, f"{name}\n".encode())


def kill_once(folder: Path, told_before: int, wait_s: float) -> list[str]:
    """Start a writer, kill it, and return what it said was taken in.

    It is killed some time after it has told that much, however fast this machine is: so all
    moments are met, from opening the store to the answer after the last commit.
    """
    read, shown = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(read)
        try:
            write(folder, shown)
        finally:
            os._exit(1)
    os.close(shown)
    with os.fdopen(read) as told:
        lines = [told.readline().strip() for _ in range(told_before)]
        time.sleep(wait_s)
        os.kill(child, signal.SIGKILL)
        _, status = os.waitpid(child, 0)
        lines += told.read().splitlines()
    if os.WTERMSIG(status) != signal.SIGKILL:
        raise RuntimeError(f"the writer ended by itself: {status}")
    return lines


def look(folder: Path, shown: list[str], seen: int) -> list[str]:
    """Return what is wrong after a kill with the work of the writer that was killed."""
    store = open_store(folder)
    wrong = [
        f"lost {name}{part}"
        for name in shown
        for part in "ab"
        if store.records.entry(f"{name}{part}") is None
    ]
    entries = store.records.story("J-1", after=seen)
    if len(entries) % 2:
        wrong.append("half of one go")
    last = entries[-1].id[:-1] if entries else ""
    for search in ("", last):
        titles = [row.title for row in store.records.jobs(search=search)]
        if entries and titles != [last]:
            wrong.append(f"sought {search!r}, the list shows {titles}")
    store.close()
    return wrong


def main(folder: Path, times: int) -> None:
    """Kill that often, then verify everything that was ever shown."""
    rng = random.Random(20260302)  # noqa: S311 - moments, not secrets
    wrong: list[str] = []
    everything: list[str] = []
    kills = {"while opening": 0, "while writing": 0}
    for _ in range(times):
        began = time.monotonic()
        store = open_store(folder)
        opened_in_s = time.monotonic() - began
        seen = store.records.head()[0]
        store.close()
        told_before = rng.randrange(6)
        longest_s = 0.02 if told_before else opened_in_s
        lines = kill_once(folder, told_before, rng.uniform(0, longest_s))
        kills["while writing" if lines else "while opening"] += 1
        shown = [line for line in lines if line != "opened"]
        everything += shown
        wrong += look(folder, shown, seen)
    store = open_store(folder)
    wrong += [f"lost {name}" for name in everything if store.records.entry(f"{name}b") is None]
    wrong += [str(one) for one in verify(store.records, store.evidence, lambda _: None)]
    told = {"wrong": wrong, "shown": len(everything), "entries": store.records.head()[0], **kills}
    print(json.dumps(told))  # noqa: T201 - the test reads it
    store.close()


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]))
