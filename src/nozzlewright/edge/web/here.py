"""Who stands at this screen, and how they want to read it: kept in a signed cookie."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from types import MappingProxyType

from babel import negotiate_locale

from nozzlewright.edge.web.signed import Signer

COOKIE = "here"
YEAR_S = 365 * 24 * 3600

LANGUAGES: Mapping[str, str] = MappingProxyType({"en": "English", "de": "Deutsch"})
"""Languages with a catalogue, each by its own name."""

PRESSURE_UNITS: Mapping[str, str] = MappingProxyType(
    {"bar": "bar", "MPa": "MPa", "kgf/cm2": "kgf/cm²", "psi": "psi"}
)
"""Units that a person can choose, with their spelling on the screen."""

THEMES = ("device", "light", "dark")

PEDALS = ("Space", "PageDown", "ArrowRight", "KeyB", "F8")
"""Keys that a foot switch may send, by their names in UI Events (KeyboardEvent.code)."""

LONGEST_NAME = 60

_ALLOWED: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "language": tuple(LANGUAGES),
        "pressure_unit": tuple(PRESSURE_UNITS),
        "theme": THEMES,
        "pedal": PEDALS,
    }
)


@dataclass(frozen=True)
class Here:
    """Who is at this screen, and how they read it."""

    who: str = ""
    """Name as it goes into the record; empty: nobody has said so yet."""
    language: str = "en"
    pressure_unit: str = "bar"
    theme: str = "device"
    """``light``, ``dark``, or ``device``: as the device is set."""
    pedal: str = "Space"
    """Key of the stopwatch and the foot switch (KeyboardEvent.code)."""

    def __post_init__(self) -> None:
        for name, allowed in _ALLOWED.items():
            if getattr(self, name) not in allowed:
                raise ValueError(f"'{getattr(self, name)}' is no {name} known here")
        if len(self.who) > LONGEST_NAME:
            raise ValueError("the name is too long")


def from_cookie(sealed: str | None, signer: Signer, accept_language: str = "") -> Here:
    """Return what the cookie says; without one of ours, the browser's language and defaults."""
    text = signer.unseal(COOKIE, sealed) if sealed else None
    if text is not None:
        try:
            kept = json.loads(text)
            known = {field.name for field in fields(Here)}
            return Here(**{name: str(kept[name]) for name in known & set(kept)})
        except (ValueError, TypeError):
            pass  # written by another version: begin anew
    return Here(language=_wanted(accept_language))


def to_cookie(here: Here, signer: Signer) -> str:
    """Return the cookie's content."""
    return signer.seal(COOKIE, json.dumps(asdict(here), separators=(",", ":")))


def _wanted(accept_language: str) -> str:
    """Return the first language of an Accept-Language line (RFC 9110, 12.5.4) that we have."""
    weighed: list[tuple[float, str]] = []
    for part in accept_language[:200].split(","):
        tag, _, weight = part.strip().partition(";q=")
        try:
            weighed.append((float(weight or 1.0), tag))
        except ValueError:
            continue
    asked = [tag for _, tag in sorted(weighed, key=lambda pair: -pair[0])]
    found = negotiate_locale(asked, tuple(LANGUAGES), sep="-")
    return (found or "en").partition("-")[0]
