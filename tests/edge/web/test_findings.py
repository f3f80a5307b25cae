"""What an inspection finds: the part, what is seen, what it asks for, a photo."""

from __future__ import annotations

import re

import pytest

from nozzlewright.bench import Severity
from nozzlewright.edge.web.findings_shown import ALWAYS_NEW, PARTS
from nozzlewright.edge.web.page import STATIC
from nozzlewright.judging.injector import is_of_the_pair
from nozzlewright.records import EntryKind


@pytest.fixture
def bench_shop(helper):
    return helper("edge/web/bench_shop.py")


@pytest.fixture
def bench(helper, bench_shop, tmp_path, web_settings, serve, browser):
    shop = helper("workflow/in_memory.py").workshop_in_memory(tmp_path)
    bench = bench_shop.at_the_bench(shop, web_settings, serve, browser)
    bench.stripped()
    return bench


def test_every_part_of_the_drawing_has_its_findings_and_no_other():
    drawn = (STATIC / "drawings" / "exploded.svg").read_text(encoding="utf-8")
    assert set(re.findall(r'data-part="([\w-]+)"', drawn)) == set(PARTS)
    known = {severity.value for severity in Severity}
    for part in PARTS.values():
        assert len(part.findings) > 1
        assert {severity for _seen, severity in part.findings} <= known
    assert set(ALWAYS_NEW) <= {part.name for part in PARTS.values()}


def test_needle_and_nozzle_body_are_the_pair_and_no_other_part():
    assert {part.name for part in PARTS.values() if is_of_the_pair(part.name)} == {
        "needle",
        "nozzle body",
    }


def test_each_part_is_reached_from_the_list_without_a_script(bench):
    shown = bench.get(bench.path(more="/findings"))
    for key in PARTS:
        assert f'/findings?part={key}#finding"' in shown
        assert f'<g class="part" data-part="{key}"' in shown


def test_a_finding_asks_for_what_is_usual_unless_somebody_says_otherwise(bench):
    page = bench.path(more="/findings?part=spring")
    assert "Saved: spring: cracked (renew)" in bench.saved(
        bench.tap(page, "Save the finding", seen="cracked")
    )
    bench.tap(page, "Save the finding", seen="cracked", severity="note")
    assert [one.body["severity"] for one in bench.one().findings] == ["renew", "note"]


def test_parts_to_renew_gather_into_a_list(bench):
    for part, seen in (("spring", "cracked"), ("inlet-filter", "torn"), ("spring", "rubbed")):
        page = bench.path(more=f"/findings?part={part}")
        bench.tap(page, "Save the finding", seen=seen)
    shown = bench.get(bench.path(more="/findings"))
    listed = re.search(r'<ul class="renew">(.*?)</ul>', shown, re.DOTALL)[1]
    assert re.findall("<li>(.*?)</li>", listed) == ["spring", "inlet filter", *ALWAYS_NEW]


@pytest.mark.parametrize(
    ("part", "seen", "condemned"),
    [("needle", "scuffed", True), ("nozzle-body", "seat pounded", True), ("spring", "bent", False)],
)
def test_a_needle_or_nozzle_to_renew_condemns_the_pair(bench, part, seen, condemned):
    page = bench.path(more=f"/findings?part={part}")
    answer = bench.tap(page, "Save the finding", own_words=seen, severity="renew")
    assert ("renewed as a pair" in bench.saved(answer)) == condemned
    assert bench.one().pair_condemned == condemned
    bench.tap(answer.headers["location"], "Take back")
    assert not bench.one().pair_condemned
    assert bench.one().findings == []


def test_own_words_need_what_they_ask_for(bench):
    page = bench.path(more="/findings?part=cap")
    refused = bench.tap(page, "Save the finding", own_words="painted over")
    assert refused.status_code == 422
    assert "painted over" in refused.text
    assert bench.one().findings == []


def test_a_photo_goes_with_its_finding_bare_of_what_the_camera_wrote(bench, bench_shop):
    page = bench.path(more="/findings?part=needle")
    sent = bench_shop.photo(comment=b"somebody's name")
    answer = bench.tap(
        page,
        "Save the finding",
        files={"photo": ("needle.jpg", sent, "image/jpeg")},
        seen="scuffed",
    )
    (digest,) = bench.last(EntryKind.FINDING).draft.evidence
    assert f"/evidence/{digest}.jpg" in bench.saved(answer)
    assert b"somebody" in sent
    assert b"somebody" not in bench.browser.get(f"/evidence/{digest}.jpg").content


def test_a_finding_with_a_damaged_photo_is_not_noted_without_it(bench):
    page = bench.path(more="/findings?part=needle")
    refused = bench.tap(
        page,
        "Save the finding",
        files={"photo": ("needle.jpg", b"\xff\xd8\xff\xe0", "image/jpeg")},
        seen="scuffed",
    )
    assert refused.status_code == 422
    assert bench.one().findings == []


def test_the_inspection_goes_on_to_the_next_step(bench):
    bench.tap(bench.path(more="/findings?part=cap"), "Save the finding", seen="sound")
    answer = bench.tap(bench.path(more="/findings"), "Inspection done: go on")
    assert answer.status_code == 303
    assert "inspect" in bench.one().done
