"""Evidence to findings: what a recording or a card of hand readings shows.

``trace``
    Gauge recordings: strokes, openings, holds, chatter.
``by_hand``
    Readings by eye and stopwatch.
``gauge``
    What is known of the gauge's level.
``gauge_study``, ``agreement``
    How far readings, and grades, depend on who takes them.
"""

from nozzlewright.analysis.by_hand import read_hand
from nozzlewright.analysis.trace import RigLeak, read_trace, rig_leak

__all__ = ["RigLeak", "read_hand", "read_trace", "rig_leak"]
