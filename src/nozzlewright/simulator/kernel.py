r"""The equations of the pretend bench and the stepping through them.

Two lumps of oil (gauge end ``g`` and nozzle end ``n``) joined by a line with inertance, or one
lump where the inertance is zero; a needle; the compression heat of the oil; trapped air.

.. math::

    C_n \dot p_n &= q - Q_\text{nozzle} - Q_\text{injector leak} - A_g \dot x
                    - V_n \beta \theta / \tau_\theta \\
    C_g \dot p_g &= Q_\text{pump} - Q_\text{rig leak} - Q_\text{valve} - q
                    - V_g \beta \theta / \tau_\theta \\
    I \dot q     &= p_g - p_n - R q \\
    m \ddot x    &= p_n A(x, p_n) - F(x) - F_\mu(\dot x) - c \dot x
                    + F_\text{contact} \\
    \dot \theta  &= \frac{T \beta}{\rho c_p} \dot p - \theta / \tau_\theta
                    + (Q_\text{pump} / V) \left( \frac{T \beta}{\rho c_p} p - \theta \right)

with :math:`C = V (1 / B_T(p) - T \beta^2 / (\rho c_p) + \varphi p_0 / p_\text{abs}^2) + W`: the
isothermal stiffness less what the compression heat takes, free air as a perfect gas at constant
temperature, and the walls.

While the needle rests on its seat it is not integrated: it lifts when the force of the pressure
exceeds spring and friction, at an instant that is searched for to :data:`EVENT_TOLERANCE_S`.
Lifted, everything is integrated by the classical Runge-Kutta method at a fixed fine step.

The functions here are plain Python on floats and arrays; :func:`compiled` gives the same ones
compiled. Nothing in them is specific to the compiler.
"""

from __future__ import annotations

import functools
import math
import types
from typing import Any

# Slots of the parameter array (SI units throughout).
VOLUME_N = 0  # oil at the nozzle end, [m^3]; all of it where there is no line
VOLUME_G = 1  # oil at the gauge end, [m^3]
VOLUME_CHAMBER = 2  # oil in the plunger chamber, [m^3]
WALL_N = 3  # wall compliance at the nozzle end, [m^3/Pa]
WALL_G = 4  # wall compliance at the gauge end, [m^3/Pa]
STIFFNESS_0 = 5  # isothermal bulk modulus at zero pressure, [Pa]
STIFFNESS_SLOPE = 6  # its rise with pressure, [1]
HEAT_SOFTENING = 7  # T beta^2/(rho cp), [1/Pa]
HEAT_RISE = 8  # T beta/(rho cp), [K/Pa]
EXPANSION = 9  # beta, [1/K]
COOLING_RATE = 10  # 1/thermal time constant, [1/s]
DENSITY = 11
INERTANCE = 12  # of the line, [kg/m^4]; zero joins the two lumps
LINE_RESISTANCE = 13  # [Pa s/m^3]
AREA_GUIDE = 14
AREA_SEAT = 15
MASS = 16
SPRING_RATE = 17
LIFT_STOP = 18
PRELIFT = 19  # lift at which the second spring meets, [m]
SECOND_PRELOAD = 20
SECOND_RATE = 21
FRICTION_SPEED = 22  # speed at which friction is fully developed, [m/s]
NEEDLE_DAMPING = 23
CONTACT_STIFFNESS = 24
CONTACT_DAMPING = 25  # [s/m]
CURTAIN_1 = 26  # seat curtain, effective area = C1 x + C2 x^2, [m]
CURTAIN_2 = 27  # [1]
HOLES = 28  # effective area of the holes, [m^2]
WEEP_AREA = 29  # effective area that a worn seat passes just before lift-off, [m^2]
WEEP_MARGIN = 30  # pressure below the opening at which it starts to pass, [Pa]
LEAK_INJECTOR = 31  # six coefficients: Q/p as polynomial in p
LEAK_RIG = 37  # six coefficients
LEAK_CHECK = 43  # six coefficients: past the check valve to the tank
AIR_RESIDUAL = 49  # free air that flushing cannot remove, as volume share at zero gauge pressure
AIR_FLUSHING = 50  # how much better flow carries air out than perfect mixing, [1]
SENSOR_LAG = 51
STEP_LIFTED = 52
STEP_SEATED = 53
STEP_RINGING = 54
SNAP_AREA = 55  # area of the seat's contact face that pressure enters at lift-off, [m^2]
SNAP_LIFT = 56  # lift at which it has entered half of it, [m]
N_PARAMETERS = 57

# Slots of the segment array: one push of the lever, or one rest.
SEG_START = 0
SEG_END = 1
SEG_VOLUME = 2  # swept by the plunger in the whole push, [m^3]; zero: a rest
SEG_RAMP = 3  # share of the push in which the hand speeds up, and again slows down, [1]
SEG_TREMOR = 4  # unsteadiness of the hand, relative amplitude, [1]
SEG_TREMOR_RATE = 5  # [rad/s]
SEG_TREMOR_PHASE = 6
SEG_SHUT = 7  # 1: pump valve shut off
SEG_VALVE = 8  # effective area of the open release or slackened union, [m^2]
SEG_VALVE_RAMP = 9  # time in which it is opened, [s]
SEG_STOP = 10  # pressure at the gauge at which the hand stops, [Pa]; infinite: never
SEG_PIECE = 11  # 1: a piece of a longer push, its flow even, that goes on where the last one ended
N_SEGMENT = 12

# Slots of the state array.
TIME = 0
P_N = 1
P_G = 2
FLOW = 3
LIFT = 4
SPEED = 5
HEAT = 6  # temperature above the bench's, [K]
AIR = 7
VOID = 8  # part of the line that is still empty, [m^3]
SWEPT = 9  # swept in this push, [m^3]
IN = 10  # delivered in all, [m^3]
OUT = 11  # through the nozzle in all, [m^3]
LEAKED = 12  # through guide, seat, rig, valves in all, [m^3]
LAGGED = 13  # what the sensor's first-order element shows, [Pa]
LIFTED = 14  # 1: needle off its seat
DELIVERING = 15  # 1: check valve open
NEXT_SAMPLE = 16
OPENINGS = 17
TOUCHED = 18  # 1: the lifted needle has come back to its seat at least once
N_STATE = 19

# Columns of the table of openings.
EV_TIME = 0
EV_LIFT_OFF = 1  # pressure under the needle at lift-off, [Pa]
EV_GAUGE = 2  # pressure at the gauge at that time, [Pa]
EV_PEAK = 3  # highest pressure at the gauge since lift-off, [Pa]
EV_CLOSE_TIME = 4  # needle first back on its seat, [s]
EV_CLOSING = 5  # pressure at the gauge at that time, [Pa]
EV_MINIMUM = 6  # lowest pressure at the gauge until 5 ms after the needle came to rest, [Pa]
EV_LIFT = 7  # greatest lift, [m]
EV_REST_TIME = 8  # needle at rest on its seat, [s]
N_EVENT = 9

# What ended a segment.
RAN_OUT = 0
HAND_STOPPED = 1

ATMOSPHERE_PA = 101325.0
ROUND_OFF_PA = 1.0e3
"""Below this the square-root law of an orifice is rounded off to a straight line, [Pa]."""
EVENT_TOLERANCE_S = 1.0e-10
RINGING_PA = 2.0e3
"""Pressure that drives the flow in the line, above which the line counts as ringing, [Pa]."""
REST_SPEED = 0.05
"""A needle that would leave its seat slower than this is taken as at rest, [m/s]: at 100 N and
15 g it would rebound by 0.2 um."""
SECOND_SPRING_TAKE_UP_M = 2.0e-6
"""Lift over which the second spring takes up its preload, [m]."""
MINIMUM_WATCH_S = 5.0e-3


def lever_flow(seg: Any, t: float) -> float:
    """Flow that the moving plunger displaces at a time, [m^3/s].

    A push with cosine ramps at both ends, and the hand's tremor on it; an even flow in a piece of
    a push.
    """
    length = seg[SEG_END] - seg[SEG_START]
    if seg[SEG_PIECE] > 0.0:
        return seg[SEG_VOLUME] / length  # type: ignore[no-any-return]
    if seg[SEG_VOLUME] <= 0.0 or t <= seg[SEG_START] or t >= seg[SEG_END]:
        return 0.0
    u = (t - seg[SEG_START]) / length
    ramp = seg[SEG_RAMP]
    shape = 1.0
    if u < ramp:
        shape = 0.5 - 0.5 * math.cos(math.pi * u / ramp)
    elif u > 1.0 - ramp:
        shape = 0.5 - 0.5 * math.cos(math.pi * (1.0 - u) / ramp)
    angle = seg[SEG_TREMOR_RATE] * (t - seg[SEG_START]) + seg[SEG_TREMOR_PHASE]
    flow: float = seg[SEG_VOLUME] / (length * (1.0 - ramp)) * shape
    flow *= 1.0 + seg[SEG_TREMOR] * math.sin(angle)
    return flow


def jet_speed(p: float, density: float) -> float:
    """Speed of a jet under a pressure, rounded off to a straight line near zero, [m/s]."""
    return math.sqrt(2.0 / density) * p / math.sqrt(math.sqrt(p * p + ROUND_OFF_PA * ROUND_OFF_PA))


def passage(par: Any, p: float, x: float, preload: float) -> tuple[float, float]:
    """Effective area of seat and holes in series [m^2], and sac pressure over line pressure."""
    lift = max(x, 0.0)
    seat = lift * (par[CURTAIN_1] + par[CURTAIN_2] * lift)
    if par[WEEP_AREA] > 0.0:
        begin = preload / (par[AREA_GUIDE] - par[AREA_SEAT]) - par[WEEP_MARGIN]
        seat += par[WEEP_AREA] * min(max((p - begin) / par[WEEP_MARGIN], 0.0), 1.0)
    if seat <= 0.0:
        return 0.0, 0.0
    share = seat * seat / (seat * seat + par[HOLES] * par[HOLES])
    return par[HOLES] * math.sqrt(share), share


def lifted_area(par: Any, x: float, sac: float) -> float:
    """Area on which the line's pressure lifts the needle, [m^2].

    Guide less seat on the seat; once off it, pressure enters the seat's contact face within a
    few micrometres, and the sac fills as the seat opens wider than the holes.
    """
    lift = max(x, 0.0)
    face = 0.0
    if par[SNAP_AREA] > 0.0:
        face = par[SNAP_AREA] * lift / (lift + par[SNAP_LIFT])
    return par[AREA_GUIDE] - par[AREA_SEAT] + face + sac * (par[AREA_SEAT] - face)  # type: ignore[no-any-return]


def lifting_force(par: Any, p: float, preload: float, friction: float) -> float:
    """Force by which the pressure exceeds spring and friction on a seated needle, [N]."""
    _, sac = passage(par, p, 0.0, preload)
    return p * lifted_area(par, 0.0, sac) - preload - friction


def leak(par: Any, first: int, p: float) -> float:
    """Leak by the polynomial whose coefficients start at a slot, [m^3/s]."""
    conductance = par[first + 5]
    for k in range(4, -1, -1):
        conductance = conductance * p + par[first + k]
    return conductance * p  # type: ignore[no-any-return]


def softness(par: Any, p: float, air: float) -> float:
    """Relative volume change per pressure of the oil with its compression heat and air, [1/Pa]."""
    oil = 1.0 / (par[STIFFNESS_0] + par[STIFFNESS_SLOPE] * p) - par[HEAT_SOFTENING]
    absolute = p + ATMOSPHERE_PA
    return oil + air * ATMOSPHERE_PA / (absolute * absolute)  # type: ignore[no-any-return]


def needle_force(par: Any, x: float, v: float, preload: float, friction: float) -> float:
    """Force of springs, friction, damping, seat and stop on a lifted needle, upwards, [N]."""
    force = -preload - par[SPRING_RATE] * x - par[NEEDLE_DAMPING] * v
    beyond = x - par[PRELIFT]
    if beyond > 0.0:
        taken_up = min(beyond / SECOND_SPRING_TAKE_UP_M, 1.0)
        force -= taken_up * par[SECOND_PRELOAD] + par[SECOND_RATE] * beyond
    force -= friction * v / math.sqrt(v * v + par[FRICTION_SPEED] * par[FRICTION_SPEED])
    # Contact after Hunt and Crossley: damping grows with depth, so that no force ever jumps.
    if x < 0.0:
        force -= par[CONTACT_STIFFNESS] * x * max(0.0, 1.0 - par[CONTACT_DAMPING] * v)
    beyond = x - par[LIFT_STOP]
    if beyond > 0.0:
        force -= par[CONTACT_STIFFNESS] * beyond * max(0.0, 1.0 + par[CONTACT_DAMPING] * v)
    return force  # type: ignore[no-any-return]


def rates(
    par: Any,
    seg: Any,
    t: float,
    pn: float,
    pg: float,
    q: float,
    x: float,
    v: float,
    heat: float,
    air: float,
    preload: float,
    friction: float,
    lifted: bool,
    delivering: bool,
    filling: bool,
) -> tuple[float, float, float, float, float, float, float, float, float, float, float]:
    """Rates of change of p_n, p_g, q, x, v, heat, air, and of volumes swept, in, out, leaked."""
    swept = lever_flow(seg, t)
    q_in = swept if delivering else 0.0
    if filling:
        return 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, swept, q_in, 0.0, 0.0

    area, sac = passage(par, pn, x, preload)
    q_out = area * jet_speed(pn, par[DENSITY]) if area > 0.0 else 0.0
    q_injector = leak(par, LEAK_INJECTOR, pn)
    q_rig = leak(par, LEAK_RIG, pg)
    if seg[SEG_SHUT] == 0.0 and not delivering:
        q_rig += leak(par, LEAK_CHECK, pg)
    if seg[SEG_VALVE] > 0.0:
        opened = 1.0
        if seg[SEG_VALVE_RAMP] > 0.0:
            opened = min((t - seg[SEG_START]) / seg[SEG_VALVE_RAMP], 1.0)
        q_rig += opened * seg[SEG_VALVE] * jet_speed(pg, par[DENSITY])

    dx = 0.0
    dv = 0.0
    q_needle = 0.0
    if lifted:
        dx = v
        push = pn * lifted_area(par, x, sac)
        dv = (push + needle_force(par, x, v, preload, friction)) / par[MASS]
        q_needle = par[AREA_GUIDE] * v

    shrink = par[EXPANSION] * par[COOLING_RATE] * heat
    volume_g = par[VOLUME_G] + (par[VOLUME_CHAMBER] if delivering else 0.0)
    if par[INERTANCE] > 0.0:
        c_n = par[VOLUME_N] * softness(par, pn, air) + par[WALL_N]
        c_g = volume_g * softness(par, pg, air) + par[WALL_G]
        dpn = (q - q_out - q_injector - q_needle - par[VOLUME_N] * shrink) / c_n
        dpg = (q_in - q_rig - q - volume_g * shrink) / c_g
        dq = (pg - pn - par[LINE_RESISTANCE] * q) / par[INERTANCE]
    else:
        c = (par[VOLUME_N] + volume_g) * softness(par, pn, air) + par[WALL_N] + par[WALL_G]
        dpn = q_in - q_out - q_injector - q_rig - q_needle
        dpn = (dpn - (par[VOLUME_N] + volume_g) * shrink) / c
        dpg = dpn
        dq = 0.0
    volume = par[VOLUME_N] + par[VOLUME_G]
    mean = (par[VOLUME_N] * dpn + par[VOLUME_G] * dpg) / volume
    dheat = par[HEAT_RISE] * mean - par[COOLING_RATE] * heat
    dheat += q_in / volume * (par[HEAT_RISE] * pg - heat)
    dair = 0.0
    if air > par[AIR_RESIDUAL]:
        gone = q_out + (q_rig if seg[SEG_VALVE] > 0.0 else 0.0)
        dair = -par[AIR_FLUSHING] * (air - par[AIR_RESIDUAL]) * gone / volume
    return dpn, dpg, dq, dx, dv, dheat, dair, swept, q_in, q_out, q_injector + q_rig


def runge_kutta(
    par: Any,
    seg: Any,
    old: Any,
    new: Any,
    h: float,
    preload: float,
    friction: float,
) -> None:
    """Put into ``new`` the state one step after ``old`` (classical, fourth order).

    Only the twelve slots from TIME to LEAKED are stepped, with VOID following from what was
    delivered.
    """
    lifted = old[LIFTED] > 0.0
    delivering = old[DELIVERING] > 0.0
    filling = old[VOID] > 0.0
    t = old[TIME]
    half = 0.5 * h
    pn, pg, q = old[P_N], old[P_G], old[FLOW]
    x, v, heat, air = old[LIFT], old[SPEED], old[HEAT], old[AIR]
    a0, a1, a2, a3, a4, a5, a6, a7, a8, a9, a10 = rates(
        par, seg, t, pn, pg, q, x, v, heat, air, preload, friction, lifted, delivering, filling
    )
    b0, b1, b2, b3, b4, b5, b6, b7, b8, b9, b10 = rates(
        par, seg, t + half,
        pn + half * a0, pg + half * a1, q + half * a2, x + half * a3, v + half * a4,
        heat + half * a5, air + half * a6,
        preload, friction, lifted, delivering, filling,
    )  # fmt: skip
    c0, c1, c2, c3, c4, c5, c6, c7, c8, c9, c10 = rates(
        par, seg, t + half,
        pn + half * b0, pg + half * b1, q + half * b2, x + half * b3, v + half * b4,
        heat + half * b5, air + half * b6,
        preload, friction, lifted, delivering, filling,
    )  # fmt: skip
    d0, d1, d2, d3, d4, d5, d6, d7, d8, d9, d10 = rates(
        par, seg, t + h,
        pn + h * c0, pg + h * c1, q + h * c2, x + h * c3, v + h * c4,
        heat + h * c5, air + h * c6,
        preload, friction, lifted, delivering, filling,
    )  # fmt: skip
    sixth = h / 6.0
    new[TIME] = t + h
    new[P_N] = pn + sixth * (a0 + 2.0 * (b0 + c0) + d0)
    new[P_G] = pg + sixth * (a1 + 2.0 * (b1 + c1) + d1)
    new[FLOW] = q + sixth * (a2 + 2.0 * (b2 + c2) + d2)
    new[LIFT] = x + sixth * (a3 + 2.0 * (b3 + c3) + d3)
    new[SPEED] = v + sixth * (a4 + 2.0 * (b4 + c4) + d4)
    new[HEAT] = heat + sixth * (a5 + 2.0 * (b5 + c5) + d5)
    new[AIR] = air + sixth * (a6 + 2.0 * (b6 + c6) + d6)
    new[SWEPT] = old[SWEPT] + sixth * (a7 + 2.0 * (b7 + c7) + d7)
    delivered = sixth * (a8 + 2.0 * (b8 + c8) + d8)
    new[IN] = old[IN] + delivered
    new[OUT] = old[OUT] + sixth * (a9 + 2.0 * (b9 + c9) + d9)
    new[LEAKED] = old[LEAKED] + sixth * (a10 + 2.0 * (b10 + c10) + d10)
    new[VOID] = old[VOID] - delivered if filling else 0.0


def settle(par: Any, state: Any) -> None:
    """Put a needle that is pressed into its seat to rest on it; the oil gets that volume."""
    grown = -par[AREA_GUIDE] * state[LIFT]
    c = par[VOLUME_N] * softness(par, state[P_N], state[AIR]) + par[WALL_N]
    if par[INERTANCE] > 0.0:
        state[P_N] -= grown / c
    else:
        volume = par[VOLUME_G] + (par[VOLUME_CHAMBER] if state[DELIVERING] > 0.0 else 0.0)
        c += volume * softness(par, state[P_N], state[AIR]) + par[WALL_G]
        state[P_N] -= grown / c
        state[P_G] = state[P_N]
    state[LIFTED] = 0.0
    state[LIFT] = 0.0
    state[SPEED] = 0.0


def dead_travel(par: Any, pg: float) -> float:
    """Volume the plunger sweeps before its chamber reaches the line's pressure, [m^3]."""
    stiffness = par[STIFFNESS_0] + 0.5 * par[STIFFNESS_SLOPE] * pg
    return par[VOLUME_CHAMBER] * pg * (1.0 / stiffness - par[HEAT_SOFTENING])  # type: ignore[no-any-return]


def overrun(par: Any, seg: Any, state: Any, preload: float, friction: float) -> float:
    """How far the state is past the next event of a seated needle; negative: not yet, [Pa].

    Events: lift-off, the check valve opens, the hand stops.
    """
    area = par[AREA_GUIDE] - par[AREA_SEAT]
    past = -math.inf
    if area > 0.0:
        past = lifting_force(par, state[P_N], preload, friction) / area
    past = max(past, state[P_G] - seg[SEG_STOP])
    if seg[SEG_VOLUME] > 0.0 and state[DELIVERING] == 0.0:
        ahead = state[SWEPT] - dead_travel(par, state[P_G])
        past = max(past, ahead * par[STIFFNESS_0] / par[VOLUME_CHAMBER])
    return past  # type: ignore[no-any-return]


def advance(
    par: Any,
    seg: Any,
    state: Any,
    preloads: Any,
    frictions: Any,
    sample_times: Any,
    shown: Any,
    true: Any,
    events: Any,
) -> int:
    """Run through one segment; the state is carried on in place.

    Parameters
    ----------
    par : ndarray of shape (N_PARAMETERS,)
        Parameters in SI units
    seg : ndarray of shape (N_SEGMENT,)
        What the hand does
    state : ndarray of shape (N_STATE,)
        State at the start, and on return at the end
    preloads, frictions : ndarray of shape (M,)
        Spring preload and friction force of the k-th opening, [N]; the last one holds on
    sample_times : ndarray of shape (N,)
        Instants at which the pressure is sampled, rising, [s]
    shown, true : ndarray of shape (N,)
        Filled with the pressure behind the sensor's lag, and at the gauge, [Pa]
    events : ndarray of shape (K, N_EVENT)
        Table of openings, filled as they happen; further ones are counted only

    Returns
    -------
    int
        RAN_OUT, or HAND_STOPPED when the stop pressure was reached first
    """
    end = seg[SEG_END]
    n = int(state[NEXT_SAMPLE])
    count = int(state[OPENINGS])
    last = len(preloads) - 1
    current = count - 1 if state[LIFTED] > 0.0 else count
    preload = preloads[min(current, last)]
    friction = frictions[min(current, last)]
    if seg[SEG_PIECE] == 0.0:
        state[SWEPT] = 0.0
        state[DELIVERING] = 0.0
    if seg[SEG_VOLUME] > 0.0 and par[VOLUME_CHAMBER] <= 0.0:
        state[DELIVERING] = 1.0
    trial = state.copy()
    result = RAN_OUT
    watch_until = -1.0
    if count > 0 and count <= len(events):
        watch_until = events[count - 1, EV_REST_TIME] + MINIMUM_WATCH_S

    while state[TIME] < end:
        goal = end
        if n < len(sample_times) and sample_times[n] < end:
            goal = sample_times[n]
        h = goal - state[TIME]
        seated = state[LIFTED] == 0.0
        step = par[STEP_SEATED]
        if not seated:
            step = par[STEP_LIFTED]
        elif par[INERTANCE] > 0.0:
            drive = state[P_G] - state[P_N] - par[LINE_RESISTANCE] * state[FLOW]
            if abs(drive) > RINGING_PA:
                step = par[STEP_RINGING]
        landed = h <= step
        if not landed:
            h = step
        if h > 0.0:
            runge_kutta(par, seg, state, trial, h, preload, friction)
            if trial[VOID] < 0.0:
                # The line is full: what is left over of the step's delivery compresses it.
                spare = -trial[VOID]
                trial[VOID] = 0.0
                c = (par[VOLUME_N] + par[VOLUME_G]) * softness(par, 0.0, state[AIR])
                trial[P_N] = spare / (c + par[WALL_N] + par[WALL_G])
                trial[P_G] = trial[P_N]
            lift_off = False
            if seated and overrun(par, seg, trial, preload, friction) > 0.0:
                # Bisect for the event; the step ends on its far side.
                low = 0.0
                high = h
                if overrun(par, seg, state, preload, friction) > 0.0:
                    high = 0.0
                while high - low > EVENT_TOLERANCE_S:
                    middle = 0.5 * (low + high)
                    runge_kutta(par, seg, state, trial, middle, preload, friction)
                    if overrun(par, seg, trial, preload, friction) > 0.0:
                        high = middle
                    else:
                        low = middle
                if high < h:
                    landed = False
                h = high
                runge_kutta(par, seg, state, trial, h, preload, friction)
                pushed = seg[SEG_VOLUME] > 0.0 and state[DELIVERING] == 0.0
                if pushed and trial[SWEPT] >= dead_travel(par, trial[P_G]):
                    state[DELIVERING] = 1.0
                    trial[DELIVERING] = 1.0
                if trial[P_G] >= seg[SEG_STOP]:
                    result = HAND_STOPPED
                area = par[AREA_GUIDE] - par[AREA_SEAT]
                lift_off = area > 0.0 and lifting_force(par, trial[P_N], preload, friction) > 0.0
            x_before = state[LIFT]
            p_before = state[P_G]
            lag = par[SENSOR_LAG]
            if lag <= 0.0:
                state[LAGGED] = trial[P_G]
            elif h > 0.0:
                # Exact for a pressure that runs straight over the step.
                slope = (trial[P_G] - state[P_G]) / h
                away = state[LAGGED] - state[P_G] + slope * lag
                state[LAGGED] = trial[P_G] - slope * lag + away * math.exp(-h / lag)
            for k in range(LAGGED):
                state[k] = trial[k]
            if landed:
                state[TIME] = goal

            if lift_off:
                state[LIFTED] = 1.0
                state[TOUCHED] = 0.0
                state[LIFT] = 0.0
                state[SPEED] = 0.0
                if count < len(events):
                    events[count, EV_TIME] = state[TIME]
                    events[count, EV_LIFT_OFF] = state[P_N]
                    events[count, EV_GAUGE] = state[P_G]
                    events[count, EV_PEAK] = state[P_G]
                    events[count, EV_MINIMUM] = state[P_G]
                    events[count, EV_LIFT] = 0.0
                count += 1
            elif not seated:
                x = state[LIFT]
                recorded = count <= len(events)
                if recorded:
                    row = count - 1
                    events[row, EV_PEAK] = max(events[row, EV_PEAK], state[P_G])
                    events[row, EV_MINIMUM] = min(events[row, EV_MINIMUM], state[P_G])
                    events[row, EV_LIFT] = max(events[row, EV_LIFT], x)
                if x <= 0.0:
                    if state[TOUCHED] == 0.0:
                        state[TOUCHED] = 1.0
                        if recorded:
                            back = x / (x_before - x) if x_before > x else 0.0
                            events[row, EV_CLOSE_TIME] = state[TIME] + back * h
                            events[row, EV_CLOSING] = state[P_G] + back * (state[P_G] - p_before)
                    press = -lifting_force(par, state[P_N], preload, 0.0)
                    energy = 0.5 * par[MASS] * state[SPEED] * state[SPEED]
                    energy += (0.5 * par[CONTACT_STIFFNESS] * x + press) * x
                    if press > 0.0 and energy < 0.5 * par[MASS] * REST_SPEED * REST_SPEED:
                        settle(par, state)
                        if recorded:
                            events[row, EV_REST_TIME] = state[TIME]
                            watch_until = state[TIME] + MINIMUM_WATCH_S
                        preload = preloads[min(count, last)]
                        friction = frictions[min(count, last)]
            elif state[TIME] < watch_until:
                row = count - 1
                events[row, EV_MINIMUM] = min(events[row, EV_MINIMUM], state[P_G])
        else:
            state[TIME] = goal
        if n < len(sample_times) and state[TIME] >= sample_times[n]:
            shown[n] = state[LAGGED]
            true[n] = state[P_G]
            n += 1
        if result == HAND_STOPPED:
            break
    state[NEXT_SAMPLE] = float(n)
    state[OPENINGS] = float(count)
    return result


_INSIDE = (
    lever_flow,
    jet_speed,
    passage,
    lifted_area,
    lifting_force,
    leak,
    softness,
    needle_force,
    rates,
    runge_kutta,
    settle,
    dead_travel,
    overrun,
)


@functools.cache
def compiled() -> Any:
    """Return :func:`advance` compiled; the compiler is imported at the first call.

    Each function above is compiled as it stands: only the names of its neighbours are bound to
    their compiled forms. The machine code is kept beside this file where that can be written.
    """
    import numba

    scope: dict[str, Any] = dict(globals())

    def bound(function: Any) -> Any:
        copy = types.FunctionType(function.__code__, scope, function.__name__)
        copy.__module__ = function.__module__
        copy.__qualname__ = function.__qualname__
        return copy

    for function in _INSIDE:
        inline = function is not runge_kutta  # big, and called from three places
        scope[function.__name__] = numba.njit(error_model="numpy", forceinline=inline)(
            bound(function)
        )
    try:
        return numba.njit(cache=True, error_model="numpy")(bound(advance))
    except (RuntimeError, UnicodeError):  # no place to keep machine code in
        return numba.njit(error_model="numpy")(bound(advance))
