"""The application: screens, files, guard, and what is shown when something cannot be done."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping, MutableMapping
from dataclasses import dataclass
from datetime import tzinfo
from http import HTTPStatus
from importlib import import_module
from types import MappingProxyType
from typing import Any

from fastapi import Depends, FastAPI, Request
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.responses import FileResponse, HTMLResponse, Response
from starlette.staticfiles import StaticFiles

from nozzlewright.edge.web import page
from nozzlewright.edge.web.guard import Guard, needs_token
from nozzlewright.edge.web.screens import SCREENS
from nozzlewright.edge.web.signed import Signer
from nozzlewright.edge.web.texts import N_, _, said
from nozzlewright.edge.wiring.live import Inbox, LiveBench
from nozzlewright.errors import (
    Fault,
    IdTaken,
    InputFault,
    NotAllowed,
    NozzlewrightError,
    StoryMoved,
)
from nozzlewright.workflow import Workshop


@dataclass(frozen=True)
class WebSettings:
    """How the screens are served."""

    secret: bytes
    """The store's secret, 32 bytes or more; see ``signed.secret_of``."""
    hosts: tuple[str, ...] = ()
    """Names by which this machine may be called, beside its loopback names."""
    any_address: bool = False
    """Whether it may be called by a numerical address too: served beyond this machine."""
    zone: tzinfo | None = None
    """The shop's time zone; None: this machine's."""


def create_app(
    workshop: Workshop,
    settings: WebSettings,
    benches: Mapping[str, LiveBench] = MappingProxyType({}),
    inbox: Inbox | None = None,
) -> FastAPI:
    """Return the application.

    Parameters
    ----------
    workshop : Workshop
        Acts and queries of the bench
    settings : WebSettings
        How it is served
    benches : mapping, optional
        Benches with an instrument, by name
    inbox : Inbox, optional
        Takes in recordings that are files
    """
    app = FastAPI(
        title="nozzlewright",
        docs_url=None,  # their pages would fetch scripts from elsewhere
        redoc_url=None,
        dependencies=[Depends(needs_token)],
        redirect_slashes=False,
    )
    signer = Signer(settings.secret)
    app.state.workshop, app.state.settings, app.state.signer = workshop, settings, signer
    app.state.benches, app.state.inbox = benches, inbox
    for name in SCREENS:
        router = import_module(f"{SCREENS_PACKAGE}.{name}").router
        app.include_router(router, responses=ANSWERS, default_response_class=HTMLResponse)
    app.mount("/static", StaticFiles(directory=page.STATIC), name="static")
    app.add_api_route("/favicon.ico", _mark, methods=["GET", "HEAD"], include_in_schema=False)
    app.add_exception_handler(NozzlewrightError, _refused)
    app.add_exception_handler(RequestValidationError, _not_understood)
    app.add_exception_handler(HTTPException, _http)
    app.add_middleware(
        Guard,
        signer=signer,
        hosts=settings.hosts,
        any_address=settings.any_address,
        on_fault=_own_fault,
    )
    return app


def _mark() -> Response:
    """Return the mark, to browsers that ask for it where it has always been."""
    return FileResponse(page.STATIC / "drawings" / "mark.svg", media_type="image/svg+xml")


SCREENS_PACKAGE = "nozzlewright.edge.web.screens"

ANSWERS: dict[int | str, dict[str, Any]] = {
    303: {"description": "Done, or to be asked first: go on to the page that it names"},
    400: {"description": "What was sent cannot be read"},
    403: {"description": "It does not come from a page of this machine"},
    404: {"description": "There is no such page, job or injector"},
    405: {"description": "This address does not take it"},
    409: {"description": "The rules of the trade forbid it, or the story has moved on"},
    413: {"description": "More was sent than is taken"},
    422: {"description": "Something in it needs mending: the page again, with what was typed"},
}
"""What any address may answer beside the page that was asked for."""

_TITLES = {
    400: N_("That could not be read"),
    403: N_("Please send it once more"),
    404: N_("There is no such page"),
    405: N_("That cannot be done here"),
    409: N_("Not like this"),
    413: N_("That is too large"),
    422: N_("Something needs mending"),
    500: N_("A fault of the program"),
}


def _title(status: int) -> str:
    text = _TITLES.get(status)
    return _(text) if text else HTTPStatus(status).phrase


async def _refused(request: Request, fault: Exception) -> Response:
    """Answer an error that was raised on purpose: what, where, and what to do."""
    status = 409 if isinstance(fault, NotAllowed | StoryMoved | IdTaken) else 422
    return await _answer(request, status, _faults(fault), type(fault).__name__)


def _faults(fault: Exception) -> tuple[Fault, ...]:
    if isinstance(fault, InputFault):
        return fault.faults
    if isinstance(fault, NotAllowed):
        return (Fault(fault.what, "", fault.remedy),)
    if isinstance(fault, StoryMoved):
        what = _("Somebody else has noted something in this job meanwhile; nothing was written")
        return (Fault(what, "", _("Look at what has changed, then send it again")),)
    return (Fault(said(fault.args[0]) if fault.args else type(fault).__name__, "", ""),)


async def _not_understood(request: Request, fault: Exception) -> Response:
    """Answer a request whose parameters have the wrong form."""
    assert isinstance(fault, RequestValidationError)  # noqa: S101  (registered for it alone)
    faults = tuple(
        Fault(str(one["msg"]), ".".join(map(str, one["loc"][1:])), _("Send it once more"))
        for one in fault.errors()
    )
    return await _answer(request, 422, faults, "InputFault")


async def _http(request: Request, fault: Exception) -> Response:
    """Answer what the framework or the guard refuses."""
    assert isinstance(fault, HTTPException)  # noqa: S101  (registered for it alone)
    status = fault.status_code
    if status == 404:
        what = _("There is nothing at this address, or it has moved")
    elif status == 405:
        what = _("This address does not take what was sent to it")
    elif fault.detail == HTTPStatus(status).phrase:
        what = ""
    else:
        what = fault.detail
    faults = (Fault(what, "", ""),) if what else ()
    response = await _answer(request, status, faults, "HTTP")
    response.headers.update(fault.headers or {})
    return response


def _own_fault(request: Request, reference: str) -> Response:
    """Answer with a page for a fault of the program itself; the log holds the particulars."""
    if page.wants_data(request):
        message = f"a fault of the program; it is in the log as {reference}"
        return page.data({"error": {"kind": "Internal", "message": message, "faults": []}}, 500)
    return page.render(request, "fault.html", status=500, title=_title(500), reference=reference)


async def _answer(request: Request, status: int, faults: tuple[Fault, ...], kind: str) -> Response:
    if page.wants_data(request):
        shown = [
            {"what": said(one.what), "where": said(one.where), "remedy": said(one.remedy)}
            for one in faults
        ]
        error = {"kind": kind, "message": _title(status), "faults": shown}
        return page.data({"error": error}, status)
    form: page.Form | None = getattr(request.state, "form", None)
    back = page.form_page(request)
    if form is not None and back and request.method == "POST":
        again = page.Kept(form.values, faults, _title(status))
        shown_again = await _shown_again(request, back, again)
        if shown_again is not None:
            shown_again.status_code = status
            return shown_again
    return page.render(
        request,
        "error.html",
        status=status,
        title=_title(status),
        faults=faults,
        back=back,
        kept_values=form.values if form else {},
    )


async def _shown_again(request: Request, path: str, again: page.Kept) -> Response | None:
    """Return the page of the form anew, with what was typed; None where it cannot be had."""
    where, _mark, query = path.partition("?")
    scope: MutableMapping[str, Any] = {
        **request.scope,
        "method": "GET",
        "path": where,
        "raw_path": where.encode(),
        "query_string": query.encode(),
        "headers": [
            (name, value)
            for name, value in request.scope["headers"]
            if name not in {b"content-length", b"content-type", b"transfer-encoding"}
        ],
        "state": {**request.scope["state"], "kept": again, "form": None},
    }
    for key in ("endpoint", "route", "path_params", "router"):
        scope.pop(key, None)
    start: dict[str, Any] = {}
    body = bytearray()

    async def receive() -> dict[str, Any]:
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message: MutableMapping[str, Any]) -> None:
        if message["type"] == "http.response.start":
            start.update(message)
        else:
            body.extend(message.get("body", b""))

    router: Callable[..., Awaitable[None]] = request.app.router
    try:
        await router(scope, receive, send)
    except (NozzlewrightError, HTTPException):
        return None
    if start.get("status") != HTTPStatus.OK:
        return None
    request.scope["state"]["csrf_cookie"] = scope["state"].get("csrf_cookie")
    return Response(bytes(body), media_type="text/html")
