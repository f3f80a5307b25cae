"""The commands in the tutorial: found, run, and their output written under them anew.

Run: make docs
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).parents[1]
PAGES = (ROOT / "docs" / "tutorial" / "demo-set.md",)
_BLOCK = re.compile(
    r"(?<=^```console\n)\$ (?P<command>[^\n]+)\n(?P<output>.*?)(?=^```$)", re.M | re.S
)


class Block(NamedTuple):
    """One command of a page with the output that the page shows."""

    command: str
    output: str


def blocks(page: Path) -> list[Block]:
    """Return the commands of a page in their order."""
    text = page.read_text(encoding="utf-8")
    return [Block(found["command"], found["output"]) for found in _BLOCK.finditer(text)]


def run(command: str, folder: Path) -> str:
    """Return what a command prints, run in a folder with the project's commands on its path."""
    path = os.pathsep.join([str(Path(sys.executable).parent), os.environ.get("PATH", "")])
    done = subprocess.run(
        ["bash", "-c", command], cwd=folder, env={**os.environ, "PATH": path}, text=True,
        stdout=subprocess.PIPE, stderr=subprocess.STDOUT, check=False, encoding="utf-8",
    )  # fmt: skip
    # Editors take blanks at the end of lines away; so does this.
    return re.sub(r"[ \t]+$", "", done.stdout, flags=re.M)


def main() -> None:
    """Write the output of each command anew."""
    for page in PAGES:
        text = page.read_text(encoding="utf-8")
        page.write_text(
            _BLOCK.sub(lambda found: f"$ {found['command']}\n{run(found['command'], ROOT)}", text),
            encoding="utf-8",
        )


if __name__ == "__main__":
    main()
