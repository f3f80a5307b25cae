"""The only place where readers, acts and paper are joined."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from pathlib import Path
from typing import Literal

from nozzlewright.bench import BenchConditions, GaugeFindings
from nozzlewright.capture import HandReadings, Recording
from nozzlewright.edge.intake import (
    SetFolder,
    SittingFiles,
    blank_recording_path,
    read_conditions,
    read_hand_card,
    read_recording,
    read_set,
    read_sheet,
)
from nozzlewright.errors import Fault, InputFault
from nozzlewright.workflow import (
    Evidence,
    InjectorEvidence,
    JudgedSet,
    SetEvidence,
    SittingEvidence,
    judge_the_set,
    read_gauge,
)

BENCH_FILE = "bench.toml"
"""Name under which bench conditions are found beside a recording."""

Tell = Callable[[str], None]


@dataclass(frozen=True)
class Reading:
    """Evidence with what was read from it."""

    evidence: Evidence
    findings: GaugeFindings


def read_file(
    path: Path,
    bench: Path | None = None,
    *,
    pressure_column: str | None = None,
    time_column: str | None = None,
) -> Reading:
    """Read one recording, or one card of hand readings (``.toml``).

    Parameters
    ----------
    path : Path
        The recording or card
    bench : Path, optional
        Bench conditions; without it ``bench.toml`` beside the file, where there is one
    pressure_column, time_column : str, optional
        Columns to use, where the file leaves a choice

    Raises
    ------
    InputFault
        If a file cannot be used.
    """
    beside = path.parent / BENCH_FILE
    if bench is None and beside.is_file():
        bench = beside
    conditions = read_conditions(bench) if bench is not None else BenchConditions()
    blank = _blank(conditions, bench)
    evidence: Evidence
    if path.suffix.lower() == ".toml":
        evidence = read_hand_card(path)
    else:
        evidence = read_recording(
            path, pressure_column=pressure_column, time_column=time_column
        )
    return Reading(evidence, read_gauge(evidence, conditions, blank))


def _blank(conditions: BenchConditions, bench: Path | None) -> Recording | None:
    path = blank_recording_path(conditions, bench) if bench is not None else None
    return read_recording(path) if path is not None else None


@dataclass(frozen=True)
class JudgedFolder:
    """A judged set with the evidence that stands behind it."""

    judged: JudgedSet
    readings: dict[tuple[int, str], Reading]
    """By cylinder and sitting (``as found``, ``as left``)."""


def judge_folder(folder: Path, made_on: date, tell: Tell = lambda _: None) -> JudgedFolder:
    """Judge the set in a folder.

    Parameters
    ----------
    folder : Path
        With ``set.toml``, the setting sheet, ``bench.toml`` and the recordings
    made_on : datetime.date
        Date of the report
    tell : callable
        Is told what is being done

    Raises
    ------
    InputFault
        If a file of the set cannot be used.
    """
    files = read_set(folder)
    sheet = read_sheet(files.sheet)
    blanks: dict[Path, Recording] = {}
    handed_in = _handed_in(files, blanks, tell)
    judged = judge_the_set(handed_in, sheet, made_on, tell)
    readings: dict[tuple[int, str], Reading] = {}
    for injector, tested in zip(handed_in.injectors, judged.engine_set.injectors, strict=True):
        for name, given, outcome in (
            ("as found", injector.as_found, tested.as_found),
            ("as left", injector.as_left, tested.as_left),
        ):
            if given and given.evidence is not None and outcome and outcome.gauge is not None:
                readings[injector.cylinder, name] = Reading(given.evidence, outcome.gauge)
    return JudgedFolder(judged, readings)


def _handed_in(files: SetFolder, blanks: dict[Path, Recording], tell: Tell) -> SetEvidence:
    injectors = []
    for injector in files.injectors:
        tell(f"opening the files of injector {injector.cylinder}")
        injectors.append(
            InjectorEvidence(
                cylinder=injector.cylinder,
                identity=injector.identity,
                as_found=_sitting(injector.as_found, blanks),
                as_left=_sitting(injector.as_left, blanks),
            )
        )
    return SetEvidence(
        title=files.title,
        engine=files.engine,
        customer=files.customer,
        workshop=files.workshop,
        fitter=files.fitter,
        date=files.date,
        condition=files.condition,
        invented=files.invented,
        symptoms=files.symptoms,
        conditions=files.conditions,
        injectors=tuple(injectors),
    )


def _sitting(files: SittingFiles | None, blanks: dict[Path, Recording]) -> SittingEvidence | None:
    if files is None:
        return None
    evidence: Evidence | None = files.hand
    if files.recording is not None:
        evidence = read_recording(files.recording, **files.reading_options)
    blank = files.blank_recording
    if blank is not None and blank not in blanks:
        blanks[blank] = read_recording(blank)
    return SittingEvidence(
        evidence=evidence,
        conditions=files.conditions,
        seen=files.seen,
        shim_mm=files.shim_mm,
        blank=blanks[blank] if blank is not None else None,
    )


def plot_reading(reading: Reading, path: Path) -> None:
    """Draw a recording with its marks, to ``.svg`` or ``.png``.

    Raises
    ------
    InputFault
        If there is no trace to draw, or the file cannot be written.
    """
    from nozzlewright.edge.paper import write_plot

    if isinstance(reading.evidence, HandReadings):
        raise InputFault(
            Fault("hand readings have no trace to draw", str(path), "Leave --plot out")
        )
    write_plot(reading.evidence, reading.findings, path)


def write_report(
    folder: JudgedFolder, into: Path, paper: Literal["a4", "us-letter"], tell: Tell = lambda _: None
) -> list[Path]:
    """Write the report as PDF and HTML, and the trace of each sitting as SVG.

    Returns
    -------
    list of Path
        The files written

    Raises
    ------
    InputFault
        If a file cannot be written.
    """
    from nozzlewright.edge.paper import Trace, write_html, write_pdf

    report = folder.judged.report
    traces = {
        key: Trace(reading.evidence, reading.findings)
        for key, reading in folder.readings.items()
        if isinstance(reading.evidence, Recording)
    }
    _make(into)
    pdf, page = into / "report.pdf", into / "report.html"
    created = datetime.combine(date.fromisoformat(report.made_on), time(12), tzinfo=UTC)
    tell("laying out the report")
    write_pdf(report, pdf, traces, paper=paper, created=created)
    write_html(report, page, traces)
    written = [pdf, page]
    for (cylinder, sitting), reading in folder.readings.items():
        if isinstance(reading.evidence, Recording):
            tell(f"drawing injector {cylinder} {sitting}")
            path = into / f"{cylinder}-{sitting.replace(' ', '-')}.svg"
            plot_reading(reading, path)
            written.append(path)
    return written


def _make(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        raise InputFault(
            Fault(
                f"the folder cannot be made ({fault.strerror})",
                str(folder),
                "Name a folder that can be written to",
            )
        ) from fault


def simulate_sessions(folder: Path, kind: str | None, number: int, seed: int, tell: Tell) -> None:
    """Write sessions of the pretend bench, each with bench conditions and truth beside it.

    Raises
    ------
    InputFault
        If the kind is unknown or a file cannot be written.
    """
    import numpy as np

    from nozzlewright.simulator import random_session

    for index in range(number):
        place = folder / f"session-{index + 1:03d}"
        _make(place)
        tell(f"playing session {index + 1} of {number}")
        drawn = random_session(np.random.default_rng([seed, index]), kind)
        for name, text in drawn.files().items():
            _write(place / name, text)


def write_demo_set(folder: Path, seed: int, tell: Tell) -> None:
    """Write the demo set: an invented engine's six injectors, ready to be judged.

    Raises
    ------
    InputFault
        If a file cannot be written.
    """
    from nozzlewright.simulator import demo_set

    for name, text in demo_set(seed, tell).items():
        path = folder / name
        _make(path.parent)
        _write(path, text)


def _write(path: Path, text: str | bytes) -> None:
    try:
        if isinstance(text, bytes):
            path.write_bytes(text)
        else:
            path.write_text(text, encoding="utf-8")
    except OSError as fault:
        raise InputFault(
            Fault(
                f"the file cannot be written ({fault.strerror})",
                str(path),
                "Name a folder that can be written to",
            )
        ) from fault


def as_json(data: object) -> str:
    """Return data as strict JSON text."""
    return json.dumps(data, indent=2, allow_nan=False, ensure_ascii=False)
