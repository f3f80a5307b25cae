"""A workshop's record after many years: how long each question takes, and how large it is.

Run: python benchmarks/store.py [JOBS ENTRIES]
Builds 20,000 jobs with 1,000,000 entries on SQLite in a folder that is gone afterwards.
"""

from __future__ import annotations

import random
import sys
import tempfile
import time
import uuid
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

from nozzlewright.edge.store import Store, backup, open_store, verify
from nozzlewright.records import FIRST, SHOP, Draft, EntryKind, chained
from nozzlewright.workflow.ports import InjectorRow, JobRow

BEGAN = datetime(2010, 1, 4, 8, 0, tzinfo=UTC)
INJECTORS = 6
LIMIT_MS = 50.0
"""A page is to take no longer in 95 of 100 cases; a question is a part of a page."""
_ENGINES = ("invented four-litre", "invented six-cylinder", "tractor of no make", "invented V8")
_NAMES = ["amber", "birch", "cedar", "dale", "elm", "fern", "gorse", "hazel", "iris", "juniper"]
_KINDS = [kind for kind in EntryKind if kind is not EntryKind.PERSON]


def texts(jobs: int, entries: int) -> Iterator[str]:
    """Yield the texts of a chain in which several jobs are always in hand at once."""
    rng = random.Random(1)  # noqa: S311
    digest = FIRST
    each = entries // jobs
    for number in range(1, entries + 1):
        if number % 50 == 0:
            story, injector = SHOP, ""
        else:
            job = min(jobs - 1, number // each + rng.randrange(20))
            story, injector = f"J-{job:05}", f"I-{job:05}-{rng.randrange(INJECTORS)}"
        draft = Draft(
            id=str(uuid.UUID(int=rng.getrandbits(128))),
            story=story,
            kind=EntryKind.RIG_CHECK if story == SHOP else rng.choice(_KINDS),
            who="A. N. Other",
            at=BEGAN + timedelta(minutes=5 * number),
            body={
                "opening_bar": round(rng.gauss(175, 5), 2),
                "note": " ".join(rng.choices(_NAMES, k=6)),
            },
            injector=injector,
        )
        taken, text = chained(number, draft, digest)
        digest = taken.digest
        yield text


def rows(jobs: int) -> Iterator[JobRow | InjectorRow]:
    """Yield what lists show."""
    rng = random.Random(2)  # noqa: S311
    for job in range(jobs):
        touched = BEGAN + timedelta(minutes=250 * job)
        ids = [f"I-{job:05}-{n}" for n in range(INJECTORS)]
        yield JobRow(
            job=f"J-{job:05}",
            title=f"Set {job} {rng.choice(_NAMES)}",
            engine=rng.choice(_ENGINES),
            customer=f"{rng.choice(_NAMES)} {rng.choice(_NAMES)} farm",
            booked_at=touched,
            touched_at=touched,
            state="handed over" if job < jobs - 40 else rng.choice(["open", "waiting"]),
            waits_for="",
            marks=tuple({"cylinder": n + 1, "injector": name, "step": "wash", "outcome": "pass"}
                        for n, name in enumerate(ids)),
        )  # fmt: skip
        for n, name in enumerate(ids):
            serial = f"{rng.choice('ABCD')}{rng.randrange(10**7):07}"
            yield InjectorRow(name, serial, f"P-{job:05}-{n}", f"J-{job:05}", n + 1)


def timed(ask: Callable[[random.Random], object], times: int = 200) -> tuple[float, ...]:
    """Return what a question takes, [ms]: median and 95 % point, by the clock and the processor.

    The clock counts all that else runs on the machine, the processor does not count the disk.
    """
    rng = random.Random(3)  # noqa: S311
    ask(rng)
    spent: list[list[float]] = [[], []]
    for _ in range(times):
        start = time.perf_counter(), time.process_time()
        ask(rng)
        spent[0].append((time.perf_counter() - start[0]) * 1e3)
        spent[1].append((time.process_time() - start[1]) * 1e3)
    return tuple(sorted(some)[int(times * part)] for some in spent for part in (0.5, 0.95))


def questions(store: Store, jobs: int) -> dict[str, Callable[[random.Random], object]]:
    """Return all that screens ask of the record."""
    records = store.records
    ids = [one.id for one in records.story(f"J-{jobs // 2:05}")]

    def job(rng: random.Random) -> str:
        return f"J-{rng.randrange(jobs):05}"

    def tap(rng: random.Random) -> None:
        story = job(rng)
        draft = Draft(str(uuid.uuid4()), story, EntryKind.SEEN, "A. N. Other", BEGAN)
        row = JobRow(story, "touched", "", "", BEGAN, datetime.now(UTC), "open", "", ())
        records.take_in([draft], rows=[row])

    return {
        "story of a job": lambda rng: records.story(job(rng)),
        "story of a job, what is new": lambda rng: records.story(job(rng), after=10**9),
        "one entry": lambda rng: records.entry(rng.choice(ids)),
        "an injector's history": lambda rng: records.of_injector(f"I-{rng.randrange(jobs):05}-3"),
        "last rig checks": lambda _: records.of_kind(EntryKind.RIG_CHECK, story=SHOP),
        "last tests anywhere": lambda _: records.of_kind(EntryKind.TEST),
        "jobs, first page": lambda _: records.jobs(),
        "jobs, a later page": lambda rng: records.jobs(after=job(rng)),
        "jobs in hand": lambda _: records.jobs(state="open"),
        "jobs handed over, a later page":
            lambda rng: records.jobs(state="handed over", after=job(rng)),
        "jobs by number": lambda rng: records.jobs(search=job(rng)),
        "jobs by two words": lambda rng: records.jobs(search=" ".join(rng.choices(_NAMES, k=2))),
        "jobs by a word that all have": lambda _: records.jobs(search="set"),
        "open jobs by a word that all have": lambda _: records.jobs(search="set", state="open"),
        "jobs by one letter": lambda rng: records.jobs(search=rng.choice("abcdef")),
        "injectors by the last digits": lambda rng: records.injectors(f"{rng.randrange(10**5):05}"),
        "injectors by one letter": lambda rng: records.injectors(rng.choice("abcd")),
        "injectors, newest": lambda _: records.injectors(""),
        "head": lambda _: records.head(),
        "taking in one entry": tap,
    }  # fmt: skip


def main(jobs: int, entries: int) -> None:
    """Build, ask, verify, and print."""
    with tempfile.TemporaryDirectory() as folder:
        start = time.perf_counter()
        store = open_store(Path(folder) / "workshop")
        store.records.load(texts(jobs, entries))
        store.records.put_rows(list(rows(jobs)))
        store.close()
        print(f"{jobs} jobs, {entries} entries, built in {time.perf_counter() - start:.0f} s")
        size = sum(one.stat().st_size for one in Path(folder).rglob("*") if one.is_file())
        print(f"{size / 1e6:.0f} MB on disk, {size / entries:.0f} bytes an entry\n")

        start = time.perf_counter()
        store = open_store(Path(folder) / "workshop")
        print(f"{'opening':<40}{(time.perf_counter() - start) * 1e3:>9.2f} ms\n")
        print(f"{'':<38}{'by the clock':>18}{'processor':>20}  [ms]")
        print(f"{'':<38}{'median':>9}{'95 %':>9}{'median':>11}{'95 %':>9}")
        for name, ask in questions(store, jobs).items():
            median, most, busy, busy_most = timed(ask)
            note = "" if most <= LIMIT_MS else f"  MORE THAN {LIMIT_MS:g}"
            times = f"{median:>9.2f}{most:>9.2f}{busy:>11.2f}{busy_most:>9.2f}"
            print(f"{name:<38}{times}{note}", flush=True)

        start = time.perf_counter()
        breaks = verify(store.records, store.evidence, lambda _: None)
        spent = time.perf_counter() - start
        print(
            f"\nverified in {spent:.1f} s: {len(breaks)} breaks, {entries / spent:,.0f} entries/s"
        )
        start = time.perf_counter()
        backup(store, Path(folder) / "copy", lambda _: None, lambda: datetime.now(UTC))
        print(f"backed up and read back in {time.perf_counter() - start:.1f} s")
        store.close()


if __name__ == "__main__":
    asked = [int(one) for one in sys.argv[1:]]
    main(*(asked or [20_000, 1_000_000]))
