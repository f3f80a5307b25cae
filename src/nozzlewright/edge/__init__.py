"""All that touches disk, network, clock, screen or paper."""
