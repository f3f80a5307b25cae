from __future__ import annotations

import pytest


@pytest.fixture(scope="session")
def bench(helper):
    """Builders of invented sheets, sittings and sets."""
    return helper("judging/builders.py")
