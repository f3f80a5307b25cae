"""What the store's own tests share with the contract that every store keeps."""

from __future__ import annotations

import pytest


@pytest.fixture(scope="session")
def made(helper):
    return helper("store_contract/made.py")
