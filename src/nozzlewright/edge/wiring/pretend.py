"""Sessions and the demo set of the pretend bench, written to disk."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from nozzlewright.edge.wiring.files import BENCH_FILE, Tell, as_json, write_all
from nozzlewright.errors import Fault, InputFault

if TYPE_CHECKING:
    from nozzlewright.simulator import SimulatedSession

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
        If kind, number or seed cannot be used, or a file is there already or cannot be written.
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
    places = [folder / f"session-{index + 1:03d}" for index in range(number)]
    _keep_what_is_there(places)
    for index, place in enumerate(places):
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
        write_all(place, files)
    return places


def write_demo_set(folder: Path, seed: int, tell: Tell = lambda _: None) -> None:
    """Write the demo set: an invented engine's six injectors, ready to be judged.

    Raises
    ------
    InputFault
        If the seed cannot be used, or a file is there already or cannot be written.
    """
    from importlib.resources import files as resources

    import numpy as np

    from nozzlewright.edge.intake.conditions_text import conditions_text
    from nozzlewright.edge.intake.evidence_text import Dialect, hand_card_text, recording_text
    from nozzlewright.simulator.demo import BLANK_FILE, demo_set

    if faults := _seed_faults(seed):
        raise InputFault(faults)
    _keep_what_is_there([folder])
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
    write_all(folder, files)


def _keep_what_is_there(places: Sequence[Path]) -> None:
    """Refuse to write over files, which may be somebody's own."""
    taken = [place for place in places if place.is_dir() and any(place.iterdir())]
    if taken:
        raise InputFault(
            Fault(
                "files are there already, and nothing is written over",
                str(taken[0]),
                "Name another folder",
            )
        )


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
