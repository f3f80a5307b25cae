from __future__ import annotations

import importlib.util
from pathlib import Path

import pytest

BUILDERS = Path(__file__).parents[1] / "judging" / "builders.py"


@pytest.fixture(scope="session")
def bench():
    """Builders of invented sheets, sittings and sets."""
    spec = importlib.util.spec_from_file_location("judging_builders", BUILDERS)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module
