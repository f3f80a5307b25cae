"""A rig's card, its ``bench.toml``: brought up to the day, and what the day's check means."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import tomlkit
from tomlkit.exceptions import TOMLKitError

from nozzlewright.analysis import rig_leak
from nozzlewright.bench import BenchConditions, Fluid, Gauge, Rig, RigCheck, RigReadings
from nozzlewright.capture import Recording
from nozzlewright.edge.intake.conditions import ConditionsTable, conditions_from
from nozzlewright.edge.intake.conditions_text import check_table, conditions_text
from nozzlewright.edge.intake.toml_schema import toml_document, validated
from nozzlewright.edge.wiring.inbox import checked_recording
from nozzlewright.errors import ConditionsFault, Fault
from nozzlewright.measurement import NotMeasured, Quantity, kelvin
from nozzlewright.measurement.units import BAR
from nozzlewright.physics.viscosity import d341_constants, d341_viscosity
from nozzlewright.said import figure, in_bar, say
from nozzlewright.workflow.ports import EvidenceFolder, Readers

CARD = Path("bench.toml")
"""Name of a card that is not a file, for its faults."""
OUTLINE_POINTS = 80
LOSS_OVER_S = 10.0
"""Time over which the rig's own loss is said: about that of a drop test, [s]."""
LOSS_AT_PA = 150e5
"""Pressure at which it is said, where the hold's own is not kept, [Pa]."""
REFERENCE_C = 40.0
"""Temperature at which viscosities of test fluids are quoted (ISO 4113)."""


# --- the card of the day --------------------------------------------------------------------------


@dataclass(frozen=True)
class TimedHold:
    """A fall with the blank plug, timed by a stopwatch."""

    from_pa: float
    to_pa: float
    seconds: float


@dataclass(frozen=True)
class RecordedHold:
    """A hold with the blank plug that was recorded."""

    digest: str


Hold = TimedHold | RecordedHold | None


def new_card(
    rig: str,
    gauge: str,
    range_pa: float | None,
    accuracy_class: float | None,
    fluid: str,
    resolution_pa: float | None = None,
) -> bytes:
    """Return the card of a rig of which little more than the names is known."""
    conditions = BenchConditions(
        fluid=Fluid(fluid) if fluid else None,
        gauge=Gauge(
            identity=gauge,
            range_pa=range_pa,
            accuracy_class=accuracy_class,
            resolution_pa=resolution_pa,
        ),
        rig=Rig(identity=rig),
    )
    return conditions_text(conditions).encode()


def card_of_today(
    card: bytes,
    *,
    date: str,
    who: str,
    temperature_c: float | None,
    temperature_u_c: float | None,
    hold: Hold,
    kept_hold: bool = False,
    earlier: Iterable[bytes] = (),
    readings: RigReadings | None = None,
) -> bytes:
    """Return a card with what changes from day to day; all else, comments too, stays as it is.

    Parameters
    ----------
    card : bytes
        The card as it was
    date, who : str
        The day (ISO 8601) and the person: they name the sitting
    temperature_c, temperature_u_c : float, optional
        Oil temperature and its standard uncertainty, [°C]; None: not taken
    hold : TimedHold, RecordedHold or None
        Hold with the blank plug
    kept_hold : bool
        Whether it is that of an earlier day, as the card has it: it then stays as it is
    earlier : iterable of bytes
        Cards of the same rig before, in which the volume with the plug may stand
    readings : RigReadings, optional
        What else was read in the check; those of an earlier day never stay

    Raises
    ------
    ConditionsFault
        If the card cannot be changed.
    """
    document = parsed_card(card)
    sitting = _table(document, "sitting")
    sitting.pop("id", None)
    sitting["date"], sitting["fitter"] = date, who
    if temperature_c is not None or "fluid" in document:
        fluid = _table(document, "fluid")
        _set(fluid, "temperature_c", temperature_c)
        _set(fluid, "temperature_u_c", None if temperature_c is None else temperature_u_c)
    if hold is None:
        document.pop("blank_plug", None)
    else:
        if "blank_plug" not in document:
            _table(document, "blank_plug").update(_plug_facts(earlier))
        if not kept_hold:
            _write_hold(_table(document, "blank_plug"), hold)
            _set(document["blank_plug"], "temperature_c", temperature_c)
    document.pop("check", None)
    table = check_table(readings) if readings is not None else None
    if table is not None:
        document.add("check", table)
    changed = tomlkit.dumps(document).encode()
    checked_card(changed, "card")
    return changed


def _write_hold(plug: Any, hold: TimedHold | RecordedHold) -> None:
    if isinstance(hold, RecordedHold):
        plug.pop("drop", None)
        plug["recording"] = hold.digest
        return
    plug.pop("recording", None)
    drop = tomlkit.inline_table()
    drop.update(
        {
            "from_bar": round(hold.from_pa / BAR, 6),
            "to_bar": round(hold.to_pa / BAR, 6),
            "seconds": hold.seconds,
        }
    )
    plug["drop"] = drop


def _plug_facts(earlier: Iterable[bytes]) -> dict[str, Any]:
    """Return what is known of the rig with its plug, from the last card that says so."""
    for card in earlier:
        plug = parsed_card(card).unwrap().get("blank_plug", {})
        facts = {
            key: value
            for key, value in plug.items()
            if key not in {"recording", "drop", "temperature_c"}
        }
        if facts:
            return facts
    return {}


def parsed_card(card: bytes) -> tomlkit.TOMLDocument:
    """Return a card as a document that keeps its comments and its order.

    Raises
    ------
    ConditionsFault
        If it is no TOML, or of a kind that cannot be changed in place.
    """
    toml_document(CARD, card, ConditionsFault)
    text = card.decode("utf-8-sig").replace("\r\n", "\n").replace("\r", "\n")
    try:
        return tomlkit.parse(text)
    except TOMLKitError as fault:
        raise ConditionsFault(
            Fault(
                say("the card cannot be changed here ({why})", why=str(fault)),
                "card",
                say("Write each table once, with its keys below it"),
            )
        ) from None


def _table(document: tomlkit.TOMLDocument, name: str) -> Any:
    if name not in document:
        document.add(name, tomlkit.table())
    return document[name]


def _set(table: Any, key: str, value: float | None) -> None:
    if value is None:
        table.pop(key, None)
    else:
        table[key] = value


def checked_card(card: bytes, name: str) -> BenchConditions:
    """Return the conditions on a card.

    Raises
    ------
    ConditionsFault
        With every fault found; each says line and key, and ``where`` is the name given.
    """
    try:
        document = toml_document(CARD, card, ConditionsFault)
        return conditions_from(validated(ConditionsTable, document, ConditionsFault))
    except ConditionsFault as fault:
        raise ConditionsFault(
            Fault(
                say("{where}: {what}", where=one.where.removeprefix(f"{CARD}, "), what=one.what),
                name,
                one.remedy,
            )
            for one in fault.faults
        ) from None


# --- recordings that are files --------------------------------------------------------------------


def kept_recording(evidence: EvidenceFolder, name: str, content: bytes, where: str) -> str:
    """Read a recording that was sent, keep it, and return its digest.

    Parameters
    ----------
    evidence : EvidenceFolder
        Where it is kept
    name : str
        Name of the file, of which only the ending counts
    content : bytes
        What was sent
    where : str
        Name of the field, for the faults

    Raises
    ------
    InputFault
        If it is no recording, or too large.
    """
    return evidence.keep(content, checked_recording(name, content, where))


@dataclass(frozen=True)
class Outline:
    """A recording as a small picture: times and pressures from 0 to 1, and what they stand for."""

    points: tuple[tuple[float, float], ...]
    seconds: float
    highest_pa: float


def outline(recording: Recording) -> Outline:
    """Return the outline of a recording, its highs and lows kept."""
    time, p = recording.time_s, np.maximum(recording.pressure_pa, 0.0)
    span, top = float(time[-1] - time[0]) or 1.0, float(p.max()) or 1.0
    edges = np.unique(np.linspace(0, time.size, OUTLINE_POINTS + 1).astype(int))
    chosen: list[int] = []
    for start, end in pairwise(edges.tolist()):
        part = p[start:end]
        chosen += sorted({start + int(part.argmin()), start + int(part.argmax())})
    points = tuple(
        (round(float(time[at] - time[0]) / span, 4), round(float(p[at]) / top, 4)) for at in chosen
    )
    return Outline(points, span, top)


# --- what a check means ---------------------------------------------------------------------------


def thickness(conditions: BenchConditions) -> str:
    """Return in plain words what the oil's temperature does; what is missing, where it cannot."""
    oil, fluid = conditions.oil_temperature, conditions.fluid
    if oil is None:
        return say(
            "The oil temperature was not taken: no fall can be brought to the temperature of a "
            "sheet"
        )
    points = sorted(fluid.viscosity_points) if fluid else []
    if len(points) < 2:
        return say(
            "The card gives fewer than two viscosities of the fluid: no fall can be brought to the "
            "temperature of a sheet"
        )
    (cold, thick), (warm, thin) = points[0], points[-1]
    a, b = d341_constants(cold, thick, warm, thin)
    try:
        ratio = d341_viscosity(oil.value, a, b) / d341_viscosity(kelvin(REFERENCE_C), a, b)
    except ValueError:
        return say("At this temperature the viscosity of the fluid is not known")
    return say(
        "The oil is {ratio} times as thick as at {degrees} °C, and a fall takes about that much "
        "longer. Falls are brought to the temperature of the sheet",
        ratio=figure(ratio, ".2g"),
        degrees=figure(REFERENCE_C, ".0f"),
    )


def own_loss(readers: Readers, conditions: BenchConditions, blank: str) -> str:
    """Return in plain words what the rig loses by itself; what is missing, where it is not known.

    Parameters
    ----------
    readers : Readers
        Of the workshop
    conditions : BenchConditions
        On the card
    blank : str
        Digest of the recorded hold; or empty
    """
    timed = conditions.blank_plug is not None and conditions.blank_plug.drop_time_s is not None
    if not blank and not timed:
        return say(
            "Without a hold with the blank plug nobody knows what the rig itself loses: a leak of "
            "the rig then looks like a worn guide"
        )
    leak = rig_leak(readers.recording(blank) if blank else None, conditions)
    if leak is None or isinstance(leak, NotMeasured):
        reason = leak.reason if leak is not None else say("no hold was found in it")
        return say("The hold gives no leak of the rig: {reason}", reason=reason)
    return _loss(leak.decay_rate, leak.pressure_pa)


def kept_loss(check: RigCheck) -> str:
    """Return the same from what a check has kept; empty where it kept no leak."""
    rate = check.blank_decay_rate
    return "" if isinstance(rate, NotMeasured) else _loss(rate, LOSS_AT_PA)


def _loss(rate: Quantity, pressure_pa: float) -> str:
    lost_pa = rate.value * pressure_pa * LOSS_OVER_S
    return say(
        "With the plug, the rig by itself loses {lost} in {seconds} s at {level}. It is taken off "
        "every fall that is tested",
        lost=in_bar(max(lost_pa, 0.0), ".2f"),
        seconds=figure(LOSS_OVER_S, ".0f"),
        level=in_bar(pressure_pa, ".0f"),
    )
