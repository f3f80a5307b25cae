"""Settings of this screen: who is at it, language, unit of pressure, light or dark, pedal."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from nozzlewright.edge.web import page
from nozzlewright.edge.web.here import (
    LANGUAGES,
    LONGEST_NAME,
    PEDALS,
    PRESSURE_UNITS,
    THEMES,
    Here,
)
from nozzlewright.edge.web.texts import HERE, N_, _
from nozzlewright.report.wording import printable

router = APIRouter()

THEME_WORDS = {
    "device": N_("as the device"),
    "light": N_("always light"),
    "dark": N_("always dark"),
}
PEDAL_WORDS = {
    "Space": N_("space bar"),
    "PageDown": N_("page down"),
    "ArrowRight": N_("arrow right"),
    "KeyB": N_("letter B"),
    "F8": N_("F8"),
}


@router.get("/settings")
def show(request: Request, then: str = "/") -> Response:
    """Show the settings of this screen; `then` is the page to go on to."""
    return page.render(
        request,
        "settings.html",
        people=_people(request),
        languages=LANGUAGES,
        units=PRESSURE_UNITS,
        themes={name: _(words) for name, words in THEME_WORDS.items()},
        pedals={code: _(words) for code, words in PEDAL_WORDS.items()},
        then=then if page.is_local(then) else "/",
        needed=_is_needed(request, then),
    )


def _is_needed(request: Request, then: str) -> bool:
    """Tell whether the page to go on to was asked for by somebody who has not said who they are."""
    return not page.here(request).who and then not in {"", "/", "/settings"}


@router.post("/settings")
def change(request: Request, form: page.Sent) -> Response:
    """Keep the settings on this device."""
    name = printable(form.text("new_name", longest=LONGEST_NAME))
    known = form.choice("who", _people(request), default="")
    new = Here(
        who=name or known,
        language=form.choice("language", LANGUAGES, default="en"),
        pressure_unit=form.choice("pressure_unit", PRESSURE_UNITS, default="bar"),
        theme=form.choice("theme", THEMES, default="device"),
        pedal=form.choice("pedal", PEDALS, default="Space"),
    )
    if not new.who and form.text("needed"):
        form.fault(
            _("it is not said who is at the bench"),
            "who" if _people(request) else "new_name",
            _("Choose a name, or type one"),
        )
    form.check()
    if name and name not in _people(request):
        request.app.state.workshop.add_person(form.id, new.who, name)
    HERE.set(new)
    response = page.back_to(request, form.text("then") or "/settings", flash=_("Saved"))
    page.remember(response, request, new)
    return response


def _people(request: Request) -> tuple[str, ...]:
    """Return whom the workshop knows, and who is here, known or not."""
    known, here = page.people(request), page.here(request).who
    return known if not here or here in known else (*known, here)
