"""A second pretend bench, with other physics than the project's own, to try the analysis on.

Nothing of :mod:`nozzlewright.simulator` is used. Here the needle is a switch without mass: it
lifts at one pressure, passes oil as an orifice does, and drops at another. The line is one lump
whose stiffness grows with pressure; the leak is a straight line in pressure; the heat of pumping
is a pressure that is lost again with a time constant; the ringing of the line is a dying sine
laid over the pressure after each fall. Volumes are in mm3 and pressures in bar throughout, as a
fitter would say them; only :meth:`RivalSession.recording` hands out SI.

The truth is what the switch did: lift-offs, closings, the stroke in which each fell.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numba
import numpy as np
from scipy.signal import lfilter

from nozzlewright.capture import Recording

STEP_S = 2e-5
BAR = 1e5
MOST_OPENINGS = 20000

# Columns of a segment: what hand and valves do for a while.
_STEPS, _VOLUME, _SINE, _VALVE_RATE, _STOP_BAR, _SHUT_FALL = range(6)
_N_SEGMENT = 6


@dataclass(frozen=True)
class RivalBench:
    """Rig and injector. The numbers of :func:`draw_bench` are a workshop's usual ones."""

    opening_bar: float = 180.0
    closing_share: float = 0.75
    """Closing over opening pressure, [1]"""
    volume_mm3: float = 30e3
    modulus_bar: float = 1.4e4
    """Bulk modulus of line and oil at no pressure"""
    stiffening_per_bar: float = 7.7e-4
    decay_s: float = 30.0
    """Compliance over leak at no pressure: the pressure falls by 1/e in about this time"""
    nozzle_mm3_per_s: float = 30e3
    """Flow of the open nozzle at the opening pressure"""
    friction_bar: float = 0.3
    """A lift-off is late by anything from nothing to this"""
    sticking_bar: float = 0.0
    """Scale of the half-normal by which a sticking needle lifts late"""
    drift_share: float = 0.0
    """Change of the opening pressure from one opening to the next, [1]"""
    weep_mm3_per_s_bar: float = 0.0
    """What a worn seat passes for each bar above 5 bar below the opening pressure"""
    second_opening_bar: float = math.inf
    """Two-spring holder: pressure that takes the needle to its full lift"""
    first_flow_share: float = 0.04
    """Two-spring holder: flow at the pre-lift over that at full lift, [1]"""
    air_mm3: float = 0.0
    """Free air in the line, at no pressure"""
    heat_share: float = 0.0
    """Share of each rise of pressure that cooling takes away again, [1]"""
    cooling_s: float = 3.0
    ringing_share: float = 0.0
    """First swing of the line over the size of the fall that set it off, [1]"""
    ringing_hz: float = 600.0
    ringing_dies_s: float = 0.003

    @property
    def compliance(self) -> float:
        """Of line and oil at no pressure, air apart, [mm3/bar]."""
        return self.volume_mm3 / self.modulus_bar


@dataclass(frozen=True)
class RivalGauge:
    """Sensor and logger."""

    rate_hz: float = 1000.0
    range_bar: float = 400.0
    bits: int | None = 14
    noise_bar: float = 0.1
    lag_s: float = 3e-4
    zero_bar: float = 0.0
    hum_bar: float = 0.0
    hum_hz: float = 50.0
    jitter_share: float = 0.0
    """Standard deviation of the sampling instants over the interval, [1]; the stamps show it"""


@dataclass(frozen=True)
class Act:
    """One thing that the fitter does: a number of strokes, or a time."""

    name: str
    count: int = 1
    seconds: float = 1.0
    bar: float = 0.0
    """Pressure that a hold is pumped up to"""
    flow_mm3_per_s: float = 0.0
    """Of strokes; none: the usual one of their kind"""
    shut_fall_bar: float = 0.0
    """What the valve takes from the line as it is shut, within 3 ms"""


def idle(seconds: float = 1.0) -> Act:
    return Act("idle", seconds=seconds)


def bleed(count: int = 3) -> Act:
    """Strokes with the union slack: they move oil and make hardly any pressure."""
    return Act("bleed", count=count)


def slow(count: int = 4, flow_mm3_per_s: float = 250.0) -> Act:
    return Act("slow", count=count, flow_mm3_per_s=flow_mm3_per_s)


def fast(count: int = 6, flow_mm3_per_s: float = 2500.0) -> Act:
    return Act("fast", count=count, flow_mm3_per_s=flow_mm3_per_s)


def hold(bar: float, seconds: float, shut_fall_bar: float = 0.0, pushes: int = 0) -> Act:
    """Let off, pump up to a pressure in one to three pushes (as drawn), shut the valve, wait."""
    return Act("hold", count=pushes, bar=bar, seconds=seconds, shut_fall_bar=shut_fall_bar)


def release(seconds: float = 1.0) -> Act:
    return Act("release", seconds=seconds)


@dataclass(frozen=True)
class RivalStroke:
    """One push of the lever, with the openings that it made."""

    kind: str
    start_s: float
    end_s: float
    openings: int


@dataclass(frozen=True)
class RivalHold:
    """One stretch with the valve shut."""

    start_s: float
    end_s: float
    start_bar: float
    end_bar: float


@dataclass(frozen=True, eq=False)
class RivalSession:
    """A recording and what truly happened."""

    time_s: np.ndarray
    shown_bar: np.ndarray
    bench: RivalBench
    gauge: RivalGauge
    strokes: tuple[RivalStroke, ...]
    holds: tuple[RivalHold, ...]
    lift_time_s: np.ndarray
    lift_bar: np.ndarray
    closing_bar: np.ndarray
    true_time_s: np.ndarray
    true_bar: np.ndarray

    def recording(self, source: str = "rival bench") -> Recording:
        return as_recording(self.time_s, self.shown_bar, source)

    def counts(self, *kinds: str) -> list[int]:
        """Openings of each stroke of the kinds, in order."""
        return [one.openings for one in self.strokes if one.kind in kinds]

    def lift_offs_bar(self, kind: str) -> np.ndarray:
        """Lift-offs in the strokes of a kind."""
        at = self.lift_time_s
        inside = np.zeros(at.size, dtype=bool)
        for one in self.strokes:
            if one.kind == kind:
                inside |= (at >= one.start_s) & (at < one.end_s + 0.02)
        return self.lift_bar[inside]

    def time_of_fall_s(self, hold: RivalHold, from_bar: float, to_bar: float) -> float:
        """Time in a hold between two true pressures."""
        inside = (self.true_time_s >= hold.start_s) & (self.true_time_s < hold.end_s)
        t, p = self.true_time_s[inside], self.true_bar[inside]
        first, last = np.interp([-from_bar, -to_bar], -p, t)
        return float(last - first)


def as_recording(time_s: np.ndarray, shown_bar: np.ndarray, source: str = "made up") -> Recording:
    return Recording(np.asarray(time_s), np.asarray(shown_bar) * BAR, source, "0" * 64)


@numba.njit(cache=True)
def _play(step, segments, bench, late, pressure, events, ends):  # pragma: no cover - compiled
    (opening, share, compliance, stiffening, leak, nozzle, drift, weep, second, first_flow, air,
     heat_share, cooling, ring_share, ring_hz, ring_dies) = bench  # fmt: skip
    p, hot, lifted, stage = 0.0, 0.0, False, 0
    target, top = opening + late[0], 0.0
    swing, since = 0.0, 1e9
    count, i = 0, 0
    for s in range(segments.shape[0]):
        steps = int(segments[s, 0])
        mean_flow = segments[s, 1] / (steps * step) if steps else 0.0
        pumping = segments[s, 1] > 0.0
        fall_left = segments[s, 5]
        for k in range(steps):
            flow = 0.0
            if pumping:
                x = (k + 0.5) / steps
                if segments[s, 2] > 0.0:
                    flow = mean_flow * 0.5 * math.pi * math.sin(math.pi * x)
                else:
                    flow = mean_flow / 0.9 * min(1.0, min(x, 1.0 - x) / 0.1)
                if p >= segments[s, 4]:
                    break
            c = compliance / (1.0 + stiffening * p) + air * 1.013 / (p + 1.013) ** 2
            out = leak * p
            if weep > 0.0 and p > opening - 5.0:
                out += weep * (p - opening + 5.0)
            if lifted:
                wide = nozzle if stage == 2 else nozzle * first_flow
                out += wide * math.sqrt(p / opening)
            rise = (flow - out) / c * step - segments[s, 3] * p * step
            if fall_left > 0.0:
                # A valve that is being shut gives a little room, within 3 ms.
                given = min(fall_left, segments[s, 5] / 0.003 * step)
                rise -= given
                fall_left -= given
            if heat_share > 0.0:
                if rise > 0.0 and not lifted:
                    hot += heat_share * rise
                lost = hot / cooling * step
                hot -= lost
                rise -= lost
            p = max(p + rise, 0.0)
            if not lifted and p >= target:
                lifted, top = True, p
                stage = 2 if second == math.inf else 1
                if count < events.shape[0]:
                    events[count, 0] = (i + 1) * step
                    events[count, 1] = p
            elif lifted and stage == 1 and p >= second:
                stage, top = 2, p
                events[count, 0] = (i + 1) * step
                events[count, 1] = p
            elif lifted and p <= share * min(target, opening * 1.2):
                lifted, stage = False, 0
                if count < events.shape[0] - 1:
                    events[count, 2] = p
                    count += 1
                target = opening * (1.0 + drift * count) + late[count % late.size]
                swing, since = ring_share * (top - p), 0.0
            pressure[i] = p
            if since < 8.0 * ring_dies:
                pressure[i] += (
                    swing * math.exp(-since / ring_dies) * math.sin(2 * math.pi * ring_hz * since)
                )
            since += step
            i += 1
        ends[s] = i
    return count + (1 if lifted else 0)


class _Script:
    """Turns acts into segments and notes which of them are strokes and holds."""

    def __init__(self, bench: RivalBench, rng: np.random.Generator) -> None:
        self.bench, self.rng = bench, rng
        self.segments: list[list[float]] = []
        self.strokes: list[tuple[str, int]] = []
        self.holds: list[int] = []
        self.sine = float(rng.integers(2))

    def add(
        self,
        seconds: float,
        volume: float = 0.0,
        valve_rate: float = 0.0,
        stop_bar: float = math.inf,
        shut_fall: float = 0.0,
    ) -> int:
        steps = max(round(seconds / STEP_S), 1)
        self.segments.append([steps, volume, self.sine, valve_rate, stop_bar, shut_fall])
        return len(self.segments) - 1

    def stroke(self, kind: str, flow: float, pause_s: tuple[float, float]) -> None:
        # A stroke moves about as much as lifts the line from nothing to six tenths of opening.
        usual = max(0.6 * self.bench.compliance * self.bench.opening_bar, 400.0)
        volume = usual * self.rng.uniform(0.8, 1.2)
        seconds = volume / (flow * self.rng.uniform(0.8, 1.2))
        if kind == "hard":
            seconds = min(seconds, 0.15)
        self.strokes.append((kind, self.add(seconds, volume)))
        self.add(self.rng.uniform(*pause_s))

    def play(self, act: Act) -> None:
        if act.name == "idle":
            self.add(act.seconds)
        elif act.name == "release":
            self.add(act.seconds, valve_rate=12.0)
        elif act.name == "bleed":
            for _ in range(act.count):
                self.strokes.append(("bleed", self.add(0.4, 400.0, valve_rate=25.0)))
                self.add(0.3, valve_rate=25.0)
        elif act.name in ("slow", "fast", "hard"):
            pause = (0.4, 1.2) if act.name == "slow" else (0.2, 0.6)
            for _ in range(act.count):
                self.stroke(act.name, act.flow_mm3_per_s, pause)
        else:
            self.add(0.5, valve_rate=12.0)
            self.add(0.3)
            volume = 1.6 * self.bench.compliance * act.bar + 1.2 * self.bench.air_mm3
            pushes = act.count or int(self.rng.integers(1, 4))
            for push in range(pushes):
                stop = act.bar if push == pushes - 1 else act.bar * (push + 1) / (pushes + 0.5)
                self.strokes.append(("pump", self.add(0.7, volume, stop_bar=stop)))
                self.add(0.3 if push < pushes - 1 else 0.1)
            self.holds.append(self.add(act.seconds, shut_fall=act.shut_fall_bar))


def play(
    bench: RivalBench,
    gauge: RivalGauge,
    acts: tuple[Act, ...],
    rng: np.random.Generator,
) -> RivalSession:
    """Play acts at the rival bench."""
    script = _Script(bench, rng)
    for act in acts:
        script.play(act)
    segments = np.array(script.segments, dtype=np.float64).reshape(-1, _N_SEGMENT)
    count = int(segments[:, _STEPS].sum())
    pressure, events = np.zeros(count), np.zeros((MOST_OPENINGS, 3))
    late = bench.friction_bar * rng.random(4000)
    late += bench.sticking_bar * np.abs(rng.standard_normal(4000))
    parameters = (
        bench.opening_bar, bench.closing_share, bench.compliance, bench.stiffening_per_bar,
        bench.compliance / bench.decay_s, bench.nozzle_mm3_per_s, bench.drift_share,
        bench.weep_mm3_per_s_bar, bench.second_opening_bar, bench.first_flow_share, bench.air_mm3,
        bench.heat_share, bench.cooling_s, bench.ringing_share, bench.ringing_hz,
        bench.ringing_dies_s,
    )  # fmt: skip
    ends = np.zeros(len(segments), dtype=np.int64)
    parameters = tuple(float(x) for x in parameters)
    events = events[: _play(STEP_S, segments, parameters, late, pressure, events, ends)]
    pressure = pressure[: ends[-1]]
    true_time = (np.arange(pressure.size) + 1.0) * STEP_S
    stop_s = ends * STEP_S
    start_s = np.concatenate(([0.0], stop_s[:-1]))
    time_s, shown = _sensed(gauge, true_time, pressure, rng)
    lift = events[:, 0]
    return RivalSession(
        time_s=time_s,
        shown_bar=shown,
        bench=bench,
        gauge=gauge,
        strokes=tuple(
            RivalStroke(
                kind,
                start_s[i],
                stop_s[i],
                int(np.count_nonzero((lift >= start_s[i]) & (lift < stop_s[i] + 0.02))),
            )
            for kind, i in script.strokes
        ),
        holds=tuple(
            RivalHold(
                start_s[i],
                stop_s[i],
                *np.interp([start_s[i] + 0.01, stop_s[i] - 1e-4], true_time, pressure),
            )
            for i in script.holds
        ),
        lift_time_s=lift,
        lift_bar=events[:, 1],
        closing_bar=events[:, 2],
        true_time_s=true_time,
        true_bar=pressure,
    )


def _sensed(
    gauge: RivalGauge, true_time: np.ndarray, pressure: np.ndarray, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray]:
    """Return time stamps and pressures as the logger wrote them."""
    lagged = pressure
    if gauge.lag_s > 0.0:
        a = 1.0 - math.exp(-STEP_S / gauge.lag_s)
        lagged = lfilter([a], [1.0, a - 1.0], pressure)
    interval = 1.0 / gauge.rate_hz
    at = np.arange(0.0, true_time[-1] - interval, interval)
    if gauge.jitter_share:
        step = np.clip(gauge.jitter_share * rng.standard_normal(at.size), -0.45, 0.45)
        at = at + interval * step
    shown = np.interp(at, true_time, lagged) + gauge.zero_bar
    shown += gauge.hum_bar * np.sin(2.0 * np.pi * gauge.hum_hz * at + 1.0)
    shown += gauge.noise_bar * rng.standard_normal(at.size)
    if gauge.bits is not None:
        grain = gauge.range_bar / 2**gauge.bits
        shown = np.round(shown / grain) * grain
    return at, np.minimum(shown, gauge.range_bar)


def draw_bench(rng: np.random.Generator, **changes: float) -> RivalBench:
    """Draw a sound injector on a rig of 10 to 50 cm3."""
    drawn = RivalBench(
        opening_bar=rng.uniform(110.0, 280.0),
        closing_share=rng.uniform(0.6, 0.88),
        volume_mm3=rng.uniform(10e3, 50e3),
        modulus_bar=rng.uniform(1.2e4, 1.6e4),
        decay_s=10.0 ** rng.uniform(0.9, 2.2),
        nozzle_mm3_per_s=rng.uniform(12e3, 60e3),
        friction_bar=rng.uniform(0.0, 1.0),
        heat_share=float(rng.choice([0.0, rng.uniform(0.0, 0.1)])),
        cooling_s=rng.uniform(2.0, 6.0),
        ringing_share=float(rng.choice([0.0, rng.uniform(0.0, 0.5)])),
        ringing_hz=rng.uniform(300.0, 1500.0),
        ringing_dies_s=rng.uniform(0.001, 0.004),
    )
    return replace(drawn, **changes)


def draw_acts(rng: np.random.Generator, bench: RivalBench, **changes: Act) -> tuple[Act, ...]:
    """Draw a whole session: idle, bleed, slow, fast, seat hold, drop, release.

    Keys of `changes` replace an act by another: ``drop=hold(150.0, 20.0)``.
    """
    drop_s = float(np.clip(0.7 * bench.decay_s, 8.0, 40.0))
    acts = {
        "idle": idle(rng.uniform(0.5, 2.0)),
        "bleed": bleed(int(rng.integers(2, 5))),
        "slow": slow(int(rng.integers(3, 7)), rng.uniform(50.0, 400.0)),
        "fast": fast(int(rng.integers(5, 10)), rng.uniform(1500.0, 4000.0)),
        "seat": hold(bench.opening_bar - 15.0, 10.0),
        "drop": hold(min(0.95 * bench.opening_bar, 165.0), drop_s),
        "release": release(),
    }
    return tuple({**acts, **changes}.values())


def draw_session(
    rng: np.random.Generator, gauge: RivalGauge | None = None, **changes: float
) -> RivalSession:
    """Draw bench and acts, and play them; `changes` are those of the bench."""
    bench = draw_bench(rng, **changes)
    return play(bench, gauge or RivalGauge(), draw_acts(rng, bench), rng)
