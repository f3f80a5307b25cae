"""The job as an append-only story; its state is what the entries add up to.

``entry``
    One entry, and the chain of digests that holds them in order.
``story``
    What a job's entries add up to, and what may be added next.
``plain``
    Findings as JSON text, and back.
``drawer``, ``springs``
    The shims and the springs that the workshop has, as its entries tell it.
"""

from nozzlewright.records.drawer import drawer_from
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
from nozzlewright.records.plain import findings_from, findings_text
from nozzlewright.records.springs import shelf_from
from nozzlewright.records.story import (
    AS_FOUND,
    AS_LEFT,
    InjectorStory,
    JobStory,
    Standing,
    admit,
    resolved,
    told,
)

__all__ = [
    "AS_FOUND",
    "AS_LEFT",
    "FIRST",
    "SHOP",
    "Draft",
    "Entry",
    "EntryKind",
    "InjectorStory",
    "JobStory",
    "Standing",
    "admit",
    "chained",
    "digest_of",
    "drawer_from",
    "findings_from",
    "findings_text",
    "from_payload",
    "payload",
    "resolved",
    "shelf_from",
    "told",
]
