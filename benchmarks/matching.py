"""Matching: 24 cylinders, 40 sizes with counts, against one assignment and against every plan.

One assignment of the same size (``scipy.optimize.linear_sum_assignment``) is the unit: a bare
choice of one shim for each cylinder, without spread, front or proof. On small sets the match is
held against trying every plan.

Run: python benchmarks/matching.py
"""

from __future__ import annotations

import sys
import time
from itertools import product

import numpy as np
from measure import Ratio, best, best_in_turn
from scipy.optimize import linear_sum_assignment

from nozzlewright.advice import MatchCase, Spare, match_set, matched, purchase
from nozzlewright.bench import AsPrinted, OpeningBand, ShimDrawer
from nozzlewright.measurement import Cause, Quantity

BAR = 1e5
BAND = OpeningBand(175 * BAR, 183 * BAR, 179 * BAR, AsPrinted("invented"))
STOCKS = {"as many as wanted": None, "up to 4 of each": 4, "none or 1 of each": 1}


def case(cylinders: int, sizes: int, most: int | None, seed: int, **more: object) -> MatchCase:
    """Return an invented set, and a drawer with up to so many of each size."""
    rng = np.random.default_rng(seed)
    known = [1000 + 20 * index for index in range(sizes)]
    openings = {
        c: Quantity(
            float(rng.normal(179, 4)) * BAR, "Pa", {Cause("repeatability", str(c)): 0.1 * BAR}
        )
        for c in range(1, cylinders + 1)
    }
    effects = {c: Quantity(float(rng.normal(100, 5)) * 1e8, "Pa/m") for c in openings}
    middle = known[sizes // 3 : 2 * sizes // 3]
    shims = {c: float(rng.choice(middle)) * 1e-6 for c in openings}
    counts = {one: None if most is None else int(rng.integers(0, most + 1)) for one in known}
    return match_set(
        openings, BAND, effects, shims, ShimDrawer(counts), spread_limit_pa=5 * BAR, **more
    ).case


def every_plan(one: MatchCase) -> dict[int, tuple[int, float]]:
    """Return fewest outside and least spread for each work, every plan tried."""
    sizes = sorted({*one.drawer.counts, *(s for shims in one.shims_um.values() for s in shims)})
    found: dict[int, tuple[int, float]] = {}
    now = list(one.openings)
    for plan in product(sizes, repeat=len(now)):
        left = dict(one.drawer.counts)
        after, work = [], 0
        for cylinder, size in zip(now, plan, strict=True):
            was = one.shims_um[cylinder][0]
            work += size != was
            left[size] = left.get(size, 0) - 1
            left[was] = left.get(was, 0) + 1
            rise = (size - was) * 1e-6 * one.effects[cylinder].value
            after.append(one.openings[cylinder].value + rise)
        if min(left.values()) >= 0:
            outside = sum(not BAND.lower_pa <= value <= BAND.upper_pa for value in after)
            best_yet = found.get(work, (99, np.inf))
            found[work] = min(best_yet, (outside, max(after) - min(after)))
    return found


def ratios() -> list[Ratio]:
    """Return the lines of the table."""
    lines = []
    for name, most in STOCKS.items():
        cases = [case(24, 40, most, seed) for seed in range(5)]
        costs = np.random.default_rng(1).random((24, 40 * 4))
        whole, unit = best_in_turn(
            lambda cases=cases: [matched(one) for one in cases],
            lambda costs=costs: [linear_sum_assignment(costs) for _ in range(100)],
            times=3,
        )
        slowest = max(best(lambda one=one: matched(one), times=2, warm_up=0) for one in cases)
        lines.append(
            Ratio(
                f"front of 24 x 40, {name} / one assignment",
                (whole / 5) / (unit / 100),
                note=f"mean {whole / 5 * 1e3:.0f} ms, slowest {slowest * 1e3:.0f} ms",
            )
        )
    small = case(4, 8, 1, 3)
    ours, theirs = best_in_turn(lambda: matched(small), lambda: every_plan(small), times=3)
    lines.append(Ratio("front of 4 x 8 / every plan tried", ours / theirs, 1.0))
    tight = case(24, 40, 1, 2)
    match, bought = matched(tight), range(1000, 1800, 20)
    start = time.perf_counter()
    purchase(match, bought)
    gain = time.perf_counter() - start
    lines.append(
        Ratio(
            "purchase among 40 sizes / its front",
            gain / best(lambda: matched(tight), times=2, warm_up=0),
            note=f"{gain * 1e3:.0f} ms",
        )
    )
    stacks = case(12, 20, 2, 4, stack=True)
    spares = case(
        12, 40, 2, 4,
        spares=[Spare(f"S-{n}", Quantity((177.0 + n) * BAR, "Pa")) for n in range(4)],
    )  # fmt: skip
    for name, one in (("12 x 20 in stacks of three", stacks), ("12 x 40 with 4 spares", spares)):
        took = best(lambda one=one: matched(one), times=2, warm_up=0)
        lines.append(Ratio(f"front of {name} / one assignment", took / (unit / 100),
                           note=f"{took * 1e3:.0f} ms"))  # fmt: skip
    return lines


def main() -> None:
    """Print the table."""
    for line in ratios():
        print(line, flush=True)


if __name__ == "__main__":
    sys.exit(main())
