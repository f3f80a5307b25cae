"""The match of a set on its screen: choices, plan, purchase, what the fitter allows."""

from __future__ import annotations

import re
from dataclasses import dataclass

import pytest

from nozzlewright.edge.web.app import create_app
from nozzlewright.records import EntryKind
from nozzlewright.workflow import NewTest

CARD = """\
note = "invented"
smallest_division_bar = 0.2
fraction_read = 0.5
opening_bar = [{0}, {0}, {0}, {0}, {0}]
closing_bar = [172.0, 172.0, 172.0, 172.0, 172.0]
openings_per_stroke = [13, 13, 13]

[[drop]]
from_bar = 150.0
to_bar = 100.0
seconds = 24.4

[seat_hold]
start_bar = 183.0
end_bar = 183.0
seconds = 10.0
"""
GOOD = {"spray": "good", "chatter": "clear", "seat": "dry", "drop_test": "dry"}


@pytest.fixture(scope="module")
def made(helper):
    return helper("edge/web/bench_shop.py")


@dataclass
class MatchShop:
    """A set of injectors that open at stated pressures, and a person at the screen."""

    shop: object
    job: str
    person: object
    made: object

    def page(self, more="?go=1", status=200):
        answer = self.person.get(f"/job/{self.job}/match{more}")
        assert answer.status_code == status, answer.text[:2000]
        return re.sub(r"\s+", " ", answer.text.replace("\N{NO-BREAK SPACE}", " "))


def a_shop(made, helper, tmp_path, web_settings, serve, browser, pressures, shims, drawer=None):
    shop = helper("workflow/in_memory.py").workshop_in_memory(tmp_path)
    for name in (made.FITTER, made.OTHER):
        shop.add_person(made.act(), name, name)
    blank = shop.evidence.keep((made.DEMO / "recordings" / "blank-plug.csv").read_bytes(), "csv")
    conditions = (made.DEMO / "bench.toml").read_bytes()
    conditions = conditions.replace(b"recordings/blank-plug.csv", b"blank.csv")
    shop.check_rig(made.act(), made.FITTER, conditions, blank=blank)
    sheet = shop.add_sheet(made.act(), made.FITTER, (made.DEMO / "sheet.toml").read_bytes())
    if drawer is not None:
        shop.put_drawer(made.act(), made.FITTER, drawer)
    job = a_job(made, shop, sheet, pressures, shims)
    person = browser(serve(create_app(shop, web_settings)))
    assert person.send("/settings", new_name=made.FITTER).status_code == 303
    return MatchShop(shop, job, person, made)


def a_job(made, shop, sheet, pressures, shims, serial="M"):
    booked = {
        "title": "invented set",
        "engine": "invented engine",
        "cylinders": len(pressures),
        "condition": "used",
        "sheet": sheet,
        "invented": True,
    }
    job = shop.book_in(made.act(), made.OTHER, booked)
    for cylinder, (pressure, shim) in enumerate(zip(pressures, shims, strict=True), 1):
        shop.tag(made.act(), made.OTHER, job, cylinder, f"{serial}-{cylinder}", shim_mm=shim)
        injector = shop.story(job).at_cylinder(cylinder).injector
        note(made, shop, job, EntryKind.TAKEN_IN_HAND, injector)
        card = shop.evidence.keep(CARD.format(pressure).encode(), "toml")
        new = NewTest("as-found", card=card, seen=GOOD)
        shop.test(made.act(), made.FITTER, job, injector, new, done="as-found")
        note(made, shop, job, EntryKind.LAID_DOWN, injector)
    return job


def note(made, shop, job, kind, injector, who="", **body):
    shop.note(made.act(), who or made.FITTER, job, kind, body, injector=injector)


@pytest.fixture
def uneven(made, helper, tmp_path, web_settings, serve, browser):
    """Four injectors, one of them far below the others; shims in short supply."""
    return a_shop(
        made, helper, tmp_path, web_settings, serve, browser,
        [196.4, 202.0, 202.6, 204.0], [1.30, 1.30, 1.25, 1.30],
        {1250: 1, 1350: 1, 1400: 0},
    )  # fmt: skip


def test_the_choices_the_plan_and_its_cautions_are_shown(uneven):
    html = uneven.page()

    assert "Match the set" in html
    assert "1 injector opened" in html
    # 0.1 mm does 10 bar: 0.05 mm brings the low one up from about 196 to about 201 bar.
    assert re.search(r"Cylinder 1: 1.30 → 1.35 mm, expect 20[01]\.\d+ ± ", html)
    assert "The 1.30 mm goes back to the drawer." in html
    assert "surgical emergency" in html
    assert html.count('class="fg"') == 3


def test_the_address_holds_the_choice(uneven):
    as_it_is = uneven.page("?go=1&work=0")

    assert "Nothing is to be done" in as_it_is
    assert re.search(r'work=0" aria-current="true"', as_it_is)


def test_nothing_is_worked_out_before_it_is_asked_for(uneven):
    before = uneven.page("")
    assert "Work it out" in before
    assert "Cylinder 1: 1.30" not in before

    uneven.page()
    assert "Cylinder 1: 1.30" in uneven.page("")  # it is kept then


def test_what_may_not_be_opened_stays_shut(uneven):
    html = uneven.page("?go=1&chosen=1&open=4")

    assert "Cylinder 1: 1.30" not in html
    assert uneven.page("?go=1&chosen=1").count("match-choice") <= 1


def test_one_that_the_second_person_agreed_to_stays_shut(uneven, made):
    one = uneven.shop.story(uneven.job).at_cylinder(1)
    note(
        made, uneven.shop, uneven.job, EntryKind.SECOND_PERSON, one.injector, who=made.OTHER,
        agrees=True, note="",
    )  # fmt: skip
    html = uneven.page()

    assert "agreed: stays shut" in html
    assert "Cylinder 1: 1.30" not in html


def test_a_purchase_is_worked_out_when_it_is_asked_for(uneven):
    assert "One shim of" not in uneven.page()

    html = uneven.page("?go=1&buy=10")

    assert re.search(r"(One shim of 1\.\d\d mm would|No single shim)", html)


def test_a_tested_spare_on_the_shelf_may_go_in(uneven, made):
    shop = uneven.shop
    other = a_job(made, shop, shop.story(uneven.job).sheet, [202.2], [1.30], serial="S")
    injector = shop.story(other).at_cylinder(1).injector
    note(made, shop, other, EntryKind.TAKEN_IN_HAND, injector)
    pair = shop.story(other).injectors[injector].pair
    note(made, shop, other, EntryKind.STRIPPED, injector, pair=pair, shim_mm=1.30)
    shop.see(made.act(), made.FITTER, other, injector, {"needle_slide": True}, done="slide")
    note(made, shop, other, EntryKind.ASSEMBLED, injector, pair=pair)
    card = shop.evidence.keep(CARD.format(202.2).encode(), "toml")
    shop.test(
        made.act(), made.FITTER, other, injector, NewTest("re-read", card=card, seen=GOOD),
        done="re-read",
    )  # fmt: skip
    assert shop.story(other).injectors[injector].verdict.body["outcome"] == "fit"
    note(made, shop, other, EntryKind.LAID_DOWN, injector)
    assert "No tested spare" in uneven.page("?go=1&spares=1")
    note(made, shop, other, EntryKind.SHELVED, injector, why="spare")

    assert "No tested spare" not in uneven.page("?go=1&spares=1")
    html = uneven.page("?go=1&chosen=1&open=1&spares=1&work=1")

    assert "the spare S-1 goes in as a whole" in html


@pytest.mark.parametrize(
    "more",
    [
        "?go=1&work=x&open=y&chosen=1&buy=-3&spares=%00",
        "?go=1&work=99999999999999&open=²&chosen=1",
        "?buy=10",
        "?go=1&chosen=1" + "&open=1" * 500,
    ],
)
def test_any_address_is_answered(uneven, more):
    assert "Match the set" in uneven.page(more)


def test_a_set_that_cannot_be_matched_yet_says_why(
    made, helper, tmp_path, web_settings, serve, browser
):
    there = a_shop(made, helper, tmp_path, web_settings, serve, browser, [202.0], [1.3])
    booked = {"title": "t", "engine": "invented engine", "cylinders": 2, "condition": "used"}
    there.job = there.shop.book_in(made.act(), made.OTHER, booked)

    assert "It cannot be matched yet" in there.page()
    assert there.person.get("/job/none/match").status_code == 404


def test_the_set_leads_to_its_match(uneven):
    html = uneven.person.get(f"/job/{uneven.job}/set").text

    assert f"/job/{uneven.job}/match?go=1" in html
