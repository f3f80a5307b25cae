"""What one recording (or one card of hand readings) showed: as data, and as a summary to read.

The data have a version of their own; ``docs/reference/reading-json.md`` describes them.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from typing import Any

from nozzlewright.bench import (
    Chatter,
    GaugeFindings,
    Hold,
    Opening,
    SeatHold,
    Stroke,
    StrokeKind,
    TipWatch,
)
from nozzlewright.measurement import Measured, NotMeasured
from nozzlewright.report.wording import (
    BAR,
    PER_CENT,
    PER_STROKE,
    READING_RULE,
    TradeUnit,
    ValueText,
    caution_texts,
    number,
    pressure_text,
    printable,
    trade_unit,
    value_text,
    with_unit,
)
from nozzlewright.said import joined, say, word

SCHEMA = "nozzlewright/reading/1"
"""Name and version of the data; the number goes up when a reader of it could be misled."""

_LISTED_OPENINGS = 12
"""Openings that the summary lists one by one; more are told in a sentence."""


def reading_as_data(findings: GaugeFindings) -> dict[str, Any]:
    """Return the findings as plain data for strict JSON: numbers unrounded, in trade units.

    Parameters
    ----------
    findings : GaugeFindings
        What a recording or a card showed

    Returns
    -------
    dict
        Only dicts, lists, strings, booleans, finite numbers and None
    """
    return {
        "schema": SCHEMA,
        "source": findings.source,
        "digest": findings.digest,
        "by_hand": findings.by_hand,
        "opening_pressure": quantity_data(findings.opening_pressure),
        "closing_pressure": quantity_data(findings.closing_pressure),
        "second_opening_pressure": quantity_data(findings.second_opening_pressure),
        "openings": [_opening_data(opening) for opening in findings.openings],
        "strokes": [_stroke_data(stroke) for stroke in findings.strokes],
        "hold": _hold_data(findings.hold),
        "seat_hold": _seat_hold_data(findings.seat_hold),
        "chatter": _chatter_data(findings.chatter),
        "cautions": _plain_texts(caution_texts(findings.cautions)),
        "history": _plain_texts(findings.history),
    }


def quantity_data(measured: Measured) -> dict[str, Any]:
    """Return a measured value as data, in its trade unit, unrounded."""
    if isinstance(measured, NotMeasured):
        return _not_measured_data(measured)
    unit = trade_unit(measured.unit)
    low, high = measured.coverage_interval
    variance = measured.standard_uncertainty**2
    return {
        "value": unit.value(measured.value),
        "standard_uncertainty": unit.width(measured.standard_uncertainty),
        "unit": unit.plain,
        "interval_95": [_finite(unit.value(low)), _finite(unit.value(high))],
        "method": str(measured.method),
        "cautions": _plain_texts(caution_texts(measured.cautions)),
        "budget": [
            {
                "cause": str(cause.words),
                "standard_uncertainty": unit.width(part),
                "share_of_variance": part**2 / variance,
                "even_within_a_bound": cause.rectangular,
                "degrees_of_freedom": cause.degrees,
            }
            for cause, part in measured.budget
        ],
    }


def _not_measured_data(missing: NotMeasured) -> dict[str, Any]:
    return {"not_measured": str(missing.reason), "remedy": str(missing.remedy)}


def _plain_texts(texts: Sequence[str]) -> list[str]:
    return [str(text) for text in texts]


def _opening_data(opening: Opening) -> dict[str, Any]:
    return {
        "time_s": _finite(opening.time_s),
        "lift_off_bar": _bar(opening.lift_off_pa),
        "closing_bar": _bar(opening.closing_pa),
        "fall_bar": _bar(opening.fall_pa),
        "rise_rate_bar_per_s": _bar(opening.rise_rate_pa_per_s),
        "stroke": opening.stroke,
    }


def _stroke_data(stroke: Stroke) -> dict[str, Any]:
    return {
        "index": stroke.index,
        "start_s": _finite(stroke.start_s),
        "end_s": _finite(stroke.end_s),
        "kind": str(stroke.kind),
        "rise_rate_bar_per_s": _bar(stroke.rise_rate_pa_per_s),
        "openings": stroke.openings,
    }


def _hold_data(hold: Hold | NotMeasured) -> dict[str, Any]:
    if isinstance(hold, NotMeasured):
        missing = _not_measured_data(hold)
        # The three values most asked for stand under their names even when there is no hold.
        return missing | {
            "drop_time_as_shown": dict(missing),
            "drop_time_at_reference": dict(missing),
            "guide_clearance": dict(missing),
        }
    return {
        "start_s": _finite(hold.start_s),
        "end_s": _finite(hold.end_s),
        "start_bar": _bar(hold.start_pa),
        "end_bar": _bar(hold.end_pa),
        "window_from_bar": _bar(hold.window_from_pa),
        "window_to_bar": _bar(hold.window_to_pa),
        "drop_time_as_shown": quantity_data(hold.drop_time_as_shown),
        "drop_time_at_reference": quantity_data(hold.drop_time_at_reference),
        "decay_rate": quantity_data(hold.decay_rate),
        "leakage_conductance": quantity_data(hold.leakage_conductance),
        "rig_conductance": quantity_data(hold.rig_conductance),
        "guide_clearance": quantity_data(hold.guide_clearance),
        "settling": quantity_data(hold.settling),
        "leak_path": str(hold.leak_path),
        "cautions": _plain_texts(caution_texts(hold.cautions)),
    }


def _seat_hold_data(hold: SeatHold | NotMeasured) -> dict[str, Any]:
    if isinstance(hold, NotMeasured):
        return _not_measured_data(hold)
    return {
        "start_s": _finite(hold.start_s),
        "end_s": _finite(hold.end_s),
        "start_pressure": quantity_data(hold.start_pressure),
        "mean_pressure": quantity_data(hold.mean_pressure),
        "fall": quantity_data(hold.fall),
        "duration": quantity_data(hold.duration),
        "margin_below_opening": quantity_data(hold.margin_below_opening),
        "grade": None if hold.watch.grade is None else str(hold.watch.grade),
        "leak_off_drops": hold.watch.leak_off_drops,
        "leak_off_seconds": _finite(hold.watch.leak_off_seconds),
        "outside_leak": hold.watch.outside_leak,
        "cautions": _plain_texts(caution_texts(hold.cautions)),
    }


def _chatter_data(chatter: Chatter | NotMeasured) -> dict[str, Any]:
    if isinstance(chatter, NotMeasured):
        return _not_measured_data(chatter)
    return {
        "openings_per_stroke": quantity_data(chatter.openings_per_stroke),
        "rate": quantity_data(chatter.rate),
        "regularity": quantity_data(chatter.regularity),
    }


def _finite(value: float | None) -> float | None:
    return float(value) if value is not None and math.isfinite(value) else None


def _bar(pressure_pa: float | None) -> float | None:
    return None if pressure_pa is None else _finite(BAR.value(pressure_pa))


def reading_as_text(findings: GaugeFindings) -> str:
    """Return the findings as a summary for the terminal, with a unit on every number.

    Parameters
    ----------
    findings : GaugeFindings
        What a recording or a card showed

    Returns
    -------
    str
        Lines of text, without a newline after the last
    """
    kind = "hand readings" if findings.by_hand else "recording"
    lines = [f"{findings.source} ({kind}, SHA-256 {findings.digest[:12] or 'not known'})", ""]
    lines += _value_lines("Opening pressure", findings.opening_pressure)
    lines += _value_lines("Closing pressure", findings.closing_pressure)
    lines += _value_lines("Second opening pressure", findings.second_opening_pressure)
    lines += ["", *_stroke_lines(findings), ""]
    lines += [*_hold_lines(findings.hold), ""]
    lines += [*_seat_hold_lines(findings.seat_hold), ""]
    lines += _chatter_lines(findings.chatter)
    cautions = caution_texts(findings.cautions)
    if cautions:
        lines += ["", "Cautions", *(f"  ! {caution}" for caution in cautions)]
    if findings.history:
        lines += ["", "Done to the recording", *(f"  - {step}" for step in findings.history)]
    lines += ["", READING_RULE]
    indented = (line[: len(line) - len(line.lstrip())] + _plain(line.strip()) for line in lines)
    return "\n".join(indented)


def _plain(line: str) -> str:
    # Runs of spaces are what lines the columns up, so each word is cleaned by itself.
    return " ".join(printable(word) for word in line.replace("\N{NO-BREAK SPACE}", " ").split(" "))


_NAME_WIDTH = 40


def _value_lines(
    name: str,
    measured: Measured,
    indent: int = 0,
    unit: TradeUnit | None = None,
    *,
    told: Sequence[str] = (),
) -> list[str]:
    """Return a value with its cautions, but for those that are told of the whole hold."""
    worded = value_text(measured, unit)
    head = f"{' ' * indent}{name}".ljust(_NAME_WIDTH)
    margin = " " * (indent + 2)
    if not worded.measured:
        lines = [f"{head} {worded.sentence}"]
        return [*lines, f"{margin}to have it: {worded.remedy}"] if worded.remedy else lines
    lines = [f"{head} {worded.text}{_uncertainty_note(worded)}"]
    if worded.method:
        lines.append(f"{margin}{worded.method}")
    own = (caution for caution in worded.cautions if caution not in told)
    return [*lines, *(f"{margin}! {caution}" for caution in own)]


def _uncertainty_note(worded: ValueText) -> str:
    if not worded.standard_uncertainty:
        return ""
    largest = ", mostly " + worded.budget[0][0] if len(worded.budget) > 1 else ""
    return f"  (95 %; u = {worded.standard_uncertainty}{largest})"


def _stroke_lines(findings: GaugeFindings) -> list[str]:
    counted = Counter(stroke.kind for stroke in findings.strokes)
    kinds = ", ".join(f"{counted[kind]} {kind}" for kind in StrokeKind if counted[kind])
    strokes = f"Strokes: {len(findings.strokes)} ({kinds})" if kinds else "Strokes: none found"
    openings = findings.openings
    if not openings:
        return [f"{strokes}; no openings found"]
    lines = [f"{strokes}; openings: {len(openings)}"]
    if len(openings) > _LISTED_OPENINGS:
        low = min(opening.lift_off_pa for opening in openings)
        high = max(opening.lift_off_pa for opening in openings)
        first, last = openings[0].time_s, openings[-1].time_s
        lines.append(
            f"  lift-off from {pressure_text(low)} to {pressure_text(high)}, "
            f"at {number(first, 2)} s to {number(last, 2)} s; --json lists every one"
        )
        return lines
    lines += (
        f"  at {number(opening.time_s, 3):>9} s  lift-off {_bar_cell(opening.lift_off_pa)}  "
        f"closing {_bar_cell(opening.closing_pa)}  fall {_bar_cell(opening.fall_pa)}  "
        f"stroke {opening.stroke}"
        for opening in openings
    )
    return lines


def _bar_cell(pressure_pa: float) -> str:
    if not math.isfinite(pressure_pa):
        return "not known".rjust(10)
    return pressure_text(pressure_pa).rjust(10)


def _hold_lines(hold: Hold | NotMeasured) -> list[str]:
    if isinstance(hold, NotMeasured):
        return _missing_lines("Hold", hold)
    told = caution_texts(hold.cautions)
    lines = [f"Hold{_from_to(hold.start_s, hold.end_s)}, {_fall(hold.start_pa, hold.end_pa)}"]
    window = ""
    if hold.window_from_pa is not None and hold.window_to_pa is not None:
        window = f" {_fall(hold.window_from_pa, hold.window_to_pa, 0)}"
    lines += _value_lines(f"Drop time{window}, as shown", hold.drop_time_as_shown, 2, told=told)
    lines += _value_lines(
        "Drop time at reference conditions", hold.drop_time_at_reference, 2, told=told
    )
    lines += _value_lines("Decay rate", hold.decay_rate, 2, told=told)
    lines += _value_lines("Leakage of the injector", hold.leakage_conductance, 2, told=told)
    lines += _value_lines("Leakage of the rig itself", hold.rig_conductance, 2, told=told)
    lines += _value_lines("Effective hydraulic clearance", hold.guide_clearance, 2, told=told)
    lines += _value_lines("Lost to cooling, not to leakage", hold.settling, 2, told=told)
    if hold.leak_path:
        lines.append(f"  Leak path: {hold.leak_path}")
    return [*lines, *(f"  ! {caution}" for caution in told)]


def _seat_hold_lines(hold: SeatHold | NotMeasured) -> list[str]:
    if isinstance(hold, NotMeasured):
        return _missing_lines("Seat hold", hold)
    told = caution_texts(hold.cautions)
    lines = [f"Seat hold{_from_to(hold.start_s, hold.end_s)}"]
    lines += _value_lines("Pressure at the start", hold.start_pressure, 2, told=told)
    lines += _value_lines("Mean pressure", hold.mean_pressure, 2, told=told)
    lines += _value_lines("Below the opening pressure by", hold.margin_below_opening, 2, told=told)
    lines += _value_lines("Held for", hold.duration, 2, told=told)
    lines += _value_lines("Fall of pressure", hold.fall, 2, told=told)
    lines.append(f"  Tip as the fitter saw it: {watch_text(hold.watch)}")
    return [*lines, *(f"  ! {caution}" for caution in told)]


def _chatter_lines(chatter: Chatter | NotMeasured) -> list[str]:
    if isinstance(chatter, NotMeasured):
        return _missing_lines("Chatter", chatter)
    lines = ["Chatter on fast strokes"]
    lines += _value_lines("Openings per stroke", chatter.openings_per_stroke, 2, PER_STROKE)
    lines += _value_lines("Rate within a stroke", chatter.rate, 2)
    lines += _value_lines("Scatter of the time between openings", chatter.regularity, 2, PER_CENT)
    return lines


def watch_text(watch: TipWatch) -> str:
    """Return what the fitter saw during a hold, in words."""
    parts = [word(watch.grade) if watch.grade else say("not noted")]
    if watch.leak_off_drops is not None:
        drops = (
            say("1 drop at the leak-off")
            if watch.leak_off_drops == 1
            else say("{count} drops at the leak-off", count=watch.leak_off_drops)
        )
        if watch.leak_off_seconds is not None:
            time = with_unit(number(watch.leak_off_seconds, 0), "s")
            drops = say("{drops} in {time}", drops=drops, time=time)
        parts.append(drops)
    if watch.outside_leak:
        parts.append(say("oil seen outside: {where}", where=watch.outside_leak))
    return joined("; ", parts)


def _missing_lines(name: str, missing: NotMeasured) -> list[str]:
    return _value_lines(name, missing)


def _from_to(start_s: float, end_s: float) -> str:
    if not (math.isfinite(start_s) and math.isfinite(end_s)):
        return ""
    return f" from {number(start_s, 2)} s to {number(end_s, 2)} s"


def _fall(from_pa: float, to_pa: float, decimals: int = 1) -> str:
    return f"{number(BAR.value(from_pa), decimals)} to {pressure_text(to_pa, decimals)}"
