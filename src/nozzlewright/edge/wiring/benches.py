"""The benches of a workshop: one for each instrument file, and the pretend one of the demo.

A file of the kind ``folder`` makes a drop folder of the inbox instead.
"""

from __future__ import annotations

from functools import partial

import numpy as np

from nozzlewright.edge.intake.live import (
    FolderSpec,
    LiveBench,
    open_instrument,
    read_instrument,
)
from nozzlewright.edge.intake.live.pretend import PretendInstrument
from nozzlewright.edge.store import DEMO_MARK, INSTRUMENTS, Store
from nozzlewright.edge.wiring.inbox import Inbox
from nozzlewright.edge.wiring.practice import PretendBench
from nozzlewright.edge.wiring.shop import now
from nozzlewright.simulator import WorkedBench, demo_bench

INBOX = "from-files"
"""Folder of recordings that are files and wait to be saved, beside those of the benches."""
PRETEND = "pretend-bench"


def benches_of(store: Store) -> tuple[dict[str, LiveBench], Inbox]:
    """Return the benches of a workshop by name, and its inbox with the drop folders; none begun.

    Each instrument file in ``instruments/`` makes a bench, named after it, or a drop folder; the
    demo workshop has the pretend bench as well.

    Raises
    ------
    ConditionsFault
        If an instrument file cannot be used.
    """
    benches: dict[str, LiveBench] = {}
    folders: list[FolderSpec] = []
    for path in sorted((store.folder / INSTRUMENTS).glob("*.toml")):
        spec = read_instrument(path)
        if isinstance(spec, FolderSpec):
            folders.append(spec)
        else:
            factory = partial(open_instrument, spec)
            folder = store.recordings / path.stem
            benches[path.stem] = LiveBench(path.stem, factory, folder, now)
    if (store.folder / DEMO_MARK).is_file():
        folder = store.recordings / PRETEND
        benches[PRETEND] = PretendBench(PRETEND, _pretend_bench, folder, now)
    return benches, Inbox(store.recordings / INBOX, store.evidence, folders, store.records)


def _pretend_bench() -> PretendInstrument:
    """Return the demo's bench; the injector in hand comes to it when it is tested."""
    setup, injector, sensor = demo_bench()
    bench = WorkedBench(setup, injector, sensor, np.random.default_rng())
    return PretendInstrument(bench)
