"""The record on disk: entries in a database, evidence in files named by their digest."""
