"""Shim or screw: what brings an opening pressure to its target, and what to expect of it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import chain, combinations_with_replacement, pairwise

from nozzlewright.bench import OpeningBand, SettingSheet
from nozzlewright.judging.wording import bar, plain, stated, with_unit
from nozzlewright.measurement import Cause, NotMeasured, Quantity, linear_combination
from nozzlewright.physics import pressure_per_shim
from nozzlewright.said import Figure, Said, Unit, figure, joined, say

BAR_PER_MM = 1e8
"""One bar for each millimetre, [Pa/m]."""
USUAL_EFFECT_PA_PER_M = (60.0 * BAR_PER_MM, 200.0 * BAR_PER_MM)
"""Range of shim effects met in use, [Pa/m]; common practice, no source."""
EFFECT_BY_SPRING_RELATIVE = 0.10
"""Standard uncertainty of an effect reckoned from spring rate and diameters: the holder gives in
series with the spring, and the seat seals on a diameter that wears, [1]; common practice, no
source."""
LARGEST_STACK = 3
"""Shims in a stack; more are not stiff; common practice, no source."""


@dataclass(frozen=True)
class SettingChange:
    """A change of the setting and the opening pressure to be expected after it."""

    do: str
    """The step in the imperative, with numbers and units."""
    why: str
    predicted: Quantity
    """[Pa]."""
    shim_change_m: float | None = None
    screw_turns: float | None = None
    warnings: tuple[str, ...] = ()
    out_of_reach: bool = False
    """True where no shim to be had brings it into the band."""


def shim_effect(sheet: SettingSheet) -> Quantity | NotMeasured:
    """Return the rise of opening pressure for thickness added, [Pa/m].

    From the sheet; else from spring rate and diameters, :math:`k/(A_g - A_s)`.
    """
    if sheet.adjustment.shim_effect_pa_per_m is not None:
        return sheet.adjustment.shim_effect_pa_per_m
    nozzle = sheet.geometry
    rate, guide, seat = (
        nozzle.spring_rate_n_per_m,
        nozzle.guide_diameter_m,
        nozzle.seat_diameter_m,
    )
    if rate is None or guide is None or seat is None:
        return NotMeasured(
            say(
                "the sheet gives neither a shim effect nor spring rate with guide and seat diameter"
            ),
            say("change the shim by one step, read again, and write the effect into the sheet"),
        )
    effect = pressure_per_shim(rate, guide, seat)
    return Quantity(
        effect,
        "Pa/m",
        {Cause(say("shim effect"), sheet.title): EFFECT_BY_SPRING_RELATIVE * effect},
        method=say("spring rate over the area between guide and seat"),
    )


def screw_effect(sheet: SettingSheet) -> Quantity | NotMeasured:
    """Return the rise of opening pressure for one turn inwards, [Pa]; a turn is a unit of 1."""
    adjustment = sheet.adjustment
    if adjustment.screw_pa_per_turn is not None:
        return adjustment.screw_pa_per_turn
    if adjustment.screw_pitch_m is None:
        return NotMeasured(say("the sheet gives no adjusting screw"))
    effect = shim_effect(sheet)
    if isinstance(effect, NotMeasured):
        return effect
    return linear_combination(
        [(adjustment.screw_pitch_m, effect)],
        unit="Pa",
        method=say("pitch times {effect}", effect=effect.method),
    )


def has_screw(sheet: SettingSheet) -> bool:
    """Return whether the injector is set by a screw."""
    adjustment = sheet.adjustment
    return adjustment.screw_pa_per_turn is not None or adjustment.screw_pitch_m is not None


def change_to(
    target_pa: float,
    opening: Quantity,
    band: OpeningBand,
    sheet: SettingSheet,
    *,
    shim_now_m: float | None = None,
    identity: str = "",
) -> SettingChange | NotMeasured:
    """Return the change of shim or screw that brings an opening pressure nearest to a target.

    Parameters
    ----------
    target_pa : float
        Opening pressure wanted, [Pa]
    opening : Quantity
        Opening pressure as it is, [Pa]
    band : OpeningBand
        Band in which it is to lie afterwards
    sheet : SettingSheet
        Effect, screw or shims that exist
    shim_now_m : float or None
        Shim now fitted, [m]
    identity : str
        Injector, so that two of them do not share the chance of a new assembly

    Returns
    -------
    SettingChange or NotMeasured
        With the pressure to be expected: uncertainty of reading, effect and, where it is stated,
        of a new assembly
    """
    if has_screw(sheet):
        return _turn(target_pa, opening, band, sheet, identity)
    effect = shim_effect(sheet)
    if isinstance(effect, NotMeasured):
        return effect
    wanted = (target_pa - opening.value) / effect.value
    warnings = list(_unusual(effect))
    shims: tuple[float, ...] = ()
    change = wanted
    if shim_now_m is not None and sheet.adjustment.shim_sizes_m:
        shims = nearest_shims(
            shim_now_m + wanted,
            sheet.adjustment.shim_sizes_m,
            stack=sheet.adjustment.shim_stack_allowed,
        )
        change = sum(shims) - shim_now_m
    elif sheet.adjustment.shim_sizes_m:
        step = _finest_step(sheet.adjustment.shim_sizes_m)
        change = round(wanted / step) * step
    predicted = _predicted(opening, effect, change, sheet, identity)
    out_of_reach = not band.lower_pa <= predicted.value <= band.upper_pa
    warnings += _beside_the_band(predicted, band)
    if shim_now_m is None:
        warnings.append(say("The shim now fitted was not written down: measure it first."))
    return SettingChange(
        do=_shim_words(shims, change, shim_now_m, predicted, target_pa),
        why=say("Shims do {effect}.", effect=_effect_words(effect)),
        predicted=predicted,
        shim_change_m=change,
        warnings=tuple(warnings),
        out_of_reach=out_of_reach and bool(shims),
    )


def nearest_shims(
    thickness_m: float, sizes_m: Iterable[float], *, stack: bool
) -> tuple[float, ...]:
    """Return the shim, or the few shims, that come nearest to a thickness, [m].

    Where two choices are equally near (to a micrometre), the one with fewer shims is taken.

    >>> nearest_shims(1.36e-3, [1.0e-3, 1.3e-3, 1.4e-3, 0.05e-3], stack=False)
    (0.0014,)
    >>> nearest_shims(1.36e-3, [1.0e-3, 1.3e-3, 1.4e-3, 0.05e-3], stack=True)
    (0.0013, 5e-05)
    """
    sizes = sorted(set(sizes_m), reverse=True)
    count = LARGEST_STACK if stack and len(sizes) <= 80 else 2 if stack else 1
    choices = chain.from_iterable(
        combinations_with_replacement(sizes, number) for number in range(1, count + 1)
    )
    return min(choices, key=lambda one: (round(abs(sum(one) - thickness_m) * 1e6), len(one)))


def _turn(
    target_pa: float, opening: Quantity, band: OpeningBand, sheet: SettingSheet, identity: str
) -> SettingChange | NotMeasured:
    effect = screw_effect(sheet)
    if isinstance(effect, NotMeasured):
        return effect
    turns = (target_pa - opening.value) / effect.value
    predicted = _predicted(opening, effect, turns, sheet, identity)
    warnings = []
    pitch = sheet.adjustment.screw_pitch_m
    if pitch is not None:
        warnings += _unusual(linear_combination([(1.0 / pitch, effect)], unit="Pa/m", method=""))
    warnings += _beside_the_band(predicted, band)
    do = say(
        "Slacken the lock nut, turn the adjusting screw {turns} turn ({degrees}°) {way}, tighten "
        "the lock nut and read again over three pops or more: expect {expected}, target {target}.",
        turns=figure(abs(turns), ".2f"),
        degrees=figure(abs(turns) * 360.0, ".0f"),
        way=say("in (clockwise)") if turns >= 0.0 else say("out (anticlockwise)"),
        expected=stated(predicted),
        target=bar(target_pa),
    )
    return SettingChange(
        do=do,
        why=say("One turn does {effect}.", effect=_with_method(stated(effect), effect)),
        predicted=predicted,
        screw_turns=turns,
        warnings=tuple(warnings),
    )


def _predicted(
    opening: Quantity, effect: Quantity, change: float, sheet: SettingSheet, identity: str
) -> Quantity:
    predicted = linear_combination(
        [(1.0, opening), (change, effect)],
        unit="Pa",
        method=say("opening pressure measured, plus the effect of the change"),
    )
    again = sheet.adjustment.reassembly_pa
    if again is not None:
        predicted = predicted.with_contribution(Cause(say("new assembly"), identity), again)
    return predicted


def _finest_step(sizes_m: tuple[float, ...]) -> float:
    ordered = sorted(set(sizes_m))
    steps = [b - a for a, b in pairwise(ordered)]
    return min(steps) if steps else ordered[0]


def _unusual(effect: Quantity) -> list[Said]:
    low, high = USUAL_EFFECT_PA_PER_M
    if low <= effect.value <= high:
        return []
    text = say(
        "An effect of {effect} lies outside the usual {low} to {high} (common practice): look for "
        "a wrong unit or a misprint first.",
        effect=_per_mm(effect.value),
        low=plain(low / BAR_PER_MM, "bar/mm"),
        high=_per_mm(high),
    )
    return [text]


def _beside_the_band(predicted: Quantity, band: OpeningBand) -> list[Said]:
    limits = say("{lower} to {upper}", lower=bar(band.lower_pa), upper=bar(band.upper_pa))
    if not band.lower_pa <= predicted.value <= band.upper_pa:
        text = say(
            "Even so it would open at {predicted}, outside {limits}: no size to be had brings it "
            "in; look at spring and spindle.",
            predicted=stated(predicted),
            limits=limits,
        )
        return [text]
    low, high = predicted.coverage_interval
    if low < band.lower_pa or high > band.upper_pa:
        text = say(
            "The prediction reaches outside the band of {limits}: read again, and correct once "
            "more if need be.",
            limits=limits,
        )
        return [text]
    return []


def _shim_words(
    shims: tuple[float, ...],
    change_m: float,
    now_m: float | None,
    predicted: Quantity,
    target_pa: float,
) -> Said:
    thickness = shim_thickness(abs(change_m))
    by = (
        say("{thickness} mm thicker", thickness=thickness)
        if change_m >= 0.0
        else say("{thickness} mm thinner", thickness=thickness)
    )
    expect = say(
        "expect {expected}, target {target}", expected=stated(predicted), target=bar(target_pa)
    )
    if shims and now_m is not None and abs(change_m) < 1e-6:
        return say(
            "Keep the shim of {thickness} mm: none to be had comes nearer; {expect}.",
            thickness=shim_thickness(now_m),
            expect=expect,
        )
    if len(shims) == 1 and now_m is not None:
        return say(
            "Fit shim of {shim} mm in place of {now} mm ({by}): {expect}.",
            shim=shim_thickness(shims[0]),
            now=shim_thickness(now_m),
            by=by,
            expect=expect,
        )
    if shims and now_m is not None:
        return say(
            "Fit shims of {shims} mm in place of {now} mm ({by}): {expect}.",
            shims=joined(" + ", [shim_thickness(one) for one in shims]),
            now=shim_thickness(now_m),
            by=by,
            expect=expect,
        )
    return say("Fit a shim {by} than the one now fitted: {expect}.", by=by, expect=expect)


def _effect_words(effect: Quantity) -> Said:
    low, high = effect.coverage_interval
    words = _per_mm(effect.value)
    if high > low:
        words = say(
            "{effect} ({low} to {high} {unit})",
            effect=words,
            low=figure(low / BAR_PER_MM, ".0f", "bar/mm"),
            high=figure(high / BAR_PER_MM, ".0f", "bar/mm"),
            unit=Unit("bar/mm"),
        )
    return _with_method(words, effect)


def _per_mm(effect_pa_per_m: float) -> Said:
    return with_unit(plain(effect_pa_per_m / BAR_PER_MM, "bar/mm"), "bar/mm")


def _with_method(words: Said, effect: Quantity) -> Said:
    return joined(", ", [words, effect.method]) if effect.method else words


def shim_thickness(length_m: float) -> Figure:
    """Return a thickness in mm with two decimals, as shims are marked; with three if it has them.

    >>> shim_thickness(1.3e-3), shim_thickness(1.345e-3)
    ('1.30', '1.345')
    """
    return Figure(f"{length_m * 1e3:.3f}".removesuffix("0"))
