"""The story of a job: every entry in order, in plain words, with what put it right."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter, Request
from starlette.exceptions import HTTPException
from starlette.responses import Response

from nozzlewright.edge.web import entry_words, page
from nozzlewright.edge.web.at_job import shop_of, story_of, who
from nozzlewright.edge.web.findings_shown import SEVERITIES
from nozzlewright.edge.web.screens.bench import THICKEST_MM
from nozzlewright.edge.web.screens.step import (
    CAN_BE_TAKEN_BACK,
    GRADES,
    HIGHEST_NM,
    MOST_TURNS,
    withdraw,
)
from nozzlewright.edge.web.show import localised
from nozzlewright.edge.web.texts import N_, _
from nozzlewright.records import Entry, EntryKind, JobStory

router = APIRouter()

ON_A_PAGE = 100
PHOTO_KINDS = frozenset({EntryKind.PHOTO, EntryKind.FINDING})
"""Entries all of whose evidence are photos."""


@dataclass(frozen=True)
class Line:
    """One entry as the story shows it."""

    entry: Entry
    kind: str
    words: str
    cylinder: int | None
    state: str
    """``stands``, ``put right`` or ``taken back``."""
    by: Entry | None
    """The entry that put it right or took it back."""
    by_words: str
    aim: Entry | None
    """The entry that this one puts right or takes back."""
    can_go: bool
    can_change: bool
    photos: tuple[str, ...]


@router.get("/job/{job}/story")
def show(request: Request, job: str, part: int = 1, whole: bool = False) -> Response:
    """Show the story, a hundred entries on a page; all of it for printing."""
    story = story_of(request, job)
    lines = lines_of(story)
    parts = max(1, -(-len(lines) // ON_A_PAGE))
    part = min(max(part, 1), parts)
    first = 0 if whole else (part - 1) * ON_A_PAGE
    return page.render(
        request,
        "story.html",
        story=story,
        lines=lines if whole else lines[first : first + ON_A_PAGE],
        count=len(lines),
        part=part,
        parts=parts,
        whole=whole,
        now=shop_of(request).clock(),
    )


def lines_of(story: JobStory) -> list[Line]:
    """Return every entry of a story, in order."""
    by_id = {entry.id: entry for entry in story.entries}
    cylinders = _cylinders(story)
    by: dict[str, Entry] = {}
    for entry in story.entries:
        if entry.draft.corrects:
            by[entry.draft.corrects] = entry
    return [_line(story, entry, by_id, by, cylinders) for entry in story.entries]


def _cylinders(story: JobStory) -> Mapping[str, int]:
    everyone = {**story.shelved, **story.injectors}
    return {injector: one.cylinder for injector, one in everyone.items()}


def _line(
    story: JobStory,
    entry: Entry,
    by_id: Mapping[str, Entry],
    by: Mapping[str, Entry],
    cylinders: Mapping[str, int],
) -> Line:
    standing = story.standing.get(entry.id)
    correction, aim = by.get(entry.id), by_id.get(entry.draft.corrects)
    gone = entry.id in story.withdrawn or (
        correction is not None and correction.kind is EntryKind.WITHDRAWN
    )
    open_ = story.handed_over is None or entry.kind in {
        EntryKind.HANDED_OVER,
        EntryKind.RUNNING_CHECK,
    }
    may = standing is not None and entry.kind in CAN_BE_TAKEN_BACK and open_
    state = "taken back" if gone else "put right" if correction is not None else "stands"
    return Line(
        entry=entry,
        kind=entry_words.kind_words(entry.kind),
        words=entry_words.words(entry.kind, entry.body),
        cylinder=cylinders.get(entry.draft.injector),
        state=state,
        by=correction,
        by_words=entry_words.words(correction.kind, correction.body) if correction else "",
        aim=aim,
        can_go=may,
        can_change=may and bool(_fields(entry.kind, entry.body)),
        photos=tuple(entry.draft.evidence) if entry.kind in PHOTO_KINDS else (),
    )


# -- put right -----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Field:
    """One particular of an entry that can be put right."""

    name: str
    label: str
    kind: str = "text"
    """``text``, ``number``, ``choice`` or ``yes-no``."""
    options: tuple[tuple[str, str], ...] = ()
    unit: str = ""
    highest: float = 0.0
    needed: bool = False


def _mm(name: str, label: str) -> Field:
    return Field(name, label, "number", unit="mm", highest=THICKEST_MM)


def _grades(name: str, label: str) -> Field:
    return Field(
        name, label, "choice", tuple((grade, entry_words.GRADES[grade]) for grade in GRADES[name])
    )


_NOTE = Field("note", N_("Note"))
_FIELDS: Mapping[EntryKind, tuple[Field, ...]] = {
    EntryKind.TAGGED: (
        Field("cylinder", N_("Cylinder"), "number", highest=24, needed=True),
        Field("serial", N_("Serial number")),
        Field("pair", N_("Tag of the pair"), needed=True),
        Field("markings", N_("Markings")),
        _mm("shim_mm", N_("Shim")),
    ),
    EntryKind.PHOTO: (_NOTE,),
    EntryKind.STEP_DONE: (_NOTE,),
    EntryKind.SEEN: (
        _grades("spray", N_("Spray")),
        _grades("chatter", N_("Chatter")),
        _grades("seat", N_("Tip during the hold")),
        Field("needle_slide", N_("Needle slides freely"), "yes-no"),
        Field("no_result", N_("No result, because")),
        Field("spray_note", N_("Note on the spray")),
        _NOTE,
    ),
    EntryKind.STRIPPED: (_mm("shim_mm", N_("Shim as found")), _NOTE),
    EntryKind.FINDING: (
        Field("seen", N_("What is seen"), needed=True),
        Field("length_mm", N_("Length as measured"), "number", unit="mm", highest=500.0),
        Field("length_off_mm", N_("Sure to within ±"), "number", unit="mm", highest=1.0),
        Field("load_n", N_("Under a load of"), "number", unit="N", highest=20_000.0),
        Field(
            "severity",
            N_("What it asks for"),
            "choice",
            tuple((key, word) for key, (word, _means) in SEVERITIES.items()),
            needed=True,
        ),
        _NOTE,
    ),
    EntryKind.ASSEMBLED: (
        Field("pair", N_("Tag of the pair"), needed=True),
        _mm("shim_mm", N_("Shim fitted")),
        _NOTE,
    ),
    EntryKind.TORQUED: (
        Field("torque_nm", N_("Torque"), "number", unit="Nm", highest=HIGHEST_NM, needed=True),
        Field("wrench", N_("Torque wrench")),
        _NOTE,
    ),
    EntryKind.SETTING_CHANGED: (
        _mm("shim_from_mm", N_("Shim before")),
        _mm("shim_to_mm", N_("New shim")),
        Field(
            "screw_turns",
            N_("Turns of the screw (outwards with a minus)"),
            "number",
            highest=MOST_TURNS,
        ),
        _NOTE,
    ),
    EntryKind.SHELVED: (Field("where", N_("Where it lies"), needed=True),),
    EntryKind.SECOND_PERSON: (Field("agrees", N_("Agrees"), "yes-no"), _NOTE),
}
"""What can be put right in an entry; the others are taken back and made anew."""
_ONLY_IF_THERE = frozenset({EntryKind.SEEN, EntryKind.SETTING_CHANGED})
"""Entries of which only what they say already can be put right, beside the note."""


_OF_A_SPRING = frozenset({"length_mm", "length_off_mm", "load_n"})


def _fields(kind: EntryKind, body: Mapping[str, Any]) -> tuple[Field, ...]:
    fields = tuple(
        each
        for each in _FIELDS.get(kind, ())
        if each.name not in _OF_A_SPRING or "length_mm" in body
    )
    if kind in _ONLY_IF_THERE:
        return tuple(each for each in fields if each.name == "note" or each.name in body)
    return fields


@router.get("/job/{job}/story/{entry}")
def show_entry(request: Request, job: str, entry: str) -> Response:
    """Show one entry, with the form that puts it right or takes it back."""
    away = page.needs_person(request)
    if away is not None:
        return away
    story = story_of(request, job)
    line = next((each for each in lines_of(story) if each.entry.id == entry), None)
    if line is None:
        raise HTTPException(404)
    standing = story.standing.get(entry)
    body = standing.body if standing else line.entry.body
    fields = _fields(line.entry.kind, body) if line.can_change else ()
    return page.render(
        request,
        "story_entry.html",
        story=story,
        line=line,
        words=entry_words.words(line.entry.kind, body),
        fields=[(field, _typed(body.get(field.name))) for field in fields],
    )


def _typed(value: Any) -> str:
    """Return a value as it would be typed or chosen."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return localised(f"{value:g}")
    return "" if value is None else str(value)


@router.post("/job/{job}/story/{entry}/put-right")
def put_right(request: Request, job: str, entry: str, form: page.Sent) -> Response:
    """Put an entry right: a new one takes its place, and names it."""
    story = story_of(request, job)
    standing = story.standing.get(entry)
    shop, name = shop_of(request), who(request)
    known = shop.records.entry(form.id)
    if standing is None and known is None:
        raise HTTPException(404)
    why = form.text("why", needed=_("why is it put right?"), longest=400)
    form.check()
    if standing is not None and known is None:
        body = dict(standing.body)
        for field in _fields(standing.kind, body):
            read = _READ[field.kind](form, field)
            if read is None:
                body.pop(field.name, None)
            else:
                body[field.name] = read
        form.check()
        body["why"] = why
        if standing.kind is EntryKind.SEEN:
            shop.see(form.id, name, job, standing.injector, body, corrects=entry)
        else:
            shop.note(
                form.id,
                name,
                job,
                standing.kind,
                body,
                injector=standing.injector,
                evidence=standing.evidence,
                corrects=entry,
            )
    return page.back_to(request, _place(story, entry), flash=_("Saved: it is put right"))


def _read_number(form: page.Form, field: Field) -> float | int | None:
    if not form.text(field.name):
        if field.needed:
            form.fault(_("nothing has been entered"), field.name, _("Fill it in"))
        return None
    lowest = -field.highest if field.name == "screw_turns" else 0.0
    value = form.number(field.name, lowest=lowest, highest=field.highest)
    return int(value) if field.name == "cylinder" else value


def _read_text(form: page.Form, field: Field) -> str | None:
    return form.text(field.name, needed=_("it is empty") if field.needed else "") or None


def _read_choice(form: page.Form, field: Field) -> str | None:
    return form.choice(field.name, [value for value, _words in field.options])


def _read_yes_no(form: page.Form, field: Field) -> bool:
    return form.choice(field.name, ("yes", "no")) == "yes"


_READ: Mapping[str, Callable[[page.Form, Field], Any]] = {
    "number": _read_number,
    "text": _read_text,
    "choice": _read_choice,
    "yes-no": _read_yes_no,
}


@router.post("/job/{job}/story/{entry}/take-back")
def take_back(request: Request, job: str, entry: str, form: page.Sent) -> Response:
    """Take an entry back: it stays in the record, and no longer counts."""
    story = story_of(request, job)
    why = form.text("why_back", needed=_("why is it taken back?"), longest=400)
    form.check()
    withdraw(request, story, form, entry, why)
    return page.back_to(request, _place(story, entry), flash=_("Saved: it is taken back"))


def _place(story: JobStory, entry_id: str) -> str:
    """Return the address of an entry in the story."""
    ids = [entry.id for entry in story.entries]
    part = ids.index(entry_id) // ON_A_PAGE + 1 if entry_id in ids else 1
    return f"/job/{story.job}/story?part={part}#entry-{entry_id}"
