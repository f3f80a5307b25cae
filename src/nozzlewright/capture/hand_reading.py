"""Readings taken by eye from a dial and timed with a stopwatch: evidence of its own standing."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class TimedDrop:
    """A fall of pressure timed with a stopwatch."""

    from_pa: float
    to_pa: float
    seconds: float


@dataclass(frozen=True)
class WatchedHold:
    """A pressure held for the seat, as read at its two ends."""

    start_pa: float
    end_pa: float | None
    seconds: float


@dataclass(frozen=True)
class CountedDrops:
    """Drops counted at the leak-off while a pressure was held."""

    pressure_pa: float
    drops: int
    seconds: float


@dataclass(frozen=True)
class HandReadings:
    """One card of readings.

    The uncertainty of the eye and of the hand is stated here, because only the person who read
    knows it; the readers give the usual values where the card is silent.
    """

    source: str
    digest: str
    opening_pa: tuple[float, ...] = ()
    """Opening pressure, pop by pop, slow strokes, [Pa]."""
    closing_pa: tuple[float, ...] = ()
    drops: tuple[TimedDrop, ...] = ()
    seat_hold: WatchedHold | None = None
    leak_off: CountedDrops | None = None
    openings_per_stroke: tuple[int, ...] = ()
    """Openings counted in quick strokes, where somebody counted."""
    reading_resolution_pa: float = 0.0
    """Half-width of what the eye can tell on the dial, [Pa] (rectangular)."""
    reaction_time_s: float = 0.2
    """Standard uncertainty of starting and stopping together, [s]; common practice, no source."""
    fitter: str = ""
    """Who read; empty where the card does not say."""
