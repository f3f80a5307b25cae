"""One act: read a gauge while it is being recorded.

Two kinds of answer. *Marks* are cheap and at once: what the pressure does, openings as they
happen, the hold in progress, the drop's stopwatch. *Findings* are those of
:func:`~nozzlewright.workflow.read_gauge` on all that has been recorded so far, run again whenever
its share of the time allows; the last run, on the whole recording, decides.
"""

from __future__ import annotations

import math
import threading
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import partial

import numpy as np
from numpy.typing import NDArray

from nozzlewright.analysis import RigLeak, rig_leak
from nozzlewright.analysis.gauge import gauge_correction
from nozzlewright.analysis.trace.falls import find_falls
from nozzlewright.analysis.trace.noise import Noise, noise_of
from nozzlewright.analysis.trace.openings import measure_openings
from nozzlewright.analysis.trace.rests import QUICKEST_DROP_PER_S
from nozzlewright.analysis.trace.strokes import split_openings
from nozzlewright.bench import BenchConditions, DropWindow, GaugeFindings
from nozzlewright.capture import Recording
from nozzlewright.measurement import NotMeasured
from nozzlewright.said import say
from nozzlewright.workflow.read_gauge import read_gauge

Floats = NDArray[np.float64]

BLOCK_S = 0.1
"""Samples are averaged over this time for holds and drops: whole cycles of 50 and of 60 Hz."""
LOOK_EVERY_S = 0.05
"""Time between two looks for openings."""
LOOK_BACK_S = 2.0
"""Stretch in which a look finds them; long enough for the swings of the line after the last."""
SETTLED_S = 0.25
"""Age from which an opening no longer changes: its fall and the line's swings are over."""
LEAST_PAUSE_S = 1.0
"""Time without a stroke from which the marks speak of a hold."""
LOCAL_SHARE = 0.025
"""Half-width of the stretch that says where the pressure crosses an edge, as a share of it."""
EDGE_WITHIN_S = 4.0
"""Time to either side of an edge from which samples are taken for it at the most."""
LONGEST_BLIND_S = 0.5
"""Longest gap in which an edge may be crossed without spoiling the time of the drop."""
RATE_OVER_S = 1.0
"""Time over which the current fall is taken."""
FITS_LEVEL, FITS_SIZE = 0.7, 0.25
"""A needle opens near one level with falls of one size: shares of the usual ones from which a fall
is an opening, as in the reading of a whole recording (``analysis.trace.strokes``)."""
SIGMAS_KEPT = 31
CALM_KEPT, CALM_SHARE = 600, 0.1
"""Looks of which the calmest tenth tell what the signal does when nothing happens, hum included."""


# -- samples ------------------------------------------------------------------------------------


class GrowingTrace:
    """Two columns that grow at their end, in memory that doubles when it is full.

    What :meth:`view` returned stays as it is while samples are added.
    """

    def __init__(self) -> None:
        self._columns = np.empty((2, 4096))
        self._count = 0

    def __len__(self) -> int:
        return self._count

    def add(self, time_s: Floats, pressure_pa: Floats) -> None:
        """Append samples, shape (N,), [s] and [Pa]."""
        stop = self._count + time_s.size
        if stop > self._columns.shape[1]:
            larger = np.empty((2, max(2 * self._columns.shape[1], stop)))
            larger[:, : self._count] = self._columns[:, : self._count]
            self._columns = larger
        self._columns[0, self._count : stop] = time_s
        self._columns[1, self._count : stop] = pressure_pa
        self._count = stop

    def view(self, start: int = 0) -> tuple[Floats, Floats]:
        """Return the samples from one on, not copied: shape (N,), [s] and [Pa]."""
        part = self._columns[:, start : self._count]
        return part[0], part[1]


# -- marks --------------------------------------------------------------------------------------


@dataclass(frozen=True)
class OpeningMark:
    """An opening as it happened."""

    time_s: float
    lift_off_pa: float
    closing_pa: float


@dataclass(frozen=True)
class HoldMark:
    """The pump has been at rest since."""

    start_s: float
    start_pa: float
    elapsed_s: float


class WatchState(StrEnum):
    """What the stopwatch of the drop does."""

    WAITING = "waiting"
    """For the pressure to fall through the upper edge of the window."""
    RUNNING = "running"
    STOPPED = "stopped"
    """The lower edge was reached: the time stands."""


@dataclass(frozen=True)
class DropMark:
    """The stopwatch that starts and stops itself at the edges of the sheet's window."""

    state: WatchState
    from_pa: float
    to_pa: float
    start_s: float | None = None
    seconds: float | None = None
    """Time on the watch, [s]; None while it waits."""
    note: str = ""
    """Why the last start did not count, in words; or empty."""


@dataclass(frozen=True)
class SeatMark:
    """The hold that tries the seat, a margin below the opening pressure."""

    target_pa: float | None
    """Pressure to be held, [Pa]; None where no opening pressure is known yet."""
    in_place: bool
    """Whether the pump rests and the hold began near enough to the target."""
    elapsed_s: float
    wanted_s: float | None

    @property
    def done(self) -> bool:
        """Whether it was held for as long as the sheet wants."""
        return self.in_place and self.wanted_s is not None and self.elapsed_s >= self.wanted_s


@dataclass(frozen=True)
class LiveMarks:
    """What can be told at once; pressures as the gauge shows them."""

    latest_s: float | None = None
    latest_pa: float | None = None
    peak_pa: float | None = None
    openings: tuple[OpeningMark, ...] = ()
    fall_pa_per_s: float | None = None
    """How fast the pressure falls at the moment, [Pa/s]; None while it is being pumped."""
    hold: HoldMark | None = None
    drop: DropMark | None = None
    """None where no window is stated."""
    drops: tuple[DropMark, ...] = ()
    """All that ran to their end."""
    seat: SeatMark | None = None
    """None where no margin is stated."""


class OnlineMarks:
    """Marks kept up with the samples, in bounded memory but for the openings themselves."""

    def __init__(self, conditions: BenchConditions) -> None:
        self.conditions = conditions
        self._recent = _Recent(LOOK_BACK_S)
        self._rest = _Rest(conditions)
        self._settled: list[tuple[OpeningMark, float, float]] = []
        self._fresh: list[tuple[OpeningMark, float, float]] = []
        self._sigmas: deque[float] = deque(maxlen=SIGMAS_KEPT)
        self._calm: deque[float] = deque(maxlen=CALM_KEPT)
        self._looked_s = -math.inf
        self._peak: float | None = None
        self._busy = threading.Lock()

    def add(self, time_s: Floats, pressure_pa: Floats) -> None:
        """Take samples, shape (N,), [s] and [Pa]; what is not a number is passed over."""
        sound = np.isfinite(pressure_pa)
        time_s, pressure_pa = time_s[sound], pressure_pa[sound]
        with self._busy:
            # A long piece (after a pause of the caller's) is looked at in pieces of a look-back.
            for piece in _pieces(time_s, 0.5 * LOOK_BACK_S):
                self._take(time_s[piece], pressure_pa[piece])

    def marks(self) -> LiveMarks:
        """Return the marks now."""
        with self._busy:
            if len(self._recent) == 0:
                return LiveMarks(drop=self._rest.drop_now(), seat=self._seat(()))
            openings = tuple(_alike([*self._settled, *self._fresh]))
            return LiveMarks(
                latest_s=float(self._recent.time_s[-1]),
                latest_pa=float(self._recent.pressure_pa[-1]),
                peak_pa=self._peak,
                openings=openings,
                fall_pa_per_s=self._rest.fall_pa_per_s(),
                hold=self._rest.hold(),
                drop=self._rest.drop_now(),
                drops=tuple(self._rest.drops),
                seat=self._seat(openings),
            )

    def _take(self, time_s: Floats, pressure_pa: Floats) -> None:
        if time_s.size == 0:
            return
        self._recent.add(time_s, pressure_pa)
        top = float(pressure_pa.max())
        self._peak = top if self._peak is None else max(self._peak, top)
        now = float(time_s[-1])
        if now - self._looked_s >= LOOK_EVERY_S:
            self._looked_s = now
            self._look(now)
        self._rest.add(time_s, pressure_pa, self._sigma())

    def _sigma(self) -> float:
        return float(np.median(self._sigmas)) if self._sigmas else 0.0

    def _look(self, now: float) -> None:
        """Find the openings of the last moments anew, and settle those that are over."""
        t, p = self._recent.time_s, self._recent.pressure_pa
        if t.size < 16:
            return
        interval = self._recent.interval_s
        here = noise_of(p)
        self._sigmas.append(here.sigma_pa)
        self._calm.append(_scatter(t, p, now - BLOCK_S))
        settled_s = self._settled[-1][0].time_s if self._settled else -math.inf
        begin = int(np.searchsorted(t, settled_s, side="right"))
        if float(np.ptp(p[begin:])) < 0.01 * max(self._peak or 0.0, 1.0):
            self._fresh = []
            return
        sigma = max(self._sigma(), float(np.quantile(self._calm, CALM_SHARE)))
        noise = Noise(max(sigma, here.step_pa / math.sqrt(12.0)), here.step_pa, None)
        found, _ = split_openings(find_falls(t, p, noise, interval), p, t, noise)
        lifts = measure_openings(t, p, found, noise, interval)
        self._fresh = []
        for k, top in enumerate(found.top.tolist()):
            # What lies before the last settled one was settled with it; half an interval of doubt.
            if lifts.time_s[k] <= settled_s + max(interval, 0.002):
                continue
            mark = OpeningMark(
                float(lifts.time_s[k]), float(lifts.lift_off_pa[k]), float(lifts.closing_pa[k])
            )
            one = mark, float(p[top]), float(found.size_pa[k])
            over = now - float(t[found.bottom[k]]) > SETTLED_S
            (self._settled if over else self._fresh).append(one)

    def _seat(self, openings: tuple[OpeningMark, ...]) -> SeatMark | None:
        margin, wanted = self.conditions.seat_margin_pa, self.conditions.seat_hold_s
        if margin is None:
            return None
        opening = self.conditions.opening_target_pa
        if openings:
            opening = float(np.median([one.lift_off_pa for one in openings]))
        if opening is None:
            return SeatMark(None, False, 0.0, wanted)
        target, hold = opening - margin, self._rest.hold()
        # The reach within which the reading of the whole recording takes a hold for the seat's.
        reach = max(1.5 * margin, 0.08 * opening)
        in_place = hold is not None and abs(hold.start_pa - target) <= reach
        elapsed = hold.elapsed_s if hold is not None and in_place else 0.0
        return SeatMark(target, in_place, elapsed, wanted)


def _scatter(time_s: Floats, pressure_pa: Floats, since_s: float) -> float:
    """Return the standard deviation about a straight line over the last moments, [Pa]."""
    begin = min(int(np.searchsorted(time_s, since_s)), time_s.size - 8)
    t, p = time_s[begin:] - time_s[begin:].mean(), pressure_pa[begin:] - pressure_pa[begin:].mean()
    return float(np.std(p - t * (t @ p) / (t @ t)))


def _pieces(time_s: Floats, longest_s: float) -> list[slice]:
    if time_s.size == 0:
        return []
    if time_s[-1] - time_s[0] <= longest_s:
        return [slice(0, time_s.size)]
    edges = np.searchsorted(time_s, np.arange(time_s[0], time_s[-1], longest_s)).tolist()
    return [slice(a, b) for a, b in zip(edges, [*edges[1:], time_s.size], strict=True) if b > a]


def _alike(found: list[tuple[OpeningMark, float, float]]) -> list[OpeningMark]:
    """Return the falls that are openings among all falls that may be."""
    if not found:
        return []
    top = np.array([one[1] for one in found])
    size = np.array([one[2] for one in found])
    level = float(np.quantile(top, 0.8))
    usual = float(np.quantile(size[top > 0.75 * level], 0.75))
    keep = (top > FITS_LEVEL * level) & (size > FITS_SIZE * usual)
    return [one[0] for one, kept in zip(found, keep.tolist(), strict=True) if kept]


class _Recent:
    """The samples of the last moments."""

    def __init__(self, seconds: float) -> None:
        self.seconds = seconds
        self.time_s: Floats = np.empty(0)
        self.pressure_pa: Floats = np.empty(0)

    def __len__(self) -> int:
        return int(self.time_s.size)

    @property
    def interval_s(self) -> float:
        return float(np.median(np.diff(self.time_s)))

    def add(self, time_s: Floats, pressure_pa: Floats) -> None:
        # At ten samples a second, more time is needed for the same number of them.
        first = int(np.searchsorted(self.time_s, time_s[-1] - self.seconds))
        first = min(first, max(0, self.time_s.size - 64))
        self.time_s = np.concatenate((self.time_s[first:], time_s))
        self.pressure_pa = np.concatenate((self.pressure_pa[first:], pressure_pa))


class _Rest:
    """Whether the pump rests, how fast the pressure falls meanwhile, and the drop's stopwatch."""

    def __init__(self, conditions: BenchConditions) -> None:
        gauge = gauge_correction(conditions.gauge, conditions.sitting)
        self._correct = gauge.correct
        self.window: DropWindow | None = conditions.window
        self.drop: DropMark | None = None
        self.drops: list[DropMark] = []
        self._sums = [0.0, 0.0, 0.0]
        """Of the block that is being filled: samples, times, pressures."""
        self._block_from: float | None = None
        self._blocks: deque[tuple[float, float]] = deque(maxlen=round(3.0 * RATE_OVER_S / BLOCK_S))
        self._since: tuple[float, float] | None = None
        """Time and pressure since which the pump has been at rest."""
        self._lowest = math.inf
        self._latest_s = 0.0
        self._peak = 0.0
        self._slow = _Recent(2.0 * EDGE_WITHIN_S)
        """Samples round the edges of the window."""
        self._waiting()

    # -- blocks --------------------------------------------------------------------------------

    def add(self, time_s: Floats, pressure_pa: Floats, sigma_pa: float) -> None:
        self._slow.add(time_s, pressure_pa)
        self._latest_s = float(time_s[-1])
        start = self._block_from if self._block_from is not None else float(time_s[0])
        number = np.floor((time_s - start) / BLOCK_S)
        for which in np.unique(number):
            inside = number == which
            if which > 0 and self._sums[0]:
                self._close_block(sigma_pa)
            if not self._sums[0]:
                self._block_from = start + which * BLOCK_S
            self._sums[0] += int(np.count_nonzero(inside))
            self._sums[1] += float(time_s[inside].sum())
            self._sums[2] += float(pressure_pa[inside].sum())

    def _close_block(self, sigma_pa: float) -> None:
        count, time_sum, pressure_sum = self._sums
        at, p = time_sum / count, pressure_sum / count
        grain = sigma_pa / math.sqrt(count)
        self._sums = [0.0, 0.0, 0.0]
        self._peak = max(self._peak, p)
        last = self._blocks[-1] if self._blocks else None
        self._blocks.append((at, p))
        if last is None:
            return
        fell = (last[1] - p) / max(at - last[0], 1e-9)
        quick = fell > QUICKEST_DROP_PER_S * max(last[1], 1e5) + 6.0 * grain / BLOCK_S
        self._lowest = min(self._lowest, p)
        rose = p > self._lowest + max(12.0 * grain, 0.001 * self._lowest, 5e3)
        empty = p < max(0.05 * self._peak, 3e5)
        if quick or rose or empty:
            released = empty or (quick and not rose)
            self._disturbed(
                p,
                say("it was released before the lower edge was reached")
                if released
                else say("the pump was moved before the lower edge was reached"),
            )
        elif self._since is None:
            self._since = at, p
        if self.window is not None and self._since is not None:
            self._time_the_drop(self.window, last, (at, p))

    def _disturbed(self, p: float, why: str) -> None:
        self._since = None
        self._lowest = p
        if self.drop is not None and self.drop.state is WatchState.RUNNING:
            self._waiting(why)

    # -- holds ---------------------------------------------------------------------------------

    def hold(self) -> HoldMark | None:
        """Return the hold in progress."""
        if self._since is None or self._latest_s - self._since[0] < LEAST_PAUSE_S:
            return None
        return HoldMark(*self._since, self._latest_s - self._since[0])

    def fall_pa_per_s(self) -> float | None:
        """Return the fall over the last moments of a rest."""
        if self._since is None:
            return None
        begin = max(self._since[0], self._latest_s - RATE_OVER_S)
        part = np.array([one for one in self._blocks if one[0] >= begin])
        if part.shape[0] < 3:
            return None
        t = part[:, 0] - part[:, 0].mean()
        return -float(t @ part[:, 1] / (t @ t))

    # -- the drop --------------------------------------------------------------------------------

    def drop_now(self) -> DropMark | None:
        """Return the stopwatch with its time up to the last sample."""
        drop = self.drop
        if drop is None or drop.state is not WatchState.RUNNING or drop.start_s is None:
            return drop
        return replace(drop, seconds=self._latest_s - drop.start_s)

    def _waiting(self, note: str = "") -> None:
        if self.window is not None:
            self.drop = DropMark(
                WatchState.WAITING, self.window.from_pa, self.window.to_pa, note=note
            )

    def _time_the_drop(
        self, window: DropWindow, last: tuple[float, float], block: tuple[float, float]
    ) -> None:
        before, now = self._correct(np.array([last[1], block[1]])).tolist()
        drop = self.drop
        if drop is None:
            return
        mark = partial(DropMark, from_pa=window.from_pa, to_pa=window.to_pa)
        if before >= window.from_pa > now:
            start = self._crossing(window.from_pa, block[0])
            if start is None:
                self._waiting(say("the gauge was lost while the upper edge was crossed"))
            else:
                self.drop = mark(WatchState.RUNNING, start_s=start, seconds=block[0] - start)
            return
        if drop.state is not WatchState.RUNNING or drop.start_s is None:
            return
        start = drop.start_s
        if block[0] - start < EDGE_WITHIN_S:
            # A little later the samples on the far side of the edge tell better.
            start = self._crossing(window.from_pa, start) or start
        if now <= window.to_pa:
            end = self._crossing(window.to_pa, block[0])
            if end is None:
                self._waiting(say("the gauge was lost while the lower edge was crossed"))
                return
            self.drop = mark(WatchState.STOPPED, start_s=start, seconds=end - start)
            self.drops.append(self.drop)
            return
        self.drop = mark(WatchState.RUNNING, start_s=start, seconds=block[0] - start)

    def _crossing(self, edge_pa: float, near_s: float) -> float | None:
        """Return when the pressure crossed an edge, from the samples round it; None in a gap."""
        calm = self._slow.time_s >= (self._since[0] if self._since is not None else -math.inf)
        whole, p = self._slow.time_s[calm], self._correct(self._slow.pressure_pa[calm])
        fall = self.fall_pa_per_s()
        reach = LOCAL_SHARE * edge_pa / fall if fall is not None and fall > 0.0 else math.inf
        near = np.abs(whole - near_s) <= min(max(reach, 2.5 * BLOCK_S), EDGE_WITHIN_S)
        t, p = whole[near], p[near]
        if t.size < 2 or t[-1] <= t[0]:
            return None
        # A parabola, because the fall slows down; a line where it cannot be told from noise.
        shape = np.polyfit(t - near_s, p - edge_pa, 2 if t.size >= 12 else 1)
        roots = np.roots(shape)
        roots = roots[np.isreal(roots)].real
        roots = roots[np.polyval(np.polyder(shape), roots) < 0.0]
        if roots.size == 0:
            return None
        at = near_s + float(roots[np.argmin(np.abs(roots))])
        k = int(np.clip(np.searchsorted(whole, at), 1, whole.size - 1))
        return at if whole[k] - whole[k - 1] <= LONGEST_BLIND_S else None


# -- the whole reading --------------------------------------------------------------------------

AsRecording = Callable[[Floats, Floats], Recording]


def _plain(time_s: Floats, pressure_pa: Floats) -> Recording:
    sound = np.isfinite(pressure_pa)
    return Recording(time_s[sound], pressure_pa[sound], "live", "")


class GrowingReading:
    """Findings of a recording that grows.

    Parameters
    ----------
    conditions : BenchConditions
        What the recording cannot know
    blank : Recording, RigLeak or NotMeasured, optional
        Hold with the blank plug in the injector's place, or what it says of the rig
    as_recording : callable, optional
        Makes a recording of times [s] and pressures [Pa], NaN included; raises ValueError where
        there is too little. Plain by default; the edge hands in what the reader of the finished
        file would see
    share : float
        Of the time, what :meth:`findings` may take
    timer : callable
        Seconds from anywhere on
    """

    def __init__(
        self,
        conditions: BenchConditions,
        blank: Recording | RigLeak | NotMeasured | None = None,
        *,
        as_recording: AsRecording = _plain,
        share: float = 0.1,
        timer: Callable[[], float] = time.perf_counter,
    ) -> None:
        self.conditions = conditions
        self.trace = GrowingTrace()
        self.as_of_s: float | None = None
        """Time up to which the last findings reach, [s]."""
        self._leak = rig_leak(blank, conditions) if isinstance(blank, Recording) else blank
        self._as_recording = as_recording
        self._share = share
        self._timer = timer
        self._due = -math.inf
        self._read = 0
        self._findings: GaugeFindings | None = None

    def add(self, time_s: Floats, pressure_pa: Floats) -> None:
        """Take samples, shape (N,), [s] and [Pa]; NaN where there was no pressure."""
        self.trace.add(time_s, pressure_pa)

    def findings(self) -> GaugeFindings | None:
        """Return the last findings, read anew where there is more and its share allows it.

        None as long as there is too little to read.
        """
        if len(self.trace) > self._read and self._timer() >= self._due:
            began = self._timer()
            self.finish()
            ended = self._timer()
            self._due = ended + (ended - began) * (1.0 - self._share) / self._share
        return self._findings

    def finish(self) -> GaugeFindings | None:
        """Read all that there is, whatever it takes; this reading decides."""
        time_s, pressure_pa = self.trace.view()
        self._read = time_s.size
        try:
            recording = self._as_recording(time_s, pressure_pa)
        except ValueError:
            return self._findings
        self._findings = read_gauge(recording, self.conditions, self._leak)
        self.as_of_s = float(time_s[-1])
        return self._findings


class LiveReading(GrowingReading):
    """A recording that is read while it grows: marks at once, findings as they can be had."""

    def __init__(
        self,
        conditions: BenchConditions,
        blank: Recording | RigLeak | NotMeasured | None = None,
        *,
        as_recording: AsRecording = _plain,
        share: float = 0.1,
        timer: Callable[[], float] = time.perf_counter,
    ) -> None:
        super().__init__(conditions, blank, as_recording=as_recording, share=share, timer=timer)
        self._online = OnlineMarks(conditions)

    def add(self, time_s: Floats, pressure_pa: Floats) -> None:
        """Take samples, shape (N,), [s] and [Pa]; NaN where there was no pressure."""
        super().add(time_s, pressure_pa)
        self._online.add(time_s, pressure_pa)

    def marks(self) -> LiveMarks:
        """Return what can be told at once."""
        return self._online.marks()
