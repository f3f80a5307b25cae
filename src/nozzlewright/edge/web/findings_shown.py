"""Parts of an injector as the drawing names them, and what an inspection may find on each.

Common practice of the trade, in own words. What goes into the record is the English word.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from nozzlewright.bench import Severity
from nozzlewright.edge.web.texts import N_

SEVERITIES: Mapping[str, tuple[str, str]] = MappingProxyType(
    {
        Severity.NOTE.value: (N_("note"), N_("may stay as it is")),
        Severity.REWORK.value: (N_("rework"), N_("clean, lap or dress it")),
        Severity.RENEW.value: (N_("renew"), N_("goes on the list of parts")),
    }
)
"""What a finding asks for, with what it means."""

NOTE, REWORK, RENEW = (severity.value for severity in Severity)
SOUND = N_("sound")
MEASURED = N_("length measured")
"""Of a spring: the finding then says the length."""


@dataclass(frozen=True)
class Part:
    """A part, and what may be found on it."""

    name: str
    """The trade's word, as it goes into the record."""
    findings: tuple[tuple[str, str], ...]
    """What is seen, each with what it usually asks for."""


def _part(name: str, **findings: tuple[str, ...]) -> Part:
    rows = [(seen, severity) for severity, all_seen in findings.items() for seen in all_seen]
    return Part(name, (*rows, (SOUND, NOTE)))


PARTS: Mapping[str, Part] = MappingProxyType(
    {
        "cap": _part(
            N_("cap"),
            renew=(N_("thread pulled"), N_("cracked")),
            rework=(N_("leaks at the top"),),
        ),
        "cap-washer": _part(N_("cap washer"), renew=(N_("used before"), N_("dented"))),
        "lock-nut": _part(
            N_("lock nut"), renew=(N_("thread pulled"),), rework=(N_("face damaged"),)
        ),
        "adjusting-screw": _part(
            N_("adjusting screw"),
            renew=(N_("thread pulled"), N_("seized")),
            rework=(N_("end worn"),),
        ),
        "shim": _part(
            N_("shim"),
            renew=(N_("dented"), N_("burr"), N_("rusty"), N_("several stacked")),
        ),
        "spring": _part(
            N_("spring"),
            renew=(
                N_("cracked"),
                N_("broken"),
                N_("rust pits"),
                N_("shorter than the others"),
                N_("not square"),
                N_("rubbed"),
            ),
            note=(MEASURED,),
        ),
        "spindle": _part(
            N_("spindle"),
            renew=(N_("bent"), N_("end worn"), N_("wrong length")),
            rework=(N_("was in the wrong way up"),),
        ),
        "holder-body": _part(
            N_("holder body"),
            renew=(N_("cracked"), N_("thread damaged")),
            rework=(N_("pressure face dented"), N_("pressure face scratched")),
        ),
        "leak-off-union": _part(
            N_("leak-off union"),
            rework=(N_("blocked"), N_("leaks")),
            renew=(N_("thread damaged"),),
        ),
        "inlet-union": _part(
            N_("inlet union"),
            renew=(N_("cone crushed"), N_("thread damaged"), N_("cracked")),
        ),
        "inlet-filter": _part(
            N_("inlet filter"),
            renew=(N_("torn"), N_("blocked"), N_("missing")),
            note=(N_("magnetic dust"),),
        ),
        "seals": _part(N_("seals"), renew=(N_("always new"),)),
        "distance-piece": _part(
            N_("distance piece"),
            renew=(N_("stop worn: lift too large"), N_("wrong thickness")),
            rework=(N_("pressure face scratched"), N_("burr")),
        ),
        "dowels": _part(N_("dowels"), renew=(N_("loose"), N_("bent"), N_("sheared"))),
        "needle": _part(
            N_("needle"),
            renew=(
                N_("scuffed"),
                N_("grooves"),
                N_("step on the seat cone"),
                N_("blued"),
                N_("bent"),
                N_("corroded"),
                N_("pintle worn"),
                N_("seized"),
            ),
            rework=(N_("carbon on the pintle"), N_("lacquer")),
        ),
        "nozzle-body": _part(
            N_("nozzle body"),
            renew=(
                N_("seat pounded"),
                N_("seat wide"),
                N_("seat pitted"),
                N_("guide scored"),
                N_("tip cracked"),
                N_("tip blued"),
                N_("tip corroded"),
                N_("hole enlarged or oval"),
            ),
            rework=(
                N_("hole blocked"),
                N_("pressure face scratched"),
                N_("carbon at the tip"),
            ),
        ),
        "nozzle-nut": _part(
            N_("nozzle nut"),
            renew=(
                N_("seat face damaged"),
                N_("stretched"),
                N_("blued"),
                N_("thread damaged"),
                N_("wrong length"),
            ),
            rework=(N_("carbon-locked"),),
        ),
        "seat-washer": _part(
            N_("seat washer"),
            renew=(N_("always new"), N_("two were fitted")),
            note=(N_("missing when it came in"),),
        ),
    }
)
"""By the name that the drawing has for each part."""

ALWAYS_NEW = ("seals", "seat washer")
"""Parts that are never fitted twice; common practice."""

OTHER_PARTS = (
    N_("line union"),
    N_("clamp nut"),
    N_("clamp bolt"),
    N_("needle and nozzle body"),
    N_("nozzle tip"),
    N_("holder"),
    N_("pressure face"),
    N_("nut"),
    N_("adjuster"),
    N_("guide"),
    N_("seat"),
)
"""Parts that a setting sheet, or a fitter, may name besides those of the drawing."""

KNOWN_WORDS = frozenset(
    {*(part.name for part in PARTS.values()), *OTHER_PARTS}
    | {seen for part in PARTS.values() for seen, _severity in part.findings}
)
"""The trade's words that stand in the record as they were chosen; all other words are somebody's
own."""
