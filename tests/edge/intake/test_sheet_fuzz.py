"""Damaged sheets: a setting sheet or a fault, never anything else."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from nozzlewright.bench import SettingSheet
from nozzlewright.edge.intake.sheet import read_sheet
from nozzlewright.errors import Fault, SheetFault

EXAMPLES = sorted((Path(__file__).parents[3] / "setting_sheets").glob("*.toml"))
MUTATIONS = 1500

ODD_VALUES = (
    '""', '" "', '"bar"', '"-5 bar"', '"1e9 bar"', '"NaN bar"', '"175 bar 183 bar"', "nan", "inf",
    "-inf", "-1", "0", "1e308", "9" * 400, "true", "[]", "[[[]]]", "{}", '{ a = "b" }', "0x10",
    "1979-05-27", "07:32:00", '["1 mm", 2]', '"' + "9" * 300 + ' bar"', '"175 atm (172 bar)"',
    '"175 ± 183 bar"', '"3 to 3 bar"', '"\\u0000"', '"１７５ bar"', '"0 bar"', '"5 %"', "1_0",
    '"0.0000000001 bar per 0 mm"', '"1 bar/mm/mm"', "'''", '"1,2,3,4 bar"', '"1.2.3 bar"',
    '"²"', '"10 bar per 0 mm"',
)  # fmt: skip


def _mutated(text: str, dice: random.Random) -> bytes:
    lines = text.splitlines()
    for _ in range(dice.randint(1, 4)):
        at = dice.randrange(len(lines)) if lines else 0
        act = dice.randrange(8)
        if not lines:
            break
        if act == 0:
            del lines[at]
        elif act == 1:
            lines.insert(dice.randrange(len(lines)), lines[at])
        elif act == 2 and "=" in lines[at]:
            lines[at] = f"{lines[at].split('=')[0]}= {dice.choice(ODD_VALUES)}"
        elif act == 3 and lines[at]:
            cut = dice.randrange(len(lines[at]))
            lines[at] = lines[at][:cut] + chr(dice.choice([0, 9, 34, 44, 46, 91, 178, 8211, 65533]))
        elif act == 4 and lines[at]:
            cut = dice.randrange(len(lines[at]))
            lines[at] = lines[at][:cut] + lines[at][cut + 1 :]
        elif act == 5:
            lines[at] = lines[at].replace(dice.choice("0123456789"), dice.choice("0123456789.,-"))
        elif act == 6:
            lines[at] = lines[at].replace("bar", dice.choice(["psi", "atm", "mm", "kg", "", "Nm"]))
        else:
            lines[at] = dice.choice(["[seat]", "[opening.new.new]", "opening = 3", "[[torque]]",
                                     "seat.seconds = 5", "torque = 3", "[torque]"])  # fmt: skip
    raw = "\n".join(lines).encode("utf-8", errors="surrogatepass")
    if dice.random() < 0.15 and raw:
        at = dice.randrange(len(raw))
        raw = raw[:at] + bytes([dice.randrange(256)]) + raw[at + 1 :]
    return raw


def _read(path: Path) -> tuple[SettingSheet | None, tuple[Fault, ...]]:
    """Return sheet or faults; any other exception is an error."""
    try:
        return read_sheet(path), ()
    except SheetFault as fault:
        return None, fault.faults


@pytest.mark.slow
@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.name)
def test_a_damaged_sheet_is_read_or_refused_and_nothing_else(path, tmp_path):
    dice = random.Random(path.name)  # noqa: S311 - damage, not secrets
    whole = path.read_text(encoding="utf-8")
    target = tmp_path / "damaged.toml"
    read = refused = 0
    for _ in range(MUTATIONS // len(EXAMPLES)):
        target.write_bytes(_mutated(whole, dice))
        sheet, faults = _read(target)
        refused += sheet is None
        read += sheet is not None
        assert all(one.what and one.where and one.remedy for one in faults)
        if sheet is not None:
            for band in (sheet.opening_new, sheet.opening_used):
                assert band is None or 0.0 < band.lower_pa <= band.target_pa <= band.upper_pa
    # The damage must be such that both happen, or the test would show nothing.
    assert read > 20
    assert refused > 100
