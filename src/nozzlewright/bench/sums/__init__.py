"""Sums at the bench, each with its units, its uncertainty, its source and its limits.

``form``
    What a sum is, and how one is worked out.
``tightening``, ``springs``, ``nozzle``, ``leak``, ``engine``, ``units``
    The sums.
``shown``
    Their numbers as they are told.

The pages ``/sums``, the command ``nozzlewright sums`` and the reference page are all drawn from
:data:`SUMS`.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from nozzlewright.bench.sums.engine import DROPLETS, FUEL, START
from nozzlewright.bench.sums.form import (
    SPREAD,
    Example,
    Given,
    Input,
    Output,
    Result,
    Sum,
    Taken,
    Worked,
    work_out,
)
from nozzlewright.bench.sums.groups import GROUPS
from nozzlewright.bench.sums.leak import DROPS
from nozzlewright.bench.sums.nozzle import BANDS, LIFT, OPENING, TWO_SPRING, WASHER
from nozzlewright.bench.sums.shown import number_in, result_told, taken_told, told
from nozzlewright.bench.sums.springs import SPRING, SQUARE
from nozzlewright.bench.sums.tightening import WRENCH
from nozzlewright.bench.sums.units import CONVERTER, PRINTED

SUMS: Mapping[str, Sum] = MappingProxyType({
    one.key: one
    for one in (
        WRENCH, OPENING, WASHER, TWO_SPRING,
        SPRING, SQUARE, LIFT, BANDS, DROPS,
        START, FUEL, DROPLETS,
        CONVERTER, PRINTED,
    )
})  # fmt: skip
"""Every sum by its key, in the order of its group."""

__all__ = [
    "GROUPS",
    "SPREAD",
    "SUMS",
    "Example",
    "Given",
    "Input",
    "Output",
    "Result",
    "Sum",
    "Taken",
    "Worked",
    "number_in",
    "result_told",
    "taken_told",
    "told",
    "work_out",
]
