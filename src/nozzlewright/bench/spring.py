"""The spring of the holder: what the sheet says of it, and what was measured."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from nozzlewright.measurement import Quantity

if TYPE_CHECKING:
    from nozzlewright.bench.sheet import AsPrinted


@dataclass(frozen=True)
class HolderSpring:
    """Particulars of the holder's spring, each None where the sheet leaves it out."""

    free_length_m: float | None = None
    """Length without load, [m]."""
    free_length_half_m: float = 0.0
    """How far it may be off: the tolerance printed, else the rounding of the digits, [m]."""
    least_free_length_m: float | None = None
    """A spring that is shorter than this is renewed, [m]."""
    wire_diameter_m: float | None = None
    coil_diameter_m: float | None = None
    """Mean diameter of the coils, [m]."""
    active_coils: float | None = None
    total_coils: float | None = None
    """Active and dead coils together."""
    solid_length_m: float | None = None
    """Length with all coils shut, as printed, [m]."""
    load_n: float | None = None
    """Test load, [N]."""
    loaded_length_m: float | None = None
    """Length under the test load, [m]."""
    needle_lift_m: float | None = None
    """How far the needle lifts, and so how much further the spring is pressed then, [m]."""
    printed: AsPrinted | None = None


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
