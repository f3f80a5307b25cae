"""What paper and plots share: the fonts, a picture of a drawing, a file written or refused."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import typst

from nozzlewright.errors import Fault, InputFault

_FONTS = Path(__file__).parent / "fonts"


@cache
def shipped_fonts(*, system: bool = False) -> typst.Fonts:
    """Return the shipped fonts; with `system` those of the machine beside them."""
    return typst.Fonts(include_system_fonts=system, font_paths=[str(_FONTS)])


def write_file(path: Path, content: bytes, what: str) -> None:
    """Write a file, or say what, where and what to do.

    Raises
    ------
    InputFault
        If the file cannot be written.
    """
    try:
        path.write_bytes(content)
    except OSError as fault:
        raise InputFault(
            Fault(
                f"{what} could not be written ({fault.strerror})",
                str(path),
                "Name a folder that exists and may be written to.",
            )
        ) from fault


def png_of_svg(svg: str, size: tuple[float, float], *, pixels_per_inch: float = 144.0) -> bytes:
    """Return an SVG as PNG, set with the shipped fonts."""
    source = (
        "#set page(width: float(sys.inputs.width) * 1pt, height: float(sys.inputs.height) * 1pt,"
        " margin: 0pt)\n"
        '#image(bytes(sys.inputs.svg), format: "svg", width: 100%)'
    )
    width, height = size
    inputs = {"svg": svg, "width": str(width), "height": str(height)}
    return typst.compile(
        source.encode(), font_paths=shipped_fonts(), sys_inputs=inputs, format="png",
        ppi=pixels_per_inch,
    )  # fmt: skip
