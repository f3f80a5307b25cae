"""The command ``rig``: a card, readings, limits, earlier checks."""

from __future__ import annotations

import json

import pytest

from nozzlewright.edge.cli import main

CARD = """
[sitting]
date = "2026-03-04"
[fluid]
name = "invented oil"
temperature_c = 21.0
viscosity = [[20.0, 4.06], [40.0, 2.6]]
[gauge]
id = "G-1"
range_bar = 400
class = 1.0
resolution_bar = 0.5
[rig]
id = "invented rig 7"
compliance_mm3_per_bar = 2.03
at_bar = 120
[reference]
id = "N-0"
opening_bar = 181.0
opening_u_bar = 0.2
opening_tolerance_bar = 3
[limits]
blank_fall_bar = 3
blank_fall_s = 60
blank_fall_from_bar = 150
zero_bar = 1
compliance_percent = 10
baseline = 5
"""


@pytest.fixture
def card(tmp_path):
    path = tmp_path / "bench.toml"
    path.write_text(CARD, encoding="utf-8")
    return path


SOUND = ("--blank", "150,148,70", "--zero", "0.2", "--opening", "181.5,180.9,181.2")


def told(capsys, *arguments):
    assert main(["rig", *map(str, arguments)]) == 0
    return " ".join(capsys.readouterr().out.split())


def test_a_sound_rig_is_fit_for_use(card, capsys):
    said = told(capsys, card, *SOUND)
    assert said.startswith("invented rig 7, 2026-03-04: fit for use")
    assert "181.20 ± 0.76 bar is within what the card allows (within 3 bar of 181 bar)" in said


def test_a_rig_that_leaks_is_out_and_the_status_is_still_nought(card, capsys):
    said = told(capsys, card, "--blank", "150,140,60", "--zero", "0.2", "--opening", "181")
    assert "2026-03-04: out" in said
    assert "stands without a verdict: neither pass nor fail" in said


def test_bled_volumes_come_from_a_table_or_the_line(card, tmp_path, capsys):
    table = tmp_path / "bled.csv"
    table.write_text("from_bar,to_bar,cm3\n200,150,0.103\n200,100,0.208\n180,60,0.250\n")
    from_table = told(capsys, card, *SOUND, "--bled", table, "--graduation", "0.01")
    typed = "200:150:0.103,200:100:0.208,180:60:0.250"
    from_line = told(capsys, card, *SOUND, "--bled", typed, "--graduation", "0.01")
    assert from_table == from_line
    assert "Compliance: fit for use 2.05 ± 0.03 mm³/bar" in from_line


def test_strokes_of_the_lever_give_a_compliance_too(card, capsys):
    strokes = "0,30,59.5,88.5,117,145,172.5"
    said = told(
        capsys, card, *SOUND, "--strokes", strokes, "--piston-area", "28.3", "--travel", "2.1",
        "--stroke-time", "4",
    )  # fmt: skip
    assert "mm³/bar is" in said
    assert "budget, u: " in said
    assert "travel of the plunger" in said


def test_what_was_printed_once_is_history_for_the_next_check(card, tmp_path, capsys):
    past = []
    for day in range(1, 13):
        middle = 181.0 - 0.12 * day + 0.05 * (-1) ** day
        opening = ",".join(f"{middle + off:.2f}" for off in (-0.1, 0.0, 0.1))
        arguments = ["rig", card, "--blank", "150,148,70", "--zero", "0.2", "--opening", opening,
                     "--date", f"2026-03-{day:02d}", "--json"]  # fmt: skip
        assert main([*map(str, arguments)]) == 0
        text = capsys.readouterr().out
        assert text.isascii()
        past.append(tmp_path / f"{day}.json")
        past[-1].write_text(text)
    said = told(
        capsys,
        card,
        "--blank",
        "150,148,70",
        "--zero",
        "0.2",
        "--opening",
        "179.3,179.4,179.5",
        "--date",
        "2026-03-13",
        "--history",
        *past,
    )
    assert "2026-03-13: watch" in said
    assert "13 checks, the first 5 of them the baseline" in said
    assert "It drifts down by 3" in said
    assert "the card's limit of 178 bar" in said
    arguments = ["rig", card, *SOUND, "--date", "2026-03-13", "--json", "--history", *past]
    assert main([*map(str, arguments)]) == 0
    data = json.loads(capsys.readouterr().out)
    chart = next(one for one in data["charts"] if one["item"].startswith("opening pressure"))
    assert len(chart["values"]) == 13
    assert data["schema"] == "nozzlewright/rig-check/1"
    assert data["state"] in {"fit for use", "watch"}
    # A card with its readings is history as well.
    earlier = tmp_path / "earlier.toml"
    earlier.write_text(CARD + "[check]\nopening_bar = [181.0]\n")
    assert "there are 2" in json.dumps(history_of(capsys, card, earlier))


def history_of(capsys, card, *past):
    arguments = ["rig", card, *SOUND, "--json", "--history", *past]
    assert main([*map(str, arguments)]) == 0
    return json.loads(capsys.readouterr().out)["charts"]


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--blank", "150,160,70"], "--blank: '150,160,70' is no fall"),
        (["--zero", "naught"], "--zero: 'naught' is neither a file nor a reading. Name the"),
        (["--zero", "1,2"], "more than one reading"),
        (["--opening", "181;182"], "no list of numbers"),
        (["--opening", "0"], "--opening: '0' has an opening at nothing"),
        (["--opening", "180,9"], "--opening: 9.0 bar and 180.0 bar are no two openings"),
        (["--opening", "901,902"], "--opening: 902.0 bar is beyond the gauge, which goes to 400"),
        (["--blank", "1500,1490,60"], "--blank: 1500.0 bar is beyond the gauge"),
        (["--zero", "500"], "--zero: 500.0 bar is beyond the gauge"),
        (["--drop", "450,100,6"], "--drop: 450.0 bar is beyond the gauge"),
        (["--bled", "600:150:0.1"], "--bled: 600.0 bar is beyond the gauge"),
        (
            ["--strokes", "0,200,410", "--piston-area", "28", "--travel", "2"],
            "--strokes: 410.0 bar is beyond the gauge",
        ),
        (["--history", "nowhere.json"], "(No such file or directory)"),
        (["--drop", "150,100"], "is no fall"),
        (["--bled", "nowhere.csv"], "neither a table nor a volume"),
        (["--bled", "100:150:0.1"], "neither a table nor a volume"),
        (["--graduation", "-1"], "--graduation"),
        (["--strokes", "0,30"], "fewer than two strokes"),
        (["--strokes", "0,30,60"], "no displacement"),
        (["--temperature", "300"], "no temperature of oil"),
        (["--date", "yesterday"], "is not a date"),
        (["--history", "nowhere.json"], "no earlier check can be read"),
        (["--reference", "r.csv", "--opening", "180"], "recorded and read by eye"),
        (["--reference", "nowhere.csv"], "nowhere.csv"),
    ],
)
def test_what_cannot_be_used_is_refused_in_plain_words(card, capsys, arguments, says):
    assert main(["rig", str(card), *arguments]) == 2
    lines = capsys.readouterr().err
    assert says in lines
    assert lines.startswith("nozzlewright: ")


def test_all_faults_come_together(card, capsys):
    assert main(["rig", str(card), "--zero", "x", "--drop", "1", "--graduation", "0"]) == 2
    assert len(capsys.readouterr().err.splitlines()) == 3


def test_what_the_card_itself_says_wrongly_is_told_with_the_card(card, capsys):
    card.write_text(
        CARD + "[check]\nopening_bar = [181.0, 18.1]\n[filter]\nchanged_on = 2999-01-01\n"
    )
    assert main(["rig", str(card)]) == 2
    said = " ".join(capsys.readouterr().err.split())

    assert "bench.toml: 18.1 bar and 181.0 bar are no two openings of one nozzle" in said
    assert "bench.toml, filter.changed_on: 2999-01-01 has not come yet" in said


def test_a_card_may_tell_the_time_of_day_too(card, capsys):
    card.write_text(CARD.replace('"2026-03-04"', "2026-03-04T10:30:00"))
    assert "2026-03-04" in told(capsys, card, *SOUND)
    due = "next_calibration_on = 2026-11-03T00:00:00\n"
    card.write_text(CARD.replace("[rig]\n", due + "[rig]\n"))
    assert "It holds until 2026-11-03" in told(capsys, card, *SOUND)
    card.write_text(CARD + "[filter]\nchanged_on = 2999-01-01T10:30:00\n")
    assert main(["rig", str(card)]) == 2
    assert "2999-01-01 has not come yet" in capsys.readouterr().err
