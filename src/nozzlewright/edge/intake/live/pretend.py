"""The pretend bench as an instrument: it runs by the wall clock, worked from a screen.

One thread reads it; any other may work its lever meanwhile.
"""

from __future__ import annotations

import contextlib
import threading
import time
from collections.abc import Callable, Generator, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from nozzlewright.errors import InstrumentFault
from nozzlewright.simulator import HeldKey, Move, Script, ScriptedHand, Seen, WorkedBench

Floats = NDArray[np.float64]

STEP_S = 0.005
"""Longest step in which the hand's movement is followed, [s]."""
BATCH_S = 0.01
"""What one reading waits for, [s]."""
MOST_AT_ONCE_S = 1.0
"""What one reading makes up for at most, [s]; beyond it the pretend bench stood still, and the
recording has a gap."""
FOLLOW_S = 0.04
"""Time constant in which the lever follows a dragged handle, [s]: a screen tells of it some 20 to
60 times a second, an arm moves evenly. Common practice, no source."""


@dataclass(frozen=True)
class AtHand:
    """How valves and lever stand."""

    lever: float
    """0 up, 1 down"""
    valve_open: bool
    released: bool
    gauge_isolated: bool
    playing: bool
    """Whether a script is being worked"""


class PretendInstrument:
    """A worked bench behind a gauge that can be read live.

    Parameters
    ----------
    bench : WorkedBench
        What is worked; from now on only through this instrument, see :meth:`hands_on`
    name : str
        Name of the instrument
    speed : float
        Seconds on the bench for one by the clock; above 1 for tests. Time stamps are the bench's.
    rng : numpy.random.Generator, optional
        Unsteadiness of the hand
    timer : callable
        The clock, [s]
    """

    def __init__(
        self,
        bench: WorkedBench,
        *,
        name: str = "pretend bench",
        speed: float = 1.0,
        rng: np.random.Generator | None = None,
        timer: Callable[[], float] = time.monotonic,
    ) -> None:
        self.name = name
        self._bench, self._speed, self._timer = bench, speed, timer
        self._rng = np.random.default_rng() if rng is None else rng
        self._lock = threading.Lock()
        self._key = HeldKey(self._rng)
        self._goal: float | None = None
        """Where a dragged handle is; None: the key has the lever."""
        self._how = Move(0.0, 0.0)
        self._script: Generator[Move, float, None] | None = None
        self._move: Move | None = None
        self._move_left = 0.0
        self._finished = threading.Event()
        self._finished.set()
        self._highest = 0.0
        self._is_open = False
        self._since = (0.0, 0.0)  # clock and bench time from which it runs
        self._stamp_less_bench = 0.0

    # -- as an instrument ---------------------------------------------------------------------

    def open(self) -> None:
        """Start its clock."""
        with self._lock:
            # The first call loads machine code: that is not on the clock.
            how = self._how
            self._bench.advance(
                1e-3, self._bench.lever, how.valve_open, how.released, how.gauge_isolated
            )
            now = self._timer()
            self._is_open, self._since = True, (now, self._bench.now_s)
            self._stamp_less_bench = now - self._bench.now_s

    def close(self) -> None:
        """Stop its clock; the bench stays as it is."""
        with self._lock:
            self._is_open = False

    def read(self) -> Sequence[tuple[float, float]]:
        """Return the samples since the last call.

        Returns
        -------
        sequence of (float, float)
            Time on the clock, [s], and pressure, [Pa]

        Raises
        ------
        InstrumentFault
            If it is not open.
        """
        with self._lock:
            wait = BATCH_S - self._behind() / self._speed
        if wait > 0.0:
            time.sleep(wait)
        return self.catch_up()

    def catch_up(self) -> Sequence[tuple[float, float]]:
        """Return what has fallen due until now, without waiting.

        Raises
        ------
        InstrumentFault
            If it is not open.
        """
        with self._lock:
            behind = self._behind()
            if behind > MOST_AT_ONCE_S:
                left_out = behind - MOST_AT_ONCE_S
                clock, bench = self._since
                self._since = (clock + left_out / self._speed, bench)
                self._stamp_less_bench += left_out
                behind = MOST_AT_ONCE_S
            due = self._bench.now_s + behind
            found: list[tuple[float, float]] = []
            least = 0.5 / self._bench.sensor.rate_hz
            while (ahead := due - self._bench.now_s) > least:
                times, pressures = self._step(min(STEP_S, ahead))
                stamps = times + self._stamp_less_bench
                found.extend(zip(stamps.tolist(), pressures.tolist(), strict=True))
            return found

    def _behind(self) -> float:
        """Return how far the bench is behind the clock, in seconds on the bench."""
        if not self._is_open:
            raise InstrumentFault(f"{self.name} is not open")
        clock, bench = self._since
        return (self._timer() - clock) * self._speed - (self._bench.now_s - bench)

    # -- as a bench ---------------------------------------------------------------------------

    def work(
        self,
        *,
        lever: float | None = None,
        valve_open: bool | None = None,
        released: bool | None = None,
        gauge_isolated: bool | None = None,
    ) -> None:
        """Bring the lever somewhere (0 up, 1 down) and set valves; None leaves one as it is.

        A script that is being played ends.
        """
        with self._lock:
            self._stop_playing()
            if lever is not None:
                self._key.let_go()
                self._goal = min(max(lever, 0.0), 1.0)
            self._set(valve_open, released, gauge_isolated)

    def hold_key(self, brisk: bool = False) -> None:
        """Work the lever up and down by itself, slowly or briskly, until it is let go."""
        with self._lock:
            self._stop_playing()
            self._goal = None
            self._key.hold(brisk)

    def let_go(self) -> None:
        """Let the lever come up and stay there."""
        with self._lock:
            self._goal = None
            self._key.let_go()

    def play(self, script: Script) -> None:
        """Work through a script from here on, while somebody reads the instrument."""
        with self._lock:
            self._stop_playing()
            self._key.let_go()
            self._set(True, False, False)
            hand = ScriptedHand(self._rng, self._bench.stroke_m3, self._bench.lever)
            self._script = hand.moves(script)
            self._move, self._move_left = None, 0.0
            self._finished.clear()

    def wait_until_played(self, timeout_s: float) -> bool:
        """Wait for the script's end; return whether it has come."""
        return self._finished.wait(timeout_s)

    def at_hand(self) -> AtHand:
        """Return how lever and valves stand."""
        with self._lock:
            how = self._move or self._how
            return AtHand(
                lever=self._bench.lever,
                valve_open=how.valve_open,
                released=how.released,
                gauge_isolated=how.gauge_isolated,
                playing=self._script is not None,
            )

    def what_is_seen(self) -> Seen:
        """Return what eye and ear would notice now."""
        with self._lock:
            return self._bench.what_is_seen()

    @contextlib.contextmanager
    def hands_on(self) -> Iterator[WorkedBench]:
        """Give the bench itself (spanner work, truth, score) while its clock stands still."""
        with self._lock:
            yield self._bench

    def _set(
        self, valve_open: bool | None, released: bool | None, gauge_isolated: bool | None
    ) -> None:
        stated = {
            "valve_open": valve_open,
            "released": released,
            "gauge_isolated": gauge_isolated,
        }
        self._how = replace(self._how, **{k: v for k, v in stated.items() if v is not None})

    def _stop_playing(self) -> None:
        if self._script is not None:
            self._script.close()
            self._script = self._move = None
            self._goal = None
            self._finished.set()

    def _step(self, seconds: float) -> tuple[Floats, Floats]:
        """Work the bench for a step at most so long."""
        bench = self._bench
        if self._script is not None and self._move_left <= 1e-9:
            self._next_move(self._script)
        how = self._move or self._how
        if self._move is not None:
            seconds = min(seconds, self._move_left)
            lever = bench.lever + (how.lever - bench.lever) * seconds / self._move_left
            self._move_left -= seconds
        elif self._goal is not None:
            lever = bench.lever + (self._goal - bench.lever) * min(seconds / FOLLOW_S, 1.0)
        else:
            lever = self._key.moved(seconds)
        times, pressures = bench.advance(
            seconds, min(max(lever, 0.0), 1.0), how.valve_open, how.released, how.gauge_isolated
        )
        # Where the arm came less far, the key goes on from there.
        self._key.lever = bench.lever
        if len(pressures):
            self._highest = max(self._highest, float(pressures.max()))
        return times, pressures

    def _next_move(self, script: Generator[Move, float, None]) -> None:
        """Answer the last move with what the gauge showed meanwhile, and take the next one."""
        try:
            self._move = next(script) if self._move is None else script.send(self._highest)
        except StopIteration:
            self._stop_playing()
            return
        self._move_left, self._highest = self._move.seconds, 0.0
