"""The bench: a set as a row of injectors, one of them open; tag, open, close, lay on the shelf."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter, Request
from starlette.exceptions import HTTPException
from starlette.responses import Response

from nozzlewright.bench import Step
from nozzlewright.edge.web import page, states, steps_shown
from nozzlewright.edge.web.at_job import (
    injector_of,
    kept_photos,
    photos_of,
    shop_of,
    story_of,
    who,
)
from nozzlewright.edge.web.guard import takes_uploads
from nozzlewright.edge.web.screens.jobs import rigs_today
from nozzlewright.edge.web.setting_shown import planned_match
from nozzlewright.edge.web.texts import _
from nozzlewright.errors import EvidenceFault
from nozzlewright.records import EntryKind, InjectorStory, JobStory
from nozzlewright.workflow.ports import InjectorRow
from nozzlewright.workflow.workshop import waits_for

router = APIRouter()

JPEG = b"\xff\xd8\xff"
"""How every JPEG begins (ITU-T T.81, annex B: SOI, then a marker)."""
THICKEST_MM = 20.0


@dataclass(frozen=True)
class Mark:
    """How far one cylinder's injector is."""

    cylinder: int
    injector: str
    serial: str
    state: str
    """Shape, and class of the mark."""
    words: str
    step: str
    """Title of the step that comes next; empty where all are done."""
    done: int
    of: int
    in_hand: bool
    apart: bool


def marks_of(story: JobStory, steps: Sequence[Step]) -> list[Mark]:
    """Return one mark for each cylinder, in their order."""
    marks = [_mark(story, one, steps) for one in story.in_order()]
    marks += [
        Mark(c, "", "", "not-done", _("no tag yet"), "", 0, len(steps), in_hand=False, apart=False)
        for c in story.untagged()
    ]
    return sorted(marks, key=lambda mark: mark.cylinder)


def _mark(story: JobStory, one: InjectorStory, steps: Sequence[Step]) -> Mark:
    step = one.next_step(steps)
    in_hand = story.in_hand == one.injector
    done = sum(step.key in one.done for step in steps)
    if in_hand:
        state, words = "now", _("on the bench")
    elif one.apart:
        state, words = "waiting", _("lies apart in its tray")
    elif one.waits_as_left:
        state, words = "not-done", _("as left: not tested yet")
    elif one.verdict is not None:
        state, words = states.outcome(str(one.verdict.body["outcome"]))
    elif done:
        state, words = "waiting", _("begun")
    else:
        state, words = "open", _("not begun")
    return Mark(
        cylinder=one.cylinder,
        injector=one.injector,
        serial=one.serial,
        state=state,
        words=words,
        step=steps_shown.title(step) if step else "",
        done=done,
        of=len(steps),
        in_hand=in_hand,
        apart=one.apart,
    )


def open_other(story: JobStory, injector: str = "") -> InjectorStory | None:
    """Return the injector that is open on the bench, where it is another than this one."""
    if not story.in_hand or story.in_hand == injector:
        return None
    return story.injectors.get(story.in_hand)


@router.get("/job/{job}")
def show(request: Request, job: str) -> Response:
    """Show the set on the bench."""
    shop, story = shop_of(request), story_of(request, job)
    steps = shop.steps(story)
    return page.render(
        request,
        "bench.html",
        story=story,
        marks=marks_of(story, steps),
        other=open_other(story),
        waits=states.waits(waits_for(story, steps)),
        sheet=shop.sheet(story),
        rigs=rigs_today(request),
        photos=photos_of(story),
        planned=planned_match(story),
        symptoms={c: text for c, text in story.booked["symptoms"].items() if text},
    )


# -- tags ----------------------------------------------------------------------------------------


@router.get("/job/{job}/tag")
def ask_tag(request: Request, job: str, cylinder: int = 0, search: str = "") -> Response:
    """Show the form with which an injector gets the tag of its cylinder."""
    away = page.needs_person(request)
    if away is not None:
        return away
    story = story_of(request, job)
    untagged = story.untagged()
    return page.render(
        request,
        "bench_tag.html",
        story=story,
        untagged=untagged,
        cylinder=cylinder if cylinder in untagged else next(iter(untagged), 0),
        search=search,
        known=_known(request, story, search),
    )


def _known(request: Request, story: JobStory, search: str) -> list[InjectorRow]:
    """Return injectors that the workshop knows and that are not in this job."""
    if not search.strip():
        return []
    rows = shop_of(request).records.injectors(search.strip()[:80], limit=12)
    return [row for row in rows if row.injector not in story.injectors]


@router.post("/job/{job}/tag")
def tag(request: Request, job: str, form: page.Sent) -> Response:
    """Tag an injector."""
    story = story_of(request, job)
    cylinder = form.number("cylinder", lowest=1, highest=99)
    known = form.text("injector", longest=80)
    needed = "" if known else _("an injector needs a serial number or a name of its own")
    serial = form.text("serial", needed=needed, longest=80)
    same = next((one for one in story.in_order() if _is_called(one, serial)), None)
    if same is not None and shop_of(request).records.entry(form.id) is None:
        form.fault(
            _("the injector of cylinder %(number)s of this set is called so already")
            % {"number": same.cylinder},
            "serial",
            _("Look at both once more; where two bear the same number, write a letter after it"),
        )
    pair = form.text("pair", longest=80)
    markings = form.text("markings", longest=200)
    shim_mm = form.number("shim_mm", highest=THICKEST_MM) if form.text("shim_mm") else None
    form.check()
    shop_of(request).tag(
        form.id,
        who(request),
        job,
        int(cylinder),
        serial,
        injector=known,
        pair=pair,
        markings=markings,
        shim_mm=shim_mm,
    )
    done = _("Saved: injector %(number)s is tagged") % {"number": int(cylinder)}
    left = story_of(request, job).untagged()
    return page.back_to(request, f"/job/{job}/tag" if left else f"/job/{job}", flash=done)


def _is_called(one: InjectorStory, serial: str) -> bool:
    """Return whether an injector bears a serial number, however its letters are written."""
    return (
        bool(serial)
        and "".join(one.serial.split()).casefold() == "".join(serial.split()).casefold()
    )


# -- one open at a time --------------------------------------------------------------------------


@router.post("/job/{job}/take")
def take(request: Request, job: str, form: page.Sent) -> Response:
    """Take an injector in hand; the one that is open is closed first where that was asked."""
    story = story_of(request, job)
    injector, close = form.text("injector", longest=80), form.text("close", longest=80)
    injector_of(story, injector)
    name = who(request)
    if close and close == story.in_hand:
        _close(request, story, close, form, form.id_of("close"))
    note = shop_of(request).note
    note(form.id, name, job, EntryKind.TAKEN_IN_HAND, injector=injector)
    return page.back_to(request, f"/job/{job}/injector/{injector}")


@router.post("/job/{job}/lay-down")
def lay_down(request: Request, job: str, form: page.Sent) -> Response:
    """Close the injector that is open."""
    story = story_of(request, job)
    one = injector_of(story, form.text("injector", longest=80))
    _close(request, story, one.injector, form, form.id)
    done = _("Saved: injector %(number)s is closed") % {"number": one.cylinder}
    return page.back_to(request, f"/job/{job}", flash=done)


def _close(request: Request, story: JobStory, injector: str, form: page.Form, entry: str) -> None:
    one = story.injectors[injector]
    needed = _("injector %(number)s lies apart: which tray holds its parts?") % {
        "number": one.cylinder
    }
    tray = form.text("tray", needed=needed if one.apart else "", longest=80)
    form.check()
    body = {"tray": tray} if tray else {}
    note = shop_of(request).note
    note(entry, who(request), story.job, EntryKind.LAID_DOWN, body, injector=injector)


@router.post("/job/{job}/shelve")
def shelve(request: Request, job: str, form: page.Sent) -> Response:
    """Take an injector out of the set: it was exchanged, or stays as a spare."""
    story = story_of(request, job)
    one = injector_of(story, form.text("injector", longest=80))
    where = form.text("where", needed=_("where does it lie now?"), longest=200)
    form.check()
    note = shop_of(request).note
    note(form.id, who(request), job, EntryKind.SHELVED, {"where": where}, injector=one.injector)
    done = _("Saved: injector %(number)s lies on the shelf") % {"number": one.cylinder}
    return page.back_to(request, f"/job/{job}", flash=done)


# -- photos --------------------------------------------------------------------------------------


@router.post("/job/{job}/photo")
@takes_uploads()
def add_photo(request: Request, job: str, form: page.Sent) -> Response:
    """Keep photos of a job or of one of its injectors."""
    story = story_of(request, job)
    injector = form.text("injector", longest=80)
    if injector:
        injector_of(story, injector)
    name, note = who(request), form.text("photo_note", longest=400)
    if not form.files.get("photo"):
        form.fault(_("no photo has been chosen"), "photo", _("Choose one, or take one"))
    form.check()
    body: dict[str, Any] = {"note": note} if note else {}
    digests = kept_photos(request, form)
    shop_of(request).note(
        form.id, name, job, EntryKind.PHOTO, body, injector=injector, evidence=digests
    )
    back = f"/job/{job}/injector/{injector}/findings" if injector else f"/job/{job}"
    return page.back_to(request, back, flash=_("Saved: the photo is in the record"))


@router.get("/evidence/{digest}.jpg", response_class=Response, responses=page.gives("image/jpeg"))
def photo(request: Request, digest: str) -> Response:
    """Return a photo; nothing else that is kept as evidence."""
    if len(digest) != 64 or not set(digest) <= set("0123456789abcdef"):
        raise HTTPException(404)
    try:
        content = shop_of(request).evidence.read(digest)
    except EvidenceFault:
        raise HTTPException(404) from None
    if not content.startswith(JPEG):
        raise HTTPException(404)
    # Named by its digest: it can never be another, so it need not be asked for again.
    headers = {"Cache-Control": "private, max-age=31536000, immutable"}
    return Response(content, media_type="image/jpeg", headers=headers)
