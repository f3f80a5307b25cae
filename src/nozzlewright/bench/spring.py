"""Springs as they were measured: the one in an injector, those on the shelf."""

from __future__ import annotations

from dataclasses import dataclass

from nozzlewright.measurement import Quantity


@dataclass(frozen=True)
class MeasuredSpring:
    """A spring as it was measured on the bench."""

    length: Quantity
    """[m]."""
    load_n: float = 0.0
    """Load under which it was measured, [N]; 0: free."""


@dataclass(frozen=True)
class ShelfSpring:
    """Springs of one length on the workshop's shelf."""

    injector: str
    """Description of the injector to which they belong, as its setting sheets have it."""
    load_n: float
    """Load under which they were measured, [N]; 0: free."""
    length_um: int
    """[um]."""
    off_um: float
    """Half of the 95 % interval of the length, [um]."""
    count: int | None
    """Number of them; None: as many as are asked for."""
    owed: int = 0
    """How many more were fitted than were counted."""
