"""The workshop's own server as a process that can be killed, and who works at its screens."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from fastapi import FastAPI

from nozzlewright.edge.web.app import WebSettings


@pytest.fixture(scope="session")
def served(helper: Callable[[str], ModuleType]) -> ModuleType:
    return helper("browser/served.py")


@pytest.fixture(scope="session")
def person(helper: Callable[[str], ModuleType]) -> ModuleType:
    return helper("browser/person.py")


@pytest.fixture
def serve_folder(served: ModuleType) -> Iterator[Callable[[Path], object]]:
    """Serves a workshop's folder by the command until the test ends."""
    with ExitStack() as stack:
        yield lambda folder: stack.enter_context(served.Served(folder))


@pytest.fixture
def demo_folder(demo_made: Path, tmp_path: Path) -> Path:
    """A copy of the demo workshop."""
    return Path(shutil.copytree(demo_made, tmp_path / "workshop"))


@pytest.fixture
def web(helper: Callable[[str], ModuleType]) -> ModuleType:
    """What the tests of pages use without a browser."""
    return helper("edge/web/conftest.py")


@pytest.fixture
def web_settings() -> WebSettings:
    return WebSettings(secret=bytes(range(32)))


@pytest.fixture
def serve(web: ModuleType) -> Iterator[Callable[[FastAPI], str]]:
    """Serves pages in this process until the test ends."""
    with ExitStack() as stack:
        yield lambda app: stack.enter_context(web.serving(app))


@pytest.fixture
def browser_of(web: ModuleType) -> Iterator[Callable[[str], Any]]:
    """Opens a plain client at an address."""
    with ExitStack() as stack:

        def open_at(address: str) -> Any:
            client = web.Browser(address)
            stack.callback(client.client.close)
            return client

        yield open_at
