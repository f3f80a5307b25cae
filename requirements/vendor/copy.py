"""Copy the files that are carried into the source, with their licences and a manifest of SHA-256.

Run by `make vendor` after `npm ci --ignore-scripts` in this folder.
"""

from __future__ import annotations

import hashlib
import json
import shutil
from pathlib import Path

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
STATIC = ROOT / "src/nozzlewright/edge/web/static/vendor"
FOR_TESTS = ROOT / "tests/browser/vendor"
MANIFEST = "MANIFEST.json"

FONT = "@fontsource-variable/atkinson-hyperlegible-next"
FONT_FILES = f"{FONT}/files/atkinson-hyperlegible-next"

COPIES: dict[Path, dict[str, str]] = {
    STATIC: {
        "atkinson-hyperlegible-next/LICENSE": f"{FONT}/LICENSE",
        "atkinson-hyperlegible-next/latin-wght-normal.woff2": (
            f"{FONT_FILES}-latin-wght-normal.woff2"
        ),
        "atkinson-hyperlegible-next/latin-ext-wght-normal.woff2": (
            f"{FONT_FILES}-latin-ext-wght-normal.woff2"
        ),
        "uplot/LICENSE": "uplot/LICENSE",
        "uplot/uPlot.esm.js": "uplot/dist/uPlot.esm.js",
        "uplot/uPlot.min.css": "uplot/dist/uPlot.min.css",
    },
    FOR_TESTS: {
        "axe-core/LICENSE": "axe-core/LICENSE",
        "axe-core/axe.min.js": "axe-core/axe.min.js",
    },
}
"""By folder: place of each copy, and its place in `node_modules`."""


def main() -> None:
    """Make the copies anew."""
    pins = json.loads((HERE / "package.json").read_text(encoding="utf-8"))["dependencies"]
    for folder, files in COPIES.items():
        shutil.rmtree(folder, ignore_errors=True)
        digests = {}
        for name, source in sorted(files.items()):
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            content = (HERE / "node_modules" / source).read_bytes()
            (folder / name).write_bytes(content)
            digests[name] = hashlib.sha256(content).hexdigest()
        packages = {
            package: version
            for package, version in sorted(pins.items())
            if any(source.startswith(f"{package}/") for source in files.values())
        }
        manifest = {"packages": packages, "sha256": digests}
        text = json.dumps(manifest, indent=2) + "\n"
        (folder / MANIFEST).write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
