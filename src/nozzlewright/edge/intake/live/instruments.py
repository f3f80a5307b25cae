"""What every instrument can do, and the one place where a specification becomes one."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

from nozzlewright.edge.intake.live.line import LineInstrument, LineSpec
from nozzlewright.edge.intake.live.modbus import ModbusInstrument, ModbusSpec


class Instrument(Protocol):
    """A gauge that can be asked for pressures, by one thread at a time."""

    @property
    def name(self) -> str:
        """Its name, as the recording states it."""

    def open(self) -> None:
        """Reach it.

        Raises
        ------
        InstrumentFault
            If it cannot be reached.
        """

    def read(self) -> Sequence[tuple[float, float]]:
        """Return the samples since the last call, after 50 ms or so at the latest.

        Returns
        -------
        sequence of (float, float)
            Time on the clock of :func:`time.monotonic`, [s], and pressure, [Pa]; NaN where the
            instrument answered, but with no pressure. Empty where nothing came.

        Raises
        ------
        InstrumentFault
            If it is lost: what happened, and what to look at.
        """

    def close(self) -> None:
        """Let go of it; harmless if it was never opened."""


def open_instrument(spec: ModbusSpec | LineSpec) -> Instrument:
    """Return the instrument of a specification, ready for its ``open``."""
    return ModbusInstrument(spec) if isinstance(spec, ModbusSpec) else LineInstrument(spec)
