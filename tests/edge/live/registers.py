"""A Modbus device with registers that a test may set, on TCP or on a serial line."""

from __future__ import annotations

import asyncio
import contextlib
import os
import select
import socket
import threading
import tty
from collections.abc import Iterator

from pymodbus import FramerType
from pymodbus.constants import ExcCodes
from pymodbus.server import ModbusSerialServer, ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice


class Device:
    """Registers 0 to 15, alike as holding and as input registers; a test may turn it off."""

    def __init__(self, make_server) -> None:
        self.registers = [0] * 16
        self.refusal: ExcCodes | None = None
        self.silent = False
        self.asked = 0
        self._make_server = make_server
        self._loop: asyncio.AbstractEventLoop | None = None
        self._thread: threading.Thread | None = None

    def start(self) -> None:
        ready = threading.Event()
        self._thread = threading.Thread(target=asyncio.run, args=(self._serve(ready),), daemon=True)
        self._thread.start()
        assert ready.wait(60.0)

    def stop(self) -> None:
        if self._loop is not None:
            asyncio.run_coroutine_threadsafe(self._server.shutdown(), self._loop).result(60.0)
            self._thread.join(60.0)
            self._loop = None

    async def _serve(self, ready: threading.Event) -> None:
        held = SimData(0, values=[0] * 16, datatype=DataType.REGISTERS)
        self._server = self._make_server(SimDevice(1, simdata=[held], action=self._answer))
        self._loop = asyncio.get_running_loop()
        await self._server.serve_forever(background=True)
        ready.set()
        await self._server.serving
        await asyncio.sleep(0.02)

    async def _answer(self, _function, start, _address, _count, registers, _values):
        self.asked += 1
        while self.silent:
            await asyncio.sleep(0.01)
        registers[:] = self.registers[start : start + len(registers)]
        return self.refusal


@contextlib.contextmanager
def tcp_device() -> Iterator[tuple[int, Device]]:
    """Serve a device on 127.0.0.1; yields (port, device)."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    device = Device(lambda one: ModbusTcpServer(one, address=("127.0.0.1", port)))
    device.start()
    try:
        yield port, device
    finally:
        device.silent = False
        device.stop()


@contextlib.contextmanager
def serial_cable() -> Iterator[tuple[str, str]]:
    """Lend the two ends of a serial cable, as paths of ports."""
    ends = [os.openpty() for _ in range(2)]
    for _, plug in ends:
        tty.setraw(plug)
    (left, _), (right, _) = ends
    ended = threading.Event()

    def carry() -> None:
        other = {left: right, right: left}
        while not ended.is_set():
            for end in select.select([left, right], [], [], 0.05)[0]:
                with contextlib.suppress(OSError):
                    os.write(other[end], os.read(end, 4096))

    thread = threading.Thread(target=carry, daemon=True)
    thread.start()
    try:
        yield os.ttyname(ends[0][1]), os.ttyname(ends[1][1])
    finally:
        ended.set()
        thread.join()
        for pair in ends:
            for end in pair:
                os.close(end)


@contextlib.contextmanager
def rtu_device() -> Iterator[tuple[str, Device]]:
    """Serve a device on a serial line; yields (port, device)."""
    with serial_cable() as (ours, theirs):
        device = Device(
            lambda one: ModbusSerialServer(
                one, framer=FramerType.RTU, port=theirs, baudrate=115_200
            )
        )
        device.start()
        try:
            yield ours, device
        finally:
            device.silent = False
            device.stop()
