"""What most tests of the workshop stand on."""

from __future__ import annotations

from itertools import count

import pytest


@pytest.fixture
def shop(tmp_path, helper):
    """A workshop on a store in memory."""
    return helper("workflow/in_memory.py").workshop_in_memory(tmp_path)


@pytest.fixture
def act():
    """Identities of acts: a new one at each call."""
    numbers = count(1)
    return lambda: f"act-{next(numbers)}"
