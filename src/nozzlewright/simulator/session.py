"""One session at the pretend bench: the script is played, sensor and truth are written down."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from nozzlewright.errors import Fault, InputFault
from nozzlewright.simulator import kernel as k
from nozzlewright.simulator import truth as exact
from nozzlewright.simulator.models import (
    Array,
    BenchSetup,
    InjectorModel,
    SensorModel,
    barus_factor,
)
from nozzlewright.simulator.script import (
    Act,
    BleedStrokes,
    HoldAt,
    Idle,
    Release,
    Script,
    SeatHold,
    Strokes,
)
from nozzlewright.simulator.sensor import as_sensed, sampling_instants

LIFTED_STEP_S = 2.0e-6
RINGING_STEP_S = 1.0e-6
"""Steps while the needle is lifted: with one lump of oil, and with a line that rings, [s]."""
SEATED_STEP_S = 5.0e-4
LEAK_RANGE_PA = 800.0e5
"""Range over which the leak polynomials are fitted, [Pa]."""
DISTINCT_FALL_PA = 2.0e5
DISTINCT_FALL_SHARE = 0.02
"""An opening is distinct when the gauge falls by the greater of these, [Pa] and of the opening."""
MOST_OPENINGS = 20000
MOST_PUMPING_STROKES = 40


@dataclass(frozen=True)
class SimulatedSession:
    """A recording with its truth."""

    time_s: Array
    """Time stamps as logged, shape (N,), [s]"""
    pressure_pa: Array
    """As the sensor shows it, NaN in drop-outs, shape (N,), [Pa]"""
    true_pressure_pa: Array
    """At the gauge, at the true sampling instants, shape (N,), [Pa]"""
    true_time_s: Array
    """True sampling instants, shape (N,), [s]"""
    truth: dict[str, Any] = field(repr=False)
    """What is true, fit for JSON; SI units, named in the keys"""

    def as_csv_text(self) -> str:
        """Return CSV text with the header ``time_s,pressure_bar``; a drop-out is ``NaN``."""
        rows = [
            f"{t:.6f},{'NaN' if math.isnan(p) else format(p, '.4f')}"
            for t, p in zip(self.time_s.tolist(), (self.pressure_pa / 1e5).tolist(), strict=True)
        ]
        return "\n".join(["time_s,pressure_bar", *rows, ""])

    def truth_json(self) -> str:
        """Return the truth as JSON text."""
        return json.dumps(self.truth, indent=1, allow_nan=False)


def parameters(
    setup: BenchSetup,
    injector: InjectorModel | None,
    *,
    sensor_lag_s: float = 0.0,
    lifted_step_s: float | None = None,
    seated_step_s: float = SEATED_STEP_S,
) -> Array:
    """Return the kernel's parameters, shape (N_PARAMETERS,); no injector: the blank plug."""
    rig, oil, temperature = setup.rig, setup.oil, setup.temperature_k
    par = np.zeros(k.N_PARAMETERS)
    far = rig.volume_m3 * rig.nozzle_end_share
    par[k.VOLUME_N] = far + (injector.volume_m3 if injector else rig.plug_volume_m3)
    par[k.VOLUME_G] = rig.volume_m3 - far
    par[k.VOLUME_CHAMBER] = rig.chamber_volume_m3
    par[k.WALL_N] = 0.3 * rig.wall_compliance
    par[k.WALL_G] = 0.7 * rig.wall_compliance
    par[k.STIFFNESS_0] = oil.bulk_modulus(0.0, temperature)
    par[k.STIFFNESS_SLOPE] = oil.bulk_modulus_per_pascal
    par[k.EXPANSION] = oil.expansion
    par[k.DENSITY] = oil.density(temperature)
    if rig.compression_heat:
        par[k.HEAT_RISE] = oil.compression_heating(temperature)
        par[k.HEAT_SOFTENING] = par[k.HEAT_RISE] * oil.expansion
        par[k.COOLING_RATE] = 1.0 / rig.thermal_time_s
    par[k.INERTANCE] = rig.line_inertance
    if rig.line_inertance > 0.0:
        pressure = injector.opening_pressure_pa if injector else 150e5
        soft = 1.0 / oil.bulk_modulus(pressure, temperature) - par[k.HEAT_SOFTENING]
        c_n = par[k.VOLUME_N] * soft + par[k.WALL_N]
        c_g = par[k.VOLUME_G] * soft + par[k.WALL_G]
        ringing = math.sqrt((1.0 / c_n + 1.0 / c_g) / rig.line_inertance)
        par[k.LINE_RESISTANCE] = 2.0 * rig.line_damping * ringing * rig.line_inertance
        par[k.STEP_RINGING] = min(0.1 / ringing, seated_step_s)
        seated_step_s = min(0.6 / ringing, seated_step_s)
    if lifted_step_s is None:
        lifted_step_s = RINGING_STEP_S if rig.line_inertance > 0.0 else LIFTED_STEP_S
    par[k.STEP_LIFTED] = lifted_step_s
    par[k.STEP_SEATED] = seated_step_s
    par[k.SENSOR_LAG] = sensor_lag_s
    par[k.AIR_RESIDUAL] = rig.air_residual
    par[k.AIR_FLUSHING] = 8.0

    def barus(conductance: float) -> Array:
        g = conductance * exact.viscosity_ratio(setup, temperature)
        return exact.leak_polynomial(
            lambda p: g * barus_factor(p, oil.pressure_viscosity), LEAK_RANGE_PA
        )

    par[k.LEAK_RIG : k.LEAK_RIG + 6] = barus(rig.leak_conductance)
    par[k.LEAK_CHECK : k.LEAK_CHECK + 6] = barus(rig.check_leak_conductance)
    par[k.PRELIFT] = math.inf
    if injector is None:
        return par

    par[k.LEAK_INJECTOR : k.LEAK_INJECTOR + 6] = exact.leak_polynomial(
        lambda p: exact.injector_conductance(setup, injector, p, temperature), LEAK_RANGE_PA
    )
    par[k.AREA_GUIDE] = injector.guide_area
    par[k.AREA_SEAT] = injector.seat_area
    par[k.SNAP_AREA] = injector.snap_area
    par[k.SNAP_LIFT] = injector.seat_snap_lift_m
    par[k.MASS] = injector.moving_mass_kg
    par[k.SPRING_RATE] = injector.spring_rate
    par[k.LIFT_STOP] = injector.lift_m
    if injector.second_opening_lift_m is not None:
        par[k.PRELIFT] = injector.second_opening_lift_m
        par[k.SECOND_PRELOAD] = injector.second_preload_n
        par[k.SECOND_RATE] = injector.second_spring_rate
    most_friction = injector.friction_n * (1.0 + 4.0 * injector.friction_scatter)
    par[k.FRICTION_SPEED] = max(1.0e-3, most_friction / (injector.moving_mass_kg * 5.0e5))
    par[k.NEEDLE_DAMPING] = injector.needle_damping
    par[k.CONTACT_STIFFNESS] = 1.0e8
    par[k.CONTACT_DAMPING] = 5.0
    sine = math.sin(injector.seat_angle_rad / 2)
    cosine = math.cos(injector.seat_angle_rad / 2)
    scale = injector.seat_discharge * math.pi * sine
    par[k.CURTAIN_1] = scale * injector.seat_diameter_m
    par[k.CURTAIN_2] = scale * sine * cosine
    par[k.HOLES] = injector.holes_discharge * injector.holes_area_m2
    par[k.WEEP_AREA] = injector.weep_area_m2
    par[k.WEEP_MARGIN] = injector.weep_margin_pa
    return par


def at_rest(setup: BenchSetup) -> Array:
    """Return the kernel's state before the first act, shape (N_STATE,)."""
    state = np.zeros(k.N_STATE)
    state[k.AIR] = max(setup.rig.air_share, setup.rig.air_residual)
    state[k.VOID] = setup.rig.empty_volume_m3
    return state


def rest_segment(
    start_s: float,
    duration_s: float,
    *,
    shut: bool = False,
    valve_area_m2: float = 0.0,
    valve_ramp_s: float = 0.0,
) -> Array:
    """Return a segment in which the lever stands still, shape (N_SEGMENT,)."""
    seg = np.zeros(k.N_SEGMENT)
    seg[k.SEG_START], seg[k.SEG_END] = start_s, start_s + duration_s
    seg[k.SEG_RAMP] = 0.2
    seg[k.SEG_SHUT] = float(shut)
    seg[k.SEG_VALVE], seg[k.SEG_VALVE_RAMP] = valve_area_m2, valve_ramp_s
    seg[k.SEG_STOP] = math.inf
    return seg


def push_segment(
    start_s: float,
    duration_s: float,
    volume_m3: float,
    *,
    ramp: float = 0.25,
    tremor: float = 0.0,
    tremor_hz: float = 7.0,
    tremor_phase: float = 0.0,
    valve_area_m2: float = 0.0,
    stop_pa: float = math.inf,
) -> Array:
    """Return a segment in which the lever is pushed, shape (N_SEGMENT,)."""
    seg = rest_segment(start_s, duration_s, valve_area_m2=valve_area_m2)
    seg[k.SEG_VOLUME], seg[k.SEG_RAMP] = volume_m3, ramp
    seg[k.SEG_TREMOR] = tremor
    seg[k.SEG_TREMOR_RATE] = 2.0 * math.pi * tremor_hz
    seg[k.SEG_TREMOR_PHASE] = tremor_phase
    seg[k.SEG_STOP] = stop_pa
    return seg


class _Player:
    """Plays acts one after the other and notes what happened."""

    def __init__(
        self,
        setup: BenchSetup,
        injector: InjectorModel | None,
        sensor: SensorModel,
        script: Script,
        rng: np.random.Generator,
        compiled: bool,
    ) -> None:
        self.setup, self.injector, self.rng = setup, injector, rng
        self.advance = k.compiled() if compiled else k.advance
        self.par = parameters(setup, injector, sensor_lag_s=sensor.lag_s)
        self.state = at_rest(setup)
        longest = sum(_longest(act) for act in script) + 1.0
        self.instants, self.nominal = sampling_instants(sensor, longest, rng)
        self.shown = np.zeros(len(self.instants))
        self.true = np.zeros(len(self.instants))
        self.events = np.zeros((MOST_OPENINGS, k.N_EVENT))
        self.preloads, self.frictions = _openings_ahead(injector, rng)
        self.strokes: list[dict[str, Any]] = []
        self.holds: list[dict[str, Any]] = []
        self.acts: list[dict[str, Any]] = []
        self.flags: set[str] = set()

    @property
    def now(self) -> float:
        return float(self.state[k.TIME])

    def run(self, seg: Array) -> int:
        return int(
            self.advance(
                self.par,
                seg,
                self.state,
                self.preloads,
                self.frictions,
                self.instants,
                self.shown,
                self.true,
                self.events,
            )
        )

    def rest(self, duration_s: float, **how: Any) -> None:
        self.run(rest_segment(self.now, duration_s, **how))

    def push(self, kind: str, duration_s: float, volume_m3: float, **how: Any) -> int:
        start, before = self.now, float(self.state[k.IN])
        result = self.run(
            push_segment(
                start,
                duration_s,
                volume_m3,
                ramp=float(self.rng.uniform(0.15, 0.3)),
                tremor_hz=float(self.rng.uniform(5.0, 9.0)),
                tremor_phase=float(self.rng.uniform(0.0, 2.0 * math.pi)),
                **how,
            )
        )
        self.strokes.append(
            {
                "index": len(self.strokes),
                "kind": kind,
                "start_s": start,
                "end_s": self.now,
                "delivered_m3": float(self.state[k.IN]) - before,
            }
        )
        return result

    def play(self, act: Act) -> None:
        start = self.now
        if isinstance(act, Idle):
            self.rest(act.duration_s)
        elif isinstance(act, Release):
            self.rest(
                act.duration_s,
                valve_area_m2=self.setup.rig.release_area_m2,
                valve_ramp_s=0.3,
            )
        elif isinstance(act, Strokes):
            self.play_strokes(act)
        else:
            self.play_hold(act)
        self.acts.append({"act": type(act).__name__, "start_s": start, "end_s": self.now})

    def play_strokes(self, act: Strokes) -> None:
        kind = {"BleedStrokes": "bleed", "SlowStrokes": "slow", "FastStrokes": "fast"}.get(
            type(act).__name__, "hard"
        )
        valve = 0.0
        if isinstance(act, BleedStrokes) and act.union_slack:
            valve = self.setup.rig.union_area_m2
        for _ in range(act.n):
            period = 60.0 / act.strokes_per_min * float(self.rng.uniform(0.92, 1.08))
            push = period * act.push_share
            volume = act.volume_m3 * float(self.rng.uniform(0.92, 1.08))
            self.push(kind, push, volume, tremor=act.tremor, valve_area_m2=valve)
            self.rest(period - push, valve_area_m2=valve)

    def play_hold(self, act: HoldAt | SeatHold) -> None:
        if isinstance(act, HoldAt):
            goal, kind = act.pressure_pa, "drop"
        elif self.injector is None:
            raise InputFault(
                Fault(
                    "a seat hold without an injector",
                    "script of the pretend bench",
                    "Leave the seat hold out when the blank plug is fitted.",
                )
            )
        else:
            area = self.injector.guide_area - self.injector.seat_area
            next_one = min(int(self.state[k.OPENINGS]), len(self.preloads) - 1)
            goal, kind = float(self.preloads[next_one]) / area - act.margin_pa, "seat"
        if self.state[k.P_G] > goal:
            # Too high to pump up to: let some off first.
            while self.state[k.P_G] > 0.6 * goal:
                self.rest(0.05, valve_area_m2=0.1 * self.setup.rig.release_area_m2)
            self.rest(0.5)
        for _ in range(MOST_PUMPING_STROKES):
            period = 60.0 / act.strokes_per_min
            push = period * act.push_share
            reached = self.push("pump-up", push, act.volume_m3, tremor=0.05, stop_pa=goal)
            if reached == k.HAND_STOPPED:
                break
            self.rest(period - push)
        else:
            self.flags.add("hold pressure not reached")
        self.rest(float(self.rng.uniform(0.05, 0.3)))
        begin, at_begin = self.now, float(self.state[k.P_G])
        self.rest(act.duration_s, shut=True)
        self.holds.append(
            {
                "kind": kind,
                "start_s": begin,
                "end_s": self.now,
                "asked_pa": goal,
                "start_pa": at_begin,
                "end_pa": float(self.state[k.P_G]),
                "heat_at_start_k": float(self.state[k.HEAT]),
                "air_share": float(self.state[k.AIR]),
            }
        )


def _longest(act: Act) -> float:
    """Longest time that an act can take, [s]."""
    if isinstance(act, Strokes):
        return 1.1 * act.n * 60.0 / act.strokes_per_min
    if isinstance(act, HoldAt | SeatHold):
        return act.duration_s + MOST_PUMPING_STROKES * 60.0 / act.strokes_per_min + 30.0
    return act.duration_s


def _openings_ahead(
    injector: InjectorModel | None, rng: np.random.Generator
) -> tuple[Array, Array]:
    """Preload and friction of each opening to come, shape (2000,), [N]."""
    if injector is None:
        return np.full(1, math.inf), np.zeros(1)
    area = injector.guide_area - injector.seat_area
    index = np.minimum(np.arange(2000), 400)
    opening = injector.opening_pressure_pa + injector.opening_drift_pa * index
    opening = opening + injector.opening_scatter_pa * rng.standard_normal(2000)
    scatter = np.clip(rng.standard_normal(2000), -2.5, 2.5)
    friction = injector.friction_n * np.maximum(1.0 + injector.friction_scatter * scatter, 0.0)
    return opening * area, friction


def simulate(
    setup: BenchSetup,
    injector: InjectorModel | None,
    sensor: SensorModel,
    script: Script,
    rng: np.random.Generator,
    *,
    windows_pa: tuple[tuple[float, float], ...] = (),
    compiled: bool = True,
) -> SimulatedSession:
    """Play a script at the pretend bench.

    Parameters
    ----------
    setup : BenchSetup
        Rig, oil and temperature
    injector : InjectorModel or None
        What is mounted; None: the blank plug
    sensor : SensorModel
        What reads the pressure at the gauge end
    script : tuple of acts
        What the hand does
    rng : numpy.random.Generator
        Source of all chance: the same one gives the same session
    windows_pa : tuple of (float, float)
        Upper and lower pressures for which the true drop times are stated, [Pa]
    compiled : bool
        False: run the same kernel as plain Python, some hundred times slower

    Raises
    ------
    InputFault
        If the script asks for what cannot be done.
    """
    player = _Player(setup, injector, sensor, script, rng, compiled)
    for act in script:
        player.play(act)
    n = int(player.state[k.NEXT_SAMPLE])
    instants, true, shown = player.instants[:n], player.true[:n], player.shown[:n]
    pressure, sensed = as_sensed(sensor, instants, shown, rng)
    stamps = instants if sensor.stamps_show_jitter else player.nominal[:n]
    return SimulatedSession(
        time_s=stamps.copy(),
        pressure_pa=pressure,
        true_pressure_pa=true.copy(),
        true_time_s=instants.copy(),
        truth=_truth(player, sensor, sensed, windows_pa, instants, true),
    )


def _truth(
    player: _Player,
    sensor: SensorModel,
    sensed: dict[str, Any],
    windows_pa: tuple[tuple[float, float], ...],
    instants: Array,
    true: Array,
) -> dict[str, Any]:
    setup, injector = player.setup, player.injector
    openings = _openings(player)
    for stroke in player.strokes:
        mine = [o for o in openings if o["stroke"] == stroke["index"]]
        stroke["openings"] = len(mine)
        stroke["distinct_openings"] = sum(o["distinct"] for o in mine)
    pressures = sorted({p for window in windows_pa for p in window} | {50e5, 100e5, 150e5})
    temperature = setup.temperature_k
    truth: dict[str, Any] = {
        "simulated": True,
        "temperature_k": temperature,
        "reference_temperature_k": setup.reference_temperature_k,
        "acts": player.acts,
        "strokes": player.strokes,
        "openings": openings,
        "openings_seen": len(openings),
        "openings_counted": int(player.state[k.OPENINGS]),
        "holds": player.holds,
        "compliance": [
            {
                "pressure_pa": p,
                "with_holder_m3_per_pa": (
                    exact.compliance(setup, injector, p, temperature) if injector else None
                ),
                "with_plug_m3_per_pa": exact.compliance(setup, None, p, temperature),
            }
            for p in pressures
        ],
        "rig_conductance_m3_per_s_pa": exact.rig_conductance(
            setup, setup.rig.leak_conductance, 0.0, temperature
        ),
        "check_conductance_m3_per_s_pa": exact.rig_conductance(
            setup, setup.rig.check_leak_conductance, 0.0, temperature
        ),
        "sensor": sensed | {"rate_hz": sensor.rate_hz, "lag_s": sensor.lag_s},
        "drop_times": [],
        "flags": sorted(player.flags),
    }
    for hold in player.holds:
        hold["as_dropped"] = [
            {"from_pa": a, "to_pa": b, "drop_time_s": _fall_time(instants, true, hold, a, b)}
            for a, b in windows_pa
        ]
    if injector is None:
        return truth

    area = injector.guide_area - injector.seat_area
    truth |= {
        "static_opening_pressure_pa": injector.opening_pressure_pa,
        "opening_pressure_with_friction_pa": injector.opening_pressure_pa
        + injector.friction_n / area,
        "opening_drift_pa_per_opening": injector.opening_drift_pa,
        "static_closing_pressure_pa": injector.preload_n / injector.guide_area,
        "second_opening_pressure_pa": injector.second_opening_pressure_pa,
        "seat_leak_conductance_m3_per_s_pa": injector.seat_leak_conductance
        * exact.viscosity_ratio(setup, temperature),
        "guide_conductance_m3_per_s_pa": injector.guide_conductance(0.0, setup.oil, temperature),
        "diametral_clearance_m": injector.diametral_clearance_m,
        "eccentricity": injector.eccentricity,
        "effective_diametral_clearance_m": injector.diametral_clearance_m
        * (1.0 + 1.5 * injector.eccentricity**2) ** (1.0 / 3.0),
        "gap_growth_m_per_pa": injector.gap_growth,
    }
    for a, b in windows_pa:
        truth["drop_times"].append(
            {
                "from_pa": a,
                "to_pa": b,
                "at_bench_with_rig_leak_s": exact.drop_time(
                    setup, injector, a, b, temperature, with_rig_leak=True
                ),
                "at_bench_s": exact.drop_time(setup, injector, a, b, temperature),
                "at_reference_s": exact.drop_time(
                    setup,
                    injector,
                    a,
                    b,
                    setup.reference_temperature_k,
                    reference_compliance=setup.reference_compliance,
                ),
            }
        )
    return truth


def _openings(player: _Player) -> list[dict[str, Any]]:
    rows = player.events[: min(int(player.state[k.OPENINGS]), len(player.events))]
    found: list[dict[str, Any]] = []
    stroke = -1
    for row in rows:
        time = float(row[k.EV_TIME])
        while stroke + 1 < len(player.strokes) and player.strokes[stroke + 1]["start_s"] <= time:
            stroke += 1
        peak, minimum = float(row[k.EV_PEAK]), float(row[k.EV_MINIMUM])
        least = max(DISTINCT_FALL_PA, DISTINCT_FALL_SHARE * peak)
        found.append(
            {
                "time_s": time,
                "lift_off_pa": float(row[k.EV_GAUGE]),
                "lift_off_at_needle_pa": float(row[k.EV_LIFT_OFF]),
                "peak_pa": peak,
                "closing_time_s": float(row[k.EV_CLOSE_TIME]),
                "closing_pa": float(row[k.EV_CLOSING]),
                "minimum_pa": minimum,
                "lift_m": float(row[k.EV_LIFT]),
                "stroke": stroke,
                "distinct": peak - minimum >= least,
            }
        )
    return found


def _fall_time(
    instants: Array, true: Array, hold: dict[str, Any], from_pa: float, to_pa: float
) -> float | None:
    """Time in a hold from one true pressure to a lower one, [s]; None where it was not seen."""
    inside = (instants >= hold["start_s"]) & (instants <= hold["end_s"])
    t, p = instants[inside], true[inside]
    if len(p) < 4 or p[0] < from_pa or p[-1] > to_pa:
        return None
    order = np.argsort(p, kind="stable")
    # ln p falls almost straight in time, so a straight line between samples is close enough.
    crossing = np.interp(np.log([from_pa, to_pa]), np.log(p[order]), t[order])
    return float(crossing[1] - crossing[0])
