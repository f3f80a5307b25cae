"""Hand over: what is still missing, packing check, report, fitting sheet, labels."""

from __future__ import annotations

import ipaddress
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from types import MappingProxyType
from typing import Literal

import segno
from fastapi import APIRouter, Request
from markupsafe import Markup
from starlette.responses import Response

from nozzlewright.bench import StepKind
from nozzlewright.edge.paper import Voice
from nozzlewright.edge.web import page, states
from nozzlewright.edge.web.at_job import shop_of, story_of, who
from nozzlewright.edge.web.own_words import in_words, voice
from nozzlewright.edge.web.screens.bench import marks_of
from nozzlewright.edge.web.texts import N_, _
from nozzlewright.edge.wiring.papers import fitting_of, html_of, pdf_of
from nozzlewright.records import AS_FOUND, AS_LEFT, EntryKind, InjectorStory, JobStory
from nozzlewright.report import value_text
from nozzlewright.workflow import Workshop

router = APIRouter()

Paper = Literal["a4", "us-letter"]

PACKED: Mapping[str, str] = MappingProxyType(
    {
        "caps": N_("both ends of every injector capped, tips oiled"),
        "bags": N_("each in its own bag or grease-proof paper"),
        "tags": N_("cylinder tags on, as on the labels"),
        "washers": N_("one new seat washer with each, the old ones out"),
        "old parts": N_("old parts beside them"),
        "papers": N_("report and fitting sheet in the box"),
    }
)
"""What is looked at before a set leaves; common practice, no source."""


@dataclass(frozen=True)
class Missing:
    """What still stands between the set and its hand-over."""

    words: str
    path: str


@dataclass(frozen=True)
class Label:
    """One injector's label."""

    cylinder: int
    serial: str
    pressure: str
    outcome: str
    code: Markup
    """QR code (ISO/IEC 18004) that opens the injector's record."""
    path: str
    """Where the code leads, on this server."""


def missing(shop: Workshop, story: JobStory) -> list[Missing]:
    """Return what the hand-over waits for, in the order in which it is best done."""
    found = []
    bench = f"/job/{story.job}"
    if not story.sheet:
        found.append(Missing(_("No setting sheet is chosen"), f"/sheets?job={story.job}"))
    for cylinder in story.untagged():
        words = _("Cylinder %(number)s has no injector") % {"number": cylinder}
        found.append(Missing(words, f"{bench}/tag?cylinder={cylinder}"))
    for one in story.in_order():
        path = f"{bench}/injector/{one.injector}"
        number = {"number": one.cylinder}
        if story.in_hand == one.injector:
            found.append(Missing(_("Injector %(number)s is open on the bench") % number, path))
        elif one.apart and not one.pair_condemned:
            found.append(Missing(_("Injector %(number)s lies apart") % number, path))
        if one.verdict is None:
            found.append(Missing(_("Injector %(number)s has no verdict") % number, path))
    second = any(step.kind is StepKind.SECOND for step in shop.steps(story))
    checked = any(one.agreed() for one in story.injectors.values())
    if second and not checked and story.injectors:
        first = story.in_order()[0]
        path = f"{bench}/injector/{first.injector}/step/second"
        found.append(Missing(_("No second person has checked an injector"), path))
    return found


@router.get("/job/{job}/hand-over")
def show(request: Request, job: str) -> Response:
    """Show what is missing, the papers and the packing check."""
    shop, story = shop_of(request), story_of(request, job)
    return page.render(
        request,
        "hand_over.html",
        story=story,
        marks=marks_of(story, shop.steps(story)),
        missing=missing(shop, story),
        packed=[(key, _(words)) for key, words in PACKED.items()],
        packed_words={key: _(words) for key, words in PACKED.items()},
        can_report=bool(story.sheet and story.injectors),
    )


@router.post("/job/{job}/hand-over")
def hand_over(request: Request, job: str, form: page.Sent) -> Response:
    """Hand the set over."""
    shop = shop_of(request)
    story_of(request, job)
    person = who(request)
    to = form.text("taken_by", needed=_("nobody is named who takes the set"), longest=200)
    packed = form.chosen("packed", PACKED)
    note = form.text("note")
    if len(packed) < len(PACKED) and not note:
        form.fault(
            _("not everything is packed, and no note says why"),
            "packed",
            _("Tick what is done, or write down what is left out"),
        )
    form.check()
    body = {"to": to, "packed": {key: key in packed for key in PACKED}, "note": note}
    shop.note(form.id, person, job, EntryKind.HANDED_OVER, body)
    return page.back_to(request, f"/job/{job}/hand-over", flash=_("Saved: handed over"))


@router.post("/job/{job}/hand-over/take-back")
def take_back(request: Request, job: str, form: page.Sent) -> Response:
    """Take the hand-over back: the set is in the workshop again."""
    shop, story = shop_of(request), story_of(request, job)
    person = who(request)
    why = form.text("why", needed=_("no reason is given"))
    form.check()
    if story.handed_over is not None:
        shop.withdraw(form.id, person, job, story.handed_over.id, why)
    return page.back_to(request, f"/job/{job}/hand-over", flash=_("Saved: taken back"))


# -- papers --------------------------------------------------------------------------------------


@router.get(
    "/job/{job}/report.pdf", response_class=Response, responses=page.gives("application/pdf")
)
def report_pdf(request: Request, job: str, paper: Paper = "a4") -> Response:
    """Return the report as PDF; made once for each state of the job."""
    shop, story = shop_of(request), story_of(request, job)
    content = _kept_pdf(shop, story.job, story.last_number, shop.this_day(), paper, voice())
    headers = {"Content-Disposition": f'inline; filename="report-{story.job}.pdf"'}
    return Response(content, media_type="application/pdf", headers=headers)


@router.get("/job/{job}/report.html")
def report_html(request: Request, job: str) -> Response:
    """Return the report as one file that needs nothing else."""
    shop, story = shop_of(request), story_of(request, job)
    headers = {"Content-Disposition": f'attachment; filename="report-{story.job}.html"'}
    return Response(html_of(shop, story, voice()), media_type="text/html", headers=headers)


@router.get("/job/{job}/fitting")
def fitting(request: Request, job: str) -> Response:
    """Show the fitting sheet for whoever fits the set."""
    shop, story = shop_of(request), story_of(request, job)
    return page.render(
        request,
        "fitting.html",
        story=story,
        fitting=fitting_of(shop, story),
        in_words=in_words,
    )


@router.get("/job/{job}/labels")
def labels(request: Request, job: str) -> Response:
    """Show the labels, each with a code that opens the injector's record."""
    shop, story = shop_of(request), story_of(request, job)
    made = []
    for one in story.in_order():
        path = f"/injector/{one.injector}"
        verdict = one.verdict
        made.append(
            Label(
                cylinder=one.cylinder,
                serial=one.serial,
                pressure=_opening(shop, one),
                outcome=states.outcome(str(verdict.body["outcome"]))[1] if verdict else "",
                code=_code(str(request.base_url.replace(path=path, query=""))),
                path=path,
            )
        )
    return page.render(
        request,
        "labels.html",
        story=story,
        labels=made,
        at=shop.clock(),
        here_alone=_is_here_alone(request.url.hostname or ""),
    )


def _is_here_alone(host: str) -> bool:
    """Tell whether an address leads to this program from this machine alone.

    >>> _is_here_alone("127.0.0.1"), _is_here_alone("localhost"), _is_here_alone("bench.local")
    (True, True, False)
    """
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return host == "localhost" or host.endswith(".localhost")


def _opening(shop: Workshop, one: InjectorStory) -> str:
    """Return the opening pressure as the report says it; empty where nothing was tested."""
    sitting = shop.sitting(one, AS_LEFT) or shop.sitting(one, AS_FOUND)
    if sitting is None or sitting.gauge is None:
        return ""
    return value_text(sitting.gauge.opening_pressure).sentence


MASK = 2
"""Pattern laid over the code. Trying all eight takes four times as long as the code itself; readers
take any (ISO/IEC 18004). Over addresses of injectors this one has the lowest mean penalty, 5 %
above that of the best for each."""


@lru_cache(maxsize=256)
def _code(address: str) -> Markup:
    """Return an address as a QR code, drawn in the colour of the text around it."""
    code = segno.make(address, error="m", micro=False, mask=MASK)
    drawn = code.svg_inline(omitsize=True, svgclass="qr", lineclass=None, border=2)
    # Made by the library from numbers alone: no text of anybody's is in it.
    return Markup(drawn)  # noqa: S704


@lru_cache(maxsize=8)
def _kept_pdf(
    shop: Workshop, job: str, entry: int, day: date, paper: Paper, reader: Voice
) -> bytes:
    """Return the report of a job as it stood at an entry, on a day, in a reader's language."""
    del entry, day  # they only say which report it is
    return pdf_of(shop, shop.story(job), paper, reader)
