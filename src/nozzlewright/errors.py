"""Every error that nozzlewright raises on purpose.

.. code-block:: text

    NozzlewrightError              caught at the door: printed in one piece, never as a traceback
    ├── InputFault                 something that was handed in cannot be used
    │   ├── RecordingFault         a gauge recording or a hand reading
    │   ├── ConditionsFault        bench conditions (``bench.toml``)
    │   ├── SheetFault             a setting sheet
    │   └── SetFault               a set folder (``set.toml``)
    └── UnitFault                  a unit that is unknown or ambiguous

An :class:`InputFault` carries one or more :class:`Fault`, because a person who mends a sheet
wants to see all that is wrong with it at once.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class Fault:
    """One thing that is wrong: what, where, and how to mend it."""

    what: str
    """What is wrong, with the offending value."""
    where: str
    """File, line, key or column; as near as it is known."""
    remedy: str
    """What the person can do about it."""

    def __str__(self) -> str:
        return f"{self.where}: {self.what}. {self.remedy}"


class NozzlewrightError(Exception):
    """Root of all errors raised on purpose."""


class InputFault(NozzlewrightError):
    """Something that was handed in cannot be used; all faults found are reported together."""

    def __init__(self, faults: Fault | Iterable[Fault]) -> None:
        self.faults: tuple[Fault, ...] = (faults,) if isinstance(faults, Fault) else tuple(faults)
        if not self.faults:
            raise ValueError("an InputFault needs at least one fault")
        super().__init__("\n".join(str(fault) for fault in self.faults))


class RecordingFault(InputFault):
    """A gauge recording or a hand reading that cannot be used."""


class ConditionsFault(InputFault):
    """Bench conditions that cannot be used."""


class SheetFault(InputFault):
    """A setting sheet that cannot be used."""


class SetFault(InputFault):
    """A set folder that cannot be used."""


class UnitFault(NozzlewrightError):
    """A unit that is unknown, of the wrong kind, or ambiguous."""
