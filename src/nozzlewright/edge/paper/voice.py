"""How a paper speaks: English and in bar, unless whoever asks for it reads otherwise.

Own words, such as names, are plain strings and stay as they are; what the program says is a
message (:mod:`nozzlewright.said`).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from enum import Enum

from nozzlewright.said import PRESSURE_UNITS_PA, Figure, Said, Unit, reworded, speak, word


@dataclass(frozen=True)
class Voice:
    """How a reader is spoken to."""

    language: str = "en-GB"
    """As HTML and PDF name it (BCP 47)."""
    translate: Callable[[str], str] = str
    """Template to template, such as ``gettext`` of a catalogue."""
    known: Callable[[str], str] = str
    """Puts words that people wrote into the language where they are the trade's, such as names of
    parts; all others stay as typed."""
    decimal: str = "."
    pressure_unit: str = "bar"
    """One of :data:`nozzlewright.said.PRESSURE_UNITS_PA`; what a sheet prints stays as printed."""


_KEPT_NAME = re.compile(r"\b([0-9a-f]{8})[0-9a-f]{52,56}(?:\.\w+)+")
"""Name of a file of evidence, made of its digest: eight signs tell it from the others. A digest by
itself stays whole."""

ENGLISH = Voice()
_VOICE: ContextVar[Voice] = ContextVar("voice", default=ENGLISH)


@contextmanager
def speaking(voice: Voice | None) -> Iterator[Voice]:
    """Let all that is written within speak with a voice; None: with the one that speaks already."""
    if voice is None:
        yield _VOICE.get()
        return
    before = _VOICE.set(voice)
    try:
        yield voice
    finally:
        _VOICE.reset(before)


def spoken(text: str) -> str:
    """Return a message in the reader's language and unit of pressure; own words as they are.

    >>> from nozzlewright.said import say
    >>> with speaking(Voice("de", {"{number} pops": "{number} Öffnungen"}.get)):
    ...     spoken(say("{number} pops", number=3)), spoken("three pops")
    ('3 Öffnungen', 'three pops')
    """
    if isinstance(text, Enum):
        text = word(text)
    if not isinstance(text, Said | Figure | Unit):
        return _KEPT_NAME.sub(r"\1…", str(text))
    voice = _VOICE.get()
    told = speak(reworded(text, voice.known), voice.translate, voice.pressure_unit, voice.decimal)
    return _KEPT_NAME.sub(r"\1…", told)


def pressure_unit() -> str:
    """Return the reader's unit of pressure."""
    return _VOICE.get().pressure_unit


def in_reader_unit(pressure_pa: float) -> float:
    """Return a pressure as a number in the reader's unit.

    >>> with speaking(Voice(pressure_unit="MPa")):
    ...     in_reader_unit(175e5)
    17.5
    """
    return pressure_pa / PRESSURE_UNITS_PA[_VOICE.get().pressure_unit]


def known(text: str) -> str:
    """Return a part's name, or what was seen on it, in the reader's language where it is known."""
    return spoken(text) if isinstance(text, Said) else _VOICE.get().known(text)


def capital(text: str) -> str:
    """Return a message that begins with a capital letter."""
    told = spoken(text)
    return told[:1].upper() + told[1:]
