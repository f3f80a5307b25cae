"""Jobs in hand: each set with one mark per injector, what waits for whom, the rig on top.

And what comes back from the engine after the hand-over: the running check.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from nozzlewright.bench import BenchConditions
from nozzlewright.edge.web import page, states, steps_shown
from nozzlewright.edge.web.at_job import shop_of, story_of, who
from nozzlewright.edge.web.rig_shown import fitness
from nozzlewright.edge.web.texts import N_, _
from nozzlewright.errors import InputFault, NotAllowed, RecordFault
from nozzlewright.records import EntryKind
from nozzlewright.workflow import Workshop
from nozzlewright.workflow.ports import InjectorRow, JobRow
from nozzlewright.workflow.workshop import RigState

router = APIRouter()

ON_A_PAGE = 24
MOST_INJECTORS = 12
"""Injectors that a search shows beside the jobs."""
OPEN, HANDED_OVER, ALL = "open", "handed over", ""
SHOWN: Mapping[str, str] = {
    "open": N_("In hand"),
    "handed-over": N_("Handed over"),
    "all": N_("All"),
}
_STATE_OF = {"open": OPEN, "handed-over": HANDED_OVER, "all": None}


@dataclass(frozen=True)
class Mark:
    """One injector of a set in the list."""

    cylinder: int
    state: str
    """Shape."""
    words: str
    done: int
    of: int
    next_step: str
    """Title of the step that comes next; or empty."""


@dataclass(frozen=True)
class ShownJob:
    """One set in the list."""

    row: JobRow
    marks: tuple[Mark, ...]
    waits: str
    chip: str
    """Shape of what it waits for."""

    @property
    def done(self) -> int:
        """Injectors of which every step is done."""
        return sum(mark.of > 0 and mark.done == mark.of for mark in self.marks)


@router.get("/")
def jobs(request: Request, search: str = "", show: str = "open", after: str = "") -> Response:
    """Show the jobs, last touched first."""
    shop = shop_of(request)
    show = show if show in _STATE_OF else "open"
    search = search.strip()[:200]
    rows = shop.records.jobs(
        state=_STATE_OF[show], search=search, after=after[:40], limit=ON_A_PAGE + 1
    )
    more = len(rows) > ON_A_PAGE
    rows = rows[:ON_A_PAGE]
    query = {key: value for key, value in (("search", search), ("show", show)) if value}
    return page.render(
        request,
        "jobs.html",
        jobs=[_shown(row) for row in rows],
        injectors=_injectors(shop, search) if not after else [],
        search=search,
        show=show,
        filters=[
            (key, _(words), f"/?{urlencode({**query, 'show': key})}")
            for key, words in SHOWN.items()
        ],
        later=f"/?{urlencode({**query, 'after': rows[-1].job})}" if more else "",
        first=f"/?{urlencode(query)}" if after else "",
        rigs=rigs_today(request),
        last_rig=shop.rig(),
    )


def _injectors(shop: Workshop, search: str) -> list[InjectorRow]:
    """Return the injectors that are found by their serial number or pair."""
    return shop.records.injectors(search, limit=MOST_INJECTORS) if search else []


def _shown(row: JobRow) -> ShownJob:
    over = row.state == HANDED_OVER
    marks = tuple(_mark(mark, over=over) for mark in row.marks)
    chip = "done" if not row.waits_for else "now" if row.waits_for == AT_THE_BENCH else "waiting"
    waits = states.waits(row.waits_for) if row.waits_for else _("word came from the engine")
    return ShownJob(row, marks, waits, chip)


AT_THE_BENCH = "fitter at the bench"


def _mark(mark: Mapping[str, Any], *, over: bool) -> Mark:
    """Return a mark with its state as a shape and a word."""
    step = str(mark.get("step", ""))
    if not mark.get("injector"):
        state, words = "open", _("no tag")
    elif over:
        state, words = "done", _("handed over")
    elif mark.get("in_hand"):
        state, words = "now", _("in hand")
    elif mark.get("outcome"):
        state, words = states.outcome(str(mark["outcome"]))
    else:
        state, words = "waiting", _("waits")
    return Mark(
        cylinder=int(mark["cylinder"]),
        state=state,
        words=words,
        done=int(mark.get("done", 0)),
        of=int(mark.get("of", 0)),
        next_step=steps_shown.title_of(step) if step else "",
    )


# -- the rig of today ------------------------------------------------------------------------------


@dataclass(frozen=True)
class ShownRig:
    """A rig's check, as lists show it."""

    state: RigState
    blank: str
    """``recorded``, ``timed`` or empty: no hold with the blank plug."""

    @property
    def fitness(self) -> tuple[str, str] | None:
        """Shape and word of the rig's state; None where its check was not judged."""
        judged = self.state.body.get("state")
        return fitness(str(judged)) if judged else None


def rigs_today(request: Request) -> list[ShownRig]:
    """Return the rigs that were checked today by the shop's calendar, the last one first."""
    shop = shop_of(request)
    today = shop.this_day()
    return [shown_rig(shop, state) for state in shop.rigs() if shop.day_of(state.at) == today]


def shown_rig(shop: Workshop, state: RigState) -> ShownRig:
    """Return a rig's check with what is known of its hold with the blank plug."""
    if state.blank:
        return ShownRig(state, "recorded")
    conditions = conditions_of(shop, state)
    plug = conditions.blank_plug if conditions else None
    return ShownRig(state, "timed" if plug is not None and plug.drop_time_s else "")


def conditions_of(shop: Workshop, state: RigState) -> BenchConditions | None:
    """Return the conditions of a check; None where its evidence is missing."""
    try:
        return shop.readers.conditions(state.conditions)
    except (RecordFault, InputFault):
        return None


# -- back from the engine --------------------------------------------------------------------------


@router.get("/job/{job}/running-check")
def ask_running_check(request: Request, job: str) -> Response:
    """Ask how the set runs on the engine."""
    story = story_of(request, job)
    if way := page.needs_person(request):
        return way
    checks = [
        (check, check.entry.draft.who, check.entry.draft.at) for check in story.running_checks
    ]
    return page.render(request, "jobs_running_check.html", story=story, checks=checks)


@router.post("/job/{job}/running-check")
def note_running_check(request: Request, job: str, form: page.Sent) -> RedirectResponse:
    """Write down how the set runs on the engine."""
    story, name = story_of(request, job), who(request)
    if story.handed_over is None:
        raise NotAllowed(
            _("this set has not been handed over"), _("Hand it over first, then hear how it runs")
        )
    well = form.choice("well", ("yes", "no"))
    note = form.text("note")
    if well == "no" and not note:
        form.fault(
            _("it is not said what is wrong"), "note", _("Write what the engine does, and when")
        )
    exhaust = form.text("exhaust", longest=400)
    form.check()
    body = {"well": well == "yes", "note": note, "exhaust_temperatures": exhaust}
    shop_of(request).note(form.id, name, job, EntryKind.RUNNING_CHECK, body)
    return page.back_to(request, f"/job/{job}", flash=_("Saved: what came back from the engine"))
