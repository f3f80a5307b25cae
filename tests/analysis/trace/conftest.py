"""Puts the rival bench within reach of the tests of recordings."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest


@pytest.fixture(scope="session")
def rival() -> ModuleType:
    """The second pretend bench, compiled."""
    name = "rival_bench"
    if name not in sys.modules:
        spec = importlib.util.spec_from_file_location(name, Path(__file__).with_name(f"{name}.py"))
        assert spec is not None
        assert spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        sys.modules[name] = module
        spec.loader.exec_module(module)
        module.play(module.RivalBench(), module.RivalGauge(), (module.idle(),), rng(0))
    return sys.modules[name]


def rng(number: int) -> np.random.Generator:
    return np.random.default_rng(number)
