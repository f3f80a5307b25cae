"""All that touches disk, screen or paper."""
