"""Readers of files that are handed in, each told apart by its own probe."""
