"""The springs on the workshop's shelf as their entries tell it.

An entry states how many springs of one length there are for one kind of injector, in the words of
its setting sheets: ``{"injector": "...", "length_um": 49870, "load_n": 0.0, "off_um": 50.0,
"count": 2}``, null for as many as are asked for. The last statement of a length counts; a count of
0 takes it off the shelf.
"""

from __future__ import annotations

from collections.abc import Iterable

from nozzlewright.bench import ShelfSpring
from nozzlewright.records.entry import Entry


def shelf_from(
    newest_first: Iterable[Entry], injector: str | None = None
) -> tuple[ShelfSpring, ...]:
    """Return the springs on the shelf, by kind, load and length.

    Parameters
    ----------
    newest_first : iterable of Entry
        Statements
    injector : str, optional
        Only those for this kind
    """
    found: dict[tuple[str, float, int], ShelfSpring] = {}
    for entry in newest_first:
        body = entry.body
        one = ShelfSpring(
            injector=str(body["injector"]),
            load_n=float(body["load_n"]),
            length_um=int(body["length_um"]),
            off_um=float(body["off_um"]),
            count=None if body["count"] is None else int(body["count"]),
        )
        if injector is None or one.injector == injector:
            found.setdefault((one.injector, one.load_n, one.length_um), one)
    return tuple(found[key] for key in sorted(found) if found[key].count != 0)
