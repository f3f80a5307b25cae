"""Settings for all tests: no property fails by the clock, and CI draws the same examples."""

from __future__ import annotations

import importlib.util
import os
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from hypothesis import settings
from hypothesis.database import (
    DirectoryBasedExampleDatabase,
    ExampleDatabase,
    InMemoryExampleDatabase,
)

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, Page

CHROMIUM = Path("/usr/bin/chromium")
BROWSER_PACKAGES = "chromium fonts-dejavu-core libatomic1"
"""Debian's packages of what the tests in a browser need."""

PATIENCE_MS = 120_000
"""How long a browser waits for what must come: a machine may have much else to do."""

IN_ITS_STYLE = """async () => {
    if (document.readyState !== "complete")
        await new Promise((go) => addEventListener("load", go, { once: true }));
    await document.fonts.ready;
}"""

_approx = pytest.approx


def _approx_in_its_unit(
    expected: Any, rel: float | None = None, *absolute: Any, **more: Any
) -> Any:
    """Take the relative tolerance of a number as one.

    pytest allows 1e-12 besides, which is more than the whole of a compliance in m^3/Pa or of a
    leak: such a check could not fail.
    """
    number = isinstance(expected, (int, float)) and expected != 0.0
    alone = number and not absolute and more.get("abs") is None
    if alone and (rel is not None or abs(expected) < 1e-6):
        rel, more["abs"] = 1e-6 if rel is None else rel, 0.0
    return _approx(expected, rel, *absolute, **more)


pytest.approx = _approx_in_its_unit

ROOT = Path(__file__).parents[1]


def _examples_seen() -> ExampleDatabase:
    """Keep examples beside the sources, where these may be written."""
    if os.access(ROOT, os.W_OK):
        return DirectoryBasedExampleDatabase(ROOT / ".hypothesis" / "examples")
    return InMemoryExampleDatabase()


settings.register_profile("bench", deadline=None, database=_examples_seen())
settings.register_profile("ci", deadline=None, derandomize=True, print_blob=True, database=None)
settings.load_profile("ci" if os.environ.get("CI") else "bench")


@pytest.fixture(scope="session")
def compiled_bench() -> None:
    """Run the pretend bench once, so that no test's time is its compiler's."""
    from nozzlewright.simulator import BenchSetup, Idle, InjectorModel, SensorModel, simulate

    rng = np.random.default_rng(0)
    simulate(BenchSetup(), InjectorModel(), SensorModel(), (Idle(0.1),), rng)


@pytest.fixture(scope="session")
def at_best() -> Callable[..., float]:
    """The least of what a measurement gives, taken anew until it is under a limit.

    A machine that has much else to do only adds to a time: one good try shows what the program
    itself needs, twenty bad ones that it needs too much.
    """

    def least(measure: Callable[[], float], under: float, tries: int = 20) -> float:
        best = measure()
        for _ in range(tries - 1):
            if best < under:
                break
            best = min(best, measure())
        return best

    return least


@pytest.fixture(scope="session")
def helper() -> Callable[[str], ModuleType]:
    """Loads a module of helpers by its place under tests, once for all folders that use it."""

    def load(place: str) -> ModuleType:
        path = Path(__file__).parent / place
        if path.stem not in sys.modules:
            spec = importlib.util.spec_from_file_location(path.stem, path)
            assert spec is not None
            assert spec.loader is not None
            module = importlib.util.module_from_spec(spec)
            sys.modules[path.stem] = module
            spec.loader.exec_module(module)
        return sys.modules[path.stem]

    return load


class Chromium:
    """A browser whose pages wait as long as a busy machine needs."""

    def __init__(self, browser: Browser) -> None:
        self._browser = browser

    def new_context(self, **more: Any) -> BrowserContext:
        """Return a new context, as the browser's own does."""
        context = self._browser.new_context(**more)
        context.set_default_timeout(PATIENCE_MS)
        return context

    def new_page(self, **more: Any) -> Page:
        """Return a page in a context of its own, which ends with the page."""
        page = self._browser.new_page(**more)
        page.set_default_timeout(PATIENCE_MS)
        return page


@pytest.fixture(scope="session")
def once_a_run(
    tmp_path_factory: pytest.TempPathFactory, testrun_uid: str
) -> Callable[[str, Callable[[Path], object]], Path]:
    """Makes a folder once for all workers of a test run; take a copy to change it."""
    base = tmp_path_factory.getbasetemp()
    shared = base.parent if os.environ.get("PYTEST_XDIST_WORKER") else base

    def folder_of(name: str, make: Callable[[Path], object]) -> Path:
        import fcntl

        folder = shared / f"{name}-{testrun_uid}"
        with folder.with_suffix(".lock").open("w") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)  # until it is closed
            if not folder.exists():
                begun = Path(tempfile.mkdtemp(prefix=name, dir=shared))
                make(begun / "whole")
                (begun / "whole").rename(folder)
        return folder

    return folder_of


@pytest.fixture(scope="session")
def demo_made(once_a_run: Callable[[str, Callable[[Path], object]], Path]) -> Path:
    """The demo workshop's folder, as its command makes it; take a copy to change it."""
    from nozzlewright.edge.wiring.demo_shop import make_demo_shop

    return once_a_run("demo", lambda folder: make_demo_shop(folder, lambda _words: None))


@pytest.fixture(scope="module")
def chromium() -> Iterator[Chromium]:
    """The machine's own browser; without it the test fails and says what to install."""
    from playwright.sync_api import expect, sync_playwright

    if not CHROMIUM.is_file():
        pytest.fail(f"there is no {CHROMIUM}: apt-get install {BROWSER_PACKAGES}")
    expect.set_options(timeout=PATIENCE_MS)
    # For a module, not a session: while it is there, nothing else can run an event loop.
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=str(CHROMIUM), args=["--no-sandbox", "--disable-dev-shm-usage"]
        )
        yield Chromium(browser)
        browser.close()


def in_its_style(page: Page) -> None:
    """Wait until a page looks as it is meant to: words are there before style and fonts are."""
    page.wait_for_load_state()
    page.evaluate(IN_ITS_STYLE)


@pytest.fixture(scope="session")
def sticks_out() -> Callable[[Page], int]:
    """How far a page goes beyond the right edge of the screen, in pixels; 0: it fits."""

    def sideways(page: Page) -> int:
        in_its_style(page)
        width = "document.documentElement.clientWidth"
        return int(page.evaluate(f"document.documentElement.scrollWidth - {width}"))

    return sideways


@pytest.fixture(scope="session")
def draft_holds() -> Callable[[Page, str], None]:
    """Wait until what was typed is kept on the device: a moment after the last key."""

    def wait(page: Page, words: str) -> None:
        until = time.monotonic() + PATIENCE_MS / 1000.0
        # Not by wait_for_function: the pages' policy forbids what it does from its second try on.
        while words not in page.evaluate("Object.values(localStorage).join()"):
            assert time.monotonic() < until, f"no draft holds {words!r}"
            page.wait_for_timeout(50)

    return wait


@pytest.fixture(scope="session")
def axe() -> Callable[[Page], dict[str, list[dict[str, Any]]]]:
    """Runs axe-core on a page, WCAG 2.2 A and AA; gives ``violations`` and ``passes``."""
    source = (Path(__file__).parent / "browser/vendor/axe-core/axe.min.js").read_text("utf-8")

    def run(page: Page) -> dict[str, list[dict[str, Any]]]:
        in_its_style(page)
        if not page.evaluate("'axe' in window"):
            page.evaluate(source)
        return page.evaluate(
            "axe.run({runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa']})"
        )

    return run
