"""What a judged set came to: as data, and as a summary to read in the terminal."""

from __future__ import annotations

import textwrap
from dataclasses import asdict
from typing import Any

from nozzlewright.report.set_report import ActionText, InjectorPage, SetReport

SCHEMA = "nozzlewright/judgement/1"
"""Name and version of the data; the number goes up when a reader of it could be misled."""

_WIDTH = 96


def judgement_as_data(report: SetReport) -> dict[str, Any]:
    """Return the report as plain data for strict JSON, under the names of :class:`SetReport`.

    Texts are worded and rounded as on paper; the numbers behind a verdict stand unrounded under
    ``scale``, in the unit named there.
    """
    return {"schema": SCHEMA, **asdict(report)}


def judgement_as_text(report: SetReport) -> str:
    """Return the report as a summary for the terminal."""
    lines = [report.title + ("  (invented example)" if report.invented else ""), report.headline]
    spread = report.spread
    lines += [
        "",
        f"Spread of opening pressure: {spread.value.text} ({spread.limit}): {spread.outcome}"
        + (f", {spread.probability}" if spread.probability else ""),
    ]
    if spread.odd_one_out:
        lines += _wrapped(spread.odd_one_out, "  ")
    for page in report.injectors:
        lines += ["", *_injector_lines(page)]
    lines += ["", *_wrapped(report.rule, ""), "", *_wrapped(" ".join(report.safety), "")]
    return "\n".join(lines)


def _injector_lines(page: InjectorPage) -> list[str]:
    name = f" ({page.identity})" if page.identity else ""
    lines = [f"Injector {page.cylinder}{name}, {page.sitting}: {page.outcome.upper()}"]
    for row in page.tests:
        cell = row.latest
        said = f"{cell.said}: " if cell.said else ""
        probability = f", {cell.probability}" if cell.probability else ""
        lines += _wrapped(f"{row.name:<26}{said}{cell.outcome}{probability}", "  ", 28)
    for number, action in enumerate(page.actions, start=1):
        lines += _action_lines(number, action)
    if page.next_test:
        lines += _wrapped(f"Test next: {page.next_test}", "  ", 4)
    return lines


def _action_lines(number: int, action: ActionText) -> list[str]:
    lines = _wrapped(f"{number}. {action.do} ({action.why})", "  ", 5)
    if action.predicted:
        lines += _wrapped(f"Expect {action.predicted}", "     ")
    for text in (*action.warnings, action.caution):
        if text:
            lines += _wrapped(f"! {text}", "     ", 7)
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
