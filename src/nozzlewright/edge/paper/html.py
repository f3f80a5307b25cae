"""The report for a screen: one file that asks nothing of the network.

It says what the paper says. Every text is escaped; there is no script in it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from html import escape
from pathlib import Path

from nozzlewright.edge.paper.budget_figure import budget_strip
from nozzlewright.edge.paper.figures import (
    Trace,
    scale_figure,
    set_figure,
    trace_figure,
)
from nozzlewright.edge.paper.pdf import (
    KEY,
    VALUE_HEAD,
    TraceKey,
    budget_words,
    done_words,
    match_note,
    match_words,
    next_step,
    reasons_on_paper,
    sentence,
    short_words,
    spread_told,
    spread_words,
)
from nozzlewright.edge.paper.svg import PAGE, style_of
from nozzlewright.edge.paper.typeset import write_file
from nozzlewright.edge.paper.voice import ENGLISH, Voice, capital, known, speaking, spoken
from nozzlewright.judging.verdict import BenchTest
from nozzlewright.report.fitting import FittingSheet
from nozzlewright.report.set_report import (
    AS_FOUND,
    AS_LEFT,
    ActionText,
    Fact,
    InjectorPage,
    SetReport,
    TestCell,
    TestRow,
)
from nozzlewright.report.wording import ValueText
from nozzlewright.said import joined, say, word

_HERE = Path(__file__).parent


def report_html(
    report: SetReport,
    traces: Mapping[TraceKey, Trace] | None = None,
    *,
    voice: Voice | None = None,
) -> str:
    """Return the report as one HTML file, complete in itself.

    Parameters
    ----------
    report : SetReport
        What it says
    traces : mapping, optional
        Recording and findings by (cylinder, ``as found`` or ``as left``), for the plots
    voice : Voice, optional
        Whose language it speaks; None: English
    """
    with speaking(voice or ENGLISH) as reader:
        return _page(report, traces or {}, reader.language)


def _page(report: SetReport, traces: Mapping[TraceKey, Trace], language: str) -> str:
    body = "".join([
        _mark_shapes(),
        _set_section(report),
        *(_injector_section(report, page, traces) for page in report.injectors),
        _fitting_section(report.fitting),
    ])  # fmt: skip
    return (
        f'<!doctype html>\n<html lang="{language}"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        '<meta http-equiv="Content-Security-Policy" '
        "content=\"default-src 'none'; style-src 'unsafe-inline'\">"
        '<meta name="color-scheme" content="light dark">'
        f"<title>{_e(report.title)}</title><style>{_style()}</style></head>"
        f"<body><main>{body}</main></body></html>\n"
    )


def write_html(
    report: SetReport, path: Path, traces: Mapping[TraceKey, Trace] | None = None
) -> None:
    """Write the report as HTML; see :func:`report_html`.

    Raises
    ------
    InputFault
        If the file cannot be written.
    """
    write_file(path, report_html(report, traces).encode("utf-8"), "the report")


@cache
def _style() -> str:
    return (_HERE / "report.css").read_text(encoding="utf-8") + style_of(PAGE)


# -- small parts -----------------------------------------------------------------------------


def _e(text: str) -> str:
    """Return a message in the reader's language, or own words, as markup."""
    return escape(spoken(text))


def _tag(name: str, *content: str, **attributes: str) -> str:
    """Return an element; content is markup already, attributes are escaped here."""
    written = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{_e(value)}"'
        for key, value in attributes.items()
        if value
    )
    return f"<{name}{written}>{''.join(content)}</{name}>"


def _words(name: str, text: str, **attributes: str) -> str:
    """Return an element that holds text from outside; its direction follows the text."""
    return _tag(name, _e(text), dir="auto", **attributes)


_SHAPES = {
    "pass": '<circle cx="8" cy="8" r="6.8" class="o"/><path d="M4.6 8.4 7 11l4.6-5.4" class="o"/>',
    "fail": '<path d="M1 1h14v14H1z" class="f"/><path d="m5 5 6 6m0-6-6 6" class="w"/>',
    "close": '<path d="M8 1l7 7-7 7-7-7z" class="o"/><path d="M8 1v14L1 8z" class="f"/>',
    "rework": '<path d="M8 1.5 15 14.5H1z" class="f"/>',
    "undone": '<circle cx="8" cy="8" r="6.8" class="d"/>',
    "unasked": '<path d="M2 8h12" class="o"/>',
}
_SHAPE_OF = {
    "pass": "pass",
    "fit": "pass",
    "fail": "fail",
    "exchange": "fail",
    "too close to tell": "close",
    "withheld": "close",
    "adjust": "close",
    "rework": "rework",
    "not asked": "unasked",
}
"""Shape of each state; what is not named here is not done."""


def _mark_shapes() -> str:
    symbols = "".join(
        f'<symbol id="m-{name}" viewBox="0 0 16 16">{shape}</symbol>'
        for name, shape in _SHAPES.items()
    )
    return f'<svg class="shapes" aria-hidden="true">{symbols}</svg>'


def _mark(state: str) -> str:
    shape = _SHAPE_OF.get(state, "undone")
    return f'<svg class="mark" aria-hidden="true"><use href="#m-{shape}"/></svg>'


def _state(state: str) -> str:
    return _tag("span", _mark(state), _tag("b", _e(state)), class_="state")


def _lead(words: str) -> str:
    """Return the quiet words that lead into what follows."""
    return _tag("span", f"{_e(words)} ", class_="quiet")


def _facts(facts: Iterable[Fact]) -> str:
    rows = "".join(_tag("div", _words("dt", fact.label), _words("dd", fact.text)) for fact in facts)
    return _tag("dl", rows) if rows else ""


def _table(heads: Sequence[str], rows: Iterable[str], kind: str) -> str:
    head = "".join(_tag("th", _e(name), scope="col") for name in heads)
    body = "".join(rows)
    if not body.startswith("<tbody"):
        body = _tag("tbody", body)
    return _tag("table", _tag("thead", _tag("tr", head)), body, class_=kind)


def _cell(label: str, *content: str) -> str:
    return _tag("td", *content, data_label=label)


def _figure(wide: str, narrow: str, caption: str = "") -> str:
    return _tag(
        "figure",
        _tag("div", wide, class_="wide"),
        _tag("div", narrow, class_="narrow"),
        _words("figcaption", caption) if caption else "",
    )


_CYL, _WHY = say("Cyl."), say("Why")
_SET_HEADS = (
    say("Injector"),
    say("Opening, as found"),
    say("Opening, as left"),
    say("Drop time at ref."),
    say("Seat"),
    say("Spray"),
    say("Chatter"),
    say("Result"),
)


def _cylinder(page: InjectorPage) -> str:
    return say("Cylinder {number}", number=page.cylinder)


# -- the set ---------------------------------------------------------------------------------


def _set_section(report: SetReport) -> str:
    example = _tag("p", _e(say("Invented example")), class_="invented") if report.invented else ""
    links = "".join(
        _tag("a", _mark(page.outcome), _e(_cylinder(page)), href=f"#c{page.cylinder}")
        for page in report.injectors
    )
    key = "".join(_tag("span", _mark(state), _e(state)) for state in KEY)
    spread, to_match = report.spread, match_words(report)
    return _tag(
        "section",
        _tag(
            "header", _words("p", say("Injector bench report · {day}", day=report.made_on)), example
        ),
        _words("h1", report.title),
        _tag("p", _e(report.headline), class_="headline"),
        _tag("p", _tag("b", _e(to_match))) if to_match else "",
        _tag("div", _facts(report.facts), class_="facts"),
        _tag(
            "nav", links, _tag("a", _e(say("Fitting sheet")), href="#fitting"),
            aria_label=say("Pages"),
        ),
        _table(
            (_CYL, *_SET_HEADS),
            [_set_row(report, page) for page in report.injectors],
            "set",
        ),
        _tag("p", key, class_="key"),
        _tag("h2", _e(say("Opening pressures of the set"))),
        _figure(
            set_figure(report.scale, (520.0, 140.0), None),
            set_figure(report.scale, (240.0, 170.0), None),
        ),
        _tag(
            "p", _state(spread.outcome), f" {_e(say('Spread'))} ",
            _tag("b", _e(spread.value.sentence)), _e(spread_told(spread)),
            f" {_e(spread_words(spread))}",
        ) if len(report.injectors) > 1 else "",
        _tag(
            "div",
            _tag("div", _tag("h2", _e(say("Setting sheet"))), _facts(report.sheet)),
            _tag("div", _tag("h2", _e(say("Bench"))), _facts(report.bench)),
            class_="two",
        ),
        _tag("h2", _e(say("How to read this"))),
        _tag("p", _e(report.rule)),
        _tag("p", _e(report.reading_rule)),
        _tag("div", *(_tag("p", _e(text)) for text in report.safety), class_="safety"),
        class_="sheet",
    )  # fmt: skip


def _set_row(report: SetReport, page: InjectorPage) -> str:
    tests = {row.name: row for row in page.tests}
    opening = tests[BenchTest.OPENING]
    next_text, more = next_step(report, page)
    rest = say(" And {number} more below.", number=more) if more else ""
    cells = (
        _tag("th", _tag("a", str(page.cylinder), href=f"#c{page.cylinder}"), scope="row"),
        *(
            _cell(head, content)
            for head, content in zip(
                _SET_HEADS,
                (
                    _words("span", page.identity),
                    _short(opening.as_found),
                    _short(opening.as_left),
                    _short(tests[BenchTest.BACK_LEAKAGE].latest),
                    _short(tests[BenchTest.SEAT].latest),
                    _short(tests[BenchTest.SPRAY].latest),
                    _short(tests[BenchTest.CHATTER].latest),
                    _result(report, page),
                ),
                strict=True,
            )
        ),
    )
    done = done_words(page)
    below = [
        *([_lead(say("As left:")), _e(done), " "] if done else []),
        *([_lead(say("Next:")), _e(next_text), _e(rest)] if next_text else []),
    ]
    following = _tag("tr", _tag("td", ""), _tag("td", *below, colspan="8"), class_="next")
    return _tag("tbody", _tag("tr", *cells), following if below else "")


def _result(report: SetReport, page: InjectorPage) -> str:
    """Return what an injector came to, and that it is to be matched first where it is so."""
    note = match_note(report, page)
    return _state(page.outcome) + (_tag("span", _e(f" {spoken(note)}")) if note else "")


def _short(cell: TestCell | None) -> str:
    if cell is None:
        return "–"
    hidden = _tag("span", f"{_e(word(cell.outcome))}: ", class_="unseen")
    return _tag("span", _mark(cell.outcome), hidden, _e(short_words(cell)), class_="state")


# -- one injector ----------------------------------------------------------------------------


def _injector_section(
    report: SetReport, page: InjectorPage, traces: Mapping[TraceKey, Trace]
) -> str:
    both = any(row.as_left for row in page.tests) and any(row.as_found for row in page.tests)
    heads = (AS_FOUND, AS_LEFT) if both else (page.sitting,)
    return _tag(
        "section",
        _tag(
            "header",
            _tag("h1", _e(_cylinder(page))),
            _tag("p", _result(report, page), class_="outcome"),
        ),
        _words("p", page.identity, class_="quiet"),
        *(_words("p", sentence(reason)) for reason in page.reasons),
        _tag("p", _lead(say("As left:")), _e(done)) if (done := done_words(page)) else "",
        _next_block(page),
        _table(
            (say("Test, and what the sheet asks"), *heads, _WHY),
            [_test_row(row, heads) for row in page.tests],
            "tests",
        ),
        *_trace_figures(page, traces),
        *(
            _words(
                "p",
                say(
                    "No trace {sitting}: {source} holds hand readings.",
                    sitting=source.sitting,
                    source=source.name,
                ),
            )
            for source in page.sources
            if source.by_hand
        ),
        _tag(
            "div",
            _tag("div", _value_table(page, heads)),
            _tag("div", _seen_table(page, heads), _inspection(page), _budgets(page)),
            class_="two",
        ),
        *(
            _tag(
                "p",
                _lead(say("Leak path {sitting}:", sitting=fact.label)),
                _e(fact.text),
            )
            for fact in page.leak_paths
        ),
        *(_mind(caution) for caution in page.cautions),
        *(_source(source.sitting, source.name, source.digest, source.history)
          for source in page.sources),
        class_="sheet", id=f"c{page.cylinder}",
    )  # fmt: skip


def _next_block(page: InjectorPage) -> str:
    parts = [_action(action) for action in page.actions]
    if page.next_test:
        parts.append(
            _tag(
                "p",
                _tag("span", f"{_e(say('Would tell most:'))} ", class_="quiet"),
                _e(page.next_test),
            )
        )
    minds = dict.fromkeys(action.caution for action in page.actions if action.caution)
    parts += [_mind(words) for words in minds]
    return _tag("div", _tag("h2", _e(say("Next"))), *parts, class_="next-block") if parts else ""


def _action(action: ActionText) -> str:
    expected = (
        say(" Expected afterwards: {value}.", value=action.predicted) if action.predicted else ""
    )
    told = _tag(
        "p",
        _tag("b", _e(sentence(action.do))),
        " ",
        _tag("span", _e(sentence(action.why)), class_="quiet"),
        _e(expected),
    )
    return told + "".join(_mind(words) for words in action.warnings)


def _mind(words: str) -> str:
    return _tag("p", _tag("b", f"{_e(say('Mind:'))} "), _e(sentence(words)))


def _test_row(row: TestRow, heads: Sequence[str]) -> str:
    cells: dict[str, TestCell | None] = {AS_FOUND: row.as_found, AS_LEFT: row.as_left}
    why = " ".join(sentence(reason) for reason in reasons_on_paper(row.latest))
    scale = row.latest.scale
    figure = scale_figure(scale, (160.0, 28.0), None) if scale else ""
    name = capital(row.name)
    return _tag(
        "tr",
        _tag("th", _e(name), _words("span", row.limit), scope="row"),
        *(_cell(head, _verdict(cells[head])) for head in heads),
        _cell(_WHY, figure, _words("span", why)),
    )


def _verdict(cell: TestCell | None) -> str:
    if cell is None:
        return "–"
    chance = say("within limits: {chance}", chance=cell.probability) if cell.probability else ""
    return (
        _state(cell.outcome)
        + (_words("span", cell.said, class_="line") if cell.said else "")
        + (_tag("span", _e(chance), class_="line quiet") if chance else "")
    )


def _trace_figures(page: InjectorPage, traces: Mapping[TraceKey, Trace]) -> list[str]:
    figures = []
    for sitting in (AS_FOUND, AS_LEFT):
        trace = traces.get((page.cylinder, sitting))
        if trace is None:
            continue
        figures.append(
            _figure(
                trace_figure(trace.recording, trace.findings, (520.0, 240.0), None),
                trace_figure(trace.recording, trace.findings, (240.0, 400.0), None),
                say("Gauge {sitting}: {source}", sitting=sitting, source=trace.findings.source),
            )
        )
    return figures


def _value_table(page: InjectorPage, heads: Sequence[str]) -> str:
    rows = [
        _pair_row(row.name, {AS_FOUND: _value(row.as_found), AS_LEFT: _value(row.as_left)},
                  heads)
        for row in page.values
    ]  # fmt: skip
    return _table((VALUE_HEAD, *heads), rows, "pairs") if rows else ""


def _value(value: ValueText | None) -> str:
    if value is None:
        return ""
    text = _e(value.sentence)
    if not value.measured:
        remedy = f" {_e(say('To have it: {remedy}.', remedy=value.remedy))}" if value.remedy else ""
        return _tag("span", text, f".{remedy}", class_="quiet")
    return text


def _seen_table(page: InjectorPage, heads: Sequence[str]) -> str:
    rows = [
        _pair_row(row.name, {AS_FOUND: _e(row.as_found), AS_LEFT: _e(row.as_left)},
                  heads)
        for row in page.seen
    ]  # fmt: skip
    return _table((say("Seen by the fitter"), *heads), rows, "pairs") if rows else ""


def _pair_row(name: str, cells: Mapping[str, str], heads: Sequence[str]) -> str:
    return _tag(
        "tr",
        _tag("th", _e(name), scope="row"),
        *(_cell(head if len(heads) > 1 else "", cells[head] or "–") for head in heads),
    )


def _inspection(page: InjectorPage) -> str:
    if not page.inspection:
        return ""
    parts = [Fact(known(fact.label), known(fact.text)) for fact in page.inspection]
    return _tag("h2", _e(say("Inspection"))) + _facts(parts)


def _budgets(page: InjectorPage) -> str:
    told = []
    for row in page.tests:
        value = row.latest.value
        if value is None or not value.budget:
            continue
        fact = Fact(capital(row.name), budget_words(value, len(value.budget)))
        told.append(_facts([fact]) + (budget_strip(value, 240.0, None) if value.shares else ""))
    if not told:
        return ""
    order = _e(say("Bars: shares of the variance, in the order of the words."))
    return (
        _tag("h2", _e(say("What u is made of"))) + _tag("p", order, class_="small") + "".join(told)
    )


def _source(sitting: str, name: str, digest: str, history: Sequence[str]) -> str:
    text: str = say(
        "Source {sitting}: {name}, SHA-256 {digest}.", sitting=sitting, name=name, digest=digest
    )
    if history:
        text = say("{source} Done to it: {steps}.", source=text, steps=joined("; ", history))
    return _words("p", text, class_="small")


# -- the fitting sheet -----------------------------------------------------------------------


def _fitting_section(fitting: FittingSheet) -> str:
    box = '<span class="box" aria-hidden="true"></span>'
    steps = "".join(
        _tag("li", box, _tag("b", _e(step.title)), " ", _e(step.text)) for step in fitting.steps
    )
    torques = [
        _tag(
            "tr", _words("th", known(torque.part), scope="row"),
            _cell(say("Torque"), _e(torque.torque)),
            _cell(say("As printed"), _words("span", torque.printed)),
        )
        for torque in fitting.torques
    ]  # fmt: skip
    places = [
        _tag(
            "tr",
            _tag("th", str(place.cylinder), scope="row"),
            _cell(_SET_HEADS[0], _words("span", place.identity)),
            _cell(say("Verdict"), _mark("fit" if place.fit else "fail"), " ", _e(place.said)),
            *(_cell(check, "") for check in fitting.checks),
        )
        for place in fitting.places
    ]
    return _tag(
        "section",
        _tag("h1", _e(say("Fitting sheet"))),
        _tag("div", *(_tag("p", _e(text)) for text in fitting.safety), class_="safety"),
        _tag("h2", _e(say("In this order"))),
        _tag("ol", steps, class_="steps"),
        _tag("h2", _e(say("Torques and washer"))),
        _table((say("Part"), say("Torque"), say("As printed")), torques, "pairs")
        if torques
        else _tag("p", _e(fitting.torque_note)),
        _tag("p", _lead(say("Washer:")), _e(fitting.washer)),
        _tag("h2", _e(say("Injectors and running check"))),
        _table((_CYL, _SET_HEADS[0], say("Verdict"), *fitting.checks), places, "check"),
        _tag(
            "div",
            *(_tag("p", _e(name)) for name in (say("Fitted by"), say("Checked by"), say("Date"))),
            class_="signature",
        ),
        class_="sheet", id="fitting",
    )  # fmt: skip
