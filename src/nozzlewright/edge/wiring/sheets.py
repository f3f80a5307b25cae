"""Setting sheets as the screens use them: written in a form, copied, checked while typed."""

from nozzlewright.edge.intake.sheet_text import (
    CLEAR,
    DAMP,
    DRY,
    FIXED,
    MARGIN,
    WEAK,
    YES,
    PrintedCheck,
    checked_sheet,
    printed_check,
    sheet_text,
    sheet_values,
)

__all__ = [
    "CLEAR",
    "DAMP",
    "DRY",
    "FIXED",
    "MARGIN",
    "WEAK",
    "YES",
    "PrintedCheck",
    "checked_sheet",
    "printed_check",
    "sheet_text",
    "sheet_values",
]
