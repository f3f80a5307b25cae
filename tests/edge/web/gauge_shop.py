"""A workshop with a live gauge: the demo set's sheet and rig, a pretend injector on the bench."""

from __future__ import annotations

import threading
import time
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import uvicorn

from nozzlewright.edge.intake.live.pretend import PretendInstrument
from nozzlewright.edge.web.app import create_app
from nozzlewright.edge.wiring.live import Inbox, LiveBench
from nozzlewright.records import EntryKind
from nozzlewright.simulator.demo import (
    MORNING_K,
    OIL,
    REFERENCE_COMPLIANCE,
    REFERENCE_K,
    RIG,
    SENSOR,
    SOUND,
)
from nozzlewright.simulator.models import BenchSetup
from nozzlewright.simulator.worked import WorkedBench

DEMO = Path(__file__).parents[3] / "demo" / "six-in-line"
FITTER = "A. N. Other"


def pretend(seed: int = 1, speed: float = 1.0) -> PretendInstrument:
    """A sound injector that opens at 200 bar, on the demo set's rig."""
    setup = BenchSetup(RIG, OIL, MORNING_K, REFERENCE_K, REFERENCE_COMPLIANCE)
    bench = WorkedBench(setup, SOUND, SENSOR, np.random.default_rng(seed))
    bench.advance(0.05, 0.0)
    return PretendInstrument(
        bench, name="pretend gauge", speed=speed, rng=np.random.default_rng(seed + 1)
    )


@dataclass
class GaugeShop:
    shop: object
    job: str
    app: object
    instrument: PretendInstrument
    bench: LiveBench
    folder: Path

    def one(self, cylinder=1):
        return self.shop.story(self.job).at_cylinder(cylinder)

    def path(self, step="as-found", more=""):
        return f"/job/{self.job}/injector/{self.one().injector}/gauge?step={step}{more}"


def booked_in(shop, cylinders=2):
    """Book the demo set in, tag its injectors and take the first in hand; return the job."""
    blank = shop.evidence.keep((DEMO / "recordings" / "blank-plug.csv").read_bytes(), "csv")
    conditions = (
        (DEMO / "bench.toml")
        .read_bytes()
        .replace(b'recording = "recordings/blank-plug.csv"', b'recording = "blank.csv"')
    )
    shop.check_rig("rig", FITTER, conditions, blank=blank)
    sheet = shop.add_sheet("sheet", FITTER, (DEMO / "sheet.toml").read_bytes())
    shop.add_person("person", FITTER, FITTER)
    booked = {
        "title": "invented set",
        "engine": "invented engine",
        "cylinders": cylinders,
        "condition": "used",
        "sheet": sheet,
        "invented": True,
    }
    job = shop.book_in("booking", FITTER, booked)
    for cylinder in range(1, cylinders + 1):
        shop.tag(f"tag-{cylinder}", FITTER, job, cylinder, f"D-10{cylinder}", shim_mm=1.3)
    one = shop.story(job).at_cylinder(1)
    shop.note("take", FITTER, job, EntryKind.TAKEN_IN_HAND, injector=one.injector)
    return job


def bench_at(folder, instrument, name="bench 1"):
    return LiveBench(name, lambda: instrument, folder, lambda: datetime.now(UTC))


@contextmanager
def gauge_shop(shop, settings, folder, speed=1.0):
    """Give the application with one live bench, which ends with the test."""
    job = booked_in(shop)
    instrument = pretend(speed=speed)
    bench = bench_at(folder, instrument)
    app = create_app(shop, settings)
    app.state.benches = {bench.name: bench}
    app.state.inbox = Inbox(folder.with_name("from-files"), shop.evidence)
    bench.start()
    try:
        yield GaugeShop(shop, job, app, instrument, bench, folder)
    finally:
        bench.stop()


@contextmanager
def serving(app, port=0):
    """Serve an application, on a port of its own unless one is named; gives its address."""
    config = uvicorn.Config(
        app, port=port, log_level="critical", access_log=False, ws="websockets-sansio"
    )
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    until = time.monotonic() + 120
    while not server.started:
        assert time.monotonic() < until, "the server does not come up"
        time.sleep(0.01)
    try:
        yield f"http://127.0.0.1:{server.servers[0].sockets[0].getsockname()[1]}"
    finally:
        server.should_exit = True
        server.force_exit = True  # lines that stand are cut, as by a plug that is pulled
        thread.join(10)
