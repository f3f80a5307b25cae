"""The commands in the tutorial: found, run, and their output written under them anew.

They run in a scratch folder with a copy of the demo set, so that they leave nothing behind.

Run: make docs
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).parents[1]
PAGES = (ROOT / "docs" / "tutorial" / "demo-set.md",)
_BLOCK = re.compile(r"(?<=^```console\n).*?(?=^```$)", re.MULTILINE | re.DOTALL)
_COMMAND = re.compile(r"^\$ (.+)\n((?:(?!\$ ).*\n)*)", re.MULTILINE)


class Shown(NamedTuple):
    """One command of a page with the output that the page shows."""

    command: str
    output: str


def shown(page: Path) -> list[Shown]:
    """Return the commands of a page in their order."""
    text = page.read_text(encoding="utf-8")
    return [
        Shown(*found.groups())
        for block in _BLOCK.findall(text)
        for found in _COMMAND.finditer(block)
    ]


def workplace(folder: Path) -> Path:
    """Return the folder with a copy of the demo set in it, as in a fresh clone."""
    shutil.copytree(ROOT / "demo", folder / "demo")
    return folder


def run(command: str, folder: Path) -> str:
    """Return what a command prints, run in a folder with the project's commands on its path."""
    path = os.pathsep.join([str(Path(sys.executable).parent), os.environ.get("PATH", "")])
    done = subprocess.run(
        ["bash", "-c", command], cwd=folder, env={**os.environ, "PATH": path, "LC_ALL": "C.UTF-8"},
        stdout=subprocess.PIPE, stderr=subprocess.STDOUT, check=False, encoding="utf-8",
    )  # fmt: skip
    # Editors take blanks at the end of lines away; so does this.
    return re.sub(r"[ \t]+$", "", done.stdout, flags=re.M)


def main() -> None:
    """Write the output of each command anew."""
    for page in PAGES:
        with tempfile.TemporaryDirectory() as scratch:
            folder = workplace(Path(scratch))
            text = _BLOCK.sub(
                lambda block, folder=folder: _COMMAND.sub(
                    lambda found: f"$ {found[1]}\n{run(found[1], folder)}", block[0]
                ),
                page.read_text(encoding="utf-8"),
            )
        page.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
