"""Damaged recordings, cards and conditions: a result or a clear error, never anything else.

Real files and invented ones are damaged as files get damaged: bits flipped, lines lost, doubled
and swapped, ends cut off, encodings and separators changed, marks dropped in. Over 5,000 of them
are tried in each full run.
"""

from __future__ import annotations

import gzip
import io
import random
import re
import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from nozzlewright.edge.intake import read_conditions, read_hand_card, read_recording, read_set
from nozzlewright.errors import ConditionsFault, InputFault, RecordingFault, SetFault

ROOT = Path(__file__).parents[3]
DATA = ROOT / "tests" / "data"
HOW_TO = ROOT / "docs" / "how-to"
MARKS = [
    b",", b";", b"\t", b" ", b".", b'"', b"#", b"NaN", b"OL", b"9999", b"-", b"e", b"1e999",
    b"\n", b"\r", b"\0", b"\xff", "€".encode(), b":", b"time", b"bar", b"[", b"]", b"=",
    b"00:00:00",
    b"2026-01-01T00:00:00", b"1.003.000", b"inf", b"0x10", b"1_0", b"1772359200000", b"atm",
    b"{", b"}", b"'''", b"nan", b"true", b"1e400", b"-1", b"0",
]  # fmt: skip


def recordings() -> list[bytes]:
    """Small recordings in many hands, real and invented."""
    time_s = np.arange(150) / 1000.0
    bars = 150.0 + 25.0 * np.sin(time_s * 40.0)
    rows = [(f"{t:.3f}", f"{p:.2f}") for t, p in zip(time_s, bars, strict=True)]

    def made(heading: str, mark: str = ",", decimal: str = ".") -> bytes:
        lines = [mark.join(cell.replace(".", decimal) for cell in row) for row in rows]
        return "\n".join([heading, *lines, ""]).encode()

    clock = [f"10:00:{t:06.3f},{p:.1f}" for t, p in zip(time_s, bars, strict=True)]
    table = pa.table({"time_s": time_s, "pressure_bar": bars, "n": np.arange(150)})
    parquet = io.BytesIO()
    pq.write_table(table, parquet)
    return [
        (DATA / "leakdown_a.csv").read_bytes()[:3000],
        (DATA / "leakdown_c.csv").read_bytes()[-4000:],
        (DATA / "hydraulic_counts.txt").read_bytes()[:4000],
        made("time_s,pressure_bar"),
        made("# a log\n# sample rate: 1000 Hz\nZeit / s;Druck/bar", ";", ","),
        made("time\tpressure\n[s]\t[kPa]", "\t"),
        made("time_s,pressure_bar").replace(b"150.00", b"OL").replace(b"0.050", b""),
        made(""),
        made("  t [s]   p [bar]", "   "),
        ("\n".join(["time,pressure [MPa]", *clock]) + "\n").encode(),
        ("\n".join(["# 1 kHz sample rate", "p_bar", *(row[1] for row in rows)]) + "\n").encode(),
        made("time_s,pressure_bar").decode().encode("utf-16"),
        gzip.compress(made("time_s,pressure_bar")),
        parquet.getvalue(),
    ]


def examples(page: str) -> list[bytes]:
    """The TOML examples of a how-to page."""
    found = re.findall(r"```toml\n(.*?)```", (HOW_TO / page).read_text(), re.DOTALL)
    return [text.encode() for text in found]


def damaged(raw: bytes, chance: random.Random) -> bytes:
    """Return bytes damaged in one to twenty ways."""
    made = bytearray(raw)
    for _ in range(chance.choice([1, 1, 2, 5, 20])):
        if not made:
            break
        at, way = chance.randrange(len(made)), chance.randrange(11)
        if way == 0:
            made[at] ^= 1 << chance.randrange(8)
        elif way == 1:
            made[at] = chance.randrange(256)
        elif way == 2:
            made[at:at] = chance.choice(MARKS)
        elif way == 3:
            del made[at : at + chance.choice([1, 3, 30, 300])]
        elif way == 4:
            del made[at:]
        elif way < 9:
            made = bytearray(b"\n".join(shuffled(bytes(made).split(b"\n"), way, chance)))
        elif way == 9:
            old, new = chance.choice(MARKS), chance.choice(MARKS)
            made = bytearray(bytes(made).replace(old, new, chance.choice([1, 5, -1])))
        else:
            text = bytes(made).decode("utf-8", errors="ignore")
            code = chance.choice(["utf-16", "utf-8-sig", "utf-16-le", "utf-32", "cp1252"])
            made = bytearray(text.encode(code, errors="replace"))
        del made[30_000:]
    return bytes(made)


def shuffled(lines: list[bytes], way: int, chance: random.Random) -> list[bytes]:
    """Return lines with some lost, doubled, swapped or moved."""
    one, other = chance.randrange(len(lines)), chance.randrange(len(lines))
    count = chance.choice([1, 5, 50])
    if way == 5:
        return lines[:one] + lines[one + count :]
    if way == 6:
        return lines[:other] + lines[one : one + count] + lines[other:]
    if way == 7:
        lines[one], lines[other] = lines[other], lines[one]
        return lines
    first, last = sorted((one, other))
    return lines[:first] + lines[last:] + lines[first:last]


def holds(read: Callable[[Path], object], path: Path, fault: type[InputFault]) -> bool:
    """Return whether it was read; a fault must say where and what to do, and be foreseen."""
    try:
        read(path)
    except fault as error:
        for one in error.faults:
            assert one.what
            assert one.where
            assert one.remedy
            assert "not foreseen" not in one.remedy, str(one)
        return False
    return True


def many(
    originals: list[bytes],
    read: Callable[[Path], object],
    fault: type[InputFault],
    path: Path,
    *,
    count: int,
    number: int,
) -> None:
    chance = random.Random(number)  # noqa: S311 - for chance, not for secrecy
    fine = 0
    for _ in range(count):
        path.write_bytes(damaged(chance.choice(originals), chance))
        fine += holds(read, path, fault)
    # Damage that always or never matters would test nothing.
    assert 0.02 * count < fine < 0.98 * count


@pytest.mark.parametrize("number", range(14))
@pytest.mark.slow
def test_damaged_recordings(tmp_path: Path, number: int) -> None:
    many(recordings(), read_recording, RecordingFault, tmp_path / "x.csv", count=300, number=number)


@pytest.mark.parametrize("number", range(2))
@pytest.mark.slow
def test_damaged_conditions(tmp_path: Path, number: int) -> None:
    pages = examples("bench-conditions.md")
    many(pages, read_conditions, ConditionsFault, tmp_path / "x.toml", count=400, number=number)


@pytest.mark.slow
def test_damaged_hand_cards(tmp_path: Path) -> None:
    pages = examples("set-folder.md")[1:]
    many(pages, read_hand_card, RecordingFault, tmp_path / "x.toml", count=500, number=1)


@pytest.mark.slow
def test_damaged_sets(tmp_path: Path) -> None:
    made, card = examples("set-folder.md")
    folder = tmp_path / "set"
    (folder / "cards").mkdir(parents=True)
    (folder / "recordings").mkdir()
    (folder / "sheet.toml").write_text("")
    (folder / "cards" / "2.toml").write_bytes(card)
    for name in ("1-found.csv", "1-left.csv"):
        shutil.copy(DATA / "leakdown_a.csv", folder / "recordings" / name)
    many(
        [made], lambda path: read_set(path.parent), SetFault, folder / "set.toml",
        count=400, number=1,
    )  # fmt: skip


@settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(raw=st.binary(max_size=400))
def test_any_bytes(tmp_path: Path, raw: bytes) -> None:
    path = tmp_path / "x"
    path.write_bytes(raw)
    holds(read_recording, path, RecordingFault)
    holds(read_conditions, path, ConditionsFault)


CELL = st.one_of(
    st.floats().map(repr),
    st.integers().map(str),
    st.sampled_from([mark.decode("latin-1") for mark in MARKS]),
    st.text(alphabet="0123456789.,:-+eE \"'#", max_size=12),
)


@settings(
    max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    heading=st.sampled_from(["time_s{0}pressure_bar", "t{0}p [kPa]", "s{0}bar", "", "# x{0}y"]),
    mark=st.sampled_from([",", ";", "\t", " "]),
    rows=st.lists(st.lists(CELL, min_size=1, max_size=4), min_size=1, max_size=25),
)
def test_any_table(tmp_path: Path, heading: str, mark: str, rows: list[list[str]]) -> None:
    path = tmp_path / "x.csv"
    lines = [heading.format(mark), *(mark.join(row) for row in rows)]
    path.write_text("\n".join(lines), encoding="utf-8")
    holds(read_recording, path, RecordingFault)


NEST = st.recursive(
    st.one_of(st.booleans(), st.integers(), st.floats(), st.sampled_from(["", "150 at", "dry"])),
    lambda inner: st.one_of(
        st.lists(inner, max_size=3),
        st.dictionaries(st.sampled_from(["from_bar", "to", "name", "seconds"]), inner, max_size=3),
    ),
    max_leaves=6,
)


def toml(value: object) -> str:
    """Return a value as TOML writes it."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key} = {toml(item)}" for key, item in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(toml(item) for item in value) + "]"
    return f'"{value}"' if isinstance(value, str) else repr(value)


@settings(
    max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    table=st.sampled_from(["fluid", "gauge", "rig", "blank_plug", "window", "nozzle", "tip"]),
    keys=st.dictionaries(
        st.sampled_from(
            [
                "from",
                "from_at",
                "to_bar",
                "range_bar",
                "class",
                "certificate",
                "viscosity",
                "temperature_c",
                "recording",
                "drop",
                "volume_cm3",
                "volume_u_cm3",
                "compliance_mm3_per_bar",
                "at_bar",
                "seat",
                "two_spring",
            ]
        ),
        NEST,
        min_size=1,
        max_size=4,
    ),
)
def test_any_conditions(tmp_path: Path, table: str, keys: dict[str, object]) -> None:
    path = tmp_path / "bench.toml"
    lines = [f"[{table}]", *(f"{key} = {toml(value)}" for key, value in keys.items())]
    path.write_text("\n".join(lines), encoding="utf-8")
    holds(read_conditions, path, ConditionsFault)
