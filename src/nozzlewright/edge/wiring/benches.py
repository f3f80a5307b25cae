"""The benches of a workshop: one for each instrument file, and the pretend one of the demo."""

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
from nozzlewright.edge.store import Store
from nozzlewright.edge.wiring.practice import PretendBench
from nozzlewright.edge.wiring.shop import now
from nozzlewright.simulator import WorkedBench, demo_bench

INSTRUMENTS = "instruments"
"""Folder of the instrument files, in the folder of the record."""
DEMO_MARK = "demo-workshop"
"""File that makes a folder the demo workshop's."""
PRETEND = "pretend-bench"


def benches_of(store: Store) -> dict[str, LiveBench]:
    """Return the benches of a workshop by name, not read yet.

    Each instrument file in ``instruments/`` makes one, named after it; the demo workshop has the
    pretend bench as well.

    Raises
    ------
    ConditionsFault
        If an instrument file cannot be used.
    """
    benches: dict[str, LiveBench] = {}
    for path in sorted((store.folder / INSTRUMENTS).glob("*.toml")):
        spec = read_instrument(path)
        if not isinstance(spec, FolderSpec):
            factory = partial(open_instrument, spec)
            folder = store.recordings / path.stem
            benches[path.stem] = LiveBench(path.stem, factory, folder, now)
    if (store.folder / DEMO_MARK).is_file():
        folder = store.recordings / PRETEND
        benches[PRETEND] = PretendBench(PRETEND, _pretend_bench, folder, now)
    return benches


def _pretend_bench() -> PretendInstrument:
    """Return the demo's bench with an injector like the one in hand, its seat cleaned."""
    setup, injector, sensor = demo_bench()
    bench = WorkedBench(setup, injector, sensor, np.random.default_rng())
    return PretendInstrument(bench)
