"""A gauge recording as it came in, never altered; each repair makes a new one that says so."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from nozzlewright.measurement import Caution


@dataclass(frozen=True, eq=False)
class Recording:
    """Pressure against time from one bench session.

    Raises
    ------
    ValueError
        If the arrays differ in shape, are empty, hold numbers that are not finite, or time does
        not increase. Readers mend or refuse such input before they build a recording.
    """

    time_s: NDArray[np.float64]
    """Time, shape (N,), strictly increasing, [s]."""
    pressure_pa: NDArray[np.float64]
    """Gauge pressure, shape (N,), finite, [Pa]."""
    source: str
    """Name of the file or instrument."""
    digest: str
    """SHA-256 of the raw bytes, in hexadecimal."""
    instrument: str = ""
    history: tuple[str, ...] = ()
    """One line for each step that was done to it, repairs included."""
    cautions: tuple[Caution, ...] = field(default=())
    """What the reader noticed: repairs, gaps, odd time stamps."""

    def __post_init__(self) -> None:
        for name in ("time_s", "pressure_pa"):
            array = np.ascontiguousarray(getattr(self, name), dtype=np.float64)
            if array.flags.writeable:
                # A view, so that freezing it leaves the caller's own array as it was.
                array = array.view()
                array.flags.writeable = False
            object.__setattr__(self, name, array)
        if self.time_s.ndim != 1 or self.time_s.shape != self.pressure_pa.shape:
            raise ValueError("time and pressure must be one-dimensional and of one length")
        if self.time_s.size == 0:
            raise ValueError("a recording needs at least one sample")
        if not (np.isfinite(self.time_s).all() and np.isfinite(self.pressure_pa).all()):
            raise ValueError("time and pressure must be finite")
        if self.time_s.size > 1 and not (np.diff(self.time_s) > 0.0).all():
            raise ValueError("time must increase from sample to sample")

    def __len__(self) -> int:
        return int(self.time_s.size)

    @property
    def duration_s(self) -> float:
        """Time from the first to the last sample, [s]."""
        return float(self.time_s[-1] - self.time_s[0])

    @property
    def interval_s(self) -> float:
        """Median time between samples, [s]; infinite for a single sample."""
        if len(self) < 2:
            return float("inf")
        return float(np.median(np.diff(self.time_s)))

    def with_step(
        self,
        step: str,
        *,
        time_s: NDArray[np.float64] | None = None,
        pressure_pa: NDArray[np.float64] | None = None,
        cautions: tuple[Caution, ...] = (),
    ) -> Recording:
        """Return a new recording with one more line of history; this one stays as it is."""
        return replace(
            self,
            time_s=self.time_s if time_s is None else time_s,
            pressure_pa=self.pressure_pa if pressure_pa is None else pressure_pa,
            history=(*self.history, step),
            cautions=(*self.cautions, *cautions),
        )
