"""One injector over all jobs: where it is, its pair, its opening pressures, its history."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from fastapi import APIRouter, Request
from starlette.exceptions import HTTPException
from starlette.responses import Response

from nozzlewright.edge.web import entry_words, page, show
from nozzlewright.edge.web.at_job import shop_of
from nozzlewright.edge.web.texts import HERE
from nozzlewright.measurement import Quantity
from nozzlewright.measurement.units import pressure_from_pa
from nozzlewright.records import AS_LEFT, Entry, EntryKind, Standing, resolved

router = APIRouter()

WIDTH, HEIGHT, LEFT, RIGHT, TOP, BOTTOM = 480, 260, 76, 20, 20, 44
"""Of the picture, and of what lies round its axes, [px]."""
QUIET = frozenset({EntryKind.TAKEN_IN_HAND, EntryKind.LAID_DOWN, EntryKind.STEP_DONE})
"""Entries that a history of years can do without; the story of the job has them."""


@dataclass(frozen=True)
class Reading:
    """One opening pressure in the history."""

    at: datetime
    job: str
    as_left: bool
    opening: Quantity


@dataclass(frozen=True)
class Dot:
    """A reading in the picture."""

    x: float
    y: float
    low: float
    high: float
    as_left: bool


@dataclass(frozen=True)
class Picture:
    """Opening pressures over the sittings, oldest first."""

    width: int
    height: int
    left: int
    right: int
    base: int
    dots: tuple[Dot, ...]
    lines: tuple[tuple[float, str], ...]
    """Height and words of each pressure on the axis."""
    days: tuple[tuple[float, datetime], ...]
    """Place of each day under the axis."""


@router.get("/injector/{injector}")
def show_injector(request: Request, injector: str) -> Response:
    """Show the history of an injector; its label leads here."""
    records = shop_of(request).records
    entries = records.of_injector(injector)
    row = next((r for r in records.injectors(injector, limit=5) if r.injector == injector), None)
    if row is None or not entries:
        raise HTTPException(404)
    counted, _withdrawn = resolved(entries)
    readings = readings_of(counted)
    jobs: dict[str, list[tuple[Standing, str, str]]] = {}
    for standing in counted:
        if standing.kind in QUIET:
            continue
        told = entry_words.words(standing.kind, standing.body)
        line = (standing, entry_words.kind_words(standing.kind), told)
        jobs.setdefault(standing.entry.draft.story, []).append(line)
    return page.render(
        request,
        "injector.html",
        row=row,
        markings=_last_markings(entries),
        readings=readings,
        picture=picture_of(readings),
        jobs=list(jobs.items())[::-1],
        photos=[digest for s in counted if s.kind is EntryKind.PHOTO for digest in s.evidence],
    )


def _last_markings(entries: list[Entry]) -> str:
    marked = [str(entry.body.get("markings", "")) for entry in entries if entry.body]
    return next((text for text in reversed(marked) if text), "")


def readings_of(counted: list[Standing]) -> list[Reading]:
    """Return the opening pressures that were measured, oldest first."""
    readings = []
    for standing in counted:
        if standing.kind is not EntryKind.TEST:
            continue
        summary = standing.body.get("summary") or {}
        opening = entry_words.measured(summary.get("opening_pa"), "Pa")
        if opening is not None:
            draft, sitting = standing.entry.draft, standing.body.get("sitting")
            readings.append(Reading(draft.at, draft.story, sitting == AS_LEFT, opening))
    return readings


def picture_of(readings: list[Reading]) -> Picture | None:
    """Return the picture of opening pressures, one step for each reading; None without two.

    The steps are alike: the order of the tests matters on the bench, and months of service between
    them would press those of one day together.
    """
    if len(readings) < 2:
        return None
    unit = HERE.get().pressure_unit
    spans = [_in_unit(reading.opening, unit) for reading in readings]
    edges = [edge for low, _value, high in spans for edge in (low, high)]
    step = _round_step((max(edges) - min(edges)) / 4 or max(edges) / 100)
    low = step * (min(edges) // step)
    high = step * max(-(-max(edges) // step), min(edges) // step + 1)
    base = HEIGHT - BOTTOM
    width = WIDTH - LEFT - RIGHT

    def y(value: float) -> float:
        return round(base - (value - low) / (high - low) * (base - TOP), 1)

    def x(index: int) -> float:
        return round(LEFT + width * (index + 0.5) / len(readings), 1)

    dots = tuple(
        Dot(x(index), y(value), y(below), y(above), reading.as_left)
        for index, (reading, (below, value, above)) in enumerate(zip(readings, spans, strict=True))
    )
    count = round((high - low) / step)
    values = [low + step * index for index in range(count + 1)]
    days: list[tuple[float, datetime]] = []
    for index, reading in enumerate(readings):
        if not days or reading.at.date() != days[-1][1].date():
            days.append((x(index), reading.at))
    every = -(-len(days) // 3)  # more than three dates would run into each other
    return Picture(
        width=WIDTH,
        height=HEIGHT,
        left=LEFT,
        right=WIDTH - RIGHT,
        base=base,
        dots=dots,
        lines=tuple((y(value), show.localised(f"{value:g}")) for value in values),
        days=tuple(days[::every]),
    )


def _in_unit(opening: Quantity, unit: str) -> tuple[float, float, float]:
    """Return where a pressure lies at least, the value, and where it lies at most."""
    low, high = opening.coverage_interval
    return (
        pressure_from_pa(low, unit),
        pressure_from_pa(opening.value, unit),
        pressure_from_pa(high, unit),
    )


def _round_step(rough: float) -> float:
    """Return the next of 1, 2, 5 times a power of ten.

    >>> _round_step(3.1), _round_step(0.07), _round_step(20.0)
    (5.0, 0.1, 20.0)
    """
    decade = 1.0
    while decade > rough:
        decade /= 10
    while decade * 10 <= rough:
        decade *= 10
    return next(factor * decade for factor in (1.0, 2.0, 5.0, 10.0) if factor * decade >= rough)
