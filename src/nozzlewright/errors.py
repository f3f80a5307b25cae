"""Every error that nozzlewright raises on purpose.

.. code-block:: text

    NozzlewrightError              caught at the door: printed in one piece, never as a traceback
    ├── InputFault                 something that was handed in cannot be used
    │   ├── RecordingFault         a gauge recording or a hand reading
    │   ├── ConditionsFault        bench conditions (``bench.toml``)
    │   ├── SheetFault             a setting sheet
    │   ├── SetFault               a set folder (``set.toml``)
    │   └── UploadFault            a photo or file sent from a screen
    ├── RecordFault                the record of the workshop
    │   ├── NotAllowed             an entry that the trade forbids: mixed pairs, locked readings ...
    │   ├── StoryMoved             somebody else has added to the story meanwhile
    │   ├── IdTaken                an id that stands in the record with another content
    │   └── EvidenceFault          a file of evidence that is missing or was altered
    ├── InstrumentFault            a gauge that cannot be reached or understood
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


class UploadFault(InputFault):
    """A photo or file sent from a screen that cannot be used."""


class RecordFault(NozzlewrightError):
    """Something that the record of the workshop cannot take or give."""


class NotAllowed(RecordFault):
    """An entry that the rules of the trade forbid; says why and what to do instead."""

    def __init__(self, what: str, remedy: str) -> None:
        self.what, self.remedy = what, remedy
        super().__init__(f"{what}. {remedy}")


class StoryMoved(RecordFault):
    """Somebody else has added to the story meanwhile; nothing was written."""


class IdTaken(RecordFault):
    """An id that stands in the record already, with another content."""


class EvidenceFault(RecordFault):
    """A file of evidence that is missing or is no longer what its name says."""


class InstrumentFault(NozzlewrightError):
    """A gauge that cannot be reached or understood; says what was tried and what to look at."""


class UnitFault(NozzlewrightError):
    """A unit that is unknown, of the wrong kind, or ambiguous."""
