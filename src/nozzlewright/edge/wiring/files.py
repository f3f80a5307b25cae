"""Files in, reading, verdict and report out."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time
from pathlib import Path
from typing import Any, Literal

from nozzlewright.analysis.gauge_study import gauge_study, reading_study
from nozzlewright.bench import BenchConditions, GaugeFindings, ReadingStudies, ReadingStudy
from nozzlewright.capture import HandReadings, Recording
from nozzlewright.edge.intake import (
    SetFolder,
    SittingFiles,
    blank_recording_path,
    check_recording_paths,
    read_conditions,
    read_hand_card,
    read_recording,
    read_set,
    read_sheet,
)
from nozzlewright.edge.intake.set_folder import SET_FILE
from nozzlewright.errors import Fault, InputFault
from nozzlewright.measurement import NotMeasured
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
    conditions: BenchConditions | None = None
    """Of the bench, as far as they are known."""


def read_file(
    path: Path,
    bench: Path | None = None,
    *,
    pressure_column: str | None = None,
    time_column: str | None = None,
    pressure_unit: str | None = None,
    time_unit: str | None = None,
    sample_rate_hz: float | None = None,
    studies: ReadingStudies | None = None,
) -> Reading:
    """Read one recording, or one card of hand readings (``.toml``).

    Parameters
    ----------
    path : Path
        The recording or card
    bench : Path, optional
        Bench conditions; without it those of the test, where a ``set.toml`` beside the file or
        in the folder above names it, else ``bench.toml`` beside the file, where there is one
    pressure_column, time_column : str, optional
        Columns to use, where the file leaves a choice
    pressure_unit, time_unit : str, optional
        Their units, where the file does not say them
    sample_rate_hz : float, optional
        Readings per second, for a file without times, [Hz]
    studies : ReadingStudies, optional
        Studies of fitters, for readings by hand

    Raises
    ------
    InputFault
        If a file cannot be used.
    """
    card = read_hand_card(path) if path.suffix.lower() == ".toml" else None
    test = None if bench is not None else _test_of(path, card)
    if test is not None:
        conditions, blank = test.conditions, _plug(test.blank_recording)
    else:
        beside = path.parent / BENCH_FILE
        if bench is None and beside.is_file():
            bench = beside
        conditions = read_conditions(bench) if bench is not None else BenchConditions()
        blank = _plug(blank_recording_path(conditions, bench) if bench is not None else None)
    if studies is not None:
        conditions = replace(conditions, studies=studies)
    evidence: Evidence
    if card is not None:
        evidence = card
    else:
        stated = {
            "pressure_column": pressure_column,
            "time_column": time_column,
            "pressure_unit": pressure_unit,
            "time_unit": time_unit,
            "sample_rate_hz": sample_rate_hz,
        }
        options: dict[str, Any] = dict(test.reading_options) if test is not None else {}
        options |= {key: value for key, value in stated.items() if value is not None}
        evidence = read_recording(path, **options)
    return Reading(evidence, read_gauge(evidence, conditions, blank), conditions)


def _test_of(path: Path, card: HandReadings | None) -> SittingFiles | None:
    """Return the test of a set to which a recording or card belongs; None if no set names it."""
    for folder in (path.parent, path.parent.parent):
        if not (folder / SET_FILE).is_file() or not path.is_file():
            continue
        for injector in read_set(folder).injectors:
            for test in (injector.as_found, injector.as_left):
                if test is None:
                    continue
                if card is not None and test.hand is not None and test.hand.digest == card.digest:
                    return test
                if test.recording is not None and test.recording.resolve() == path.resolve():
                    return test
    return None


def _plug(path: Path | None) -> Recording | None:
    return read_recording(path) if path is not None else None


@dataclass(frozen=True)
class JudgedFolder:
    """A judged set with the evidence that stands behind it."""

    judged: JudgedSet
    readings: dict[tuple[int, str], Reading]
    """By cylinder and sitting (``as found``, ``as left``)."""


def studies_in(files: Sequence[Path]) -> ReadingStudies | None:
    """Return the studies of fitters that tables hold; None where there is no table.

    Raises
    ------
    InputFault
        If one cannot be used, holds grades, or is the second of its kind.
    """
    from nozzlewright.edge.intake.study_file import SECONDS, read_study

    found: dict[str, ReadingStudy] = {}
    faults: list[Fault] = []
    for path in files:
        try:
            file = read_study(path)
        except InputFault as fault:
            faults.extend(fault.faults)
            continue
        study = gauge_study(file.readings, file.unit) if file.readings else None
        if study is None or file.unit not in {"Pa", SECONDS}:
            faults.append(
                Fault(
                    "it holds no readings with a unit of pressure or in seconds",
                    path.name,
                    "Name the unit in its heading, such as reading_bar or reading_s",
                )
            )
        elif isinstance(study, NotMeasured):
            faults.append(Fault(study.reason, path.name, study.remedy))
        elif file.unit in found:
            faults.append(
                Fault("it is the second study of one kind", path.name, "Name one of each kind")
            )
        else:
            found[file.unit] = reading_study(study, identity=path.name, name=path.name)
    if faults:
        raise InputFault(faults)
    return ReadingStudies(found.get("Pa"), found.get(SECONDS)) if found else None


def judge_folder(
    folder: Path,
    made_on: date,
    tell: Tell = lambda _: None,
    studies: ReadingStudies | None = None,
) -> JudgedFolder:
    """Judge the set in a folder.

    Parameters
    ----------
    folder : Path
        With ``set.toml``, the setting sheet, ``bench.toml`` and the recordings
    made_on : datetime.date
        Date of the report
    tell : callable
        Is told what is being done
    studies : ReadingStudies, optional
        Studies of fitters, for readings by hand

    Raises
    ------
    InputFault
        If a file of the set cannot be used.
    """
    files = read_set(folder)
    sheet = read_sheet(files.sheet)
    blanks: dict[Path, Recording] = {}
    handed_in = _handed_in(files, blanks, tell, studies or ReadingStudies())
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


def _handed_in(
    files: SetFolder, blanks: dict[Path, Recording], tell: Tell, studies: ReadingStudies
) -> SetEvidence:
    injectors = []
    for injector in files.injectors:
        tell(f"opening the files of injector {injector.cylinder}")
        injectors.append(
            InjectorEvidence(
                cylinder=injector.cylinder,
                identity=injector.identity,
                as_found=_sitting(injector.as_found, files, blanks, studies),
                as_left=_sitting(injector.as_left, files, blanks, studies),
            )
        )
    return SetEvidence(files.engine_set(()), files.conditions, tuple(injectors))


def _sitting(
    files: SittingFiles | None,
    folder: SetFolder,
    blanks: dict[Path, Recording],
    studies: ReadingStudies,
) -> SittingEvidence | None:
    if files is None:
        return None
    bench, hand = folder.bench, files.hand
    evidence: Evidence | None = hand
    if hand is not None:
        evidence = replace(hand, fitter=hand.fitter or folder.fitter)
    if files.recording is not None:
        evidence = read_recording(files.recording, **dict[str, Any](files.reading_options))
    reference, zero = (
        check_recording_paths(files.conditions, bench) if bench is not None else (None, None)
    )

    def once(path: Path | None) -> Recording | None:
        if path is not None and path not in blanks:
            blanks[path] = read_recording(path)
        return blanks[path] if path is not None else None

    return SittingEvidence(
        evidence=evidence,
        conditions=replace(files.conditions, studies=studies),
        seen=files.seen,
        shim_mm=files.shim_mm,
        spring=files.spring,
        blank=once(files.blank_recording),
        reference=once(reference),
        zero=once(zero),
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
    make_folder(into)
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


def make_folder(folder: Path) -> None:
    """Make a folder with those above it, where they are missing.

    Raises
    ------
    InputFault
        If it cannot be made.
    """
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


def write_all(folder: Path, files: Mapping[str, str | bytes]) -> None:
    """Write files by their names under a folder."""
    for name, content in files.items():
        path = folder / name
        make_folder(path.parent)
        _write(path, content)


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


def as_json(data: object, *, ascii_only: bool = False) -> str:
    """Return data as strict JSON text; with plain ASCII alone where a screen knows no more."""
    return json.dumps(data, indent=2, allow_nan=False, ensure_ascii=ascii_only)
