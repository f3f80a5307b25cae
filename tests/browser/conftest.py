"""The workshop's own server as a process that can be killed, and who works at its screens."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from types import ModuleType

import pytest


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
