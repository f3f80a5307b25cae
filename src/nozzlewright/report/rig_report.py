"""What a check of the rig came to: as data, and as a summary to read in the terminal."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from datetime import date
from typing import Any

from nozzlewright.advice.rig_care import coming_due, due_text, to_do
from nozzlewright.bench import BenchConditions, RigCheck
from nozzlewright.judging.rig import (
    CHARTED,
    Fitness,
    RigChart,
    RigItem,
    RigVerdict,
    blank_fall,
    drift_text,
    rules_text,
)
from nozzlewright.measurement import NotMeasured
from nozzlewright.measurement.control_chart import ControlChart
from nozzlewright.report.reading import quantity_data
from nozzlewright.report.wording import READING_RULE, trade_unit, value_text
from nozzlewright.said import Said, say

SCHEMA = "nozzlewright/rig-check/1"
_WIDTH = 96


def rig_check_as_data(
    check: RigCheck, verdict: RigVerdict, conditions: BenchConditions
) -> dict[str, Any]:
    """Return a check as plain data for strict JSON: numbers unrounded, in trade units."""
    return {
        "schema": SCHEMA,
        "rig": conditions.rig.identity,
        "made_on": check.made_on,
        "state": verdict.fitness.value,
        "reasons": [str(one) for one in verdict.reasons],
        "items": [
            {
                "item": one.item.value,
                "state": one.fitness.value,
                "limit": str(one.limit),
                "reasons": [str(reason) for reason in one.reasons],
                "measured": None if one.measured is None else quantity_data(one.measured),
            }
            for one in verdict.items
        ],
        "withholds_back_leakage": [str(one) for one in verdict.objections],
        "to_do": [
            {"item": None if one.item is None else one.item.value, "do": str(one.do)}
            for one in to_do(verdict)
        ],
        "comes_due": [
            {"item": one.item.value, "on": one.on.isoformat(), "drifts": one.drifts}
            for one in coming_due(verdict)
        ],
        "charts": [_chart_data(verdict.charts[item]) for item in CHARTED],
    }


def _chart_data(one: RigChart) -> dict[str, Any]:
    chart = one.chart
    data: dict[str, Any] = {"item": one.item.value, "begun": str(one.begun)}
    if isinstance(chart, NotMeasured):
        return {**data, "not_drawn": str(chart.reason)}
    unit = trade_unit(chart.points[0].measured.unit)
    low, high = chart.limits
    reaches = one.reaches_on
    return {
        **data,
        "unit": unit.plain,
        "days": list(one.days),
        "values": [unit.value(point.measured.value) for point in chart.points],
        "standard_uncertainties": [
            unit.width(point.measured.standard_uncertainty) for point in chart.points
        ],
        "baseline": chart.baseline,
        "centre": unit.value(chart.centre),
        "lower_limit": unit.value(low),
        "upper_limit": unit.value(high),
        "moving_range": unit.width(chart.moving_range),
        "moving_range_limit": unit.width(chart.range_limit),
        "signals": [
            {"day": one.days[signal.index], "rule": signal.rule.value} for signal in chart.signals
        ],
        "drift": str(drift_text(one)),
        "reaches_limit_on": None if reaches is None else reaches.isoformat(),
    }


def rig_check_as_text(check: RigCheck, verdict: RigVerdict, conditions: BenchConditions) -> str:
    """Return a check as a summary for the terminal."""
    name = conditions.rig.identity or say("the rig")
    head = say("{rig}, {day}: {state}", rig=name, day=check.made_on, state=verdict.fitness)
    lines = [str(head), *(line for one in verdict.reasons for line in _wrapped(one, "  "))]
    lines += _to_do_lines(verdict, date.fromisoformat(check.made_on))
    for one in verdict.items:
        lines += ["", f"{one.item.value[0].upper()}{one.item.value[1:]}: {one.fitness.value}"]
        lines += [line for reason in one.reasons for line in _wrapped(reason, "  ")]
        if one.item is RigItem.BLANK and one.fitness is not Fitness.UNCHECKED:
            lines += _own_loss(check, conditions)
        if one.measured is not None and not isinstance(one.measured, NotMeasured):
            for caution in one.measured.cautions:
                lines += _wrapped(caution.sentence, "  ! ")
            budget = value_text(one.measured).budget
            if one.item is RigItem.COMPLIANCE and budget:
                parts = ", ".join(f"{cause} {part}" for cause, part in budget)
                lines += _wrapped(say("budget, u: {parts}", parts=parts), "  ")
    drawn = [verdict.charts[item] for item in CHARTED]
    for chart in drawn:
        if isinstance(chart.chart, ControlChart):
            lines += ["", *_chart_lines(chart)]
    waiting = [one.item.value for one in drawn if not isinstance(one.chart, ControlChart)]
    if waiting:
        lines += ["", *_wrapped(say("No chart yet, for want of checks: {items}.",
                                    items=", ".join(waiting)), "")]  # fmt: skip
    if verdict.objections:
        lines += [
            "",
            *_wrapped(
                say(
                    "Every back-leakage tested on this rig as it is stands without a verdict: "
                    "neither pass nor fail."
                ),
                "",
            ),
        ]
    return "\n".join([*lines, "", *_wrapped(READING_RULE, "")])


def _to_do_lines(verdict: RigVerdict, made_on: date) -> Iterator[str]:
    acts, due = to_do(verdict), coming_due(verdict)
    if acts:
        yield from ("", say("What to do"))
    for act in acts:
        yield from _wrapped(act.do, "  ")
    if due:
        yield from ("", say("What comes due"))
    for one in due:
        text = say("{item:capital}: {when}.", item=one.item, when=due_text(one, made_on))
        yield from _wrapped(text, "  ")


def _own_loss(check: RigCheck, conditions: BenchConditions) -> list[str]:
    fall = blank_fall(check, conditions)
    if isinstance(fall, NotMeasured) or fall.value > 0.0:
        return []
    return _wrapped(say("It does not fall by itself, as far as the hold can tell."), "  ")


def _chart_lines(one: RigChart) -> list[str]:
    chart = one.chart
    if isinstance(chart, NotMeasured):
        return []
    unit = trade_unit(chart.points[0].measured.unit)
    low, high = (unit.value(limit) for limit in chart.limits)
    head = say(
        "Chart, {item}: {count} checks, the first {baseline} of them the baseline: mean {centre}, "
        "limits {low} to {high} {unit}; moving range {range}, at most {most} {unit}",
        item=one.item,
        count=len(chart.points),
        baseline=chart.baseline,
        centre=f"{unit.value(chart.centre):.4g}",
        low=f"{low:.4g}",
        high=f"{high:.4g}",
        range=f"{unit.width(chart.moving_range):.2g}",
        most=f"{unit.width(chart.range_limit):.2g}",
        unit=unit.plain,
    )
    lines = _wrapped(head, "")
    if one.begun:
        lines += _wrapped(one.begun, "  ")
    if chart.speaks_now:
        lines += _wrapped(rules_text([one.rule for one in chart.speaks_now]), "  ! ")
    drift = drift_text(one)
    return [*lines, *(_wrapped(drift, "  ! ") if drift else [])]


def _wrapped(text: Said | str, indent: str) -> list[str]:
    return textwrap.wrap(
        str(text).replace("\N{NO-BREAK SPACE}", " "),
        _WIDTH,
        initial_indent=indent,
        subsequent_indent=" " * len(indent),
        break_long_words=False,
    )
