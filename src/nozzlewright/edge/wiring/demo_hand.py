"""The injector in hand at the demo workshop's pretend bench: the demo set's, as far as it got.

What was done to it in the story is done to the pretend one: cleaned when it was stripped and put
together, set by the shims that were changed, tight at the guide with a new pair.
"""

from __future__ import annotations

from nozzlewright.records import EntryKind, InjectorStory, JobStory
from nozzlewright.simulator import InjectorModel, demo_injector

STEP_M = 1e-6
"""Thicknesses of shims are told to the nearest of this, [m]."""


def injector_in_hand(story: JobStory, one: InjectorStory) -> InjectorModel:
    """Return an injector of a job as it is now, to be worked by hand."""
    changes = (
        float(body["shim_to_mm"]) - float(body["shim_from_mm"])
        for body in (setting.body for setting in one.settings)
        if body.get("shim_to_mm") is not None and body.get("shim_from_mm") is not None
    )
    renewed = any(
        entry.kind is EntryKind.ASSEMBLED
        and entry.draft.injector == one.injector
        and entry.id not in story.withdrawn
        and bool(entry.body.get("new_pair"))
        for entry in story.entries
    )
    return demo_injector(
        one.cylinder,
        cleaned=one.assembled_at > 0,
        new_pair=renewed,
        raised_m=round(sum(changes) * 1e-3 / STEP_M) * STEP_M,
    )
