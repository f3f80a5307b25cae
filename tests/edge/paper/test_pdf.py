from __future__ import annotations

import io
import re
from dataclasses import replace
from datetime import UTC, datetime

import pytest
from pypdf import PdfReader

from nozzlewright.edge.paper import report_pdf, write_pdf
from nozzlewright.errors import InputFault
from nozzlewright.judging.verdict import BenchTest, Outcome
from nozzlewright.report.set_report import Fact

CREATED = datetime(2025, 3, 14, 9, 0, tzinfo=UTC)


def _pages(content: bytes) -> list[str]:
    reader = PdfReader(io.BytesIO(content))
    return [_flat(page.extract_text()) for page in reader.pages]


def _flat(text: str) -> str:
    text = text.replace("\N{NO-BREAK SPACE}", " ").replace("\u2060", "").replace("\u200b", "")
    return re.sub(r"\s+", " ", text)


@pytest.fixture(scope="module")
def pages(invented, traces):
    return _pages(report_pdf(invented.judged_report(), traces, created=CREATED))


def test_there_is_one_page_for_the_set_one_for_each_injector_and_the_fitting_sheet(pages):
    assert len(pages) == 8
    assert "Six injectors of the harbour launch" in pages[0]
    for cylinder in range(1, 7):
        assert f"Cylinder {cylinder}" in pages[cylinder]
    assert "Fitting sheet" in pages[7]


def test_every_page_says_that_the_example_is_invented_and_what_can_hurt(pages):
    for page in pages:
        assert "INVENTED EXAMPLE" in page
        assert "surgical emergency even if painless" in page
        assert "engine maker's manual and local codes" in page


def test_a_real_set_bears_no_mark_of_an_example(invented):
    report = replace(invented.judged_report(), invented=False)

    assert "INVENTED" not in "".join(_pages(report_pdf(report, created=CREATED)))


def test_every_value_of_the_report_stands_on_its_page_with_unit_and_interval(invented, pages):
    for number, page in enumerate(invented.judged_report().injectors, start=1):
        for row in page.values:
            for value in (row.as_found, row.as_left):
                if value is not None:
                    assert _flat(value.sentence) in pages[number]
                    assert not value.measured or _flat(value.unit) in pages[number]


def test_every_verdict_stands_on_its_page_in_words_with_its_limit(invented, pages):
    for number, page in enumerate(invented.judged_report().injectors, start=1):
        assert str(page.outcome) in pages[number]
        for row in page.tests:
            assert _flat(row.limit) in pages[number]
            assert str(row.latest.outcome) in pages[number]


def test_a_page_of_an_unfinished_injector_says_what_is_missing_why_and_what_to_do(pages):
    page = pages[5]

    assert "unfinished" in page
    assert "not done" in page
    assert "not measured, because no hold was written down" in page
    assert "No trace as found: card-5.toml holds hand readings." in page


def test_beside_each_verdict_stands_what_was_measured_or_seen(pages):
    assert "fail 166.4 ± 2.4 bar within limits: 0.2 %" in pages[1]
    assert "pass good" in pages[1]
    assert "too close to tell 171.3 ± 2.4 bar" in pages[3]


def test_as_found_and_as_left_stand_side_by_side(pages):
    assert "166.4 ± 2.4 bar 175.2 ± 2.4 bar" in pages[1]
    assert "Gauge as found" in pages[1]
    assert "Gauge as left" in pages[1]


def test_the_set_page_states_rule_reading_sheet_rig_gauge_fluid_and_temperature(invented, pages):
    report = invented.judged_report()

    assert _flat(report.rule) in pages[0]
    assert _flat(report.reading_rule) in pages[0]
    for fact in report.sheet + report.bench:
        assert _flat(fact.text) in pages[0]
    for text in report.safety:
        assert _flat(text) in pages[0]


def test_each_page_has_a_place_for_signatures(pages):
    for page in pages[:-1]:
        assert "Tested by" in page
        assert "Checked by" in page
    assert "Fitted by" in pages[-1]


def test_the_fitting_sheet_goes_from_the_old_washer_to_the_running_check(pages):
    places = [
        pages[7].index(words)
        for words in (
            "Old washer out",
            "Clean bore",
            "One new washer",
            "Tighten evenly",
            "Line nuts",
            "Bleed",
            "Running check",
        )
    ]
    assert places == sorted(places)
    assert "60 to 80 N·m" in pages[7]
    assert "do not fit: exchange" in pages[7]


@pytest.mark.parametrize(("paper", "size"), [("a4", (595, 842)), ("us-letter", (612, 792))])
def test_both_papers_hold_one_page_each(invented, traces, paper, size):
    content = report_pdf(invented.judged_report(), traces, paper=paper, created=CREATED)

    reader = PdfReader(io.BytesIO(content))
    assert len(reader.pages) == 8
    box = reader.pages[0].mediabox
    assert (round(box.width), round(box.height)) == size


def test_the_same_report_on_the_same_date_gives_the_same_bytes(invented, traces):
    first = report_pdf(invented.invented_report(), traces, created=CREATED)
    second = report_pdf(invented.invented_report(), traces, created=CREATED)
    later = report_pdf(invented.invented_report(), traces, created=CREATED.replace(hour=10))

    assert first == second
    assert first != later


def test_the_file_says_that_it_is_archival_and_tagged(invented):
    content = report_pdf(invented.invented_report(), created=CREATED)

    reader = PdfReader(io.BytesIO(content))
    claims = reader.trailer["/Root"]["/Metadata"].get_data().decode()
    # ISO 19005-3 (part 3, level A) and ISO 14289-1 (part 1), as XMP writes them.
    assert re.search(r"pdfaid:part\W+3\b", claims)
    assert re.search(r"pdfaid:conformance\W+A\b", claims)
    assert re.search(r"pdfuaid:part\W+1\b", claims)
    assert reader.trailer["/Root"]["/MarkInfo"]["/Marked"] is True or bool(
        reader.trailer["/Root"]["/MarkInfo"]["/Marked"]
    )
    assert reader.metadata.title == "Six injectors of the harbour launch"


HOSTILE = [
    "#panic() $x^2$ *bold* _it_ `raw` @ref <label> \\ // [x] = y",
    '<script>alert("1")</script>&amp;<b>',
    "Ж" * 30 + " Ω ≤ 漢字 عربي שלום 😀",
    "W" * 400,
    "long words and more " * 60,
]


@pytest.mark.parametrize("text", HOSTILE, ids=["typst", "html", "scripts", "word", "prose"])
def test_names_of_any_kind_stay_text_and_each_page_stays_one(invented, traces, text):
    injectors = tuple(
        replace(injector, identity=text) for injector in invented.invented_injectors()
    )
    report = invented.invented_report(
        title=text, customer=text, engine=text, symptoms=text, fitter=text, injectors=injectors
    )
    page = report.injectors[0]
    crowded = replace(
        report,
        injectors=(
            replace(page, reasons=(text,) * 6, cautions=(text,) * 12, next_test=text),
            *report.injectors[1:],
        ),
    )

    pages = _pages(report_pdf(crowded, traces, created=CREATED))

    assert len(pages) == 8
    if len(text) < 100 and text.isascii():
        assert _flat(text) in pages[0]
        assert _flat(text) in pages[1]
        assert "Checked by" in pages[1]


def test_signs_that_the_shipped_fonts_lack_do_not_stop_the_report(invented):
    report = invented.invented_report(customer="漢字 😀 \U0001d11e")

    assert len(_pages(report_pdf(report, created=CREATED))) == 8


def test_text_that_is_cut_short_says_so(invented):
    report = invented.invented_report(title="A" * 300)

    assert "…" in _pages(report_pdf(report, created=CREATED))[0]


@pytest.mark.parametrize("count", [1, 4, 8, 12])
def test_sets_of_other_sizes_have_a_page_for_each_injector(invented, count):
    injectors = tuple(
        replace(invented.invented_injectors()[index % 6], cylinder=index + 1)
        for index in range(count)
    )

    pages = _pages(report_pdf(invented.invented_report(injectors=injectors), created=CREATED))

    assert len(pages) == count + 2
    assert f"Page {count + 2} of {count + 2}" in pages[-1]


def test_a_large_set_goes_on_to_a_second_page_rather_than_get_too_small_to_read(invented):
    injectors = tuple(
        replace(invented.invented_injectors()[index % 6], cylinder=index + 1) for index in range(24)
    )

    pages = _pages(report_pdf(invented.invented_report(injectors=injectors), created=CREATED))

    assert len(pages) == 24 + 3
    assert "Tested by" in pages[1]
    assert "Cylinder 1" in pages[2]


def _still_to_match(report):
    """The report in which the first of those that are fit is still to be matched."""
    places = report.fitting.places
    fit = next(index for index, place in enumerate(places) if place.fit)
    matched = replace(places[fit], fit=False, match_first=True, said="do not fit: match it first")
    places = (*places[:fit], matched, *places[fit + 1 :])
    return replace(report, fitting=replace(report.fitting, places=places)), matched.cylinder


def test_one_that_is_to_be_matched_is_nowhere_called_fit_alone(invented):
    report, cylinder = _still_to_match(invented.judged_report())

    pages = _pages(report_pdf(report, created=CREATED))

    assert f"Cylinder {cylinder} is fit by itself: match it to the others" in pages[0]
    assert "fit match it first" in pages[cylinder]
    assert "do not fit: match it first" in pages[-1]


def test_of_one_that_may_be_fitted_the_first_page_asks_nothing_more(invented):
    report = invented.judged_report()
    page = _pages(report_pdf(report, created=CREATED))[0]

    assert any(place.fit for place in report.fitting.places)
    assert page.count("Next:") == sum(not place.fit for place in report.fitting.places)


def test_the_first_page_says_what_was_changed_between_the_two_tests(invented):
    report = invented.judged_report()
    first = report.injectors[0]
    shim = next(row for row in first.seen if row.name == "Shim")
    assert shim.as_found != shim.as_left

    pages = _pages(report_pdf(report, created=CREATED))

    words = f"As left: Shim {_flat(shim.as_left)} for {_flat(shim.as_found)}"
    assert words in pages[0]
    assert words in pages[1]


def test_a_verdict_that_is_withheld_is_named_on_the_first_page(invented):
    report = invented.judged_report()
    first = report.injectors[0]
    withheld = tuple(
        replace(
            row,
            as_found=row.as_found and replace(row.as_found, outcome=Outcome.WITHHELD),
            as_left=row.as_left and replace(row.as_left, outcome=Outcome.WITHHELD),
        )
        if row.name == BenchTest.BACK_LEAKAGE
        else row
        for row in first.tests
    )
    report = replace(report, injectors=(replace(first, tests=withheld), *report.injectors[1:]))

    page = _pages(report_pdf(report, created=CREATED))[0]

    assert page.count("withheld") == 1
    assert _flat(first.test(BenchTest.BACK_LEAKAGE).latest.value.text) not in page


def test_a_single_injector_has_no_spread(invented):
    report = invented.invented_report(injectors=invented.invented_injectors()[:1])

    assert "Spread not measured" not in _pages(report_pdf(report, created=CREATED))[0]


def test_a_report_without_facts_is_still_a_report(invented):
    report = replace(
        invented.invented_report(),
        facts=(),
        sheet=(Fact("Source", "a sheet"),),
        bench=(),
        reasons=(),
        safety=(),
        injectors=(),
    )

    assert len(_pages(report_pdf(report, created=CREATED))) == 2


def test_a_report_that_cannot_be_written_says_where_and_what_to_do(invented, tmp_path):
    with pytest.raises(InputFault, match="folder that exists"):
        write_pdf(invented.invented_report(), tmp_path / "none" / "r.pdf", created=CREATED)
