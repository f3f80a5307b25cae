"""The names that the project offers: there, sorted, and cheap to import."""

from __future__ import annotations

import importlib
import pkgutil
import subprocess
import sys
from pathlib import Path

import pytest

import nozzlewright

SOURCE = Path(nozzlewright.__file__).parent
PACKAGES = sorted(
    ".".join(("nozzlewright", *folder.relative_to(SOURCE).parts))
    for folder in (one.parent for one in SOURCE.rglob("__init__.py"))
)


@pytest.mark.parametrize("package", PACKAGES)
def test_every_offered_name_is_there_and_in_order(package):
    module = importlib.import_module(package)
    names = getattr(module, "__all__", [])

    assert list(names) == sorted(set(names), key=_as_ruff_sorts)
    for name in names:
        assert getattr(module, name) is not None, name


def _as_ruff_sorts(name: str) -> tuple[int, str]:
    """Constants first, then classes, then the rest."""
    kind = 0 if name.isupper() else 1 if name[:1].isupper() else 2
    return kind, name


def test_the_package_offers_about_a_dozen_names():
    assert 10 <= len(nozzlewright.__all__) <= 18
    assert set(nozzlewright.__all__) <= set(dir(nozzlewright))


def test_a_name_that_is_not_offered_is_refused_in_plain_words():
    with pytest.raises(AttributeError, match="no attribute 'read_tea_leaves'"):
        nozzlewright.read_tea_leaves  # noqa: B018 - looking it up is the test


def test_the_map_names_every_folder():
    folders = {one.name for one in pkgutil.iter_modules([str(SOURCE)])}

    assert folders
    for folder in folders:
        assert f"``{folder}``" in nozzlewright.__doc__, folder


def test_importing_the_package_loads_no_library():
    command = "import sys, nozzlewright; print(*sys.modules)"
    told = subprocess.run(
        [sys.executable, "-c", command], check=True, capture_output=True, text=True
    )
    loaded = set(told.stdout.split())

    assert "nozzlewright" in loaded
    assert not loaded & {"numpy", "scipy", "pyarrow", "pydantic", "pint", "typst", "numba"}
    assert not {name for name in loaded if name.startswith("nozzlewright.")}


def test_every_offered_name_loads_by_itself_in_a_fresh_process():
    names = ", ".join(nozzlewright.__all__)
    subprocess.run([sys.executable, "-c", f"from nozzlewright import {names}"], check=True)
