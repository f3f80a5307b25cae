"""``nozzlewright match``: the choices, a drawer, springs, spares; and what is no such file."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path

import pytest

from nozzlewright.edge.cli import main
from nozzlewright.edge.intake.match_files import read_drawer, read_spares, read_springs
from nozzlewright.errors import InputFault

DEMO = Path(__file__).parents[2] / "demo" / "six-in-line"


@pytest.fixture
def file(tmp_path):
    def write(name, text):
        path = tmp_path / name
        path.write_text(text, encoding="utf-8")
        return path

    return write


def told(capsys, *arguments):
    assert main(["match", str(DEMO), *map(str, arguments)]) == 0
    return " ".join(capsys.readouterr().out.split())


def refused(capsys, *arguments):
    assert main(["match", str(DEMO), *map(str, arguments)]) == 2
    return capsys.readouterr().err


def test_the_choices_and_the_plan_are_told(capsys):
    found = told(capsys)

    assert "Choices (touched: what it comes to)" in found
    assert "* advised" in found
    assert "1.30 → 1.35 mm" in found
    assert "It is proved that none with as little work is more even." in found
    assert "surgical emergency" in found


def test_a_drawer_without_the_size_changes_the_plan(capsys, file):
    drawer = file("drawer.csv", "shim_mm,count\n1.30,2\n1.40,1\n")
    data = json.loads(_data(capsys, "--drawer", drawer, "--json"))

    fitted = [one["shims_mm"] for one in data["plan"]["cylinders"] if one["act"] == "shim"]
    there = [1.30, 1.40, 1.25, 1.35]  # in the drawer, or under a spring already
    assert all(size in there for shims in fitted for size in shims)
    assert data["proven"] is True
    assert data["choices"][0]["touched"] == 0


def _data(capsys, *arguments):
    assert main(["match", str(DEMO), *map(str, arguments)]) == 0
    return capsys.readouterr().out


def test_what_may_not_be_opened_and_what_is_bought(capsys, file):
    drawer = file("drawer.toml", '[shims]\n"1.30" = 1\n')
    found = told(capsys, "--drawer", drawer, "--open", "1-3", "--buy", "0.05", "--work", "0")

    assert "Plan:" in found
    assert "One shim of" in found or "No single shim" in found
    assert "Cylinder 6:" not in found


def test_a_spare_may_go_in(capsys, file):
    spares = file("spares.csv", "id,opening_bar,doubt_bar,shim_mm\nS-1,201.4,0.4,1.30\n")
    springs = file("springs.csv", "length_mm,count,cylinder\n31.00,,6\n31.05,1,\n")
    data = json.loads(_data(capsys, "--spares", spares, "--springs", springs, "--json"))

    assert data["choices"]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--open", "1,x"], "'x' is no cylinder"),
        (["--buy", "much"], "no step of shims"),
        (["--drawer", "nowhere.csv"], "cannot be read"),
        (["--work", "77"], "there is no choice with 77"),
    ],
)
def test_what_cannot_be_meant_is_refused(capsys, arguments, words):
    assert words in refused(capsys, *arguments)


def test_a_drawer_is_read_from_a_table_or_from_toml(file):
    table = file("a.csv", "shim_mm;count\n1,30;2\n1,35;any\n")
    toml = file("a.toml", '[shims]\n"1.30" = 2\n"1.35" = "any"\n')

    assert read_drawer(table).counts == read_drawer(toml).counts == {1300: 2, 1350: None}


def test_springs_and_spares_are_read(file):
    springs = read_springs(file("s.csv", "length_mm,count,cylinder\n31.00,,1\n31.05,2,\n"))
    assert (springs.fitted_um, springs.counts) == ({1: 31_000}, {31_050: 2})

    (spare,) = read_spares(file("p.csv", "id,opening_bar,doubt_bar,shim_mm\nS-1,201.5,0.98,1.30\n"))
    assert (spare.identity, spare.shims_um) == ("S-1", (1300,))
    # Half of a 95 % interval is 1.96 u (JCGM 100:2008, 6.2.1 and table G.1).
    assert spare.opening.standard_uncertainty / 1e5 == pytest.approx(0.5, abs=1e-3)


@pytest.mark.parametrize(
    ("read", "name", "text", "count"),
    [
        (read_drawer, "a.csv", "shim_mm,count\nx,1\n1.30,-1\n1.35,1\n1.35,1\n", 3),
        (read_drawer, "a.csv", "size,count\n1.30,1\n", 1),
        (read_drawer, "a.csv", "", 1),
        (read_drawer, "a.toml", "[shims\n", 1),
        (read_drawer, "a.toml", "shims = 3\n", 1),
        (read_springs, "a.csv", "length_mm,count,cylinder\n31,1,0\n31,1,2\n31,1,2\n0,1,\n", 3),
        (read_spares, "a.csv", "id,opening_bar\n,200\nS,none\n", 2),
    ],
)
def test_all_that_is_wrong_with_a_file_is_told_together(file, read, name, text, count):
    with pytest.raises(InputFault) as fault:
        read(file(name, text))

    assert len(fault.value.faults) == count
    assert all(one.remedy and one.where for one in fault.value.faults)


def test_springs_of_the_set_change_places_where_their_lengths_stand_in_it(capsys, tmp_path):
    folder = tmp_path / "set"
    shutil.copytree(DEMO, folder)
    text = (folder / "set.toml").read_text("utf-8")
    lengths = iter(range(60))
    text = re.sub(
        r"^(shim_mm = .*)$",
        lambda found: f"{found[1]}\nspring_mm = {49.7 + 0.02 * next(lengths):.2f}",
        text,
        flags=re.MULTILINE,
    )
    (folder / "set.toml").write_text(text, "utf-8")
    drawer = folder / "drawer.csv"
    drawer.write_text("shim_mm,count\n1.35,1\n", "utf-8")
    assert main(["match", str(folder), "--springs", "set", "--drawer", str(drawer), "--json"]) == 0
    data = json.loads(capsys.readouterr().out)

    assert data["proven"] is True
    assert all(plan["gap_pa"] <= 1e4 for plan in data["choices"])
    refused_without = refused(capsys, "--springs", "set")
    assert "no two springs of the set were measured under one load" in refused_without
    assert "spring_mm" in refused_without
