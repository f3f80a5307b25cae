"""The page of a whole budget, and the ways to it."""

from __future__ import annotations

import re
import uuid

import pytest

from nozzlewright.records import EntryKind
from nozzlewright.report.budget import VALUE_KEYS
from nozzlewright.workflow import NewTest

"""Generous: the rule is 50 ms on a machine that does nothing else."""


@pytest.fixture
def desk(helper):
    return helper("edge/web/bench_shop.py")


@pytest.fixture
def tested(helper, tmp_path, web_settings, serve, browser):
    """A job with one injector tested by hand and another that was not."""
    front = helper("edge/web/front_shop.py")
    gauge = helper("edge/web/gauge_shop.py")
    one = front.front(tmp_path, web_settings, serve, browser)
    job = gauge.booked_in(one.workshop, cylinders=2)
    injector = one.story(job).at_cylinder(1)
    card = one.workshop.evidence.keep((front.DEMO / "cards" / "4-left.toml").read_bytes(), "toml")
    test = one.workshop.test(
        str(uuid.uuid4()), front.FITTER, job, injector.injector, NewTest("as-found", card=card)
    )
    one.job, one.injector, one.test = job, injector.injector, test
    one.path = f"/job/{job}/injector/{injector.injector}/budget"
    yield one
    one.shop.close()


def plain(html):
    return re.sub(r"\s+", " ", html.replace("\N{NO-BREAK SPACE}", " ").replace("&nbsp;", " "))


def test_all_values_of_an_injector_lead_to_their_budgets(tested):
    shown = plain(tested.get(tested.path))

    for key in ("opening", "closing", "drop-shown", "drop-reference", "clearance"):
        assert f'href="{tested.path}/{key}"' in shown
    assert "not measured, because" in shown
    assert "of the variance" in shown


def test_the_budget_of_the_opening_names_its_causes_largest_first_and_what_to_improve(tested):
    shown = plain(tested.get(f"{tested.path}/opening"))
    shares = [
        float(x) for x in re.findall(r'data-label="of the variance">(?:&lt; )?([\d.]+) %', shown)
    ]

    assert "Opening pressure" in shown
    assert shares[-1] == 100.0 or 100.0 in shares
    listed = [one for one in shares if one != 100.0]
    assert listed == sorted(listed, reverse=True)
    assert sum(listed) == pytest.approx(100.0, abs=0.3)
    assert "What would make it smaller" in shown
    assert re.search(r"Halved, it would be ± [\d.]+ bar", shown)
    assert "gauge level" in shown
    assert "Closing pressure" in shown
    assert shown.count("<svg") >= 2
    # The scatter of the certificate's points has its degrees of freedom.
    assert "Effective degrees of freedom" in shown


@pytest.mark.parametrize("key", VALUE_KEYS)
def test_every_value_has_a_page_measured_or_not(tested, key):
    shown = plain(tested.get(f"{tested.path}/{key}"))

    assert ("Cause by cause" in shown) != ("not measured, because" in shown)


def test_a_budget_can_be_asked_for_one_test(tested):
    shown = tested.get(f"{tested.path}/opening?test={tested.test.id}")

    assert f"closing?test={tested.test.id}" in shown
    assert tested.browser.get(f"{tested.path}/opening?test=nobody").status_code == 404


def test_an_injector_that_was_not_tested_has_none_and_says_so(tested):
    other = tested.story(tested.job).at_cylinder(2).injector
    for path in ("", "/opening"):
        assert "has not been tested yet" in tested.get(
            f"/job/{tested.job}/injector/{other}/budget{path}"
        )


@pytest.mark.parametrize("path", ["/budget/horsepower", "/budget/opening/more"])
def test_what_is_not_there_is_not_there(tested, path):
    assert tested.browser.get(tested.path.replace("/budget", path)).status_code == 404
    assert tested.browser.get("/job/1999-0001/injector/x/budget/opening").status_code == 404


def test_the_verdict_and_the_set_lead_to_the_budget(tested):
    gauge = tested.path.replace("/budget", f"/gauge?step=as-found&saved={tested.test.id}")
    assert f"{tested.path}?test={tested.test.id}" in tested.get(gauge)
    assert f'{tested.path}/opening"' in tested.get(f"/job/{tested.job}/set")
    step = tested.get(tested.path.replace("/budget", "/step/as-found"))
    assert f'{tested.path}"' in step


def test_causes_shared_with_another_injector_are_named(tested, desk):
    workshop, job = tested.workshop, tested.job
    one, other = (tested.story(job).at_cylinder(n).injector for n in (1, 2))
    workshop.note(str(uuid.uuid4()), desk.FITTER, job, EntryKind.LAID_DOWN, injector=one)
    workshop.note(str(uuid.uuid4()), desk.FITTER, job, EntryKind.TAKEN_IN_HAND, injector=other)
    card = tested.test.body["card"]
    workshop.test(str(uuid.uuid4()), desk.FITTER, job, other, NewTest("as-found", card=card))
    shown = plain(tested.get(f"{tested.path}/opening"))

    level = shown[shown.index("<strong>gauge level</strong>") :]
    assert "injector 2" in level[: level.index("</tr>")]
