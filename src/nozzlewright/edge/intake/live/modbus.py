"""Pressure transmitters and input modules on Modbus, TCP and RTU.

A request is answered from the registers as they are at that moment, so a sample is stamped
half-way between question and answer. Function codes 3 (holding registers) and 4 (input registers)
and the two bytes of a register, high byte first: MODBUS Application Protocol Specification
V1.1b3, 6.3, 6.4 and 4.2 (from memory); the order of two registers that make one number is each
maker's own.
"""

from __future__ import annotations

import logging
import math
import struct
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

from nozzlewright.edge.intake.live.scale import Scale
from nozzlewright.errors import InstrumentFault
from nozzlewright.said import Said, figure, say

if TYPE_CHECKING:
    from pymodbus.client import ModbusSerialClient, ModbusTcpClient
    from pymodbus.pdu import ModbusPDU

LONGEST_READ_S = 0.05
"""How long one call of ``read`` waits for the next sample to be due."""
SILENT_AFTER_S = 1.0
"""Time without a usable answer after which an instrument is called lost."""

logging.getLogger("pymodbus").addHandler(logging.NullHandler())

_FORMATS = {"int16": ">h", "uint16": ">H", "int32": ">i", "uint32": ">I", "float32": ">f"}
_PASSING = {5, 6, 11}
"""Answers of a device or gateway that is busy for the moment."""
_REFUSALS = {
    1: say("it does not know this function: try function = 4 in place of 3, or 3 in place of 4"),
    2: say(
        "it has no such register: many manuals count holding registers from 40001 and input "
        "registers from 30001, a request counts from 0 (40001 is register = 0)"
    ),
    3: say("it does not give so many registers at once: check type"),
    4: say("it reports a failure of its own: look at its display or lamps"),
    10: say("the gateway cannot reach it: look at the line behind the gateway"),
}


@dataclass(frozen=True)
class TcpConnection:
    """Where an instrument is found in the network."""

    host: str
    port: int = 502
    device_id: int = 1
    framing: Literal["tcp", "rtu"] = "tcp"
    """``rtu``: a plain converter from Ethernet to a serial line."""
    timeout_s: float = 0.25

    @property
    def place(self) -> Said:
        """Where it is, in words."""
        return say("{host}, port {port}", host=self.host, port=str(self.port))

    @property
    def look_at(self) -> Said:
        """What to look at where it does not answer."""
        return say(
            "look at its supply, the network lead or Wi-Fi, and at host and port in its file"
        )

    def client(self) -> ModbusTcpClient:
        """Return a client for it."""
        from pymodbus import FramerType
        from pymodbus.client import ModbusTcpClient

        framer = FramerType.SOCKET if self.framing == "tcp" else FramerType.RTU
        return ModbusTcpClient(
            self.host, port=self.port, framer=framer, timeout=self.timeout_s, retries=0
        )


@dataclass(frozen=True)
class RtuConnection:
    """On which serial line an instrument is found."""

    port: str
    baud: int = 19_200
    data_bits: int = 8
    parity: Literal["none", "even", "odd"] = "even"
    stop_bits: int = 1
    device_id: int = 1
    timeout_s: float = 0.25

    @property
    def place(self) -> str:
        """Where it is, in words."""
        return self.port

    @property
    def look_at(self) -> Said:
        """What to look at where it does not answer."""
        return say(
            "look at its supply, the plug and the two wires of the line, and at port, baud, parity "
            "and device_id in its file"
        )

    def client(self) -> ModbusSerialClient:
        """Return a client for it."""
        from pymodbus.client import ModbusSerialClient

        return ModbusSerialClient(
            self.port,
            baudrate=self.baud,
            bytesize=self.data_bits,
            parity=self.parity[0].upper(),
            stopbits=self.stop_bits,
            timeout=self.timeout_s,
            retries=0,
        )


@dataclass(frozen=True)
class ModbusSpec:
    """A pressure in the registers of a device."""

    name: str
    connection: TcpConnection | RtuConnection
    register: int
    """Address in the request, counted from 0."""
    type: Literal["int16", "uint16", "int32", "uint32", "float32"]
    function: Literal[3, 4] = 3
    word_order: Literal["big", "little"] = "big"
    byte_order: Literal["big", "little"] = "big"
    period_s: float = 0.0
    """Time from one question to the next, [s]; 0: as fast as it answers."""
    scale: Scale = field(default_factory=Scale)


class ModbusInstrument:
    """One register (or pair of them) asked again and again."""

    def __init__(self, spec: ModbusSpec) -> None:
        self.spec = spec
        self.name = spec.name
        self._count = struct.calcsize(_FORMATS[spec.type]) // 2
        self._client: ModbusTcpClient | ModbusSerialClient | None = None
        self._due = 0.0
        self._answered = 0.0
        self._sound = 0.0

    def open(self) -> None:
        """Reach it, and ask once.

        Raises
        ------
        InstrumentFault
            If nothing answers there, or something refuses.
        """
        self.close()
        at = self.spec.connection
        self._client = at.client()
        try:
            if not self._client.connect():
                raise InstrumentFault(
                    say(
                        "nothing can be reached at {place}; {look_at}",
                        place=at.place,
                        look_at=at.look_at,
                    )
                )
            if self._ask() is None:
                raise InstrumentFault(
                    say(
                        "{place} is there, but device {device} does not answer within {time} ms; "
                        "{look_at}",
                        place=at.place,
                        device=at.device_id,
                        time=figure(at.timeout_s * 1e3, ".0f"),
                        look_at=at.look_at,
                    )
                )
        except InstrumentFault:
            self.close()
            raise
        self._due = self._answered = self._sound = time.monotonic()

    def read(self) -> Sequence[tuple[float, float]]:
        """Return the next sample; nothing where it is not due yet, or an answer was lost.

        Raises
        ------
        InstrumentFault
            If the connection is gone, it refuses, or no usable answer came for a second.
        """
        wait = self._due - time.monotonic()
        if wait > 0.0:
            time.sleep(min(wait, LONGEST_READ_S))
            if wait > LONGEST_READ_S:
                return ()
        asked = time.monotonic()
        raw = self._ask()
        now = time.monotonic()
        # Where a question was late, the next ones keep their distance; none are made up for.
        self._due = max(self._due + self.spec.period_s, now)
        at = self.spec.connection
        if raw is None:
            if now - self._answered > SILENT_AFTER_S:
                raise InstrumentFault(
                    say(
                        "{place} has not answered for {time} s; {look_at}",
                        place=at.place,
                        time=figure(now - self._answered, ".1f"),
                        look_at=at.look_at,
                    )
                )
            return ()
        self._answered = now
        pressure = self.spec.scale.pressure_pa(raw)
        if not math.isnan(pressure):
            self._sound = now
        elif now - self._sound > SILENT_AFTER_S:
            raise InstrumentFault(
                say(
                    "{place} answers, but its raw value {raw} is no pressure; look at the lead "
                    "between sensor and module, and at type, word_order and valid_raw in its file",
                    place=at.place,
                    raw=f"{raw:g}",
                )
            )
        return ((0.5 * (asked + now), pressure),)

    def close(self) -> None:
        """Let go of the connection."""
        if self._client is not None:
            self._client.close()  # type: ignore[no-untyped-call]
            self._client = None

    def _ask(self) -> float | None:
        """Return the raw value; None where an answer was lost on the way or is still to come."""
        from pymodbus.exceptions import ConnectionException, ModbusException

        spec, client = self.spec, self._client
        if client is None:
            raise InstrumentFault(say("{place} is not open", place=spec.connection.place))
        ask = client.read_holding_registers if spec.function == 3 else client.read_input_registers
        try:
            answer = ask(spec.register, count=self._count, device_id=spec.connection.device_id)
        except (ConnectionException, OSError) as error:
            raise InstrumentFault(
                say(
                    "the connection to {place} is gone; {look_at}",
                    place=spec.connection.place,
                    look_at=spec.connection.look_at,
                )
            ) from error
        except ModbusException:
            return None
        if answer.isError():
            self._refused(answer)
            return None
        if len(answer.registers) != self._count:
            return None
        return self._value(answer.registers)

    def _refused(self, answer: ModbusPDU) -> None:
        code = int(getattr(answer, "exception_code", 0))
        if code in _PASSING:
            return
        raise InstrumentFault(
            say(
                "{place} refuses the reading (Modbus exception {code}): {why}",
                place=self.spec.connection.place,
                code=code,
                why=_REFUSALS.get(code, say("look at the manual of the device")),
            )
        )

    def _value(self, registers: Sequence[int]) -> float:
        words = registers if self.spec.word_order == "big" else tuple(reversed(registers))
        raw = b"".join(word.to_bytes(2, self.spec.byte_order) for word in words)
        return float(struct.unpack(_FORMATS[self.spec.type], raw)[0])
