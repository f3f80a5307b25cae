"""From the numbers of an instrument to pressures."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class Scale:
    """Pressure = factor x raw + offset, where the raw value is one that a sound sensor gives."""

    factor_pa: float = 1.0
    """Pressure for one step of the raw value, [Pa]."""
    offset_pa: float = 0.0
    valid_raw: tuple[float, float] | None = None
    """Raw values outside are a broken lead or a failed sensor, not pressures."""

    def pressure_pa(self, raw: float) -> float:
        """Return the pressure, [Pa]; NaN where the raw value is none.

        >>> Scale(factor_pa=2500.0, offset_pa=-1e7, valid_raw=(3600, 21000)).pressure_pa(20000)
        40000000.0
        """
        if self.valid_raw is not None and not self.valid_raw[0] <= raw <= self.valid_raw[1]:
            return math.nan
        return self.factor_pa * raw + self.offset_pa if math.isfinite(raw) else math.nan
