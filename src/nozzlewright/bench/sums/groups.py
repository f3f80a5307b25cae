"""Groups of sums, as they stand on the page."""

from __future__ import annotations

from nozzlewright.said import say

SET = say("Tighten and set")
PARTS = say("Parts under the gauge")
ENGINE = say("On the engine: an indication, never a promise")
UNITS = say("Units")

GROUPS = (SET, PARTS, ENGINE, UNITS)
"""In their order."""
