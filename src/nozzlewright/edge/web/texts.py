"""Texts in the language of whoever is at the screen (GNU gettext catalogues, read by Babel).

``from nozzlewright.edge.web.texts import _, ngettext`` works anywhere in a request: the guard
says at its beginning who is here. A text at the head of a module is marked with ``N_`` and
translated with ``_`` where it is shown.
"""

from __future__ import annotations

from contextvars import ContextVar
from functools import cache
from pathlib import Path

from babel.support import NullTranslations, Translations

from nozzlewright.edge.web.here import Here
from nozzlewright.said import speak

DOMAIN = "nozzlewright"
LOCALE = Path(__file__).parent / "locale"

HERE: ContextVar[Here] = ContextVar("here", default=Here())  # noqa: B039  (it is frozen)
"""Who is at the screen whose request is being answered."""


@cache
def catalogue(language: str) -> NullTranslations:
    """Return a language's texts; English is the source and needs none."""
    return Translations.load(LOCALE, [language], DOMAIN)


def gettext(text: str) -> str:
    """Return a text in the language of this screen."""
    return str(catalogue(HERE.get().language).ugettext(text)) if text else ""


def ngettext(one: str, many: str, number: int) -> str:
    """Return the form of a text that belongs to a number, in the language of this screen."""
    return str(catalogue(HERE.get().language).ungettext(one, many, number))


def pgettext(context: str, text: str) -> str:
    """Return a text that needs a context to be told apart, such as a word with two meanings."""
    return str(catalogue(HERE.get().language).upgettext(context, text))


def npgettext(context: str, one: str, many: str, number: int) -> str:
    """Return the form for a number of a text with a context."""
    return str(catalogue(HERE.get().language).unpgettext(context, one, many, number))


_ = gettext


def N_(text: str) -> str:  # noqa: N802  (gettext's own name for it)
    """Mark a text for the catalogue; it is translated where it is shown."""
    return text


def said(text: str) -> str:
    """Return what an inner layer said, in the language and pressure unit of this screen."""
    here = HERE.get()
    return speak(text, gettext, here.pressure_unit, decimal_sign())


def decimal_sign() -> str:
    """Return what stands between units and tenths in the language of this screen."""
    return "," if HERE.get().language == "de" else "."
