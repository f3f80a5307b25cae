"""Photos as the screens take them in."""

from nozzlewright.edge.intake.photo import LARGEST_BYTES, read_photo

__all__ = ["LARGEST_BYTES", "read_photo"]
