"""The shim drawer: which thicknesses the workshop has, and how many of each."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

MICROMETRE = 1e-6
"""[m]."""


@dataclass(frozen=True)
class ShimDrawer:
    """Shims to be had; thicknesses are kept in whole micrometres, so that equal ones are equal."""

    counts: Mapping[int, int | None] = field(default_factory=dict)
    """Number by thickness [um]; None: as many as are asked for."""
    owed: Mapping[int, int] = field(default_factory=dict)
    """By thickness [um], how many more were fitted than were counted; empty where all is right."""

    @property
    def sizes_m(self) -> tuple[float, ...]:
        """Return the thicknesses of which there is at least one, thin to thick, [m].

        >>> ShimDrawer({1300: 2, 1000: 0, 1200: None}).sizes_m
        (0.0012, 0.0013)
        """
        there = sorted(size for size, count in self.counts.items() if count is None or count > 0)
        return tuple(round(size * MICROMETRE, 9) for size in there)
