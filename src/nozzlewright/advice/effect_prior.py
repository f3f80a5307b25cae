"""What is known of the effect of shim or screw before any change was seen."""

from __future__ import annotations

from dataclasses import dataclass

from nozzlewright.advice.setting_spring import SPRING_RATE, WIRE_DOUBT, rate_of
from nozzlewright.bench import SettingSheet
from nozzlewright.measurement import Cause, NotMeasured, Quantity, linear_combination
from nozzlewright.physics import pressure_per_shim
from nozzlewright.said import say

BAR = 1e5
BAR_PER_MM = 1e8
"""One bar for each millimetre, [Pa/m]."""
PRINTED_DOUBT = 0.08
"""How far the effect of a kind may lie from the figure that its sheet prints, besides the doubt
that the sheet states: standard uncertainty, relative, [1]; common practice, no source."""
GEOMETRY_DOUBT = 0.10
"""The same for an effect reckoned from spring rate and diameters: the holder gives in series with
the spring, and the seat seals on a diameter that wears, [1]; common practice, no source."""
USUAL_EFFECT = (70.0 * BAR_PER_MM, 190.0 * BAR_PER_MM)
"""Where nothing is known: 95 % of the kinds lie in here, [Pa/m]; common practice, no source."""
USUAL_TURN = (50.0 * BAR, 250.0 * BAR)
"""The same for one turn of a screw of unknown pitch, [Pa]; common practice, no source."""
SPREAD_SCALE = 0.06
"""Scale of the half-normal prior for how far injectors of a kind differ, relative, [1]: rates of
springs and widths of seats; common practice, no source."""
SHIFT_DOUBT_PA = 1.0 * BAR
"""Standard deviation of the prior for what opening and closing does by itself, [Pa]; common
practice, no source."""
SCATTER_SCALE_PA = 1.5 * BAR
"""Scale of the half-normal prior for the scatter from one assembly to the next, where the sheet
states none, [Pa]; common practice, no source."""


@dataclass(frozen=True)
class EffectPrior:
    """What is known before any change: from the sheet, the geometry or common practice."""

    effect: Quantity
    """Mean effect of the kind, [Pa/m] or, for one turn, [Pa]."""
    by_screw: bool
    scatter_scale_pa: float = SCATTER_SCALE_PA
    spread_scale: float = SPREAD_SCALE
    shift_doubt_pa: float = SHIFT_DOUBT_PA
    known: bool = True
    """False where neither sheet nor geometry says anything."""


def has_screw(sheet: SettingSheet) -> bool:
    """Return whether the injector is set by a screw."""
    adjustment = sheet.adjustment
    return adjustment.screw_pa_per_turn is not None or adjustment.screw_pitch_m is not None


def shim_effect(sheet: SettingSheet) -> Quantity | NotMeasured:
    """Return the rise of opening pressure for thickness added that the sheet gives, [Pa/m].

    As printed; else from spring rate and diameters, :math:`k/(A_g - A_s)`. Where the rate is not
    printed either, it follows from the spring's test load, or from wire, coils and diameter.
    """
    if sheet.adjustment.shim_effect_pa_per_m is not None:
        return sheet.adjustment.shim_effect_pa_per_m
    nozzle, rate = sheet.geometry, rate_of(sheet)
    guide, seat = nozzle.guide_diameter_m, nozzle.seat_diameter_m
    if isinstance(rate, NotMeasured) or guide is None or seat is None:
        return NotMeasured(
            say(
                "the sheet gives neither a shim effect nor spring rate with guide and seat diameter"
            ),
            say("change the shim by one step, read again, and write the effect into the sheet"),
        )
    effect = pressure_per_shim(rate.value, guide, seat)
    parts = {Cause(say("shim effect"), sheet.title): GEOMETRY_DOUBT * effect}
    if nozzle.spring_rate_n_per_m is not None:
        method = say("spring rate over the area between guide and seat")
    elif sheet.spring is not None and sheet.spring.load_n is not None:
        method = say("spring rate by its test load, over the area between guide and seat")
    else:
        parts[Cause(SPRING_RATE, sheet.title)] = WIRE_DOUBT * effect
        method = say("spring rate by wire and coils, over the area between guide and seat")
    return Quantity(effect, "Pa/m", parts, method=method)


def screw_effect(sheet: SettingSheet) -> Quantity | NotMeasured:
    """Return the rise of opening pressure for one turn inwards that the sheet gives, [Pa]."""
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


def prior_of(sheet: SettingSheet) -> EffectPrior:
    """Return what is known of a kind's setting before any change was seen.

    Where neither sheet nor geometry tells, what is usual stands in, with its wide interval.
    """
    adjustment = sheet.adjustment
    by_screw = has_screw(sheet)
    stated = screw_effect(sheet) if by_screw else shim_effect(sheet)
    scatter = adjustment.reassembly_pa or SCATTER_SCALE_PA
    if isinstance(stated, Quantity):
        printed = adjustment.screw_pa_per_turn if by_screw else adjustment.shim_effect_pa_per_m
        cause = Cause(say("effect of the kind"), sheet.title)
        if printed is not None:
            stated = stated.with_contribution(cause, PRINTED_DOUBT * stated.value)
        return EffectPrior(stated, by_screw, scatter)
    low, high = USUAL_EFFECT
    if by_screw and adjustment.screw_pitch_m is not None:
        low, high = low * adjustment.screw_pitch_m, high * adjustment.screw_pitch_m
    elif by_screw:
        low, high = USUAL_TURN
    usual = Quantity(
        0.5 * (low + high),
        "Pa" if by_screw else "Pa/m",
        {Cause(say("effect of the kind"), sheet.title): (high - low) / 4.0},
        method=say("common practice, no source"),
    )
    return EffectPrior(usual, by_screw, scatter, known=False)
