"""The command line: a thin door. Each command is loaded only when it is called."""

from __future__ import annotations

import argparse
import errno
import io
import os
import sys
from collections.abc import Sequence
from importlib import import_module

DESCRIPTION = (
    "Reads, judges and reports bench tests of mechanical diesel injectors, with honest uncertainty."
)
TOOLS: tuple[str, ...] = ("match", "rig", "study", "sums")
"""Commands with a module of their own here: ``add_to(commands)`` is its grammar and imports
nothing heavy, ``run(chosen)`` its work."""
SAFETY = (
    "Spray pierces skin: a wound from a jet is a surgical emergency even if it is painless. Oil "
    "mist burns. The engine maker's manual and local codes come first."
)


def parser() -> argparse.ArgumentParser:
    """Return the grammar of the command line."""
    top = argparse.ArgumentParser(prog="nozzlewright", description=DESCRIPTION, epilog=SAFETY)
    top.add_argument("--version", action="store_true", help="print the version and leave")
    commands = top.add_subparsers(dest="command", metavar="COMMAND", title="commands")

    read = commands.add_parser(
        "read",
        help="read one gauge recording or card of hand readings",
        description="Read one recording of a bench session, or a card of hand readings (.toml): "
        "opening and closing pressure, holds, chatter, each with its uncertainty.",
        epilog=SAFETY,
    )
    read.add_argument("file", metavar="FILE", help="recording (CSV, TSV, .gz, Parquet) or card")
    read.add_argument(
        "--bench",
        metavar="FILE",
        help="bench conditions; default: those of the test, where a set.toml names the file, else "
        "bench.toml beside it, if there is one",
    )
    _add_study(read)
    read.add_argument("--json", action="store_true", help="print data instead of a summary")
    read.add_argument(
        "--budget",
        action="store_true",
        help="print what each uncertainty is made of, and what would make it smaller; with --json "
        "as data under the key budgets",
    )
    read.add_argument(
        "--plot", metavar="OUT", help="draw the trace with its marks, to .svg or .png"
    )
    read.add_argument("--pressure-column", metavar="NAME", help="column that holds the pressure")
    read.add_argument("--time-column", metavar="NAME", help="column that holds the time")
    read.add_argument("--pressure-unit", metavar="UNIT", help="unit of the pressure, such as bar")
    read.add_argument("--time-unit", metavar="UNIT", help="unit of the time, such as ms")
    read.add_argument(
        "--sample-rate",
        type=float,
        metavar="HZ",
        help="readings per second, for a file without times",
    )

    judge = commands.add_parser(
        "judge",
        help="judge an engine's set against its setting sheet",
        description="Judge the set in a folder (set.toml, sheet.toml, bench.toml, recordings): "
        "verdicts, next actions and, if asked, the report.",
        epilog=SAFETY,
    )
    judge.add_argument("folder", metavar="FOLDER", help="folder of the set")
    judge.add_argument(
        "--report", metavar="DIR", help="write report.pdf, report.html and the plots there"
    )
    judge.add_argument("--paper", choices=("a4", "letter"), default="a4", help="size of the pages")
    _add_study(judge)
    judge.add_argument("--json", action="store_true", help="print data instead of a summary")
    judge.add_argument("--date", metavar="YYYY-MM-DD", help="date of the report; default: today")

    simulate = commands.add_parser(
        "simulate",
        help="make recordings at the pretend bench, with known truth",
        description="Play bench sessions at the pretend bench. Each gets a folder with "
        "recording.csv, bench.toml, truth.json and, where the rig was tried with the plug, "
        "blank-plug.csv.",
        epilog=SAFETY,
    )
    simulate.add_argument("folder", metavar="FOLDER", help="where to write; made if missing")
    simulate.add_argument(
        "--kind", metavar="KIND", help="one kind of session, such as 'worn guide'; default: mixed"
    )
    simulate.add_argument("--number", type=int, default=1, metavar="N", help="how many (1)")
    simulate.add_argument("--seed", type=int, default=1, metavar="N", help="seed of chance (1)")
    simulate.add_argument(
        "--demo-set", action="store_true", help="write the demo set, ready for judge, instead"
    )
    _add_shop(commands)
    for name in TOOLS:
        import_module(f"nozzlewright.edge.cli.{name}").add_to(commands)
    return top


def _add_study(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--study",
        metavar="FILE",
        action="append",
        default=[],
        help="table of a fitter study: what it found goes into the uncertainty of readings by "
        "hand; one of opening pressures and one of drop times may be named",
    )


def _add_shop(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the commands that work on a workshop's record."""
    serve = commands.add_parser(
        "serve",
        help="serve the bench in the browser",
        description="Serve the workshop whose record is in FOLDER: book in, test, judge, hand "
        "over. Only this machine is served, unless --host says more.",
        epilog=SAFETY,
    )
    serve.add_argument("folder", metavar="FOLDER", help="folder of the record; made if missing")
    demo = commands.add_parser(
        "demo",
        help="serve the demo workshop: an invented shop with sets in all states",
        description="Make an invented workshop with sets in all states and a pretend bench, and "
        "serve it. Nothing of it belongs to any engine.",
        epilog=SAFETY,
    )
    demo.add_argument(
        "folder", metavar="FOLDER", nargs="?", help="where to keep it; default: a folder that goes"
    )
    for command in (serve, demo):
        command.add_argument(
            "--host", default="127.0.0.1", metavar="ADDRESS", help="address to listen at"
        )
        command.add_argument(
            "--port", type=_port, default=8642, metavar="N", help="port (8642); 0 takes a free one"
        )
    verify = commands.add_parser(
        "verify",
        help="find any altered, removed or reordered entry of a record",
        description="Compute the chain of a workshop's record anew and hold every file of "
        "evidence against its digest.",
        epilog=SAFETY,
    )
    verify.add_argument("folder", metavar="FOLDER", help="folder of the record, or of a backup")
    verify.add_argument(
        "--against",
        metavar="BACKUP",
        help="folder of an earlier backup, kept elsewhere: finds a record that was written anew",
    )
    backup = commands.add_parser(
        "backup",
        help="copy a record while it is in use",
        description="Write a consistent copy of a workshop's record, and read it back.",
        epilog=SAFETY,
    )
    backup.add_argument("folder", metavar="FOLDER", help="folder of the record")
    backup.add_argument("into", metavar="INTO", help="folder of the copy; must not exist")
    restore = commands.add_parser(
        "restore",
        help="make a record from a backup",
        description="Make a workshop's record from a backup, checked before and after.",
        epilog=SAFETY,
    )
    restore.add_argument("backup", metavar="BACKUP", help="folder of the backup")
    restore.add_argument("into", metavar="INTO", help="folder of the record; must not exist")
    restore.add_argument(
        "--url", metavar="URL", help="PostgreSQL database to restore into; default: SQLite"
    )


def _port(text: str) -> int:
    if text.isascii() and text.isdigit() and int(text) < 65536:
        return int(text)
    raise argparse.ArgumentTypeError(f"'{text}' is not a port. Give a number from 0 to 65535")


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line.

    Returns
    -------
    int
        0 if all went well, 2 if the input cannot be used or the disk is full, 70 if
        nozzlewright itself is at fault (EX_SOFTWARE of sysexits.h), 130 if it was stopped from
        the keyboard
    """
    _ready_streams()
    try:
        status = _run(arguments)
        # Here, and not when the interpreter leaves, what stops the output can still be caught.
        sys.stdout.flush()
        return status
    except KeyboardInterrupt:
        print("\nnozzlewright: stopped", file=sys.stderr)
        return 130
    except BrokenPipeError:
        # Somebody piped into `head`; that is no fault.
        _leave_output()
        return 0
    except Exception as fault:  # noqa: BLE001 - the last door before a person
        if isinstance(fault, OSError) and fault.errno == errno.ENOSPC:
            _leave_output()
            print("nozzlewright: the disk is full. Make room and start again", file=sys.stderr)
            return 2
        # Ours, not the user's; a person at the bench is still never shown a traceback.
        said = f"{type(fault).__name__}: {fault}".splitlines()[0][:200]
        print(f"nozzlewright: a fault in nozzlewright itself ({said})", file=sys.stderr)
        print("nozzlewright: please report it with the files that were read", file=sys.stderr)
        return 70


def _ready_streams() -> None:
    """See to it that both outputs are there, and bear any sign."""
    # None where whoever calls has closed them.
    sys.stdout = sys.stdout or open(os.devnull, "w", encoding="utf-8")  # noqa: PTH123, SIM115
    sys.stderr = sys.stderr or open(os.devnull, "w", encoding="utf-8")  # noqa: PTH123, SIM115
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            # A terminal that lacks a sign gets a question mark, not a traceback.
            stream.reconfigure(errors="replace")


def _leave_output() -> None:
    """Let what is still to be written to standard output go nowhere."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _run(arguments: Sequence[str] | None) -> int:
    grammar = parser()
    chosen = grammar.parse_args(arguments)
    if chosen.version:
        from importlib.metadata import version

        print(f"nozzlewright {version('nozzlewright')}")
        return 0
    if chosen.command is None:
        grammar.print_help()
        return 0
    from nozzlewright.errors import NozzlewrightError

    module = chosen.command if chosen.command in TOOLS else "commands"
    try:
        status: int = import_module(f"nozzlewright.edge.cli.{module}").run(chosen)
    except NozzlewrightError as fault:
        for line in str(fault).splitlines():
            print(f"nozzlewright: {line}", file=sys.stderr)
        return 2
    return status
