"""Puts the invented set of the report's tests within reach, with its traces."""

from __future__ import annotations

import pytest

from nozzlewright.edge.paper import Trace


@pytest.fixture(scope="session")
def invented(helper):
    return helper("report/invented_set.py")


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
