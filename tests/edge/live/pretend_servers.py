"""The pretend bench behind real wires: a Modbus TCP server, and a gauge on a serial line.

.. code-block:: python

    with modbus_pretend_bench() as (port, bench):  # registers 0 and 1: bar as a float, high first
        bench.hold_key(brisk=True)

Both can be stopped, killed and started again in the middle of work; the bench works on meanwhile.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import socket
import struct
import tempfile
import threading
import time
import tty
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from pymodbus.server import ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

from nozzlewright.edge.intake.live.pretend import PretendInstrument
from nozzlewright.simulator import BenchSetup, InjectorModel, SensorModel, WorkedBench

BAR = 1e5
FLOAT_REGISTER, CURRENT_REGISTER = 0, 2
"""Registers 0 and 1: bar as a float32, high word first. Register 2: microamperes, 4000 to 20000
for 0 to 400 bar. Both as holding and as input registers."""
CURRENT_RANGE_BAR = 400.0
KEPT_UP_S = 0.02


def pretend_bench(seed: int = 1) -> WorkedBench:
    """A sound injector on a tight rig, read by a sensor of 1 kHz."""
    injector = InjectorModel(opening_pressure_pa=200e5, friction_n=1.0, friction_scatter=0.1)
    sensor = SensorModel(noise_pa=0.05e5)
    return WorkedBench(BenchSetup(), injector, sensor, np.random.default_rng(seed))


class ServedBench(PretendInstrument):
    """A bench that works on by the clock whether or not anybody asks what its gauge shows."""

    def __init__(self, bench: WorkedBench | None = None, **more) -> None:
        more.setdefault("rng", np.random.default_rng(7))
        super().__init__(bench or pretend_bench(), **more)
        self._shown_pa = 0.0
        self._ended = threading.Event()
        self._keeper = threading.Thread(target=self._keep_up, daemon=True)

    def __enter__(self) -> ServedBench:
        self.open()
        self._keeper.start()
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()
        self._ended.set()
        self._keeper.join()
        self.close()

    def shown_pa(self) -> float:
        """What the gauge shows at this moment, [Pa]."""
        if samples := self.catch_up():
            self._shown_pa = samples[-1][1]
        return self._shown_pa

    def _keep_up(self) -> None:
        while not self._ended.wait(KEPT_UP_S):
            self.shown_pa()

    def start(self) -> None:
        raise NotImplementedError

    def stop(self) -> None:
        raise NotImplementedError


class ModbusPretendBench(ServedBench):
    """The bench's gauge in the registers of a Modbus TCP device, id 1."""

    def __init__(self, bench: WorkedBench | None = None, *, port: int = 0, **more) -> None:
        super().__init__(bench, **more)
        self.port = port or _free_port()
        self.silent = False
        """True: it takes questions and does not answer."""
        self.asked = 0
        """Questions so far."""
        self._loop: asyncio.AbstractEventLoop | None = None
        self._thread: threading.Thread | None = None
        self._server: ModbusTcpServer | None = None

    def start(self) -> None:
        """Listen, on the same port as before."""
        if self._thread is not None:
            return
        ready = threading.Event()
        failed: list[BaseException] = []
        self._thread = threading.Thread(target=self._serve, args=(ready, failed), daemon=True)
        self._thread.start()
        assert ready.wait(60.0), "the Modbus server did not come up"
        if failed:
            raise failed[0]

    def stop(self) -> None:
        """Close all connections in order, and listen no more."""
        self._end(abort=False)

    def kill(self) -> None:
        """Be gone at once, without a goodbye to anybody, as when the supply fails."""
        self._end(abort=True)

    def _end(self, *, abort: bool) -> None:
        loop, thread = self._loop, self._thread
        if loop is None or thread is None:
            return
        asyncio.run_coroutine_threadsafe(self._shut(abort), loop).result(60.0)
        thread.join(60.0)
        assert not thread.is_alive()
        self._loop = self._thread = self._server = None

    async def _shut(self, abort: bool) -> None:
        server = self._server
        assert server is not None
        if abort:
            for connection in list(server.active_connections.values()):
                if connection.transport is not None:
                    reset = struct.pack("ii", 1, 0)  # no waiting: the other side gets a reset
                    with contextlib.suppress(OSError):
                        connection.transport.get_extra_info("socket").setsockopt(
                            socket.SOL_SOCKET, socket.SO_LINGER, reset
                        )
                    connection.transport.abort()
        await server.shutdown()

    def _serve(self, ready: threading.Event, failed: list[BaseException]) -> None:
        async def main() -> None:
            registers = SimData(0, values=[0, 0, 0], datatype=DataType.REGISTERS)
            device = SimDevice(1, simdata=[registers], action=self._answer)
            try:
                self._server = ModbusTcpServer(device, address=("127.0.0.1", self.port))
                self._loop = asyncio.get_running_loop()
                await self._server.serve_forever(background=True)
            except (OSError, RuntimeError) as error:
                failed.append(error)
                return
            finally:
                ready.set()
            await self._server.serving
            # Let the closed connections finish their callbacks.
            await asyncio.sleep(0.02)

        asyncio.run(main())

    async def _answer(self, _function, start, _address, _count, registers, _values):
        self.asked += 1
        while self.silent:
            await asyncio.sleep(0.01)
        bar = self.shown_pa() / BAR
        high, low = struct.unpack(">HH", struct.pack(">f", bar))
        current = round(4000.0 + 16000.0 * bar / CURRENT_RANGE_BAR)
        registers[FLOAT_REGISTER - start : CURRENT_REGISTER + 1 - start] = (
            high,
            low,
            min(max(current, 0), 0xFFFF),
        )


class SerialPretendBench(ServedBench):
    """The bench's gauge as lines on a serial port: ``P 175.32 bar``."""

    def __init__(
        self,
        bench: WorkedBench | None = None,
        *,
        rate_hz: float = 100.0,
        line: str = "P {bar:.2f} bar\r\n",
        **more,
    ) -> None:
        super().__init__(bench, **more)
        self._rate_hz, self._line = rate_hz, line
        self._folder = tempfile.TemporaryDirectory(prefix="pretend-port-")
        self.path = Path(self._folder.name) / "port"
        """Where the port is, also after it was plugged in anew."""
        self._ends: tuple[int, int] | None = None
        self._unplugged = threading.Event()
        self._sender: threading.Thread | None = None

    def __exit__(self, *_: object) -> None:
        super().__exit__()
        self._folder.cleanup()

    def start(self) -> None:
        """Plug it in and send."""
        if self._ends is not None:
            return
        ours, theirs = os.openpty()
        tty.setraw(theirs)
        os.set_blocking(ours, False)
        self._ends = ours, theirs
        self.path.unlink(missing_ok=True)
        self.path.symlink_to(os.ttyname(theirs))
        self._unplugged.clear()
        self._sender = threading.Thread(target=self._send, args=(ours,), daemon=True)
        self._sender.start()

    def stop(self) -> None:
        """Unplug it: the port is gone for whoever has it open."""
        if self._ends is None or self._sender is None:
            return
        self._unplugged.set()
        self._sender.join()
        for end in self._ends:
            os.close(end)
        self.path.unlink(missing_ok=True)
        self._ends = self._sender = None

    kill = stop

    def _send(self, port: int) -> None:
        due = time.monotonic()
        while not self._unplugged.wait(max(due - time.monotonic(), 0.0)):
            due = max(due + 1.0 / self._rate_hz, time.monotonic())
            line = self._line.format(bar=self.shown_pa() / BAR).encode()
            # Nobody listens, and the buffer is full: a serial line loses it.
            left = b""
            with contextlib.suppress(BlockingIOError):
                left = line[os.write(port, line) :]
            # But it is lost as a whole: what was begun is written out.
            while left and not self._unplugged.wait(0.001):
                with contextlib.suppress(BlockingIOError):
                    left = left[os.write(port, left) :]


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextlib.contextmanager
def modbus_pretend_bench(
    bench: WorkedBench | None = None, **more
) -> Iterator[tuple[int, ModbusPretendBench]]:
    """Serve a bench over Modbus TCP on 127.0.0.1; yields (port, bench)."""
    with ModbusPretendBench(bench, **more) as served:
        yield served.port, served


@contextlib.contextmanager
def serial_pretend_bench(
    bench: WorkedBench | None = None, **more
) -> Iterator[tuple[str, SerialPretendBench]]:
    """Serve a bench over a serial line; yields (path of the port, bench)."""
    with SerialPretendBench(bench, **more) as served:
        yield str(served.path), served
