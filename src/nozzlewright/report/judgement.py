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

WIDTH = 96
"""Letters in a line of the summary, where nothing is narrower."""


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


def judgement_as_text(report: SetReport, width: int = WIDTH) -> str:
    """Return the report as a summary for the terminal, in lines of so many letters at most."""
    summary = _Summary(min(width, WIDTH))
    summary.add(report.title + ("  (invented example)" if report.invented else ""))
    summary.add(report.headline)
    spread = report.spread
    apart = f"{spread.value.text}, {spread.limit}: {spread.outcome}{_chance(spread.probability)}"
    summary.gap()
    summary.add(f"Spread of opening pressure: {apart}", hanging=2)
    if spread.odd_one_out:
        summary.add(spread.odd_one_out, indent=2)
    to_match = {place.cylinder for place in report.fitting.places if place.match_first}
    for page in report.injectors:
        summary.gap()
        summary.add_injector(page, match_first=page.cylinder in to_match)
    for text in (report.rule, " ".join(report.safety)):
        summary.gap()
        summary.add(text)
    return "\n".join(summary.lines)


def _chance(probability: str) -> str:
    return f" (conformity {probability})" if probability else ""


class _Summary:
    """Gathers the lines of a summary."""

    def __init__(self, width: int) -> None:
        self.width = width
        self.lines: list[str] = []
        self.told: set[str] = set()
        """Cautions that stand there in full."""

    def gap(self) -> None:
        self.lines.append("")

    def add(self, text: str, indent: int = 0, hanging: int | None = None) -> None:
        """Add a text, its first line and those after it so far from the edge."""
        further = indent if hanging is None else hanging
        self.lines += textwrap.wrap(
            text,
            self.width,
            initial_indent=" " * indent,
            subsequent_indent=" " * min(further, self.width // 3),
            break_long_words=False,
        )

    def add_injector(self, page: InjectorPage, *, match_first: bool) -> None:
        name = f" ({page.identity})" if page.identity else ""
        outcome = page.outcome.upper() + (", match it first" if match_first else "")
        self.add(f"Injector {page.cylinder}{name}, {page.sitting}: {outcome}")
        for row in page.tests:
            cell = row.latest
            said = f"{cell.said}: " if cell.said else ""
            told = f"{said}{cell.outcome}{_chance(cell.probability)}"
            self.add(f"{row.name:<26}{told}", indent=2, hanging=28)
        for number, action in enumerate(page.actions, start=1):
            self._add_action(number, action)
        if page.next_test:
            self.add(f"Test next: {page.next_test}", indent=2, hanging=4)

    def _add_action(self, number: int, action: ActionText) -> None:
        """Add an action with its cautions; one that stands there in full is called to mind."""
        self.add(f"{number}. {action.do} ({action.why})", indent=2, hanging=5)
        if action.predicted and action.predicted not in action.do:
            self.add(f"Expect {action.predicted}", indent=5)
        for text in action.warnings:
            self.add(f"! {text}", indent=5, hanging=7)
        if action.caution:
            again = action.caution in self.told
            text = "Mind the cautions given above." if again else action.caution
            self.add(f"! {text}", indent=5, hanging=7)
            self.told.add(action.caution)
