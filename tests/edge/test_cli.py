from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from nozzlewright.analysis import read_trace
from nozzlewright.capture import Recording
from nozzlewright.edge.cli import main, parser
from nozzlewright.simulator import random_session

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "demo" / "six-in-line"
# The program as it is installed beside this Python.
PROGRAM = shutil.which("nozzlewright", path=Path(sys.executable).parent)
RECORDING = DEMO / "recordings" / "3-found.csv.gz"


def _run(*arguments: object, cwd: Path | None = None, **environment: str):
    return subprocess.run(
        [PROGRAM, *map(str, arguments)],
        cwd=cwd,
        env={**os.environ, **environment},
        capture_output=True,
        timeout=120,
        check=False,
    )


def _json(text: str | bytes) -> dict:
    def refuse(word: str):
        raise AssertionError(f"{word} is not JSON")

    return json.loads(text, parse_constant=refuse)


# -- read --------------------------------------------------------------------------------------


def test_reading_prints_a_unit_with_every_number(capsys):
    assert main(["read", str(RECORDING)]) == 0

    said = capsys.readouterr().out
    assert re.search(r"^Opening pressure +\d+\.\d+ ± \d\.\d+ bar", said, flags=re.MULTILINE)
    assert re.search(r"Drop time at reference conditions +\d\.\d+ ± \d\.\d+ s", said)


def test_a_reading_as_data_is_strict_json_with_units(capsys):
    assert main(["read", str(RECORDING), "--json"]) == 0

    data = _json(capsys.readouterr().out)
    assert data["opening_pressure"]["unit"] == "bar"
    assert data["hold"]["drop_time_at_reference"]["unit"] == "s"
    assert data["second_opening_pressure"]["not_measured"]


@pytest.mark.parametrize("ending", ["svg", "png"])
def test_a_reading_is_drawn(ending, tmp_path, capsys):
    drawn = tmp_path / f"trace.{ending}"

    assert main(["read", str(RECORDING), "--plot", str(drawn)]) == 0

    start = drawn.read_bytes()[:8]
    assert start.startswith(b"<svg") if ending == "svg" else start == b"\x89PNG\r\n\x1a\n"


def test_a_hand_card_is_read_like_a_recording(capsys):
    assert main(["read", str(DEMO / "cards" / "4-left.toml"), "--json"]) == 0

    data = _json(capsys.readouterr().out)
    assert data["by_hand"] is True
    assert data["opening_pressure"]["value"] == pytest.approx(200.7, abs=1.0)


def test_columns_are_taken_by_name(tmp_path, capsys):
    two = tmp_path / "two.csv"
    rows = [f"{i / 100},{100 + i % 7},{5 + i % 3}" for i in range(300)]
    two.write_text("\n".join(["time_s,first_bar,second_bar", *rows]), encoding="utf-8")

    assert main(["read", str(two), "--pressure-column", "second_bar"]) == 0
    assert "second_bar" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("heading", "row", "stated"),
    [
        ("t,p_kPa", "{ms:.0f},{kpa:.1f}", ["--time-unit", "ms"]),
        ("time_ms,p", "{ms:.0f},{kpa:.1f}", ["--pressure-unit", "kPa"]),
        ("p_kPa", "{kpa:.1f}", ["--sample-rate", "500"]),
    ],
)
def test_what_a_file_does_not_say_is_stated_beside_it(heading, row, stated, tmp_path, capsys):
    drawn = random_session(np.random.default_rng(3), "sound").session
    time_s = np.arange(0.0, drawn.time_s[-1], 0.002)
    pressure_pa = np.interp(time_s, drawn.time_s, drawn.pressure_pa)
    rows = [row.format(ms=1e3 * t, kpa=p / 1e3)
            for t, p in zip(time_s, pressure_pa, strict=True)]  # fmt: skip
    silent = tmp_path / "silent.csv"
    silent.write_text("\n".join([heading, *rows]), encoding="utf-8")

    assert main(["read", str(silent)]) == 2
    capsys.readouterr()
    assert main(["read", str(silent), *stated, "--json"]) == 0
    data = _json(capsys.readouterr().out)
    whole = read_trace(Recording(time_s, pressure_pa, "whole", "0" * 64))
    opening = whole.opening_pressure.value / 1e5
    assert data["opening_pressure"]["value"] == pytest.approx(opening, abs=0.1)
    assert data["hold"]["end_s"] == pytest.approx(whole.hold.end_s, abs=0.1)


# -- judge -------------------------------------------------------------------------------------


def test_judging_writes_the_report_where_it_is_asked_to(tmp_path, capsys):
    assert main(["judge", str(DEMO), "--report", str(tmp_path / "a" / "b")]) == 0

    written = {path.name for path in (tmp_path / "a" / "b").iterdir()}
    assert {"report.pdf", "report.html", "2-as-found.svg", "2-as-left.svg"} <= written
    assert "4-as-left.svg" not in written  # a card of hand readings has no trace
    assert str(tmp_path / "a" / "b" / "report.pdf") in capsys.readouterr().out


def test_a_judgement_as_data_is_strict_json(capsys):
    assert main(["judge", str(DEMO), "--json", "--date", "2026-01-20"]) == 0

    data = _json(capsys.readouterr().out)
    assert data["schema"] == "nozzlewright/judgement/1"
    assert data["made_on"] == "2026-01-20"
    assert [page["cylinder"] for page in data["injectors"]] == [1, 2, 3, 4, 5, 6]


def test_a_date_that_is_none_is_refused(capsys):
    assert main(["judge", str(DEMO), "--date", "20th of May"]) == 2
    assert "'20th of May' is not a date" in capsys.readouterr().err


# -- simulate ----------------------------------------------------------------------------------


def test_sessions_of_one_kind_are_played(tmp_path, capsys):
    order = ["simulate", tmp_path, "--kind", "hold cut short", "--number", 2, "--seed", 3]

    assert main([str(word) for word in order]) == 0

    assert "session-001 to session-002" in capsys.readouterr().out
    truth = _json((tmp_path / "session-002" / "truth.json").read_text("utf-8"))
    assert truth["kind"] == "hold cut short"


def test_nothing_that_is_there_is_written_over(tmp_path, capsys):
    own = tmp_path / "session-001" / "recording.csv"
    own.parent.mkdir()
    own.write_text("somebody's own", "utf-8")
    shutil.copytree(DEMO, tmp_path / "set")
    before = (tmp_path / "set" / "bench.toml").read_bytes()

    assert main(["simulate", str(tmp_path), "--number", "2"]) == 2
    assert main(["simulate", str(tmp_path / "set"), "--demo-set", "--seed", "2"]) == 2

    assert capsys.readouterr().err.count("nothing is written over") == 2
    assert own.read_text("utf-8") == "somebody's own"
    assert not (tmp_path / "session-002").exists()
    assert (tmp_path / "set" / "bench.toml").read_bytes() == before


# -- what cannot be used -------------------------------------------------------------------------


def _bad_orders(folder: Path) -> dict[str, list[str]]:
    (folder / "empty.csv").write_text("", encoding="utf-8")
    (folder / "headed.csv").write_text("time_s,pressure_bar\n", encoding="utf-8")
    (folder / "cut.csv.gz").write_bytes(RECORDING.read_bytes()[:5000])
    (folder / "noise.bin").write_bytes(bytes(range(256)) * 20)
    (folder / "bench-bad.toml").write_text("[gauge]\nclas = 1.0\n", encoding="utf-8")
    shutil.copytree(DEMO, folder / "no-sheet")
    (folder / "no-sheet" / "sheet.toml").unlink()
    shutil.copytree(DEMO, folder / "no-recording")
    (folder / "no-recording" / "recordings" / "1-found.csv.gz").unlink()
    (folder / "not-a-set").mkdir()
    out = folder / "taken"
    out.write_text("in the way", encoding="utf-8")
    return {
        "no such file": ["read", str(folder / "nothing.csv")],
        "a folder": ["read", str(folder)],
        "an empty file": ["read", str(folder / "empty.csv")],
        "a heading alone": ["read", str(folder / "headed.csv")],
        "a damaged archive": ["read", str(folder / "cut.csv.gz")],
        "no recording at all": ["read", str(folder / "noise.bin")],
        "a misspelt key": ["read", str(RECORDING), "--bench", str(folder / "bench-bad.toml")],
        "no such conditions": ["read", str(RECORDING), "--bench", str(folder / "none.toml")],
        "a plot of another kind": ["read", str(RECORDING), "--plot", str(folder / "x.docx")],
        "a plot nowhere": ["read", str(RECORDING), "--plot", str(folder / "no" / "x.svg")],
        "no set": ["judge", str(folder / "not-a-set")],
        "no such set": ["judge", str(folder / "none")],
        "a set without a sheet": ["judge", str(folder / "no-sheet")],
        "a set without a recording": ["judge", str(folder / "no-recording")],
        "a report in a file's place": ["judge", str(DEMO), "--report", str(out)],
        "sessions in a file's place": ["simulate", str(out / "here")],
        "an unknown kind": ["simulate", str(folder / "s"), "--kind", "haunted"],
        "a set that is a file": ["judge", str(out)],
        "a demo in a file's place": ["demo", str(out)],
    }


@pytest.mark.parametrize(
    "what",
    [
        "no such file",
        "a folder",
        "an empty file",
        "a heading alone",
        "a damaged archive",
        "no recording at all",
        "a misspelt key",
        "no such conditions",
        "a plot of another kind",
        "a plot nowhere",
        "no set",
        "no such set",
        "a set without a sheet",
        "a set without a recording",
        "a report in a file's place",
        "sessions in a file's place",
        "an unknown kind",
        "a set that is a file",
        "a demo in a file's place",
    ],
)
def test_what_cannot_be_used_is_named_with_place_and_remedy(what, tmp_path, capsys):
    order = _bad_orders(tmp_path)[what]

    assert main(order) == 2

    said = capsys.readouterr()
    assert said.out == ""
    for line in said.err.splitlines():
        assert line.startswith("nozzlewright: ")
        where, _, rest = line.removeprefix("nozzlewright: ").partition(": ")
        assert where
        # What is wrong, then what to do.
        assert re.search(r"\. [A-Z]", rest), line
    assert "Traceback" not in said.err


def test_all_faults_of_a_set_are_told_together(tmp_path, capsys):
    shutil.copytree(DEMO, tmp_path / "set")
    (tmp_path / "set" / "recordings" / "1-found.csv.gz").unlink()
    bench = tmp_path / "set" / "bench.toml"
    bench.write_text(bench.read_text("utf-8").replace("range_bar", "rnage_bar"), "utf-8")

    assert main(["judge", str(tmp_path / "set")]) == 2

    said = capsys.readouterr().err
    assert "1-found.csv.gz" in said
    assert "rnage_bar" in said
    assert len(said.splitlines()) >= 2


def test_a_report_whose_file_cannot_be_written_is_named(tmp_path, capsys):
    (tmp_path / "report.pdf").mkdir()

    assert main(["judge", str(DEMO), "--report", str(tmp_path)]) == 2

    said = capsys.readouterr().err
    assert "report.pdf" in said
    assert "Traceback" not in said


# -- the program by itself -----------------------------------------------------------------------


def test_without_a_command_the_grammar_is_shown_with_its_caution(capsys):
    assert main([]) == 0

    said = capsys.readouterr().out
    assert "surgical emergency" in said
    for command in ("read", "judge", "simulate"):
        assert re.search(rf"^ +{command} ", said, flags=re.MULTILINE)


def test_every_command_shows_the_caution():
    shown = parser()._subparsers._group_actions[0].choices
    for grammar in shown.values():
        assert "surgical emergency" in " ".join(grammar.format_help().split())


def test_the_version_is_told(capsys):
    assert main(["--version"]) == 0
    assert re.fullmatch(r"nozzlewright \d+\.\d+\.\d+\n", capsys.readouterr().out)


def test_a_command_that_is_none_ends_with_status_2(capsys):
    with pytest.raises(SystemExit) as caught:
        main(["weigh"])
    assert caught.value.code == 2


def test_a_reader_who_leaves_early_is_no_fault(tmp_path):
    # So much that it does not fit into the pipe, and a reader that leaves after one line.
    order = f'"{PROGRAM}" read "{RECORDING}" --json'
    done = subprocess.run(
        ["bash", "-c", f"{order} | head -1; exit ${{PIPESTATUS[0]}}"],
        capture_output=True,
        timeout=120,
        check=False,
    )

    assert done.stdout == b"{\n"
    assert done.stderr == b""
    assert done.returncode == 0


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no full disk to offer")
@pytest.mark.parametrize("order", [["--version"], ["sums"], ["read", RECORDING]])
def test_a_full_disk_is_said_to_be_full(order):
    with Path("/dev/full").open("wb") as full:
        done = subprocess.run(
            [PROGRAM, *map(str, order)],
            stdout=full,
            stderr=subprocess.PIPE,
            timeout=120,
            check=False,
        )

    assert done.stderr == b"nozzlewright: the disk is full. Make room and start again\n"
    assert done.returncode == 2


@pytest.mark.skipif(os.name != "posix", reason="closes an output by the shell")
def test_an_output_that_is_closed_is_no_fault():
    done = subprocess.run(
        ["bash", "-c", f'"{PROGRAM}" sums >&- && "{PROGRAM}" read "{RECORDING}" 2>&-'],
        capture_output=True,
        timeout=120,
        check=False,
    )

    assert done.stdout.startswith(b"3-found.csv.gz (recording")
    assert (done.stderr, done.returncode) == (b"", 0)


@pytest.mark.parametrize("port", ["99999", "-1", "http"])
def test_a_port_that_is_none_is_refused(port, tmp_path, capsys):
    with pytest.raises(SystemExit) as caught:
        main(["serve", str(tmp_path / "shop"), f"--port={port}"])

    assert caught.value.code == 2
    assert f"'{port}' is not a port" in capsys.readouterr().err
    assert not (tmp_path / "shop").exists()


@pytest.mark.parametrize("order", [["judge", DEMO], ["read", RECORDING]])
def test_on_a_narrow_terminal_lines_break_between_words(order, monkeypatch, capsys):
    assert main([str(word) for word in order]) == 0
    wide = capsys.readouterr().out
    monkeypatch.setenv("COLUMNS", "40")
    monkeypatch.setattr("sys.stdout.isatty", lambda: True)

    assert main([str(word) for word in order]) == 0

    narrow = capsys.readouterr().out
    assert max(map(len, narrow.splitlines())) <= 40
    assert narrow.split() == wide.split()


def test_a_terminal_that_lacks_a_sign_gets_no_traceback():
    plain = _run("read", RECORDING, PYTHONIOENCODING="ascii", PYTHONUTF8="0")
    data = _run("read", RECORDING, "--json", PYTHONIOENCODING="ascii", PYTHONUTF8="0")

    assert (plain.returncode, plain.stderr) == (0, b"")
    assert b"Opening pressure" in plain.stdout
    assert (data.returncode, data.stderr) == (0, b"")
    assert "°C" in json.dumps(_json(data.stdout), ensure_ascii=False)


def test_somebody_who_stops_it_gets_no_traceback(monkeypatch, capsys):
    def stopped(_: object) -> int:
        raise KeyboardInterrupt

    monkeypatch.setattr("nozzlewright.edge.cli.commands.run", stopped)

    assert main(["read", str(RECORDING)]) == 130
    assert "stopped" in capsys.readouterr().err


def test_help_loads_no_library():
    code = (
        "import sys; from nozzlewright.edge.cli import parser; parser().format_help(); "
        "print(sorted({'numpy', 'scipy', 'pydantic', 'numba', 'typst'} & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=120, check=True
    )
    assert done.stdout == "[]\n"


def test_a_fault_of_the_program_itself_is_told_without_a_traceback(monkeypatch, capsys, tmp_path):
    from nozzlewright.edge import cli, wiring

    def breaks(*_args, **_kwargs):
        raise ZeroDivisionError("a sum nobody thought of")

    monkeypatch.setattr(wiring, "read_file", breaks)
    status = cli.main(["read", str(tmp_path / "recording.csv")])

    said = capsys.readouterr().err
    assert status == 70
    assert "a fault in nozzlewright itself (ZeroDivisionError: a sum nobody thought of)" in said
    assert "report" in said
    assert "Traceback" not in said
