"""The check of a rig as screens show it: state by shape and word, items, control charts drawn."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from types import MappingProxyType
from urllib.parse import urlencode

from nozzlewright.advice.rig_care import AGAINST_ANOTHER_GAUGE, coming_due, due_text, to_do
from nozzlewright.bench import BenchConditions
from nozzlewright.edge.web.show import day_text, localised, pressure, pressure_number, seconds
from nozzlewright.edge.web.texts import HERE, N_, _
from nozzlewright.judging import Fitness, RigChart, RigItem, RigVerdict
from nozzlewright.judging.rig import CHARTED, drift_text
from nozzlewright.measurement import NotMeasured, Quantity, celsius
from nozzlewright.measurement.control_chart import ControlChart
from nozzlewright.measurement.units import pressure_from_pa
from nozzlewright.report.wording import number
from nozzlewright.said import word

FITNESS: Mapping[str, tuple[str, str]] = MappingProxyType(
    {
        Fitness.FIT.value: ("pass", N_("fit for use")),
        Fitness.WATCH.value: ("unclear", N_("watch")),
        Fitness.OUT.value: ("fail", N_("out")),
        Fitness.UNCHECKED.value: ("not-done", N_("not judged")),
    }
)
"""State of a rig: shape and word."""
ITEM_UNCHECKED = ("not-done", N_("not checked"))
MEANING: Mapping[Fitness, str] = MappingProxyType(
    {
        Fitness.FIT: N_("It may be used: what is tested on it counts."),
        Fitness.WATCH: N_(
            "It may be used: what is tested on it counts. Something on it is to be watched."
        ),
        Fitness.OUT: N_(
            "Back-leakage tested on it has no verdict: neither pass nor fail. Opening pressure, "
            "seat, chatter and spray are judged as ever."
        ),
        Fitness.UNCHECKED: N_(
            "It may be used, and what is tested on it counts; but nothing shows that the rig was "
            "sound."
        ),
    }
)
"""What a state means for the tests of its day."""
CARD_GROUPS = {
    RigItem.PROBE: "probe", RigItem.OIL: "fluid", RigItem.FILTER: "filter", None: "limits",
}  # fmt: skip
"""Group of the card on which it is written what was done."""

WIDTH, HEIGHT = 372.0, 200.0
LEFT, RIGHT, TOP, BOTTOM = 10.0, 276.0, 14.0, 168.0
MOST_PLACES = 4
LEAST_APART = 14.0
"""Distance at which two labels can be read, in units of the picture."""


def fitness(value: str) -> tuple[str, str]:
    """Return shape and word of a rig's state, in the language of this screen."""
    shape, text = FITNESS.get(value, FITNESS[Fitness.UNCHECKED.value])
    return shape, _(text)


def oil_text(conditions: BenchConditions | None) -> str:
    """Return the oil's temperature with half its 95 % interval; empty where it was not taken."""
    oil = conditions.oil_temperature if conditions else None
    if oil is None:
        return ""
    half = 1.96 * oil.standard_uncertainty
    return localised(f"{celsius(oil.value):.1f} ± {half:.1f}\N{NO-BREAK SPACE}°C")


@dataclass(frozen=True)
class ShownAct:
    """One thing to do, and the page on which it is done or written down."""

    do: str
    path: str = ""
    place: str = ""
    settles: bool = False
    """Whether what is written there settles it, without another check."""


def shown_acts(verdict: RigVerdict, rig: str) -> list[ShownAct]:
    """Return what to do about a rig, that which keeps it from being fit first."""
    acts = []
    for one in to_do(verdict):
        path = place = ""
        if one.item is RigItem.GAUGE:
            path, place = "/certificate", _("Certificate of the gauge")
        elif one.do == AGAINST_ANOTHER_GAUGE:
            path, place = "/dead-weight", _("Dead-weight tester")
        elif one.item in CARD_GROUPS:
            path, place = "/rig/card", _("Particulars of this rig")
        query = {"rig": rig, **({"open": CARD_GROUPS[one.item]} if path == "/rig/card" else {})}
        settles = path in {"/certificate", "/rig/card"}
        acts.append(ShownAct(one.do, path and f"{path}?{urlencode(query)}", place, settles))
    return acts


@dataclass(frozen=True)
class ShownDue:
    """A day after which something no longer holds."""

    shape: str
    name: str
    when: str


def shown_due(verdict: RigVerdict, today: date) -> list[ShownDue]:
    """Return what comes due on a rig as seen today, the nearest first."""
    return [
        ShownDue("fail" if one.on < today else "open", word(one.item), due_text(one, today))
        for one in coming_due(verdict)
    ]


@dataclass(frozen=True)
class ShownItem:
    """One item of a check."""

    shape: str
    word: str
    name: str
    reasons: Sequence[str]


def shown_items(verdict: RigVerdict) -> list[ShownItem]:
    """Return the items of a check, those that ask for something first."""
    order = (Fitness.OUT, Fitness.WATCH, Fitness.FIT, Fitness.UNCHECKED)
    items = sorted(verdict.items, key=lambda one: order.index(one.fitness))
    return [ShownItem(*_item_state(one.fitness), word(one.item), one.reasons) for one in items]


def _item_state(state: Fitness) -> tuple[str, str]:
    if state is Fitness.UNCHECKED:
        return ITEM_UNCHECKED[0], _(ITEM_UNCHECKED[1])
    return fitness(state.value)


@dataclass(frozen=True)
class Point:
    """One check on a picture."""

    x: float
    y: float
    high: float
    low: float
    """Ends of the 95 % interval."""
    signal: bool


@dataclass(frozen=True)
class Level:
    """A line across the picture."""

    kind: str
    """``centre``, ``limit`` or ``tolerance``."""
    y: float
    label: str
    label_y: float
    words: str


@dataclass(frozen=True)
class Row:
    """One check in the table."""

    day: str
    value: str
    range: str
    signal: str


@dataclass(frozen=True)
class ShownChart:
    """A control chart, drawn and as a table."""

    title: str
    unit: str
    drift: str
    begun: str
    missing: str
    """Why there is no chart; empty where there is one."""
    points: tuple[Point, ...] = ()
    levels: tuple[Level, ...] = ()
    baseline_x: float = 0.0
    """Where the baseline ends."""
    trend: tuple[float, float, float, float] | None = None
    first: str = ""
    last: str = ""
    now: str = ""
    """The last point in words: its value with half its 95 % interval."""
    last_signal: bool = False
    """Whether a rule of the chart speaks at the last point."""
    rows: tuple[Row, ...] = ()
    summary: str = ""


def shown_charts(verdict: RigVerdict) -> list[ShownChart]:
    """Return the control charts of a check, as far as anything was measured."""
    charts = [verdict.charts[item] for item in CHARTED if item in verdict.charts]
    return [_shown(one) for one in charts if one.days]


def _unit(chart: RigChart) -> str:
    return _("s") if chart.item is RigItem.DROP else HERE.get().pressure_unit


def _stated(one: RigChart, value: float) -> str:
    """Return a limit of the card."""
    return localised(f"{value:.1f}") if one.item is RigItem.DROP else pressure_number(value)


def _in_unit(one: RigChart, value: float) -> float:
    if one.item is RigItem.DROP:
        return value
    return pressure_from_pa(value, HERE.get().pressure_unit)


def _places(one: RigChart) -> int:
    """Return the decimals that tell the chart's limits apart."""
    in_mpa = one.item is not RigItem.DROP and HERE.get().pressure_unit == "MPa"
    places = 2 if in_mpa else 1
    if isinstance(one.chart, ControlChart):
        apart = abs(_in_unit(one, one.chart.limits[1]) - _in_unit(one, one.chart.limits[0]))
        if apart > 0.0:
            places = min(max(places, 1 - math.floor(math.log10(apart))), MOST_PLACES)
    return places


def _number(one: RigChart, value: float, places: int) -> str:
    return localised(number(_in_unit(one, value), places))


def _shown(one: RigChart) -> ShownChart:
    chart = one.chart
    title, unit = word(one.item), _unit(one)
    if isinstance(chart, NotMeasured):
        return ShownChart(title, unit, "", one.begun, chart.reason)
    values = [float(point.measured.value) for point in chart.points]
    u = [1.96 * float(point.measured.standard_uncertainty) for point in chart.points]
    lines = [(kind, float(value)) for kind, value in _lines(one, chart)]
    ends = [*values, *(line[1] for line in lines)]
    low, high = min(ends), max(ends)
    margin = 0.06 * (high - low) or 1.0
    low, high = low - margin, high + margin
    days = [float(point.day) for point in chart.points]
    at = _apart(days)
    span = (at[-1] - at[0]) or 1.0

    def x(day: float) -> float:
        inner = LEFT + 8.0, RIGHT - 8.0
        return round(inner[0] + (inner[1] - inner[0]) * (day - at[0]) / span, 1)

    def y(value: float) -> float:
        return round(BOTTOM - (BOTTOM - TOP) * (min(max(value, low), high) - low) / (high - low), 1)

    spoke = {signal.index for signal in chart.signals}
    points = tuple(
        Point(x(day), y(value), y(value + half), y(value - half), index in spoke)
        for index, (day, value, half) in enumerate(zip(at, values, u, strict=True))
    )
    trend = None
    if not isinstance(one.trend, NotMeasured) and one.trend.clear:
        level, slope = one.trend.level.value, one.trend.slope.value
        trend = x(at[0]), y(level - slope * (days[-1] - days[0])), x(at[-1]), y(level)
    return ShownChart(
        title=title,
        unit=unit,
        drift=drift_text(one),
        begun=one.begun,
        missing="",
        points=points,
        levels=_levels(one, lines, y),
        baseline_x=x(at[chart.baseline - 1]) + 4.0,
        trend=trend,
        first=day_text(one.days[0]),
        last=day_text(one.days[-1]),
        now=_now(one, chart.points[-1].measured),
        last_signal=len(values) - 1 in spoke,
        rows=_rows(one, chart),
        summary=_("%(count)s checks, the first %(baseline)s of them the baseline")
        % {"count": len(values), "baseline": chart.baseline},
    )


def _apart(days: list[float]) -> list[float]:
    """Return days with several checks of one day standing beside each other, in their order.

    >>> _apart([3.0, 4.0, 4.0, 6.0])
    [3.0, 4.0, 4.5, 6.0]
    """
    return [day + days[:index].count(day) / days.count(day) for index, day in enumerate(days)]


def _now(one: RigChart, measured: Quantity) -> str:
    shown = seconds(measured) if one.item is RigItem.DROP else pressure(measured)
    return f"{day_text(one.days[-1])}: {shown}"


def _lines(one: RigChart, chart: ControlChart) -> list[tuple[str, float]]:
    low, high = chart.limits
    lines = [("centre", chart.centre), ("limit", low), ("limit", high)]
    return [*lines, *(("tolerance", limit) for limit in one.tolerance if limit is not None)]


def _levels(
    one: RigChart, lines: list[tuple[str, float]], y: Callable[[float], float]
) -> tuple[Level, ...]:
    words = {"centre": _("mean"), "limit": _("usual"), "tolerance": _("allowed")}
    placed: list[float] = []
    levels = []
    places = _places(one)
    for kind, value in sorted(lines, key=lambda line: -line[1]):
        at = y(value)
        label_at = at if not placed else max(at, placed[-1] + LEAST_APART)
        placed.append(label_at)
        label = _stated(one, value) if kind == "tolerance" else _number(one, value, places)
        levels.append(Level(kind, at, label, round(label_at + 4.0, 1), words[kind]))
    over = max(placed, default=0.0) - (BOTTOM + 6.0)
    if over > 0.0:
        levels = [replace(level, label_y=round(level.label_y - over, 1)) for level in levels]
    return tuple(levels)


def _rows(one: RigChart, chart: ControlChart) -> tuple[Row, ...]:
    values = [float(point.measured.value) for point in chart.points]
    places = _places(one)
    spoken: dict[int, list[str]] = {}
    for signal in chart.signals:
        spoken.setdefault(signal.index, []).append(_(signal.rule.value))
    return tuple(
        Row(
            day_text(one.days[index]),
            _number(one, value, places),
            _number(one, abs(value - values[index - 1]), places) if index else "",
            "; ".join(spoken.get(index, [])),
        )
        for index, value in enumerate(values)
    )
