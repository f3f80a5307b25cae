"""What a cell of text is: a number in one of several hands, a mark, a time stamp, a word."""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from nozzlewright.edge.intake import stamps
from nozzlewright.edge.intake.headings import CellKind

MARKS = (
    "NaN", "nan", "NAN", "-nan", "N/A", "n/a", "NA", "#N/A", "null", "NULL", "None", "OL", "ol",
    "O.L", "O.L.", "0L", "OVL", "OVER", "Over", "over", "OVERFLOW", "Overflow", "overflow",
    "OVERRANGE", "overrange", "OVERLOAD", "overload", "OVF", "OVR", "ovf", "ovr", "ERR", "Err",
    "ERROR", "Error", "error", "-", "--", "---", "----", "-----", "------", "--.--", "---.-",
    "*", "***", "****", "*****", "###", "####", "#####", "bad", "BAD",
)  # fmt: skip
"""What loggers write where they have no number."""

MARK = re.compile(
    r"[+-]?nan|[+-]?inf(?:inity)?|n/?a|#n/?a|null|none|o\.?l\.?|0l|ovl|over(?:flow|range|load)?|"
    r"ov[fr]|err(?:or)?|bad|-[-.]*|\*+|#+",
    re.IGNORECASE,
)
NUMBER = re.compile(r"[+-]?(?:\d[\d.,]*|[.,]\d+)(?:[eE][+-]?\d{1,3})?")
_GROUPED = re.compile(r"[+-]?\d{1,3}(?:\.\d{3})+|[+-]?\d{1,3}(?:,\d{3})+")

VALUES = frozenset({CellKind.NUMBER, CellKind.STAMP})


def split_row(line: str, delimiter: str) -> list[str]:
    """Return the cells of a line, stripped of blanks and quotes."""
    if delimiter == "blank":
        return [cell.strip('"') for cell in line.split()]
    if delimiter == "":
        return [line.strip().strip('"').strip()]
    if '"' in line:
        try:
            cells = next(csv.reader([line], delimiter=delimiter, skipinitialspace=True), [])
        except csv.Error:
            cells = line.split(delimiter)
        return [cell.strip().strip('"').strip() for cell in cells]
    return [cell.strip() for cell in line.split(delimiter)]


def cell_kind(cell: str) -> CellKind:
    """Return what a cell looks like."""
    if not cell:
        return CellKind.EMPTY
    if NUMBER.fullmatch(cell):
        return CellKind.NUMBER
    if MARK.fullmatch(cell):
        return CellKind.MARK
    if stamps.is_stamp(cell):
        return CellKind.STAMP
    if stamps.is_date(cell):
        return CellKind.DATE
    return CellKind.TEXT


def style_of(cells: Sequence[str]) -> str:
    """Return how numbers are written.

    ``point``, ``comma``, ``point,`` (commas between thousands), ``comma.`` (points between
    thousands), or ``grouped`` (whole numbers with marks between thousands).
    """
    for cell in cells:
        if "." in cell and "," in cell and NUMBER.fullmatch(cell):
            return "point," if cell.rfind(".") > cell.rfind(",") else "comma."
    if any((cell.count(".") > 1 or cell.count(",") > 1) and is_grouped(cell) for cell in cells):
        return "grouped"
    return "comma" if any("," in cell for cell in cells) else "point"


def is_grouped(cell: str) -> bool:
    """Return whether a cell is a whole number in groups of three digits.

    >>> is_grouped("1.003.000"), is_grouped("10.03.2026")
    (True, False)
    """
    return bool(_GROUPED.fullmatch(cell))


def _plain(cell: str, style: str) -> str:
    """Return a number as Python writes it, or nothing where it is not of that style."""
    if style == "comma":
        return "" if "." in cell else cell.replace(",", ".")
    if style == "point,":
        return cell.replace(",", "")
    if style == "comma.":
        return cell.replace(".", "").replace(",", ".")
    if style == "grouped":
        return re.sub("[.,]", "", cell) if is_grouped(cell) or cell.lstrip("+-").isdigit() else ""
    return cell


def to_numbers(cells: Sequence[str], style: str) -> tuple[NDArray[np.float64], list[int]]:
    """Return numbers, shape (N,), NaN where there is none, and the indices of cells that failed."""
    if style == "point":
        try:
            values = np.fromiter(map(float, cells), np.float64, len(cells))
        except ValueError:
            pass
        else:
            if np.isfinite(values).all() and "_" not in "".join(cells):
                return values, []
    values = np.full(len(cells), np.nan)
    failed = []
    for index, cell in enumerate(cells):
        if NUMBER.fullmatch(cell):
            try:
                values[index] = float(_plain(cell, style))
            except ValueError:
                failed.append(index)
        elif cell and not MARK.fullmatch(cell):
            failed.append(index)
        elif "inf" in cell.lower():
            values[index] = -np.inf if cell.startswith("-") else np.inf
    return values, failed
