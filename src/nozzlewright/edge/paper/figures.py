"""The figures: a trace with its marks, the set's opening pressures, a value on its scale.

Every mark has a shape and a word; colour only helps. Axes are in seconds and in the reader's unit
of pressure.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from pathlib import Path

import numpy as np

from nozzlewright.bench import GaugeFindings, Hold, Opening, SeatHold, Stroke, StrokeKind
from nozzlewright.capture import Recording
from nozzlewright.edge.paper.svg import (
    LIGHT,
    Drawing,
    Panel,
    Theme,
    decimated,
    hatched,
    legend,
    legend_rows,
    nice_ticks,
    text_width,
    tick_text,
)
from nozzlewright.edge.paper.voice import (
    Voice,
    in_reader_unit,
    pressure_unit,
    speaking,
    spoken,
)
from nozzlewright.errors import Fault, InputFault
from nozzlewright.measurement import NotMeasured, Quantity
from nozzlewright.report.set_report import Scale, SetScale
from nozzlewright.report.wording import plain_number, pressure_text, value_text
from nozzlewright.said import PRESSURE_UNITS_PA, Figure, Said, Unit, converted, figure, joined, say

SMALL = 6.8
"""Size of ticks and marks' words, [pt]."""
LABEL = 7.4
"""Size of axis names and headings, [pt]."""
_MANY_OPENINGS = 80
"""From here on marks of openings would hide the trace; they get smaller."""


Interval = tuple[float, float, float]
"""A value with the ends of its interval."""


@dataclass(frozen=True)
class Trace:
    """A recording with what was found in it."""

    recording: Recording
    findings: GaugeFindings


def trace_figure(
    recording: Recording,
    findings: GaugeFindings,
    size: tuple[float, float] = (760.0, 430.0),
    theme: Theme | None = LIGHT,
    *,
    with_legend: bool = True,
) -> str:
    """Return the trace with its strokes, openings, holds and fit marked, as SVG.

    Parameters
    ----------
    recording : Recording
        The pressure against time
    findings : GaugeFindings
        What was found in it
    size : tuple of float
        Width and height, [pt]; the arrangement follows from it
    theme : Theme, optional
        Colours; None: the page that holds the figure has the rules
    with_legend : bool
        Whether the meaning of the marks stands below; once is enough for two figures

    Returns
    -------
    str
        One SVG element
    """
    width, height = size
    drawing = Drawing(width, height)
    zooms = _zooms(recording, findings)
    marks = _marks(findings) if with_legend else []
    legend_width = width - 42.0
    rows = legend_rows(legend_width, SMALL, marks) if marks else 0
    room = height - 2.0 - rows * (SMALL + 4.0)
    if width < 420.0:
        shares = [1.25] + [1.0] * len(zooms)
        unit = room / sum(shares)
        boxes = [
            (0.0, unit * sum(shares[:index]), width, unit * share)
            for index, share in enumerate(shares)
        ]
    elif height >= 180.0 and zooms:
        top = 0.57 * room
        each = width / len(zooms)
        boxes = [(0.0, 0.0, width, top)]
        boxes += [(each * index, top, each, room - top) for index in range(len(zooms))]
    else:
        zooms = zooms[:1]
        split = 0.66 * width if zooms else width
        boxes = [(0.0, 0.0, split, room), (split, 0.0, width - split, room)]
    _main_panel(drawing, boxes[0], recording, findings)
    for box, zoom in zip(boxes[1:], zooms, strict=False):
        _zoom_panel(drawing, box, recording, findings, zoom)
    base = height - 3.0 - (rows - 1) * (SMALL + 4.0)
    legend(drawing, 34.0, base, legend_width, SMALL, marks)
    return drawing.finished(trace_description(findings), theme)


def trace_description(findings: GaugeFindings) -> str:
    """Return what the figure shows in words, for those who cannot see it."""
    opening = value_text(findings.opening_pressure)
    parts = [
        say(
            "Gauge pressure in {unit} against time in seconds from {source}: {strokes} lever "
            "strokes, {openings} openings, opening pressure {opening}.",
            unit=Unit("bar"),
            source=findings.source,
            strokes=len(findings.strokes),
            openings=len(findings.openings),
            opening=opening.sentence,
        )
    ]
    if isinstance(findings.hold, Hold):
        drop = value_text(findings.hold.drop_time_as_shown)
        parts.append(say("Drop time as shown: {drop}.", drop=drop.sentence))
    return spoken(joined(" ", parts)).replace("\N{NO-BREAK SPACE}", " ")


def _marks(findings: GaugeFindings) -> list[str]:
    """Return the marks that need a legend; strokes and holds bear their names themselves."""
    hold = findings.hold if isinstance(findings.hold, Hold) else None
    borne = {
        "trace": True,
        "stroke": bool(findings.strokes),
        "opening": bool(findings.openings),
        "closing": 0 < len(findings.openings) <= _MANY_OPENINGS,
        "fit": hold is not None and len(hold.fit_time_s) > 1,
        "window": hold is not None and hold.window_from_pa is not None,
    }
    return [name for name, is_borne in borne.items() if is_borne]


# -- the whole trace -------------------------------------------------------------------------


def _main_panel(
    drawing: Drawing,
    box: tuple[float, float, float, float],
    recording: Recording,
    findings: GaugeFindings,
) -> None:
    x, y, width, height = box
    pressure = recording.pressure_pa / PRESSURE_UNITS_PA[pressure_unit()]
    from_t, to_t = float(recording.time_s[0]), float(recording.time_s[-1])
    if to_t <= from_t:
        to_t = from_t + 1.0
    low, high = float(pressure.min()), float(pressure.max())
    high = max([high, *(in_reader_unit(opening.lift_off_pa) for opening in findings.openings)])
    from_p = min(0.0, low) if low < -0.02 * max(high, 1.0) else 0.0
    to_p = from_p + 1.06 * max(high - from_p, 1e-3)
    labels = _place_labels(_spans(findings), x + 34.0, width - 42.0, from_t, to_t)
    lanes = max((lane for *_, lane in labels), default=-1) + 1
    top = y + 5.0 + lanes * (SMALL + 3.0) + (3.0 if lanes else 0.0)
    panel = Panel(x + 34.0, top, width - 42.0, y + height - top - 17.0, from_t, to_t, from_p, to_p)
    for stroke in findings.strokes:
        left, right = panel.at_t(stroke.start_s), panel.at_t(stroke.end_s)
        drawing.rectangle(left, panel.y, max(right - left, 0.6), panel.height, "bd")
    if isinstance(findings.hold, Hold):
        left, right = panel.at_t(findings.hold.start_s), panel.at_t(findings.hold.end_s)
        drawing.rectangle(left, panel.y, right - left, panel.height, "ti")
    if isinstance(findings.seat_hold, SeatHold):
        left, right = panel.at_t(findings.seat_hold.start_s), panel.at_t(findings.seat_hold.end_s)
        hatched(drawing, left, panel.y, right - left, panel.height)
    _axes(drawing, panel, time_label=say("time, s"), pressure_label=Unit("bar"))
    _trace_line(drawing, panel, recording)
    if isinstance(findings.hold, Hold):
        _fit_line(drawing, panel, findings.hold)
    _opening_marks(drawing, panel, findings.openings)
    for words, left, right, anchor_x, lane in labels:
        base = y + 4.0 + (lane + 1) * (SMALL + 3.0) - 4.0
        drawing.line(left, panel.y - 1.2, max(right, left + 0.8), panel.y - 1.2, "in")
        if lane < lanes - 1:
            middle = min(max(anchor_x, left), right)
            drawing.line(middle, base + 2.0, middle, panel.y - 1.2, "gr")
        drawing.text(anchor_x, base, words, size=SMALL, anchor="middle", halo=True)


def _spans(findings: GaugeFindings) -> list[tuple[str, float, float]]:
    """Return what stands above the trace: words, from, to [s], in the order of time."""
    spans = []
    holds = [
        hold for hold in (findings.hold, findings.seat_hold) if not isinstance(hold, NotMeasured)
    ]

    def belongs(stroke: Stroke) -> tuple[StrokeKind, int]:
        # Strokes on both sides of a hold are not one group.
        return stroke.kind, sum(hold.start_s < stroke.start_s for hold in holds)

    for (kind, _), group in groupby(findings.strokes, key=belongs):
        strokes = list(group)
        words = say("{count} {kind}", count=len(strokes), kind=_STROKE_WORDS[kind])
        spans.append((words, strokes[0].start_s, strokes[-1].end_s))
    if isinstance(findings.hold, Hold):
        spans.append((say("timed hold"), findings.hold.start_s, findings.hold.end_s))
    if isinstance(findings.seat_hold, SeatHold):
        spans.append((say("seat hold"), findings.seat_hold.start_s, findings.seat_hold.end_s))
    return sorted(spans, key=lambda span: span[1])


_STROKE_WORDS = {
    StrokeKind.FILL: say("fill"),
    StrokeKind.SLOW: say("slow"),
    StrokeKind.FAST: say("fast"),
}


def _place_labels(
    spans: Sequence[tuple[str, float, float]],
    x: float,
    width: float,
    from_t: float,
    to_t: float,
) -> list[tuple[str, float, float, float, int]]:
    """Return words, left, right, middle and lane of each label; none lies on another."""
    lanes: list[float] = []
    placed = []
    for words, start, end in spans:
        left = x + width * min(max((start - from_t) / (to_t - from_t), 0.0), 1.0)
        right = x + width * min(max((end - from_t) / (to_t - from_t), 0.0), 1.0)
        half = text_width(words, SMALL) / 2.0 + 2.5
        middle = min(max((left + right) / 2.0, x + half), x + width - half)
        lane = next((i for i, edge in enumerate(lanes) if edge <= middle - half), len(lanes))
        if lane >= _MOST_LANES:
            continue
        if lane == len(lanes):
            lanes.append(0.0)
        lanes[lane] = middle + half
        placed.append((words, left, right, middle, lane))
    count = len(lanes)
    # The lane next to the trace is the last one: what needs no second row stands nearest.
    return [(w, le, ri, mi, count - 1 - lane) for w, le, ri, mi, lane in placed]


_MOST_LANES = 3


def _axes(drawing: Drawing, panel: Panel, *, time_label: str, pressure_label: str) -> None:
    x = panel.x - 3.5
    ticks = _enough_ticks(
        panel.from_p, panel.to_p, panel.height / 22.0, lambda tick, _: _has_room(panel, tick)
    )
    for tick in ticks:
        at = panel.at_p(tick)
        drawing.line(panel.x, at, panel.right, at, "gr")
        if _has_room(panel, tick):
            words = tick_text(tick, ticks)
            drawing.text(x, at + 0.34 * SMALL, words, size=SMALL, kind="mu", anchor="end")
    drawing.text(x, panel.y + 0.3 * SMALL, pressure_label, size=SMALL, kind="mu", anchor="end")

    drawing.line(panel.x, panel.bottom, panel.right, panel.bottom, "ax")
    base = panel.bottom + 3.5 + SMALL
    label_left = panel.right - text_width(time_label, SMALL) - 6.0

    def before_label(tick: float, words: str) -> bool:
        return panel.at_t(tick) + text_width(words, SMALL) / 2.0 < label_left

    ticks = _enough_ticks(panel.from_t, panel.to_t, panel.width / 58.0, before_label)
    for tick in ticks:
        at, words = panel.at_t(tick), tick_text(tick, ticks)
        drawing.line(at, panel.bottom, at, panel.bottom + 2.5, "ax")
        if before_label(tick, words):
            drawing.text(at, base, words, size=SMALL, kind="mu", anchor="middle")
    drawing.text(panel.right, base, time_label, size=SMALL, kind="mu", anchor="end")


def _has_room(panel: Panel, pressure: float) -> bool:
    """Return whether a number beside the axis stands clear of the unit at its top."""
    return panel.at_p(pressure) - panel.y > 7.0


def _enough_ticks(
    low: float, high: float, wanted: float, borne: Callable[[float, str], bool]
) -> list[float]:
    """Return ticks of which two bear their number at least: one alone gives no scale."""
    fewest = max(2, int(wanted))
    for count in range(fewest, 3 * fewest):
        ticks = nice_ticks(low, high, count)
        if sum(borne(tick, tick_text(tick, ticks)) for tick in ticks) > 1:
            return ticks
    return nice_ticks(low, high, fewest)


def _trace_line(drawing: Drawing, panel: Panel, recording: Recording) -> None:
    first, last = np.searchsorted(recording.time_s, [panel.from_t, panel.to_t])
    first, last = max(int(first) - 1, 0), min(int(last) + 1, len(recording))
    times, pressures = decimated(
        recording.time_s[first:last],
        recording.pressure_pa[first:last],
        max(60, int(panel.width)),
    )
    drawing.polyline(panel.points(times, pressures / PRESSURE_UNITS_PA[pressure_unit()]), "tr")


def _fit_line(drawing: Drawing, panel: Panel, hold: Hold) -> None:
    if len(hold.fit_time_s) < 2:
        return
    times = np.asarray(hold.fit_time_s, dtype=np.float64)
    pressures = np.asarray(hold.fit_pressure_pa, dtype=np.float64)
    times, pressures = decimated(times, pressures, 60)
    drawing.polyline(panel.points(times, pressures / PRESSURE_UNITS_PA[pressure_unit()]), "da")


def _opening_marks(drawing: Drawing, panel: Panel, openings: Sequence[Opening]) -> None:
    shown = [opening for opening in openings if panel.from_t <= opening.time_s <= panel.to_t]
    radius = 1.9 if len(shown) <= _MANY_OPENINGS else 1.1
    for opening in shown:
        at = panel.at_t(opening.time_s)
        if len(shown) <= _MANY_OPENINGS and np.isfinite(opening.closing_pa):
            low = panel.at_p(in_reader_unit(opening.closing_pa))
            drawing.line(at - 2.2, low, at + 2.2, low, "in")
        drawing.circle(at, panel.at_p(in_reader_unit(opening.lift_off_pa)), radius, "ho")


# -- a closer look ---------------------------------------------------------------------------


@dataclass(frozen=True)
class _Zoom:
    title: str
    from_t: float
    to_t: float
    from_p: float
    to_p: float
    hold: Hold | None = None
    opening: Opening | None = None


def _zooms(recording: Recording, findings: GaugeFindings) -> list[_Zoom]:
    zooms = []
    if isinstance(findings.hold, Hold) and not findings.by_hand:
        zoom = _hold_zoom(findings.hold)
        if zoom:
            zooms.append(zoom)
    opening = _typical_opening(findings)
    if opening is not None:
        slow = _is_slow(findings, opening)
        zoom = _opening_zoom(
            recording,
            findings,
            opening,
            say("One slow opening") if slow else say("One opening"),
        )
        if zoom:
            zooms.append(zoom)
    return zooms


def _hold_zoom(hold: Hold) -> _Zoom | None:
    span = hold.end_s - hold.start_s
    ends = [p for p in (hold.start_pa, hold.end_pa) if np.isfinite(p)]
    edges = [p for p in (hold.window_from_pa, hold.window_to_pa) if p is not None]
    low, high = min(ends + edges, default=0.0), max(ends + edges, default=0.0)
    if not (span > 0.0 and high > low):
        return None
    pad = 0.10 * (high - low)
    return _Zoom(
        say("The hold"), hold.start_s - 0.03 * span, hold.end_s + 0.03 * span,
        in_reader_unit(low - pad), in_reader_unit(high + pad), hold=hold,
    )  # fmt: skip


def _typical_opening(findings: GaugeFindings) -> Opening | None:
    """Return the opening of a slow stroke that lies in the middle of the others."""
    chosen = [opening for opening in findings.openings if _is_slow(findings, opening)]
    chosen = chosen or list(findings.openings)
    if not chosen:
        return None
    ordered = sorted(chosen, key=lambda opening: opening.lift_off_pa)
    return ordered[(len(ordered) - 1) // 2]


def _is_slow(findings: GaugeFindings, opening: Opening) -> bool:
    return any(
        stroke.index == opening.stroke and stroke.kind is StrokeKind.SLOW
        for stroke in findings.strokes
    )


def _opening_zoom(
    recording: Recording, findings: GaugeFindings, opening: Opening, title: str
) -> _Zoom | None:
    apart = min(
        (abs(o.time_s - opening.time_s) for o in findings.openings if o is not opening),
        default=np.inf,
    )
    # Wide enough to see the rise, and so narrow that openings in quick succession stay apart.
    reach = max(min(0.25, 1.5 * apart), 12.0 * recording.interval_s)
    from_t, to_t = opening.time_s - 0.6 * reach, opening.time_s + reach
    first, last = np.searchsorted(recording.time_s, [from_t, to_t])
    if last - first < 4:
        return None
    seen = recording.pressure_pa[first:last]
    low, high = float(seen.min()), max(float(seen.max()), opening.lift_off_pa)
    if np.isfinite(opening.closing_pa):
        low = min(low, opening.closing_pa)
    low = max(low, opening.lift_off_pa - 6.0 * max(abs(opening.fall_pa), 1e5))
    if not high > low:
        return None
    pad = 0.16 * (high - low)
    return _Zoom(
        title, from_t, to_t, in_reader_unit(low - pad), in_reader_unit(high + pad),
        opening=opening,
    )  # fmt: skip


def _zoom_panel(
    drawing: Drawing,
    box: tuple[float, float, float, float],
    recording: Recording,
    findings: GaugeFindings,
    zoom: _Zoom,
) -> None:
    x, y, width, height = box
    panel = Panel(
        x + 34.0, y + 16.0, width - 42.0, height - 33.0,
        zoom.from_t, zoom.to_t, zoom.from_p, zoom.to_p,
    )  # fmt: skip
    if panel.width < 60.0 or panel.height < 30.0:
        return
    panel = _with_room_for_the_time(panel, zoom)
    drawing.text(panel.x, y + 9.0, zoom.title, size=LABEL, kind="st")
    if zoom.hold is not None:
        left, right = panel.at_t(zoom.hold.start_s), panel.at_t(zoom.hold.end_s)
        drawing.rectangle(left, panel.y, right - left, panel.height, "ti")
    _axes(drawing, panel, time_label=say("time, s"), pressure_label=Unit("bar"))
    _trace_line(drawing, panel, recording)
    if zoom.hold is not None:
        _fit_line(drawing, panel, zoom.hold)
        _window_marks(drawing, panel, zoom.hold, recording)
    if zoom.opening is not None:
        within = [o for o in findings.openings if zoom.from_t <= o.time_s <= zoom.to_t]
        _opening_marks(drawing, panel, within)
        _opening_words(drawing, panel, zoom.opening)


_TIME_ROOM = 22.0
"""Paper under the lower edge of the window on which the time of the fall is written."""


def _with_room_for_the_time(panel: Panel, zoom: _Zoom) -> Panel:
    """Return the panel reaching so low that the time of the fall lies on no line."""
    if zoom.hold is None or zoom.hold.window_to_pa is None or panel.height < 2.0 * _TIME_ROOM:
        return panel
    edge = in_reader_unit(zoom.hold.window_to_pa)
    if panel.bottom - panel.at_p(edge) >= _TIME_ROOM:
        return panel
    share = _TIME_ROOM / panel.height
    return replace(panel, from_p=(edge - share * panel.to_p) / (1.0 - share))


def _window_marks(drawing: Drawing, panel: Panel, hold: Hold, recording: Recording) -> None:
    """Draw the two pressures of the window, and between them the time of the fall."""
    if hold.window_from_pa is None or hold.window_to_pa is None:
        return
    edges = (hold.window_from_pa, hold.window_to_pa)
    times = _crossings(hold, recording, edges)
    for edge, time in zip(edges, times, strict=True):
        at = panel.at_p(in_reader_unit(edge))
        drawing.line(panel.x, at, panel.right, at, "do")
        words = _with_unit(plain_number(_four(in_reader_unit(edge))), "bar")
        drawing.text(panel.right - 2.0, at - 2.0, words, size=SMALL, anchor="end")
        if time is not None:
            drawing.line(panel.at_t(time), at, panel.at_t(time), panel.bottom, "do")
    start, end = times
    if start is None or end is None or not isinstance(hold.drop_time_as_shown, Quantity):
        return
    left, right = panel.at_t(start), panel.at_t(end)
    base = panel.bottom - 5.0
    drawing.line(left, base, right, base, "in")
    drawing.arrow(left, base, -1.0)
    drawing.arrow(right, base, 1.0)
    time_words = value_text(hold.drop_time_as_shown).text
    wide = text_width(time_words, SMALL)
    at, anchor = (left + right) / 2.0, "middle"
    if wide + 14.0 >= right - left:
        at, anchor = min(right + 4.0, panel.right - wide), "start"
    drawing.text(at, base - 3.0, time_words, size=SMALL, anchor=anchor, halo=True)


def _crossings(
    hold: Hold, recording: Recording, edges: tuple[float, float]
) -> tuple[float | None, float | None]:
    """Return when the hold passes each edge: by the trace, noise averaged out; else None."""
    first, last = np.searchsorted(recording.time_s, [hold.start_s, hold.end_s])
    blocks = np.array_split(np.arange(first, last), min(200, max(int(last - first), 1)))
    filled = [block for block in blocks if block.size]
    if len(filled) < 2:
        return None, None
    times = np.array([recording.time_s[block].mean() for block in filled])
    means = np.array([recording.pressure_pa[block].mean() for block in filled])
    falling = np.minimum.accumulate(means)

    def crossing(edge: float) -> float | None:
        if not falling[-1] <= edge <= falling[0]:
            return None
        return float(np.interp(-edge, -falling, times))

    return crossing(edges[0]), crossing(edges[1])


def _opening_words(drawing: Drawing, panel: Panel, opening: Opening) -> None:
    at = panel.at_t(opening.time_s)
    high = panel.at_p(in_reader_unit(opening.lift_off_pa))
    words = say("lift-off {pressure}", pressure=pressure_text(opening.lift_off_pa))
    room = panel.right - at - 6.0
    if text_width(words, SMALL) < room:
        drawing.text(at + 5.0, high - 1.5, words, size=SMALL, halo=True)
    else:
        drawing.text(at - 5.0, high - 1.5, words, size=SMALL, anchor="end", halo=True)
    if np.isfinite(opening.closing_pa):
        low = panel.at_p(in_reader_unit(opening.closing_pa))
        words = say("closing {pressure}", pressure=pressure_text(opening.closing_pa))
        drawing.text(
            at - 6.0, min(low + 0.34 * SMALL, panel.bottom - 2.0), words,
            size=SMALL, anchor="end", halo=True,
        )  # fmt: skip


# -- the set ---------------------------------------------------------------------------------


def set_figure(
    scale: SetScale,
    size: tuple[float, float] = (505.0, 150.0),
    theme: Theme | None = LIGHT,
    *,
    voice: Voice | None = None,
) -> str:
    """Return the set's opening pressures with their intervals against the band, as SVG.

    Parameters
    ----------
    scale : SetScale
        Pressures and limits, [bar]
    size : tuple of float
        Width and height, [pt]
    theme : Theme, optional
        Colours; None: the page that holds the figure has the rules
    voice : Voice, optional
        Whose language and unit it speaks; None: those of the paper of which it is part
    """
    with speaking(voice):
        return _set_drawn(scale, size, theme)


def _set_drawn(scale: SetScale, size: tuple[float, float], theme: Theme | None) -> str:
    width, height = size
    words = set_description(scale)
    factor = converted(1.0, "bar", pressure_unit())
    scale = _in_unit(scale, factor)
    drawing = Drawing(width, height)
    ends = [
        bound
        for point in scale.points
        for interval in (point.as_found, point.as_left)
        if interval
        for bound in interval[1:]
        if np.isfinite(bound)
    ]
    limits = [limit for limit in (scale.lower_limit, scale.upper_limit) if limit is not None]
    if not ends and not limits:
        nothing = say("no opening pressure was measured")
        drawing.text(width / 2.0, height / 2.0, nothing, size=LABEL, kind="mu", anchor="middle")
        return drawing.finished(nothing, theme)
    low, high = min(ends + limits), max(ends + limits)
    pad = 0.10 * max(high - low, factor)
    right_room = 58.0
    panel = Panel(
        34.0, 8.0, width - 34.0 - right_room, height - 40.0,
        0.0, float(max(len(scale.points), 1)), low - pad, high + pad,
    )  # fmt: skip
    _set_ground(drawing, panel, scale)
    both = any(p.as_found for p in scale.points) and any(p.as_left for p in scale.points)
    for index, point in enumerate(scale.points):
        middle = panel.at_t(index + 0.5)
        drawing.line(middle, panel.bottom, middle, panel.bottom + 2.5, "ax")
        drawing.text(
            middle, panel.bottom + 3.5 + SMALL, str(point.cylinder),
            size=LABEL, anchor="middle", kind="st",
        )  # fmt: skip
        if point.cylinder == scale.odd_one_out:
            drawing.text(
                middle,
                panel.bottom + 4.0 + 2.0 * SMALL,
                say("odd one"),
                size=SMALL,
                anchor="middle",
            )
        apart = min(9.0, panel.width / max(len(scale.points), 1) / 5.0) if both else 0.0
        if point.as_found:
            _dot(drawing, panel, middle - apart, point.as_found, found=True)
        if point.as_left:
            _dot(drawing, panel, middle + apart, point.as_left, found=False)
        if not (point.as_found or point.as_left):
            drawing.text(middle, panel.y + panel.height / 2.0, say("none"),
                         size=SMALL, kind="mu", anchor="middle", halo=True)  # fmt: skip
        if point.cylinder == scale.odd_one_out and (interval := point.as_left or point.as_found):
            x = middle + (apart if point.as_left else -apart)
            drawing.circle(x, panel.at_p(interval[0]), 5.0, "in")
    _set_legend(drawing, panel, scale, height)
    return drawing.finished(words, theme)


def set_description(scale: SetScale) -> str:
    """Return what the figure of the set shows in words."""
    said = []
    for point in scale.points:
        interval = point.as_left or point.as_found
        which = say("as left") if point.as_left else say("as found")
        pressure: str = say("not measured")
        if interval:
            pressure = say(
                "{pressure} {which}",
                pressure=_with_unit(figure(interval[0], ".4g", "bar"), "bar"),
                which=which,
            )
        cylinder = figure(point.cylinder)
        said.append(say("cylinder {number}: {pressure}", number=cylinder, pressure=pressure))
    told = say("Opening pressures of the set: {cylinders}.", cylinders=joined(", ", said))
    if scale.lower_limit is not None and scale.upper_limit is not None:
        lower, upper = (
            Figure(f"{limit:.4g}", limit, "bar", exact=True)
            for limit in (scale.lower_limit, scale.upper_limit)
        )
        allowed = _with_unit(joined("–", [lower, upper]), "bar")
        told = say("{told} Allowed: {limits}.", told=told, limits=allowed)
    return spoken(told).replace("\N{NO-BREAK SPACE}", " ")


def _in_unit(scale: SetScale, factor: float) -> SetScale:
    """Return the scale with every pressure multiplied."""

    def times(value: float | None) -> float | None:
        return None if value is None else value * factor

    def all_times(interval: tuple[float, float, float] | None) -> Interval | None:
        return None if interval is None else (
            interval[0] * factor, interval[1] * factor, interval[2] * factor
        )  # fmt: skip

    if factor == 1.0:
        return scale
    return replace(
        scale,
        points=tuple(
            replace(p, as_found=all_times(p.as_found), as_left=all_times(p.as_left))
            for p in scale.points
        ),
        lower_limit=times(scale.lower_limit),
        upper_limit=times(scale.upper_limit),
        target=times(scale.target),
        mean=times(scale.mean),
    )


def _set_ground(drawing: Drawing, panel: Panel, scale: SetScale) -> None:
    lower, upper = scale.lower_limit, scale.upper_limit
    if lower is not None or upper is not None:
        top = panel.at_p(upper) if upper is not None else panel.y
        base = panel.at_p(lower) if lower is not None else panel.bottom
        drawing.rectangle(panel.x, top, panel.width, base - top, "ti")
    ticks = nice_ticks(panel.from_p, panel.to_p, max(2, int(panel.height / 16.0)))
    for tick in ticks:
        at = panel.at_p(tick)
        drawing.line(panel.x, at, panel.right, at, "gr")
        if abs(at - panel.y) > 6.0:
            drawing.text(panel.x - 3.5, at + 0.34 * SMALL, tick_text(tick, ticks),
                         size=SMALL, kind="mu", anchor="end")  # fmt: skip
    drawing.text(
        panel.x - 3.5, panel.y + 0.3 * SMALL, Unit("bar"), size=SMALL, kind="mu", anchor="end"
    )
    drawing.line(panel.x, panel.bottom, panel.right, panel.bottom, "ax")
    drawing.text(panel.x - 3.5, panel.bottom + 3.5 + SMALL, say("cyl."), size=SMALL, kind="mu",
                 anchor="end")  # fmt: skip
    marks = [
        (value, say("{name} {value}", name=name, value=plain_number(_four(value))), kind)
        for value, name, kind in (
            (upper, say("upper"), "in"),
            (scale.target, say("target"), "da"),
            (lower, say("lower"), "in"),
            (scale.mean, say("mean"), "do"),
        )
        if value is not None and np.isfinite(value)
    ]
    for value, _, kind in marks:
        drawing.line(panel.x, panel.at_p(value), panel.right, panel.at_p(value), kind)
    marks.sort(key=lambda mark: -mark[0])
    wanted = [panel.at_p(value) + 0.34 * SMALL for value, *_ in marks]
    for (_, mark, _), at, base in zip(
        marks, wanted, spread_apart(wanted, SMALL + 1.4, panel.y + SMALL, panel.bottom), strict=True
    ):
        line_at = at - 0.34 * SMALL
        drawing.polyline(
            np.array([[panel.right + 1, line_at], [panel.right + 6, base - 0.34 * SMALL]]), "gr"
        )
        drawing.text(panel.right + 8.0, base, mark, size=SMALL, kind="mu")


def _four(value: float) -> float:
    """Return a value to 0.1 where it is large, to four digits where it is small."""
    return round(value, 1) if abs(value) >= 100.0 else float(f"{value:.4g}")


def _with_unit(number: str, unit: str) -> Said:
    return say("{value} {unit}", value=number, unit=unit if isinstance(unit, Said) else Unit(unit))


def spread_apart(wanted: Sequence[float], step: float, low: float, high: float) -> list[float]:
    """Return places near the wanted ones, in order, at least `step` apart, within low to high.

    >>> spread_apart([10.0, 11.0, 40.0], 8.0, 0.0, 50.0)
    [10.0, 18.0, 40.0]
    """
    places: list[float] = []
    for at in wanted:
        places.append(max(at, low if not places else places[-1] + step))
    ceiling = high
    for index in reversed(range(len(places))):
        places[index] = min(places[index], ceiling)
        ceiling = places[index] - step
    return places


def _dot(
    drawing: Drawing, panel: Panel, x: float, interval: tuple[float, float, float], *, found: bool
) -> None:
    value, low, high = interval
    kind = "mw" if found else "wh"
    drawing.line(x, panel.at_p(low), x, panel.at_p(high), kind)
    for bound in (low, high):
        drawing.line(x - 2.2, panel.at_p(bound), x + 2.2, panel.at_p(bound), kind)
    drawing.circle(x, panel.at_p(value), 2.4, "hm" if found else "pt")


def _set_legend(
    drawing: Drawing,
    panel: Panel,
    scale: SetScale,
    height: float,
) -> None:
    base = height - 4.0
    at = panel.x
    middle = base - 0.32 * SMALL
    entries = []
    if any(point.as_found for point in scale.points):
        entries.append(say("as found"))
    if any(point.as_left for point in scale.points):
        entries.append(say("as left"))
    if entries:
        entries.append(_INTERVAL)
    if scale.lower_limit is not None or scale.upper_limit is not None:
        entries.append(_ALLOWED)
    gap = 10.0
    if at + sum(13.0 + gap + text_width(entry, SMALL) for entry in entries) > drawing.width:
        at, gap = 2.0, 6.0
    for entry in entries:
        if entry is _ALLOWED:
            drawing.rectangle(at, middle - 3.0, 10.0, 6.0, "ti")
        elif entry is _INTERVAL:
            drawing.line(at, middle, at + 10.0, middle, "mw")
            for end in (at, at + 10.0):
                drawing.line(end, middle - 2.2, end, middle + 2.2, "mw")
        else:
            drawing.circle(at + 7.0, middle, 2.4, "hm" if entry == "as found" else "pt")
        drawing.text(at + 13.0, base, entry, size=SMALL, kind="mu")
        at += 13.0 + text_width(entry, SMALL) + gap


_INTERVAL = say("{share} interval", share=say("{value} %", value=figure(95)))
_ALLOWED = say("allowed")


# -- one value on its scale ------------------------------------------------------------------


def scale_figure(
    scale: Scale, size: tuple[float, float] = (190.0, 30.0), theme: Theme | None = LIGHT
) -> str:
    """Return a value with its interval, its limits and their guard bands, as a narrow SVG.

    Parameters
    ----------
    scale : Scale
        Value, interval, limits and guard band in one unit
    size : tuple of float
        Width and height, [pt]
    theme : Theme, optional
        Colours; None: the page that holds the figure has the rules
    """
    width, height = size
    drawing = Drawing(width, height)
    scale = _scale_in_unit(scale, converted(1.0, scale.unit, pressure_unit()))
    limits = [limit for limit in (scale.lower_limit, scale.upper_limit) if limit is not None]
    low = min([scale.value, *limits, *(b for b in (scale.low,) if np.isfinite(b))])
    high = max([scale.value, *limits, *(b for b in (scale.high,) if np.isfinite(b))])
    pad = max(0.14 * (high - low), 1.2 * scale.guard, 1e-9)
    panel = Panel(2.0, 5.0, width - 4.0, height - 17.0, low - pad, high + pad, 0.0, 1.0)
    _scale_ground(drawing, panel, scale)
    drawing.line(panel.x, panel.bottom, panel.right, panel.bottom, "ax")
    middle = panel.y + panel.height / 2.0
    for limit in limits:
        drawing.line(panel.at_t(limit), panel.y - 3.0, panel.at_t(limit), panel.bottom + 2.0, "in")
    from_x, to_x = panel.at_t(scale.low), panel.at_t(scale.high)
    drawing.line(from_x, middle, to_x, middle, "wh")
    for end in (from_x, to_x):
        drawing.line(end, middle - 2.4, end, middle + 2.4, "wh")
    drawing.circle(panel.at_t(scale.value), middle, 2.6, "pt")
    words = [(panel.at_t(limit), plain_number(float(f"{limit:.5g}"))) for limit in limits]
    _scale_words(drawing, panel, words, scale.unit, height)
    return drawing.finished(joined(", ", [scale.name, scale.caption]), theme)


def _scale_in_unit(scale: Scale, factor: float) -> Scale:
    """Return the scale of one value with every number multiplied."""

    def times(value: float | None) -> float | None:
        return None if value is None else value * factor

    if factor == 1.0:
        return scale
    return replace(
        scale,
        value=scale.value * factor,
        low=scale.low * factor,
        high=scale.high * factor,
        lower_limit=times(scale.lower_limit),
        upper_limit=times(scale.upper_limit),
        guard=scale.guard * factor,
        accept_from=times(scale.accept_from),
        accept_to=times(scale.accept_to),
    )


def _scale_ground(drawing: Drawing, panel: Panel, scale: Scale) -> None:
    """Draw where a value passes (plain), and where it is too close to tell (hatched)."""
    lower, upper = scale.lower_limit, scale.upper_limit
    if scale.guard:
        left = panel.x if lower is None else panel.at_t(lower - scale.guard)
        right = panel.right if upper is None else panel.at_t(upper + scale.guard)
        hatched(drawing, left, panel.y, right - left, panel.height)
    if scale.can_pass:
        left = panel.x if scale.accept_from is None else panel.at_t(scale.accept_from)
        right = panel.right if scale.accept_to is None else panel.at_t(scale.accept_to)
        drawing.rectangle(left, panel.y, right - left, panel.height, "ti")


def _scale_words(
    drawing: Drawing, panel: Panel, words: Sequence[tuple[float, str]], unit: str, height: float
) -> None:
    base = height - 3.0
    shown = list(words)
    if shown and unit:
        at, text = shown[-1]
        shown[-1] = (at, _with_unit(text, unit))
    free = panel.x
    for at, text in shown:
        wide = text_width(text, SMALL)
        left = min(max(at - wide / 2.0, free), panel.right - wide)
        drawing.text(left, base, text, size=SMALL, kind="mu")
        free = left + wide + 4.0


# -- to a file -------------------------------------------------------------------------------


def write_plot(
    recording: Recording,
    findings: GaugeFindings,
    path: Path,
    *,
    size: tuple[float, float] = (760.0, 430.0),
    theme: Theme = LIGHT,
) -> None:
    """Write the trace with its marks to ``.svg`` or ``.png``.

    Parameters
    ----------
    recording : Recording
        The pressure against time
    findings : GaugeFindings
        What was found in it
    path : Path
        Where to; its ending says which of the two
    size : tuple of float
        Width and height, [pt]
    theme : Theme
        Colours

    Raises
    ------
    InputFault
        If the ending is another, or the folder cannot be written to.
    """
    ending = path.suffix.lower()
    if ending not in {".svg", ".png"}:
        raise InputFault(
            Fault(
                f"a plot cannot be written as '{ending or path.name}'",
                str(path),
                "Give a name that ends in .svg or .png.",
            )
        )
    from nozzlewright.edge.paper.typeset import png_of_svg, write_file

    svg = trace_figure(recording, findings, size, theme)
    content = png_of_svg(svg, size) if ending == ".png" else svg.encode("utf-8")
    write_file(path, content, "the plot")
