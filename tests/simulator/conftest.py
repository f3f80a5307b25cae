from __future__ import annotations

import importlib.util
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from nozzlewright.simulator import kernel as k
from nozzlewright.simulator.session import at_rest, parameters


@dataclass
class Played:
    state: np.ndarray
    events: np.ndarray
    time_s: np.ndarray
    shown_pa: np.ndarray
    true_pa: np.ndarray

    def __getitem__(self, slot: int) -> float:
        return float(self.state[slot])


@pytest.fixture(scope="session")
def play():
    """Runs segments of the kernel from a given pressure, without sensor or chance."""

    def run(
        setup,
        injector,
        segments,
        *,
        start_pa=0.0,
        heat_k=0.0,
        rate_hz=1000.0,
        lag_s=0.0,
        python=False,
        **steps,
    ):
        par = parameters(setup, injector, sensor_lag_s=lag_s, **steps)
        state = at_rest(setup)
        state[k.P_N] = state[k.P_G] = state[k.LAGGED] = start_pa
        state[k.HEAT] = heat_k
        times = np.arange(0.0, segments[-1][k.SEG_END], 1.0 / rate_hz)
        shown, true = np.zeros_like(times), np.zeros_like(times)
        events = np.zeros((5000, k.N_EVENT))
        preloads = np.full(1, injector.preload_n if injector else np.inf)
        frictions = np.full(1, injector.friction_n if injector else 0.0)
        advance = k.advance if python else k.compiled()
        for segment in segments:
            advance(par, segment, state, preloads, frictions, times, shown, true, events)
        n = int(state[k.NEXT_SAMPLE])
        return Played(state, events[: int(state[k.OPENINGS])], times[:n], shown[:n], true[:n])

    return run


@pytest.fixture(scope="session")
def second_bench():
    """The same physics on scipy's integrators, written apart."""
    spec = importlib.util.spec_from_file_location(
        "second_bench", Path(__file__).with_name("second_bench.py")
    )
    module = importlib.util.module_from_spec(spec)
    sys.modules["second_bench"] = module
    spec.loader.exec_module(module)
    return module
