"""Loads what the tests of live gauges share."""

from __future__ import annotations

import pytest


@pytest.fixture(scope="session")
def registers(helper):
    return helper("edge/live/registers.py")
