"""A real server in a thread, on a port of its own, and a client like a browser."""

from __future__ import annotations

import re
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field

import httpx
import pytest
import uvicorn
from fastapi import FastAPI

from nozzlewright.edge.web.app import WebSettings


@contextmanager
def serving(app: FastAPI) -> Iterator[str]:
    """Serve an application; gives its address without the last slash."""
    config = uvicorn.Config(
        app, port=0, log_level="critical", access_log=False, ws="websockets-sansio"
    )
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    until = time.monotonic() + 120
    while not server.started:
        assert time.monotonic() < until, "the server does not come up"
        assert thread.is_alive(), "the server has ended"
        time.sleep(0.01)
    port = server.servers[0].sockets[0].getsockname()[1]
    try:
        yield f"http://127.0.0.1:{port}"
    finally:
        server.should_exit = True
        thread.join(10)


@pytest.fixture
def serve() -> Iterator[Callable[[FastAPI], str]]:
    """Serves an application until the test ends; returns its address."""
    with ExitStack() as stack:
        yield lambda app: stack.enter_context(serving(app))


@dataclass
class Browser:
    """A client that keeps cookies and sends forms as a browser does."""

    address: str
    client: httpx.Client = field(init=False)

    def __post_init__(self) -> None:
        self.client = httpx.Client(base_url=self.address, timeout=90.0)

    def get(self, path: str, **more: object) -> httpx.Response:
        return self.client.get(path, **more)

    def send(self, page: str, to: str = "", files: object = None, **typed: object):
        """Open a page, fill in its (first) form and send it."""
        shown = self.get(page).text
        hidden = dict(
            re.findall(r'<input type="hidden" name="(\w+)"\s+value="([^"]*)"', shown),
        )
        return self.client.post(
            to or page,
            data={**hidden, **typed},
            files=files,
            headers={"Origin": self.address},
        )

    def token(self) -> str:
        """Return the page's token for what scripts send."""
        return re.search(r'<meta name="csrf" content="([^"]+)"', self.get("/settings").text)[1]


@pytest.fixture
def browser() -> Iterator[Callable[[str], Browser]]:
    """Makes a client for an address."""
    made: list[Browser] = []

    def open_at(address: str) -> Browser:
        made.append(Browser(address))
        return made[-1]

    yield open_at
    for one in made:
        one.client.close()


@pytest.fixture(scope="session")
def web_settings() -> WebSettings:
    return WebSettings(secret=bytes(range(32)))
