"""What a judged set came to: as data, and as a summary to read in the terminal."""

from __future__ import annotations

import math
import textwrap
from dataclasses import asdict
from enum import Enum
from typing import Any

from nozzlewright.report.set_report import ActionText, InjectorPage, SetReport

SCHEMA = "nozzlewright/judgement/1"
"""Name and version of the data; the number goes up when a reader of it could be misled."""

_WIDTH = 96


def judgement_as_data(report: SetReport) -> dict[str, Any]:
    """Return the report as plain data for strict JSON, under the names of :class:`SetReport`.

    Texts are worded and rounded as on paper; the numbers behind a verdict stand unrounded under
    ``scale``, in the unit named there. A bound that is not finite is None: on that side the value
    is not bounded.
    """
    data: dict[str, Any] = _plain({"schema": SCHEMA, **asdict(report)})
    return data


def _plain(value: Any) -> Any:
    """Return a value as JSON knows it: no tuples, no enumerations, no number without an end."""
    if isinstance(value, dict):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, Enum | str):
        return str(value)
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    return value


def judgement_as_text(report: SetReport) -> str:
    """Return the report as a summary for the terminal."""
    lines = [report.title + ("  (invented example)" if report.invented else ""), report.headline]
    spread = report.spread
    apart = f"{spread.value.text}, {spread.limit}: {spread.outcome}{_chance(spread.probability)}"
    lines += ["", *_wrapped(f"Spread of opening pressure: {apart}", "", 2)]
    if spread.odd_one_out:
        lines += _wrapped(spread.odd_one_out, "  ")
    told: set[str] = set()
    for page in report.injectors:
        lines += ["", *_injector_lines(page, told)]
    lines += ["", *_wrapped(report.rule, ""), "", *_wrapped(" ".join(report.safety), "")]
    return "\n".join(lines)


def _chance(probability: str) -> str:
    return f" (conformity {probability})" if probability else ""


def _injector_lines(page: InjectorPage, told: set[str]) -> list[str]:
    name = f" ({page.identity})" if page.identity else ""
    lines = [f"Injector {page.cylinder}{name}, {page.sitting}: {page.outcome.upper()}"]
    for row in page.tests:
        cell = row.latest
        said = f"{cell.said}: " if cell.said else ""
        words = f"{row.name:<26}{said}{cell.outcome}{_chance(cell.probability)}"
        lines += _wrapped(words, "  ", 28)
    for number, action in enumerate(page.actions, start=1):
        lines += _action_lines(number, action, told)
    if page.next_test:
        lines += _wrapped(f"Test next: {page.next_test}", "  ", 4)
    return lines


def _action_lines(number: int, action: ActionText, told: set[str]) -> list[str]:
    """Return an action with its cautions; a caution that was told in full is called to mind."""
    lines = _wrapped(f"{number}. {action.do} ({action.why})", "  ", 5)
    if action.predicted and action.predicted not in action.do:
        lines += _wrapped(f"Expect {action.predicted}", "     ")
    for text in action.warnings:
        lines += _wrapped(f"! {text}", "     ", 7)
    if action.caution:
        again = "Mind the cautions given above." if action.caution in told else action.caution
        lines += _wrapped(f"! {again}", "     ", 7)
        told.add(action.caution)
    return lines


def _wrapped(text: str, indent: str, hanging: int | None = None) -> list[str]:
    following = indent if hanging is None else " " * hanging
    return textwrap.wrap(
        text,
        _WIDTH,
        initial_indent=indent,
        subsequent_indent=following,
        drop_whitespace=True,
        break_long_words=False,
    ) or [""]
