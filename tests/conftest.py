"""Settings for all tests: no property fails by the clock, and CI draws the same examples."""

from __future__ import annotations

import importlib.util
import os
import sys
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from hypothesis import settings

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
