"""Whatever is handed in: a reading, or an error that says what is wrong; never a traceback."""

import gzip
import json
import random
from pathlib import Path

import pytest

from nozzlewright.edge import wiring
from nozzlewright.errors import NozzlewrightError
from nozzlewright.report import reading_as_data, reading_as_text

DATA = Path(__file__).parents[1] / "data"
DEMO = Path(__file__).parents[2] / "demo" / "six-in-line"
CHUNKS, CASES = 8, 320
ODD_CELLS = (b"", b"NaN", b"inf", b"-1e300", b"1e308", b"9999", b"OL", b"--", b"0,5", b"\xff\xfe")


def originals() -> list[bytes]:
    """Return real recordings, thinned so that each is read in a moment."""
    found = [path.read_bytes()[:40_000] for path in sorted(DATA.glob("leakdown_*.csv"))]
    for path in sorted((DEMO / "recordings").iterdir()):
        raw = path.read_bytes()
        if path.suffix == ".gz":
            raw = gzip.decompress(raw)
        if path.suffix in (".gz", ".csv", ".tsv"):
            lines = raw.splitlines(keepends=True)
            found.append(b"".join(lines[:12] + lines[12::23]))
    return found


def damaged(raw: bytes, dice: random.Random) -> bytes:
    lines = raw.splitlines(keepends=True)
    for _ in range(dice.randint(1, 4)):
        first = dice.randrange(len(lines)) if lines else 0
        last = min(first + dice.randint(1, 400), len(lines))
        match dice.randrange(9):
            case 0:
                del lines[first:last]
            case 1:
                lines[first:first] = lines[first:last]
            case 2:
                dice.shuffle(lines)
            case 3:
                lines[first:last] = lines[first:last][::-1]
            case 4 if lines:
                mark = dice.choice((b",", b";", b"\t", b"."))
                lines[first] = lines[first].replace(mark, dice.choice((b",", b";", b"", b" ")))
            case 5 if lines:
                cells = lines[first].rstrip(b"\r\n").split(b",")
                cells[dice.randrange(len(cells))] = dice.choice(ODD_CELLS)
                lines[first] = b",".join(cells) + b"\n"
            case 6 if lines:
                flat = bytearray(b"".join(lines))
                for _ in range(dice.randint(1, 20)):
                    flat[dice.randrange(len(flat))] = dice.randrange(256)
                lines = bytes(flat).splitlines(keepends=True)
            case 7:
                whole = b"".join(lines)
                lines = whole[: dice.randint(0, len(whole))].splitlines(keepends=True)
            case _:
                # One value over a stretch: a lead pulled out, a gauge at its stop.
                cell = dice.choice((b"0", b"400", b"-3.2", b"1e9"))
                lines[first:last] = [
                    line.split(b",")[0] + b"," + cell + b"\n" for line in lines[first:last]
                ]
    return b"".join(lines)


@pytest.mark.slow
@pytest.mark.parametrize("chunk", range(CHUNKS))
def test_a_damaged_recording_gives_a_reading_or_a_clear_error(chunk, tmp_path):
    dice = random.Random(chunk)  # noqa: S311 - damage, not secrets
    sources = originals()
    read = refused = 0
    for case in range(CASES):
        path = tmp_path / f"case-{case}.csv"
        path.write_bytes(damaged(dice.choice(sources), dice))
        try:
            findings = wiring.read_file(path).findings
        except NozzlewrightError as fault:
            refused += path.name in str(fault)
            continue
        read += 1
        text = json.dumps(reading_as_data(findings), allow_nan=False)
        assert "nozzlewright/reading/1" in text
        assert reading_as_text(findings)
    assert read > CASES // 8
    assert read + refused == CASES, "an error that does not name its file"
    assert refused > 0
