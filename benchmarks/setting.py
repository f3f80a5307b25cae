"""Share of injectors in band after the first and the second change of shim, by four ways.

On pretend shops with known truth (``simulator.setting_shop``): the adviser cold and after 5, 20
and 100 injectors of the kind; a fixed rule of 0.1 mm for 10 bar; the geometric formula alone.

Run: python benchmarks/setting.py [shops] [injectors a shop]
"""

from __future__ import annotations

import math
import sys
import time
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import TextIO

import numpy as np

from nozzlewright.advice import (
    SeenChange,
    SeenShift,
    SettingKnowledge,
    change_to,
    learn,
    shim_effect,
)
from nozzlewright.bench import Condition, OpeningBand
from nozzlewright.measurement import Quantity
from nozzlewright.simulator.setting_shop import (
    PretendSetting,
    SettingShop,
    ShopScatter,
    draw_setting_shop,
)

FIXED_PA_PER_M = 100e8
"""0.1 mm for 10 bar, [Pa/m]."""
LEARNED = (0, 5, 20, 100)
FIXED, FORMULA = "fixed rule, 0.1 mm for 10 bar", "geometric formula alone"


@dataclass
class Tally:
    """What came of one way."""

    shops: list[list[float]] = field(default_factory=list)
    """In band after the first and after the second change, a row for each shop."""
    held: int = 0
    """Readings within the 95 % interval that was foretold."""
    foretold: int = 0

    def row(self, change: int) -> tuple[float, float]:
        """Return mean and standard error over the shops of the share in band."""
        shares = np.array([shop[change] for shop in self.shops])
        error = shares.std(ddof=1) / math.sqrt(shares.size) if shares.size > 1 else math.nan
        return float(shares.mean()), float(error)


@dataclass
class History:
    """What a shop has on record."""

    changes: list[SeenChange] = field(default_factory=list)
    settlings: list[SeenShift] = field(default_factory=list)

    def knowledge(self, shop: SettingShop, new_springs: Sequence[str] = ()) -> SettingKnowledge:
        """Return what it comes to."""
        return learn(
            shop.kind.sheet, self.changes, settlings=self.settlings, new_springs=new_springs
        )


def _band(shop: SettingShop) -> OpeningBand:
    band = shop.kind.sheet.opening_band(Condition.USED)
    if band is None:
        raise ValueError("a pretend sheet has its band")
    return band


def _in_band(one: PretendSetting, band: OpeningBand) -> bool:
    return band.lower_pa <= one.true_pa <= band.upper_pa


def _by_effect(effect: float, shop: SettingShop) -> Callable[[PretendSetting, Quantity], float]:
    sizes = np.array(shop.kind.sheet.adjustment.shim_sizes_m)

    def choose(one: PretendSetting, opening: Quantity) -> float:
        wanted = one.noted_m + (_band(shop).target_pa - opening.value) / effect
        return float(sizes[np.argmin(np.abs(sizes - wanted))])

    return choose


def _needs_change(shop: SettingShop, numbers: range) -> Iterator[tuple[PretendSetting, Quantity]]:
    """Yield injectors that are read outside their band."""
    band = _band(shop)
    for number in numbers:
        one = shop.injector(number)
        opening = one.read()
        if not band.lower_pa <= opening.value <= band.upper_pa:
            yield one, opening


def by_rule(shop: SettingShop, numbers: range, effect: float) -> list[float]:
    """Return the shares in band after the first and the second change, by a fixed effect."""
    band, choose = _band(shop), _by_effect(effect, shop)
    good: list[list[bool]] = []
    for one, opening in _needs_change(shop, numbers):
        row = []
        for _ in range(2):
            if not band.lower_pa <= opening.value <= band.upper_pa:
                one.fit_shim(choose(one, opening))
            opening = one.read()
            row.append(_in_band(one, band))
        good.append(row)
    return list(np.mean(good, axis=0))


def by_adviser(
    shop: SettingShop, numbers: range, history: History, tally: Tally, *, keeps: bool = False
) -> list[float]:
    """Return the same by the adviser; `keeps`: what happens goes into the history."""
    band, sheet = _band(shop), shop.kind.sheet
    known = history.knowledge(shop)
    good: list[list[bool]] = []
    for one, opening in _needs_change(shop, numbers):
        new = [one.name] if one.new_spring else []
        own = History(list(history.changes), list(history.settlings))
        mine = known if not new else history.knowledge(shop, new)
        row = []
        for turn in range(2):
            if not band.lower_pa <= opening.value <= band.upper_pa:
                change = change_to(
                    band.target_pa, opening, band, sheet, mine,
                    shim_now_m=one.noted_m, identity=one.name,
                )  # fmt: skip
                if change.best.amount != 0.0:
                    written = one.fit_shim(one.noted_m + change.best.amount)
                    after = one.read()
                    low, high = change.best.shown.coverage_interval
                    tally.foretold += 1
                    tally.held += low <= after.value <= high
                    own.changes.append(
                        SeenChange(one.name, written, opening, after, f"{one.name} {turn}")
                    )
                    opening = after
                    mine = own.knowledge(shop, new)
            else:
                opening = one.read()
            row.append(_in_band(one, band))
        good.append(row)
        if one.new_spring:
            first = one.read()
            one.settle()
            own.settlings.append(SeenShift(one.name, first, one.read()))
        if keeps:
            history.changes, history.settlings = own.changes, own.settlings
            known = history.knowledge(shop)
    return list(np.mean(good, axis=0)) if good else [math.nan, math.nan]


def compare(
    shops: int,
    injectors: int,
    tell: TextIO | None = None,
    *,
    learned: Sequence[int] = LEARNED,
    scatter: ShopScatter | None = None,
) -> dict[str, Tally]:
    """Return what came of each way in several shops."""
    tallies: dict[str, Tally] = defaultdict(Tally)
    start = time.perf_counter()
    for seed in range(1, shops + 1):
        shop = draw_setting_shop(seed, scatter)
        tested = range(10_000, 10_000 + injectors)
        tallies[FIXED].shops.append(by_rule(shop, tested, FIXED_PA_PER_M))
        formula = shim_effect(shop.kind.sheet)
        if isinstance(formula, Quantity):
            tallies[FORMULA].shops.append(by_rule(shop, tested, formula.value))
        history, done = History(), 0
        for many in learned:
            if many > done:
                by_adviser(shop, range(done, many), history, Tally(), keeps=True)
                done = many
            tally = tallies[name_of(many)]
            tally.shops.append(by_adviser(shop, tested, history, tally))
        if tell is not None:
            spent = time.perf_counter() - start
            print(f"shop {seed} of {shops}, {spent:.0f} s", file=tell, flush=True)
    return dict(tallies)


def name_of(many: int) -> str:
    """Return the name of the adviser after so many injectors."""
    return "adviser, cold" if many == 0 else f"adviser after {many} injectors"


def table(tallies: dict[str, Tally]) -> list[str]:
    """Return lines of a table."""
    lines = [
        "| way | in band after 1st change | after 2nd | reading within the 95 % interval |",
        "|---|---|---|---|",
    ]
    for name in (FIXED, FORMULA, *map(name_of, LEARNED)):
        tally = tallies[name]
        cells = [
            f"{100 * mean:.1f} ± {100 * error:.1f} %" for mean, error in map(tally.row, (0, 1))
        ]
        held = f"{100 * tally.held / tally.foretold:.1f} %" if tally.foretold else ""
        lines.append(f"| {name} | {cells[0]} | {cells[1]} | {held} |")
    return lines


def main() -> None:
    """Print the table."""
    shops = int(sys.argv[1]) if len(sys.argv) > 1 else 24
    injectors = int(sys.argv[2]) if len(sys.argv) > 2 else 60
    tallies = compare(shops, injectors, sys.stderr)
    print(f"{shops} shops, {injectors} injectors each; ± one standard error over the shops")
    print("\n".join(table(tallies)))


if __name__ == "__main__":
    main()
