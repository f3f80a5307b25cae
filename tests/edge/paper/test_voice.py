"""A report for a reader of another language: all that the program says goes through the catalogue.

Pseudo-localisation: a catalogue that puts every letter of a text into another alphabet shows up
each word that does not go through it.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from html.parser import HTMLParser

import pytest
from pypdf import PdfReader

from nozzlewright.edge.paper import Voice, report_html, report_pdf, set_figure, trace_figure
from nozzlewright.edge.paper.figures import set_description, trace_description
from nozzlewright.edge.paper.voice import speaking, spoken
from nozzlewright.report.set_report import Fact, SetReport
from nozzlewright.said import PRESSURE_UNITS_PA, Said, say

CYRILLIC = dict(zip("abcdefghijklmnopqrstuvwxyz", "абцдефгхийклмнопкрстувшхыз", strict=True))
CYRILLIC |= {latin.upper(): letter.upper() for latin, letter in CYRILLIC.items()}


def abroad(text: str) -> str:
    """Put all but the fields of a template into another alphabet."""
    return "".join(
        part if part.startswith("{") else "".join(CYRILLIC.get(sign, sign) for sign in part)
        for part in re.split(r"(\{[^}]*\})", text)
    )


ABROAD = Voice("uk", abroad, lambda text: abroad(text) if text == "nozzle nut" else text, ",")
UNITS = {"bar", "mm", "cm", "s", "hz", "k", "c", "m", "n", "u", "sha"}


class _Texts(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.texts: list[str] = []
        self.skips = False

    def handle_starttag(self, tag, attrs):
        self.skips = tag == "style"
        self.texts += [v for k, v in attrs if k in {"aria-label", "data-label", "alt"} and v]

    def handle_endtag(self, _tag):
        self.skips = False

    def handle_data(self, data):
        if not self.skips:
            self.texts.append(data)


def own_words(report: SetReport) -> set[str]:
    """Return all words that somebody wrote: what stands in the report as plain text."""
    with speaking(replace(ABROAD, known=str)):
        told: list[str] = []

        def gather(value):
            if isinstance(value, str):
                told.append(spoken(value))
            elif isinstance(value, tuple | list):
                for one in value:
                    gather(one)
            elif hasattr(value, "__dataclass_fields__"):
                for name in value.__dataclass_fields__:
                    gather(getattr(value, name))

        gather(report)
    return latin_words(" ".join(told))


def latin_words(text: str) -> set[str]:
    return {word.lower() for word in re.findall(r"[A-Za-z]+", text)}


def test_every_word_of_the_page_for_a_screen_goes_through_the_catalogue(invented, traces):
    report = invented.judged_report()
    page = report_html(report, traces, voice=ABROAD)
    assert '<html lang="uk">' in page
    parser = _Texts()
    parser.feed(page)
    left = latin_words(" ".join(parser.texts)) - own_words(report) - UNITS
    sources = {word for trace in traces.values() for word in latin_words(trace.findings.source)}
    assert left - sources == set()


def test_every_word_of_the_paper_goes_through_the_catalogue(invented, traces):
    report = invented.judged_report()
    made = datetime(2024, 5, 17, 12, tzinfo=UTC)
    content = report_pdf(report, traces, created=made, voice=ABROAD)
    reader = PdfReader(io.BytesIO(content))
    text = " ".join(page.extract_text() for page in reader.pages)
    sources = {word for trace in traces.values() for word in latin_words(trace.findings.source)}
    own = own_words(report) | sources | UNITS
    left = {word for word in latin_words(text) - own if not any(word in one for one in own)}
    assert left == set()
    assert reader.trailer["/Root"]["/Lang"].startswith("uk")


def test_without_a_voice_the_report_is_english(invented, traces):
    page = report_html(invented.judged_report(), traces)
    assert '<html lang="en-GB">' in page
    assert "Injector bench report" in page
    assert not re.search("[а-я]", page)


def test_names_of_parts_are_said_where_known_and_stay_as_typed_where_not(invented):
    report = invented.judged_report()
    page = replace(
        report.injectors[0],
        inspection=(
            Fact("nozzle nut", say("{seen} (note)", seen="polished")),
            Fact("gizmo", "odd"),
        ),
    )
    shown = report_html(replace(report, injectors=(page,)), voice=ABROAD)
    assert abroad("nozzle nut") in shown
    assert "polished" in shown
    assert "gizmo" in shown


@pytest.mark.parametrize("size", [(620.0, 210.0), (260.0, 230.0)])
def test_the_numbers_of_a_picture_have_the_decimal_sign_of_the_reader(invented, traces, size):
    scale = replace(invented.judged_report().scale, mean=201.7)
    german = set_figure(scale, size, None, voice=ABROAD)
    shown = re.sub("<[^>]*>", " ", german)
    assert "201,7" in shown
    assert not re.search(r"\d\.\d", shown)
    trace = next(iter(traces.values()))
    with speaking(ABROAD):
        drawn = re.sub("<[^>]*>", " ", trace_figure(trace.recording, trace.findings, theme=None))
    assert not re.search(r"\d\.\d", drawn)
    assert "201.7" in set_figure(scale, size, None)


def own_texts(value: object) -> Iterator[str]:
    """Give what people wrote in a report: its plain strings, those within messages too."""
    if isinstance(value, Said):
        for part in value.arguments.values():
            yield from own_texts(part)
    elif type(value) is str:
        yield value
    elif isinstance(value, tuple | list):
        for part in value:
            yield from own_texts(part)
    elif hasattr(value, "__dataclass_fields__"):
        for name in value.__dataclass_fields__:
            yield from own_texts(getattr(value, name))


def texts_of(markup: str) -> list[str]:
    parser = _Texts()
    parser.feed(markup)
    return parser.texts


@pytest.mark.parametrize(
    ("unit", "of_one_bar"),
    # NIST SP 811:2008, appendix B.8: 1 psi = 6.894 757 E+03 Pa, 1 kgf/cm2 = 9.806 65 E+04 Pa.
    [("MPa", 0.1), ("psi", 1e5 / 6894.757), ("kgf/cm2", 1e5 / 98066.5)],
)
def test_a_report_is_in_the_unit_of_its_reader_and_a_sheet_as_it_was_printed(
    invented, traces, unit, of_one_bar
):
    report = invented.judged_report()
    reader = Voice(pressure_unit=unit)
    shown = " ".join(texts_of(report_html(report, traces, voice=reader)))
    printed = {words for words in own_texts(report) if re.search(r"\bbar\b", words)}
    printed.add("Time the fall from 150 to 100 bar")  # so it was typed in the invented set
    assert printed, "the sheet of this report prints no bar"
    for words in sorted(printed, key=len, reverse=True):
        shown = shown.replace(words, "")
    assert not re.search(r".{30}\bbar\b", shown)
    limit = report.scale.upper_limit
    with speaking(reader):
        told = set_description(report.scale)
        traced = trace_description(next(iter(traces.values())).findings)
    drawn = re.sub("<[^>]*>", " ", set_figure(report.scale, voice=reader))
    assert any(abs(float(n) - limit * of_one_bar) < 6e-2 for n in re.findall(r"[\d.]*\d", drawn))
    for words in (told, traced, drawn):
        assert not re.search(r"\bbar\b", words)
        assert unit.replace("2", "²") in words


def test_the_picture_of_a_set_fills_its_height_in_every_unit(invented):
    scale = invented.judged_report().scale
    heights = {}
    for unit in PRESSURE_UNITS_PA:
        drawn = set_figure(scale, voice=Voice(pressure_unit=unit))
        heights[unit] = sorted({float(y) for y in re.findall(r'<circle[^>]* cy="([\d.]+)"', drawn)})
    assert len(heights["bar"]) > 1
    for unit, places in heights.items():
        assert places == pytest.approx(heights["bar"], abs=0.05), unit


def test_a_pdf_is_in_the_unit_of_its_reader(invented, traces):
    report = invented.judged_report()
    created = datetime(2026, 1, 5, tzinfo=UTC)
    pdf = report_pdf(report, traces, created=created, voice=Voice(pressure_unit="psi"))
    pages = PdfReader(io.BytesIO(pdf)).pages
    text = " ".join(page.extract_text() for page in pages).replace("\xa0", " ")
    opening = report.injectors[0].values[0].as_left or report.injectors[0].values[0].as_found
    in_psi = float(opening.value) * 1e5 / 6894.757
    assert any(abs(float(n) - in_psi) < 1.0 for n in re.findall(r"\d{4}\.?\d*", text))
    assert f"{opening.value} " not in text
