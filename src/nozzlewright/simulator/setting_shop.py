"""A pretend workshop that sets opening pressures: what a change does, with known truth.

Here the springs, shims and lock nuts misbehave as they do in earnest: each kind has an effect of
its own, each injector a little another one, no assembly sits like the last, shims are not quite as
thick as marked, a new spring settles, and now and then somebody writes down the wrong shim. All
figures are invented; the size of the scatter is common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from nozzlewright.bench import (
    Adjustment,
    AsPrinted,
    DecisionRule,
    NozzleGeometry,
    OpeningBand,
    SettingSheet,
)
from nozzlewright.measurement import Cause, Quantity
from nozzlewright.physics import lifting_area

BAR = 1e5
BAR_PER_MM = 1e8
_PRINTED = AsPrinted("invented")


@dataclass(frozen=True)
class ShopScatter:
    """How far things scatter in a shop."""

    kinds: float = 0.30
    """Of the effects of kinds, logarithmic, [1]."""
    holder: tuple[float, float] = (0.90, 0.06)
    """Effect of a kind as a share of what its geometry says: mean and standard deviation, [1]."""
    injectors: float = 0.05
    """Of the effects of the injectors of a kind, relative, [1]."""
    assembly_pa: float = 0.6 * BAR
    """From one assembly to the next, each by itself, [Pa]."""
    reading_pa: float = 0.3 * BAR
    """Of the mean of a few pops, [Pa]."""
    level_pa: float = 1.0 * BAR
    """The gauge's own error, the same for all readings of a shop, [Pa]."""
    shim_m: float = 3e-6
    """Of a shim about the thickness that is marked on it, [m]."""
    turn: float = 0.02
    """Of a turn that is counted, [1]."""
    lock_nut_pa: tuple[float, float] = (-2.0 * BAR, 0.7 * BAR)
    """What tightening the lock nut does: mean and standard deviation, [Pa]."""
    settling_pa: tuple[float, float] = (2.0 * BAR, 0.6 * BAR)
    """How far a new spring settles: mean and standard deviation, [Pa]."""
    new_springs: float = 0.15
    """Share of injectors with a new spring, [1]."""
    wrong_notes: float = 0.02
    """Share of changes at which the shim before was written down wrongly, [1]."""
    found_pa: tuple[float, float] = (-12.0 * BAR, 8.0 * BAR)
    """As found, against the target: mean and standard deviation, [Pa]."""


@dataclass(frozen=True)
class PretendKind:
    """One kind of injector with its truth."""

    effect_pa_per_m: float
    """True mean effect; for a screw times its pitch, [Pa/m]."""
    sheet: SettingSheet
    """What the shop knows of it."""
    target_pa: float


class PretendSetting:
    """One injector on the bench: it can be read and changed, and what it truly is can be asked."""

    def __init__(
        self, name: str, kind: PretendKind, scatter: ShopScatter, level_pa: float, seed: list[int]
    ) -> None:
        self.name, self.kind, self._scatter, self._level = name, kind, scatter, level_pa
        self._chance = np.random.default_rng(seed)
        self.effect_pa_per_m = kind.effect_pa_per_m * (1.0 + scatter.injectors * self._normal())
        self.new_spring = bool(self._chance.random() < scatter.new_springs)
        mean, deviation = scatter.settling_pa
        self._settles = max(0.0, mean + deviation * self._normal()) if self.new_spring else 0.0
        self._settled = not self.new_spring
        self._sits = scatter.assembly_pa * self._normal()
        self._slack_nut = scatter.lock_nut_pa[0]
        mean, deviation = scatter.found_pa
        self._opening = kind.target_pa + mean + deviation * self._normal() - self._sits
        self.noted_m = round(float(self._chance.integers(24, 33)) * 0.05e-3, 9)
        """Shim that is written down, [m]."""
        self._shim = self.noted_m + scatter.shim_m * self._normal()
        if self._chance.random() < scatter.wrong_notes:
            self.noted_m = round(self.noted_m + float(self._chance.choice([-1, 1])) * 1e-4, 9)
        self._readings = 0

    def _normal(self) -> float:
        return float(self._chance.standard_normal())

    @property
    def true_pa(self) -> float:
        """Opening pressure when all has settled, as this gauge would show it, [Pa]."""
        return self._opening + self._sits + self._level

    def read(self) -> Quantity:
        """Return the opening pressure read: gauge level common to the shop, its own repeatability.

        A new spring that has not settled shows more than it will in the end.
        """
        self._readings += 1
        shown = self.true_pa + (0.0 if self._settled else self._settles)
        shown += self._scatter.reading_pa * self._normal()
        own = Cause("repeatability", f"{self.name} {self._readings}")
        parts = {Cause("gauge level", "the shop"): self._scatter.level_pa}
        return Quantity(shown, "Pa", {**parts, own: self._scatter.reading_pa})

    def settle(self) -> None:
        """Let a new spring settle."""
        self._settled = True

    def fit_shim(self, thickness_m: float) -> float:
        """Fit another shim; return the change that is written down, [m]."""
        shim = thickness_m + self._scatter.shim_m * self._normal()
        self._opening += self.effect_pa_per_m * (shim - self._shim)
        self._sits = self._scatter.assembly_pa * self._normal()
        written = thickness_m - self.noted_m
        self._shim, self.noted_m = shim, thickness_m
        return round(written, 9)

    def turn(self, turns: float) -> Quantity:
        """Turn the screw and tighten the lock nut; return what it read while that was slack."""
        pitch = self.kind.sheet.adjustment.screw_pitch_m or 1e-3
        real = turns + self._scatter.turn * self._normal()
        self._opening += self.effect_pa_per_m * pitch * real
        mean, deviation = self._scatter.lock_nut_pa
        self._sits = deviation * self._normal()
        slack = self.true_pa - self._sits - mean + self._scatter.reading_pa * self._normal()
        own = Cause("repeatability", f"{self.name} slack {self._readings}")
        parts = {Cause("gauge level", "the shop"): self._scatter.level_pa}
        return Quantity(slack, "Pa", {**parts, own: self._scatter.reading_pa})


@dataclass(frozen=True)
class SettingShop:
    """A shop that sets one kind of injector."""

    seed: int
    kind: PretendKind
    scatter: ShopScatter
    level_pa: float
    step_m: float
    """Step of the shims in its drawer, [m]."""

    def injector(self, number: int) -> PretendSetting:
        """Return one injector as it comes in."""
        name = f"shop {self.seed} injector {number}"
        seed = [self.seed, 1, number]
        return PretendSetting(name, self.kind, self.scatter, self.level_pa, seed)


def draw_setting_shop(
    seed: int,
    scatter: ShopScatter | None = None,
    *,
    by_screw: bool = False,
    half_band_pa: float = 4.0 * BAR,
    printed: bool = False,
) -> SettingShop:
    """Draw a shop with one kind of injector.

    Parameters
    ----------
    seed : int
        Start of chance
    scatter : ShopScatter, optional
        How far things scatter
    by_screw : bool
        Set by a screw instead of shims
    half_band_pa : float
        Half the width of the band, [Pa]
    printed : bool
        Whether the sheet prints an effect (rounded to 10 bar/mm); else spring rate and diameters
    """
    scatter = scatter or ShopScatter()
    chance = np.random.default_rng([seed, 0])
    effect = 115.0 * BAR_PER_MM * math.exp(scatter.kinds * float(chance.standard_normal()))
    effect = min(max(effect, 65.0 * BAR_PER_MM), 195.0 * BAR_PER_MM)
    guide = float(chance.choice([5.0, 6.0, 7.0])) * 1e-3
    seat = guide * float(chance.uniform(0.4, 0.5))
    mean, deviation = scatter.holder
    by_geometry = effect / max(0.5, mean + deviation * float(chance.standard_normal()))
    rate = by_geometry * lifting_area(guide, seat)
    step = float(chance.choice([0.02e-3, 0.025e-3, 0.05e-3]))
    target = float(chance.integers(15, 26)) * 10.0 * BAR
    band = OpeningBand(target - half_band_pa, target + half_band_pa, target, _PRINTED)
    sizes = tuple(round(0.5e-3 + n * step, 9) for n in range(round(2.0e-3 / step) + 1))
    stated = Quantity(
        round(effect / (10.0 * BAR_PER_MM)) * 10.0 * BAR_PER_MM, "Pa/m", {}, "from the sheet"
    )
    sheet = SettingSheet(
        title=f"invented kind {seed}",
        injector=f"invented kind {seed}",
        source="invented",
        invented=True,
        opening_new=band,
        opening_used=band,
        seat=None,
        back_leakage=None,
        chatter=None,
        spray=None,
        spread_pa=None,
        adjustment=Adjustment(
            shim_effect_pa_per_m=stated if printed else None,
            shim_sizes_m=() if by_screw else sizes,
            screw_pitch_m=1e-3 if by_screw else None,
        ),
        geometry=NozzleGeometry(
            guide_diameter_m=guide, seat_diameter_m=seat, spring_rate_n_per_m=rate
        ),
        torques=(),
        washer="",
        rule=DecisionRule.SIMPLE,
    )
    level = scatter.level_pa * float(chance.standard_normal())
    return SettingShop(seed, PretendKind(effect, sheet, target), scatter, level, step)
