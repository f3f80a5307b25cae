"""The pretend bench under a person's hand, in steps as short as the hand moves.

The same kernel as in :func:`~nozzlewright.simulator.session.simulate`; here the acts are not known
beforehand. What eye and ear would notice is derived from the truth by the rules beside
:meth:`WorkedBench.what_is_seen`.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Generator
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import Any

import numpy as np
from numpy.typing import NDArray

from nozzlewright.bench import ChatterGrade, InspectionFinding, SprayGrade, TipGrade
from nozzlewright.errors import Fault, InputFault
from nozzlewright.said import figure, in_bar, say
from nozzlewright.simulator import kernel as k
from nozzlewright.simulator import truth as exact
from nozzlewright.simulator.models import (
    Array,
    BenchSetup,
    InjectorModel,
    SensorModel,
    barus_factor,
)
from nozzlewright.simulator.scenarios import tip_grade
from nozzlewright.simulator.script import (
    Act,
    BleedStrokes,
    HoldAt,
    Idle,
    Release,
    Script,
    SeatHold,
    SlowStrokes,
    Strokes,
)
from nozzlewright.simulator.sensor import as_shown, hum_phase, sampling_instants
from nozzlewright.simulator.session import (
    DISTINCT_FALL_PA,
    DISTINCT_FALL_SHARE,
    MOST_PUMPING_STROKES,
    at_rest,
    parameters,
    rest_segment,
)

STROKE_M3 = 0.7e-6
"""Swept by a full stroke of the lever, [m^3]."""
FASTEST_STROKE_S = 0.12
"""Shortest time in which an arm brings the lever down, [s]; common practice, no source."""
MOST_HAND_PA = 600e5
"""Pressure against which no arm moves the lever further, [Pa]; common practice, no source."""
VALVE_OPENS_S, VALVE_WIDE_S = 0.3, 1.0
"""Times in which the release valve is opened as far as in a scripted release, and fully, [s]."""
PIECE_S = 0.02
"""Longest piece of a push that the kernel is given, [s]."""
STEP_S = 0.005
"""Step in which a hand's movement is followed, [s]."""
INTO_SKIN_PA = 7e5
"""Pressure from which a jet enters skin, [Pa]; HSE RR1107 and hand surgery's case reports."""
AIR_LET_IN = 0.002
EMPTIED_M3 = 0.2e-6
"""Free air [1] and empty volume [m^3] after the line was undone; common practice, no source."""
AIR_LEFT_BY_BLEEDING = 0.0005
"""Free air that strokes through the wide open release valve leave, [1]; likewise."""

EVENTS, EVENTS_KEPT = 512, 300
NOTES_KEPT = 400
LEAST_NOTED_HOLD_S = 3.0

FEW_OPENINGS = 3
"""Openings in a stroke below which chatter is weak: two are a start, three are a sound."""
UNEVEN = 0.008
"""Scatter of the opening pressures, relative, from which chatter sounds uneven and weak."""
HEARD_S, HEARD_LAST = 12.0, 20
"""How long ago, and how many, openings are that the ear compares."""
AFTER_DROP_S = 6.0
"""A seat at which a drop gathers quicker than this also drips after the spray, [s]."""
DROP_M3 = 8e-9
"""Oil that hangs as a drop, [m^3], as in :func:`~.scenarios.tip_grade`."""
SEEN_OUTSIDE_M3 = 20e-9
"""Oil at a joint that an eye notices, [m^3]."""
STIFF_N = 5.0
"""Friction above which a wetted needle does not slide down by its weight, [N]; as built in, with
spindle and spring, it is far more than the bare needle's. These seven: common practice, no
source."""


class SprayForm(StrEnum):
    """Form of the spray."""

    GOOD = "good"
    STREAKY = "streaky"
    ONE_SIDED = "one-sided"
    DRIBBLE = "dribble"
    MISSING_JET = "missing jet"

    @property
    def grade(self) -> SprayGrade:
        """Good or poor, as a fitter grades it."""
        return SprayGrade.GOOD if self is SprayForm.GOOD else SprayGrade.POOR


@dataclass(frozen=True)
class Looks:
    """What can be seen of an injector and its rig that their numbers do not tell."""

    blocked_holes: int = 0
    narrowed_holes: int = 0
    """Partly blocked: the jets are uneven."""
    rig_leak_at: str = ""
    """Where the rig's leak comes out (``union``); empty: it runs back inside, unseen."""
    parts: tuple[InspectionFinding, ...] = ()
    """What an inspection of the parts finds."""


@dataclass(frozen=True)
class Seen:
    """What eye and ear notice now."""

    tip: TipGrade | None
    """None until the tip has been watched for a second since the last delivery."""
    held_s: float
    """Time since the last delivery, or since the pressure was let off, [s]."""
    spray: SprayForm | None
    """Of the last stroke; None where the needle passed no oil."""
    chatter: ChatterGrade | None
    """Of the last stroke, likewise."""
    openings_in_stroke: int
    outside_leak: str
    """Where else oil shows."""


@dataclass(frozen=True)
class Parts:
    """What a stripped injector shows on the bench top."""

    needle_slides: bool
    """Whether the wetted needle slides to its seat by its own weight."""
    findings: tuple[InspectionFinding, ...]


@dataclass(frozen=True)
class Noted:
    """Something that a person did, for whoever looks back."""

    time_s: float
    act: str
    """``held``, ``undone``, ``set``, ``cleaned``, ``rig mended``, ``beyond the gauge``."""
    mounted: bool
    """False: with the blank plug."""
    pressure_pa: float
    """True pressure at the gauge then; of a hold, at its start."""
    seconds: float = 0.0


def _refuse(what: str, remedy: str) -> InputFault:
    return InputFault(Fault(what, say("pretend bench"), remedy))


class WorkedBench:
    """The pretend bench, worked by hand.

    Not for several threads at once.

    Parameters
    ----------
    setup : BenchSetup
        Rig, oil and temperature
    injector : InjectorModel or None
        What is mounted; None: the blank plug, and there is no injector
    sensor : SensorModel
        What reads the pressure at the gauge
    rng : numpy.random.Generator
        Source of all chance
    looks : Looks
        What can be seen that the models do not tell
    cleaned : tuple of (InjectorModel, Looks), optional
        What strip and cleaning make of it; None: cleaning changes nothing
    shim_m : float
        Thickness of shim under the spring at the start, [m]
    stroke_m3 : float
        Swept by a full stroke of the lever, [m^3]
    compiled : bool
        False: run the kernel as plain Python, some hundred times slower
    """

    def __init__(
        self,
        setup: BenchSetup,
        injector: InjectorModel | None,
        sensor: SensorModel,
        rng: np.random.Generator,
        *,
        looks: Looks = Looks(),
        cleaned: tuple[InjectorModel, Looks] | None = None,
        shim_m: float = 1.3e-3,
        stroke_m3: float = STROKE_M3,
        compiled: bool = True,
    ) -> None:
        self.setup, self.sensor, self.stroke_m3, self.shim_m = setup, sensor, stroke_m3, shim_m
        self._injector, self._looks, self._cleaned, self._rng = injector, looks, cleaned, rng
        self._run = k.compiled() if compiled else k.advance
        self._plugged = injector is None
        self._state = at_rest(setup)
        self._fit_parameters()
        self._events = np.zeros((EVENTS, k.N_EVENT))
        self._past: deque[Array] = deque(maxlen=EVENTS_KEPT)
        self._openings_before = 0
        self._openings_as_found: int | None = None
        self._preloads, self._frictions = np.zeros(0), np.zeros(0)
        self._drawn = 0
        self._draw_openings()
        self._instants, self._nominal = np.zeros(0), np.zeros(0)
        self._first = 0
        self._phase = hum_phase(rng)
        self._lost_on = 0
        self._last_value = math.nan
        self._trapped: float | None = None
        self.lever = 0.0
        """Where the lever is: 0 up, 1 down."""
        self._swept = 0.0
        self._valve_open_s = 0.0
        self._shut = False
        self._hold_from = (0.0, 0.0)
        self._beyond = False
        self._push = (-math.inf, -math.inf, 0.0)  # start, end, out before it
        self._pushing = False
        self._watch_from = 0.0
        self._at_tip = 0.0
        self._at_joint = 0.0
        self.notes: deque[Noted] = deque(maxlen=NOTES_KEPT)
        """What was done, the last few hundred acts."""

    # -- what stands on the bench -------------------------------------------------------------

    @property
    def injector(self) -> InjectorModel | None:
        """The injector as it is now; None where there is none."""
        return self._injector

    @property
    def mounted(self) -> bool:
        """Whether the injector is mounted; else the blank plug."""
        return not self._plugged

    @property
    def now_s(self) -> float:
        """Time on the bench, [s]."""
        return float(self._state[k.TIME])

    @property
    def true_pressure_pa(self) -> float:
        """Pressure in the line, at the pump's end, [Pa]."""
        return float(self._state[k.P_G])

    @property
    def openings(self) -> int:
        """Openings of the needle in all."""
        return self._openings_before + int(self._state[k.OPENINGS])

    @property
    def openings_as_found(self) -> int:
        """Openings before anything was stripped, cleaned or set."""
        return self.openings if self._openings_as_found is None else self._openings_as_found

    def account(self) -> dict[str, float]:
        """Return the oil delivered, sprayed and leaked since the start, [m^3].

        With the part of the line that is still empty, and the free air as a share.
        """
        s = self._state
        return {
            "delivered_m3": float(s[k.IN]),
            "sprayed_m3": float(s[k.OUT]),
            "leaked_m3": float(s[k.LEAKED]),
            "empty_m3": float(s[k.VOID]),
            "air_share": float(s[k.AIR]),
        }

    def _fit_parameters(self) -> None:
        injector = None if self._plugged else self._injector
        self._par = parameters(self.setup, injector, sensor_lag_s=self.sensor.lag_s)

    def _draw_openings(self) -> None:
        """Fill up the preloads and frictions of the openings to come."""
        injector = self._injector
        if injector is None or self._plugged:
            self._preloads, self._frictions = np.full(1, math.inf), np.zeros(1)
            return
        count = EVENTS - len(self._preloads)
        area = injector.guide_area - injector.seat_area
        index = np.minimum(self._drawn + np.arange(count), 400)
        opening = injector.opening_pressure_pa + injector.opening_drift_pa * index
        opening = opening + injector.opening_scatter_pa * self._rng.standard_normal(count)
        scatter = np.clip(self._rng.standard_normal(count), -2.5, 2.5)
        friction = injector.friction_n * np.maximum(1.0 + injector.friction_scatter * scatter, 0.0)
        self._preloads = np.concatenate((self._preloads, opening * area))
        self._frictions = np.concatenate((self._frictions, friction))
        self._drawn += count

    # -- working it ---------------------------------------------------------------------------

    def advance(
        self,
        seconds: float,
        lever: float,
        valve_open: bool = True,
        released: bool = False,
        gauge_isolated: bool = False,
    ) -> tuple[Array, Array]:
        """Work the bench for a while.

        Parameters
        ----------
        seconds : float
            How long, [s]
        lever : float
            Where the lever is brought in that time, evenly: 0 up, 1 down. Downwards it delivers,
            upwards the pump refills. An arm has limits: see :data:`FASTEST_STROKE_S` and
            :data:`MOST_HAND_PA`; :attr:`lever` tells how far it came.
        valve_open : bool
            False: the pump is shut off. Then the lever cannot be pushed down.
        released : bool
            The release valve is being opened: as in a scripted release at first, then wide.
        gauge_isolated : bool
            The gauge's valve is shut: it goes on showing what it showed

        Returns
        -------
        time_s, pressure_pa : ndarray of shape (N,)
            The sensor's samples of this while; lost ones are not there, [s] and [Pa]

        Raises
        ------
        InputFault
            If the time is negative or the lever is not within 0 to 1.
        """
        if not 0.0 <= seconds < math.inf:
            raise _refuse(
                say("a time of {seconds} s", seconds=figure(seconds)),
                say("Give a time of zero or more."),
            )
        if not 0.0 <= lever <= 1.0:
            raise _refuse(
                say("a lever at {place}", place=figure(lever)), say("Give 0 (up) to 1 (down).")
            )
        self._isolate(gauge_isolated)
        self._shut_off(not valve_open)
        end = self.now_s + seconds
        pieces = max(1, math.ceil(seconds / PIECE_S - 1e-9)) if seconds > 0.0 else 0
        start, from_lever = self.now_s, self.lever
        found = []
        for piece in range(1, pieces + 1):
            until = end if piece == pieces else start + seconds * piece / pieces
            target = from_lever + (lever - from_lever) * piece / pieces
            found.append(self._piece(until, target, released))
        if not found:
            return np.zeros(0), np.zeros(0)
        instants, stamps, lagged = (np.concatenate(column) for column in zip(*found, strict=True))
        return self._logged(instants, stamps, lagged)

    def _piece(self, until: float, target: float, released: bool) -> tuple[Array, Array, Array]:
        state = self._state
        begin = self.now_s
        length = until - begin
        valve = self._valve_area(length, released)
        most = length / FASTEST_STROKE_S
        move = min(max(target - self.lever, -most), most)
        out_before, p_before = float(state[k.OUT]), float(state[k.P_N])
        openings_before, lifted_before = self.openings, state[k.LIFTED] > 0.0
        instants, stamps = self._sampling_until(until)
        lagged, true = np.zeros(len(instants)), np.zeros(len(instants))
        state[k.NEXT_SAMPLE] = 0.0
        pushed = move > 0.0 and not self._shut
        if pushed:
            self._begin_push(out_before)
            seg = rest_segment(begin, length, valve_area_m2=valve)
            seg[k.SEG_END] = until
            seg[k.SEG_PIECE] = 1.0
            seg[k.SEG_VOLUME] = move * self.stroke_m3
            seg[k.SEG_STOP] = MOST_HAND_PA
            state[k.SWEPT] = self._swept
            self._go(seg, instants, lagged, true)
            self._swept = float(state[k.SWEPT])
            self.lever = min(self.lever + move * (self.now_s - begin) / length, 1.0)
        elif move < 0.0:
            self.lever = max(self.lever + move, 0.0)
            self._swept = 0.0
            self._pushing = False
        if self.now_s < until:
            rest = rest_segment(self.now_s, 0.0, shut=self._shut, valve_area_m2=valve)
            rest[k.SEG_END] = until
            self._go(rest, instants, lagged, true)
        if pushed:
            self._push = (self._push[0], self.now_s, self._push[2])
        n = int(state[k.NEXT_SAMPLE])
        self._watch(
            length,
            0.5 * (p_before + float(state[k.P_N])),
            float(state[k.OUT]) - out_before,
            opened=lifted_before or self.openings > openings_before,
            disturbed=pushed or valve > 0.0,
        )
        self._keep_openings()
        self._instants, self._nominal = self._instants[n:], self._nominal[n:]
        self._first += n
        if self._trapped is not None:
            lagged[:] = self._trapped
        return instants[:n], stamps[:n], lagged[:n]

    def _go(self, seg: Array, instants: Array, lagged: Array, true: Array) -> None:
        self._run(
            self._par,
            seg,
            self._state,
            self._preloads,
            self._frictions,
            instants,
            lagged,
            true,
            self._events,
        )

    def _begin_push(self, out_before: float) -> None:
        if not self._pushing:
            self._pushing = True
            self._push = (self.now_s, self.now_s, out_before)

    def _valve_area(self, length: float, released: bool) -> float:
        """Return the effective area of the release valve at the middle of a piece, [m^2]."""
        rig = self.setup.rig
        self._par[k.AIR_RESIDUAL] = rig.air_residual
        if not released:
            self._valve_open_s = 0.0
            return 0.0
        turned = self._valve_open_s + 0.5 * length
        self._valve_open_s += length
        if turned < VALVE_WIDE_S:
            return rig.release_area_m2 * min(turned / VALVE_OPENS_S, 1.0)
        self._par[k.AIR_RESIDUAL] = min(rig.air_residual, AIR_LEFT_BY_BLEEDING)
        return max(rig.release_area_m2, rig.union_area_m2)

    def _isolate(self, isolated: bool) -> None:
        if isolated and self._trapped is None:
            self._trapped = float(self._state[k.LAGGED])
        elif not isolated and self._trapped is not None:
            # The little oil in the gauge does not change the line's pressure.
            self._state[k.LAGGED] = self._trapped
            self._trapped = None

    def _shut_off(self, shut: bool) -> None:
        if shut and not self._shut:
            self._hold_from = (self.now_s, self.true_pressure_pa)
        if self._shut and not shut:
            self._note_hold()
        self._shut = shut

    def _note_hold(self) -> None:
        since, pressure = self._hold_from
        if self.now_s - since >= LEAST_NOTED_HOLD_S:
            self._note("held", pressure, self.now_s - since)

    def _note(self, act: str, pressure_pa: float, seconds: float = 0.0) -> None:
        self.notes.append(Noted(self.now_s, act, self.mounted, pressure_pa, seconds))

    def acts(self) -> tuple[Noted, ...]:
        """Return what was done, a hold that still goes on included."""
        since, pressure = self._hold_from
        if not self._shut or self.now_s - since < LEAST_NOTED_HOLD_S:
            return tuple(self.notes)
        held = Noted(self.now_s, "held", self.mounted, pressure, self.now_s - since)
        return (*self.notes, held)

    def _keep_openings(self) -> None:
        """Move past openings out of the kernel's tables, so that these never fill up."""
        count = int(self._state[k.OPENINGS])
        if count < EVENTS // 2:
            return
        # The last one stays: its minimum may still be searched for.
        gone = count - 1
        self._past.extend(row.copy() for row in self._events[: min(gone, EVENTS)])
        last = self._events[gone].copy() if gone < EVENTS else np.zeros(k.N_EVENT)
        self._events[:] = 0.0
        self._events[0] = last
        self._preloads, self._frictions = self._preloads[gone:], self._frictions[gone:]
        self._draw_openings()
        self._state[k.OPENINGS] = 1.0
        self._openings_before += gone

    def _recent(self) -> Array:
        """Return the openings still remembered, shape (N, N_EVENT), oldest first."""
        now = self._events[: min(int(self._state[k.OPENINGS]), EVENTS)]
        return np.vstack((*self._past, now)) if self._past else now

    # -- what the gauge shows -----------------------------------------------------------------

    def _sampling_until(self, until: float) -> tuple[Array, Array]:
        """Return instants and stamps of the samples that fall due until a time."""
        while not len(self._instants) or self._instants[-1] <= until:
            first = self._first + len(self._instants)
            block = max(until - self.now_s, 64.0 / self.sensor.rate_hz)
            instants, nominal = sampling_instants(self.sensor, block, self._rng, first=first)
            self._instants = np.concatenate((self._instants, instants))
            self._nominal = np.concatenate((self._nominal, nominal))
        due = int(np.searchsorted(self._instants, until, side="right"))
        instants = self._instants[:due]
        return instants, instants if self.sensor.stamps_show_jitter else self._nominal[:due]

    def _logged(self, instants: Array, stamps: Array, lagged: Array) -> tuple[Array, Array]:
        sensor = self.sensor
        value, clipped = as_shown(sensor, instants, lagged, self._phase, self._rng)
        if clipped and not self._beyond:
            self._note("beyond the gauge", float(lagged.max()))
        self._beyond = clipped > 0 or (self._beyond and not len(value))
        if sensor.dropout_share > 0.0 and len(value):
            lost = self._lost(len(value))
            if sensor.dropout_holds_last:
                kept = np.where(lost, -1, np.arange(len(value)))
                kept = np.maximum.accumulate(kept)
                value = np.where(kept < 0, self._last_value, value[np.maximum(kept, 0)])
                lost = np.isnan(value)
            stamps, value = stamps[~lost], value[~lost]
        if len(value):
            self._last_value = float(value[-1])
        return stamps.copy(), value

    def _lost(self, count: int) -> NDArray[np.bool_]:
        """Return which samples fall into a drop-out, shape (N,)."""
        length = max(1, round(self.sensor.dropout_length_s * self.sensor.rate_hz))
        lost = np.zeros(count, dtype=bool)
        lost[: self._lost_on] = True
        self._lost_on = max(self._lost_on - count, 0)
        starts = np.flatnonzero(self._rng.random(count) < self.sensor.dropout_share / length)
        for start in starts:
            lost[start : start + length] = True
            self._lost_on = max(self._lost_on, int(start) + length - count)
        return lost

    # -- what eye and ear notice --------------------------------------------------------------

    def _watch(
        self, length: float, pressure: float, sprayed: float, *, opened: bool, disturbed: bool
    ) -> None:
        """Follow the oil that gathers at the tip and at a leaking joint."""
        setup, rig = self.setup, self.setup.rig
        rate = exact.rig_conductance(setup, rig.leak_conductance, pressure, setup.temperature_k)
        self._at_joint += rate * pressure * length
        if disturbed or opened:
            # Whoever watches a tip wipes it first.
            self._watch_from, self._at_tip = self.now_s, 0.0
            return
        self._at_tip += self._seat_flow(pressure) * length + sprayed

    def _seat_flow(self, pressure: float) -> float:
        """Return the flow past the shut seat, [m^3/s]."""
        if self._injector is None or self._plugged:
            return 0.0
        setup = self.setup
        conductance = self._injector.seat_leak_conductance
        conductance *= exact.viscosity_ratio(setup, setup.temperature_k)
        return conductance * barus_factor(pressure, setup.oil.pressure_viscosity) * pressure

    def what_is_seen(self) -> Seen:
        """Return what eye and ear would notice now.

        Notes
        -----
        The rules; common practice, no source, where none is named:

        *tip*
            dry below 0.5 mm3, damp below 8 mm3, else a drop, of what passed the shut seat since
            the last delivery; it is taken as wiped then.
        *chatter*
            none where the needle passed oil without one distinct opening in the stroke (a fall of
            2 bar and 2 %), weak below three, or where the openings scatter by more than 0.8 %,
            else clear.
        *spray*
            a jet is missing for a blocked hole; one-sided for a narrowed one; a dribble where oil
            passed without an opening, or where the seat drips within 6 s; streaky where chatter
            is weak by scatter; else good.
        *outside*
            the joint that leaks, once 20 mm3 have come out.
        """
        held = self.now_s - self._watch_from
        chatter, spray, count = self._last_stroke()
        leak = self._looks.rig_leak_at if self._at_joint >= SEEN_OUTSIDE_M3 else ""
        watched = self.mounted and held >= 1.0
        return Seen(
            tip=tip_grade(self._at_tip) if watched else None,
            held_s=held,
            spray=spray,
            chatter=chatter,
            openings_in_stroke=count,
            outside_leak=leak,
        )

    def _last_stroke(self) -> tuple[ChatterGrade | None, SprayForm | None, int]:
        start, end, out_before = self._push
        passed = float(self._state[k.OUT]) - out_before
        if not self.mounted or passed < 0.01 * self.stroke_m3:
            return None, None, 0
        rows = self._recent()
        fall = rows[:, k.EV_PEAK] - rows[:, k.EV_MINIMUM]
        rows = rows[fall >= np.maximum(DISTINCT_FALL_PA, DISTINCT_FALL_SHARE * rows[:, k.EV_PEAK])]
        count = int(np.count_nonzero(rows[:, k.EV_TIME] >= start))
        heard = rows[rows[:, k.EV_TIME] >= end - HEARD_S][-HEARD_LAST:, k.EV_GAUGE]
        uneven = len(heard) >= FEW_OPENINGS and float(heard.std() / heard.mean()) > UNEVEN
        chatter = ChatterGrade.CLEAR
        if count == 0:
            chatter = ChatterGrade.NONE
        elif count < FEW_OPENINGS or uneven:
            chatter = ChatterGrade.WEAK
        return chatter, self._spray(count, uneven), count

    def _spray(self, count: int, uneven: bool) -> SprayForm:
        looks, injector = self._looks, self._injector
        drips = False
        if injector is not None:
            drips = self._seat_flow(injector.opening_pressure_pa) * AFTER_DROP_S >= DROP_M3
        if looks.blocked_holes > 0:
            return SprayForm.MISSING_JET
        if looks.narrowed_holes > 0:
            return SprayForm.ONE_SIDED
        if count == 0 or drips:
            return SprayForm.DRIBBLE
        return SprayForm.STREAKY if uneven else SprayForm.GOOD

    # -- spanner in hand ----------------------------------------------------------------------

    def mount_plug(self) -> None:
        """Put the blank plug in the injector's place."""
        self._undo()
        self._plugged = True
        self._refit()

    def mount_injector(self) -> None:
        """Put the injector back.

        Raises
        ------
        InputFault
            If there is none.
        """
        self._there()
        self._undo()
        self._plugged = False
        self._refit()

    def take_up(self, injector: InjectorModel, looks: Looks = Looks()) -> None:
        """Put another injector in the place of the one that belongs to the bench.

        Where the blank plug is mounted it stays. A line that has not been filled yet need not be
        undone.
        """
        if not self._plugged and self._state[k.IN] > 0.0:
            self._undo()
        self._injector, self._looks, self._cleaned = injector, looks, None
        self._openings_as_found = None
        self._refit()

    def mend_rig(self) -> None:
        """Take the rig apart and make it tight."""
        self._undo()
        self.setup = replace(self.setup, rig=replace(self.setup.rig, leak_conductance=0.0))
        self._refit()
        self._note("rig mended", self.true_pressure_pa)

    def set_opening_pressure(self, pressure_pa: float) -> None:
        """Turn the adjusting screw until the spring holds a static opening pressure, [Pa].

        Raises
        ------
        InputFault
            If there is no injector, or the pressure is not above zero.
        """
        injector = self._there()
        if not 0.0 < pressure_pa < MOST_HAND_PA:
            raise _refuse(
                say("an opening pressure of {pressure}", pressure=in_bar(pressure_pa)),
                say("Give more than zero and less than {most}.", most=in_bar(MOST_HAND_PA)),
            )
        self._changes()
        change = pressure_pa - injector.opening_pressure_pa
        self._injector = replace(injector, opening_pressure_pa=pressure_pa)
        if not self._plugged:
            # The scatter of the openings to come stays as it was drawn.
            self._preloads += change * (injector.guide_area - injector.seat_area)
            if self._par[k.INERTANCE] > 0.0:
                self._fit_parameters()
        self._note("set", self.true_pressure_pa)

    def with_shim(self, thickness_m: float) -> None:
        """Take the injector off, put a shim of a thickness under its spring, mount it again.

        The preload changes by spring rate x change of thickness.

        Raises
        ------
        InputFault
            If there is no injector, or the spring would be slack or the thickness negative.
        """
        injector = self._there()
        area = injector.guide_area - injector.seat_area
        opening = injector.preload_n + injector.spring_rate * (thickness_m - self.shim_m)
        opening /= area
        if thickness_m < 0.0 or opening <= 0.0:
            raise _refuse(
                say(
                    "a shim of {thickness} mm leaves the spring slack",
                    thickness=figure(1e3 * thickness_m, ".2f"),
                ),
                say("Choose a thicker one."),
            )
        self._undo()
        self.set_opening_pressure(opening)
        self.shim_m = thickness_m
        self._plugged = False
        self._refit()

    def strip(self) -> Parts:
        """Take the injector off, strip it, look at it, put it together and mount it again.

        Raises
        ------
        InputFault
            If there is none.
        """
        injector = self._there()
        self._changes()
        self._undo()
        self._plugged = False
        self._refit()
        return Parts(injector.friction_n < STIFF_N, self._looks.parts)

    def clean(self) -> Parts:
        """Strip and clean the injector: a fault that cleaning can cure is gone.

        The setting stays as it is. Returns what was seen before cleaning.

        Raises
        ------
        InputFault
            If there is none.
        """
        injector = self._there()
        before = self.strip()
        if self._cleaned is not None:
            better, self._looks = self._cleaned
            self._injector = replace(better, opening_pressure_pa=injector.opening_pressure_pa)
            self._refit()
        self._note("cleaned", self.true_pressure_pa)
        return before

    def _there(self) -> InjectorModel:
        if self._injector is None:
            raise _refuse(
                say("no injector belongs to this bench"), say("Work it with the blank plug.")
            )
        return self._injector

    def _changes(self) -> None:
        if self._openings_as_found is None:
            self._openings_as_found = self.openings

    def _undo(self) -> None:
        """Undo the line: its pressure is gone, some oil runs out, some air gets in."""
        self._shut_off(False)
        state = self._state
        self._note("undone", self.true_pressure_pa)
        compressed = state[k.IN] - state[k.OUT] - state[k.LEAKED]
        compressed -= self.setup.rig.empty_volume_m3 - state[k.VOID]
        state[k.LEAKED] += compressed
        for slot in (k.P_N, k.P_G, k.FLOW, k.LIFT, k.SPEED, k.LIFTED, k.LAGGED, k.HEAT):
            state[slot] = 0.0
        emptied = max(EMPTIED_M3 - state[k.VOID], 0.0)
        state[k.VOID] += emptied
        state[k.LEAKED] += emptied
        state[k.AIR] = max(state[k.AIR], AIR_LET_IN)
        self._trapped = None
        self._watch_from, self._at_tip, self._at_joint = self.now_s, 0.0, 0.0
        self._push, self._pushing = (self.now_s, self.now_s, float(state[k.OUT])), False

    def _refit(self) -> None:
        """Begin anew with what stands on the bench now; past openings are counted on."""
        self._openings_before += int(self._state[k.OPENINGS])
        self._past.clear()
        self._events[:] = 0.0
        self._state[k.OPENINGS] = 0.0
        self._preloads, self._frictions = np.zeros(0), np.zeros(0)
        self._draw_openings()
        self._fit_parameters()


# -- the hand ---------------------------------------------------------------------------------


@dataclass
class _Push:
    """One downward movement, speeding up and slowing down like an arm."""

    seconds: float
    travel: float
    ramp: float
    tremor: float = 0.0
    tremor_hz: float = 7.0
    phase: float = 0.0
    done_s: float = 0.0

    def step(self, seconds: float) -> float:
        """Return how far the lever goes down in the next short while."""
        t = self.done_s + 0.5 * seconds
        self.done_s += seconds
        u = t / self.seconds
        if not 0.0 < u < 1.0:
            return 0.0
        edge = min(u, 1.0 - u)
        shape = 1.0 if edge >= self.ramp else 0.5 - 0.5 * math.cos(math.pi * edge / self.ramp)
        speed = self.travel / (self.seconds * (1.0 - self.ramp)) * shape
        angle = 2.0 * math.pi * self.tremor_hz * t + self.phase
        return speed * (1.0 + self.tremor * math.sin(angle)) * seconds

    @property
    def over(self) -> bool:
        return self.done_s >= self.seconds - 1e-9


def _drawn_push(rng: np.random.Generator, seconds: float, travel: float, tremor: float) -> _Push:
    return _Push(
        seconds,
        travel,
        ramp=float(rng.uniform(0.15, 0.3)),
        tremor=tremor,
        tremor_hz=float(rng.uniform(5.0, 9.0)),
        phase=float(rng.uniform(0.0, 2.0 * math.pi)),
    )


class HeldKey:
    """The lever on a held key: down at a chosen speed, then up by itself, while it is held.

    Let go, it comes up and stays there.
    """

    SLOW_S, BRISK_S = (4.0, 1.2), (0.45, 0.3)
    """Time down and time up, slow for reading the opening, brisk for spray and chatter, [s]."""

    def __init__(self, rng: np.random.Generator) -> None:
        self._rng = rng
        self._held = self._brisk = False
        self._push: _Push | None = None
        self._up_s = self.BRISK_S[1]
        self.lever = 0.0
        """Where it has brought the lever."""

    def hold(self, brisk: bool = False) -> None:
        """Hold the key; the pace counts from the next stroke."""
        self._held, self._brisk = True, brisk

    def let_go(self) -> None:
        """Let the key go."""
        self._held = False
        self._push = None

    def moved(self, seconds: float) -> float:
        """Return where the lever is after a short while, [0 up, 1 down]."""
        left = seconds
        while left > 1e-9:
            step = min(STEP_S, left)
            left -= step
            self._step(step)
        return self.lever

    def _step(self, seconds: float) -> None:
        if self._push is None and self._held and self.lever <= 0.0:
            down, self._up_s = self.BRISK_S if self._brisk else self.SLOW_S
            down *= float(self._rng.uniform(0.92, 1.08))
            self._push = _drawn_push(self._rng, down, 1.0, 0.06)
        if self._push is None:
            self.lever = max(self.lever - seconds / self._up_s, 0.0)
            return
        self.lever = min(self.lever + self._push.step(seconds), 1.0)
        if self._push.over:
            self._push = None


@dataclass(frozen=True)
class Move:
    """What a hand does for a short while: the arguments of :meth:`WorkedBench.advance`."""

    seconds: float
    lever: float
    valve_open: bool = True
    released: bool = False
    gauge_isolated: bool = False


@dataclass
class ScriptedHand:
    """A hand that plays a script and goes by the gauge alone, as a person does.

    It holds what is shown, not what is true: a seat hold is reckoned from the middle one of the
    highest pressures that the gauge showed in slow strokes.
    """

    rng: np.random.Generator
    stroke_m3: float = STROKE_M3
    lever: float = 0.0
    peaks_pa: list[float] = field(default_factory=list)
    """Highest pressure shown in each of the slow strokes, [Pa]."""

    def moves(self, script: Script) -> Generator[Move, float, None]:
        """Yield moves; each is answered by the highest pressure shown while it was made, [Pa]."""
        for act in script:
            yield from self.act(act)

    def act(self, act: Act) -> Generator[Move, float, None]:
        """Yield the moves of one act."""
        if isinstance(act, Idle):
            yield from self._rest(act.duration_s)
        elif isinstance(act, Release):
            yield from self._rest(act.duration_s, released=True)
        elif isinstance(act, Strokes):
            yield from self._strokes(act)
        else:
            yield from self._hold(act)

    def _rest(self, seconds: float, **how: Any) -> Generator[Move, float, float]:
        """Let the lever come up, and wait; return the last pressure shown."""
        shown, left = 0.0, seconds
        while left > 1e-9:
            step = min(STEP_S, left)
            left -= step
            self.lever = max(self.lever - step / 0.25, 0.0)
            shown = yield Move(step, self.lever, **how)
        return shown

    def _push(
        self, seconds: float, volume_m3: float, tremor: float, stop_pa: float = math.inf, **how: Any
    ) -> Generator[Move, float, float]:
        """Push; return the highest pressure shown."""
        push = _drawn_push(self.rng, seconds, min(volume_m3 / self.stroke_m3, 1.0), tremor)
        highest = 0.0
        while not push.over and highest < stop_pa:
            step = min(STEP_S, push.seconds - push.done_s)
            self.lever = min(self.lever + push.step(step), 1.0)
            shown = yield Move(step, self.lever, **how)
            highest = max(highest, shown)
        return highest

    def _strokes(self, act: Strokes) -> Generator[Move, float, None]:
        bleeding = isinstance(act, BleedStrokes) and act.union_slack
        if isinstance(act, SlowStrokes):
            self.peaks_pa.clear()
        for _ in range(act.n):
            period = 60.0 / act.strokes_per_min * float(self.rng.uniform(0.92, 1.08))
            push = period * act.push_share
            volume = act.volume_m3 * float(self.rng.uniform(0.92, 1.08))
            highest = yield from self._push(push, volume, act.tremor, released=bleeding)
            if isinstance(act, SlowStrokes):
                self.peaks_pa.append(highest)
            yield from self._rest(period - push, released=bleeding)

    def _hold(self, act: HoldAt | SeatHold) -> Generator[Move, float, None]:
        if isinstance(act, HoldAt):
            goal = act.pressure_pa
        elif self.peaks_pa:
            goal = float(np.median(self.peaks_pa)) - act.margin_pa
        else:
            raise _refuse(
                say("a seat hold before the opening pressure was read"),
                say("Make slow strokes first; leave the seat hold out with the blank plug."),
            )
        shown = yield from self._rest(0.3)
        if shown > goal:
            while shown > 0.6 * goal:
                shown = yield from self._rest(0.05, released=True)
            yield from self._rest(0.5)
        for _ in range(MOST_PUMPING_STROKES):
            period = 60.0 / act.strokes_per_min
            push = period * act.push_share
            highest = yield from self._push(push, act.volume_m3, 0.05, stop_pa=goal)
            if highest >= goal:
                break
            yield from self._rest(period - push)
        yield from self._rest(float(self.rng.uniform(0.05, 0.3)))
        yield from self._rest(act.duration_s, valve_open=False)


@dataclass(frozen=True)
class WorkedSession:
    """A script as it was worked."""

    time_s: Array
    """Shape (N,), [s]"""
    pressure_pa: Array
    """As the gauge showed it, shape (N,), [Pa]"""
    seen: tuple[tuple[Act, Seen], ...]
    """What was seen at the end of each act"""


def work_through(bench: WorkedBench, script: Script, rng: np.random.Generator) -> WorkedSession:
    """Work a whole script at a bench by hand.

    Raises
    ------
    InputFault
        If the script asks for what cannot be done.
    """
    hand = ScriptedHand(rng, bench.stroke_m3, bench.lever)
    times, pressures, seen = [], [], []
    shown = bench.true_pressure_pa
    for act in script:
        moves = hand.act(act)
        try:
            move = next(moves)
            while True:
                time, pressure = bench.advance(
                    move.seconds, move.lever, move.valve_open, move.released, move.gauge_isolated
                )
                times.append(time)
                pressures.append(pressure)
                if len(pressure):
                    shown = float(pressure.max())
                move = moves.send(shown)
        except StopIteration:
            seen.append((act, bench.what_is_seen()))
    return WorkedSession(np.concatenate(times), np.concatenate(pressures), tuple(seen))
