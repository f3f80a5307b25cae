"""``/live/{bench}``: a bench's samples as they come, with what is noticed in them.

To the page
    Binary frames, at most sixty a second: time of the first point as a float64, [s] since 1970 by
    this machine's clock, then points as pairs of float32: seconds after the first, and [Pa], NaN
    where the gauge was lost. Many samples are thinned out to the lowest and the highest of each
    span, so that no peak is lost; the last sample is always there. Text frames are JSON: how bench
    and recording stand, and the marks.
From the page
    JSON text, for a bench that is worked from the screen (practice).
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import math
import struct
import time
from collections import deque
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from fastapi import APIRouter, WebSocket, WebSocketDisconnect
from numpy.typing import NDArray
from starlette.applications import Starlette

from nozzlewright.edge.web import show
from nozzlewright.edge.web.texts import _, said
from nozzlewright.edge.wiring.live import Batch, Link, LiveBench, LiveFindings, LiveStatus
from nozzlewright.edge.wiring.practice import Hand, PracticePlace, PracticeRoom, PretendBench

router = APIRouter()

Floats = NDArray[np.float64]

FRAMES_PER_S = 60.0
SPAN_S = 0.005
"""Of a frame's samples, the lowest and highest of each such span are sent."""
FIRST_LOOK_S = 10.0
"""What a page that is opened sees of the past."""
MOST_BATCHES = 600
"""Batches that wait for a slow page; of older ones it sees nothing, the recording has them."""
SAY_EVERY_S = 0.1
SAY_AT_LEAST_EVERY_S = 0.5
"""Time between two text frames: where something changed, and where nothing did."""
MOST_OPENINGS = 60
"""Openings that are told, the last ones."""
NO_SUCH_BENCH = 4404
"""Code with which a line is closed that leads to no bench; the page then asks what has become of it
(codes from 4000 are a program's own: RFC 6455, 7.4.2)."""
LONGEST_MESSAGE = 2000
"""Signs that a page may send at once."""


def thinned(time_s: Floats, pressure_pa: Floats, span_s: float = SPAN_S) -> tuple[Floats, Floats]:
    """Return the lowest and highest sample of each span, in order, and always the last.

    Parameters
    ----------
    time_s, pressure_pa : ndarray of shape (N,)
        Samples, [s] and [Pa]; NaN where there was no pressure
    span_s : float
        Length of a span, [s]

    >>> at, pressure = thinned(np.arange(6.0), np.array([3.0, 1.0, 2.0, 9.0, 4.0, 5.0]), 3.0)
    >>> at.tolist(), pressure.tolist()
    ([0.0, 1.0, 3.0, 4.0, 5.0], [3.0, 1.0, 9.0, 4.0, 5.0])
    """
    keep = np.isnan(pressure_pa)
    sound = np.flatnonzero(~keep)
    if time_s.size <= 2 or sound.size == 0:
        return time_s, pressure_pa
    span = np.floor((time_s[sound] - time_s[0]) / span_s)
    order = np.lexsort((pressure_pa[sound], span))
    begins = np.flatnonzero(np.diff(span[order], prepend=-1.0))
    ends = np.append(begins[1:], order.size) - 1
    keep[sound[order[begins]]] = keep[sound[order[ends]]] = True
    keep[-1] = True
    return time_s[keep], pressure_pa[keep]


def frame(time_s: Floats, pressure_pa: Floats, since_1970_s: float) -> bytes:
    """Return a binary frame; `since_1970_s` is added to the times."""
    points = np.empty((time_s.size, 2), dtype="<f4")
    points[:, 0] = time_s - time_s[0]
    points[:, 1] = pressure_pa
    return struct.pack("<d", time_s[0] + since_1970_s) + points.tobytes()


def unix_less_bench_s() -> float:
    """Return what makes a time since 1970 of one on the benches' clock, [s]."""
    return time.time() - time.monotonic()


def state_of(
    status: LiveStatus, live: LiveFindings, zero_s: float | None, since_1970_s: float
) -> dict[str, Any]:
    """Return what a text frame says."""
    recording = None
    if status.recording_id is not None:
        recording = {
            "id": status.recording_id,
            "samples": status.samples,
            "behind": round(status.behind_s, 2),
            "disk": said(status.disk_fault),
        }
    shift = (zero_s or 0.0) + since_1970_s
    return {
        "bench": status.bench,
        "up": status.link is Link.CONNECTED,
        "link": _link_words(status),
        "rate": round(status.rate_hz) if status.rate_hz else None,
        "recording": recording,
        "marks": _marks(live, shift) if zero_s is not None else None,
    }


def _link_words(status: LiveStatus) -> str:
    match status.link:
        case Link.CONNECTED:
            return ""
        case Link.CONNECTING:
            return _("Reaching the instrument …")
        case Link.STOPPED:
            return _("This bench is not being read. Start the program anew to read it.")
    return _("The instrument is lost: %(reason)s. It goes on by itself when it answers again.") % {
        "reason": said(status.reason).rstrip(".")
    }


def _marks(live: LiveFindings, shift_s: float) -> dict[str, Any]:
    marks = live.marks
    hold, drop, seat = marks.hold, marks.drop, marks.seat
    last = marks.drops[-1] if marks.drops else None
    openings = [
        [one.time_s + shift_s, _number(one.lift_off_pa), _number(one.closing_pa)]
        for one in marks.openings[-MOST_OPENINGS:]
    ]
    return {
        "highest": _number(marks.peak_pa),
        "fall": _number(marks.fall_pa_per_s),
        "openings": openings,
        "count": len(marks.openings),
        "hold": hold
        and {"start": hold.start_s + shift_s, "pressure": hold.start_pa, "for": hold.elapsed_s},
        "drop": drop
        and {
            "state": drop.state.value,
            "from": drop.from_pa,
            "to": drop.to_pa,
            "start": None if drop.start_s is None else drop.start_s + shift_s,
            "seconds": drop.seconds,
            "note": said(drop.note) if drop.note else "",
        },
        "timed": [_number(one.seconds) for one in marks.drops[-3:]],
        "timed_at": last
        and last.start_s is not None
        and last.seconds is not None
        and [last.start_s + shift_s, last.start_s + last.seconds + shift_s],
        "seat": seat
        and {
            "target": _number(seat.target_pa),
            "shown": show.pressure(seat.target_pa) if seat.target_pa is not None else "",
            "in_place": seat.in_place,
            "for": seat.elapsed_s,
            "wanted": seat.wanted_s,
            "done": seat.done,
        },
    }


def _number(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else float(value)


class _Line:
    """One page that follows one bench."""

    def __init__(
        self, socket: WebSocket, bench: LiveBench, place: Hand | PracticePlace | None
    ) -> None:
        self._socket, self._bench, self._place = socket, bench, place
        self._loop = asyncio.get_running_loop()
        self._news = asyncio.Event()
        self._batches: deque[Batch] = deque(maxlen=MOST_BATCHES)
        self._zero_s: float | None = None
        self._offset_s = unix_less_bench_s()
        self._said_at = -math.inf
        self._said: dict[str, Any] = {}

    def _take(self, batch: Batch) -> None:
        """Take a batch, in a thread of the bench's."""
        self._batches.append(batch)
        with contextlib.suppress(RuntimeError):  # the loop is shutting down
            self._loop.call_soon_threadsafe(self._news.set)

    async def follow(self) -> None:
        """Send until the page is gone."""
        past = self._bench.recent()
        unsubscribe = self._bench.subscribe(self._take)
        try:
            await self._say()
            await self._send_past(past)
            while True:
                with contextlib.suppress(TimeoutError):
                    await asyncio.wait_for(self._news.wait(), SAY_EVERY_S)
                self._news.clear()
                began = self._loop.time()
                await self._send_batches()
                if began - self._said_at >= SAY_EVERY_S:
                    await self._say()
                rest = 1.0 / FRAMES_PER_S - (self._loop.time() - began)
                # A little less than a frame, so that a batch that is due now goes out at once.
                await asyncio.sleep(max(0.0, rest - 0.004))
        finally:
            # It joins a thread of the bench's, which may be about to call into this loop.
            await asyncio.to_thread(unsubscribe)

    async def _send_past(self, past: Batch) -> None:
        first = np.searchsorted(past.time_s, past.time_s[-1:] - FIRST_LOOK_S)
        if past.time_s.size:
            await self._send(past.time_s[first[0] :], past.pressure_pa[first[0] :])

    async def _send_batches(self) -> None:
        waiting: list[Batch] = []
        while self._batches:
            waiting.append(self._batches.popleft())
        if not waiting:
            return
        self._zero_s = waiting[-1].zero_s
        if len(waiting) == 1:
            await self._send(waiting[0].time_s, waiting[0].pressure_pa)
        else:
            await self._send(
                np.concatenate([batch.time_s for batch in waiting]),
                np.concatenate([batch.pressure_pa for batch in waiting]),
            )

    async def _send(self, time_s: Floats, pressure_pa: Floats) -> None:
        await self._socket.send_bytes(frame(*thinned(time_s, pressure_pa), self._offset_s))

    async def _say(self) -> None:
        now = self._loop.time()
        status, live = self._bench.status(), self._bench.live()
        told = state_of(status, live, self._zero_s, self._offset_s)
        if self._place is not None:
            hand = self._place.at_hand()
            told["hand"] = {
                "lever": round(hand.lever, 3),
                "valve_open": hand.valve_open,
                "released": hand.released,
            }
        if told == self._said and now - self._said_at < SAY_AT_LEAST_EVERY_S:
            return
        self._said, self._said_at = told, now
        await self._socket.send_text(json.dumps(told, ensure_ascii=False, allow_nan=False))


def found(app: Starlette, name: str) -> tuple[LiveBench, Hand | PracticePlace | None] | None:
    """Return a bench by its name, and what works it from the screen, where something does."""
    benches: Mapping[str, LiveBench] = getattr(app.state, "benches", {})
    if name in benches:
        bench = benches[name]
        return bench, bench.hand if isinstance(bench, PretendBench) else None
    room: PracticeRoom | None = getattr(app.state, "practice", None)
    place = room.at(name) if room is not None else None
    return (place.live, place) if place is not None else None


@router.websocket("/live/{bench}")
async def live(socket: WebSocket, bench: str) -> None:
    """Send what a bench shows, and hand on what the page does at it."""
    known = await asyncio.to_thread(found, socket.app, bench)
    await socket.accept()
    if known is None:
        # Taken first: a page is told why only of a line that stood.
        await socket.close(NO_SUCH_BENCH, "There is no such bench.")
        return
    sending = asyncio.ensure_future(_Line(socket, *known).follow())
    listening = asyncio.ensure_future(_listen(socket, known[1]))
    try:
        await asyncio.wait((sending, listening), return_when=asyncio.FIRST_COMPLETED)
    finally:
        for task in (sending, listening):
            task.cancel()
        outcomes: Sequence[Any] = await asyncio.gather(sending, listening, return_exceptions=True)
    for outcome in outcomes:
        gone = WebSocketDisconnect, asyncio.CancelledError, RuntimeError
        if isinstance(outcome, BaseException) and not isinstance(outcome, gone):
            raise outcome


async def _listen(socket: WebSocket, place: Hand | PracticePlace | None) -> None:
    """Read what the page says, until it goes."""
    while True:
        message = await socket.receive()
        if message["type"] == "websocket.disconnect":
            raise WebSocketDisconnect(message.get("code", 1005))
        text = message.get("text")
        if place is None or not text or len(text) > LONGEST_MESSAGE:
            continue
        with contextlib.suppress(ValueError, RecursionError):
            said_by_page = json.loads(text)
            if isinstance(said_by_page, dict):
                await asyncio.to_thread(place.hand, said_by_page)
