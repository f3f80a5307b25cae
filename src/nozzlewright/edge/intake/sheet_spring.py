"""Whether the particulars of a spring on a sheet can be true, each by itself and together."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from nozzlewright.bench import HolderSpring
from nozzlewright.physics import STEEL_SHEAR_MODULUS_PA, spring_rate

RATES_APART = 0.25
"""How far two statements of a spring's rate may lie apart, relative, [1]: 3 % in the wire are 12 %
in the rate, and 5 % are usual in a bought spring (common practice, no source)."""
SPRING_INDEX = (2.5, 25.0)
"""Mean diameter over wire of any spring, [1]; EN 13906-1 holds from 4 to 20."""
_SIZES_M = (
    ("wire_diameter", 2e-4, 0.02),
    ("mean_diameter", 1e-3, 0.1),
    ("free_length", 2e-3, 0.5),
    ("needle_lift", 2e-5, 3e-3),
)
"""What springs of holders measure, least and most, [m]; common practice, no source."""
MOST_COILS = 100.0


def spring_objections(spring: HolderSpring) -> Iterator[tuple[str, str, str]]:
    """Yield what cannot be true of a spring: key, what is wrong, how to mend it."""
    yield from _sizes(spring)
    yield from _coils(spring)
    yield from _lengths(spring)


def _sizes(spring: HolderSpring) -> Iterator[tuple[str, str, str]]:
    values = {
        "wire_diameter": spring.wire_diameter_m,
        "mean_diameter": spring.coil_diameter_m,
        "free_length": spring.free_length_m,
        "needle_lift": spring.needle_lift_m,
    }
    for key, low, high in _SIZES_M:
        value = values[key]
        if value is not None and not low <= value <= high:
            yield (
                key,
                f"{value * 1e3:g} mm is no {key} of a holder's spring",
                f"Check the unit: from {low * 1e3:g} to {high * 1e3:g} mm",
            )


def _coils(spring: HolderSpring) -> Iterator[tuple[str, str, str]]:
    wire, coil = spring.wire_diameter_m, spring.coil_diameter_m
    if wire is not None and coil is not None:
        least, most = SPRING_INDEX
        if not least <= coil / wire <= most:
            yield (
                "wire_diameter",
                (
                    f"coils of {coil * 1e3:g} mm of a wire of {wire * 1e3:g} mm: the one is "
                    f"{coil / wire:.3g} times the other"
                ),
                f"Check both: {least:g} to {most:g} times can be wound",
            )
    active, total = spring.active_coils, spring.total_coils
    for key, count in (("active_coils", active), ("total_coils", total)):
        if count is not None and not 1.0 <= count <= MOST_COILS:
            yield key, f"{count:g} is no number of coils", f"Count them: 1 to {MOST_COILS:g}"
    if active is not None and total is not None and not active < total:
        yield (
            "total_coils",
            f"{total:g} coils in all are not more than {active:g} active ones",
            "The dead coils at both ends are counted in the total",
        )


def _lengths(spring: HolderSpring) -> Iterator[tuple[str, str, str]]:
    free = spring.free_length_m
    order = (
        ("solid_length", spring.solid_length_m),
        ("loaded_length", spring.loaded_length_m),
        ("least_free_length", spring.least_free_length_m),
        ("free_length", None if free is None else free + spring.free_length_half_m),
    )
    there = [(key, value) for key, value in order if value is not None]
    for (shorter, a), (longer, b) in pairwise(there):
        if not a < b:
            yield (
                shorter,
                f"{shorter} of {a * 1e3:g} mm is not less than {longer} of {b * 1e3:g} mm",
                "Compare both with the document",
            )
    solid, wire, total = spring.solid_length_m, spring.wire_diameter_m, spring.total_coils
    if (
        solid is not None
        and wire is not None
        and total is not None
        and not (total - 0.6) * wire <= solid <= (total + 1.6) * wire
    ):
        yield (
            "solid_length",
            (
                f"a solid length of {solid * 1e3:g} mm does not fit {total:g} coils of "
                f"{wire * 1e3:g} mm: {total * wire * 1e3:g} mm with ground ends, "
                f"{(total + 1.5) * wire * 1e3:g} mm without"
            ),
            "Compare the three with the document (EN 13906-1: coils times wire)",
        )


def rates_apart(spring: HolderSpring, stated_n_per_m: float | None) -> Iterator[tuple[str, str]]:
    """Yield where two statements of a spring's rate do not agree: what, and how to mend it."""
    rates = {} if stated_n_per_m is None else {"spring_rate": stated_n_per_m}
    wire, coil, active = spring.wire_diameter_m, spring.coil_diameter_m, spring.active_coils
    if wire is not None and coil is not None and active is not None:
        rates["wire, diameter and coils"] = spring_rate(STEEL_SHEAR_MODULUS_PA, wire, coil, active)
    free, loaded, load = spring.free_length_m, spring.loaded_length_m, spring.load_n
    if free is not None and loaded is not None and load is not None and free > loaded:
        rates["load and lengths"] = load / (free - loaded)
    for (first, one), (name, other) in pairwise(rates.items()):
        if abs(other - one) > RATES_APART * max(one, other):
            yield (
                (
                    f"by {first} the spring's rate is {one / 1e3:.4g} N/mm, by {name} it is "
                    f"{other / 1e3:.4g} N/mm"
                ),
                "One of the figures is a misprint, or in another unit: compare them",
            )
