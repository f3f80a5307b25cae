"""``nozzlewright study``: how far readings or grades depend on who takes them."""

from __future__ import annotations

import argparse

from nozzlewright.edge.cli import SAFETY


def add_to(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the grammar."""
    study = commands.add_parser(
        "study",
        help="tell from a table how far readings depend on the fitter",
        description="Read a table of a fitter study (columns part, fitter, and reading or grade; "
        "each fitter reads each injector twice or more) and tell repeatability, reproducibility "
        "and what can be told apart, or how far the fitters agree on a grade.",
        epilog=SAFETY,
    )
    study.add_argument("file", metavar="FILE", help="table (CSV, TSV), one line for each reading")
    study.add_argument(
        "--tolerance",
        metavar="WIDTH",
        help="width of the band that is allowed, in the unit of the readings",
    )
    study.add_argument(
        "--unit",
        metavar="UNIT",
        default="",
        help="unit of the readings where the heading names none: bar, MPa, kgf/cm2, psi or s",
    )
    study.add_argument(
        "--grades",
        metavar="LIST",
        default="",
        help="grades in their order, the best first, with commas between",
    )
    study.add_argument("--json", action="store_true", help="print data instead of a summary")


def run(chosen: argparse.Namespace) -> int:
    """Carry it out; return the exit status."""
    from pathlib import Path

    from nozzlewright.analysis.agreement import grade_study
    from nozzlewright.analysis.gauge_study import gauge_study
    from nozzlewright.edge import wiring
    from nozzlewright.edge.intake.study_file import read_study
    from nozzlewright.errors import Fault, InputFault
    from nozzlewright.measurement import NotMeasured
    from nozzlewright.report.fitter_study import study_as_data, study_as_lines, wrapped
    from nozzlewright.said import say, speak

    path = Path(chosen.file)
    order = tuple(one.strip() for one in chosen.grades.split(",") if one.strip())
    if chosen.grades and len({one.lower() for one in order}) < 2:
        raise InputFault(
            Fault(
                say("agreement needs two grades or more"),
                "--grades",
                say("Name all of them, the best first, such as dry,damp,drop"),
            )
        )
    file = read_study(path, order, chosen.unit)
    tolerance = _tolerance(chosen.tolerance)
    if tolerance is not None and file.order:
        raise InputFault(Fault(say("grades have no tolerance"), "--tolerance", say("Leave it out")))
    study = (
        grade_study(file.grades, file.order)
        if file.order
        else gauge_study(
            file.readings,
            file.unit,
            tolerance=None if tolerance is None else file.in_si(tolerance),
        )
    )
    if isinstance(study, NotMeasured):
        raise InputFault(Fault(study.reason, path.name, study.remedy))
    if chosen.json:
        print(wiring.as_json(study_as_data(study), ascii_only=True))
    else:
        spelled = file.spelled if file.unit == "Pa" else "bar"
        known = spelled if spelled in {"bar", "MPa", "kgf/cm2", "psi"} else "bar"
        print(wrapped([speak(line, str, known) for line in study_as_lines(study)]))
    return 0


def _tolerance(text: str | None) -> float | None:
    from math import isfinite

    from nozzlewright.errors import Fault, InputFault
    from nozzlewright.said import say

    if text is None:
        return None
    try:
        width = float(text.replace(",", "."))
    except ValueError:
        width = 0.0
    if not (isfinite(width) and 0.0 < width < 1e12):
        raise InputFault(
            Fault(
                say("'{text}' is no width above zero", text=text[:30]),
                "--tolerance",
                say("Write one number, such as 8"),
            )
        )
    return width
