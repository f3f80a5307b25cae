"""What an inspection finds: tap the part on the drawing, choose what is seen, take a photo."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from nozzlewright.bench import SettingSheet, Severity
from nozzlewright.edge.web import entry_words, page
from nozzlewright.edge.web.at_job import injector_of, kept_photos, shop_of, story_of, who
from nozzlewright.edge.web.findings_shown import MEASURED, PARTS, SEVERITIES, SOUND
from nozzlewright.edge.web.guard import takes_uploads
from nozzlewright.edge.web.screens.bench import marks_of, open_other
from nozzlewright.edge.web.screens.sheets import spring_words
from nozzlewright.edge.web.screens.step import renewals, saved_of
from nozzlewright.edge.web.texts import _
from nozzlewright.judging.injector import is_of_the_pair
from nozzlewright.records import EntryKind, InjectorStory, Standing

router = APIRouter()

SHORTEST_MM, LONGEST_MM, HARDEST_N = 2.0, 500.0, 20_000.0
"""Of springs of holders: shortest and longest [mm], and largest test load [N]."""


@router.get("/job/{job}/injector/{injector}/findings")
def show(request: Request, job: str, injector: str, part: str = "", saved: str = "") -> Response:
    """Show the drawing, what was found so far, and the form for the part that was tapped."""
    away = page.needs_person(request)
    if away is not None:
        return away
    story = story_of(request, job)
    one = injector_of(story, injector)
    shop = shop_of(request)
    steps = shop.steps(story)
    chosen = PARTS.get(part)
    return page.render(
        request,
        "findings.html",
        story=story,
        one=one,
        marks=marks_of(story, steps),
        other=open_other(story, one.injector),
        in_hand=story.in_hand == one.injector and story.handed_over is None,
        parts=[(key, _(each.name), _count(one, each.name)) for key, each in PARTS.items()],
        part=part if chosen else "",
        name=_(chosen.name) if chosen else "",
        spring_sheet=_spring_of_sheet(shop.sheet(story)) if part == "spring" else "",
        choices=[
            (seen, _(seen), "" if seen == SOUND else _(SEVERITIES[severity][0]))
            for seen, severity in (chosen.findings if chosen else ())
        ],
        severities=[(key, _(word), _(means)) for key, (word, means) in SEVERITIES.items()],
        found=[(each, *_told(each)) for each in one.findings],
        to_renew=[_(each) for each in renewals(one)],
        photos=[digest for each in one.photos for digest in each.evidence],
        saved=saved_of(story, saved),
        inspect_done="inspect" in one.done,
        has_inspect=any(step.key == "inspect" for step in steps),
    )


def _spring_of_sheet(sheet: SettingSheet | None) -> str:
    """Return what the sheet says of the spring's lengths; empty where it says nothing."""
    spring = sheet.spring if sheet is not None else None
    if spring is None:
        return ""
    return "; ".join(spring_words(spring))


def _count(one: InjectorStory, part: str) -> int:
    return sum(finding.body["part"] == part for finding in one.findings)


def _told(finding: Standing) -> tuple[str, Sequence[str]]:
    return entry_words.words(finding.kind, finding.body), finding.evidence


def _spring_length(form: page.Form) -> dict[str, Any]:
    """Return the length of a spring that was measured, as a finding keeps it; empty without one.

    Half of the 95 % interval of the reading may be left out; so may the load of a free length.
    """
    if not form.text("length_mm", longest=20):
        return {}
    noted: dict[str, Any] = {
        "length_mm": form.number("length_mm", lowest=SHORTEST_MM, highest=LONGEST_MM)
    }
    if form.text("length_off_mm", longest=20):
        noted["length_off_mm"] = form.number("length_off_mm", lowest=0.001, highest=1.0)
    if form.text("load_n", longest=20):
        noted["load_n"] = form.number("load_n", highest=HARDEST_N)
    if form.text("goes_in", longest=10) == "yes":
        noted["goes_in"] = True
    return noted


@router.post("/job/{job}/injector/{injector}/findings")
@takes_uploads()
def find(request: Request, job: str, injector: str, form: page.Sent) -> Response:
    """Write a finding down."""
    story = story_of(request, job)
    injector_of(story, injector)
    name = who(request)
    part = PARTS.get(form.choice("part", PARTS))
    usual = dict(part.findings) if part else {}
    own = form.text("own_words", longest=200)
    measured = part is PARTS["spring"] and bool(form.text("length_mm", longest=20))
    seen = own or form.choice("seen", usual, default=MEASURED if measured else None)
    length = _spring_length(form) if part is PARTS["spring"] else {}
    severity = form.choice("severity", SEVERITIES, default=usual.get(seen, "") if not own else None)
    note = form.text("note", longest=1000)
    form.check()
    assert part is not None  # noqa: S101  (form.check has refused it)
    body: dict[str, Any] = {"part": part.name, "seen": seen, "severity": severity}
    if severity == Severity.RENEW.value and is_of_the_pair(part.name):
        body["renew_pair"] = True
    if seen == MEASURED and not measured:
        form.fault(_("the length has not been entered"), "length_mm", _("Measure it, and type it"))
        form.check()
    if note:
        body["note"] = note
    body |= length
    entry = shop_of(request).note(
        form.id,
        name,
        job,
        EntryKind.FINDING,
        body,
        injector=injector,
        evidence=kept_photos(request, form),
    )
    return page.back_to(request, f"/job/{job}/injector/{injector}/findings?saved={entry.id}")
