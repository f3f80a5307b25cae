"""What is handed over, as plain data: worded and rounded, knowing nothing of paper or screen.

``reading``
    One recording or card: data for ``--json``, a summary for the terminal.
``set_report``
    One set: verdicts, values, next actions, sheet and bench.
``judgement``
    The same set as data and as a summary for the terminal.
``rig_report``
    A check of the rig as data and as a summary for the terminal.
``fitting``
    The fitting sheet for the engine.
``fitter_study``
    What a study of fitters means at the bench.
``wording``
    One rule for printing a value with its unit and interval.
"""

from nozzlewright.report.fitting import FittingSheet, fitting_sheet
from nozzlewright.report.judgement import judgement_as_data, judgement_as_text
from nozzlewright.report.reading import (
    SCHEMA,
    quantity_data,
    reading_as_data,
    reading_as_text,
)
from nozzlewright.report.set_report import SetInShort, SetReport, set_in_short, set_report
from nozzlewright.report.wording import READING_RULE, ValueText, value_text

__all__ = [
    "READING_RULE",
    "SCHEMA",
    "FittingSheet",
    "SetInShort",
    "SetReport",
    "ValueText",
    "fitting_sheet",
    "judgement_as_data",
    "judgement_as_text",
    "quantity_data",
    "reading_as_data",
    "reading_as_text",
    "set_in_short",
    "set_report",
    "value_text",
]
