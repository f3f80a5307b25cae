"""What the hand does at the pretend bench: a script of acts."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Idle:
    """Hand off the lever."""

    duration_s: float = 2.0


@dataclass(frozen=True)
class Strokes:
    """Full strokes of the lever."""

    n: int
    strokes_per_min: float
    volume_m3: float = 1.2e-6
    """Swept in one stroke, [m^3]"""
    push_share: float = 0.6
    """Share of the stroke's time in which the lever delivers, [1]"""
    tremor: float = 0.06
    """Unsteadiness of the hand, relative amplitude, [1]"""


@dataclass(frozen=True)
class BleedStrokes(Strokes):
    """Quick strokes that fill and bleed the line, with the union slack if wished."""

    n: int = 4
    strokes_per_min: float = 80.0
    union_slack: bool = False


@dataclass(frozen=True)
class SlowStrokes(Strokes):
    """Slow strokes to read the opening pressure."""

    n: int = 5
    strokes_per_min: float = 15.0
    push_share: float = 0.75


@dataclass(frozen=True)
class FastStrokes(Strokes):
    """Brisk strokes for chatter and spray."""

    n: int = 6
    strokes_per_min: float = 70.0


@dataclass(frozen=True)
class HardStrokes(Strokes):
    """Strokes as hard as the arm can make them."""

    n: int = 3
    strokes_per_min: float = 40.0
    push_share: float = 0.12


@dataclass(frozen=True)
class HoldAt:
    """Pump up to a pressure, shut the pump valve and wait."""

    pressure_pa: float
    duration_s: float = 20.0
    strokes_per_min: float = 30.0
    volume_m3: float = 1.2e-6
    push_share: float = 0.7


@dataclass(frozen=True)
class SeatHold:
    """Hold a stated margin below the static opening pressure."""

    margin_pa: float = 20.0e5
    duration_s: float = 10.0
    strokes_per_min: float = 30.0
    volume_m3: float = 1.2e-6
    push_share: float = 0.7


@dataclass(frozen=True)
class Release:
    """Open the release valve."""

    duration_s: float = 2.0


Act = Idle | BleedStrokes | SlowStrokes | FastStrokes | HardStrokes | HoldAt | SeatHold | Release
Script = tuple[Act, ...]
"""The acts in their order."""
