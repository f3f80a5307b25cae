"""The report for a screen: one file that asks nothing of the network.

It says what the paper says. Every text is escaped; there is no script in it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from html import escape
from pathlib import Path

from nozzlewright.edge.paper.figures import (
    Trace,
    scale_figure,
    set_figure,
    trace_figure,
)
from nozzlewright.edge.paper.pdf import TraceKey, sentence, short_words
from nozzlewright.edge.paper.svg import PAGE, style_of
from nozzlewright.edge.paper.typeset import write_file
from nozzlewright.judging.verdict import BenchTest
from nozzlewright.report.fitting import FittingSheet
from nozzlewright.report.set_report import (
    ActionText,
    Fact,
    InjectorPage,
    SetReport,
    TestCell,
    TestRow,
)
from nozzlewright.report.wording import ValueText

_HERE = Path(__file__).parent


def report_html(report: SetReport, traces: Mapping[TraceKey, Trace] | None = None) -> str:
    """Return the report as one HTML file, complete in itself.

    Parameters
    ----------
    report : SetReport
        What it says
    traces : mapping, optional
        Recording and findings by (cylinder, ``as found`` or ``as left``), for the plots
    """
    body = "".join([
        _mark_shapes(),
        _set_section(report),
        *(_injector_section(page, traces or {}) for page in report.injectors),
        _fitting_section(report.fitting),
    ])  # fmt: skip
    return (
        '<!doctype html>\n<html lang="en-GB"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        '<meta http-equiv="Content-Security-Policy" '
        "content=\"default-src 'none'; style-src 'unsafe-inline'\">"
        '<meta name="color-scheme" content="light dark">'
        f"<title>{escape(report.title)}</title><style>{_style()}</style></head>"
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


def _tag(name: str, *content: str, **attributes: str) -> str:
    """Return an element; content is markup already, attributes are escaped here."""
    written = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{escape(value)}"'
        for key, value in attributes.items()
        if value
    )
    return f"<{name}{written}>{''.join(content)}</{name}>"


def _words(name: str, text: str, **attributes: str) -> str:
    """Return an element that holds text from outside; its direction follows the text."""
    return _tag(name, escape(text), dir="auto", **attributes)


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
    return _tag("span", _mark(state), _tag("b", escape(state)), class_="state")


def _facts(facts: Iterable[Fact]) -> str:
    rows = "".join(_tag("div", _words("dt", fact.label), _words("dd", fact.text)) for fact in facts)
    return _tag("dl", rows) if rows else ""


def _table(heads: Sequence[str], rows: Iterable[str], kind: str) -> str:
    head = "".join(_tag("th", escape(name), scope="col") for name in heads)
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


# -- the set ---------------------------------------------------------------------------------


def _set_section(report: SetReport) -> str:
    example = _tag("p", "Invented example", class_="invented") if report.invented else ""
    links = "".join(
        _tag("a", _mark(page.outcome), f"Cylinder {page.cylinder}", href=f"#c{page.cylinder}")
        for page in report.injectors
    )
    key = "".join(
        _tag("span", _mark(state), escape(state))
        for state in ("pass", "fail", "too close to tell", "not done", "not asked")
    )
    spread = report.spread
    chance = f"; within it with {spread.probability}" if spread.probability else ""
    said = " ".join(sentence(text) for text in (*spread.reasons, spread.odd_one_out) if text)
    return _tag(
        "section",
        _tag("header", _tag("p", f"Injector bench report · {escape(report.made_on)}"), example),
        _words("h1", report.title),
        _tag("p", escape(report.headline), class_="headline"),
        _tag("div", _facts(report.facts), class_="facts"),
        _tag("nav", links, _tag("a", "Fitting sheet", href="#fitting"), aria_label="Pages"),
        _table(
            ("Cyl.", "Injector", "Opening, as found", "Opening, as left", "Drop time at ref.",
             "Seat", "Spray", "Chatter", "Result"),
            [_set_row(page) for page in report.injectors],
            "set",
        ),
        _tag("p", key, class_="key"),
        _tag("h2", "Opening pressures of the set"),
        _figure(
            set_figure(report.scale, (520.0, 140.0), None),
            set_figure(report.scale, (240.0, 170.0), None),
        ),
        _tag(
            "p", _state(spread.outcome), " Spread ", _tag("b", escape(spread.value.sentence)),
            escape(f", allowed {spread.limit}{chance}. Mean {spread.mean.sentence}. {said}"),
        ),
        *(
            _words("p", sentence(reason))
            for reason in report.reasons
            if reason not in (*spread.reasons, spread.odd_one_out)
        ),
        _tag(
            "div",
            _tag("div", _tag("h2", "Setting sheet"), _facts(report.sheet)),
            _tag("div", _tag("h2", "Bench"), _facts(report.bench)),
            class_="two",
        ),
        _tag("h2", "How to read this"),
        _tag("p", escape(report.rule)),
        _tag("p", escape(report.reading_rule)),
        _tag("div", *(_tag("p", escape(text)) for text in report.safety), class_="safety"),
        class_="sheet",
    )  # fmt: skip


def _set_row(page: InjectorPage) -> str:
    tests = {row.name: row for row in page.tests}
    opening = tests[BenchTest.OPENING]
    next_text = page.actions[0].do if page.actions else page.next_test or "nothing"
    more = len(page.actions) - 1
    rest = f" And {more} more below." if more > 0 else ""
    cells = (
        _tag("th", _tag("a", str(page.cylinder), href=f"#c{page.cylinder}"), scope="row"),
        _cell("Injector", _words("span", page.identity)),
        _cell("Opening, as found", _short(opening.as_found)),
        _cell("Opening, as left", _short(opening.as_left)),
        _cell("Drop time at ref.", _short(tests[BenchTest.BACK_LEAKAGE].latest)),
        _cell("Seat", _short(tests[BenchTest.SEAT].latest)),
        _cell("Spray", _short(tests[BenchTest.SPRAY].latest)),
        _cell("Chatter", _short(tests[BenchTest.CHATTER].latest)),
        _cell("Result", _state(page.outcome)),
    )
    following = _tag(
        "tr", _tag("td", ""),
        _tag("td", _tag("span", "Next: ", class_="quiet"), escape(next_text + rest), colspan="8"),
        class_="next",
    )  # fmt: skip
    return _tag("tbody", _tag("tr", *cells), following)


def _short(cell: TestCell | None) -> str:
    if cell is None:
        return "–"
    hidden = _tag("span", escape(f"{cell.outcome}: "), class_="unseen")
    return _tag("span", _mark(cell.outcome), hidden, escape(short_words(cell)), class_="state")


# -- one injector ----------------------------------------------------------------------------


def _injector_section(page: InjectorPage, traces: Mapping[TraceKey, Trace]) -> str:
    both = any(row.as_left for row in page.tests) and any(row.as_found for row in page.tests)
    heads = ("as found", "as left") if both else (page.sitting,)
    return _tag(
        "section",
        _tag(
            "header",
            _tag("h1", f"Cylinder {page.cylinder}"),
            _tag("p", _state(page.outcome), class_="outcome"),
        ),
        _words("p", page.identity, class_="quiet"),
        *(_words("p", sentence(reason)) for reason in page.reasons),
        _next_block(page),
        _table(
            ("Test, and what the sheet asks", *heads, "Why"),
            [_test_row(row, heads) for row in page.tests],
            "tests",
        ),
        *_trace_figures(page, traces),
        *(
            _words("p", f"No trace {source.sitting}: {source.name} holds hand readings.")
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
            _tag("p", _tag("span", f"Leak path {fact.label}: ", class_="quiet"), escape(fact.text))
            for fact in page.leak_paths
        ),
        *(
            _tag("p", _tag("b", "Mind: "), escape(sentence(caution)))
            for caution in page.cautions
        ),
        *(_source(source.sitting, source.name, source.digest, source.history)
          for source in page.sources),
        class_="sheet", id=f"c{page.cylinder}",
    )  # fmt: skip


def _next_block(page: InjectorPage) -> str:
    parts = [_action(action) for action in page.actions]
    if page.next_test:
        parts.append(
            _tag("p", _tag("span", "Would tell most: ", class_="quiet"), escape(page.next_test))
        )
    minds = dict.fromkeys(action.caution for action in page.actions if action.caution)
    parts += [_mind(words) for words in minds]
    return _tag("div", _tag("h2", "Next"), *parts, class_="next-block") if parts else ""


def _action(action: ActionText) -> str:
    expected = f" Expected afterwards: {action.predicted}." if action.predicted else ""
    told = _tag(
        "p",
        _tag("b", escape(sentence(action.do))),
        " ",
        _tag("span", escape(sentence(action.why)), class_="quiet"),
        escape(expected),
    )
    return told + "".join(_mind(words) for words in action.warnings)


def _mind(words: str) -> str:
    return _tag("p", _tag("b", "Mind: "), escape(sentence(words)))


def _test_row(row: TestRow, heads: Sequence[str]) -> str:
    cells = {"as found": row.as_found, "as left": row.as_left}
    why = " ".join(sentence(reason) for reason in row.latest.reasons)
    scale = row.latest.scale
    figure = scale_figure(scale, (160.0, 28.0), None) if scale else ""
    name = row.name[0].upper() + row.name[1:]
    return _tag(
        "tr",
        _tag("th", escape(name), _words("span", row.limit), scope="row"),
        *(_cell(head, _verdict(cells[head])) for head in heads),
        _cell("Why", figure, _words("span", why)),
    )


def _verdict(cell: TestCell | None) -> str:
    if cell is None:
        return "–"
    chance = f"within limits: {cell.probability}" if cell.probability else ""
    return (
        _state(cell.outcome)
        + (_words("span", cell.said, class_="line") if cell.said else "")
        + (_tag("span", escape(chance), class_="line quiet") if chance else "")
    )


def _trace_figures(page: InjectorPage, traces: Mapping[TraceKey, Trace]) -> list[str]:
    figures = []
    for sitting in ("as found", "as left"):
        trace = traces.get((page.cylinder, sitting))
        if trace is None:
            continue
        figures.append(
            _figure(
                trace_figure(trace.recording, trace.findings, (520.0, 240.0), None),
                trace_figure(trace.recording, trace.findings, (240.0, 400.0), None),
                f"Gauge {sitting}: {trace.findings.source}",
            )
        )
    return figures


def _value_table(page: InjectorPage, heads: Sequence[str]) -> str:
    rows = [
        _pair_row(row.name, {"as found": _value(row.as_found), "as left": _value(row.as_left)},
                  heads)
        for row in page.values
    ]  # fmt: skip
    return _table(("Value with its 95 % interval", *heads), rows, "pairs") if rows else ""


def _value(value: ValueText | None) -> str:
    if value is None:
        return ""
    text = escape(value.sentence)
    if not value.measured:
        remedy = f" To have it: {value.remedy}." if value.remedy else ""
        return _tag("span", text, escape(f".{remedy}"), class_="quiet")
    return text


def _seen_table(page: InjectorPage, heads: Sequence[str]) -> str:
    rows = [
        _pair_row(row.name, {"as found": escape(row.as_found), "as left": escape(row.as_left)},
                  heads)
        for row in page.seen
    ]  # fmt: skip
    return _table(("Seen by the fitter", *heads), rows, "pairs") if rows else ""


def _pair_row(name: str, cells: Mapping[str, str], heads: Sequence[str]) -> str:
    return _tag(
        "tr",
        _tag("th", escape(name), scope="row"),
        *(_cell(head if len(heads) > 1 else "", cells[head] or "–") for head in heads),
    )


def _inspection(page: InjectorPage) -> str:
    if not page.inspection:
        return ""
    return _tag("h2", "Inspection") + _facts(page.inspection)


def _budgets(page: InjectorPage) -> str:
    facts = []
    for row in page.tests:
        value = row.latest.value
        if value is None or not value.budget:
            continue
        parts = "; ".join(f"{cause} {part}" for cause, part in value.budget)
        text = f"u = {value.standard_uncertainty}: {parts}"
        facts.append(Fact(row.name[0].upper() + row.name[1:], text))
    return _tag("h2", "What u is made of") + _facts(facts) if facts else ""


def _source(sitting: str, name: str, digest: str, history: Sequence[str]) -> str:
    steps = "; ".join(history)
    text = f"Source {sitting}: {name}, SHA-256 {digest}." + (
        f" Done to it: {steps}." if steps else ""
    )
    return _words("p", text, class_="small")


# -- the fitting sheet -----------------------------------------------------------------------


def _fitting_section(fitting: FittingSheet) -> str:
    box = '<span class="box" aria-hidden="true"></span>'
    steps = "".join(
        _tag("li", box, _tag("b", escape(step.title)), " ", escape(step.text))
        for step in fitting.steps
    )
    torques = [
        _tag(
            "tr", _words("th", torque.part, scope="row"), _cell("Torque", escape(torque.torque)),
            _cell("As printed", _words("span", torque.printed)),
        )
        for torque in fitting.torques
    ]  # fmt: skip
    places = [
        _tag(
            "tr",
            _tag("th", str(place.cylinder), scope="row"),
            _cell("Injector", _words("span", place.identity)),
            _cell("Verdict", _mark("fit" if place.fit else "fail"), " ", escape(place.said)),
            *(_cell(check, "") for check in fitting.checks),
        )
        for place in fitting.places
    ]
    return _tag(
        "section",
        _tag("h1", "Fitting sheet"),
        _tag("div", *(_tag("p", escape(text)) for text in fitting.safety), class_="safety"),
        _tag("h2", "In this order"),
        _tag("ol", steps, class_="steps"),
        _tag("h2", "Torques and washer"),
        _table(("Part", "Torque", "As printed"), torques, "pairs")
        if torques
        else _tag("p", escape(fitting.torque_note)),
        _tag("p", _tag("span", "Washer: ", class_="quiet"), escape(fitting.washer)),
        _tag("h2", "Injectors and running check"),
        _table(("Cyl.", "Injector", "Verdict", *fitting.checks), places, "check"),
        _tag(
            "div",
            *(_tag("p", escape(name)) for name in ("Fitted by", "Checked by", "Date")),
            class_="signature",
        ),
        class_="sheet", id="fitting",
    )  # fmt: skip
