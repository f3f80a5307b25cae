r"""The spring at the setting: whether it is as long as the sheet says, and has room to work.

At the opening pressure p the spring carries :math:`F = p (A_g - A_s)` and is pressed together by
:math:`F/k`, which by the effect b of a shim is :math:`p/b`, without any dimension. The needle's
lift h presses it further. What is left until all coils are shut,

.. math:: r = L_0 - F/k - h - L_c,

must be no less than the least sum of gaps that EN 13906-1 leaves between the coils of a spring
that works, :math:`1.5\,S_a` (:func:`nozzlewright.physics.least_coil_gap`).

A shim does not alter this room but by the pressure that it sets: where it is too small, it is not
the spring of this injector, or not the pressure.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from nozzlewright.bench import HolderSpring, MeasuredSpring, SettingSheet
from nozzlewright.judging.wording import about, stated
from nozzlewright.measurement import Cause, NotMeasured, Quantity, linear_combination
from nozzlewright.physics import (
    STEEL_SHEAR_MODULUS_PA,
    least_coil_gap,
    lifting_area,
    solid_length,
    spring_length,
    spring_rate,
)
from nozzlewright.said import Said, figure, say

SPRING_LENGTH = say("length of the spring")
SPRING_RATE = say("spring rate")
"""What a spring adds to the doubt of a pressure, by name."""
RATE_SPREAD = 0.05 / math.sqrt(3.0)
"""How far the rates of springs of one kind differ: 5 % either way, anywhere in between; standard
uncertainty, relative, [1]; common practice, no source."""
WIRE_DOUBT = 0.06
"""Doubt of a rate that was reckoned from wire, coils and diameter: its fourth power and third power
of tolerances, and the shear modulus; standard uncertainty, relative, [1]; common practice, no
source."""
FORCE_DOUBT = 0.05
"""Doubt of the force at the opening pressure, reckoned from guide and seat diameter: the seat
seals on a diameter that wears; standard uncertainty, relative, [1]; common practice, no source."""
WORKING = 1.5
"""What EN 13906-1 asks of a spring that works, as a multiple of its static least gap, [1]."""
DEAD_COILS = 2.0
"""Dead coils of a cold coiled spring where the sheet does not count them all (EN 13906-1), [1]."""
SURE = 0.975
"""Chance from which on a spring is said to be short, [1]."""


def rate_of(sheet: SettingSheet) -> Quantity | NotMeasured:
    """Return the rate of the holder's spring, [N/m].

    As stated; else by the test load over the way that it presses; else from wire, coils and
    diameter.
    """
    stated_rate, spring = sheet.geometry.spring_rate_n_per_m, sheet.spring or HolderSpring()
    cause = Cause(SPRING_RATE, sheet.title)
    if stated_rate is not None:
        return Quantity(stated_rate, "N/m", {cause: RATE_SPREAD * stated_rate}, say("as printed"))
    free, load, loaded = spring.free_length_m, spring.load_n, spring.loaded_length_m
    if free is not None and load is not None and loaded is not None and free > loaded:
        rate = load / (free - loaded)
        # The tolerance of the free length is a tolerance of the springs, not of this figure.
        return Quantity(rate, "N/m", {cause: RATE_SPREAD * rate}, say("test load over way"))
    wire, coil, active = spring.wire_diameter_m, spring.coil_diameter_m, spring.active_coils
    if wire is None or coil is None or active is None:
        return NotMeasured(
            say("the sheet does not give the rate of the spring, nor what it follows from"),
            say("write the rate, or wire, diameter and active coils, into the sheet"),
        )
    rate = float(spring_rate(STEEL_SHEAR_MODULUS_PA, wire, coil, active))
    return Quantity(rate, "N/m", {cause: WIRE_DOUBT * rate}, say("wire, coils and diameter"))


def solid_length_of(spring: HolderSpring) -> float | None:
    """Return the length with all coils shut, [m]: as printed, else coils times wire.

    Where only the active coils are counted, two dead ones are added.

    >>> round(solid_length_of(HolderSpring(wire_diameter_m=5e-3, active_coils=9.5)), 4)
    0.0575
    """
    if spring.solid_length_m is not None:
        return spring.solid_length_m
    wire, total = spring.wire_diameter_m, spring.total_coils
    if total is None and spring.active_coils is not None:
        total = spring.active_coils + DEAD_COILS
    return None if wire is None or total is None else float(solid_length(wire, total))


def least_room_of(spring: HolderSpring) -> float:
    """Return the room that must be left between the coils of a spring that works, [m].

    Nought where wire, diameter and coils are not known: then only a solid spring can be told.

    >>> spring = HolderSpring(wire_diameter_m=5e-3, coil_diameter_m=34.6e-3, active_coils=9.5)
    >>> round(least_room_of(spring) * 1e3, 1)
    12.2
    """
    wire, coil, active = spring.wire_diameter_m, spring.coil_diameter_m, spring.active_coils
    if wire is None or coil is None or active is None:
        return 0.0
    return WORKING * float(least_coil_gap(wire, coil, active))


@dataclass(frozen=True)
class SpringRoom:
    """What is left to a spring until it is solid."""

    room: Quantity
    """At full lift; where the lift is not known, with the needle shut, [m]."""
    least_m: float
    """What must be left, [m]."""
    with_lift: bool

    @property
    def solid(self) -> bool:
        """Whether the coils would be shut before that."""
        return self.room.value <= 0.0

    @property
    def enough(self) -> bool:
        """Whether there is as much as must be left."""
        return self.room.value >= max(self.least_m, 0.0) and not self.solid


def pressed_together(
    opening: Quantity, effect_pa_per_m: Quantity | None, sheet: SettingSheet
) -> Quantity | NotMeasured:
    """Return how far the spring is pressed together as the needle begins to lift, [m].

    By force over rate where the sheet gives both; else by the effect of a shim, which takes in
    what the holder gives as well.
    """
    rate, nozzle = rate_of(sheet), sheet.geometry
    guide, seat = nozzle.guide_diameter_m, nozzle.seat_diameter_m
    own = Cause(say("effect of the spring"), sheet.title)
    if isinstance(rate, Quantity) and guide is not None and seat is not None:
        per_pressure = float(lifting_area(guide, seat)) / rate.value
        share = math.hypot(FORCE_DOUBT, rate.standard_uncertainty / rate.value)
    elif effect_pa_per_m is not None and effect_pa_per_m.value > 0.0:
        per_pressure = 1.0 / effect_pa_per_m.value
        share = effect_pa_per_m.standard_uncertainty / effect_pa_per_m.value
    else:
        return NotMeasured(
            say("neither the spring's rate nor the effect of a shim is known"),
            say("change the shim by one step, read again, and it is learned"),
        )
    pressed = linear_combination(
        [(per_pressure, opening)], unit="m", method=say("force at the opening pressure over rate")
    )
    return pressed.with_contribution(own, share * pressed.value)


def free_length_of(sheet: SettingSheet, measured: MeasuredSpring | None) -> Quantity | None:
    """Return the free length of a spring, [m]: as measured, else as the sheet has it."""
    if measured is not None and measured.load_n == 0.0:
        return measured.length
    if measured is not None and isinstance(rate := rate_of(sheet), Quantity):
        given_way = measured.load_n / rate.value
        share = given_way * rate.standard_uncertainty / rate.value
        cause = Cause(SPRING_RATE, sheet.title)
        longer = linear_combination(
            [(1.0, measured.length), (1.0, Quantity(given_way, "m"))],
            unit="m",
            method=say("length under load, plus load over rate"),
        )
        return longer.with_contribution(cause, share)
    spring = sheet.spring
    if spring is None or spring.free_length_m is None:
        return None
    part = spring.free_length_half_m / math.sqrt(3.0)
    cause = Cause(say("free length of the spring"), sheet.title, rectangular=True)
    return Quantity(spring.free_length_m, "m", {cause: part}, say("from the sheet"))


def room_left(
    sheet: SettingSheet,
    opening: Quantity,
    effect_pa_per_m: Quantity | None = None,
    measured: MeasuredSpring | None = None,
) -> SpringRoom | None:
    """Return the room that a spring has at an opening pressure; None where it cannot be told.

    Parameters
    ----------
    sheet : SettingSheet
        The spring's particulars; those of a two-spring holder belong to neither of its springs
    opening : Quantity
        Opening pressure, [Pa]
    effect_pa_per_m : Quantity, optional
        Rise of opening pressure for thickness added, [Pa/m]
    measured : MeasuredSpring, optional
        The spring as it was measured
    """
    spring, free = sheet.spring, free_length_of(sheet, measured)
    if spring is None or free is None or sheet.geometry.two_spring:
        return None
    solid = solid_length_of(spring)
    pressed = pressed_together(opening, effect_pa_per_m, sheet)
    if solid is None or isinstance(pressed, NotMeasured):
        return None
    lift = spring.needle_lift_m
    room = linear_combination(
        [(1.0, free), (-1.0, pressed), (-1.0, Quantity(solid + (lift or 0.0), "m"))],
        unit="m",
        method=say("free length less what it is pressed together, lift and solid length"),
    )
    return SpringRoom(room, least_room_of(spring), with_lift=lift is not None)


def room_warning(room: SpringRoom | None) -> Iterator[Said]:
    """Yield what there is to beware of: a spring that is solid, or nearly so."""
    if room is None or room.enough:
        return
    when = say("At full lift") if room.with_lift else say("As the needle begins to lift")
    if room.solid:
        yield say(
            "{when} the spring would be solid, {short} mm too soon: its coils are shut before the "
            "needle is open. Make sure that it is the spring of this injector, and that nothing "
            "lies under it that does not belong there.",
            when=when,
            short=figure(-room.room.value * 1e3, ".2f"),
        )
        return
    yield say(
        "Coil bound is near. {when} {room} are left until the spring is solid; a spring that works "
        "needs {least} mm (EN 13906-1, 1.5 times the least gap). Make sure that it is the right "
        "spring.",
        when=when,
        room=stated(room.room),
        least=figure(room.least_m * 1e3, ".2f"),
    )


@dataclass(frozen=True)
class Shortfall:
    """How much shorter a spring is than the least that the sheet allows."""

    short: Quantity
    """Positive where it is shorter, [m]."""
    least_m: float
    """[m]."""
    stated_least: bool
    """Whether the sheet says from which length on it is renewed."""

    @property
    def chance(self) -> float:
        """Return the probability that it truly is shorter, [1]."""
        u = self.short.standard_uncertainty
        if u == 0.0:
            return float(self.short.value > 0.0)
        return 0.5 * (1.0 + math.erf(self.short.value / u / math.sqrt(2.0)))


def shortfall_of(sheet: SettingSheet, measured: MeasuredSpring) -> Shortfall | None:
    """Return how much shorter than the sheet a measured spring is; None where it has no figure.

    Under a load the length of the sheet's own test load is taken, or that of its rate. What is
    allowed is the sheet's least length, else its tolerance.
    """
    spring = sheet.spring
    if spring is None or sheet.geometry.two_spring:
        return None
    rate, least_free = rate_of(sheet), spring.least_free_length_m
    least, doubt = None, 0.0
    if measured.load_n == 0.0:
        if least_free is not None:
            least = least_free
        elif spring.free_length_m is not None:
            least = spring.free_length_m - spring.free_length_half_m
    elif (
        spring.loaded_length_m is not None
        and spring.load_n is not None
        and abs(measured.load_n - spring.load_n) <= 0.01 * spring.load_n
    ):
        least = spring.loaded_length_m - spring.free_length_half_m
        if isinstance(rate, Quantity):
            least += (spring.load_n - measured.load_n) / rate.value
    elif spring.free_length_m is not None and isinstance(rate, Quantity):
        free = spring.free_length_m - spring.free_length_half_m
        least = float(spring_length(rate.value, free, measured.load_n))
        doubt = measured.load_n / rate.value * rate.standard_uncertainty / rate.value
    if least is None:
        return None
    short = linear_combination(
        [(1.0, Quantity(least, "m")), (-1.0, measured.length)], unit="m", method=say("difference")
    )
    if doubt:
        short = short.with_contribution(Cause(SPRING_RATE, sheet.title), doubt)
    return Shortfall(short, least, least_free is not None and measured.load_n == 0.0)


def set_warning(
    sheet: SettingSheet, measured: MeasuredSpring | None, effect_pa_per_m: Quantity | None
) -> Iterator[Said]:
    """Yield that a spring has set: it is shorter, so weaker at the same shim, than the sheet's."""
    found = None if measured is None else shortfall_of(sheet, measured)
    if measured is None or found is None or found.chance < 0.5:
        return
    how = (
        say("{length} free", length=stated(measured.length))
        if measured.load_n == 0.0
        else say(
            "{length} under {load} N",
            length=stated(measured.length),
            load=figure(measured.load_n, ".4g"),
        )
    )
    measures = say(
        "The spring measures {how}, {short} mm less than the least of the sheet ({least} mm).",
        how=how,
        short=figure(found.short.value * 1e3, ".2f"),
        least=figure(found.least_m * 1e3, ".2f"),
    )
    lost = _lost(sheet, found.short.value, effect_pa_per_m)
    if found.chance < SURE:
        yield say(
            "{measures} That lies within the doubt of the reading: measure it once more. {lost}",
            measures=measures,
            lost=lost,
        )
        return
    yield say(
        "{measures} It has set: renew it rather than lay a thicker shim under it. {lost}",
        measures=measures,
        lost=lost,
    )


def _lost(sheet: SettingSheet, short_m: float, effect_pa_per_m: Quantity | None) -> Said:
    """Return what so much length costs at the same shim; in force too, where the rate is known."""
    rate = rate_of(sheet)
    if effect_pa_per_m is None:
        return say("At the same shim the injector opens lower.")
    pressure = about(short_m * effect_pa_per_m.value)
    if isinstance(rate, NotMeasured):
        return say("At the same shim it costs about {pressure}.", pressure=pressure)
    return say(
        "At the same shim it costs about {pressure} ({force} N).",
        pressure=pressure,
        force=figure(short_m * rate.value, ".3g"),
    )


def after_other_spring(
    opening: Quantity,
    effect_pa_per_m: Quantity,
    was: MeasuredSpring,
    now: MeasuredSpring,
    rate_n_per_m: float | None = None,
) -> Quantity | NotMeasured:
    r"""Return the opening pressure to be expected with another spring over the same shim, [Pa].

    A spring longer by x does what a shim thicker by x does, as far as the rates are alike; that
    two springs of a kind differ in rate by :math:`\sqrt 2\,\epsilon` moves the pressure above that
    of the load under which they were measured by as much.

    Parameters
    ----------
    opening : Quantity
        Opening pressure with the spring that was in it, [Pa]
    effect_pa_per_m : Quantity
        Rise for thickness added, [Pa/m]
    was, now : MeasuredSpring
        Both measured under the same load
    rate_n_per_m : float, optional
        Rate of the springs, [N/m]; without it all of the pressure is in doubt
    """
    if was.load_n != now.load_n:
        return NotMeasured(
            say("the two springs were measured under different loads"),
            say("measure both in the same way"),
        )
    longer = now.length.value - was.length.value
    found = linear_combination(
        [(1.0, opening), (longer, effect_pa_per_m)],
        unit="Pa",
        method=say("opening pressure measured, plus the effect of the other spring"),
    )
    u_length = math.hypot(now.length.standard_uncertainty, was.length.standard_uncertainty)
    rates = math.sqrt(2.0) * rates_doubt(
        opening.value, effect_pa_per_m.value, now.load_n, rate_n_per_m
    )
    return found.with_contribution(
        Cause(SPRING_LENGTH), u_length * effect_pa_per_m.value
    ).with_contribution(Cause(SPRING_RATE, say("from one spring to another")), rates)


def rates_doubt(
    opening_pa: float, effect_pa_per_m: float, load_n: float, rate_n_per_m: float | None
) -> float:
    r"""Return the standard uncertainty by the rate of one spring, its length being known, [Pa].

    At the load F of the measurement its length is right whatever its rate, so only what the
    opening asks beyond it counts: :math:`\epsilon\,|p - F b/k|`, since :math:`b/k = 1/A`.

    >>> round(rates_doubt(200e5, 100e8, 0.0, None) / 1e5, 2)  # free length: 200 bar x 2.9 %
    5.77
    >>> round(rates_doubt(200e5, 100e8, 460.0, 230e3) / 1e5, 2)  # close to the opening
    0.0
    """
    held = 0.0 if rate_n_per_m is None else load_n * effect_pa_per_m / rate_n_per_m
    return RATE_SPREAD * abs(opening_pa - held)
