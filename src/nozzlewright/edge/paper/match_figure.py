"""Pictures of a match: the pressures before and after, and spread against work."""

from __future__ import annotations

from collections.abc import Callable

from nozzlewright.advice import Act, MatchPlan
from nozzlewright.edge.paper.svg import Drawing, Panel, Theme, nice_ticks, text_width, tick_text
from nozzlewright.said import converted, figure, say

LABEL, SMALL = 8.0, 7.0
"""Sizes of text, [pt]."""
RIGHT, RIGHT_OF_FRONT = 50.0, 30.0
"""Room at the right for the names of the lines, [pt]."""


def plan_figure(
    plan: MatchPlan,
    size: tuple[float, float],
    words: Callable[[str], str],
    *,
    unit: str = "bar",
    theme: Theme | None = None,
) -> str:
    """Return the pressures of a set before and after a plan against the band, as SVG.

    Parameters
    ----------
    plan : MatchPlan
        The plan
    size : tuple of float
        Width and height, [pt]
    words : callable
        Puts a message into the reader's language
    unit : str
        Unit to show pressures in, one of :data:`nozzlewright.said.PRESSURE_UNITS_PA`
    theme : Theme, optional
        Colours; None: the page that holds the figure has the rules
    """
    scale = converted(1.0, "bar", unit) / 1e5
    before = {c: quantity.value * scale for c, quantity in plan.case.openings.items()}
    after = {one.cylinder: one.predicted.value * scale for one in plan.changes}
    low = min([*before.values(), *after.values(), plan.case.band.lower_pa * scale])
    high = max([*before.values(), *after.values(), plan.case.band.upper_pa * scale])
    pad = 0.10 * max(high - low, 1e-6)
    width, height = size
    drawing = Drawing(width, height)
    panel = Panel(
        36.0, 10.0, width - 36.0 - RIGHT, height - 30.0, 0.0, float(len(after)), low - pad,
        high + pad,
    )  # fmt: skip
    _ground(drawing, panel, plan, scale, unit, words)
    told = []
    for index, step in enumerate(plan.changes):
        cylinder, middle = step.cylinder, panel.at_t(index + 0.5)
        _move(drawing, panel, middle, before[cylinder], after[cylinder], step.act)
        drawing.text(
            middle, panel.bottom + 4.0 + LABEL, str(cylinder), size=LABEL, anchor="middle",
            kind="st",
        )  # fmt: skip
        told.append(
            words(
                say(
                    "cylinder {number}: {before} to {after}",
                    number=cylinder,
                    before=figure(before[cylinder], ".4g"),
                    after=figure(after[cylinder], ".4g"),
                )
            )
        )
    title = words(say("Opening pressures before and after, in {unit}", unit=unit))
    return drawing.finished(f"{title}: {', '.join(told)}", theme)


def _move(drawing: Drawing, panel: Panel, x: float, before: float, after: float, act: Act) -> None:
    start, end = panel.at_p(before), panel.at_p(after)
    if act is Act.KEEP:
        drawing.circle(x, end, 3.0, "pt")
        return
    drawing.circle(x, start, 2.6, "hm")
    if act is Act.SPARE:  # another injector: it does not move there
        drawing.rectangle(x - 3.0, end - 3.0, 6.0, 6.0, "pt")
        return
    way = 1.0 if end > start else -1.0
    if abs(end - start) > 9.0:
        tip = end - 3.4 * way
        drawing.line(x, start + 2.6 * way, x, tip - 4.0 * way, "in")
        drawing.polygon([(x, tip), (x - 2.4, tip - 4.6 * way), (x + 2.4, tip - 4.6 * way)], "fi")
    drawing.circle(x, end, 3.0, "pt")


def _ground(
    drawing: Drawing,
    panel: Panel,
    plan: MatchPlan,
    scale: float,
    unit: str,
    words: Callable[[str], str],
) -> None:
    band = plan.case.band
    lower, upper, target = (one * scale for one in (band.lower_pa, band.upper_pa, band.target_pa))
    drawing.rectangle(
        panel.x, panel.at_p(upper), panel.width, panel.at_p(lower) - panel.at_p(upper), "ti"
    )
    _scale(drawing, panel, unit)
    drawing.text(
        panel.x - 3.5, panel.bottom + 4.0 + LABEL, words(say("cyl.")), size=SMALL, kind="mu",
        anchor="end",
    )  # fmt: skip
    for value, name, kind in (
        (upper, say("upper"), "in"),
        (target, say("target"), "da"),
        (lower, say("lower"), "in"),
    ):
        drawing.line(panel.x, panel.at_p(value), panel.right, panel.at_p(value), kind)
        drawing.text(
            panel.right + 15.0, panel.at_p(value) + 0.34 * SMALL, words(name), size=SMALL,
            kind="mu",
        )  # fmt: skip
    _spread_bar(drawing, panel, plan, scale)


def _scale(drawing: Drawing, panel: Panel, unit: str) -> None:
    """Draw the lines and numbers of the pressures, and the axis under them."""
    ticks = nice_ticks(panel.from_p, panel.to_p, max(2, int(panel.height / 18.0)))
    for tick in ticks:
        at = panel.at_p(tick)
        drawing.line(panel.x, at, panel.right, at, "gr")
        if abs(at - panel.y) > 7.0:
            drawing.text(
                panel.x - 3.5, at + 0.34 * SMALL, tick_text(tick, ticks), size=SMALL, kind="mu",
                anchor="end",
            )  # fmt: skip
    drawing.text(panel.x - 3.5, panel.y + 0.3 * SMALL, unit, size=SMALL, kind="mu", anchor="end")
    drawing.line(panel.x, panel.bottom, panel.right, panel.bottom, "ax")


def _spread_bar(drawing: Drawing, panel: Panel, plan: MatchPlan, scale: float) -> None:
    """Draw how far the pressures lie apart: before beside after."""
    for x, values, kind in (
        (panel.right + 4.5, [one.value for one in plan.case.openings.values()], "mw"),
        (panel.right + 10.0, [one.predicted.value for one in plan.changes], "wh"),
    ):
        top, base = (panel.at_p(edge * scale) for edge in (max(values), min(values)))
        drawing.line(x, top, x, base, kind)
        for end in (top, base):
            drawing.line(x - 2.2, end, x + 2.2, end, kind)


def front_figure(
    plans: tuple[MatchPlan, ...],
    chosen: MatchPlan,
    size: tuple[float, float],
    words: Callable[[str], str],
    *,
    unit: str = "bar",
    theme: Theme | None = None,
) -> str:
    """Return the spread of each choice against its work, as SVG; the chosen one is filled."""
    scale = converted(1.0, "bar", unit) / 1e5
    width, height = size
    limit = plans[0].case.spread_limit_pa
    high = max(plan.spread_pa for plan in plans) * scale
    if limit is not None:
        high = max(high, limit * scale)
    most = max(plan.work for plan in plans)
    drawing = Drawing(width, height)
    panel = Panel(
        36.0,
        10.0,
        width - 36.0 - RIGHT_OF_FRONT,
        height - 44.0,
        -0.5,
        most + 0.5,
        0.0,
        1.12 * high or 1.0,
    )
    _scale(drawing, panel, unit)
    if limit is not None:
        at = panel.at_p(limit * scale)
        drawing.line(panel.x, at, panel.right, at, "in")
        drawing.text(panel.right + 4.0, at + 0.34 * SMALL, words(say("limit")), size=SMALL,
                     kind="mu")  # fmt: skip
    told = _choices(drawing, panel, plans, chosen, scale, words)
    touched = say("injectors touched")
    if plans[0].case.open_anyway:
        touched = say("touched besides those opened anyway")
    name = words(touched)
    at = min(panel.x + panel.width / 2.0, width - 0.5 * text_width(name, SMALL) - 2.0)
    drawing.text(at, height - 6.0, name, size=SMALL, kind="mu", anchor="middle")
    title = words(say("Spread that can be had against injectors touched"))
    return drawing.finished(f"{title}: {', '.join(told)}", theme)


def _choices(
    drawing: Drawing,
    panel: Panel,
    plans: tuple[MatchPlan, ...],
    chosen: MatchPlan,
    scale: float,
    words: Callable[[str], str],
) -> list[str]:
    told, written = [], -99.0
    last: tuple[float, float] | None = None
    for plan in plans:
        x, y = panel.at_t(plan.work), panel.at_p(plan.spread_pa * scale)
        if last is not None:
            drawing.line(last[0], last[1], x, last[1], "do")
            drawing.line(x, last[1], x, y, "do")
        last = (x, y)
    for plan in plans:
        x, y = panel.at_t(plan.work), panel.at_p(plan.spread_pa * scale)
        drawing.circle(x, y, 4.2 if plan is chosen else 3.0, "pt" if plan is chosen else "ho")
        if plan.outside:  # a cross through it: not all in band
            drawing.line(x - 3.0, y - 3.0, x + 3.0, y + 3.0, "in")
            drawing.line(x - 3.0, y + 3.0, x + 3.0, y - 3.0, "in")
        if x - written > 12.0 or plan is chosen:
            drawing.text(
                x, panel.bottom + 4.0 + LABEL, str(plan.work), size=LABEL, anchor="middle",
                kind="st" if plan is chosen else "",
            )  # fmt: skip
            written = x
        told.append(
            words(
                say(
                    "{work} touched: {spread}",
                    work=plan.work,
                    spread=figure(plan.spread_pa * scale, ".3g"),
                )
            )
        )
    return told
