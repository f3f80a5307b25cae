"""What each command does once its arguments are understood."""

from __future__ import annotations

import argparse
import shutil
import sys
import textwrap
from collections.abc import Callable
from datetime import date
from pathlib import Path

from nozzlewright.edge import wiring
from nozzlewright.errors import Fault, InputFault


def run(chosen: argparse.Namespace) -> int:
    """Carry out the chosen command; return the exit status."""
    commands: dict[str, Callable[[argparse.Namespace], int]] = {
        "read": _read,
        "judge": _judge,
        "simulate": _simulate,
    }
    command = commands.get(chosen.command, _at_the_record)
    try:
        return command(chosen)
    finally:
        _told()


def _at_the_record(chosen: argparse.Namespace) -> int:
    from nozzlewright.edge.cli import shop

    command: Callable[[argparse.Namespace, Callable[[str], None]], int] = getattr(
        shop, chosen.command
    )
    return command(chosen, _tell)


def _tell(text: str) -> None:
    """Show progress to a person who waits; keep it out of a pipe. Nothing wipes the line."""
    if not text:
        _told()
    elif sys.stderr.isatty():
        print(f"\r\033[K{text} ...", end="", file=sys.stderr, flush=True)


def _told() -> None:
    """Wipe the line of progress."""
    if sys.stderr.isatty():
        print("\r\033[K", end="", file=sys.stderr, flush=True)


def _print_data(data: object) -> None:
    text = wiring.as_json(data)
    try:
        text.encode(sys.stdout.encoding or "utf-8")
    except UnicodeEncodeError:
        text = wiring.as_json(data, ascii_only=True)
    print(text)


def _print_text(text: str) -> None:
    """Print lines; on a narrow terminal each breaks between words, and its rest is set in."""
    columns = _columns()
    for line in text.splitlines():
        indent = len(line) - len(line.lstrip()) + 2
        fits = len(line) <= columns
        print(line if fits else textwrap.fill(line, columns, subsequent_indent=" " * indent))


def _columns() -> int:
    """Return how many letters the terminal is wide; what is no terminal has no end."""
    return shutil.get_terminal_size().columns if sys.stdout.isatty() else sys.maxsize


def _read(chosen: argparse.Namespace) -> int:
    from nozzlewright.report import reading_as_data, reading_as_text

    reading = wiring.read_file(
        Path(chosen.file),
        Path(chosen.bench) if chosen.bench else None,
        pressure_column=chosen.pressure_column,
        time_column=chosen.time_column,
        pressure_unit=chosen.pressure_unit,
        time_unit=chosen.time_unit,
        sample_rate_hz=chosen.sample_rate,
        studies=wiring.studies_in([Path(file) for file in chosen.study]),
    )
    if chosen.plot:
        wiring.plot_reading(reading, Path(chosen.plot))
    if not chosen.budget:
        if chosen.json:
            _print_data(reading_as_data(reading.findings))
        else:
            _print_text(reading_as_text(reading.findings))
        return 0
    from nozzlewright.report.budget import budget_as_data, budgets_as_text, budgets_of

    budgets = budgets_of(reading.findings, reading.conditions)
    if chosen.json:
        named = {key.replace("-", "_"): budget_as_data(budget) for key, budget in budgets}
        _print_data(reading_as_data(reading.findings) | {"budgets": named})
    else:
        _print_text(budgets_as_text(budgets))
    return 0


def _judge(chosen: argparse.Namespace) -> int:
    from nozzlewright.report import judgement_as_data, judgement_as_text

    made_on = _date(chosen.date)
    if chosen.report:
        # Nobody shall wait for a report that has no place to go to.
        wiring.make_folder(Path(chosen.report))
    studies = wiring.studies_in([Path(file) for file in chosen.study])
    folder = wiring.judge_folder(Path(chosen.folder), made_on, _tell, studies)
    written: list[Path] = []
    if chosen.report:
        written = wiring.write_report(
            folder, Path(chosen.report), "a4" if chosen.paper == "a4" else "us-letter", _tell
        )
    _told()
    if chosen.json:
        _print_data(judgement_as_data(folder.judged.report))
        return 0
    print(judgement_as_text(folder.judged.report, _columns()))
    if written:
        print(f"\nReport: {written[0]} and {written[1]}")
    return 0


def _date(text: str | None) -> date:
    if text is None:
        return date.today()  # noqa: DTZ011 - the shop's own calendar day
    try:
        return date.fromisoformat(text)
    except ValueError as fault:
        raise InputFault(
            Fault(f"'{text}' is not a date", "--date", "Write it as 2026-05-31")
        ) from fault


def _simulate(chosen: argparse.Namespace) -> int:
    folder = Path(chosen.folder)
    if chosen.demo_set:
        wiring.write_demo_set(folder, chosen.seed, _tell)
        written = f"The demo set is in {folder}"
    else:
        places = wiring.simulate_sessions(folder, chosen.kind, chosen.number, chosen.seed, _tell)
        first, last = places[0].name, places[-1].name
        written = f"{folder}: {first}" + (f" to {last}" if len(places) > 1 else "")
    _told()
    print(written)
    return 0
