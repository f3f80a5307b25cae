"""What every screen uses: render a page, read a form, go back, say that it is done.

Pages are plain forms answered by 303 (docs/decisions/0010-plain-forms.md). A fault in what was
sent shows the same page again with everything that was typed, and the fault on top.
"""

from __future__ import annotations

import json
import re
import uuid
from collections.abc import AsyncIterator, Callable, Iterable, Mapping
from contextvars import ContextVar
from dataclasses import dataclass, field
from datetime import tzinfo
from functools import cache, partial
from html import unescape
from pathlib import Path
from typing import Annotated, Any
from urllib.parse import quote, urlsplit

from fastapi import Depends, FastAPI, Request
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup, escape
from starlette.datastructures import UploadFile
from starlette.responses import HTMLResponse, RedirectResponse, Response

from nozzlewright.edge.web import here as here_cookie
from nozzlewright.edge.web import show, texts
from nozzlewright.edge.web.guard import CSRF_FIELD, csrf_token
from nozzlewright.edge.web.here import Here
from nozzlewright.edge.web.own_words import said_here
from nozzlewright.edge.web.signed import Signer
from nozzlewright.edge.web.texts import _
from nozzlewright.errors import Fault, InputFault

WEB = Path(__file__).parent
STATIC = WEB / "static"

ID_FIELD = "form_id"
PAGE_FIELD = "form_page"
FLASH_COOKIE = "flash"
LONGEST_TEXT = 2000
"""Signs that a field may hold, where its screen says nothing else."""


# -- who is here ---------------------------------------------------------------------------------


def here(_request: Request) -> Here:
    """Return who is at this screen and how they read it."""
    return texts.HERE.get()


def needs_person(request: Request) -> RedirectResponse | None:
    """Return the way to Settings where nobody has said who is here; None where somebody has."""
    if here(request).who:
        return None
    path = request.url.path + (f"?{request.url.query}" if request.url.query else "")
    return RedirectResponse(f"/settings?then={quote(path, safe='/')}#who", 303)


def people(request: Request) -> tuple[str, ...]:
    """Return the names of the people whom the workshop knows."""
    return tuple(request.app.state.workshop.people())


def remember(response: Response, request: Request, new: Here) -> None:
    """Send the cookie that says who is here from now on."""
    signer: Signer = request.app.state.signer
    response.set_cookie(
        here_cookie.COOKIE,
        here_cookie.to_cookie(new, signer),
        max_age=here_cookie.YEAR_S,
        httponly=True,
        samesite="lax",
    )


# -- what was sent -------------------------------------------------------------------------------


@dataclass
class Form:
    """A form that was sent. Faults gather; :meth:`check` raises them together."""

    values: Mapping[str, tuple[str, ...]]
    files: Mapping[str, tuple[UploadFile, ...]]
    unit: str
    faults: list[Fault] = field(default_factory=list)

    @property
    def id(self) -> str:
        """The id that the page made for this form: that of the entry it becomes.

        Raises
        ------
        InputFault
            If it is missing or no UUID.
        """
        try:
            return str(uuid.UUID(self._first(ID_FIELD)))
        except ValueError:
            raise InputFault(
                Fault(_("the form has lost its number"), ID_FIELD, _("Send it once more"))
            ) from None

    def id_of(self, part: str) -> str:
        """Return the id of one of several entries that this form becomes."""
        return str(uuid.uuid5(uuid.UUID(self.id), part))

    def text(self, name: str, *, needed: str = "", longest: int = LONGEST_TEXT) -> str:
        """Return a text field, trimmed; `needed` is what to say where it must not be empty."""
        text = self._first(name).replace("\r\n", "\n").strip()
        if needed and not text:
            self.fault(needed, name, _("Fill it in"))
        if len(text) > longest:
            what = _("the text has %(count)s signs") % {"count": len(text)}
            self.fault(what, name, _("Shorten it to %(longest)s") % {"longest": longest})
        return text[:longest]

    def choice(self, name: str, allowed: Iterable[str], *, default: str | None = None) -> str:
        """Return one of the allowed values."""
        value = self._first(name)
        if value in set(allowed):
            return value
        if default is not None and not value:
            return default
        self.fault(_("nothing has been chosen"), name, _("Choose one"))
        return default or ""

    def chosen(self, name: str, allowed: Iterable[str]) -> tuple[str, ...]:
        """Return those of the allowed values that were ticked."""
        known = set(allowed)
        return tuple(value for value in self.values.get(name, ()) if value in known)

    def pressure_pa(self, name: str, *, unit: str | None = None) -> float:
        """Return a pressure, [Pa]; 0 with a fault where there is none."""
        return self._parsed(
            partial(show.parse_pressure, self._first(name), unit or self.unit, name)
        )

    def seconds(self, name: str) -> float:
        """Return a time span, [s]; 0 with a fault where there is none."""
        return self._parsed(partial(show.parse_seconds, self._first(name), name))

    def number(self, name: str, *, lowest: float = 0.0, highest: float) -> float:
        """Return a number within bounds; 0 with a fault where there is none."""
        return self._parsed(
            partial(show.parse_number, self._first(name), name, lowest=lowest, highest=highest)
        )

    def fault(self, what: str, name: str, remedy: str) -> None:
        """Note something that is wrong with a field; it is shown beside the field."""
        self.faults.append(Fault(what, name, remedy))

    def check(self) -> None:
        """Raise what was found wrong, all of it.

        Raises
        ------
        InputFault
            If anything was.
        """
        if self.faults:
            raise InputFault(self.faults)

    def _first(self, name: str) -> str:
        return next(iter(self.values.get(name, ())), "")

    def _parsed(self, parse: Callable[[], float]) -> float:
        try:
            return parse()
        except InputFault as fault:
            self.faults.extend(fault.faults)
            return 0.0


async def _sent(request: Request) -> AsyncIterator[Form]:
    form = await request.form()
    values: dict[str, tuple[str, ...]] = {}
    files: dict[str, tuple[UploadFile, ...]] = {}
    for name, value in form.multi_items():
        if isinstance(value, str):
            values[name] = (*values.get(name, ()), value.replace("\0", ""))
        elif value.filename:
            files[name] = (*files.get(name, ()), value)
    sent = Form(values, files, texts.HERE.get().pressure_unit)
    request.state.form = sent
    try:
        yield sent
    finally:
        await form.close()  # also files that no endpoint has read, and fields left empty


Sent = Annotated[Form, Depends(_sent)]
"""An endpoint's parameter: the form that was sent, read before the endpoint runs in its thread."""


# -- a page shown again --------------------------------------------------------------------------


@dataclass(frozen=True)
class Kept:
    """What was typed into a form that could not be taken, and why it could not."""

    values: Mapping[str, tuple[str, ...]]
    faults: tuple[Fault, ...]
    title: str

    def of(self, name: str) -> tuple[Fault, ...]:
        """Return the faults of one field."""
        return tuple(fault for fault in self.faults if fault.where == name)


_KEPT: ContextVar[Kept | None] = ContextVar("kept", default=None)


def is_field_name(where: str) -> bool:
    """Tell whether a fault stands at a field of a form, not in a file or at a page."""
    return re.fullmatch(r"[a-z][a-z0-9]*(_[a-z0-9]+)*", where) is not None


def kept(name: str, default: Any = "") -> Any:
    """Return what was typed into a field that is shown again, else the default."""
    again = _KEPT.get()
    values = again.values.get(name, ()) if again is not None else ()
    return values[0] if values else default


def kept_all(name: str, default: Iterable[str] = ()) -> tuple[str, ...]:
    """Return all that was ticked under a name in a form that is shown again, else the default."""
    again = _KEPT.get()
    if again is None:
        return tuple(default)
    return again.values.get(name, ())


def faults_of(name: str) -> tuple[Fault, ...]:
    """Return what is wrong with a field of a form that is shown again."""
    again = _KEPT.get()
    return again.of(name) if again else ()


# -- answers -------------------------------------------------------------------------------------


def render(request: Request, template: str, *, status: int = 200, **context: Any) -> HTMLResponse:
    """Return a page.

    Parameters
    ----------
    request : Request
        The request that it answers
    template : str
        Name under ``templates/``
    status : int
        HTTP status
    **context
        What the template needs; ``here``, ``request`` and the filters are there already
    """
    again: Kept | None = getattr(request.state, "kept", None)
    token = _KEPT.set(again)
    try:
        html = (
            _environment(request.app.state.settings.zone)
            .get_template(template)
            .render(
                request=request,
                here=here(request),
                csrf=csrf_token(request),
                flashed=_flashed(request),
                again=again,
                **context,
            )
        )
    finally:
        _KEPT.reset(token)
    response = HTMLResponse(html, status)
    if FLASH_COOKIE in request.cookies:
        response.delete_cookie(FLASH_COOKIE)
    return response


def back_to(request: Request, path: str, *, flash: str = "") -> RedirectResponse:
    """Send the browser to a page with GET (303), with a sentence that says what was done."""
    response = RedirectResponse(path if is_local(path) else "/", 303)
    if flash:
        signer: Signer = request.app.state.signer
        response.set_cookie(
            FLASH_COOKIE,
            signer.seal(FLASH_COOKIE, flash[:300]),
            max_age=60,
            httponly=True,
            samesite="lax",
        )
    return response


def is_local(path: str) -> bool:
    r"""Tell whether an address leads to a page of this machine and nowhere else.

    >>> is_local("/jobs/7?tab=set"), is_local("//else.where/"), is_local("/\\else.where")
    (True, False, False)
    """
    return re.fullmatch(r"/(?![/\\])[^\\\x00-\x20\x7f-\uffff]*", path) is not None


def _flashed(request: Request) -> str:
    signer: Signer = request.app.state.signer
    return signer.unseal(FLASH_COOKIE, request.cookies.get(FLASH_COOKIE, "")) or ""


# -- templates -----------------------------------------------------------------------------------


def environment_of(app: FastAPI) -> Environment:
    """Return the templates as an application shows them."""
    return _environment(app.state.settings.zone)


@cache
def _environment(zone: tzinfo | None) -> Environment:
    environment = Environment(
        loader=FileSystemLoader(WEB / "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        optimized=False,  # what a filter returns depends on who reads
        auto_reload=False,  # installed anew while it serves, pages and program must still agree
        extensions=["jinja2.ext.i18n", "jinja2.ext.do"],
    )
    environment.policies["ext.i18n.trimmed"] = True
    environment.install_gettext_callables(  # type: ignore[attr-defined]
        texts.gettext,
        texts.ngettext,
        newstyle=True,
        pgettext=texts.pgettext,
        npgettext=texts.npgettext,
    )
    environment.filters |= {
        "pressure": show.pressure,
        "pressure_number": show.pressure_number,
        "seconds": show.seconds,
        "when": partial(_when, zone),
        "said": said_here,
        "localised": show.localised,
        "day": show.day_text,
        "zip": zip,
    }
    environment.tests["field_name"] = is_field_name
    environment.globals |= {
        "form_id": lambda: str(uuid.uuid4()),
        "kept": kept,
        "kept_all": kept_all,
        "faults_of": faults_of,
        "drawing": drawing,
        "unit_spelling": lambda: here_cookie.PRESSURE_UNITS[texts.HERE.get().pressure_unit],
        "FIELDS": {"csrf": CSRF_FIELD, "id": ID_FIELD, "page": PAGE_FIELD},
    }
    return environment


def _when(zone: tzinfo | None, moment: Any, form: str = "full") -> Markup:
    return show.when(moment, zone, form)


def drawing(name: str) -> Markup:
    """Return one of our own drawings (``static/drawings/NAME.svg``), to stand in a page.

    It stands inline, so that its lines take the colours of the theme and its words (attributes
    ``data-msg``) the language of this screen.
    """
    return _drawing(name, texts.HERE.get().language)


@cache
def _drawing(name: str, _language: str) -> Markup:
    if re.fullmatch(r"[a-z0-9-]+", name) is None:
        raise ValueError(f"'{name}' is no name of a drawing")
    text = (STATIC / "drawings" / f"{name}.svg").read_text(encoding="utf-8")
    text = text[text.index("<svg") :]
    for words in sorted(set(re.findall(r'data-msg="([^"]+)"', text))):
        spoken = escape(texts.gettext(unescape(words)))
        text = text.replace(f'aria-label="{words}"', f'aria-label="{spoken}"')
        text = text.replace(f">{words}<", f">{spoken}<")
    return Markup(text)  # noqa: S704  (ours, from the package)


# -- pages of faults -----------------------------------------------------------------------------


def wants_data(request: Request) -> bool:
    """Tell whether a program asks, not a person."""
    accept = request.headers.get("accept", "")
    return request.url.path.startswith("/api/") or (
        "application/json" in accept and "text/html" not in accept
    )


def gives(kind: str) -> dict[int | str, dict[str, Any]]:
    """Return what a route that gives something else than a page says of its answer."""
    return {200: {"content": {kind: {}}}}


def data(content: Any, status: int = 200) -> Response:
    """Return JSON."""
    text = json.dumps(content, ensure_ascii=False, allow_nan=False)
    return Response(text, status, media_type="application/json")


def form_page(request: Request) -> str:
    """Return the page on which the form stood that this request sent; empty if unknown."""
    form: Form | None = getattr(request.state, "form", None)
    named = next(iter(form.values.get(PAGE_FIELD, ())), "") if form else ""
    if not named:
        referer = urlsplit(request.headers.get("referer", ""))
        if referer.netloc and referer.netloc == request.headers.get("host"):
            named = referer.path + (f"?{referer.query}" if referer.query else "")
    return named if is_local(named) else ""
