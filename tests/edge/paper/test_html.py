from __future__ import annotations

import html
import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest

from nozzlewright.edge.paper import report_html, write_html
from nozzlewright.errors import InputFault

_VOID = {"meta", "br", "img", "link", "hr", "input"}
_DRAWN = {"path", "rect", "circle", "use"}


class _Reader(HTMLParser):
    """Checks that elements close in order, and gathers text, ids and addresses."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.seen: set[str] = set()
        self.text: list[str] = []
        self.ids: list[str] = []
        self.addresses: list[str] = []

    def handle_starttag(self, tag, attrs):
        self.seen.add(tag)
        if tag not in _VOID:
            self.open.append(tag)
        for name, value in attrs:
            if name == "id":
                self.ids.append(value)
            if name in {"href", "src", "xlink:href", "action", "data"}:
                self.addresses.append(value)

    def handle_startendtag(self, tag, attrs):
        self.handle_starttag(tag, attrs)
        if tag not in _VOID:
            self.handle_endtag(tag)

    def handle_endtag(self, tag):
        assert self.open, tag
        assert self.open.pop() == tag

    def handle_data(self, data):
        if not self.open or self.open[-1] not in {"style", "title"}:
            self.text.append(data)


def _read(page: str) -> _Reader:
    reader = _Reader()
    reader.feed(page)
    reader.close()
    assert reader.open == []
    return reader


def _flat(text: str) -> str:
    return re.sub(r"\s+", " ", text.replace("\N{NO-BREAK SPACE}", " "))


@pytest.fixture(scope="module")
def page(invented, traces):
    return report_html(invented.judged_report(), traces)


def test_the_page_asks_nothing_of_the_network_and_runs_nothing(page):
    reader = _read(page)

    assert {"script", "link", "img", "iframe", "form", "object"}.isdisjoint(reader.seen)
    assert all(address.startswith("#") for address in reader.addresses)
    assert "url(" not in page
    assert "@import" not in page
    assert "default-src &#x27;none&#x27;" in page or "default-src 'none'" in page
    # The one address is the name of the SVG language, which is never fetched.
    assert set(re.findall(r"https?://[^\s\"'<]+", page)) == {"http://www.w3.org/2000/svg"}


def test_every_link_within_the_page_has_its_goal_and_no_name_is_used_twice(page):
    reader = _read(page)

    assert len(reader.ids) == len(set(reader.ids))
    assert {address[1:] for address in reader.addresses} <= set(reader.ids)


def test_the_page_says_what_the_report_says(invented, page):
    report = invented.judged_report()
    text = _flat("".join(_read(page).text))

    said = [report.title, report.headline, report.rule, report.reading_rule, *report.safety]
    said += [fact.text for fact in report.facts + report.sheet + report.bench]
    for injector in report.injectors:
        for row in injector.values:
            said += [v.sentence for v in (row.as_found, row.as_left) if v is not None]
        for row in injector.tests:
            said += [row.limit, str(row.latest.outcome)]
        said += [action.do.rstrip(".") for action in injector.actions]
        said += [source.digest for source in injector.sources]
    said += [step.text for step in report.fitting.steps]
    for words in said:
        assert _flat(words) in text


def test_the_page_says_that_the_example_is_invented(invented, page):
    assert "Invented example" in page
    assert "Invented example" not in report_html(replace(invented.judged_report(), invented=False))


def test_a_missing_value_comes_with_reason_and_remedy(page):
    text = _flat("".join(_read(page).text))

    assert "not measured, because no hold was written down" in text
    assert "To have it: time the fall from 150 to 100 bar." in text


@pytest.mark.parametrize(
    "text",
    [
        '<script>alert("1")</script>',
        "\" onload='x' </title><svg/onload=1>",
        "&lt;b&gt; &amp; $x$ #{y}",
        "W" * 400,
        "שלום עולם",
    ],
)
def test_names_of_any_kind_stay_text(invented, traces, text):
    injectors = tuple(
        replace(injector, identity=text) for injector in invented.invented_injectors()
    )

    page = report_html(
        invented.invented_report(title=text, customer=text, injectors=injectors), traces
    )

    reader = _read(page)
    assert "script" not in reader.seen
    assert text in "".join(reader.text)
    assert html.escape(text, quote=False) in page or html.escape(text) in page


def test_foreign_text_takes_the_direction_of_its_own_script(invented):
    page = report_html(invented.invented_report(customer="שלום"))

    assert '<dd dir="auto">שלום</dd>' in page


def test_the_same_report_gives_the_same_page(invented, traces):
    report = invented.invented_report()

    assert report_html(report, traces) == report_html(report, traces)


def test_the_page_is_written_or_it_is_said_why_not(invented, tmp_path):
    write_html(invented.invented_report(), tmp_path / "r.html")

    assert (tmp_path / "r.html").read_text(encoding="utf-8").startswith("<!doctype html>")
    with pytest.raises(InputFault, match="folder that exists"):
        write_html(invented.invented_report(), tmp_path / "none" / "r.html")
