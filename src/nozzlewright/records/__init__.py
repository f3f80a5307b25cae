"""The job as an append-only story; its state is what the entries add up to.

``entry``
    One entry, and the chain of digests that holds them in order.
``story``
    What a job's entries add up to, and what may be added next.
"""

from nozzlewright.records.entry import (
    FIRST,
    SHOP,
    Draft,
    Entry,
    EntryKind,
    chained,
    digest_of,
    from_payload,
    payload,
)

__all__ = [
    "FIRST",
    "SHOP",
    "Draft",
    "Entry",
    "EntryKind",
    "chained",
    "digest_of",
    "from_payload",
    "payload",
]
