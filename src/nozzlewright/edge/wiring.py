"""The only place where readers, acts and paper are joined."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

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
from nozzlewright.edge.intake.set_folder import SET_FILE
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

if TYPE_CHECKING:
    from nozzlewright.simulator import SimulatedSession

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
    pressure_unit: str | None = None,
    time_unit: str | None = None,
    sample_rate_hz: float | None = None,
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
    return Reading(evidence, read_gauge(evidence, conditions, blank))


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
    return SetEvidence(files.engine_set(()), files.conditions, tuple(injectors))


def _sitting(files: SittingFiles | None, blanks: dict[Path, Recording]) -> SittingEvidence | None:
    if files is None:
        return None
    evidence: Evidence | None = files.hand
    if files.recording is not None:
        evidence = read_recording(files.recording, **dict[str, Any](files.reading_options))
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


TRUTH_FILE = "truth.json"


def simulate_sessions(
    folder: Path, kind: str | None, number: int, seed: int, tell: Tell = lambda _: None
) -> list[Path]:
    """Write sessions of the pretend bench, each with its conditions and its truth beside it.

    Each session is a folder with ``recording.csv``, ``bench.toml``, ``truth.json`` and, where the
    rig was tried with the plug, ``blank-plug.csv``.

    Parameters
    ----------
    folder : Path
        Where the sessions' folders are made
    kind : str or None
        One of the simulator's kinds; None draws one for each session
    number : int
        How many
    seed : int
        Start of chance: session n is the same however many are asked for
    tell : callable
        Is told what is being done

    Returns
    -------
    list of Path
        The folders of the sessions

    Raises
    ------
    InputFault
        If kind, number or seed cannot be used, or a file cannot be written.
    """
    import numpy as np

    from nozzlewright.edge.intake.conditions_text import conditions_text
    from nozzlewright.edge.intake.evidence_text import recording_text
    from nozzlewright.simulator import KINDS, random_session

    faults = []
    if kind is not None and kind not in KINDS:
        faults.append(
            Fault(f"'{kind}' is no kind of session", "--kind", f"Give one of: {', '.join(KINDS)}")
        )
    if number < 1:
        faults.append(Fault(f"{number} sessions are asked for", "--number", "Give 1 or more"))
    faults += _seed_faults(seed)
    if faults:
        raise InputFault(faults)
    places = []
    for index in range(number):
        tell(f"playing session {index + 1} of {number}")
        drawn = random_session(np.random.default_rng([seed, index]), kind)
        files: dict[str, str | bytes] = {
            "recording.csv": recording_text(drawn.session.time_s, drawn.session.pressure_pa),
            BENCH_FILE: conditions_text(
                drawn.conditions, f"Pretend bench, {drawn.kind}: what the fitter knows of it."
            ),
            TRUTH_FILE: as_json({"kind": drawn.kind, **drawn.session.truth}) + "\n",
        }
        if drawn.blank is not None and drawn.conditions.blank_plug is not None:
            files[drawn.conditions.blank_plug.recording] = recording_text(
                drawn.blank.time_s, drawn.blank.pressure_pa
            )
        place = folder / f"session-{index + 1:03d}"
        _write_all(place, files)
        places.append(place)
    return places


def write_demo_set(folder: Path, seed: int, tell: Tell = lambda _: None) -> None:
    """Write the demo set: an invented engine's six injectors, ready to be judged.

    Raises
    ------
    InputFault
        If the seed cannot be used or a file cannot be written.
    """
    from importlib.resources import files as resources

    import numpy as np

    from nozzlewright.edge.intake.conditions_text import conditions_text
    from nozzlewright.edge.intake.evidence_text import Dialect, hand_card_text, recording_text
    from nozzlewright.simulator.demo import BLANK_FILE, demo_set

    if faults := _seed_faults(seed):
        raise InputFault(faults)
    demo = demo_set(np.random.default_rng(seed), tell)
    tell("writing the set")
    texts = resources("nozzlewright.edge") / "demo_set"
    plain = Dialect(time_decimals=2, remarks=_DEMO_REMARKS)
    files: dict[str, str | bytes] = {
        **{name: (texts / name).read_bytes() for name in ("set.toml", "sheet.toml")},
        BENCH_FILE: conditions_text(demo.conditions, "Invented, like all of this set."),
        BLANK_FILE: recording_text(demo.blank.time_s, demo.blank.pressure_pa, plain),
        TRUTH_FILE: as_json(demo.truth()) + "\n",
    }
    for test in demo.tests:
        if test.card is not None and test.eye is not None:
            files[f"cards/{test.name}.toml"] = hand_card_text(
                test.card, test.eye.division_pa, "invented; read from a dial, by stopwatch"
            )
        else:
            ending, content = _demo_recording(test.name, test.session)
            files[f"recordings/{test.name}.{ending}"] = content
    _write_all(folder, files)


_DEMO_REMARKS = ("Invented: played at the pretend bench", "Gauge: invented gauge D-G1")


def _demo_recording(name: str, session: SimulatedSession) -> tuple[str, bytes]:
    """Return ending and content of a file; each injector's as another logger would write it."""
    from dataclasses import replace

    from nozzlewright.edge.intake.evidence_text import Dialect, recording_parquet, recording_text

    comma = Dialect(time_decimals=3, remarks=_DEMO_REMARKS, packed=True)
    dialects = {
        "3": replace(
            comma,
            separator=";",
            decimal=",",
            time_heading="Time [s]",
            pressure_heading="Pressure [MPa]",
            pressure_unit="MPa",
        ),
        "4": replace(
            comma,
            separator="\t",
            time_heading="t (ms)",
            pressure_heading="p (kPa)",
            pressure_unit="kPa",
            time_factor=1e3,
            time_decimals=0,
        ),
        "5": replace(comma, pressure_heading="pressure_psi", pressure_unit="psi"),
    }
    cylinder = name[0]
    if cylinder == "2":
        remarks = dict(line.split(": ") for line in _DEMO_REMARKS)
        return "parquet", recording_parquet(session.time_s, session.pressure_pa, remarks)
    how = dialects.get(cylinder, comma)
    ending = "tsv.gz" if how.separator == "\t" else "csv.gz"
    return ending, recording_text(session.time_s, session.pressure_pa, how)


def _seed_faults(seed: int) -> list[Fault]:
    if seed >= 0:
        return []
    return [Fault(f"{seed} cannot start the pretend bench's chance", "--seed", "Give 0 or more")]


def _write_all(folder: Path, files: Mapping[str, str | bytes]) -> None:
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
