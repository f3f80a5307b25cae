"""``nozzlewright rig``: check a rig before anything is tested on it."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from nozzlewright.edge.cli import SAFETY

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import date
    from pathlib import Path

    from nozzlewright.edge.wiring.rig_file import GivenReadings

_READ_OR_RECORDED = {"--blank": "FROM,TO,SECONDS, such as 150,148.6,60", "--zero": "its number"}
"""Options that take a recording or what was read, and how the latter is written."""


def add_to(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the grammar."""
    rig = commands.add_parser(
        "rig",
        help="check a rig: its leak, zero, compliance and reference nozzle",
        description="Check the rig of a card (bench.toml): what it leaks by itself, the gauge's "
        "zero, its compliance, its reference nozzle, its dates; against the limits that the card "
        "states, and against earlier checks. Readings stand on the card, or are given here. "
        "The state of the rig is in the result, not in the exit status.",
        epilog=SAFETY,
    )
    rig.add_argument("card", metavar="CARD", help="the rig's bench.toml")
    rig.add_argument("--temperature", type=float, metavar="C", help="oil temperature, in °C")
    rig.add_argument(
        "--blank",
        metavar="HOLD",
        help="hold with the blank plug: a recording, or FROM,TO,SECONDS by stopwatch",
    )
    rig.add_argument(
        "--zero", metavar="BAR", help="gauge without pressure: its reading, or a recording"
    )
    rig.add_argument(
        "--opening", metavar="LIST", help="opening pressures of the reference nozzle, with commas"
    )
    rig.add_argument(
        "--drop", metavar="FROM,TO,SECONDS", help="fall of the reference nozzle, by stopwatch"
    )
    rig.add_argument("--reference", metavar="FILE", help="recording of the reference nozzle")
    rig.add_argument(
        "--bled",
        metavar="VOLUMES",
        help="oil let out: a table (from_bar, to_bar, cm3), or FROM:TO:CM3 with commas between",
    )
    rig.add_argument(
        "--graduation", type=float, metavar="CM3", help="smallest division of the cylinder"
    )
    rig.add_argument(
        "--strokes",
        metavar="LIST",
        help="pressures at rest, before the first stroke and after each, with commas",
    )
    rig.add_argument("--piston-area", type=float, metavar="MM2", help="area of the plunger")
    rig.add_argument("--travel", type=float, metavar="MM", help="travel of the plunger in a stroke")
    rig.add_argument("--stroke-time", type=float, metavar="S", help="time from stroke to stroke")
    rig.add_argument(
        "--history",
        metavar="FILE",
        nargs="+",
        default=[],
        help="earlier checks: cards with readings, or what --json printed",
    )
    rig.add_argument("--date", metavar="YYYY-MM-DD", help="day of the check; default: the card's")
    rig.add_argument("--json", action="store_true", help="print data instead of a summary")


def run(chosen: argparse.Namespace) -> int:
    """Carry it out; return the exit status."""
    from datetime import date
    from pathlib import Path

    from nozzlewright.edge import wiring
    from nozzlewright.edge.wiring.rig_file import check_card
    from nozzlewright.report.rig_report import rig_check_as_text

    checked = check_card(
        Path(chosen.card),
        _given(chosen),
        date.today(),  # noqa: DTZ011 - the shop's own calendar day
        _day(chosen.date),
        [Path(one) for one in chosen.history],
    )
    if chosen.json:
        print(wiring.as_json(checked.as_data(), ascii_only=True))
    else:
        print(rig_check_as_text(checked.check, checked.verdict, checked.conditions))
    return 0


def _given(chosen: argparse.Namespace) -> GivenReadings:
    """Return what was given on the command line; all faults together."""
    from nozzlewright.edge.wiring.rig_file import GivenReadings, read_bled
    from nozzlewright.errors import Fault, InputFault

    faults: list[Fault] = []

    def fault(option: str, what: str, remedy: str) -> None:
        faults.append(Fault(what, option, remedy))

    def numbers(option: str, text: str | None, least: float = 0.0) -> tuple[float, ...]:
        if text is None:
            return ()
        try:
            found = tuple(float(one) for one in text.split(","))
        except ValueError:
            if option in _READ_OR_RECORDED:
                what, written = "neither a file nor a reading", _READ_OR_RECORDED[option]
                fault(option, f"'{text}' is {what}", f"Name the recording, or write {written}")
            else:
                what = f"'{text}' is no list of numbers"
                fault(option, what, "Write them with commas, each with a point: 181.2,180.9")
            return ()
        if option == "--opening" and not all(one > 0.0 for one in found):
            fault(option, f"'{text}' has an opening at nothing", "Leave out strokes without a pop")
        elif not all(least <= one < 1e6 for one in found):
            fault(option, f"'{text}' has a number that cannot be", "Check it")
        return found

    def fall(option: str, text: str | None) -> tuple[float, float, float] | None:
        found = numbers(option, text)
        if not found:
            return None
        if len(found) != 3 or not found[0] > found[1] > 0.0 or not found[2] > 0.0:
            fault(option, f"'{text}' is no fall", "Write FROM,TO,SECONDS, such as 150,100,31.5")
            return None
        return found[0], found[1], found[2]

    def positive(option: str, value: float | None) -> float | None:
        if value is not None and not 0.0 < value < 1e6:
            fault(option, f"{value:g} is not more than nothing", "Check it")
        return value

    blank = _file(chosen.blank)
    zero = _file(chosen.zero)
    zero_bar = numbers("--zero", chosen.zero if zero is None else None, -1e3)
    if len(zero_bar) > 1:
        fault("--zero", f"'{chosen.zero}' is more than one reading", "Write one, such as 0.2")
    if chosen.temperature is not None and not -60.0 <= chosen.temperature <= 200.0:
        fault("--temperature", f"{chosen.temperature:g} °C is no temperature of oil", "Check it")
    bled: tuple[tuple[float, float, float], ...] = ()
    if chosen.bled is not None:
        table = _file(chosen.bled)
        if table is not None:
            try:
                bled = read_bled(table)
            except InputFault as told:
                faults += told.faults
        else:
            bled = _volumes(chosen.bled, fault)
    strokes = numbers("--strokes", chosen.strokes)
    if chosen.strokes is not None and 0 < len(strokes) < 3:
        fault("--strokes", "fewer than two strokes say nothing", "Make some five")
    given = GivenReadings(
        temperature_c=chosen.temperature,
        blank=blank,
        blank_drop=None if blank is not None else fall("--blank", chosen.blank),
        zero_bar=zero_bar[0] if zero_bar else None,
        zero=zero,
        opening_bar=numbers("--opening", chosen.opening),
        drop=fall("--drop", chosen.drop),
        reference=_named(chosen.reference),
        bled=bled,
        graduation_cm3=positive("--graduation", chosen.graduation),
        strokes_bar=strokes,
        piston_area_mm2=positive("--piston-area", chosen.piston_area),
        travel_mm=positive("--travel", chosen.travel),
        stroke_s=positive("--stroke-time", chosen.stroke_time),
    )
    if given.reference is not None and (given.opening_bar or given.drop):
        fault("--reference", "the reference nozzle is recorded and read by eye", "Keep one of them")
    if faults:
        raise InputFault(faults)
    return given


def _volumes(
    text: str, fault: Callable[[str, str, str], None]
) -> tuple[tuple[float, float, float], ...]:
    found = []
    for part in text.split(","):
        try:
            high, low, volume = (float(one) for one in part.split(":"))
        except ValueError:
            high = low = volume = 0.0
        if not (high > low >= 0.0 and volume > 0.0):
            fault(
                "--bled",
                f"'{part}' is neither a table nor a volume let out",
                "Write FROM:TO:CM3, such as 200:150:0.11, or name a table",
            )
            return ()
        found.append((high, low, volume))
    return tuple(found)


def _file(text: str | None) -> Path | None:
    """Return what was given as a file, if there is one of that name."""
    found = _named(text)
    return found if found is not None and found.is_file() else None


def _named(text: str | None) -> Path | None:
    from pathlib import Path

    return Path(text) if text else None


def _day(text: str | None) -> date | None:
    from datetime import date

    from nozzlewright.errors import Fault, InputFault

    if text is None:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise InputFault(
            Fault(f"'{text}' is not a date", "--date", "Write it as 2026-05-31")
        ) from None
