"""What comment lines and metadata say of sample rate, units and instrument."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from nozzlewright.edge.intake.headings import About, Unit, time_unit_spelled, unit_spelled


@dataclass
class Remarks:
    """What comment and preamble lines say."""

    rate_hz: float | None = None
    pressure_unit: Unit | None = None
    time_unit: Unit | None = None
    instrument: str = ""


_HERTZ = r"(khz|hz|/s|1/s|s/s|sps|samples?\s*(?:/|per)\s*s)"
_SAMPLING = r"(?:sampl\w*|abtast\w*|logging|acquisition|data)"
# Only what speaks of sampling counts: a filter or the mains have their hertz too.
_RATE = re.compile(
    rf"(?:\b{_SAMPLING}|^\W*rate\b|\bfs\b)[^\d]{{0,40}}?(\d+(?:[.,]\d+)?)\s*{_HERTZ}",
    re.IGNORECASE,
)
_RATE_BEFORE = re.compile(rf"(\d+(?:[.,]\d+)?)\s*(k?hz)\s+{_SAMPLING}", re.IGNORECASE)
_RATE_IN_KEY = re.compile(
    rf"^\W*(?:{_SAMPLING}[\s_-]*)?(?:rate|freq\w*|fs)[\s_(\[-]*(k?hz)[\s)\]]*"
    r"[:=;,\t]\s*(\d+(?:[.,]\d+)?)\s*$",
    re.IGNORECASE,
)
_INTERVAL = re.compile(
    r"(?:sampl\w*|time|logging|abtast\w*)?[\s_-]*(?:interval|period|step|intervall|\bdt\b)"
    r"[^\d]{0,20}?(\d+(?:[.,]\d+)?)\s*(ms|msec|us|µs|s|sec|seconds|milliseconds)\b",
    re.IGNORECASE,
)
_INSTRUMENTS = ("gauge", "transmitter", "transducer", "sensor", "instrument", "logger", "device")
"""What a remark may name, the one nearest to the pressure first."""
_PAIR = re.compile(r"^\W*([A-Za-zÀ-ɏ][^:=;,\t]{0,50}?)\s*[:=;,\t]\s*(\S.*?)\s*$")


def read_remarks(lines: Sequence[str]) -> Remarks:
    """Return what comment and preamble lines say of sample rate, units and instrument."""
    found = Remarks()
    named: dict[str, str] = {}
    for line in lines[:200]:
        text = line[:300]
        if found.rate_hz is None:
            if match := _RATE.search(text) or _RATE_BEFORE.search(text):
                scale = 1e3 if match[2].lower() == "khz" else 1.0
                found.rate_hz = scale * float(match[1].replace(",", "."))
            elif match := _RATE_IN_KEY.search(text):
                scale = 1e3 if match[1].lower() == "khz" else 1.0
                found.rate_hz = scale * float(match[2].replace(",", "."))
            elif match := _INTERVAL.search(text):
                unit = time_unit_spelled(match[2])
                interval = float(match[1].replace(",", ".")) * (unit.factor if unit else 1.0)
                found.rate_hz = 1.0 / interval if interval > 0.0 else None
        pair = _PAIR.match(text)
        if pair is None:
            continue
        key, value = pair[1].lower().replace("_", " "), pair[2].strip('"')
        if "unit" in key or "einheit" in key:
            units = [unit_spelled(part) for part in (value, *re.split(r"[;,\s]+", value))]
            for unit in units:
                if unit is None:
                    continue
                if unit.about is About.PRESSURE and "time" not in key:
                    found.pressure_unit = found.pressure_unit or unit
                elif unit.about is About.TIME and "press" not in key:
                    found.time_unit = found.time_unit or unit
        elif (word := re.sub(r" (?:id|name|no\.?)$", "", key)) in _INSTRUMENTS:
            named.setdefault(word, value[:80])
    found.instrument = next((named[word] for word in _INSTRUMENTS if word in named), "")
    if found.rate_hz is not None and not 1e-3 <= found.rate_hz <= 1e7:
        found.rate_hz = None
    return found
