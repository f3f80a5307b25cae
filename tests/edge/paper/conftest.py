"""Puts the invented set of the report's tests within reach, with its traces."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest

from nozzlewright.edge.paper import Trace

_SET = Path(__file__).parents[2] / "report" / "invented_set.py"


@pytest.fixture(scope="session")
def invented() -> ModuleType:
    name = "invented_set"
    if name not in sys.modules:
        spec = importlib.util.spec_from_file_location(name, _SET)
        assert spec is not None
        assert spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        sys.modules[name] = module
        spec.loader.exec_module(module)
    return sys.modules[name]


@pytest.fixture(scope="session")
def traces(invented):
    found = {}
    for injector in invented.invented_injectors():
        for name, sitting in (("as found", injector.as_found), ("as left", injector.as_left)):
            if sitting is None or sitting.gauge is None or sitting.gauge.by_hand:
                continue
            gauge = sitting.gauge
            recording = invented.invented_recording(
                gauge.opening_pressure.value / 1e5, gauge.hold.drop_time_as_shown.value
            )
            found[injector.cylinder, name] = Trace(recording, gauge)
    return found
