"""Bench tests of mechanical diesel injectors, read, judged and reported.

The map, in the order in which the data flow:

``capture``
    Raw evidence, never altered: recordings and hand readings.
``analysis``
    Evidence to findings: strokes, openings, hold, chatter.
``bench``
    The trade's nouns, findings and the setting sheet among them.
``judging``
    Findings against a setting sheet, uncertainty included.
``advice``
    What the fitter should do next, and why.
``records``
    The job as an append-only story; state is what its entries add up to.
``report``
    What is handed over, as plain data.
``workflow``
    One file for each act at the bench.
``edge``
    All that touches disk, network, clock, screen or paper.

Under all of it lie ``measurement`` (a value with its uncertainty), ``physics`` (formulas in SI),
``said`` (messages that can be said in another language and unit) and ``errors``. Beside it stands
``simulator``, a pretend bench with known truth.

A dozen names can be had from here; each loads its module only when it is asked for, so that
``import nozzlewright`` costs next to nothing (PEP 562).

>>> import nozzlewright
>>> nozzlewright.NotMeasured("the gauge was not connected")
NotMeasured(reason='the gauge was not connected', remedy='')
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from nozzlewright.bench import BenchConditions, GaugeFindings, SettingSheet
    from nozzlewright.capture import HandReadings, Recording
    from nozzlewright.edge.intake import read_conditions, read_recording, read_sheet
    from nozzlewright.edge.wiring import judge_folder, plot_reading, read_file, write_report
    from nozzlewright.errors import NozzlewrightError
    from nozzlewright.measurement import NotMeasured, Quantity
    from nozzlewright.workflow import read_gauge

__all__ = [
    "BenchConditions",
    "GaugeFindings",
    "HandReadings",
    "NotMeasured",
    "NozzlewrightError",
    "Quantity",
    "Recording",
    "SettingSheet",
    "judge_folder",
    "plot_reading",
    "read_conditions",
    "read_file",
    "read_gauge",
    "read_recording",
    "read_sheet",
    "write_report",
]

_HOME = {
    "bench": ("BenchConditions", "GaugeFindings", "SettingSheet"),
    "capture": ("HandReadings", "Recording"),
    "edge.intake": ("read_conditions", "read_recording", "read_sheet"),
    "edge.wiring": ("judge_folder", "plot_reading", "read_file", "write_report"),
    "errors": ("NozzlewrightError",),
    "measurement": ("NotMeasured", "Quantity"),
    "workflow": ("read_gauge",),
}


def __getattr__(name: str) -> object:
    for module, names in _HOME.items():
        if name in names:
            from importlib import import_module

            found: object = getattr(import_module(f"{__name__}.{module}"), name)
            globals()[name] = found
            return found
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
