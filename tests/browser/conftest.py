"""A real Chromium, and the workshop's own server as a process that can be killed."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from types import ModuleType

import pytest
from playwright.sync_api import Browser, sync_playwright

CHROMIUM = Path("/usr/bin/chromium")
PACKAGES = "chromium fonts-dejavu-core libatomic1"
"""Debian's packages of what the tests in a browser need."""


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    """The machine's own browser; without it the test fails and says what to install."""
    if not CHROMIUM.is_file():
        pytest.fail(f"there is no {CHROMIUM}: apt-get install {PACKAGES}")
    # For a module, not a session: while it is there, nothing else can run an event loop.
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=str(CHROMIUM), args=["--no-sandbox", "--disable-dev-shm-usage"]
        )
        yield browser
        browser.close()


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


@pytest.fixture(scope="session")
def demo_made(served: ModuleType, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo workshop's folder, made once; take a copy to change it."""
    return served.make_demo(tmp_path_factory.mktemp("demo") / "workshop")


@pytest.fixture
def demo_folder(demo_made: Path, tmp_path: Path) -> Path:
    """A copy of the demo workshop."""
    return Path(shutil.copytree(demo_made, tmp_path / "workshop"))
