"""Puts the invented set within reach of the tests of the report."""

from __future__ import annotations

import pytest


@pytest.fixture(scope="session")
def invented(helper):
    return helper("report/invented_set.py")
