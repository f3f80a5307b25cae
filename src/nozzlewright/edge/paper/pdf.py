"""The report on paper: Typst lays out data that are handed to it as JSON.

Strings travel as data and never become markup. Fonts come from this folder alone unless a name
needs signs that they lack, so that the same report gives the same bytes everywhere.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Literal

import typst

from nozzlewright.edge.paper.budget_figure import budget_strip, strip_words
from nozzlewright.edge.paper.figures import (
    Trace,
    scale_figure,
    set_description,
    set_figure,
    trace_description,
    trace_figure,
)
from nozzlewright.edge.paper.typeset import shipped_fonts, write_file
from nozzlewright.edge.paper.voice import ENGLISH, Voice, capital, known, speaking, spoken
from nozzlewright.judging.verdict import BenchTest, InjectorOutcome, Outcome
from nozzlewright.judging.wording import listed
from nozzlewright.report.set_report import (
    AS_FOUND,
    AS_LEFT,
    ActionText,
    Fact,
    InjectorPage,
    SetReport,
    SpreadText,
    TestCell,
    TestRow,
)
from nozzlewright.report.wording import ValueText
from nozzlewright.said import figure, joined, say, word

Paper = Literal["a4", "us-letter"]
TraceKey = tuple[int, str]
"""Cylinder, and ``as found`` or ``as left``."""

_HERE = Path(__file__).parent
_Standard = Literal["a-3a", "ua-1"]
_STANDARDS: list[_Standard] = ["a-3a", "ua-1"]
"""PDF/A-3a (kept for good) and PDF/UA-1 (read aloud)."""
_LONGEST_NAME = 110
_LONGEST_TEXT = 700
"""Longer text is cut short on paper, with a mark that says so; the HTML has all of it."""
_TEXT_WIDTH_PT = 505.0
_MUCH_TEXT: dict[Paper, int] = {"a4": 1500, "us-letter": 700}
"""Letters of advice and reasons beyond which a page is crowded; the shorter paper sooner."""
_SHORT_FACT = 30
"""Facts up to so many letters stand three in a row."""

FOOTER = say(
    "Spray pierces skin: a surgical emergency even if painless. Oil mist burns. "
    "The engine maker's manual and local codes come first."
)
"""The usual cautions in one line, for every page."""


KEY = (Outcome.PASS, Outcome.FAIL, Outcome.TOO_CLOSE, Outcome.NOT_DONE, Outcome.NOT_ASKED)
"""States of which the key tells shape and word; a verdict that is withheld says so in its cell."""

VALUE_HEAD = say("Value with its {share} interval", share=say("{value} %", value=figure(95)))

_LAID_OUT = (
    say("Injector bench report"),
    say("Bench report of a set of injectors"),
    say("invented example"),
    say("Page {page} of {pages}", page="{page}", pages="{pages}"),
    say("Tested by"),
    say("Fitted by"),
    say("Checked by"),
    say("Date"),
    say("Cyl."),
    say("Injector"),
    say("Opening, as found"),
    say("Opening, as left"),
    say("Drop time at ref."),
    say("Seat"),
    say("Spray"),
    say("Chatter"),
    say("Result"),
    say("As left:"),
    say("Next:"),
    say("Opening pressures of the set"),
    say("Spread"),
    say("Setting sheet"),
    say("Bench"),
    say("How to read this"),
    say("Test, and what the sheet asks"),
    say("Why"),
    say("as found"),
    say("as left"),
    say("Cylinder {number}", number="{number}"),
    say("Next"),
    say("Expected afterwards:"),
    say("Mind:"),
    say("Would tell most:"),
    say("Gauge {sitting}", sitting="{sitting}"),
    say("Seen by the fitter"),
    say("Inspection"),
    say("What u is made of"),
    say("Bars: shares of the variance, in the order of the words."),
    say("Leak path {sitting}:", sitting="{sitting}"),
    say("Fitting sheet"),
    say("In this order"),
    say("Torques and washer"),
    say("Part"),
    say("Torque"),
    say("As printed"),
    say("Washer:"),
    say("Source:"),
    say("Injectors and running check"),
    say("Verdict"),
    say("Remarks"),
)
"""Words that the template lays out by itself; where one has a field, the template fills it."""


def report_pdf(
    report: SetReport,
    traces: Mapping[TraceKey, Trace] | None = None,
    *,
    paper: Paper = "a4",
    created: datetime,
    voice: Voice | None = None,
) -> bytes:
    """Return the report as PDF: one page a set, one page an injector, one fitting sheet.

    Parameters
    ----------
    report : SetReport
        What it says
    traces : mapping, optional
        Recording and findings by (cylinder, ``as found`` or ``as left``), for the plots
    paper : str
        ``a4`` or ``us-letter``
    created : datetime
        Date of the file; the same date gives the same bytes
    voice : Voice, optional
        Whose language it speaks; None: English
    """
    with speaking(voice or ENGLISH) as reader:
        words = _report_data(report, traces or {}, paper, reader.language)
    data = json.dumps(words, allow_nan=False)
    stamp = created if created.tzinfo else created.replace(tzinfo=UTC)
    template = _HERE / "report.typ"
    inputs = {"data": data}
    # A name may hold signs that the shipped family lacks. Archival PDF forbids missing signs,
    # so: shipped fonts, then the machine's fonts too, then a plain PDF that shows a blank box.
    attempts: list[tuple[bool, list[_Standard]]] = [
        (False, _STANDARDS),
        (True, _STANDARDS),
        (True, []),
    ]
    for system_fonts, standards in attempts:
        try:
            return _compiled(
                template, inputs, fonts=shipped_fonts(system=system_fonts), standards=standards,
                timestamp=stamp,
            )  # fmt: skip
        except typst.TypstError as fault:
            if "could not be displayed" not in str(fault):
                raise
    raise AssertionError("a plain PDF has no rule on missing signs")


def write_pdf(
    report: SetReport,
    path: Path,
    traces: Mapping[TraceKey, Trace] | None = None,
    *,
    paper: Paper = "a4",
    created: datetime,
) -> None:
    """Write the report as PDF; see :func:`report_pdf`.

    Raises
    ------
    InputFault
        If the file cannot be written.
    """
    write_file(path, report_pdf(report, traces, paper=paper, created=created), "the report")


def _compiled(
    template: Path,
    inputs: dict[str, str],
    *,
    fonts: typst.Fonts,
    standards: list[_Standard],
    timestamp: datetime,
) -> bytes:
    return typst.compile(
        template, font_paths=fonts, sys_inputs=inputs, format="pdf",
        pdf_standards=[*standards], timestamp=timestamp,
    )  # fmt: skip


# -- what the template is given --------------------------------------------------------------


def _report_data(
    report: SetReport, traces: Mapping[TraceKey, Trace], paper: Paper, language: str
) -> dict[str, Any]:
    data = {
        "paper": paper,
        "title": _name(report.title),
        "invented": report.invented,
        "made_on": report.made_on,
        "footer": FOOTER,
        "language": language.split("-"),
        "words": {str(one): spoken(one) for one in _LAID_OUT}
        | {state.value: word(state) for state in (*Outcome, *InjectorOutcome)},
        "key": [str(state) for state in KEY],
        "value_head": VALUE_HEAD,
        "headline": report.headline,
        "to_match": match_words(report),
        "facts": _facts_data(tuple(f for f in report.facts if len(f.text) <= _SHORT_FACT)),
        "long_facts": _facts_data(tuple(f for f in report.facts if len(f.text) > _SHORT_FACT)),
        "rows": [_row_data(report, page) for page in report.injectors],
        "set_figure": set_figure(report.scale, (_TEXT_WIDTH_PT, 118.0)),
        "set_figure_words": set_description(report.scale),
        "spread": _spread_data(report.spread) if len(report.injectors) > 1 else None,
        "sheet": _facts_data(report.sheet),
        "bench": _facts_data(report.bench),
        "rule": report.rule,
        "reading_rule": report.reading_rule,
        "safety": list(report.safety),
        "pages": [_page_data(report, page, traces, paper) for page in report.injectors],
        "fitting": _fitting_data(report),
    }
    return {key: _cut(value) for key, value in data.items()}


def _cut(value: Any) -> Any:
    """Return data in which no text is longer than paper bears, and long words can break."""
    if isinstance(value, str):
        if value.startswith("<svg"):
            return value
        return _breakable(_shortened(spoken(value), _LONGEST_TEXT))
    if isinstance(value, list):
        return [_cut(item) for item in value]
    if isinstance(value, dict):
        return {key: _cut(item) for key, item in value.items()}
    return value


def _shortened(text: str, longest: int) -> str:
    text = spoken(text)
    return text if len(text) <= longest else f"{text[: longest - 1]}…"


def _name(text: str) -> str:
    return _shortened(text, _LONGEST_NAME)


def _breakable(text: str) -> str:
    """Return text whose very long words may be broken (zero-width spaces put in)."""
    return re.sub(r"\S{24,}", lambda word: _ZERO_WIDTH.join(_pieces(word.group())), text)


_ZERO_WIDTH = "\u200b"
_WORD_JOINER = "\u2060"
_SHORT_VALUE = 22
"""Values up to so many letters fit the narrowest column."""


def _pieces(word: str, length: int = 12) -> list[str]:
    return [word[start : start + length] for start in range(0, len(word), length)]


def _facts_data(facts: tuple[Fact, ...]) -> list[dict[str, str]]:
    return [{"label": _name(fact.label), "text": fact.text} for fact in facts]


def _row_data(report: SetReport, page: InjectorPage) -> dict[str, Any]:
    opening = page.test(BenchTest.OPENING)
    next_words, more = next_step(report, page)
    rest = spoken(say(" And {number} more on its page.", number=more)) if more else ""
    return {
        "cylinder": page.cylinder,
        "identity": _shortened(page.identity, 40),
        "opening_found": _short_cell(opening.as_found),
        "opening_left": _short_cell(opening.as_left),
        "drop": _short_cell(page.test(BenchTest.BACK_LEAKAGE).latest),
        "seat": _short_cell(page.test(BenchTest.SEAT).latest),
        "spray": _short_cell(page.test(BenchTest.SPRAY).latest),
        "chatter": _short_cell(page.test(BenchTest.CHATTER).latest),
        "outcome": str(page.outcome),
        "note": match_note(report, page),
        "done": _shortened(done_words(page), 110),
        "next": _shortened(next_words, 110) + rest if next_words else "",
    }


def done_words(page: InjectorPage) -> str:
    """Return what was changed between the two sittings, and what the fitter noted of the second."""
    seen = {str(row.name): row for row in page.seen}
    shim, note = seen.get("Shim"), seen.get("Note")
    words: list[str] = []
    if shim is not None and shim.as_found and shim.as_left and shim.as_found != shim.as_left:
        words.append(say("shim {after} for {before}", after=shim.as_left, before=shim.as_found))
    if note is not None and note.as_left:
        words.append(note.as_left)
    return sentence(joined("; ", words)) if words else ""


def next_step(report: SetReport, page: InjectorPage) -> tuple[str, int]:
    """Return what is to be done first with an injector, and how much more there is.

    Of one that may be fitted nothing is said: the fitting sheet does.
    """
    if any(place.fit for place in report.fitting.places if place.cylinder == page.cylinder):
        return "", 0
    if not page.actions:
        return page.next_test or say("nothing"), 0
    return page.actions[0].do, len(page.actions) - 1


def match_note(report: SetReport, page: InjectorPage) -> str:
    """Return what stands under the result of one that is fit, but not to be fitted yet."""
    return say("match it first") if page.cylinder in _to_match(report) else ""


def match_words(report: SetReport) -> str:
    """Return which ones are fit, but not to be fitted yet."""
    cylinders = _to_match(report)
    if not cylinders:
        return ""
    told = listed([str(cylinder) for cylinder in cylinders])
    if len(cylinders) == 1:
        return say(
            "Cylinder {cylinder} is fit by itself: match it to the others before it is fitted.",
            cylinder=told,
        )
    return say(
        "Cylinders {cylinders} are fit by themselves: match them to the others before they are "
        "fitted.",
        cylinders=told,
    )


def _to_match(report: SetReport) -> list[int]:
    return [place.cylinder for place in report.fitting.places if place.match_first]


def _short_cell(cell: TestCell | None) -> dict[str, str] | None:
    return None if cell is None else {"outcome": str(cell.outcome), "short": short_words(cell)}


def short_words(cell: TestCell) -> str:
    """Return the shortest words for a test: what was seen, else the value, else the outcome.

    A verdict that is withheld is named, whatever was measured.
    """
    if cell.outcome is Outcome.WITHHELD:
        return word(cell.outcome)
    if cell.seen:
        return cell.seen
    if cell.value is not None and cell.value.measured:
        return cell.value.text
    return cell.said or word(cell.outcome)


def _spread_data(spread: SpreadText) -> dict[str, str]:
    return {
        "outcome": str(spread.outcome),
        "value": spread.value.sentence,
        "told": spread_told(spread),
        "words": spread_words(spread),
    }


def spread_told(spread: SpreadText) -> str:
    """Return what stands behind the spread: its limit, how sure that is, and the mean."""
    if spread.outcome is Outcome.NOT_ASKED:
        return say("; {limit}. Mean {mean}.", limit=spread.limit, mean=spread.mean.sentence)
    if not spread.probability:
        return say(", allowed {limit}. Mean {mean}.", limit=spread.limit, mean=spread.mean.sentence)
    return say(
        ", allowed {limit}; within it with {chance}. Mean {mean}.",
        limit=spread.limit,
        chance=spread.probability,
        mean=spread.mean.sentence,
    )


def spread_words(spread: SpreadText) -> str:
    """Return why, and which one stands apart; the first reason only repeats the value."""
    return " ".join(sentence(text) for text in (*spread.reasons[1:], spread.odd_one_out) if text)


def sentence(text: str) -> str:
    """Return text as a sentence in the reader's language: capital letter and full stop."""
    if not text:
        return ""
    told = capital(text)
    return told + ("" if told[-1] in ".!?…" else ".")


def budget_words(value: ValueText, most: int) -> str:
    """Return what a standard uncertainty is made of, its largest parts at most."""
    parts = [say("{cause} {part}", cause=cause, part=part) for cause, part in value.budget[:most]]
    return say(
        "u = {uncertainty}: {parts}",
        uncertainty=value.standard_uncertainty,
        parts=joined("; ", parts),
    )


def _page_data(
    report: SetReport, page: InjectorPage, traces: Mapping[TraceKey, Trace], paper: Paper
) -> dict[str, Any]:
    both = any(row.as_left for row in page.tests) and any(row.as_found for row in page.tests)
    shown = {
        sitting: traces[page.cylinder, sitting]
        for sitting in (str(AS_FOUND), str(AS_LEFT))
        if (page.cylinder, sitting) in traces
    }
    last = next(reversed(shown), "")
    height = _trace_height(page, len(shown), paper)
    return {
        "cylinder": page.cylinder,
        "identity": _name(page.identity),
        "outcome": str(page.outcome),
        "note": match_note(report, page),
        "done": done_words(page),
        "sitting": page.sitting,
        "both": both,
        "reasons": [sentence(reason) for reason in page.reasons],
        "actions": [_action_data(action) for action in page.actions],
        "action_cautions": list(
            dict.fromkeys(sentence(action.caution) for action in page.actions if action.caution)
        ),
        "next_test": page.next_test,
        "tests": [_test_data(row) for row in page.tests],
        "values": [
            {
                "name": row.name,
                "as_found": _value_words(row.as_found),
                "as_left": _value_words(row.as_left),
                "latest": _value_words(row.as_left or row.as_found),
            }
            for row in page.values
        ],
        "traces": [
            {
                "title": sitting,
                "svg": trace_figure(
                    trace.recording,
                    trace.findings,
                    (_TEXT_WIDTH_PT, height),
                    with_legend=sitting == last,
                ),
                "words": trace_description(trace.findings),
            }
            for sitting, trace in shown.items()
        ],
        "no_trace": [
            say(
                "No trace {sitting}: {source} holds hand readings.",
                sitting=source.sitting,
                source=_name(source.name),
            )
            for source in page.sources
            if source.by_hand
        ],
        "seen": [
            {
                "name": row.name,
                "as_found": row.as_found,
                "as_left": row.as_left,
                "latest": row.as_left or row.as_found,
            }
            for row in page.seen
        ],
        "leak_paths": _facts_data(page.leak_paths),
        "inspection": [
            {"label": _name(known(fact.label)), "text": known(fact.text)}
            for fact in page.inspection
        ],
        "budgets": _budgets(page),
        "cautions": [sentence(caution) for caution in page.cautions],
        "small_print": _small_print(report, page),
    }


def _trace_height(page: InjectorPage, traces: int, paper: Paper) -> float:
    """Return how high a trace is drawn, [pt]: much text leaves less room for it."""
    if traces > 1:
        return 100.0
    texts = [text for action in page.actions for text in (action.do, action.why, action.caution)]
    texts += [*page.reasons, *(why for row in page.tests for why in row.latest.reasons)]
    crowded = sum(len(text) for text in texts) > _MUCH_TEXT[paper]
    return 118.0 if crowded else 190.0


def _action_data(action: ActionText) -> dict[str, Any]:
    return {
        "do": sentence(action.do),
        "why": sentence(action.why),
        "predicted": action.predicted,
        "warnings": [sentence(words) for words in action.warnings],
    }


def _test_data(row: TestRow) -> dict[str, Any]:
    latest = row.latest
    return {
        "name": capital(row.name),
        "limit": row.limit,
        "as_found": _cell_data(row.as_found),
        "as_left": _cell_data(row.as_left),
        "latest": _cell_data(latest),
        "why": " ".join(sentence(reason) for reason in reasons_on_paper(latest)),
        "figure": scale_figure(latest.scale, (150.0, 28.0)) if latest.scale else "",
        "figure_words": joined(", ", [latest.scale.name, latest.scale.caption])
        if latest.scale
        else "",
    }


def reasons_on_paper(cell: TestCell) -> tuple[str, ...]:
    """Return the reasons; the first one of a value only repeats what stands beside it."""
    repeats = cell.outcome is Outcome.PASS or cell.probability
    return cell.reasons[1:] if repeats else cell.reasons


def _cell_data(cell: TestCell | None) -> dict[str, str] | None:
    if cell is None:
        return None
    chance = say("within limits: {chance}", chance=cell.probability) if cell.probability else ""
    return {"outcome": str(cell.outcome), "said": cell.said, "probability": chance}


def _value_words(value: ValueText | None) -> str:
    if value is None:
        return ""
    if not value.measured or len(value.text) <= _SHORT_VALUE or not value.unit:
        return value.sentence
    # A long value may break before its unit, never inside it.
    text, own = spoken(value.text), spoken(value.unit)
    unit = own.replace("/", f"/{_WORD_JOINER}")
    head, joint, _ = text.rpartition(f"\N{NO-BREAK SPACE}{own}")
    return f"{head} {unit}" if joint and text.endswith(own) else text


def _budgets(page: InjectorPage) -> list[dict[str, str]]:
    """Return what the standard uncertainty of the two judged values is made of."""
    budgets = []
    for test, name in (
        (BenchTest.OPENING, say("Opening")),
        (BenchTest.BACK_LEAKAGE, say("Drop time")),
    ):
        value = page.test(test).latest.value
        if value is None or not value.budget:
            continue
        budgets.append(
            {
                "label": name,
                "text": budget_words(value, 4),
                "figure": budget_strip(value) if value.shares else "",
                "figure_words": strip_words(value),
            }
        )
    return budgets


def _small_print(report: SetReport, page: InjectorPage) -> list[str]:
    lines: list[str] = [
        say(
            "Source {sitting}: {name}, SHA-256 {digest}",
            sitting=source.sitting,
            name=_name(source.name),
            digest=source.digest[:16],
        )
        for source in page.sources
    ]
    bench = [
        joined(" ", [fact.label, fact.text]) for fact in report.bench if fact.label != "Sitting"
    ]
    lines.append(
        say(
            "Sheet: {source}. Bench: {bench}.",
            source=_name(_source(report)),
            bench=spoken(joined("; ", bench)).removesuffix("."),
        )
    )
    return lines


def _source(report: SetReport) -> str:
    """Return the document from which the setting sheet is."""
    sheet = {str(fact.label): fact.text for fact in report.sheet}
    return sheet.get("Source", say("not stated"))


def _fitting_data(report: SetReport) -> dict[str, Any]:
    fitting = report.fitting
    return {
        "places": [
            {
                "cylinder": place.cylinder,
                "identity": _shortened(place.identity, 40),
                "fit": place.fit,
                "said": place.said,
            }
            for place in fitting.places
        ],
        "steps": [{"title": step.title, "text": step.text} for step in fitting.steps],
        "torques": [
            {"part": _name(known(t.part)), "torque": t.torque, "printed": t.printed}
            for t in fitting.torques
        ],
        "torque_note": fitting.torque_note,
        "washer": fitting.washer,
        "source": _source(report),
        "checks": list(fitting.checks),
        "safety": list(fitting.safety),
    }
