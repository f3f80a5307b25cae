"""What every request passes first: who may ask, how much may be sent, what the answer allows.

The token in forms is a signed double-submit (OWASP Cross-Site Request Forgery Prevention Cheat
Sheet): a random cookie, and its signature by the store's secret in the form.
"""

from __future__ import annotations

import ipaddress
import logging
import secrets
from collections.abc import Callable
from typing import Any, TypeVar
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.requests import HTTPConnection, Request, cookie_parser
from starlette.responses import PlainTextResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from nozzlewright.edge.web import here as here_cookie
from nozzlewright.edge.web.signed import Signer
from nozzlewright.edge.web.texts import HERE, _

MIB = 1024 * 1024
BODY_LIMIT = 1 * MIB
"""Bytes that a request may send, where its endpoint says nothing else."""
UPLOAD_LIMIT = 25 * MIB
"""Bytes for an endpoint that takes photos or recordings."""

CSRF_COOKIE = "csrf"
CSRF_FIELD = "csrf"
CSRF_HEADER = "X-CSRF"

SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})
"""Methods that change nothing (RFC 9110, 9.2.1)."""

HEADERS = {
    "Content-Security-Policy": (
        "default-src 'self'; img-src 'self' data: blob:; connect-src 'self'; "
        "frame-ancestors 'none'; base-uri 'none'; form-action 'self'; object-src 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Permissions-Policy": "camera=(self), microphone=(), geolocation=(), payment=(), usb=()",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    # A page and a file may be kept, but must be asked after each time: the record moves.
    "Cache-Control": "no-cache",
}

_log = logging.getLogger("nozzlewright.web")

_Endpoint = TypeVar("_Endpoint", bound=Callable[..., Any])


def takes_uploads(limit: int = UPLOAD_LIMIT) -> Callable[[_Endpoint], _Endpoint]:
    """Allow an endpoint a larger body, in bytes. Stands under the router's decorator."""

    def mark(endpoint: _Endpoint) -> _Endpoint:
        endpoint.__dict__["body_limit"] = limit
        return endpoint

    return mark


def csrf_token(request: HTTPConnection) -> str:
    """Return the token for the forms of the page that answers this request."""
    signer: Signer = request.app.state.signer
    return signer.mark("csrf", _csrf_cookie(request))


def _csrf_cookie(request: HTTPConnection) -> str:
    """Return the cookie that was sent, or the new one that goes out with the answer."""
    kept = request.scope["state"].get("csrf_cookie") or request.cookies.get(CSRF_COOKIE)
    if not kept or len(kept) > 100:
        kept = secrets.token_urlsafe(24)
    request.scope["state"]["csrf_cookie"] = kept
    return str(kept)


async def needs_token(request: HTTPConnection) -> None:
    """Refuse a request that changes something without our token.

    Raises
    ------
    HTTPException
        403 where the token is missing or not ours.
    """
    if not isinstance(request, Request) or request.method in SAFE_METHODS:
        return
    token = request.headers.get(CSRF_HEADER)
    if token is None and _is_form(request.headers):
        token = str((await request.form()).get(CSRF_FIELD, ""))
    cookie = request.cookies.get(CSRF_COOKIE, "")
    signer: Signer = request.app.state.signer
    if not (cookie and token and signer.is_mark("csrf", cookie, token)):
        raise HTTPException(403, _("The page was too old, or cookies are switched off."))


def _is_form(headers: Headers) -> bool:
    kind = headers.get("content-type", "").partition(";")[0].strip().lower()
    return kind in {"application/x-www-form-urlencoded", "multipart/form-data"}


class Guard:
    """Outermost layer of the application (ASGI).

    Parameters
    ----------
    app : ASGIApp
        What answers
    signer : Signer
        With the store's secret
    hosts : tuple of str
        Names by which this machine may be called, beside its loopback names
    any_address : bool
        Whether a numerical address other than loopback may be called too
    on_fault : callable
        Makes the page for a fault of the program itself from the request and a reference
    """

    def __init__(
        self,
        app: ASGIApp,
        *,
        signer: Signer,
        hosts: tuple[str, ...],
        any_address: bool,
        on_fault: Callable[[Request, str], Response],
    ) -> None:
        self._app, self._signer, self._on_fault = app, signer, on_fault
        self._hosts = {"localhost", *(host.lower() for host in hosts)}
        self._any_address = any_address

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request or WebSocket."""
        if scope["type"] not in {"http", "websocket"}:
            await self._app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        scope.setdefault("state", {})
        HERE.set(
            here_cookie.from_cookie(
                _cookie(headers, here_cookie.COOKIE),
                self._signer,
                headers.get("accept-language", ""),
            )
        )
        refusal = self._refusal(scope, headers)
        if scope["type"] == "websocket":
            if refusal:
                await send({"type": "websocket.close", "code": 1008, "reason": refusal})
            else:
                await self._app(scope, receive, send)
            return
        guarded = _Guarded(scope, receive, send)
        if refusal:
            await PlainTextResponse(refusal, 403)(scope, receive, guarded.send)
            return
        try:
            await self._app(scope, guarded.receive, guarded.send)
        except Exception:
            reference = secrets.token_hex(4)
            _log.exception("fault %s at %s %s", reference, scope["method"], scope["path"])
            if guarded.begun:
                raise
            page = self._on_fault(Request(scope), reference)
            await page(scope, receive, guarded.send)

    def _refusal(self, scope: Scope, headers: Headers) -> str:
        """Return why a request is refused; empty where it may pass."""
        host = headers.get("host", "")
        if not self._is_ours(host):
            # Against DNS rebinding: a foreign name that leads to this machine.
            return "This name is not one of this machine's. Use the address it printed."
        changes = scope["type"] == "websocket" or scope["method"] not in SAFE_METHODS
        if changes and _machine_of(headers.get("origin", "")) != host.lower():
            return "Refused: the request does not come from a page of this machine."
        if changes and headers.get("sec-fetch-site", "same-origin") != "same-origin":
            return "Refused: the request does not come from a page of this machine."
        return ""

    def _is_ours(self, host: str) -> bool:
        try:
            name = (urlsplit(f"//{host}").hostname or "").lower()
        except ValueError:
            return False
        if name in self._hosts:
            return True
        try:
            return self._any_address or ipaddress.ip_address(name).is_loopback
        except ValueError:
            return False


class _Guarded:
    """One request: counts what comes in, and adds headers to what goes out."""

    def __init__(self, scope: Scope, receive: Receive, send: Send) -> None:
        self._scope, self._receive, self._send = scope, receive, send
        self._taken = 0
        self.begun = False

    async def receive(self) -> Message:
        message = await self._receive()
        self._taken += len(message.get("body", b""))
        endpoint = self._scope.get("endpoint")
        limit = getattr(endpoint, "body_limit", BODY_LIMIT)
        if self._taken > limit:
            await self._let_it_pass(message, 4 * limit)
            raise HTTPException(
                413,
                _("More was sent than can be taken here: at most %(limit)s MB.")
                % {"limit": limit // MIB},
            )
        return message

    async def _let_it_pass(self, message: Message, limit: int) -> None:
        """Read on and throw away: a browser shows the answer only after it has sent all."""
        while message.get("more_body") and self._taken <= limit:
            message = await self._receive()
            self._taken += len(message.get("body", b""))

    async def send(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            self.begun = True
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers.setdefault(name, value)
            fresh = self._scope["state"].get("csrf_cookie")
            if fresh and fresh != _cookie(Headers(scope=self._scope), CSRF_COOKIE):
                headers.append(
                    "set-cookie", f"{CSRF_COOKIE}={fresh}; Path=/; HttpOnly; SameSite=Lax"
                )
        await self._send(message)


def _machine_of(origin: str) -> str:
    """Return what an origin has of a Host line; empty where it has nothing that can be read."""
    try:
        return urlsplit(origin).netloc.lower()
    except ValueError:  # such as half an address in brackets
        return ""


def _cookie(headers: Headers, name: str) -> str | None:
    return cookie_parser(headers.get("cookie", "")).get(name)
