"""The gauge live: how fast Modbus is read, what a bench costs, how late a sample reaches a screen.

The instrument is a Modbus TCP server in a process of its own, on this machine's loopback.

Run: python benchmarks/live.py
"""

from __future__ import annotations

import asyncio
import multiprocessing
import socket
import struct
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
from measure import memory_bytes
from pymodbus.server import ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

from nozzlewright.bench import BenchConditions, DropWindow
from nozzlewright.edge.intake.live import Batch, LiveBench, ModbusInstrument, ModbusSpec
from nozzlewright.edge.intake.live.analyst import Analyst
from nozzlewright.edge.intake.live.modbus import TcpConnection
from nozzlewright.edge.intake.live.scale import Scale

BENCHES = 4
SECONDS = 10.0
WARM_UP_S = 3.0
SOAK_H = 8


def _serve(port: int) -> None:
    """Answer with a pressure that falls for ten seconds and is pumped up again, in bar."""

    async def answer(_function, _start, _address, _count, registers, _values):  # type: ignore[no-untyped-def]
        bar = 180.0 * float(np.exp(-(time.monotonic() % 10.0) / 20.0))
        registers[:2] = struct.unpack(">HH", struct.pack(">f", bar))

    async def main() -> None:
        held = SimData(0, values=[0, 0], datatype=DataType.REGISTERS)
        device = SimDevice(1, simdata=[held], action=answer)
        await ModbusTcpServer(device, address=("127.0.0.1", port)).serve_forever()

    asyncio.run(main())


@contextmanager
def _server() -> Iterator[int]:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = int(probe.getsockname()[1])
    process = multiprocessing.get_context("spawn").Process(target=_serve, args=(port,), daemon=True)
    process.start()
    until = time.monotonic() + 20.0
    while time.monotonic() < until:
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                break
        time.sleep(0.05)
    try:
        yield port
    finally:
        process.terminate()
        process.join()


def _instrument(port: int, period_s: float) -> ModbusInstrument:
    at = TcpConnection("127.0.0.1", port)
    return ModbusInstrument(
        ModbusSpec("gauge", at, 0, "float32", period_s=period_s, scale=Scale(1e5))
    )


def fastest(port: int, seconds: float = 3.0) -> float:
    """Return samples per second, asked for as fast as they come."""
    instrument = _instrument(port, 0.0)
    instrument.open()
    count, began = 0, time.monotonic()
    while time.monotonic() - began < seconds:
        count += len(instrument.read())
    instrument.close()
    return count / seconds


class _Screen:
    """Notes how old each sample is when it comes."""

    def __init__(self) -> None:
        self.ages: list[np.ndarray] = []
        self.batches = 0

    def __call__(self, batch: Batch) -> None:
        self.ages.append(time.monotonic() - batch.time_s)
        self.batches += 1


def _cpu_s(process: int | str = "self") -> float:
    fields = Path(f"/proc/{process}/stat").read_text("utf-8").rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / 100.0


def side_by_side(ports: list[int], folder: Path) -> list[str]:
    """Return lines of the table for so many benches at 1 kHz, all recording."""
    analyst = Analyst()
    known = BenchConditions(window=DropWindow(150e5, 120e5))
    benches = [
        LiveBench(
            f"bench {k}",
            lambda port=port: _instrument(port, 1e-3),
            folder,
            lambda: datetime.now(UTC),
            analyst=analyst,
        )
        for k, port in enumerate(ports)
    ]
    screens = [_Screen() for _ in benches]
    for k, bench in enumerate(benches):
        bench.start()
        while not bench.status().connected:
            time.sleep(0.01)
        bench.start_recording(f"r{len(ports)}-{k}", known)
    time.sleep(WARM_UP_S)
    stops = [b.subscribe(s) for b, s in zip(benches, screens, strict=True)]
    own, theirs, began = _cpu_s(), _cpu_s(analyst._process.pid), time.monotonic()
    behind = 0.0
    while time.monotonic() - began < SECONDS:
        time.sleep(0.05)
        behind = max(behind, *(bench.status().behind_s for bench in benches))
        for bench in benches:
            bench.live()  # what a screen asks for
    took = time.monotonic() - began
    own, theirs = _cpu_s() - own, _cpu_s(analyst._process.pid) - theirs
    for stop in stops:
        stop()
    timings = [bench.stop_recording().timing for bench in benches]
    for bench in benches:
        bench.stop()
    analyst.close()
    age = np.concatenate([one for screen in screens for one in screen.ages]) * 1e3
    rate = sum(len(one) for screen in screens for one in screen.ages) / took / len(benches)
    jitter = max(one.jitter_99_s for one in timings if one) * 1e3
    gaps = sum(one.gaps for one in timings if one)
    longest = max(one.longest_gap_s for one in timings if one) * 1e3
    lines = {
        "samples a second, each": f"{rate:.0f}",
        "CPU of one core: sampling, disk, marks [%]": f"{100 * own / took:.1f}",
        "CPU of one core: readings [%]": f"{100 * theirs / took:.1f}",
        "sample to subscriber, median / 99 % / worst [ms]": (
            f"{np.median(age):.1f} / {np.quantile(age, 0.99):.1f} / {age.max():.1f}"
        ),
        "jitter, 99 % [ms]": f"{jitter:.2f}",
        "steps of more than 3 ms, longest [ms]": f"{gaps}, {longest:.1f}",
        "oldest sample not on disk [s]": f"{behind:.2f}",
    }
    title = f"{len(ports)} bench{'es' * (len(ports) > 1)} at 1 kHz, recording, {SECONDS:.0f} s"
    return [title, *(f"  {name:<52}{value:>22}" for name, value in lines.items())]


class _Hours:
    """A second of samples at each reading, without waiting for it to pass."""

    name = "hours"

    def __init__(self) -> None:
        self.second = 0

    def open(self) -> None:
        self._step = [k / 1000.0 for k in range(1000)]

    def read(self) -> list[tuple[float, float]]:
        self.second += 1
        return [(self.second + one, 1e7 + one) for one in self._step]

    def close(self) -> None:
        pass


def soak(folder: Path) -> list[str]:
    """Return a line on memory over hours of samples at 1 kHz, watched and not recorded."""
    hours = _Hours()
    bench = LiveBench("soak", lambda: hours, folder, lambda: datetime.now(UTC))
    bench.subscribe(lambda _: None)
    began = time.monotonic()
    bench.start()
    while hours.second < 3600:
        time.sleep(0.05)
    base, start = memory_bytes("VmRSS"), hours.second
    while hours.second < start + SOAK_H * 3600:
        time.sleep(0.05)
    grown = (memory_bytes("VmRSS") - base) / 1e6
    took = time.monotonic() - began
    bench.stop()
    samples = hours.second * 1000
    return [
        f"{SOAK_H} h at 1 kHz, watched, at {samples / took / 1e6:.1f} million samples a second",
        f"  {'memory grown [MB]':<52}{grown:>22.1f}",
    ]


def report() -> list[str]:
    """Return the lines of the table."""
    lines = []
    with tempfile.TemporaryDirectory() as folder, _server() as port:
        lines.append(f"{'Modbus TCP, as fast as it answers [samples/s]':<54}{fastest(port):>22.0f}")
        lines += side_by_side([port], Path(folder))
        lines += side_by_side([port] * BENCHES, Path(folder))
        lines += soak(Path(folder))
    return lines


if __name__ == "__main__":
    print(*report(), sep="\n", flush=True)
