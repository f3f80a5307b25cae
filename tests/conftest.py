"""Settings for all tests: no property fails by the clock, and CI draws the same examples."""

from __future__ import annotations

import importlib.util
import os
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from hypothesis import settings

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

CHROMIUM = Path("/usr/bin/chromium")
BROWSER_PACKAGES = "chromium fonts-dejavu-core libatomic1"
"""Debian's packages of what the tests in a browser need."""

settings.register_profile("bench", deadline=None)
settings.register_profile("ci", deadline=None, derandomize=True, print_blob=True)
settings.load_profile("ci" if os.environ.get("CI") else "bench")


@pytest.fixture(scope="session")
def compiled_bench() -> None:
    """Run the pretend bench once, so that no test's time is its compiler's."""
    from nozzlewright.simulator import BenchSetup, Idle, InjectorModel, SensorModel, simulate

    rng = np.random.default_rng(0)
    simulate(BenchSetup(), InjectorModel(), SensorModel(), (Idle(0.1),), rng)


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


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    """The machine's own browser; without it the test fails and says what to install."""
    from playwright.sync_api import sync_playwright

    if not CHROMIUM.is_file():
        pytest.fail(f"there is no {CHROMIUM}: apt-get install {BROWSER_PACKAGES}")
    # For a module, not a session: while it is there, nothing else can run an event loop.
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=str(CHROMIUM), args=["--no-sandbox", "--disable-dev-shm-usage"]
        )
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def axe() -> Callable[[Page], dict[str, list[dict[str, Any]]]]:
    """Runs axe-core on a page, WCAG 2.2 A and AA; gives ``violations`` and ``passes``."""
    source = (Path(__file__).parent / "browser/vendor/axe-core/axe.min.js").read_text("utf-8")

    def run(page: Page) -> dict[str, list[dict[str, Any]]]:
        page.evaluate(source)
        return page.evaluate(
            "axe.run({runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa']})"
        )

    return run
