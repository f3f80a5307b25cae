"""A rig's card with its readings, checked: what the command ``rig`` and its history need."""

from __future__ import annotations

import csv
import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any

from nozzlewright.analysis.rig_check import check_rig
from nozzlewright.bench import (
    BenchConditions,
    BlankPlug,
    BledVolume,
    LeverStrokes,
    RigCheck,
    RigReadings,
)
from nozzlewright.capture import Recording
from nozzlewright.edge.intake import (
    blank_recording_path,
    check_recording_paths,
    read_recording,
)
from nozzlewright.edge.intake.conditions import (
    CM3,
    DEFAULT_TEMPERATURE_U_K,
    MM,
    MM2,
    ConditionsTable,
    conditions_from,
)
from nozzlewright.edge.intake.toml_schema import read_toml, validated
from nozzlewright.edge.wiring.rig_slips import date_slips, reading_slips
from nozzlewright.errors import ConditionsFault, Fault, InputFault
from nozzlewright.judging import PastCheck, RigVerdict, judge_rig
from nozzlewright.judging.rig import marks_of
from nozzlewright.measurement import Cause, Quantity, kelvin
from nozzlewright.measurement.units import BAR
from nozzlewright.records.plain import rig_check_data, rig_check_from
from nozzlewright.report.rig_report import SCHEMA, rig_check_as_data
from nozzlewright.said import say


@dataclass(frozen=True)
class GivenReadings:
    """Readings given beside a card, in trade units; each takes the place of the card's own."""

    temperature_c: float | None = None
    blank: Path | None = None
    blank_drop: tuple[float, float, float] | None = None
    """From, to [bar], seconds."""
    zero_bar: float | None = None
    zero: Path | None = None
    opening_bar: tuple[float, ...] = ()
    drop: tuple[float, float, float] | None = None
    reference: Path | None = None
    bled: tuple[tuple[float, float, float], ...] = ()
    """From, to [bar], volume [cm3]."""
    graduation_cm3: float | None = None
    strokes_bar: tuple[float, ...] = ()
    piston_area_mm2: float | None = None
    travel_mm: float | None = None
    stroke_s: float | None = None


@dataclass(frozen=True)
class CheckedRig:
    """A rig checked by its card."""

    conditions: BenchConditions
    check: RigCheck
    verdict: RigVerdict

    def as_data(self) -> dict[str, Any]:
        """Return it as data; with ``record`` it can be read again as history."""
        data = rig_check_as_data(self.check, self.verdict, self.conditions)
        record = {"check": rig_check_data(self.check), "marks": marks_of(self.conditions)}
        return {**data, "record": record}


def check_card(
    card: Path,
    given: GivenReadings,
    today: date,
    day: date | None = None,
    history: Sequence[Path] = (),
) -> CheckedRig:
    """Check the rig of a card.

    Parameters
    ----------
    card : Path
        A ``bench.toml``
    given : GivenReadings
        What was read, beside what the card states
    today : datetime.date
        Day of the check where neither the card nor `day` names it
    day : datetime.date, optional
        Day of the check, before that of the card
    history : sequence of Path
        Earlier checks: cards with their readings, or data that this command printed

    Raises
    ------
    InputFault
        If a file cannot be used: faults of all the history together; if a reading or a day
        cannot be.
    """
    conditions, made_on = _read(card)
    dated = max(today, day or today, date.fromisoformat(made_on) if made_on else today)
    made_on = day.isoformat() if day is not None else made_on or today.isoformat()
    conditions = _with(conditions, given)
    slips = [
        Fault(fault.what, _option(fault.where, given) or card.name, fault.remedy)
        for fault in reading_slips(conditions)
    ]
    slips += [
        Fault(fault.what, f"{card.name}, {fault.where}", fault.remedy)
        for fault in date_slips(conditions, dated)
    ]
    if slips:
        raise InputFault(slips)
    past = [one for one in _history(history) if one.check.made_on <= made_on]
    check = _checked(conditions, made_on, card, given)
    return CheckedRig(conditions, check, judge_rig(check, conditions, past))


def _option(reading: str, given: GivenReadings) -> str:
    """Return the option by which a reading was given; empty where it stands on the card."""
    by_option = {
        "blank": given.blank_drop,
        "bled": given.bled,
        "drop": given.drop,
        "opening": given.opening_bar,
        "strokes": given.strokes_bar,
        "zero": given.zero_bar,
    }
    return f"--{reading}" if by_option[reading] else ""


def _read(card: Path) -> tuple[BenchConditions, str]:
    table = validated(ConditionsTable, read_toml(card, ConditionsFault), ConditionsFault)
    return conditions_from(table), table.sitting.date[: len("2026-03-04")]


def _with(conditions: BenchConditions, given: GivenReadings) -> BenchConditions:
    """Return the conditions with what was given laid over them."""
    readings = conditions.readings or RigReadings()
    if given.zero_bar is not None or given.zero is not None:
        zero = None if given.zero_bar is None else given.zero_bar * BAR
        readings = replace(readings, zero_pa=zero, zero_recording="")
    if given.opening_bar:
        opening = tuple(one * BAR for one in given.opening_bar)
        readings = replace(readings, opening_pa=opening, recording="")
    if given.drop is not None:
        high, low, seconds = given.drop
        readings = replace(
            readings, drop_from_pa=high * BAR, drop_to_pa=low * BAR, drop_s=seconds, recording=""
        )
    if given.bled:
        bled = tuple(BledVolume(a * BAR, b * BAR, volume * CM3) for a, b, volume in given.bled)
        readings = replace(readings, bled=bled)
    if given.graduation_cm3 is not None:
        readings = replace(readings, graduation_m3=given.graduation_cm3 * CM3)
    if given.strokes_bar:
        readings = replace(readings, strokes=_strokes(readings, given))
    changed = replace(conditions, readings=readings)
    if given.blank_drop is not None:
        high, low, seconds = given.blank_drop
        plug = conditions.blank_plug or BlankPlug()
        plug = replace(
            plug, recording="", drop_from_pa=high * BAR, drop_to_pa=low * BAR, drop_time_s=seconds
        )
        changed = replace(changed, blank_plug=plug)
    if given.temperature_c is not None:
        probe = conditions.rig.probe
        u = probe.standard_uncertainty_k if probe is not None else None
        parts = {Cause(say("temperature"), conditions.sitting): u or DEFAULT_TEMPERATURE_U_K}
        changed = replace(
            changed,
            oil_temperature=Quantity(kelvin(given.temperature_c), "K", parts, say("stated")),
        )
    return changed


def _strokes(readings: RigReadings, given: GivenReadings) -> LeverStrokes:
    was = readings.strokes
    area = given.piston_area_mm2 * MM2 if given.piston_area_mm2 else was and was.piston_area_m2
    travel = given.travel_mm * MM if given.travel_mm else was and was.travel_m
    if not area or not travel:
        raise InputFault(
            Fault(
                say("the strokes have no displacement"),
                "--strokes",
                say("Give --piston-area and --travel, or state them on the card"),
            )
        )
    return LeverStrokes(
        tuple(one * BAR for one in given.strokes_bar),
        area,
        travel,
        was.piston_area_u_m2 if was and not given.piston_area_mm2 else None,
        was.travel_u_m if was and not given.travel_mm else None,
        given.stroke_s or (was.between_s if was else None),
    )


def _checked(
    conditions: BenchConditions, made_on: str, card: Path, given: GivenReadings
) -> RigCheck:
    reference, zero = check_recording_paths(conditions, card)
    blank = given.blank or blank_recording_path(conditions, card)
    return check_rig(
        conditions,
        made_on,
        blank=_recording(blank),
        reference=_recording(given.reference or reference),
        zero=_recording(given.zero or zero),
    )


def _recording(path: Path | None) -> Recording | None:
    return read_recording(path) if path is not None else None


def _history(paths: Sequence[Path]) -> list[PastCheck]:
    past: list[PastCheck] = []
    faults: list[Fault] = []
    for path in paths:
        try:
            past.append(_earlier(path))
        except InputFault as fault:
            faults += fault.faults
    if faults:
        raise InputFault(faults)
    return sorted(past, key=lambda one: one.check.made_on)


def _earlier(path: Path) -> PastCheck:
    if path.suffix.lower() == ".toml":
        conditions, made_on = _read(path)
        if not made_on:
            raise InputFault(
                Fault(
                    say("the card does not say of which day it is"),
                    path.name,
                    say('Write date = "2026-03-04" under [sitting]'),
                )
            )
        return PastCheck(_checked(conditions, made_on, path, GivenReadings()), marks_of(conditions))
    try:
        data = json.loads(path.read_text("utf-8"))
        if data.get("schema") != SCHEMA:
            raise ValueError(data.get("schema"))
        record = data["record"]
        marks = {str(name): str(what) for name, what in record["marks"].items()}
        return PastCheck(rig_check_from(record["check"]), marks)
    except (OSError, ValueError, KeyError, TypeError, AttributeError) as fault:
        why = fault.strerror if isinstance(fault, OSError) else str(fault)[:120]
        raise InputFault(
            Fault(
                say("no earlier check can be read from it ({why})", why=why or "?"),
                path.name,
                say("Name an earlier bench.toml, or what `nozzlewright rig --json` printed"),
            )
        ) from None


def read_bled(path: Path) -> tuple[tuple[float, float, float], ...]:
    """Read volumes let out of the rig: columns from_bar, to_bar, cm3.

    Raises
    ------
    InputFault
        If the table cannot be read.
    """
    columns = ("from_bar", "to_bar", "cm3")
    remedy = say("Write the heading from_bar,to_bar,cm3 and one line for each volume")
    try:
        rows = list(csv.DictReader(path.read_text("utf-8-sig").splitlines()))
        found = [tuple(float(str(row[name])) for name in columns) for row in rows]
    except (OSError, ValueError, KeyError, TypeError) as fault:
        why = fault.strerror if isinstance(fault, OSError) else str(fault)[:120]
        raise InputFault(
            Fault(
                say("no volumes can be read from it ({why})", why=why or "?"),
                path.name,
                remedy,
            )
        ) from None
    wrong = [
        line
        for line, (high, low, volume) in enumerate(found, 2)
        if not (high > low >= 0.0 and volume > 0.0)
    ]
    if wrong or not found:
        where = path.name if not wrong else f"{path.name}, line {wrong[0]}"
        raise InputFault(
            Fault(say("the pressure does not fall, or no volume came out"), where, remedy)
        )
    return tuple((high, low, volume) for high, low, volume in found)
