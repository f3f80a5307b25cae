from __future__ import annotations

import re
from pathlib import Path

import pytest

from nozzlewright.bench import ChatterGrade, Condition, SetInjector, Severity, SprayGrade, TipGrade
from nozzlewright.edge.intake import read_set, set_folder
from nozzlewright.edge.intake.hand_card import HandCardTable
from nozzlewright.errors import SetFault

REFERENCE = Path(__file__).parents[3] / "docs" / "how-to" / "set-folder.md"

SET = """
title = "An invented six"
engine = "invented engine"
customer = "invented customer"
workshop = "invented workshop"
fitter = "A. N. Other"
date = 2026-03-02
condition = "used"
invented = true
symptoms = "smoke at idle"

[[injector]]
cylinder = 2
id = "B"
[injector.as_found]
hand_card = "cards/2.toml"

[[injector]]
cylinder = 1
id = "A"
[injector.as_found]
recording = "recordings/1-found.csv"
temperature_c = 18
shim_mm = 1.20
spring_mm = 49.87
spring_off_mm = 0.02
[injector.as_found.seen]
spray = "poor"
spray_note = "streaky"
chatter = "weak"
seat = "damp"
drop_test = "dry"
leak_off_drops = 4
leak_off_seconds = 30
needle_slide = true
inspection = [{ part = "needle", seen = "scored", severity = "renew" }]
[injector.as_left]
recording = "recordings/1-left.csv"
sitting = "afternoon"
bench.window.from_at = 160
shim_mm = 1.25
"""
BENCH = """
[sitting]
id = "morning"
[fluid]
temperature_c = 23
[window]
from_bar = 150
to_bar = 100
[blank_plug]
recording = "recordings/blank.csv"
"""
RECORDING = "time_s,pressure_bar\n" + "".join(f"{i / 1000:.3f},{i % 90}.5\n" for i in range(99))
CARD = "smallest_division_bar = 5\nopening_bar = [175, 174]\n"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    made = tmp_path / "set"
    for name, text in {
        "set.toml": SET,
        "bench.toml": BENCH,
        "sheet.toml": "",
        "cards/2.toml": CARD,
        "recordings/1-found.csv": RECORDING,
        "recordings/1-left.csv": RECORDING,
        "recordings/blank.csv": RECORDING,
    }.items():
        (made / name).parent.mkdir(parents=True, exist_ok=True)
        (made / name).write_text(text)
    return made


def faults(folder: Path) -> list[str]:
    with pytest.raises(SetFault) as caught:
        read_set(folder)
    return [str(fault) for fault in caught.value.faults]


def change(path: Path, old: str, new: str) -> None:
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new))


def test_a_set_comes_in_cylinder_order_with_its_evidence(folder: Path) -> None:
    found = read_set(folder)
    assert [(one.cylinder, one.identity) for one in found.injectors] == [(1, "A"), (2, "B")]
    assert found.condition is Condition.USED
    assert found.invented
    assert found.date == "2026-03-02"
    assert found.sheet == folder / "sheet.toml"
    assert found.bench == folder / "bench.toml"
    first, second = found.injectors
    assert first.as_found is not None
    assert first.as_left is not None
    assert first.as_found.recording == folder / "recordings/1-found.csv"
    recording = first.as_found.read()
    assert recording is not None
    assert len(recording) == 99
    assert second.as_left is None
    assert second.as_found is not None
    assert second.as_found.recording is None
    assert second.as_found.read() is None
    assert second.as_found.hand is not None
    assert second.as_found.hand.opening_pa == (175e5, 174e5)


def test_what_the_fitter_saw_goes_to_the_findings_and_to_the_conditions(folder: Path) -> None:
    test = read_set(folder).injectors[0].as_found
    assert test is not None
    assert test.seen.spray is SprayGrade.POOR
    assert test.seen.chatter is ChatterGrade.WEAK
    assert test.seen.seat is TipGrade.DAMP
    assert test.seen.needle_slide is True
    assert test.seen.inspection[0].severity is Severity.RENEW
    assert test.shim_mm == 1.2
    assert test.spring.length.value == pytest.approx(49.87e-3)
    assert 2 * test.spring.length.standard_uncertainty == pytest.approx(0.02e-3, rel=0.03)
    assert test.spring.load_n == 0.0
    assert test.conditions.seat_watch.grade is TipGrade.DAMP
    assert test.conditions.drop_watch.grade is TipGrade.DRY
    assert test.conditions.drop_watch.leak_off_drops == 4


def test_a_test_may_change_the_conditions_of_the_bench(folder: Path) -> None:
    found = read_set(folder)
    as_found, as_left = found.injectors[0].as_found, found.injectors[0].as_left
    other = found.injectors[1].as_found
    assert as_found is not None
    assert as_left is not None
    assert other is not None
    assert other.conditions == found.conditions
    temperatures = [test.conditions.oil_temperature for test in (as_found, as_left, other)]
    assert [t.value - 273.15 for t in temperatures if t] == pytest.approx([18, 23, 23])
    assert (as_found.conditions.sitting, as_left.conditions.sitting) == ("morning", "afternoon")
    assert as_left.conditions.window is not None
    assert as_left.conditions.window.from_pa == pytest.approx(160 * 98066.5)
    assert as_left.conditions.window.to_pa == pytest.approx(100e5)
    assert as_left.blank_recording == folder / "recordings/blank.csv"


def test_a_hand_card_may_stand_in_the_set_itself(folder: Path) -> None:
    change(
        folder / "set.toml",
        'hand_card = "cards/2.toml"',
        "hand = { smallest_division_bar = 5, opening_bar = [170] }",
    )
    test = read_set(folder).injectors[1].as_found
    assert test is not None
    assert test.hand is not None
    assert test.hand.opening_pa == (170e5,)
    assert test.hand.digest == read_set(folder).digest


def test_columns_and_units_of_a_recording_may_be_stated(folder: Path) -> None:
    (folder / "recordings/1-found.csv").write_text(RECORDING.replace("pressure_bar", "channel"))
    change(
        folder / "set.toml",
        'recording = "recordings/1-found.csv"',
        'recording = "recordings/1-found.csv"\npressure_column = "channel"\npressure_unit = "kPa"',
    )
    test = read_set(folder).injectors[0].as_found
    assert test is not None
    recording = test.read()
    assert recording is not None
    assert recording.pressure_pa[0] == pytest.approx(500.0)


def test_without_bench_toml_the_conditions_are_unknown_not_wrong(folder: Path) -> None:
    (folder / "bench.toml").unlink()
    change(folder / "set.toml", "bench.window.from_at = 160\n", "")
    found = read_set(folder)
    assert found.bench is None
    assert found.conditions.oil_temperature is None


def test_it_makes_the_engine_set_of_the_measured_injectors(folder: Path) -> None:
    injectors = (SetInjector(1, "A", None, None),)
    made = read_set(folder).engine_set(injectors)
    assert made.title == "An invented six"
    assert made.injectors == injectors


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("../outside.csv", "lies outside the set's folder"),
        ("recordings/../../outside.csv", "lies outside the set's folder"),
        ("/etc/hostname", "lies outside the set's folder"),
        ("recordings/link.csv", "lies outside the set's folder"),
        ("recordings/gone.csv", "there is no file"),
        ("recordings", "there is no file"),
        ("recordings/blank.csv\\u0000", "not a usable file name"),
        ("recordings/1-left.csv", "stands for two tests"),
    ],
)
def test_only_files_inside_the_folder_are_taken(folder: Path, name: str, says: str) -> None:
    (folder.parent / "outside.csv").write_text(RECORDING)
    (folder / "recordings/link.csv").symlink_to(folder.parent / "outside.csv")
    change(folder / "set.toml", "recordings/1-found.csv", name)
    found = faults(folder)
    assert len(found) == 1
    assert says in found[0]
    assert found[0].startswith("set.toml, line 2") or found[0].startswith("set.toml, line 3")


def test_a_blank_plug_recording_has_to_stand_inside_too(folder: Path) -> None:
    (folder.parent / "outside.csv").write_text(RECORDING)
    change(folder / "bench.toml", "recordings/blank.csv", "../outside.csv")
    found = faults(folder)
    assert any(one.startswith("bench.toml, line 10") and "lies outside" in one for one in found), (
        found
    )


def test_all_faults_of_all_files_come_together(folder: Path) -> None:
    change(folder / "set.toml", '"used"', '"usd"')
    change(folder / "set.toml", '"poor"', '"pour"')
    change(folder / "set.toml", "recordings/1-left.csv", "recordings/gone.csv")
    change(folder / "bench.toml", "to_bar", "too_bar")
    found = faults(folder)
    for says in (
        "did you mean 'used'?",
        "did you mean 'poor'?",
        "there is no file 'recordings/gone.csv'",
        "Did you mean 'to_bar'?",
        "'to_bar' is missing",
    ):
        assert any(says in one for one in found), (says, found)


def test_faults_of_a_card_and_of_a_changed_condition_are_named_where_they_stand(
    folder: Path,
) -> None:
    change(folder / "cards/2.toml", "opening_bar", "openin_bar")
    change(folder / "set.toml", "from_at = 160", "from_at = 16")
    found = faults(folder)
    assert any(one.startswith("2.toml, line 2") for one in found)
    assert any(
        "injector[2].as_left.bench.window" in one and "does not fall" in one for one in found
    )


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("cylinder = 2", "cylinder = 1", "two injectors have the cylinder 1"),
        ('id = "B"', 'id = "A"', "two injectors have the id A"),
        ('hand_card = "cards/2.toml"', "", "nothing is in this test"),
        (
            'hand_card = "cards/2.toml"',
            'hand_card = "cards/2.toml"\nrecording = "recordings/blank.csv"',
            "recording and hand_card stand for one test",
        ),
        ('condition = "used"', "", "'condition' is missing"),
        ("cylinder = 2", "cylinder = 0", "must not be less than 1"),
        ("leak_off_seconds = 30", "", "counted without a time"),
        ("shim_mm = 1.25", "shim_mm = 125", "must not be more than 50"),
        ("spring_mm = 49.87", "spring_mm = 0.05", "must not be less than 1"),
        ("spring_mm = 49.87", "", "its length is missing"),
        ("spring_off_mm = 0.02", "spring_load_n = -1.0", "must not be less than 0"),
    ],
)
def test_a_fault_of_the_set_is_named(folder: Path, old: str, new: str, says: str) -> None:
    change(folder / "set.toml", old, new)
    found = faults(folder)
    assert any(says in one for one in found), found


def test_a_folder_that_is_none_or_empty_is_refused(tmp_path: Path) -> None:
    assert "no such folder" in faults(tmp_path / "gone")[0]
    assert "no such file" in faults(tmp_path)[0]


def test_every_key_of_the_set_is_documented() -> None:
    page = REFERENCE.read_text()
    for table in (
        set_folder.SetTable,
        set_folder.InjectorTable,
        set_folder.SittingTable,
        set_folder.SeenTable,
        set_folder.InspectionTable,
        HandCardTable,
    ):
        for key in table.model_fields:
            assert f"`{key}`" in page, f"{table.__name__}.{key} is not documented"


def test_the_documented_set_is_read(tmp_path: Path) -> None:
    page = REFERENCE.read_text()
    examples = re.findall(r"<!-- (\S+) -->\n```toml\n(.*?)```", page, re.DOTALL)
    assert {name for name, _ in examples} == {"set.toml", "cards/2.toml"}
    for name, text in examples:
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text(text)
        for mentioned in re.findall(r'recording = "(.*?)"', text):
            (tmp_path / mentioned).parent.mkdir(exist_ok=True)
            (tmp_path / mentioned).write_text(RECORDING)
    (tmp_path / "sheet.toml").write_text("")
    found = read_set(tmp_path)
    assert len(found.injectors) == 2
