"""What all benchmarks share: a session to read, the best of several runs, a table of ratios."""

from __future__ import annotations

import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from nozzlewright.simulator import (
    BenchSetup,
    BleedStrokes,
    FastStrokes,
    HoldAt,
    Idle,
    InjectorModel,
    Release,
    SeatHold,
    SensorModel,
    SlowStrokes,
    simulate,
)

BENCH_TOML = """\
[sitting]
id = "benchmark"

[fluid]
name = "invented calibration fluid"
temperature_c = 22
viscosity = [[20, 4.0], [40, 2.6]]
density_15c_kg_m3 = 825
bulk_modulus_gpa = 1.3

[gauge]
range_bar = 400
class = 0.25
resolution_bar = 0.025
time_constant_ms = 0.3

[rig]
volume_cm3 = 28
wall_compliance_mm3_per_bar = 0.15

[window]
from_bar = 150
to_bar = 100
reference_c = 40

[nozzle]
guide_diameter_mm = 6
guide_length_mm = 20

[seat]
margin_bar = 20
seconds = 10

[tip]
seat = "dry"
drop_test = "dry"
"""


@dataclass(frozen=True)
class Ratio:
    """One line of the table."""

    name: str
    value: float
    limit: float | None = None
    """At most this; None where there is no demand."""
    note: str = ""

    def __str__(self) -> str:
        asked = ""
        if self.limit is not None:
            asked = f"<= {self.limit:g}  {'met' if self.value <= self.limit else 'NOT MET'}"
        return f"{self.name:<58}{self.value:>9.3g}  {asked:<16}{self.note}"


def session_csv(path: Path, seconds: float = 60.0, rate_hz: float = 5000.0) -> None:
    """Write a session of just this length, with strokes, a seat hold and a drop, as CSV."""
    script = (
        Idle(1.0),
        BleedStrokes(3, 70.0, volume_m3=0.9e-6),
        Idle(0.8),
        SlowStrokes(5, 20.0, volume_m3=0.35e-6, push_share=0.7),
        Idle(0.8),
        FastStrokes(5, 80.0, volume_m3=0.7e-6),
        Idle(0.8),
        SeatHold(20e5, 10.0, strokes_per_min=40.0, volume_m3=0.7e-6),
        Idle(0.5),
        HoldAt(158e5, seconds, strokes_per_min=40.0, volume_m3=0.7e-6),
    )
    session = simulate(
        BenchSetup(), InjectorModel(), SensorModel(rate_hz=rate_hz), (*script, Release(1.5)),
        np.random.default_rng(1),
    )  # fmt: skip
    rows = int(seconds * rate_hz)
    lines = session.as_csv_text().splitlines()
    path.write_text("\n".join([*lines[: rows + 1], ""]), encoding="utf-8")


def best(run: Callable[[], object], times: int = 7, warm_up: int = 2) -> float:
    """Return the shortest time of several runs after some that do not count, [s]."""
    for _ in range(warm_up):
        run()
    shortest = float("inf")
    for _ in range(times):
        start = time.perf_counter()
        run()
        shortest = min(shortest, time.perf_counter() - start)
    return shortest


def best_in_turn(*runs: Callable[[], object], times: int = 9) -> list[float]:
    """Return the shortest time of each, the runs taking turns so that all see the same machine."""
    shortest = [float("inf")] * len(runs)
    for run in runs:
        best(run, times=1, warm_up=1)
    for _ in range(times):
        for index, run in enumerate(runs):
            start = time.perf_counter()
            run()
            shortest[index] = min(shortest[index], time.perf_counter() - start)
    return shortest


def best_process(*commands: list[str], times: int = 15) -> list[float]:
    """Return the shortest time of each command from start to end, [s]."""
    return best_in_turn(
        *(lambda c=command: subprocess.run(c, check=True, capture_output=True)
          for command in commands),
        times=times,
    )  # fmt: skip


def memory_bytes(which: str) -> int:
    """Return the resident memory now (``VmRSS``) or at its peak (``VmHWM``); Linux only."""
    for line in Path("/proc/self/status").read_text(encoding="utf-8").splitlines():
        if line.startswith(f"{which}:"):
            return int(line.split()[1]) * 1024
    raise LookupError(which)


@contextmanager
def scratch() -> Iterator[Path]:
    """Lend a folder that is gone afterwards."""
    with tempfile.TemporaryDirectory() as folder:
        yield Path(folder)
