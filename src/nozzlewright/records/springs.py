"""The springs on the workshop's shelf as their entries tell it.

An entry states how many springs of one length there are for one kind of injector, in the words of
its setting sheets: ``{"injector": "...", "length_um": 49870, "load_n": 0.0, "off_um": 50.0,
"count": 2}``, null for as many as are asked for. The last statement of a length counts; a count of
0 takes it off the shelf.

A spring that goes into an injector, or comes out of one, is a change: the same with ``"changed":
-1`` beside the count that there was then. Where more went than there were, the count was wrong: it
shows none, and what is owed is told until the length is counted anew or comes back.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from nozzlewright.bench import ShelfSpring
from nozzlewright.records.entry import Entry

CHANGED = "changed"


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
    changes: dict[tuple[str, float, int], int] = {}
    found: dict[tuple[str, float, int], ShelfSpring] = {}
    oldest: dict[tuple[str, float, int], ShelfSpring] = {}
    for entry in newest_first:
        body = entry.body
        one = ShelfSpring(
            injector=str(body["injector"]),
            load_n=float(body["load_n"]),
            length_um=int(body["length_um"]),
            off_um=float(body["off_um"]),
            count=None if body["count"] is None else int(body["count"]),
        )
        key = (one.injector, one.load_n, one.length_um)
        if (injector is not None and one.injector != injector) or key in found:
            continue
        if CHANGED in body:
            changes[key] = changes.get(key, 0) + int(body[CHANGED])
            oldest[key] = one
        else:
            found[key] = one
    shelf = {**oldest, **found}  # a statement long ago is told by the oldest change since
    there = (_changed(shelf[key], changes.get(key, 0)) for key in sorted(shelf))
    return tuple(one for one in there if one.count != 0 or one.owed)


def _changed(one: ShelfSpring, by: int) -> ShelfSpring:
    if one.count is None:
        return one
    count = one.count + by
    return replace(one, count=max(0, count), owed=max(0, -count))
