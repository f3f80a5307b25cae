"""Book a set in: what came, what the engine does wrong, what was counted, photos, the sheet.

The particulars of a booking can be put right later; sheet and photos have pages of their own.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import JSONResponse, Response

from nozzlewright.bench import Condition
from nozzlewright.edge.web import page
from nozzlewright.edge.web.at_job import kept_photos, shop_of, story_of, who
from nozzlewright.edge.web.guard import MIB, takes_uploads
from nozzlewright.edge.web.show import localised
from nozzlewright.edge.web.texts import N_, _
from nozzlewright.errors import EvidenceFault

router = APIRouter()

MOST_CYLINDERS = 24
PIECES = (N_("injectors"), N_("seat washers"), N_("leak-off unions"), N_("caps"))
"""What is nearly always counted; the other rows are free."""
PIECE_ROWS, MOST_PIECES = 10, 40
MOST_PHOTOS = 12
PHOTOS_LIMIT = 60 * MIB
LONGEST_NAME = 200
MOST_HOURS = 1_000_000.0
JPEG = b"\xff\xd8\xff"
"""How every JPEG begins (ITU-T T.81, annex B: SOI, then a marker)."""
BOOKED_COOKIE = "booked"


@router.get("/book-in")
def ask(request: Request, sheet: str = "") -> Response:
    """Ask for what came."""
    if way := page.needs_person(request):
        return way
    return page.render(
        request,
        "book_in.html",
        cylinders=range(1, MOST_CYLINDERS + 1),
        was=defaultdict(str),
        pieces=_rows({}),
        sheets=shop_of(request).sheets(),
        sheet=sheet,
        booked=request.cookies.get(BOOKED_COOKIE, ""),
    )


def _rows(counted: Mapping[str, Any]) -> list[tuple[int, str, str]]:
    """Return the rows of pieces: number, name and count."""
    rows = [(str(name), str(count)) for name, count in counted.items()]
    rows += [(_(name), "") for name in PIECES if _(name) not in counted]
    rows += [("", "")] * (PIECE_ROWS - len(rows))
    return [(row, name, count) for row, (name, count) in enumerate(rows, 1)]


@router.post("/book-in")
@takes_uploads(PHOTOS_LIMIT)
def book_in(request: Request, form: page.Sent) -> Response:
    """Book the set in."""
    shop, name = shop_of(request), who(request)
    photos = _photos(request, form)
    booked = {
        **_particulars(form),
        "sheet": form.choice("sheet", [one.digest for one in shop.sheets()], default=""),
    }
    form.check()
    again = shop.records.entry(form.id) is not None
    job = shop.book_in(form.id, name, booked, photos)
    done = (
        _("Job %(number)s was booked in already: nothing was written a second time")
        if again
        else _("Booked in as job %(number)s")
    )
    response = page.back_to(request, f"/job/{job}", flash=done % {"number": job})
    # Tells the page that the draft kept on this device has become a job.
    response.set_cookie(
        BOOKED_COOKIE, form.id, max_age=7 * 24 * 3600, httponly=True, samesite="lax"
    )
    return response


@router.post(
    "/book-in/photos", response_class=JSONResponse, responses=page.gives("application/json")
)
@takes_uploads(PHOTOS_LIMIT)
def keep_photos(request: Request, form: page.Sent) -> Response:
    """Keep photos as soon as they are taken: the draft of a booking then has them."""
    who(request)
    photos = _photos(request, form)
    form.check()
    return page.data({"photos": photos})


def _particulars(form: page.Form) -> dict[str, Any]:
    """Return what was typed of engine, customer, set, symptoms and pieces."""
    cylinders = form.choice("cylinders", map(str, range(1, MOST_CYLINDERS + 1)))
    count = int(cylinders or 0)
    engine = form.text("engine", needed=_("the engine is not named"), longest=LONGEST_NAME)
    return {
        "title": form.text("title", longest=LONGEST_NAME),
        "engine": engine,
        "customer": form.text("customer", longest=LONGEST_NAME),
        "cylinders": count,
        "condition": form.choice("condition", [one.value for one in Condition]),
        "symptoms": _symptoms(form, count),
        "hours": _hours(form),
        "markings": form.text("markings"),
        "pieces": _pieces(form),
        "note": form.text("note"),
    }


def _photos(request: Request, form: page.Form) -> list[str]:
    """Keep the photos; where the form is shown again, they need not be chosen again."""
    kept = [digest for digest in form.values.get("photo_kept", ()) if _is_photo(request, digest)]
    sent = len(form.files.get("photo", ()))
    if len(kept) + sent > MOST_PHOTOS:
        form.fault(
            _("there are more than %(most)s photos") % {"most": MOST_PHOTOS},
            "photo",
            _("Leave some out; more can be added at the bench"),
        )
        return kept
    kept += kept_photos(request, form)
    kept = list(dict.fromkeys(kept))
    form.values = {**form.values, "photo_kept": tuple(kept)}
    return kept


def _is_photo(request: Request, digest: str) -> bool:
    try:
        return shop_of(request).evidence.read(digest).startswith(JPEG)
    except EvidenceFault:
        return False


def _symptoms(form: page.Form, cylinders: int) -> dict[str, str]:
    said = {str(n): form.text(f"symptom_{n}", longest=400) for n in range(1, cylinders + 1)}
    return {number: text for number, text in said.items() if text}


def _hours(form: page.Form) -> float | int | None:
    if not form.text("hours"):
        return None
    hours = form.number("hours", highest=MOST_HOURS)
    return int(hours) if hours.is_integer() else hours


def _pieces(form: page.Form) -> dict[str, int]:
    """Return what was counted; a row without a count was not counted."""
    counted: dict[str, int] = {}
    for row in range(1, MOST_PIECES + 1):
        what = form.text(f"piece_{row}", longest=80)
        number = form.text(f"count_{row}", longest=6)
        if not number:
            continue
        if not what:
            form.fault(
                _("it is not said what was counted"), f"piece_{row}", _("Write what the pieces are")
            )
        elif not (number.isascii() and number.isdigit()):
            form.fault(
                _("“%(text)s” is not a whole number") % {"text": number},
                f"count_{row}",
                _("Count the pieces and write their number"),
            )
        else:
            counted[what] = counted.get(what, 0) + int(number)
    return counted


# -- put right -----------------------------------------------------------------------------------


@router.get("/job/{job}/particulars")
def ask_again(request: Request, job: str) -> Response:
    """Show the particulars as they were booked in, to be put right."""
    if way := page.needs_person(request):
        return way
    story = story_of(request, job)
    booked = story.booked
    hours = booked.get("hours")
    was = {
        **{
            name: str(booked.get(name) or "") for name in ("engine", "customer", "markings", "note")
        },
        "title": "" if booked["title"] == booked["engine"] else str(booked["title"]),
        "cylinders": str(booked["cylinders"]),
        "condition": str(booked["condition"]),
        "hours": "" if hours in (None, "") else localised(f"{hours:.15g}"),
        **{f"symptom_{cylinder}": text for cylinder, text in booked["symptoms"].items()},
    }
    return page.render(
        request,
        "particulars.html",
        story=story,
        cylinders=range(1, MOST_CYLINDERS + 1),
        was=defaultdict(str, was),
        pieces=_rows(booked["pieces"]),
    )


@router.post("/job/{job}/particulars")
def put_right(request: Request, job: str, form: page.Sent) -> Response:
    """Put the particulars of a booking right."""
    story_of(request, job)
    name = who(request)
    booked = _particulars(form)
    why = form.text("why", needed=_("why is it put right?"), longest=400)
    form.check()
    shop_of(request).put_booking_right(form.id, name, job, booked, why)
    return page.back_to(request, f"/job/{job}", flash=_("Saved: it is put right"))
