"""The shim drawer as its entries tell it.

An entry either states the whole drawer (``{"shims": {"1300": 4, "1350": null}}``, null for as many
as are asked for) or a change of it (``{"changed": {"1300": -1, "1250": 1}}``); thicknesses are in
whole micrometres. Where more were taken than there were, the count was wrong: it shows none, and
what is owed is told until the size is counted anew or comes back.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from nozzlewright.bench import ShimDrawer
from nozzlewright.records.entry import Entry

WHOLE, CHANGED = "shims", "changed"


def drawer_from(newest_first: Iterable[Entry]) -> ShimDrawer | None:
    """Return what is in the drawer; None where no entry has ever stated the whole of it.

    A size that is used up stays with a count of 0; a change of a size that the drawer never had
    adds it.
    """
    changes: list[Mapping[str, Any]] = []
    for entry in newest_first:
        if WHOLE in entry.body:
            counts = {int(size): count for size, count in entry.body[WHOLE].items()}
            for change in reversed(changes):
                for size, by in change.items():
                    there = counts.get(int(size), 0)
                    if there is not None:
                        counts[int(size)] = there + int(by)
            owed = {size: -(count or 0) for size, count in counts.items() if (count or 0) < 0}
            return ShimDrawer(
                {size: None if count is None else max(0, count) for size, count in counts.items()},
                owed,
            )
        changes.append(entry.body.get(CHANGED, {}))
    return None
