"""The set side by side: tests of all injectors, spread, odd one out, what to swap or re-shim."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter, Request
from markupsafe import Markup
from starlette.responses import Response

from nozzlewright.advice import NextAction
from nozzlewright.bench import StepKind
from nozzlewright.edge.paper import set_figure
from nozzlewright.edge.web import page, states
from nozzlewright.edge.web.at_job import shop_of, story_of, who
from nozzlewright.edge.web.own_words import voice
from nozzlewright.edge.web.screens.bench import marks_of
from nozzlewright.edge.web.texts import _
from nozzlewright.records import EntryKind, JobStory
from nozzlewright.report.set_report import InjectorInShort, SetInShort
from nozzlewright.workflow import Workshop

router = APIRouter()

WIDE, NARROW = (620.0, 210.0), (260.0, 230.0)
"""Sizes of the picture of the set, for a wide and for a narrow screen, [pt]."""


@dataclass(frozen=True)
class Column:
    """One injector of the set, side by side with the others."""

    page: InjectorInShort
    injector: str
    state: str
    words: str
    actions: tuple[NextAction, ...]


@router.get("/job/{job}/set")
def show(request: Request, job: str) -> Response:
    """Show the set side by side."""
    shop, story = shop_of(request), story_of(request, job)
    steps = shop.steps(story)
    judged = shop.judged(story)
    columns: list[Column] = []
    report: SetInShort | None = None
    figures: list[Markup] = []
    if judged is not None:
        report = judged.in_short
        advice = {one.cylinder: one.actions for one in judged.advice}
        for injector in report.injectors:
            one = story.at_cylinder(injector.cylinder)
            shape, words = states.outcome(injector.outcome.value)
            if one is not None and one.waits_as_left:
                words = _("as left: not tested yet")
            columns.append(
                Column(
                    page=injector,
                    injector=one.injector if one else "",
                    state=shape,
                    words=words,
                    actions=advice.get(injector.cylinder, ()),
                )
            )
        figures = [
            # Made of numbers and of our own words; the drawing escapes its texts.
            Markup(set_figure(report.scale, size, None, voice=voice()))  # noqa: S704
            for size in (WIDE, NARROW)
        ]
    return page.render(
        request,
        "set.html",
        story=story,
        marks=marks_of(story, steps),
        report=report,
        columns=columns,
        figures=figures,
        to_match=_unmatched(shop, story),
        spread=states.test_outcome(report.spread.outcome.value) if report else None,
        test_state=states.test_outcome,
        has_sheet=bool(story.sheet),
    )


@router.post("/job/{job}/set")
def matched(request: Request, job: str, form: page.Sent) -> Response:
    """Note that the set is matched."""
    shop, story = shop_of(request), story_of(request, job)
    person = who(request)
    for step, injector in _unmatched(shop, story):
        shop.note(
            form.id_of(injector),
            person,
            job,
            EntryKind.STEP_DONE,
            {"step": step},
            injector=injector,
        )
    return page.back_to(request, f"/job/{job}/set", flash=_("Saved: the set is matched"))


def _unmatched(shop: Workshop, story: JobStory) -> list[tuple[str, str]]:
    """Return step and injector for each at which matching is still to be done."""
    if story.handed_over is not None:
        return []
    return [
        (step.key, one.injector)
        for step in shop.steps(story)
        if step.kind is StepKind.MATCH
        for one in story.in_order()
        if step.key not in one.done
    ]
