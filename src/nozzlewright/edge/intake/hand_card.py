"""Hand readings from a card: a gauge read by eye, a stopwatch, openings counted by ear."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from pydantic import Field, model_validator

from nozzlewright.capture import CountedDrops, HandReadings, TimedDrop, WatchedHold
from nozzlewright.edge.intake.conditions import DropTable
from nozzlewright.edge.intake.toml_schema import (
    Count,
    IsoDate,
    NonNegative,
    Objection,
    Positive,
    PositivePressure,
    Pressures,
    Table,
    Text,
    read_toml,
    validated,
)
from nozzlewright.errors import RecordingFault
from nozzlewright.measurement.units import BAR

DEFAULT_FRACTION_READ = 0.5
"""Of the smallest division, what the eye tells on a moving pointer; common practice, no source."""
DEFAULT_REACTION_TIME_S = 0.2
"""Standard uncertainty of starting and stopping together, [s]; common practice, no source."""


class SeatHoldTable(Table):
    """A pressure held for the seat, as read at its two ends."""

    start_bar: PositivePressure
    end_bar: PositivePressure | None = None
    seconds: Positive

    @model_validator(mode="after")
    def _does_not_rise(self) -> SeatHoldTable:
        if self.end_bar is not None and self.end_bar > self.start_bar:
            raise Objection(
                f"the pressure rises from {self.start_bar:g} to {self.end_bar:g} bar in a hold",
                "Write the pressure at the beginning as start, at the end as end",
            )
        return self


class LeakOffTable(Table):
    """Drops counted at the leak-off while a pressure was held."""

    pressure_bar: PositivePressure
    drops: Count
    seconds: Positive


class HandCardTable(Table):
    """One card of hand readings."""

    note: Text = ""
    fitter: Text = ""
    date: IsoDate = ""
    smallest_division_bar: PositivePressure | None = None
    fraction_read: Annotated[float, Field(strict=True, gt=0.0, le=1.0)] = DEFAULT_FRACTION_READ
    reaction_time_s: NonNegative = DEFAULT_REACTION_TIME_S
    opening_bar: Pressures = ()
    closing_bar: Pressures = ()
    openings_per_stroke: tuple[Count, ...] = ()
    drop: tuple[DropTable, ...] = ()
    seat_hold: SeatHoldTable | None = None
    leak_off: LeakOffTable | None = None

    @model_validator(mode="after")
    def _holds_readings(self) -> HandCardTable:
        pressures = (
            *self.opening_bar,
            *self.closing_bar,
            *self.drop,
            self.seat_hold,
            self.leak_off,
        )
        read = [item for item in pressures if item is not None]
        if not read and not self.openings_per_stroke:
            raise Objection(
                "no readings are on the card",
                "Add opening_bar = [..], [[drop]], [seat_hold], [leak_off] or "
                "openings_per_stroke = [..]",
            )
        if read and self.smallest_division_bar is None:
            raise Objection(
                "the dial's smallest division is not stated",
                "Add smallest_division_bar = .. (and fraction_read, if the eye read finer or "
                "coarser than half a division): without it no reading has an uncertainty",
            )
        if self.opening_bar and self.closing_bar and min(self.closing_bar) >= max(self.opening_bar):
            raise Objection(
                "the closing pressures are not below the opening pressures",
                "Closing is where the pointer comes to rest after the pop",
            )
        return self


def read_hand_card(path: Path) -> HandReadings:
    """Read a card of hand readings.

    Raises
    ------
    RecordingFault
        If the card cannot be read or breaks the schema: every fault together.
    """
    document = read_toml(path, RecordingFault)
    table = validated(HandCardTable, document, RecordingFault)
    return hand_readings(table, source=path.name, digest=document.digest)


def hand_readings(table: HandCardTable, *, source: str, digest: str) -> HandReadings:
    """Return a checked card in SI."""
    hold, counted = table.seat_hold, table.leak_off
    division = table.smallest_division_bar
    return HandReadings(
        source=source,
        digest=digest,
        opening_pa=tuple(value * BAR for value in table.opening_bar),
        closing_pa=tuple(value * BAR for value in table.closing_bar),
        drops=tuple(
            TimedDrop(drop.from_bar * BAR, drop.to_bar * BAR, drop.seconds) for drop in table.drop
        ),
        seat_hold=(
            None
            if hold is None
            else WatchedHold(
                start_pa=hold.start_bar * BAR,
                end_pa=None if hold.end_bar is None else hold.end_bar * BAR,
                seconds=hold.seconds,
            )
        ),
        leak_off=(
            None
            if counted is None
            else CountedDrops(counted.pressure_bar * BAR, counted.drops, counted.seconds)
        ),
        openings_per_stroke=table.openings_per_stroke,
        # What is read to the nearest step may lie half a step to either side.
        reading_resolution_pa=(
            0.0 if division is None else division * BAR * table.fraction_read / 2.0
        ),
        reaction_time_s=table.reaction_time_s,
        fitter=table.fitter,
    )
