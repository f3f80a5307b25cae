"""What can hurt at the steps that are advised; said where the step is."""

from __future__ import annotations

from nozzlewright.said import joined, say

MANUAL = say("The engine maker's manual and local codes come first.")
"""Where a caution ends."""

_JET = say(
    "The jet goes through skin: guard up, hands and eyes away from the tip, never feel for a leak. "
    "A wound by a jet is a surgical emergency even if it does not hurt. The mist burns: extract "
    "it, no flame or spark near it."
)
_STRIP = say(
    "Let the pressure off first; where there is an adjusting screw, back it off until the spring "
    "is free before the nozzle nut is loosened, tip down, covered."
)
JET = joined(" ", [_JET, MANUAL])
"""For every step with pressure on the injector."""
STRIP = joined(" ", [_STRIP, MANUAL])
"""For every step that opens the injector."""
_RUNNING = say(
    "Engine running: keep clear of what turns and what is hot. Fuel from a slackened union burns "
    "on a hot manifold; hands off it, guard the spray, wipe it up."
)
RUNNING = joined(" ", [_RUNNING, MANUAL])
"""For every look at the running engine."""
STRIP_AND_JET = joined(" ", [_STRIP, _JET, MANUAL])
"""For a step that opens the injector and tests it again."""
