"""The match of a set: how even for how many reopenings, the plan, what a purchase would gain.

The address holds what is looked at. A choice that is carried out is put into the story by a tap;
the step of the setting then shows what it plans, and what is done is noted there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Query, Request
from markupsafe import Markup
from starlette.responses import Response

from nozzlewright.advice import MatchCase, Matching, MatchPlan
from nozzlewright.advice.match_words import (
    BenchStep,
    bench_steps,
    chance_words,
    choice_words,
    limit_chance_words,
    proof_words,
    purchase_words,
    work_words,
)
from nozzlewright.edge.paper.match_figure import front_figure, plan_figure
from nozzlewright.edge.web import page
from nozzlewright.edge.web.at_job import shop_of, story_of, who
from nozzlewright.edge.web.screens.bench import marks_of
from nozzlewright.edge.web.setting_shown import planned_match
from nozzlewright.edge.web.show import localised
from nozzlewright.edge.web.texts import _, said
from nozzlewright.errors import IdTaken
from nozzlewright.measurement import NotMeasured
from nozzlewright.records import EntryKind, JobStory
from nozzlewright.workflow.match import (
    STEPS_UM,
    Allowed,
    Matches,
    agreed,
    case_of_job,
    digest_of,
    sizes_sold,
    springs_of,
)
from nozzlewright.workflow.match_chosen import choose, is_chosen

router = APIRouter()

WIDE, NARROW = (620.0, 230.0), (210.0, 190.0)
"""Sizes of the picture of a plan, for a wide and for a narrow screen, [pt]."""
NARROWEST = 11.0
"""Room for a cylinder in the picture, [pt]."""
FRONT = (210.0, 150.0)
"""Size of the picture of the choices, [pt]."""
_MATCHES = Matches()
"""Kept by content, so that it may serve every workshop of this process."""


@dataclass(frozen=True)
class Asked:
    """What the address says."""

    go: bool
    work: int | None
    open: tuple[int, ...] | None
    """Cylinders that may be opened; None: nobody has said."""
    spares: bool
    springs: bool
    buy: int | None
    """Step of the sizes that may be bought, [um]; 0: the sheet's."""

    def address(self, job: str, **changed: int) -> str:
        """Return the address with some of it changed."""
        parts: list[tuple[str, object]] = [("go", 1)]
        if self.open is not None:
            parts.append(("chosen", 1))
            parts += [("open", one) for one in self.open]
        if self.spares:
            parts.append(("spares", 1))
        if self.springs:
            parts.append(("springs", 1))
        for name, value in (("work", self.work), ("buy", self.buy)):
            at = changed.get(name, value)
            if at is not None:
                parts.append((name, at))
        return f"/job/{job}/match?{urlencode(parts)}"


@dataclass(frozen=True)
class Choice:
    """One plan of the front as it can be chosen."""

    path: str
    work: str
    words: str
    chance: str
    """How surely the spread is within the sheet's limit; empty where it has none."""
    state: str
    state_words: str
    key: str
    """Key that chooses it; or empty."""
    current: bool


@dataclass(frozen=True)
class Todo:
    """One step of the plan with the way to its injector."""

    step: BenchStep
    path: str
    identity: str


@router.get("/job/{job}/match")
def show(
    request: Request,
    job: str,
    go: str = "",
    work: str = "",
    chosen: str = "",
    open_: Annotated[list[str] | None, Query(alias="open")] = None,
    spares: str = "",
    springs: str = "",
    buy: str = "",
) -> Response:
    """Show the choices, where they were asked for; else what the fitter allows."""
    shop, story = shop_of(request), story_of(request, job)
    asked = Asked(
        go=bool(go),
        work=_number(work),
        open=_numbers(open_ or []) if chosen else None,
        spares=bool(spares),
        springs=bool(springs),
        buy=_number(buy) if buy else None,
    )
    allowed = Allowed(
        None if asked.open is None else frozenset(asked.open), asked.spares, asked.springs
    )
    case = case_of_job(shop, story, allowed)
    matching = None
    if isinstance(case, MatchCase):
        matching = _MATCHES.of(case) if asked.go else _MATCHES.known(case)
    missing = case if isinstance(case, NotMeasured) else None
    context: dict[str, Any] = {
        "story": story,
        "marks": marks_of(story, shop.steps(story)),
        "missing": missing,
        "asked": asked,
        "cylinders": [
            (
                str(one),
                _("Cylinder %(number)s") % {"number": one},
                _("agreed: stays shut") if shut else "",
            )
            for one, shut in _openable(story, case)
        ],
        "may_open": _ticked(story, case, asked),
        "no_effect": isinstance(case, MatchCase) and not case.effects,
        "planned": planned_match(story),
        "has_springs": isinstance(case, MatchCase) and bool(springs_of(shop, story, case)),
        "measured": any(one.spring is not None for one in story.injectors.values()),
        "no_springs": asked.springs and isinstance(case, MatchCase) and case.springs is None,
        "no_spares": asked.spares and isinstance(case, MatchCase) and not case.spares,
        "chosen": None,
    }
    if matching is not None and isinstance(case, MatchCase):
        context |= _found(request, story, matching, asked)
        context["case"] = digest_of(case)
        context["chosen_already"] = is_chosen(story, context["chosen"])
        sheet = shop.sheet(story)
        context["bought"] = None
        if asked.buy is not None and sheet is not None and case.springs is None:
            sizes = sizes_sold(case, sheet, asked.buy if asked.buy in STEPS_UM else 0)
            context["bought"] = purchase_words(_MATCHES.purchase(case, sizes))
        context["purchases"] = _purchases(
            job, asked, case, bool(sheet and sheet.adjustment.shim_sizes_m)
        )
    return page.render(request, "match.html", **context)


@router.post("/job/{job}/match")
def take_up(request: Request, job: str, form: page.Sent) -> Response:
    """Put the choice that is carried out into the story."""
    shop, story, name = shop_of(request), story_of(request, job), who(request)
    known = shop.records.entry(form.id)
    if known is not None and (known.kind is not EntryKind.MATCH or known.draft.story != job):
        raise IdTaken(f"the id {form.id} belongs to another entry")
    if known is None:
        opened = form.values.get("open", ())
        allowed = Allowed(
            frozenset(_numbers(opened)) if form.text("chosen") else None,
            spares=bool(form.text("spares")),
            springs=bool(form.text("springs")),
        )
        case, work = case_of_job(shop, story, allowed), _number(form.text("work", longest=20))
        plan = None
        if isinstance(case, MatchCase) and digest_of(case) == form.text("case", longest=80):
            plan = next((one for one in _MATCHES.of(case).choices if one.work == work), None)
        if plan is None:
            form.fault(
                _("the set has changed since this was worked out"),
                "case",
                _("Work it out once more, and choose again"),
            )
        form.check()
        if plan is not None:
            choose(shop, form.id, name, story, plan, allowed)
    saved = _("Saved: the match is in the story")
    return page.back_to(request, f"/job/{job}/match#planned", flash=saved)


def _openable(story: JobStory, case: MatchCase | NotMeasured) -> list[tuple[int, bool]]:
    shut = agreed(story)
    return [] if isinstance(case, NotMeasured) else [(one, one in shut) for one in case.openings]


def _ticked(story: JobStory, case: MatchCase | NotMeasured, asked: Asked) -> list[str]:
    if asked.open is not None:
        return [str(one) for one in asked.open]
    return [str(one) for one, shut in _openable(story, case) if not shut]


def _found(request: Request, story: JobStory, matching: Matching, asked: Asked) -> dict[str, Any]:
    """Return what a page of choices shows."""
    unit = page.here(request).pressure_unit
    advised = matching.advised
    chosen = next((one for one in matching.choices if one.work == asked.work), advised)
    room = 90.0 + NARROWEST * len(chosen.changes)
    pictures = [
        # Made of numbers and of our own words; the drawing escapes its texts.
        Markup(plan_figure(chosen, (max(width, room), height), said, unit=unit))  # noqa: S704
        for width, height in (WIDE, NARROW)
    ]
    front = Markup(front_figure(matching.choices, chosen, FRONT, said, unit=unit))  # noqa: S704
    return {
        "chosen": chosen,
        "advised": advised,
        "pictures": pictures,
        "front": front if len(matching.choices) > 1 else None,
        "headline": choice_words(chosen),
        "work": work_words(chosen),
        "chances": chance_words(chosen),
        "proof": proof_words(chosen),
        "choices": [
            _choice(story.job, asked, plan, index, plan is chosen)
            for index, plan in enumerate(matching.choices)
        ],
        "todo": [_todo(story, step) for step in bench_steps(chosen)],
    }


def _choice(job: str, asked: Asked, plan: MatchPlan, index: int, current: bool) -> Choice:
    if plan.outside:
        state, words = "fail", _("not all in band")
    elif plan.within_limit is False:
        state, words = "unclear", _("in band, uneven")
    else:
        state, words = "pass", _("should meet the sheet")
    return Choice(
        path=asked.address(job, work=plan.work),
        work=work_words(plan),
        words=choice_words(plan),
        chance=limit_chance_words(plan),
        state=state,
        state_words=words,
        key=f"Digit{index + 1}" if index < 9 else "",
        current=current,
    )


def _todo(story: JobStory, step: BenchStep) -> Todo:
    one = story.at_cylinder(step.cylinder)
    if one is None:
        return Todo(step, f"/job/{story.job}", "")
    return Todo(step, f"/job/{story.job}/injector/{one.injector}", one.serial)


def _purchases(
    job: str, asked: Asked, case: MatchCase, listed: bool
) -> list[tuple[str, str, bool]]:
    """Return address and words of each range of sizes, and whether it was asked for."""
    if not case.shims_um or case.springs is not None:  # with springs it would take minutes
        return []
    rows = [(0, _("the sizes of the sheet"))] if listed else []
    rows += [
        (step, _("steps of %(step)s mm") % {"step": localised(f"{step / 1000:.2f}")})
        for step in STEPS_UM
    ]
    return [(asked.address(job, buy=step), words, asked.buy == step) for step, words in rows]


def _number(text: str) -> int | None:
    return int(text) if text.isascii() and text.isdigit() and len(text) < 6 else None


def _numbers(texts: Sequence[str]) -> tuple[int, ...]:
    found = {_number(text) for text in texts[:64]}
    return tuple(sorted(one for one in found if one is not None))
