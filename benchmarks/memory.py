"""Memory: an hour at 5 kHz, read and analysed, against its raw arrays.

18 million samples of time and pressure are 288 MB. Measured is by how much the process grows at
its peak over what it held before the file was opened, the arrays themselves included. Linux only.

Run: python benchmarks/memory.py
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pyarrow
import pyarrow.csv
import pyarrow.parquet
from measure import BENCH_TOML, Ratio, memory_bytes, scratch, session_csv

from nozzlewright.analysis import read_trace
from nozzlewright.edge.intake import read_conditions, read_recording

SESSIONS = 60
"""Minutes: the session of the other benchmarks, one after the other."""


def _hour(folder: Path) -> tuple[Path, Path]:
    """Write an hour of sessions as Parquet, and as CSV."""
    minute = folder / "minute.csv"
    session_csv(minute)
    one = read_recording(minute)
    step = one.interval_s
    pressure = np.tile(one.pressure_pa / 1e5, SESSIONS)
    table = pyarrow.table(
        {"time_s": np.arange(pressure.size) * step, "pressure_bar": pressure.astype(np.float32)}
    )
    parquet, text = folder / "hour.parquet", folder / "hour.csv"
    pyarrow.parquet.write_table(table, parquet)
    pyarrow.csv.write_csv(table, text)
    return parquet, text


def _grown(path: str, bench: str, warm: str) -> None:
    """Print the raw bytes, the peak after opening and after analysis, over the start, [bytes]."""
    conditions = read_conditions(Path(bench))
    # Libraries are loaded and kernels compiled before counting starts.
    read_trace(read_recording(Path(warm)), conditions)
    start = memory_bytes("VmRSS")
    Path("/proc/self/clear_refs").write_text("5")  # forgets the peak so far (proc(5))
    recording = read_recording(Path(path))
    opened = memory_bytes("VmHWM")
    read_trace(recording, conditions)
    raw = recording.time_s.nbytes + recording.pressure_pa.nbytes
    print(raw, opened - start, memory_bytes("VmHWM") - start)


def ratios() -> list[Ratio]:
    """Return the growth of a fresh process over the raw arrays, for each kind of file."""
    told = []
    with scratch() as folder:
        parquet, text = _hour(folder)
        bench = folder / "bench.toml"
        bench.write_text(BENCH_TOML, encoding="utf-8")
        for kind, path in (("Parquet", parquet), ("CSV", text)):
            run = subprocess.run(
                [sys.executable, __file__, str(path), str(bench), str(folder / "minute.csv")],
                check=True, capture_output=True, text=True,
            )  # fmt: skip
            raw, opened, whole = map(int, run.stdout.split())
            told.append(
                Ratio(f"memory of one hour at 5 kHz ({kind}) / raw arrays", whole / raw, 3.0,
                      f"raw {raw / 1e6:.0f} MB; after opening {opened / raw:.2f}")
            )  # fmt: skip
    return told


if __name__ == "__main__":
    if len(sys.argv) > 1:
        _grown(*sys.argv[1:])
    else:
        print(*ratios(), sep="\n")
