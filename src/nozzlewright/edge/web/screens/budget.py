"""What the uncertainty of a measured value is made of, and what would make it smaller."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from urllib.parse import quote, urlencode

from fastapi import APIRouter, Request
from markupsafe import Markup
from starlette.exceptions import HTTPException
from starlette.responses import Response

from nozzlewright.bench import BenchConditions
from nozzlewright.edge.paper.budget_figure import budget_figure
from nozzlewright.edge.web import page
from nozzlewright.edge.web.at_job import injector_of, shop_of, story_of
from nozzlewright.edge.web.texts import N_, _, said
from nozzlewright.errors import InputFault, RecordFault
from nozzlewright.measurement import Quantity
from nozzlewright.records import InjectorStory, JobStory
from nozzlewright.records.story import Standing
from nozzlewright.report.budget import (
    SMALL_SHARE,
    VALUE_KEYS,
    Budget,
    BudgetRow,
    NamedValue,
    budget_of,
    named_values,
)
from nozzlewright.workflow import Workshop

router = APIRouter()

WIDE, NARROW = 480.0, 200.0
"""Widths of the picture, for a wide and for a narrow screen, [pt]."""

FIGURE_WORDS = (N_("all together (u)"),)
"""Words that the picture uses."""


@dataclass(frozen=True)
class Found:
    """A value with the test that it comes from."""

    test: Standing
    value: NamedValue

    @property
    def budget(self) -> Budget | None:
        """The plain budget, where it was measured."""
        if not isinstance(self.value.measured, Quantity):
            return None
        return budget_of(self.value.measured, name=self.value.name)


@router.get("/job/{job}/injector/{injector}/budget")
def show_all(request: Request, job: str, injector: str, test: str = "") -> Response:
    """Show all measured values of an injector, each with what weighs most in it."""
    story = story_of(request, job)
    one = injector_of(story, injector)
    found = _found(shop_of(request), one, test)
    return page.render(
        request,
        "budget_all.html",
        story=story,
        one=one,
        values=[(each, each.budget) for each in found.values()],
        path=_path(story, one),
        of_test=f"?{urlencode({'test': test})}" if test else "",
    )


@router.get("/job/{job}/injector/{injector}/budget/{value}")
def show(request: Request, job: str, injector: str, value: str, test: str = "") -> Response:
    """Show the whole budget of one value."""
    story, shop = story_of(request, job), shop_of(request)
    one = injector_of(story, injector)
    if value not in VALUE_KEYS:
        raise HTTPException(404)
    found = _found(shop, one, test)
    here = found.get(value)
    measured = here.value.measured if here is not None else None
    budget: Budget | None = None
    if here is not None and isinstance(measured, Quantity):
        budget = budget_of(
            measured,
            name=here.value.name,
            others=list(_others(shop, story, one, found, value)),
            conditions=_conditions(shop, here.test),
        )
    return page.render(
        request,
        "budget.html",
        story=story,
        one=one,
        found=here,
        budget=budget,
        missing=None if isinstance(measured, Quantity) else measured,
        figures=_figures(budget),
        rows=_shown_rows(budget, story) if budget else [],
        small=SMALL_SHARE,
        values=found,
        here_key=value,
        path=_path(story, one),
        of_test=f"?{urlencode({'test': test})}" if test else "",
    )


@dataclass(frozen=True)
class ShownRow:
    """A row of the table, with the results that share its error in few words."""

    row: BudgetRow
    shared: str


def _shown_rows(budget: Budget, story: JobStory) -> list[ShownRow]:
    sisters = {_injector_words(one.cylinder): str(one.cylinder) for one in story.in_order()}
    rows = []
    for row in budget.rows:
        names = [name for name in row.shared_with if name not in sisters]
        cylinders = [sisters[name] for name in row.shared_with if name in sisters]
        if len(cylinders) > 1:
            names.append(_("injectors %(numbers)s") % {"numbers": ", ".join(cylinders)})
        elif cylinders:
            names.append(_injector_words(cylinders[0]))
        rows.append(ShownRow(row, "; ".join(names)))
    return rows


def _injector_words(cylinder: int | str) -> str:
    return _("injector %(number)s") % {"number": cylinder}


def _path(story: JobStory, one: InjectorStory) -> str:
    return f"/job/{quote(story.job)}/injector/{quote(one.injector)}"


def _figures(budget: Budget | None) -> list[Markup]:
    if budget is None or not budget.rows:
        return []
    return [
        # Made of numbers and of our own words; the drawing escapes its texts.
        Markup(budget_figure(budget, width, None, words=said))  # noqa: S704
        for width in (WIDE, NARROW)
    ]


def _found(shop: Workshop, one: InjectorStory, test: str) -> dict[str, Found]:
    """Return the values of one test, or of all tests of an injector the newest that was measured.

    Raises
    ------
    HTTPException
        404 where the injector has no such test.
    """
    tests = sorted(one.tests, key=lambda each: each.entry.number, reverse=True)
    if test:
        tests = [each for each in tests if each.id == test]
        if not tests:
            raise HTTPException(404)
    found: dict[str, Found] = {}
    for each in tests:
        for value in named_values(shop.findings(str(each.body["findings"]))):
            known = found.get(value.key)
            is_measured = isinstance(value.measured, Quantity)
            if known is None or (is_measured and not known.value.measured):
                found[value.key] = Found(each, value)
    return {key: found[key] for key in VALUE_KEYS if key in found}


def _others(
    shop: Workshop, story: JobStory, one: InjectorStory, found: dict[str, Found], key: str
) -> Iterator[tuple[str, Quantity]]:
    """Yield the other results in which a cause may be the same error, by name."""
    for other in found.values():
        if other.value.key != key and isinstance(other.value.measured, Quantity):
            yield said(other.value.name), other.value.measured
    for sister in story.in_order():
        if sister.injector == one.injector or not sister.tests:
            continue
        theirs = _found(shop, sister, "").get(key)
        if theirs is not None and isinstance(theirs.value.measured, Quantity):
            yield _injector_words(sister.cylinder), theirs.value.measured


def _conditions(shop: Workshop, test: Standing) -> BenchConditions | None:
    """Return the bench conditions under which a test was read; None where they are not known.

    What was read by hand gets the studies of fitters that stand now, as they would for a reading
    that is taken again.
    """
    digest = str(test.body.get("conditions") or "")
    if not digest:
        return None
    try:
        known = shop.readers.conditions(digest)
        return replace(known, studies=shop.studies_now()) if test.body.get("by_hand") else known
    except (InputFault, RecordFault):
        return None
