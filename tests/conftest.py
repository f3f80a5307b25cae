"""Settings for all tests: no property fails by the clock, and CI draws the same examples."""

from __future__ import annotations

import os

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
