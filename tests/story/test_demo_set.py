"""The demo set from folder to report: each injector's story, held against the simulator's truth."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
from datetime import date
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
from pypdf import PdfReader

from nozzlewright.advice import ActionKind
from nozzlewright.bench import Condition
from nozzlewright.edge import wiring
from nozzlewright.edge.intake import read_recording, read_set, read_sheet
from nozzlewright.judging import BenchTest, InjectorOutcome, Outcome

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "demo" / "six-in-line"
PROGRAM = shutil.which("nozzlewright", path=Path(sys.executable).parent)
DAY = date(2026, 1, 20)


@pytest.fixture(scope="module")
def folder() -> wiring.JudgedFolder:
    return wiring.judge_folder(DEMO, DAY)


@pytest.fixture(scope="module")
def judged(folder):
    return folder.judged


@pytest.fixture(scope="module")
def truth() -> dict:
    return json.loads((DEMO / "truth.json").read_text("utf-8"))


def verdict(judged, cylinder):
    return next(one for one in judged.verdict.injectors if one.injector.cylinder == cylinder)


def as_found(judged, cylinder):
    return next(one for one in judged.verdict.as_found if one.injector.cylinder == cylinder)


def actions(judged, cylinder):
    (advice,) = (one for one in judged.advice if one.cylinder == cylinder)
    return advice.actions


def at_reference(verdict):
    return verdict.of(BenchTest.BACK_LEAKAGE).measured


def name_of(cylinder, sitting):
    return f"{cylinder}-{sitting.removeprefix('as ')}"


# -- what is measured, held against what is true ------------------------------------------------


def test_every_opening_pressure_is_that_of_the_pretend_needle(folder, truth):
    for (cylinder, sitting), reading in folder.readings.items():
        low, high = reading.findings.opening_pressure.coverage_interval
        true = truth[name_of(cylinder, sitting)]["opening_pressure_with_friction_pa"]
        if cylinder != 5:  # of a sticking needle there is no one opening pressure
            assert low <= true <= high, (cylinder, sitting)


def test_every_drop_time_at_reference_is_that_of_the_pretend_guide(folder, truth):
    for (cylinder, sitting), reading in folder.readings.items():
        low, high = reading.findings.hold.drop_time_at_reference.coverage_interval
        (drop,) = truth[name_of(cylinder, sitting)]["drop_times"]
        assert low <= drop["at_reference_s"] <= high, (cylinder, sitting)


def test_every_drop_time_as_shown_is_what_the_pretend_gauge_saw(folder, truth):
    for (cylinder, sitting), reading in folder.readings.items():
        holds = truth[name_of(cylinder, sitting)]["holds"]
        (true,) = (hold["as_dropped"][0]["drop_time_s"] for hold in holds if hold["kind"] == "drop")
        low, high = reading.findings.hold.drop_time_as_shown.coverage_interval
        assert low <= true <= high, (cylinder, sitting)


# -- the stories --------------------------------------------------------------------------------


def test_the_outcomes_are_those_of_the_stories(judged):
    outcomes = {one.injector.cylinder: one.outcome for one in judged.verdict.injectors}

    assert outcomes == {
        1: InjectorOutcome.FIT,
        2: InjectorOutcome.FIT,
        3: InjectorOutcome.EXCHANGE,
        4: InjectorOutcome.FIT,
        5: InjectorOutcome.REWORK,
        6: InjectorOutcome.FIT,
    }


def test_an_early_opening_is_brought_into_its_band_by_the_shim_that_the_advice_names(judged):
    found, left = as_found(judged, 2), verdict(judged, 2)

    assert found.outcome is InjectorOutcome.ADJUST
    assert found.of(BenchTest.OPENING).outcome is Outcome.FAIL
    assert left.of(BenchTest.OPENING).outcome is Outcome.PASS
    shims = left.injector
    assert shims.as_left.shim_mm - shims.as_found.shim_mm == pytest.approx(0.15)


def test_the_advice_on_the_early_opening_is_the_change_that_was_made(tmp_path):
    """Judged with its first test alone, the advice is what the fitter then did, and comes true."""
    shutil.copytree(DEMO, tmp_path / "set")
    text = (tmp_path / "set" / "set.toml").read_text("utf-8")
    start, end = text.index("[injector.as_left]"), text.index("# --- 3:")
    (tmp_path / "set" / "set.toml").write_text(text[:start] + text[end:], "utf-8")

    before = wiring.judge_folder(tmp_path / "set", DAY).judged

    (change,) = (one for one in actions(before, 2) if one.kind is ActionKind.CHANGE_SHIM)
    assert change.shim_change_m == pytest.approx(0.15e-3)
    left = wiring.read_file(DEMO / "recordings" / "2-left.parquet").findings.opening_pressure
    low, high = change.predicted_opening.coverage_interval
    assert low <= left.value <= high


def test_cold_oil_flatters_a_worn_guide_and_the_reference_does_not(folder, judged):
    """The point of it all: as shown it passes, at the sheet's 40 C it fails."""
    least = read_sheet(DEMO / "sheet.toml").back_leakage.at_least_s
    hold = folder.readings[3, "as found"].findings.hold

    assert hold.drop_time_as_shown.coverage_interval[0] > least
    assert hold.drop_time_at_reference.coverage_interval[1] < least
    assert verdict(judged, 3).of(BenchTest.BACK_LEAKAGE).outcome is Outcome.FAIL
    assert actions(judged, 3)[0].kind is ActionKind.RENEW_PAIR


def test_a_dripping_seat_is_cleaned_and_tight_as_left(judged):
    found, left = as_found(judged, 4), verdict(judged, 4)

    assert found.outcome is InjectorOutcome.REWORK
    assert found.of(BenchTest.SEAT).outcome is Outcome.FAIL
    assert found.of(BenchTest.SPRAY).outcome is Outcome.FAIL
    assert left.of(BenchTest.SEAT).outcome is Outcome.PASS
    assert left.injector.as_left.gauge.by_hand


def test_a_sticking_needle_is_named_and_cleaned_before_anything_else(judged):
    verdict_5 = verdict(judged, 5)
    cautions = verdict_5.injector.as_found.gauge.opening_pressure.cautions

    assert any("sticking" in caution.name for caution in cautions)
    assert actions(judged, 5)[0].kind is ActionKind.CLEAN_AND_RETEST
    assert "needle slide test" in actions(judged, 5)[0].do


def test_the_heat_of_quick_pumping_does_not_condemn_a_good_guide(folder, judged, truth):
    """By viscosity alone the drop as shown would come to less than the limit at 40 C."""
    least = read_sheet(DEMO / "sheet.toml").back_leakage.at_least_s
    hold = folder.readings[6, "as found"].findings.hold
    ratio = 1.9  # of the oil's viscosities at 14 and 40 C, by its data sheet

    assert any("heat" in caution.name for caution in hold.cautions)
    assert hold.drop_time_as_shown.value / ratio < least
    assert verdict(judged, 6).of(BenchTest.BACK_LEAKAGE).outcome is Outcome.PASS
    (drop,) = truth["6-found"]["drop_times"]
    assert drop["at_bench_s"] > 1.3 * hold.drop_time_as_shown.value


def test_the_odd_one_out_is_in_its_band_and_called_out_by_the_spread(judged):
    assert verdict(judged, 6).of(BenchTest.OPENING).outcome is Outcome.PASS
    assert judged.verdict.spread_outcome is Outcome.FAIL
    assert judged.verdict.odd_one_out.cylinder == 6
    (match,) = actions(judged, 6)
    assert match.kind is ActionKind.CHANGE_SHIM
    assert match.shim_change_m == pytest.approx(0.05e-3)


def test_nothing_passes_that_was_not_done(judged):
    for one in judged.verdict.injectors:
        sitting = one.injector.latest
        for test, seen in (
            (BenchTest.SPRAY, sitting.seen.spray),
            (BenchTest.CHATTER, sitting.seen.chatter),
        ):
            assert seen is not None or one.of(test).outcome is not Outcome.PASS


# -- sets with less in them ------------------------------------------------------------------------


def _changed_set(tmp_path: Path, **replaced: str) -> Path:
    place = tmp_path / "set"
    shutil.copytree(DEMO, place)
    text = (place / "set.toml").read_text("utf-8")
    for old, new in replaced.values():
        assert old in text
        text = text.replace(old, new)
    (place / "set.toml").write_text(text, "utf-8")
    return place


def test_a_test_that_was_not_done_leaves_the_injector_unfinished(tmp_path):
    start = '[injector.as_found]\nrecording = "recordings/1-found.csv.gz"\nshim_mm = 1.30\n\n'
    with_spray = start + '[injector.as_found.seen]\nspray = "good"\n'
    without = start + "[injector.as_found.seen]\n"
    place = _changed_set(tmp_path, spray=(with_spray, without))

    judged = wiring.judge_folder(place, DAY).judged

    one = verdict(judged, 1)
    assert one.of(BenchTest.SPRAY).outcome is Outcome.NOT_DONE
    assert one.outcome is InjectorOutcome.UNFINISHED


def test_a_set_of_hand_cards_alone_is_judged(tmp_path):
    place = tmp_path / "set"
    (place / "cards").mkdir(parents=True)
    for name in ("sheet.toml", "bench.toml"):
        shutil.copy(DEMO / name, place)
    bench = (place / "bench.toml").read_text("utf-8")
    bench = re.sub(r"\[blank_plug\].*?\n\n", "", bench, flags=re.DOTALL)
    (place / "bench.toml").write_text(bench, "utf-8")
    tables = []
    for cylinder in (1, 2, 3, 4):
        shutil.copy(DEMO / "cards" / "4-left.toml", place / "cards" / f"{cylinder}.toml")
        tables.append(
            f"[[injector]]\ncylinder = {cylinder}\n[injector.as_found]\nhand_card = "
            f'"cards/{cylinder}.toml"\n[injector.as_found.seen]\nspray = "good"\n'
            'chatter = "clear"\nseat = "dry"\ndrop_test = "dry"\nneedle_slide = true\n'
        )
    head = 'title = "Cards alone"\ncondition = "used"\ninvented = true\n\n'
    (place / "set.toml").write_text(head + "\n".join(tables), "utf-8")

    folder = wiring.judge_folder(place, DAY)
    written = wiring.write_report(folder, tmp_path / "out", "us-letter")

    assert [path.name for path in written] == ["report.pdf", "report.html"]
    assert len(PdfReader(tmp_path / "out" / "report.pdf").pages) == 1 + 4 + 1
    for one in folder.judged.verdict.injectors:
        assert one.of(BenchTest.OPENING).outcome is Outcome.PASS
        # The rig's own leak is not known, and the sheet asks for a least leakage too.
        assert one.of(BenchTest.BACK_LEAKAGE).outcome is Outcome.TOO_CLOSE


def test_an_injector_without_a_test_never_passes(tmp_path):
    place = _changed_set(tmp_path)
    with (place / "set.toml").open("a", encoding="utf-8") as file:
        file.write('\n[[injector]]\ncylinder = 7\nid = "D-107"\n')

    judged = wiring.judge_folder(place, DAY).judged

    assert verdict(judged, 7).outcome is InjectorOutcome.UNFINISHED
    assert judged.verdict.spread_outcome is not Outcome.PASS


# -- the report --------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def handed_over(tmp_path_factory):
    """The command that `make demo` runs, from another working directory."""
    elsewhere = tmp_path_factory.mktemp("elsewhere")
    done = subprocess.run(
        [PROGRAM, "judge", DEMO, "--report", "out", "--date", "2026-01-20"],
        cwd=elsewhere,
        capture_output=True,
        timeout=300,
        check=False,
    )
    return done, elsewhere / "out"


def test_the_demo_is_judged_from_any_folder_without_a_word_of_complaint(handed_over):
    done, out = handed_over

    assert (done.returncode, done.stderr) == (0, b"")
    said = done.stdout.decode()
    assert "Injector 3 (D-103), as found: EXCHANGE" in said
    assert (out / "report.pdf").is_file()


def test_the_report_has_a_page_for_the_set_one_each_and_the_fitting_sheet(handed_over):
    pages = PdfReader(handed_over[1] / "report.pdf").pages
    texts = [page.extract_text() for page in pages]

    assert len(pages) == 1 + 6 + 1
    for cylinder in range(1, 7):
        assert f"D-10{cylinder}" in texts[cylinder]
    assert "Fitting sheet" in texts[-1]
    assert all("INVENTED EXAMPLE" in text.upper() for text in texts)


def test_every_page_bears_the_usual_caution(handed_over):
    for page in PdfReader(handed_over[1] / "report.pdf").pages:
        words = " ".join(page.extract_text().split())
        assert "surgical emergency" in words
        assert "engine maker's manual" in words.replace("’", "'")


class _Links(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attrs) -> None:  # noqa: ARG002
        self.found += [
            str(value)
            for name, value in attrs
            if name in {"href", "src", "srcset", "action", "data", "xlink:href"} and value
        ]


def test_the_html_report_needs_nothing_from_elsewhere(handed_over):
    page = (handed_over[1] / "report.html").read_text("utf-8")
    links = _Links()
    links.feed(page)

    assert [link for link in links.found if not link.startswith(("#", "data:"))] == []
    assert not re.search(r"url\((?!['\"]?(?:data:|#))", page)
    assert "@import" not in page
    assert "<script" not in page
    assert "D-106" in page


def test_every_sitting_with_a_trace_is_drawn(handed_over):
    drawn = {path.name for path in handed_over[1].glob("*.svg")}

    found = {f"{cylinder}-as-found.svg" for cylinder in range(1, 7)}
    assert drawn == found | {"2-as-left.svg"}


# -- the files ---------------------------------------------------------------------------------


def test_the_demo_set_is_small_and_says_that_it_is_invented():
    files = [path for path in DEMO.rglob("*") if path.is_file()]

    assert sum(path.stat().st_size for path in files) < 4_000_000
    assert read_set(DEMO).invented
    assert read_sheet(DEMO / "sheet.toml").invented
    for path in files:
        if path.suffix == ".toml":
            assert "nvented" in path.read_text("utf-8"), path.name


def test_the_committed_files_are_what_the_command_writes(tmp_path):
    """Texts to the letter; recordings as near as another processor's last bits allow."""
    wiring.write_demo_set(tmp_path, 1)

    names = {str(path.relative_to(DEMO)) for path in DEMO.rglob("*") if path.is_file()}
    assert names == {str(path.relative_to(tmp_path)) for path in tmp_path.rglob("*.*")}
    for name in ("set.toml", "sheet.toml", "bench.toml"):
        assert (tmp_path / name).read_bytes() == (DEMO / name).read_bytes()
    for path in sorted((DEMO / "recordings").iterdir()):
        mine, theirs = read_recording(path), read_recording(tmp_path / "recordings" / path.name)
        shared = min(len(mine), len(theirs))
        assert shared >= 0.999 * max(len(mine), len(theirs))
        apart = np.abs(mine.pressure_pa[:shared] - theirs.pressure_pa[:shared])
        assert np.mean(apart < 0.5e5) > 0.97, path.name


def test_the_demo_shows_every_kind_of_file():
    endings = {"".join(path.suffixes[-2:]) for path in (DEMO / "recordings").iterdir()}

    assert endings == {".csv", ".csv.gz", ".tsv.gz", ".parquet"}
    assert list((DEMO / "cards").iterdir())


def test_the_set_is_judged_as_used_parts():
    assert read_set(DEMO).condition is Condition.USED
