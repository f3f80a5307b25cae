"""Practice: pretend benches, each worked from one screen, read through the same live gauge.

What a screen gets of a bench is what a gauge, an eye and an ear would get; the truth comes out
with the score.
"""

from __future__ import annotations

import secrets
import tempfile
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Any

import numpy as np

from nozzlewright.bench import BenchConditions, Condition, GaugeFindings
from nozzlewright.capture import Recording
from nozzlewright.edge.intake.live import FinishedRecording, LiveBench
from nozzlewright.edge.intake.live.pretend import AtHand, PretendInstrument
from nozzlewright.errors import Fault, InputFault, NotAllowed
from nozzlewright.said import say
from nozzlewright.simulator import InjectorModel
from nozzlewright.simulator.practice import (
    DECISIONS,
    FAULTS,
    LEVELS,
    PracticeCase,
    PracticeScore,
    draw_case,
    score,
)
from nozzlewright.simulator.worked import Noted, Parts, Seen
from nozzlewright.workflow.judge_set import asked_by
from nozzlewright.workflow.ports import Clock

__all__ = [
    "DECISIONS",
    "FAULTS",
    "LEVELS",
    "Fate",
    "Hand",
    "Parts",
    "PracticePlace",
    "PracticeRoom",
    "PracticeTest",
    "PretendBench",
    "Seen",
]


class Fate(StrEnum):
    """What became of a practice that is not going on."""

    ENDED = "ended"
    """It was decided or broken off."""
    LEFT_ALONE = "left alone"
    """Nobody gave a sign, and its place was needed."""
    UNKNOWN = "unknown"
    """This program knows nothing of it: it was begun before the program was started."""


MOST_FATES = 200
"""Practices of which it is kept in mind what became of them, the last ones."""
MOST_PLACES = 4
"""Practices at once: each costs some per cent of a processor."""
IDLE_S = 600.0
"""Time without a sign of its page after which a bench stands still and may be cleared away."""
NAP_S = 0.2


class _Attended(PretendInstrument):
    """A pretend bench that stands still while nobody is there."""

    is_attended: Callable[[], bool] = staticmethod(lambda: True)

    def read(self) -> Sequence[tuple[float, float]]:
        """Return the samples since the last call; none while nobody is there."""
        if self.is_attended():
            return super().read()
        time.sleep(NAP_S)
        return ()


@dataclass(frozen=True)
class Hand:
    """What a screen does at a pretend bench, and sees of it."""

    instrument: PretendInstrument

    def hand(self, message: Mapping[str, Any]) -> None:
        """Do what a page says: ``key``, ``lever``, ``valve_open``, ``released``; or nothing."""
        match message:
            case {"key": "slow" | "brisk" as pace}:
                self.instrument.hold_key(brisk=pace == "brisk")
            case {"key": _}:
                self.instrument.let_go()
            case {"lever": int() | float() as lever} if 0.0 <= lever <= 1.0:
                self.instrument.work(lever=float(lever))
            case {"valve_open": bool() as is_open}:
                self.instrument.work(valve_open=is_open)
            case {"released": bool() as released}:
                self.instrument.work(released=released)

    def at_hand(self) -> AtHand:
        """Return how lever and valves stand."""
        return self.instrument.at_hand()

    def look(self) -> Seen:
        """Return what eye and ear notice now."""
        return self.instrument.what_is_seen()

    @property
    def mounted(self) -> bool:
        """Whether the injector is mounted; else the blank plug."""
        with self.instrument.hands_on() as bench:
            return bench.mounted

    def mount(self, what: str) -> None:
        """Mount the blank ``plug`` or the ``injector``."""
        with self.instrument.hands_on() as bench:
            (bench.mount_plug if what == "plug" else bench.mount_injector)()


class PretendBench(LiveBench):
    """A bench whose instrument is a pretend one, worked from the screen.

    Parameters
    ----------
    name : str
        Names it
    make : callable
        Makes the instrument, once, when it is first read or worked
    folder : Path
        Folder of its recordings
    clock : callable
        The time now, UTC
    """

    def __init__(
        self, name: str, make: Callable[[], PretendInstrument], folder: Path, clock: Clock
    ) -> None:
        super().__init__(name, lambda: self.hand.instrument, folder, clock)
        self._make = make
        self._hand: Hand | None = None
        self._holds: InjectorModel | None = None
        self._making = threading.Lock()

    @property
    def hand(self) -> Hand:
        """What works it."""
        with self._making:
            if self._hand is None:
                self._hand = Hand(self._make())
            return self._hand

    def mount(self, what: str) -> None:
        """Mount the blank ``plug`` or the ``injector``.

        Raises
        ------
        NotAllowed
            While a recording is in progress.
        """
        refuse_while_recording(self)
        self.hand.mount(what)

    def hold(self, injector: InjectorModel) -> None:
        """Have an injector at the bench; the one that is there stays, and so while it records."""
        hand = self.hand
        with self._making:
            if injector == self._holds or self.status().recording_id is not None:
                return
            with hand.instrument.hands_on() as bench:
                bench.take_up(injector)
            self._holds = injector


def refuse_while_recording(bench: LiveBench) -> None:
    """Refuse spanner work while a recording is in progress.

    Raises
    ------
    NotAllowed
        If one is.
    """
    if bench.status().recording_id is not None:
        raise NotAllowed(
            say("the recording is still running"), say("Stop it before the line is undone")
        )


@dataclass(frozen=True)
class PracticeTest:
    """One recording of a practice, and what it shows."""

    number: int
    with_plug: bool
    findings: GaugeFindings | None
    fault: str = ""
    """Why there are none."""


class PracticePlace:
    """One apprentice at one pretend bench.

    Parameters
    ----------
    key : str
        Names it
    case : PracticeCase
        What is hidden
    clock : callable
        The time now, UTC
    speed : float
        Seconds on the bench for one by the clock; above 1 for tests
    """

    def __init__(self, key: str, case: PracticeCase, clock: Clock, speed: float = 1.0) -> None:
        self.key, self.case = key, case
        self._folder = tempfile.TemporaryDirectory(prefix="nozzlewright-practice-")
        # The kernel is compiled before the clock runs.
        case.bench.advance(0.05, 0.0)
        self.instrument = _Attended(case.bench, name="pretend bench", speed=speed)
        self.instrument.is_attended = self.is_attended
        self._hand = Hand(self.instrument)
        self.live = LiveBench(key, lambda: self.instrument, Path(self._folder.name), clock)
        self.conditions: BenchConditions = asked_by(case.sheet, case.conditions, Condition.USED)
        self.tests: list[PracticeTest] = []
        self.parts: Parts | None = None
        """What the stripped injector showed; None where it was not stripped."""
        self.begun_s = self.touched_s = time.monotonic()
        self._blank: Recording | None = None
        self._plug_was_in = False
        self.live.start()

    def is_attended(self) -> bool:
        """Whether its page has given a sign lately."""
        return time.monotonic() - self.touched_s < IDLE_S

    @property
    def minutes(self) -> float:
        """Time since it began."""
        return (time.monotonic() - self.begun_s) / 60.0

    def hand(self, message: Mapping[str, Any]) -> None:
        """Do what the page says (:class:`Hand`); any message is a sign that somebody is there."""
        self.touched_s = time.monotonic()
        self._hand.hand(message)

    def at_hand(self) -> AtHand:
        """Return how lever and valves stand."""
        return self._hand.at_hand()

    def look(self) -> Seen:
        """Return what eye and ear notice now."""
        return self._hand.look()

    @property
    def mounted(self) -> bool:
        """Whether the injector is mounted; else the blank plug."""
        return self._hand.mounted

    # -- the spanner -----------------------------------------------------------------------------

    def mount(self, what: str) -> None:
        """Mount the blank ``plug`` or the ``injector``.

        Raises
        ------
        NotAllowed
            While a recording is in progress.
        """
        refuse_while_recording(self.live)
        self._hand.mount(what)

    def strip(self) -> None:
        """Strip the injector, look at its :attr:`parts`, and put it together again.

        Raises
        ------
        NotAllowed
            While a recording is in progress.
        """
        refuse_while_recording(self.live)
        with self.instrument.hands_on() as bench:
            self.parts = bench.strip()

    def clean(self) -> None:
        """Strip and clean the injector; its :attr:`parts` are as they were before.

        Raises
        ------
        NotAllowed
            While a recording is in progress.
        """
        refuse_while_recording(self.live)
        with self.instrument.hands_on() as bench:
            self.parts = bench.clean()

    def mend_rig(self) -> None:
        """Make the rig tight; what it lost by itself before counts no more.

        Raises
        ------
        NotAllowed
            While a recording is in progress.
        """
        refuse_while_recording(self.live)
        with self.instrument.hands_on() as bench:
            bench.mend_rig()
        self._blank = None

    @property
    def shim_m(self) -> float:
        """Thickness of the shim that is in the injector, [m]."""
        with self.instrument.hands_on() as bench:
            return bench.shim_m

    def change_shim(self, thickness_m: float, where: str) -> None:
        """Put a shim of another thickness under the spring, and mount the injector again.

        Parameters
        ----------
        thickness_m : float
            Of the new one, [m]
        where : str
            Name of the field, for the faults

        Raises
        ------
        NotAllowed
            While a recording is in progress.
        InputFault
            If the spring would be slack, or no arm could pump against it.
        """
        refuse_while_recording(self.live)
        try:
            with self.instrument.hands_on() as bench:
                bench.with_shim(thickness_m)
        except InputFault as fault:
            raise InputFault(Fault(one.what, where, one.remedy) for one in fault.faults) from None

    # -- recordings ------------------------------------------------------------------------------

    def start(self) -> None:
        """Record from now on; harmless while it is recording."""
        if self.live.status().recording_id is None:
            self._plug_was_in = not self.mounted
            blank = None if self._plug_was_in else self._blank
            name = f"practice-{len(self.tests) + 1}-{secrets.token_hex(3)}"
            self.live.start_recording(name, self.conditions, blank)

    def stop(self) -> None:
        """Stop recording, and read it; harmless where nothing is being recorded."""
        if self.live.status().recording_id is None:
            return
        number = len(self.tests) + 1
        try:
            finished: FinishedRecording = self.live.stop_recording()
        except InputFault as fault:
            self.tests.append(
                PracticeTest(number, self._plug_was_in, None, str(fault.faults[0].what))
            )
            return
        if self._plug_was_in:
            self._blank = finished.recording
        self.tests.append(PracticeTest(number, self._plug_was_in, finished.findings))

    # -- the end ---------------------------------------------------------------------------------

    def acts(self) -> tuple[Noted, ...]:
        """Return what was done so far."""
        with self.instrument.hands_on() as bench:
            return bench.acts()

    def score(self, decided: str, fault: str, opening_pa: float | None) -> PracticeScore:
        """Return what was decided beside what is true.

        Raises
        ------
        InputFault
            If decision or fault is not one of those known.
        """
        with self.instrument.hands_on():
            return score(self.case, decided, fault, opening_pa, self.minutes)

    def close(self) -> None:
        """Clear the bench away."""
        self.live.stop()
        self._folder.cleanup()


class PracticeRoom:
    """The pretend benches of a program.

    Parameters
    ----------
    clock : callable
        The time now, UTC
    speed : float
        Seconds on a bench for one by the clock; above 1 for tests
    """

    def __init__(self, clock: Clock, speed: float = 1.0) -> None:
        self._clock, self._speed = clock, speed
        self._places: dict[str, PracticePlace] = {}
        self._fates: dict[str, Fate] = {}
        self._lock = threading.Lock()

    def begin(
        self, level: int, *, name: str | None = None, rng: np.random.Generator | None = None
    ) -> PracticePlace:
        """Draw a case and set its bench up.

        Parameters
        ----------
        level : int
            One of :data:`LEVELS`
        name : str, optional
            A certain case, for tests
        rng : numpy.random.Generator, optional
            Source of all chance

        Raises
        ------
        InputFault
            If there is no such level or case.
        NotAllowed
            If all places are taken.
        """
        case = draw_case(np.random.default_rng() if rng is None else rng, level, name)
        with self._lock:
            for key, place in list(self._places.items()):
                if not place.is_attended():
                    self._places.pop(key).close()
                    self._keep(key, Fate.LEFT_ALONE)
            if len(self._places) >= MOST_PLACES:
                raise NotAllowed(
                    say("all pretend benches are taken"),
                    say("End one of the practices that are going on, or wait some minutes"),
                )
            key = f"practice-{level}-{secrets.token_urlsafe(9)}"
            place = self._places[key] = PracticePlace(key, case, self._clock, self._speed)
        return place

    def at(self, key: str) -> PracticePlace | None:
        """Return a practice that is going on; None where there is none of that name."""
        place = self._places.get(key)
        if place is not None:
            place.touched_s = time.monotonic()
        return place

    def fate(self, key: str) -> Fate:
        """Return what became of a practice that is not going on."""
        return self._fates.get(key, Fate.UNKNOWN)

    def _keep(self, key: str, fate: Fate) -> None:
        self._fates[key] = fate
        while len(self._fates) > MOST_FATES:
            del self._fates[next(iter(self._fates))]

    def end(self, key: str) -> None:
        """Clear a bench away."""
        with self._lock:
            place = self._places.pop(key, None)
            if place is not None:
                self._keep(key, Fate.ENDED)
        if place is not None:
            place.close()

    def close(self) -> None:
        """Clear all benches away."""
        for key in list(self._places):
            self.end(key)
