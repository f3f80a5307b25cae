"""Words that people wrote: the trade's own are said in the reader's language, the rest as typed.

Parts and what is seen on them stand in the record, and in setting sheets, as plain English words.
"""

from __future__ import annotations

from nozzlewright.edge.paper import Voice
from nozzlewright.edge.web.findings_shown import KNOWN_WORDS
from nozzlewright.edge.web.show import day_text
from nozzlewright.edge.web.texts import HERE, decimal_sign, gettext
from nozzlewright.said import Said, reworded, speak

_LANGUAGES = {"en": "en-GB"}
"""As files name a language, where that is more than its name here."""


def in_words(text: str) -> str:
    """Return a part, or what was seen on it, in the language of this screen."""
    return gettext(text) if text in KNOWN_WORDS else text


def _shown(text: str) -> str:
    """Return somebody's own words as this screen shows them, a day as it writes days."""
    return in_words(day_text(text))


def said_here(text: str) -> str:
    """Return what an inner layer said, in language and unit of this screen.

    The trade's parts and days in it follow the language too.

    >>> from nozzlewright.said import say
    >>> said_here(say("It holds until {day}.", day="2026-03-04"))
    'It holds until 4 Mar 2026.'
    """
    if isinstance(text, Said):
        text = reworded(text, _shown)
    return speak(text, gettext, HERE.get().pressure_unit, decimal_sign())


def voice() -> Voice:
    """Return the voice in which papers speak to whoever is at this screen."""
    here = HERE.get()
    return Voice(
        _LANGUAGES.get(here.language, here.language),
        gettext,
        in_words,
        decimal_sign(),
        here.pressure_unit,
    )
