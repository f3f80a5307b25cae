"""Reading a recording: the time it takes once the file is parsed, against parsing it.

The reference is pyarrow's parser on the same CSV: 60 s at 5 kHz, 300 000 rows. Demanded is that
finding and measuring everything in it takes at most half of that.

Run: python benchmarks/reading.py
"""

from __future__ import annotations

import pyarrow.csv
from measure import BENCH_TOML, Ratio, best_in_turn, scratch, session_csv

from nozzlewright.analysis import read_trace
from nozzlewright.edge.intake import read_conditions, read_recording


def ratios() -> list[Ratio]:
    """Return reading and opening over pyarrow's parse."""
    with scratch() as folder:
        path, bench = folder / "session.csv", folder / "bench.toml"
        session_csv(path)
        bench.write_text(BENCH_TOML, encoding="utf-8")
        conditions = read_conditions(bench)
        recording = read_recording(path)
        found = read_trace(recording, conditions)
        parse, plain, known, opening = best_in_turn(
            lambda: pyarrow.csv.read_csv(path),
            lambda: read_trace(recording),
            lambda: read_trace(recording, conditions),
            lambda: read_recording(path),
        )
    note = f"{len(recording)} samples, {len(found.openings)} openings; parse {parse * 1e3:.1f} ms"
    return [
        Ratio("read_trace, no bench conditions / pyarrow parse", plain / parse, 0.5, note),
        Ratio("read_trace, bench conditions / pyarrow parse", known / parse, 0.5,
              f"{known * 1e3:.1f} ms"),
        Ratio("read_recording (units, repairs, digest) / pyarrow parse", opening / parse,
              note=f"{opening * 1e3:.1f} ms"),
    ]  # fmt: skip


if __name__ == "__main__":
    print(*ratios(), sep="\n")
