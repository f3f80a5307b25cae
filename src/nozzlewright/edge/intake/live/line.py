"""Instruments that send one reading a line over a serial port.

A line is stamped when it has come in whole. Where several have come in since the last look, they
are spread evenly over that time: it is known to no better than that when each of them left.
"""

from __future__ import annotations

import math
import re
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

from nozzlewright.edge.intake.live.scale import Scale
from nozzlewright.errors import InstrumentFault, UnitFault
from nozzlewright.measurement import PRESSURE_UNITS, pressure_unit
from nozzlewright.said import Said, figure, say

if TYPE_CHECKING:
    from serial import Serial  # type: ignore[import-untyped]

LONGEST_READ_S = 0.05
LONGEST_LINE = 1000
"""Bytes without an end of line after which it is noise, not a line."""

_END = re.compile(rb"[\r\n]+")


@dataclass(frozen=True)
class LineSpec:
    """A serial port and the pattern of its lines."""

    name: str
    port: str
    pattern: str
    """Regular expression with a group ``pressure`` and perhaps one ``unit``."""
    baud: int = 9600
    data_bits: int = 8
    parity: Literal["none", "even", "odd"] = "none"
    stop_bits: int = 1
    ask: str = ""
    """Sent to get the next line; empty where the instrument sends by itself."""
    silent_after_s: float = 2.0
    """Time without a reading after which it is called lost, [s]."""
    scale: Scale = field(default_factory=Scale)
    unit_stated: bool = True
    """False: the unit stands in each line."""


class LineInstrument:
    """One reading a line."""

    def __init__(self, spec: LineSpec) -> None:
        self.spec = spec
        self.name = spec.name
        self._pattern = re.compile(spec.pattern)
        self._port: Serial | None = None
        self._rest = b""
        self._looked = 0.0
        self._understood = 0.0
        self._asked: float | None = None
        self._misfit = ""

    def open(self) -> None:
        """Open the port.

        Raises
        ------
        InstrumentFault
            If it cannot be opened.
        """
        import serial

        self.close()
        spec = self.spec
        try:
            self._port = serial.Serial(
                spec.port,
                spec.baud,
                bytesize=spec.data_bits,
                parity=spec.parity[0].upper(),
                stopbits=spec.stop_bits,
                timeout=LONGEST_READ_S,
                write_timeout=1.0,
                exclusive=True,
            )
            # What was sent before anybody listened would be stamped with the wrong time.
            self._port.reset_input_buffer()
        except Exception as error:  # the system's own errors come through too
            self.close()
            raise InstrumentFault(
                say(
                    "the port {port} cannot be opened ({error}); look at the plug, at port in its "
                    "file, and whether another program holds the port",
                    port=spec.port,
                    error=str(error),
                )
            ) from error
        self._rest, self._misfit, self._asked = b"", "", None
        self._looked = self._understood = time.monotonic()

    def read(self) -> Sequence[tuple[float, float]]:
        """Return the readings that came in.

        Raises
        ------
        InstrumentFault
            If the port is gone, nothing comes, or nothing that the pattern fits.
        """
        spec, port = self.spec, self._port
        if port is None:
            raise InstrumentFault(say("the port {port} is not open", port=spec.port))
        try:
            if spec.ask and self._asked is None:
                port.write(spec.ask.encode())
                self._asked = time.monotonic()
            data = port.read(1)
            if data and (waiting := port.in_waiting):
                data += port.read(waiting)
        except Exception as error:  # the system's own errors come through too
            raise InstrumentFault(
                say(
                    "the port {port} is gone ({error}); look at the plug of the converter",
                    port=spec.port,
                    error=str(error),
                )
            ) from error
        now = time.monotonic()
        values = self._values(data)
        if values:
            self._understood = now
        elif now - self._understood > spec.silent_after_s:
            raise InstrumentFault(self._silence(now - self._understood))
        since, self._looked = self._looked, now if data else self._looked
        asked, self._asked = self._asked, None if values or self._overdue(now) else self._asked
        if asked is not None and len(values) == 1:
            return ((0.5 * (asked + now), values[0]),)
        step = (now - since) / max(len(values), 1)
        return [(now - step * (len(values) - 1 - k), value) for k, value in enumerate(values)]

    def close(self) -> None:
        """Let go of the port."""
        if self._port is not None:
            self._port.close()
            self._port = None

    def _overdue(self, now: float) -> bool:
        """Return whether an answer is so late that it must be asked for again."""
        return self._asked is not None and now - self._asked > 0.5 * self.spec.silent_after_s

    def _values(self, data: bytes) -> list[float]:
        *lines, self._rest = _END.split(self._rest + data)
        self._rest = self._rest[-LONGEST_LINE:]
        return [
            value
            for line in lines
            if line.strip() and (value := self._value(line.decode("latin-1"))) is not None
        ]

    def _value(self, line: str) -> float | None:
        found = self._pattern.search(line[:LONGEST_LINE])
        if found is None:
            self._misfit = line.strip()[:60]
            return None
        text = found["pressure"].replace(",", ".").replace(" ", "")
        try:
            raw = float(text)
        except ValueError:  # the instrument says in words that it has no reading
            return math.nan
        spelled = None if self.spec.unit_stated else found["unit"]
        try:
            unit = 1.0 if spelled is None else PRESSURE_UNITS[pressure_unit(spelled)]
        except UnitFault as error:
            raise InstrumentFault(
                say(
                    "{port} sends '{line}': {error}",
                    port=self.spec.port,
                    line=line.strip()[:60],
                    error=str(error),
                )
            ) from None
        return self.spec.scale.pressure_pa(raw) * unit

    def _silence(self, seconds: float) -> Said:
        spec, time_s = self.spec, figure(seconds, ".1f")
        if self._misfit:
            return say(
                "{port} sends lines that the pattern does not fit, the last '{line}'; look at "
                "pattern, baud and parity in its file",
                port=spec.port,
                line=self._misfit,
            )
        if self._rest:
            return say(
                "{port} sends no whole line for {time} s; look at baud, data_bits, parity and "
                "stop_bits in its file",
                port=spec.port,
                time=time_s,
            )
        return say(
            "nothing has come from {port} for {time} s; look at the instrument's supply, its plug, "
            "and whether it is set to send",
            port=spec.port,
            time=time_s,
        )
